"""Pages and tables of the desk: templates, the one style sheet, and words of the command line turned into a page's."""

from __future__ import annotations

import re
import secrets
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache, partial
from importlib.resources import files
from typing import Any, Final

import jinja2
from starlette.responses import HTMLResponse, Response

from habmap.desk.asked import Asked
from habmap.desk.forms import LAYERS, WALKS, Field
from habmap.errors import HabmapError, InputErrors
from habmap.show.templating import ENVIRONMENT, template_text

#: Files that pages load, with what they are.
ASSETS: Final = {
    "desk.css": "text/css",
    "strip.css": "text/css",
    "no-script.css": "text/css",
    "desk.js": "text/javascript",
    "map.js": "text/javascript",
}
_ROOT: Final = re.compile(r":root\s*\{[^}]*\}")


@cache
def _environment() -> jinja2.Environment:
    """Return the environment of all pages of habmap, with the desk's templates before theirs."""
    own = jinja2.PackageLoader("habmap.desk")
    assert ENVIRONMENT.loader is not None
    found = ENVIRONMENT.overlay(loader=jinja2.ChoiceLoader([own, ENVIRONMENT.loader]))
    found.filters.update(acres=partial(figure, decimals=2), figure=figure, day=day_text, at_desk=desk_words)
    found.filters.update(faults=faults_of, fault_lines=fault_lines)
    found.globals.update(Field=Field, WALKS=WALKS, LAYERS=LAYERS)
    return found


@cache
def asset(name: str) -> str:
    """Return the text of a file that pages load; the inks are those of the map page."""
    text = (files("habmap.desk") / "assets" / name).read_text(encoding="utf-8")
    if name != "desk.css":
        return text
    inks = _ROOT.search(template_text("page/page.css"))
    assert inks is not None
    return f"{inks[0]}\n{text}"


def page(asked: Asked, template: str, *, error: HabmapError | None = None, **values: Any) -> Response:
    """Return a page of a room, with what went wrong, where something did."""
    return HTMLResponse(render(asked, template, {**values, "error": error}), status_code=422 if error else 200)


def piece(asked: Asked, template: str, **values: Any) -> str:
    """Return a piece of a page, for one that is made elsewhere."""
    return render(asked, template, values)


def render(asked: Asked, template: str, values: Mapping[str, Any]) -> str:
    """Return the text of a page of a room."""
    desk = asked.desk
    frame = {
        "asked": asked,
        "desk": desk,
        "rooms": desk.listed_rooms,
        "token": desk.keys.token,
        "once": secrets.token_urlsafe(12),
        "title": desk.title_of(asked.room),
    }
    return _environment().get_template(template).render({**frame, **values})


# --- figures ------------------------------------------------------------------------------------------------


def figure(value: float | None, decimals: int = 0) -> str:
    """Return a number as a table shows it; a dash where it is not known."""
    return "–" if value is None else f"{value:,.{decimals}f}"


def day_text(value: date | None) -> str:
    """Return a day as a table shows it; a dash where it is not known."""
    return "–" if value is None else value.isoformat()


# --- what went wrong ----------------------------------------------------------------------------------------


def faults_of(error: HabmapError) -> tuple[HabmapError, ...]:
    """Return the faults of an error one by one."""
    return error.faults if isinstance(error, InputErrors) else (error,)


def fault_lines(error: HabmapError) -> list[tuple[str, str]]:
    """Return what a fault says beside its first sentence, as pairs of word and text."""
    told = [("where", error.where), ("found", error.value), ("allowed", error.allowed), ("fix", error.mend)]
    return [(word, desk_words(text)) for word, text in told if text]


#: Options that are no field of a log line, by the words of the desk's own forms.
_FLAGS: Final = {
    "--yes": "“yes, it is right”",
    "--clear": "a field that was emptied",
    "--overwrite": "“replace what is there”",
    "--repair": "“mend outlines that cross themselves”",
    "--trim": "“cut back to neighbors”",
    "--layer": "“which layer”",
    "--sheet": "“which sheet”",
    "--map": "“which column holds what”",
    "--vertical-unit": "“unit of the heights”",
    "--name": "the name",
    "--timezone": "the time zone",
    "--whole": "“the whole unit”",
    "--unit": "the unit",
    "--unit-id": "the short name",
    "--cover": "what grew there",
    "--into": "the new names",
    "--date": "the day",
    "--from": "“from”",
    "--to": "“to”",
    "--time": "the hour of ignition",
    "--hours": "the hours",
    "--why": "the reason",
    "--track": "a walk",
    "--travel": "“how it was walked”",
    "--swath-ft": "“breadth worked along the walk”",
    "--patch": "a drawn outline",
    "--block": "the block",
    "--forecast": "the forecast",
    "--item": "the contract item",
    "--copy": "a copy",
    "--declination": "the declination",
}


@cache
def _flags() -> dict[str, str]:
    from habmap.records import BurnRecord, Entry, said_facts

    named = {one.flag: one.words for record in (Entry, BurnRecord) for one in said_facts(record)}
    return named | _FLAGS


#: The room in which a command's work is done at the desk.
ROOM_OF: Final = {
    "start": "Your properties", "demo": "Your properties", "week": "This week", "due": "This week", "map": "Map",
    "acres": "Units", "log": "Log work", "unit": "Units", "trace": "Units", "rank": "Units", "terrain": "Units",
    "density": "Units", "burnsheet": "Burn sheet", "schedule": "Season", "response": "What has grown back",
    "photos": "What has grown back", "sheet": "Papers", "handout": "Papers", "export": "Papers", "bite": "Papers",
    "history": "History", "void": "History", "correct": "History", "load": "Load", "check": "Check", "manual": "Manual",
}  # fmt: skip
_TYPED: Final = re.compile(r"`habmap ([a-z]+)(?: [^`]*)?`")
_FLAG: Final = re.compile(r"(?<![\w-])--[a-z][a-z-]+")


@cache
def _shelves() -> re.Pattern[str]:
    within = re.escape(tempfile.gettempdir())
    return re.compile(rf"(?:/private)?{within}[\\/]habmap-desk-[^\\/\s]+[\\/](?:[^\\/\s]+[\\/])*")


def desk_words(text: str) -> str:
    """Return a sentence that names commands and options of the command line with rooms and fields in their place.

    Folders into which the desk put files that came are left out: people know a file by its name alone.
    """
    text = _shelves().sub("", text)
    text = _TYPED.sub(lambda found: f"“{ROOM_OF[found[1]]}”" if found[1] in ROOM_OF else found[0], text)
    return _FLAG.sub(lambda found: _flags().get(found[0], found[0]), text)


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table ready to be shown: its cells are words.

    Attributes
    ----------
    figures
        Numbers of the columns that hold figures and stand to the right.
    """

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    figures: frozenset[int] = frozenset()


def table(caption: str, heads: Sequence[str], rows: Sequence[Sequence[object]], *, decimals: int = 2) -> Table:
    """Return a table of values: numbers to some decimals, days as they are written, a dash for what is not known."""
    figures = frozenset(
        i for i in range(len(heads)) if any(_is_number(row[i]) for row in rows) and all(_fits(row[i]) for row in rows)
    )
    return Table(
        caption=caption,
        heads=tuple(heads),
        rows=tuple(tuple(_cell(value, decimals) for value in row) for row in rows),
        figures=figures,
    )


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _fits(value: object) -> bool:
    return value is None or _is_number(value)


def _cell(value: object, decimals: int) -> str:
    if value is None or value == "":
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return figure(value, decimals)
    if isinstance(value, date):
        return day_text(value).replace("-", "\N{NON-BREAKING HYPHEN}")
    return str(value)
