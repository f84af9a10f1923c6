"""The burn sheet: a burn day's result set down on two pages, as a PDF and as HTML."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import shapely
from shapely import LineString

from habmap.errors import InputError, UsageError
from habmap.jobs.burn.forecast import WEATHER_ITEMS, with_forecast
from habmap.jobs.burn.sheet_hours import chart_words, hours_chart, hours_sections
from habmap.jobs.burn.sheet_parts import (
    around_sections,
    edge_keys,
    edges_section,
    hour_words,
    moisture_section,
    plan_section,
    side_and_beyond,
    turned_section,
)
from habmap.jobs.burnday import BurnDayResult
from habmap.jobs.ports import Store
from habmap.place.elevation import open_elevation
from habmap.place.writers import refuse_to_write, write_whole
from habmap.show.burn.html import render_burn_html
from habmap.show.burn.pages import burn_pages, draw_burn_pdf
from habmap.show.burn.sheet import BurnPaper, BurnSheet, Section, SheetEdge, hand_sections
from habmap.show.records import PageFeature
from habmap.show.relief import Relief, draw_relief
from habmap.show.words import tenths
from habmap.vocabulary import PRIVATE_FEATURE_KINDS, WIND_WORDS, wind_16
from habmap.work.burn.hours import hour_of
from habmap.work.burn.request import BurnRequest
from habmap.work.burn.surroundings import sensitive_features
from habmap.work.burnday import beside


@dataclass(frozen=True, slots=True)
class _Room:
    """Longest lists on the sheet; what is left out is counted there, and `habmap burnsheet` prints all of it."""

    edges: int
    places: int
    faces: int
    hours: int
    crew: int


#: From generous to terse: the first that keeps the sheet on two pages is taken. Where none does, the first that three
#: hold: a day with much to say is no day for leaving things out.
_ROOMS: Final = tuple(
    _Room(edges=edges, places=places, faces=faces, hours=hours, crew=crew)
    for edges, places, faces, hours, crew in (
        (24, 7, 6, 8, 6),
        (20, 7, 6, 6, 6),
        (18, 6, 6, 6, 5),
        (18, 5, 5, 6, 4),
        (18, 4, 4, 6, 4),
        (16, 4, 4, 6, 4),
        (16, 4, 4, 5, 3),
        (14, 4, 4, 5, 3),
        (14, 4, 3, 4, 3),
        (12, 4, 3, 4, 3),
        (11, 4, 3, 4, 3),
        (10, 4, 3, 3, 3),
        (9, 3, 3, 3, 3),
        (8, 3, 3, 3, 3),
        (7, 3, 3, 3, 3),
        (6, 3, 3, 3, 3),
        (5, 3, 3, 3, 3),
    )
)
_PAGES: Final = (2, 3)
#: Notes on page one: three lines of it hold this and the pointer to the rest.
_NOTES_CHARACTERS: Final = 330
_RELIEF_CELLS: Final = 200_000
_KINDS: Final = {".pdf", ".html"}


def write_burn_sheets(
    store: Store,
    request: BurnRequest,
    result: BurnDayResult,
    *,
    targets: Sequence[Path],
    now: datetime,
    paper: BurnPaper = "letter",
    overwrite: bool = False,
) -> None:
    """Write the burn sheet to every target; what it is, its suffix says (.pdf or .html).

    Parameters
    ----------
    store, request, result
        The place, what was asked, and what `habmap.jobs.burnday.burnday` answered.
    now
        The moment of drawing (UTC).

    Raises
    ------
    UsageError, InputError, PlaceError
        A name ends otherwise, a file is there already, or the disk refused. All names are looked at, and all sheets
        drawn, before the first is written.
    """
    refuse_targets(targets, overwrite=overwrite)
    request, _ = with_forecast(store, request)
    drawn_on = now.astimezone(ZoneInfo(store.settings.place.timezone)).date()
    relief = _relief(store, result)
    for most, room in ((most, room) for most in _PAGES for room in _ROOMS):
        sheet = burn_sheet(store, request, result, drawn_on=drawn_on, relief=relief, room=room)
        if burn_pages(sheet, paper=paper) <= most:
            break
    contents = [
        draw_burn_pdf(sheet, paper=paper).content
        if target.suffix.lower() == ".pdf"
        else render_burn_html(sheet, paper=paper).encode()
        for target in targets
    ]
    for target, content in zip(targets, contents, strict=True):
        write_whole(target, lambda path, content=content: path.write_bytes(content), overwrite=overwrite)  # type: ignore[misc]


def refuse_targets(targets: Sequence[Path], *, overwrite: bool) -> None:
    """Raise for a name that no sheet can be written to, before any work is done."""
    for target in targets:
        if target.suffix.lower() not in _KINDS:
            raise UsageError(
                "the burn sheet is a PDF or an HTML file",
                where="--sheet",
                value=target.name,
                allowed="a name that ends in .pdf or .html",
                mend="name it so",
            )
        if not target.parent.is_dir():
            raise InputError("there is no such folder", where=str(target.parent), mend="make the folder first")
        refuse_to_write(target, overwrite=overwrite)


def burn_sheet(
    store: Store,
    request: BurnRequest,
    result: BurnDayResult,
    *,
    drawn_on: date,
    relief: Relief | None = None,
    room: _Room = _ROOMS[0],
) -> BurnSheet:
    """Return what the sheet says: the result's own figures, none of them worked out anew.

    Raises
    ------
    InputError
        The property holds no ground.
    """
    grid = store.grid
    if grid is None or not result.edges:
        raise InputError("there is no ground to draw", mend="load its units with `habmap load units FILE`")
    keys = edge_keys(result.edges)
    chart = hours_chart(result, grid=grid, zone=ZoneInfo(store.settings.place.timezone))
    edges = tuple(
        SheetEdge(
            side=edge.side,
            line=LineString(edge.coordinates),
            outward_deg=edge.outward_deg,
            key=keys[side_and_beyond(edge)],
            rises=edge.upslope,
        )
        for edge in result.edges
    )
    features = store.features()
    lines = shapely.MultiLineString([edge.line for edge in edges])
    boundary = store.boundary()
    notes, more_notes = _notes((*result.warnings, *result.block_words))
    middle = shapely.get_coordinates(shapely.centroid(shapely.convex_hull(lines)))[0].tolist()
    return BurnSheet(
        place=result.place,
        headline=f"Burn sheet: {result.block}, {tenths(result.acres)} acres, {hour_words(result.time)}",
        lines=(
            f"{result.place}. {_weather_words(request, result)}",
            *_again_lines(result),
            *((notes,) if notes else ()),
        ),
        drawn_on=drawn_on,
        again_title=None if result.again is None else result.again.title,
        grid=grid,
        edges=edges,
        units=tuple(
            (f"{unit.unit_id} {unit.name or ''}".strip(), unit.geometry) for unit in store.units(request.at.date())
        ),
        features=tuple(
            PageFeature(
                kind=feature.kind,
                name=feature.name or "",
                geometry=feature.geometry,
                is_private=feature.kind in PRIVATE_FEATURE_KINDS,
            )
            for feature in features
        ),
        ringed=tuple(
            feature.geometry for feature in sensitive_features(features) if "Line" not in feature.geometry.geom_type
        ),
        boundary=None if boundary is None else boundary.geometry,
        relief=relief,
        wind_from_deg=result.wind_from_deg,
        wind_words=(
            f"wind from {wind_16(result.wind_from_deg)}, {beside(result.wind_from_deg)}° true",
            f"{_said(request, 'wind_mph', '{:g} mph', 'speed')}, {_height_words(result.wind_height)}",
        ),
        measured=(
            plan_section(result),
            Section(title="Not checked here", sentences=tuple(f"– {words}" for words in result.not_checked)),
            *((Section(title="More of this block and its figures", sentences=more_notes),) if more_notes else ()),
            moisture_section(result, room.faces),
            edges_section(result, keys, room.edges),
            *turned_section(result, room.hours),
            *around_sections(result, room.places),
            *hours_sections(result, room.hours),
            Section(title="Cautions", sentences=result.cautions, is_framed=True, may_move=True),
        ),
        chart=chart,
        chart_words="" if chart is None else chart_words(result, chart),
        by_hand=hand_sections(
            notify=result.notify,
            notices=tuple((told.who, told.when, told.how) for told in result.notices),
            crew_rows=room.crew,
            middle_words=f"Middle of the block: {abs(middle[1]):.5f} {'N' if middle[1] >= 0 else 'S'}, "
            f"{abs(middle[0]):.5f} {'E' if middle[0] >= 0 else 'W'} (degrees, WGS 84).",
        ),
    )


def _relief(store: Store, result: BurnDayResult) -> Relief | None:
    source = store.elevation()
    if source is None or not result.edges:
        return None
    outline = shapely.MultiLineString([edge.coordinates for edge in result.edges])
    west, south, east, north = outline.bounds
    margin = 0.5 * max(east - west, north - south)
    with open_elevation(Path(source.path), vertical_unit=source.vertical_unit) as elevation:
        if not bool(elevation.touches([shapely.convex_hull(outline)])[0]):
            return None  # said in words by the burn day's own warnings
        coarse = elevation.coarse_heights((west - margin, south - margin, east + margin, north + margin), _RELIEF_CELLS)
    return draw_relief(coarse.heights_m.astype("float64"), transform=coarse.transform, crs_wkt=coarse.crs_wkt)


# --- words --------------------------------------------------------------------------------------------------


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}{'' if words.endswith('.') else '.'}"


def _sentences(parts: Sequence[str]) -> str:
    return " ".join(_sentence(part) for part in parts)


def _notes(parts: Sequence[str]) -> tuple[str, tuple[str, ...]]:
    """Return what page one has room for, and the rest: none of it may be cut off there."""
    sentences = [_sentence(part) for part in parts]
    first = 0
    while first < len(sentences) and len(" ".join(sentences[: first + 1])) <= _NOTES_CHARACTERS:
        first += 1
    rest = tuple(sentences[first:])
    pointer = ("More of this stands on page 2.",) if rest else ()
    return " ".join((*sentences[:first], *pointer)), rest


def _again_lines(result: BurnDayResult) -> tuple[str, ...]:
    words = () if result.again is None else result.again.words
    return tuple(_sentences(part) for part in (words[:2], words[2:]) if part)


def _given(request: BurnRequest, item: str) -> float | None:
    """Return an item of the weather that the burn day was worked out with: as given, else the forecast's hour."""
    said: float | None = getattr(request, item)
    hour = hour_of(request.forecast, request.at)
    if said is None and hour is not None:
        said = getattr(hour, item)
    return None if said is None else float(said)


def _said(request: BurnRequest, item: str, shape: str, name: str) -> str:
    value = _given(request, item)
    return f"{name} not given" if value is None else shape.format(value)


def _height_words(height: str | None) -> str:
    return {"20ft": "at 20 ft", "eye": "at eye level"}.get(height or "", "height not said")


def _weather_words(request: BurnRequest, result: BurnDayResult) -> str:
    taken = set(result.forecast.taken) if result.forecast else set()
    given = "forecast" if taken >= set(WEATHER_ITEMS) else "given and forecast" if taken else "given"
    return (
        f"Weather as {'logged' if result.again else given} for ignition: "
        f"{_said(request, 'temp_f', '{:g} °F', 'temperature')}, "
        f"{_said(request, 'rh_pct', 'humidity {:g} %', 'humidity')}, "
        f"{_said(request, 'wind_mph', 'wind {:g} mph', 'speed of the wind')} from "
        f"{WIND_WORDS[wind_16(result.wind_from_deg)]} "
        f"({_height_words(result.wind_height)})."
    )
