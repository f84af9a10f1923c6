"""Write down what was seen or measured out there: a sighting, a frame read for cover, a plot, photos of one spot.

The fields are the columns of the same things' tables, and what is filled in is loaded as a row of one: nothing differs
from a file but that nobody has to make it.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import zip_longest
from typing import TYPE_CHECKING, Any, Final

from starlette.responses import Response

from habmap.desk.asked import Asked
from habmap.desk.forms import Field, choice_of
from habmap.desk.pages import faults_of, page
from habmap.desk.room import Room
from habmap.errors import HabmapError, InputError, InputErrors, UsageError

if TYPE_CHECKING:
    from habmap.place.load.spec import Column, TableSpec


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One thing that can be written down.

    Attributes
    ----------
    key, words
        As ``habmap load`` calls its table; what people call it.
    left_out
        Columns that a form need not ask for.
    many
        Columns that a form has several lines of; ``lines`` at first.
    carried
        Columns that the next one mostly says again.
    """

    key: str
    words: str
    help: str = ""
    left_out: tuple[str, ...] = ()
    many: tuple[str, ...] = ()
    lines: int = 8
    carried: tuple[str, ...] = ()


KINDS: Final = (
    Kind(
        key="sightings",
        words="a plant or an animal that was seen",
        help="Its exact place stays in your own copy, and on nothing made for the public.",
        left_out=("occurrenceID",),
        carried=("eventDate", "recordedBy"),
    ),
    Kind(
        key="cover",
        words="a frame read for plant cover",
        help="All plants of a frame at once, each with its class (1 to 6) or percent. With nothing in it: no plant.",
        many=("species", "group", "cover_class", "cover_pct", "native"),
        carried=("reading_id", "date", "unit_id"),
    ),
    Kind(
        key="plots",
        words="a sampling plot",
        carried=("method", "date", "unit_id", "stratum", "plot_acres", "radius_ft", "distance_unit", "line_ft"),
    ),
    Kind(
        key="photos",
        words="photos of one spot",
        help="Where the camera told place and time, leave these open. Photos of one spot become its before and after.",
        left_out=("file",),
    ),
)


#: Lines of a form that stay open however many are filled in.
_SPARE_LINES: Final = 3
#: Ways to measure a plot, in words.
_WAYS: Final = {
    "fixed": "stems counted on ground of a known size",
    "quarter": "distances to the nearest stem in four quarters",
    "line": "a line laid out under crowns",
}


def show(asked: Asked, *, error: HabmapError | None = None) -> Response:
    """Show what may be written down, or the form for one thing."""
    kind = _kind(asked)
    if kind is None:
        return page(asked, "seen_kinds.html.j2", kinds=KINDS, error=error)
    asked, _ = asked.desk.drafts.begun(asked, error)
    spec = _spec(kind)
    ways = _ways(spec)
    if ways is not None and asked.text(ways.name) not in ways.words:
        return page(asked, "seen_ways.html.j2", kind=kind, ways=ways, ways_words=_WAYS, error=error)
    columns = [one for one in _columns(asked, kind, spec) if ways is None or one.name != ways.name]
    units = tuple((unit.unit_id, unit.unit_id) for unit in asked.store.units())
    return page(
        asked,
        "seen.html.j2",
        error=None if error is None else _in_words(error, spec),
        kind=kind,
        way=None if ways is None else (ways.name, asked.text(ways.name)),
        fields=[_field(one, units) for one in columns if one.name not in kind.many],
        many=[_field(one, units) for one in columns if one.name in kind.many],
        lines=_lines(asked, kind),
        spot=_spot(spec),
        done=asked.text("done"),
    )


def spot_form(asked: Asked) -> dict[str, Any] | None:
    """Return what the map needs to be asked for a place by a tap; ``None`` where nobody asked."""
    kind = next((one for one in KINDS if one.key == asked.text("spot")), None)
    if kind is None:
        return None
    spec = _spec(kind)
    ways = _ways(spec)
    way = [] if ways is None else [(ways.name, asked.text(ways.name))]
    return {"kind": kind.key, "names": _spot(spec), "way": way}


def look(asked: Asked) -> Response:
    """Show what would be written; nothing is."""
    from habmap.jobs.load.tables import write_down

    kind = _kind(asked)
    if kind is None or kind.key == "photos":
        raise UsageError(
            "what was seen?", where="the kind", allowed=", ".join(one.words for one in KINDS), mend="choose a kind"
        )
    asked, draft = asked.desk.drafts.looked_at(asked)
    spec, rows = _spec(kind), _rows(asked, kind)
    try:
        result = write_down(asked.store, kind.key, rows, now=asked.now, today=asked.today, is_preview=True)
        _refuse_known(result.loaded, kind)
    except HabmapError as error:
        return show(asked, error=error)
    columns = _columns(asked, kind, spec)
    own = [(one.label, rows[0][one.name]) for one in columns if one.name not in kind.many and rows[0].get(one.name)]
    lines = [", ".join(row[name] for name in kind.many if row.get(name)) for row in rows if kind.many]
    return page(
        asked,
        "seen_look.html.j2",
        kind=kind,
        noun=spec.noun,
        own=own,
        lines=[words for words in lines if words],
        notes=[re.sub(r"^the form: ", "", words) for words in result.warnings],
        draft=draft,
    )


def save(asked: Asked) -> Response:
    """Write what was looked at, and show the form for the next."""
    from habmap.jobs.load.tables import write_down

    asked = asked.desk.drafts.taken_up(asked)
    kind = _kind(asked)
    assert kind is not None  # a draft of this room says its kind
    try:
        result = write_down(asked.store, kind.key, _rows(asked, kind), now=asked.now, today=asked.today)
        _refuse_known(result.loaded, kind)
    except HabmapError as error:
        return show(asked, error=error)
    again = {name: asked.text(name) for name in kind.carried if asked.has(name)}
    return asked.goto("seen", kind=kind.key, done=kind.words, **again)


def bring(asked: Asked) -> Response:
    """Begin to load photos with what is said of them, and go where it is told what came of it."""
    kind = next(one for one in KINDS if one.key == "photos")
    try:
        if not asked.files.get("file"):
            raise UsageError("no photo came", where="the photos", mend="choose them, or drop them on their field")
        folder, names = asked.in_one_folder("file")
        (said,) = _rows(asked, kind)
        if any(said.values()):
            with (folder / "photos.csv").open("w", encoding="utf-8", newline="") as file:
                table = csv.DictWriter(file, ["file", *said])
                table.writeheader()
                table.writerows({"file": name, **said} for name in names)
    except HabmapError as error:
        return show(asked, error=error)
    words = ["load", "photos", str(folder), "--json"]
    work = asked.runs(words, title="Loading of photos", room="grown", brought=[folder])
    return asked.goto("work", id=work.key)


def _kind(asked: Asked) -> Kind | None:
    return next((one for one in KINDS if one.key == asked.text("kind")), None)


def _spec(kind: Kind) -> TableSpec[Any]:
    from habmap.jobs.load.tables import TABLES
    from habmap.place.load.photos import PHOTOS

    return {**TABLES, "photos": PHOTOS}[kind.key]


def _ways(spec: TableSpec[Any]) -> Column | None:
    """Return the column by which rows differ in what they say: it is chosen before the rest."""
    names = {one.only[0] for one in spec.columns if one.only}
    return next((one for one in spec.columns if one.name in names), None)


def _columns(asked: Asked, kind: Kind, spec: TableSpec[Any]) -> list[Column]:
    return [
        one
        for one in spec.columns
        if one.name not in kind.left_out and (one.only is None or asked.text(one.only[0]) == one.only[1])
    ]


def _field(one: Column, units: tuple[tuple[str, str], ...]) -> Field:
    kinds = {"number": "number", "count": "number", "day": "date", "written_day": "date", "moment": "datetime-local"}
    kind = "choice" if one.words or one.kind == "flag" or one.name == "unit_id" else kinds.get(one.kind, "text")
    is_open = one.low == float("-inf")
    words = one.fact.help or "" if one.fact else ""
    return Field(
        name=one.name,
        label=one.label,
        unit=one.fact.unit if one.fact else "",
        kind="long" if kind == "text" and not one.one_line else kind,
        help=f"{words[:1].upper()}{words[1:].rstrip('.')}." if words else "",
        low=None if is_open else one.low,
        high=None if one.high == float("inf") else one.high,
        choices=units if one.name == "unit_id" else tuple(map(choice_of, one.words or ("yes", "no"))),
        is_needed=one.is_required,
    )


def _spot(spec: TableSpec[Any]) -> tuple[str, str] | None:
    """Return the columns of a place, longitude first, that the map can fill in."""
    names = {one.name for one in spec.columns}
    ways = (("decimalLongitude", "decimalLatitude"), ("lon", "lat"))
    return next((way for way in ways if names.issuperset(way)), None)


def _rows(asked: Asked, kind: Kind) -> list[Mapping[str, str]]:
    """Return what is filled in as rows of a table: one, or one a line that says anything."""
    columns = _columns(asked, kind, _spec(kind))
    own = {one.name: asked.text(one.name) for one in columns if one.name not in kind.many}
    filled = [line for line in _lines(asked, kind) if any(line.values())]
    return [{**own, **line} for line in filled] or [own]


def _lines(asked: Asked, kind: Kind) -> list[dict[str, str]]:
    """Return the lines of a form that has several, as they are filled in, with some left for more."""
    if not kind.many:
        return []
    told = list(zip_longest(*(asked.said.get(name, ()) for name in kind.many), fillvalue=""))
    filled = [dict(zip(kind.many, map(str.strip, one), strict=True)) for one in told if any(map(str.strip, one))]
    blank = dict.fromkeys(kind.many, "")
    return filled + [dict(blank) for _ in range(max(kind.lines - len(filled), _SPARE_LINES))]


def _refuse_known(loaded: int, kind: Kind) -> None:
    if not loaded:
        raise InputError(
            "this is written down already; nothing was added",
            value=kind.words,
            where="what was filled in",
            mend="change what is new, or leave it as it stands",
        )


def _in_words(error: HabmapError, spec: TableSpec[Any]) -> HabmapError:
    """Return what went wrong with the form's labels in place of the table's columns."""
    labels = {one.name: one.label for one in spec.columns if one.name != one.label}
    named = re.compile(r"(?<![\w.])(column )?(" + "|".join(map(re.escape, labels)) + r")(?!\w)")

    def worded(text: str) -> str:
        text = text.replace("mend that cell and load the file again", "mend it and look at it again")
        return named.sub(lambda found: labels[found[2]], text)

    faults = [
        InputError(
            worded(one.what), where=worded(one.where), value=one.value, allowed=one.allowed and worded(one.allowed),
            mend=worded(one.mend),
        )
        for one in faults_of(error)
    ]  # fmt: skip
    return InputErrors(faults, where="the form")


ROOM: Final = Room(
    name="seen",
    title="Write down what was seen",
    show=show,
    acts={"look": look, "save": save, "bring": bring},
    is_listed=False,
)
