"""Log work: what was done, when, on which ground; a look at what it changes; then saved."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from starlette.responses import Response

from habmap.desk.asked import Asked
from habmap.desk.forms import Field, field_of, read_facts
from habmap.desk.pages import page
from habmap.desk.room import Room
from habmap.errors import HabmapError, UsageError

if TYPE_CHECKING:
    from shapely import MultiPolygon

    from habmap.records import Fact
    from habmap.work.logged import Logged

#: What walks and drawn ground are read from; the browser offers files of these kinds first.
WALKS: Final = ".gpx,.kml,.geojson,.json"
LAYERS: Final = ".geojson,.json,.gpkg,.kml,.zip,.shp"
_DAY: Final = Field(
    name="date",
    label="day of the work",
    kind="date",
    help="Left open, a walk's own day is taken where its times tell it.",
)
_YES: Final = Field(
    name="yes",
    label="yes, it is right",
    kind="box",
    help="Only where a figure was asked about, and it is right all the same.",
)


@dataclass(frozen=True, slots=True)
class _Ground:
    patch: MultiPolygon
    day: dt.date
    unit_ids: tuple[str, ...] = ()
    acres_sd: float | None = None
    notes: tuple[str, ...] = ()


def show(asked: Asked, *, error: HabmapError | None = None) -> Response:
    """Show the form for one kind of work; which one is chosen first."""
    from habmap.jobs.rank import rank
    from habmap.vocabulary import KILLING, PRACTICE_ROWS, PRACTICES, default_killed_pct

    draft = asked.desk.drafts.find(asked, asked.text("draft"))
    if draft is not None and error is None:
        asked = replace(asked, said={**draft.said, **asked.said}, files=draft.files)
    practice = asked.text("practice")
    if practice not in PRACTICES:
        return page(asked, "log_practice.html.j2", practices=PRACTICE_ROWS, more=_kept(asked), error=error)
    store = asked.store
    cedar = store.settings.place.cedar
    is_needed = practice in KILLING and default_killed_pct(practice, cedar=cedar) is None
    fields = [field_of(one, is_needed=is_needed and one.name == "killed_pct") for one in facts_for(practice)]
    units = store.units()
    order = [line.unit_id for line in rank(store, today=asked.today).units] if units else []
    return page(
        asked,
        "log.html.j2",
        status=422 if error else 200,
        error=error,
        practice=practice,
        words=next(row.words for row in PRACTICE_ROWS if row.key == practice),
        day=_DAY,
        walk=_walk_fields(),
        layer=Field(
            name="patch",
            label="a file with the ground",
            kind="file",
            accept=LAYERS,
            help="A layer of any map program: GeoJSON, GeoPackage, KML or a zipped shapefile.",
        ),
        block=_block_field(store, practice),
        units=sorted(units, key=lambda unit: order.index(unit.unit_id)),
        fields=fields,
        yes=_YES,
        draft=draft,
        cautions=_cautions(practice),
    )


def facts_for(practice: str) -> tuple[Fact, ...]:
    """Return what may be said of a kind of work, in the order of the record."""
    from habmap.records import BurnRecord, Entry, said_facts

    every = (*said_facts(Entry), *said_facts(BurnRecord))
    return tuple(one for one in every if one.practices is None or practice in one.practices)


def preview(asked: Asked) -> Response:
    """Show what the line would be and change; nothing is written."""
    draft = asked.desk.drafts.keep(asked)
    asked = replace(asked, said={**asked.said, "draft": (draft.key,)}, files=draft.files)
    try:
        logged, notes = _logged(asked, is_preview=True)
    except HabmapError as error:
        return show(asked, error=error)
    from habmap.show.burn.words import burn_words
    from habmap.show.logged_words import caution_lines, changes_sentences, logged_sentence

    return page(
        asked,
        "log_preview.html.j2",
        logged=logged,
        sentence=logged_sentence(logged),
        changes=changes_sentences(logged),
        notes=(*logged.warnings, *notes),
        burn=burn_words(logged.burn),
        cautions=caution_lines(logged),
        draft=draft,
        yes=_YES if asked.text("reported_acres") else None,
    )


def save(asked: Asked) -> Response:
    """Add the line that was looked at."""
    said_yes = asked.texts("yes")
    asked = asked.desk.drafts.taken_up(asked)
    if said_yes:
        asked = replace(asked, said={**asked.said, "yes": said_yes})
    logged, _ = _logged(asked, is_preview=False)
    if asked.files.get("track"):
        from habmap.place.walk_files import keep_walks

        keep_walks(asked.at.folder, asked.paths("track"), number=logged.number)
    return asked.goto("history", saved=str(logged.number))


def ground(asked: Asked) -> Response:
    """Take an outline that was drawn on the map into the form."""
    draft = asked.desk.drafts.keep(asked)
    return asked.goto("log", draft=draft.key)


def _logged(asked: Asked, *, is_preview: bool) -> tuple[Logged, tuple[str, ...]]:
    from habmap.jobs.log import log
    from habmap.records import BurnRecord, Entry
    from habmap.records.said import BurnSaid, Said, assembled
    from habmap.work.burn.observed import check_burn_said
    from habmap.work.said import check_practice, check_said

    practice = check_practice(asked.text("practice"))
    told = read_facts(asked, facts_for(practice))
    said, burn = Said(**assembled(Entry, told)), BurnSaid(**assembled(BurnRecord, told))
    check_said(said, practice=practice)
    day = asked.day("date", "day of the work")
    check_burn_said(burn, practice=practice, month=day.month if day else None, is_sure=asked.has("yes"))
    found = _ground(asked, day)
    logged = log(
        asked.store,
        practice=practice,
        date=found.day,
        patch=found.patch,
        said=said,
        now=asked.now,
        today=asked.today,
        unit_ids=found.unit_ids,
        acres_sd=found.acres_sd,
        burn=burn,
        agree=lambda words: asked.has("yes"),
        is_preview=is_preview,
    )
    return logged, found.notes


def _ground(asked: Asked, day: dt.date | None) -> _Ground:
    """Return the ground that the form gives, by a walk, an outline, a block or whole units: by one of them."""
    ways = {
        "a walk": asked.paths("track"),
        "an outline drawn on the map": asked.text("ground"),
        "a file with the ground": asked.paths("patch"),
        "a block": asked.text("block"),
        "whole units": asked.texts("unit"),
    }
    given = [way for way, value in ways.items() if value]
    if len(given) != 1:
        raise UsageError(
            "several grounds are given" if given else "on which ground?",
            where="the ground",
            value=", ".join(given) or None,
            allowed=f"one of {', '.join(ways)}",
            mend="give the ground that the work really covered, in one way",
        )
    if ways["a walk"]:
        return _walked(asked, day)
    if day is None:
        raise UsageError("on which day?", where="day of the work", mend="give the day of the work")
    if ways["a block"]:
        from habmap.jobs.log_block import block_ground

        return _Ground(*_with_day(*block_ground(asked.store, (asked.text("block"),), on=day), day))
    if ways["whole units"]:
        return _whole(asked, day)
    path = asked.paths("patch")[0] if ways["a file with the ground"] else drawn_file(asked)
    from habmap.place.layers import read_ground_and_repairs

    patch, repairs = read_ground_and_repairs(path, repair=asked.has("repair"))
    return _Ground(patch, day, notes=repairs)


def _with_day(patch: Any, unit_ids: tuple[str, ...], day: dt.date) -> tuple[Any, dt.date, tuple[str, ...]]:
    return patch, day, unit_ids


def _walked(asked: Asked, day: dt.date | None) -> _Ground:
    from habmap.jobs.log_walk import walk_ground
    from habmap.work.traced import Window

    walk = walk_ground(
        asked.store,
        asked.paths("track"),
        swath_ft=asked.number("swath_ft", "breadth worked along the walk"),
        travel=asked.text("travel") or "foot",
        window=Window(_clock(asked, "from"), _clock(asked, "to")),
        day=day,
    )
    return _Ground(walk.patch, walk.day, walk.unit_ids, walk.acres_sd, walk.notes)


def _whole(asked: Asked, day: dt.date) -> _Ground:
    from habmap.jobs.log import whole_units

    unit_ids = tuple(dict.fromkeys(asked.texts("unit")))
    if not asked.has("whole"):
        raise UsageError(
            "was all of each unit covered?",
            where="whole units",
            value=", ".join(unit_ids),
            mend="say so by its box; else draw the ground really covered, or give a walk",
        )
    return _Ground(whole_units(asked.store, unit_ids, on=day), day, unit_ids)


def drawn_file(asked: Asked) -> Path:
    """Return an outline that was drawn on the map as the file that its text is."""
    path = asked.desk.new_folder() / "drawn.geojson"
    path.write_text(asked.text("ground"), encoding="utf-8")
    return path


def _clock(asked: Asked, name: str) -> dt.time | None:
    text = asked.text(name)
    try:
        return dt.time.fromisoformat(text) if text else None
    except ValueError:
        raise UsageError(
            "this is not a time of day", where=f"{name}, of the walk", value=text, allowed="HH:MM"
        ) from None


def _walk_fields() -> tuple[Field, ...]:
    from habmap.land.tracks import TRAVEL_MPS

    return (
        Field(
            name="track",
            label="walks of a GPS",
            kind="file",
            is_several=True,
            accept=WALKS,
            help="GPX, KML or GeoJSON; several are taken as one walk.",
        ),
        Field(
            name="swath_ft",
            label="breadth worked along the walk",
            kind="number",
            unit="ft",
            low=0,
            high=1000,
            help="Where the walk went back and forth over the ground; left open for a walk around it.",
        ),
        Field(
            name="travel",
            label="how it was walked",
            kind="choice",
            choices=tuple((way, way) for way in TRAVEL_MPS),
            empty=None,
        ),
        Field(name="from", label="only from this time of day", kind="time"),
        Field(name="to", label="only up to this time of day", kind="time"),
    )


def _block_field(store: Any, practice: str) -> Field | None:
    from habmap.vocabulary import FIRE

    names = (*store.settings.burn.blocks, *(block.name for block in store.drawn_blocks()))
    if practice not in FIRE or not names:
        return None
    return Field(
        name="block", label="a burn block", kind="choice", choices=tuple((name, name) for name in dict.fromkeys(names))
    )


def _cautions(practice: str) -> tuple[str, ...]:
    from habmap.records.said import Said
    from habmap.work.said import cautions_for

    return cautions_for(practice, Said())


def _kept(asked: Asked) -> dict[str, str]:
    """Return what was chosen before the kind of work: an outline that was drawn, a unit that was picked."""
    return {name: asked.text(name) for name in ("draft", "unit") if asked.has(name)}


ROOM: Final = Room(
    name="log",
    title="Log work",
    show=show,
    acts={"preview": preview, "save": save, "ground": ground},
)
