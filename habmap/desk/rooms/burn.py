"""Burn sheet: the weather beside the written plan, and what lies around the ground. It compares; it permits nothing."""

from __future__ import annotations

from typing import Final

from starlette.responses import Response

from habmap.desk.asked import Asked
from habmap.desk.forms import field_of
from habmap.desk.ground import block_names
from habmap.desk.pages import page
from habmap.desk.room import Room
from habmap.errors import HabmapError, UsageError

#: What is said of the weather, by the names of a burn's record; the option that takes each follows from its fact.
_WEATHER: Final = (
    "temp_f", "rh_pct", "wind_mph", "wind_from_deg", "gust_mph", "shade_pct", "days_since_rain", "mixing_height_ft",
    "transport_wind_mph", "weather_elevation_ft", "wind_height", "plan_kind",
)  # fmt: skip


def show(asked: Asked, *, error: HabmapError | None = None) -> Response:
    """Show the form."""
    from habmap.records import BurnRecord, facts
    from habmap.vocabulary import FIRE_CAUTION

    store = asked.store
    own = facts(BurnRecord)
    return page(
        asked,
        "burn.html.j2",
        error=error,
        units=store.units(),
        blocks=block_names(store),
        weather=tuple(field_of(own[name]) for name in _WEATHER),
        has_forecast=bool(store.forecasts()),
        cautions=(FIRE_CAUTION,),
    )


def make(asked: Asked) -> Response:
    """Begin to make the sheet."""
    from habmap.records import BurnRecord, facts

    own = facts(BurnRecord)
    names = asked.texts("ground")
    try:
        if not names:
            raise UsageError("which ground?", where="the ground", mend="tick units that burn as one, or a block")
        if not asked.has("time"):
            raise UsageError("no time is given", where="hour of ignition", mend="give the day and hour")
    except HabmapError as error:
        return show(asked, error=error)
    folder = asked.desk.new_folder()
    files = {"burn-sheet.pdf": folder / "burn-sheet.pdf", "burn-sheet.html": folder / "burn-sheet.html"}
    words = ["burnsheet", f"--time={asked.text('time')}", f"--paper={asked.text('paper') or 'letter'}"]
    words += [f"{own[name].flag}={asked.text(name)}" for name in _WEATHER if asked.has(name)]
    words += [f"--sheet={path}" for path in files.values()]
    words += ["--yes"] if asked.has("yes") else []
    work = asked.runs([*words, "--json", "--", *names], title="The burn sheet", files=files)
    return asked.goto("work", id=work.key)


ROOM: Final = Room(name="burn", title="Burn sheet", show=show, acts={"make": make})
