"""The ground of a line as a form gives it: by a walk, an outline, a block or whole units; by one of them."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from habmap.desk.asked import Asked
from habmap.errors import UsageError

if TYPE_CHECKING:
    from markupsafe import Markup
    from starlette.responses import Response

    from habmap.jobs.ports import Store
    from habmap.work.logged import Logged
    from habmap.work.unit_shares import Covered

#: The ways, in the words of the form, with the field of each.
_WAYS: Final = {
    "a walk": "track",
    "an outline drawn on the map": "ground",
    "a file with the ground": "patch",
    "a block": "block",
    "whole units": "unit",
}


def ground_fields(asked: Asked, practice: str) -> dict[str, Any]:
    """Return what ``ground.html.j2`` asks with: units in the order of work, ways to walk, blocks where it burns."""
    from habmap.jobs.rank import rank
    from habmap.land.tracks import TRAVEL_MPS
    from habmap.vocabulary import FIRE

    store = asked.store
    units = store.units()
    order = [line.unit_id for line in rank(store, today=asked.today).units] if units else []
    return {
        "units": sorted(units, key=lambda unit: order.index(unit.unit_id)),
        "ways": [(way, way) for way in TRAVEL_MPS],
        "blocks": [(name, name) for name in block_names(store)] if practice in FIRE else [],
        "has_ground": bool(_given(asked)),
    }


def ground_of(asked: Asked, day: dt.date | None) -> Covered | None:
    """Return the ground that a form gives; ``None`` where it gives none.

    Raises
    ------
    UsageError
        It gives several, or no day where the ground tells none, or units without saying that all of each was covered.
    InputError
        The ground cannot be read.
    """
    given = _given(asked)
    if not given:
        return None
    if len(given) > 1:
        raise UsageError(
            "several grounds are given",
            where="the ground",
            value=", ".join(given),
            allowed=f"one of {', '.join(_WAYS)}",
            mend="give the ground that the work really covered, in one way",
        )
    (way,) = given
    if way == "a walk":
        return _walked(asked, day)
    if day is None:
        raise UsageError("on which day?", where="day of the work", mend="give the day of the work")
    from habmap.work.unit_shares import Covered

    if way == "a block":
        from habmap.jobs.log_ground import block_ground

        patch, unit_ids = block_ground(asked.store, (asked.text("block"),), on=day)
        return Covered(patch=patch, day=day, unit_ids=unit_ids)
    if way == "whole units":
        return _whole(asked, day)
    path = asked.paths("patch")[0] if way == "a file with the ground" else _drawn_file(asked)
    from habmap.place.layers import read_ground_and_repairs

    patch, repairs = read_ground_and_repairs(path, repair=asked.has("repair"))
    return Covered(patch=patch, day=day, notes=repairs)


def needed_ground(asked: Asked, day: dt.date | None) -> Covered:
    """Return the ground that a form must give; see `ground_of`."""
    found = ground_of(asked, day)
    if found is None:
        raise UsageError(
            "on which ground?",
            where="the ground",
            allowed=f"one of {', '.join(_WAYS)}",
            mend="give the ground that the work really covered, in one way",
        )
    return found


def picture_of(asked: Asked, found: Covered) -> Markup:
    """Return the ground of a line as a picture over what stands there now."""
    from habmap.jobs.ground import ground
    from habmap.show.ground_picture import ground_picture

    return ground_picture(ground(asked.store), found.patch)


def saved(asked: Asked, logged: Logged) -> Response:
    """Keep the walks that a form brought, under the number of their line, and go on to the line in the history."""
    unkept: tuple[str, ...] = ()
    if asked.files.get("track"):
        from habmap.place.walk_files import keep_walks

        unkept = keep_walks(asked.at.folder, asked.paths("track"), number=logged.number)
    return asked.goto("history", saved=str(logged.number), unkept="; ".join(unkept))


def _drawn_file(asked: Asked) -> Path:
    """Return an outline that was drawn on the map as the file that its text is."""
    path = asked.desk.new_folder() / "drawn.geojson"
    path.write_text(asked.text("ground"), encoding="utf-8")
    return path


def _given(asked: Asked) -> list[str]:
    left_out = "ground" if asked.has("no_ground") else ""
    return [way for way, name in _WAYS.items() if name != left_out and (asked.paths(name) or asked.texts(name))]


def _walked(asked: Asked, day: dt.date | None) -> Covered:
    from habmap.jobs.log_ground import walk_ground
    from habmap.work.traced import Window

    return walk_ground(
        asked.store,
        asked.paths("track"),
        swath_ft=asked.number("swath_ft", "breadth worked along the walk"),
        travel=asked.text("travel") or "foot",
        window=Window(_clock(asked, "from"), _clock(asked, "to")),
        day=day,
    )


def _whole(asked: Asked, day: dt.date) -> Covered:
    from habmap.jobs.log_ground import whole_units
    from habmap.work.unit_shares import Covered

    unit_ids = tuple(dict.fromkeys(asked.texts("unit")))
    if not asked.has("whole"):
        raise UsageError(
            "was all of each unit covered?",
            where="whole units",
            value=", ".join(unit_ids),
            mend="say so by its box; else draw the ground really covered, or give a walk",
        )
    return Covered(patch=whole_units(asked.store, unit_ids, on=day), day=day, unit_ids=unit_ids)


def _clock(asked: Asked, name: str) -> dt.time | None:
    text = asked.text(name)
    try:
        return dt.time.fromisoformat(text) if text else None
    except ValueError:
        raise UsageError(
            "this is not a time of day",
            where=f"{name}, of the walk",
            value=text,
            allowed="HH:MM",
            mend="write it like 14:30",
        ) from None


def block_names(store: Store) -> tuple[str, ...]:
    """Return what burn blocks are called, in the settings and as drawn."""
    return tuple(dict.fromkeys((*store.settings.burn.blocks, *(block.name for block in store.drawn_blocks()))))
