"""The burn sheet composed: a burn sheet's result laid out as three pages, its lists shortened until they hold it."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

import shapely
from shapely import MultiPolygon

from habmap.land.grid import LocalGrid
from habmap.records import Feature, Unit
from habmap.show.burn.hour_sections import chart_words, hours_chart, hours_sections
from habmap.show.burn.pages import burn_pages
from habmap.show.burn.sections import (
    edge_keys,
    edges_section,
    hour_words,
    moisture_section,
    plan_section,
    surroundings_section,
    turned_section,
)
from habmap.show.burn.sheet import BurnGround, BurnPaper, BurnSheet, Section, hand_sections
from habmap.show.burn.words import height_words, kept_words
from habmap.show.records import page_features
from habmap.show.relief import Relief
from habmap.show.shares import Share, page_shares, share_of
from habmap.show.words import tenths
from habmap.vocabulary import WIND_WORDS, wind_16
from habmap.work.burn.forecast import WEATHER_ITEMS
from habmap.work.burn.result import BurnsheetResult
from habmap.work.burn.surroundings import NearPlace, sensitive_features
from habmap.work.burn.written_plan import beside
from habmap.work.ground import GroundPiece


@dataclass(frozen=True, slots=True)
class _Room:
    """Longest lists on the sheet; what is left out is counted there, and `habmap burnsheet` prints all of it."""

    edges: int
    places: int
    faces: int
    hours: int
    crew: int


#: From generous to terse: the first that keeps the sheet on three pages is taken. Where none does, the first that four
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
_PAGES: Final = (3, 4)
#: Rows to write the crew in, beyond what the room of lists says: the page that is filled in has room.
_MORE_CREW: Final = 4
#: Of the block's name in the headline, and of the property's [characters].
_BLOCK_CHARACTERS: Final = 60
_NAME_CHARACTERS: Final = 90
#: Notes on page one: three lines of it hold this and the pointer to the rest.
_NOTES_CHARACTERS: Final = 330


def fitted_sheet(result: BurnsheetResult, *, paper: BurnPaper, **about: Any) -> BurnSheet:
    """Return the sheet with as much in its lists as three pages hold, else four; ``about`` as of `burn_sheet`."""
    for most in _PAGES:
        for room in _ROOMS:
            sheet = burn_sheet(result, room=room, **about)
            if burn_pages(sheet, paper=paper) <= most:
                return sheet
    return sheet


def burn_sheet(
    result: BurnsheetResult,
    *,
    weather: Mapping[str, float | None],
    grid: LocalGrid,
    zone: ZoneInfo,
    drawn_on: date,
    units: Sequence[Unit] = (),
    features: Sequence[Feature] = (),
    boundary: MultiPolygon | None = None,
    relief: Relief | None = None,
    pieces: Sequence[GroundPiece] = (),
    room: _Room = _ROOMS[0],
) -> BurnSheet:
    """Return what the sheet says: the result's own figures, none of them worked out anew.

    Parameters
    ----------
    weather
        The weather at ignition by item, as given or forecast.
    zone
        The property's.
    units, features, boundary, relief
        What the map shows (lon/lat).
    pieces
        The ground of the block.
    """
    keys = edge_keys(result.edges)
    chart = hours_chart(result, grid=grid, zone=zone)
    notes, more_notes = _notes(
        (*result.closed, *result.block_words, *(one for one in result.warnings if one not in result.closed))
    )
    outline = shapely.MultiLineString([edge.line for edge in result.edges])
    lon, lat = shapely.get_coordinates(shapely.centroid(shapely.convex_hull(outline)))[0].tolist()
    wind = wind_16(result.wind_from_deg)
    sensitive = sensitive_features(features)
    kept = {(one.name, one.kind) for one in result.kept_from_fire}
    block, rest = _shortened(result.block, _BLOCK_CHARACTERS)
    return BurnSheet(
        place=result.place,
        headline=f"Burn sheet: {block}, {tenths(result.acres)} acres, {hour_words(result.time)}",
        lines=(
            f"{_shortened(result.place, _NAME_CHARACTERS)[0]}. {_weather_words(result, weather)}",
            *_past_burn_lines(result),
            *((kept_words(result),) if result.kept_from_fire else ()),
            *((notes,) if notes else ()),
        ),
        drawn_on=drawn_on,
        burn_day=datetime.fromisoformat(result.time).date(),
        past_title=None if result.again is None else result.again.title,
        grid=grid,
        edges=result.edges,
        keys=keys,
        units=tuple((unit.unit_id, unit.name or "", unit.geometry) for unit in units),
        features=page_features(features),
        ringed=tuple(
            feature.geometry
            for feature in features
            if "Line" not in feature.geometry.geom_type
            and (feature in sensitive or (feature.name, feature.kind) in kept)
        ),
        places=_listed_places(result),
        kept=kept_words(result),
        stages=_stages(pieces, grid),
        boundary=boundary,
        relief=relief,
        shares=page_shares((piece for piece in pieces if share_of(piece.state) != _SAID.get(piece.stage)), grid),
        wind_from_deg=result.wind_from_deg,
        wind_words=(
            f"wind from {wind}, {beside(result.wind_from_deg)}° true",
            f"{_said(weather, 'wind_mph', '{:g} mph', 'speed')}, {height_words(result.wind_height)}",
        ),
        measured=(
            plan_section(result),
            Section(title="Not checked here", sentences=tuple(f"– {words}" for words in result.not_checked)),
            *((Section(title="More of this block and its figures", sentences=more_notes),) if more_notes else ()),
            *((Section(title="The block", sentences=(f"{rest}.",)),) if rest else ()),
            moisture_section(result, room.faces),
            edges_section(result, keys, room.edges),
            *turned_section(result, room.hours),
            surroundings_section(result, room.places),
            *hours_sections(result, room.hours),
            Section(title="Cautions", sentences=result.cautions, is_framed=True, may_move=True),
        ),
        chart=chart,
        chart_words="" if chart is None else chart_words(result, chart),
        by_hand=hand_sections(
            notify=result.notify,
            notices=tuple((told.who, told.when, told.how) for told in result.notices),
            crew_rows=room.crew + _MORE_CREW,
            kept=kept_words(result),
            middle_words=f"Middle of the block: {abs(lat):.5f} {'N' if lat >= 0 else 'S'}, "
            f"{abs(lon):.5f} {'E' if lon >= 0 else 'W'} (degrees, WGS 84).",
        ),
    )


# --- ground and places ---------------------------------------------------------------------------------------

#: The share that a stage's own pattern tells of: there it is not drawn over it once more.
_SAID: Final[dict[str, Share]] = {"down": "slash", "dead_standing": "snags"}
#: Vertices of two units nearer to each other than this are one place [m].
_SAME_M: Final = 1e-6


def _stages(pieces: Sequence[GroundPiece], grid: LocalGrid) -> tuple[BurnGround, ...]:
    found: defaultdict[str, list[GroundPiece]] = defaultdict(list)
    for piece in pieces:
        if piece.area_m2 > 0:
            found[piece.stage].append(piece)
    return tuple(
        BurnGround(
            stage=stage,
            acres=math.fsum(piece.acres for piece in own),
            # Ground of two units is cut apart from each other: their common edge goes where vertices agree to a hair.
            geometry=grid.to_lonlat(shapely.union_all([piece.geometry for piece in own], grid_size=_SAME_M)),
        )
        for stage, own in found.items()
    )


def _listed_places(result: BurnsheetResult) -> tuple[NearPlace, ...]:
    """Return each place of both lists once, as near as it comes."""
    found: dict[tuple[str, str, tuple[float, float]], NearPlace] = {}
    for place in sorted((*result.nearby, *result.smoke), key=lambda one: one.distance_m):
        found.setdefault((place.name, place.kind, place.nearest), place)
    named: dict[tuple[str, str], NearPlace] = {}
    for place in found.values():
        key = (place.name, place.kind) if place.name else (str(place.nearest), place.kind)
        named.setdefault(key, place)
    return tuple(named.values())


# --- words --------------------------------------------------------------------------------------------------


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}{'' if words.endswith('.') else '.'}"


def _sentences(parts: Sequence[str]) -> str:
    return " ".join(_sentence(part) for part in parts)


def _shortened(names: str, most: int) -> tuple[str, str]:
    """Return names as far as a headline has room, and all of them if they were shortened."""
    if len(names) <= most:
        return names, ""
    listed = names.split(", ")
    first = max(1, next((n for n in range(len(listed), 0, -1) if len(", ".join(listed[:n])) <= most), 1))
    head = ", ".join(listed[:first])
    head = head if len(head) <= most else f"{head[: most - 1]}…"
    return head + (f" and {len(listed) - first} more" if len(listed) > first else ""), names


def _notes(parts: Sequence[str]) -> tuple[str, tuple[str, ...]]:
    """Return what page one has room for, and the rest: none of it may be cut off there."""
    sentences = [_sentence(part) for part in parts]
    first = 0
    while first < len(sentences) and len(" ".join(sentences[: first + 1])) <= _NOTES_CHARACTERS:
        first += 1
    rest = tuple(sentences[first:])
    pointer = ("More of this stands on page 2.",) if rest else ()
    return " ".join((*sentences[:first], *pointer)), rest


def _past_burn_lines(result: BurnsheetResult) -> tuple[str, ...]:
    words = () if result.again is None else result.again.words
    return tuple(_sentences(part) for part in (words[:2], words[2:]) if part)


def _said(weather: Mapping[str, float | None], item: str, shape: str, name: str) -> str:
    value = weather[item]
    return f"{name} not given" if value is None else shape.format(value)


def _weather_words(result: BurnsheetResult, weather: Mapping[str, float | None]) -> str:
    taken = set(result.forecast.taken) if result.forecast else set()
    given = "forecast" if taken >= set(WEATHER_ITEMS) else "given and forecast" if taken else "given"
    return (
        f"Weather as {'logged' if result.again else given} for ignition: "
        f"{_said(weather, 'temp_f', '{:g} °F', 'temperature')}, "
        f"{_said(weather, 'rh_pct', 'humidity {:g}%', 'humidity')}, "
        f"{_said(weather, 'wind_mph', 'wind {:g} mph', 'speed of the wind')} from "
        f"{WIND_WORDS[wind_16(result.wind_from_deg)]} "
        f"({height_words(result.wind_height)})."
    )
