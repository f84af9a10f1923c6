"""The burn sheet: a burn day's result set down on two pages, as a PDF and as HTML."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import shapely
from shapely import LineString

from habmap.errors import InputError, UsageError
from habmap.jobs.burn_around import SCREEN_WORDS, sensitive_features
from habmap.jobs.burn_edges import Edge
from habmap.jobs.burn_hours import hour_of
from habmap.jobs.burnday import BurnDayResult, BurnRequest
from habmap.jobs.ports import Store
from habmap.measures import M_PER_MILE, ft
from habmap.place.elevation import open_elevation
from habmap.place.writers import refuse_to_write, write_whole
from habmap.show.burn_sheet import SIDE_LETTERS, BurnPaper, BurnSheet, Section, SheetEdge, hand_sections
from habmap.show.burn_sheet_html import render_burn_html
from habmap.show.burn_sheet_pages import draw_burn_pdf
from habmap.show.page import PageFeature
from habmap.show.relief import Relief, draw_relief
from habmap.show.words import tenths
from habmap.vocabulary import FEATURE_WORDS, PRIVATE_FEATURE_KINDS, WIND_WORDS, wind_16
from habmap.work.burnday import ITEMS, PLAN_KIND_WORDS, Compared


@dataclass(frozen=True, slots=True)
class _Room:
    """Longest lists on the sheet; what is left out is counted there, and `habmap burnday` prints all of it."""

    edges: int
    places: int
    faces: int
    hours: int
    crew: int


#: From generous to terse: the first that keeps the sheet on two pages is taken.
_ROOMS: Final = (
    _Room(edges=14, places=7, faces=6, hours=6, crew=6),
    _Room(edges=12, places=5, faces=5, hours=5, crew=4),
    _Room(edges=11, places=4, faces=4, hours=4, crew=4),
    _Room(edges=8, places=4, faces=4, hours=3, crew=3),
    _Room(edges=5, places=3, faces=3, hours=3, crew=3),
)
_PAGES: Final = 2
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
    drawn_on = now.astimezone(ZoneInfo(store.settings.place.timezone)).date()
    relief = _relief(store, result)
    for room in _ROOMS:
        sheet = burn_sheet(store, request, result, drawn_on=drawn_on, relief=relief, room=room)
        drawn = draw_burn_pdf(sheet, paper=paper)
        if drawn.pages <= _PAGES:
            break
    contents = [
        drawn.content if target.suffix.lower() == ".pdf" else render_burn_html(sheet, paper=paper).encode()
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
        raise InputError("there is no ground to draw", mend="load its units with `habmap add units FILE`")
    keys = _edge_keys(result.edges)
    edges = tuple(
        SheetEdge(
            side=edge.side, line=LineString(edge.coordinates), outward_deg=edge.outward_deg, key=keys[_same(edge)]
        )
        for edge in result.edges
    )
    features = store.features()
    lines = shapely.MultiLineString([edge.line for edge in edges])
    boundary = store.boundary()
    notes = (*result.warnings, *result.block_words)
    middle = shapely.get_coordinates(shapely.centroid(shapely.convex_hull(lines)))[0].tolist()
    return BurnSheet(
        place=result.place,
        headline=f"Burn sheet: {_block_name(request, result)}, {tenths(result.acres)} acres, "
        f"{_hour_words(result.time)}",
        lines=(
            f"{result.place}. {_weather_words(request, result)}",
            *((_sentences(notes),) if notes else ()),
        ),
        drawn_on=drawn_on,
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
            f"wind from {wind_16(result.wind_from_deg)} ({result.wind_from_deg:.0f}°)",
            f"{_given(request, 'wind_mph'):g} mph, {_height_words(result.wind_height)}",
        ),
        measured=(
            _plan(result),
            Section(title="Not checked here", sentences=tuple(f"– {words}" for words in result.not_checked)),
            _moisture(result, room.faces),
            _edges(result, keys, room.edges),
            *_around(result, room.places),
            *_hours(result, room.hours),
            Section(title="Cautions", sentences=result.cautions, is_framed=True),
        ),
        by_hand=hand_sections(
            notify=result.notify,
            crew_rows=room.crew,
            middle_words=f"Middle of the block: {abs(middle[1]):.5f} {'N' if middle[1] >= 0 else 'S'}, "
            f"{abs(middle[0]):.5f} {'E' if middle[0] >= 0 else 'W'} (degrees, WGS 84).",
        ),
    )


def _relief(store: Store, result: BurnDayResult) -> Relief | None:
    source = store.elevation()
    if source is None or not result.edges:
        return None
    west, south, east, north = shapely.MultiLineString([edge.coordinates for edge in result.edges]).bounds
    margin = 0.5 * max(east - west, north - south)
    with open_elevation(Path(source.path), vertical_unit=source.vertical_unit) as elevation:
        coarse = elevation.coarse_heights((west - margin, south - margin, east + margin, north + margin), _RELIEF_CELLS)
    return draw_relief(coarse.heights_m.astype("float64"), transform=coarse.transform, crs_wkt=coarse.crs_wkt)


# --- words --------------------------------------------------------------------------------------------------


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}{'' if words.endswith('.') else '.'}"


def _sentences(parts: Sequence[str]) -> str:
    return " ".join(_sentence(part) for part in parts)


def _hour_words(time: str) -> str:
    return time.replace("T", " ")


def _block_name(request: BurnRequest, result: BurnDayResult) -> str:
    """Return the block as it was named, with its units where that says more."""
    units = ", ".join(result.units)
    if request.patch is not None:
        return f"a patch in {units}" if units else "a patch outside every unit"
    named = ", ".join(request.names)
    return units if named == units else f"{named} ({units})"


def _given(request: BurnRequest, item: str) -> float:
    """Return an item of the weather that the burn day was worked out with: as given, else the forecast's hour."""
    said: float | None = getattr(request, item)
    if said is None:
        said = getattr(hour_of(request.forecast, request.at), item)
    return float(said) if said is not None else float("nan")


def _height_words(height: str | None) -> str:
    return {"20ft": "at 20 ft", "eye": "at eye level"}.get(height or "", "height not said")


def _weather_words(request: BurnRequest, result: BurnDayResult) -> str:
    return (
        f"Weather as given for ignition: {_given(request, 'temp_f'):g} °F, humidity {_given(request, 'rh_pct'):g} %, "
        f"wind {_given(request, 'wind_mph'):g} mph from {WIND_WORDS[wind_16(result.wind_from_deg)]} "
        f"({_height_words(result.wind_height)})."
    )


def _plan(result: BurnDayResult) -> Section:
    kind = PLAN_KIND_WORDS[result.plan.kind]
    lines = result.prescription
    if any(line.verdict == "no plan" for line in lines):
        return Section(
            title=f"The written plan for {kind}",
            sentences=(
                f"There is no written plan for {kind} with author and date in habmap.toml, so nothing is compared. The "
                "weather is only set down here.",
            ),
            header=("item", "as given"),
            rows=tuple(
                (
                    ITEMS[line.item][0],
                    _figure(line.value, ITEMS[line.item][1]) if line.value is not None else "not given",
                )
                for line in lines
            ),
            shares=(0.65, 0.35),
        )
    is_split = len({line.unit_ids for line in lines}) > 1
    return Section(
        title=f"Beside the written plan for {kind}",
        sentences=(
            f"Plan by {result.plan.author}, {result.plan.date}, its limits as copied into habmap.toml. Not met first. "
            "A comparison, not a decision.",
        ),
        header=("item", "as given", "plan", "comparison"),
        rows=tuple(
            (
                ITEMS[line.item][0] + (f" ({', '.join(line.unit_ids)})" if is_split else ""),
                "not given" if line.value is None else _figure(line.value, ITEMS[line.item][1]),
                _limits(line),
                _compared_words(line),
            )
            for line in lines
        ),
        shares=(0.34, 0.15, 0.19, 0.32),
    )


def _figure(value: float, unit: str) -> str:
    return f"{value:,.5g} {unit}".rstrip() if unit != "°" else f"{value:g}°"


def _limits(line: Compared) -> str:
    if line.low is None or line.high is None:
        return "no limit"
    return f"{line.low:,.5g} to {line.high:,.5g}"


def _compared_words(line: Compared) -> str:
    if line.verdict == "not met" and line.distance is not None:
        return f"not met, by {_figure(float(f'{line.distance:.3g}'), ITEMS[line.item][1])}"
    return line.verdict


def _moisture(result: BurnDayResult, most: int) -> Section:
    fuel = result.fuel
    driest = (
        f"None given: {result.fine_fuel_words}."
        if result.fine_fuel_moisture_pct is None
        else f"Driest ground of the block: {result.fine_fuel_moisture_pct:g} %."
    )
    cut = "no cut logged" if fuel.days_since_cut is None else f"{fuel.days_since_cut} days since the last cut"
    load = "not known" if fuel.fuel_lb_ac is None else f"{fuel.fuel_lb_ac:,.0f} lb/ac"
    look = "nobody logged a look" if fuel.look_date is None else f"look of {fuel.look_date}"
    shown = result.fuel_moisture[:most]
    return Section(
        title="Fine dead fuel moisture",
        sentences=(
            f"{driest} Equilibrium (Simard) {result.equilibrium_moisture_pct:.1f} %, vapour pressure deficit "
            f"{result.vpd_kpa:.2f} kPa. Needles {fuel.needles or 'not known'}, grass {load} ({look}); {cut}.",
        ),
        header=("faces", "slope", "acres", "moisture"),
        rows=tuple(
            (line.facing, f"{line.slope_class} %", f"{line.acres:.2f}",
             "none given" if line.pct is None else f"{line.pct:g} %")
            for line in shown
        ),
        shares=(0.28, 0.24, 0.24, 0.24),
        after=_left_out(len(result.fuel_moisture) - len(shown), "faces"),
    )  # fmt: skip


def _left_out(count: int, what: str) -> tuple[str, ...]:
    return (f"Left out for room: {count} of the {what}; `habmap burnday` prints them all.",) if count > 0 else ()


# --- edges --------------------------------------------------------------------------------------------------

_Same = tuple[str, str]
#: Beyond an edge, these hold cedar that can carry fire on: never the first to be left out.
_FUEL_STAGES: Final = frozenset({"standing", "part_cut", "dead_standing", "down", "piled", "coming_back"})


def _same(edge: Edge) -> _Same:
    return (edge.side, edge.beyond_words)


def _edge_keys(edges: Sequence[Edge]) -> dict[_Same, str]:
    """Number what lies beyond each side of the wind, the longest first: D1, D2, S1 …"""
    length_m: defaultdict[_Same, float] = defaultdict(float)
    for edge in edges:
        length_m[_same(edge)] += edge.length_m
    counts: defaultdict[str, int] = defaultdict(int)
    keys: dict[_Same, str] = {}
    for same in sorted(length_m, key=lambda one: (list(SIDE_LETTERS).index(one[0]), -length_m[one])):
        counts[same[0]] += 1
        keys[same] = f"{SIDE_LETTERS[same[0]]}{counts[same[0]]}"
    return keys


def _edges(result: BurnDayResult, keys: dict[_Same, str], most: int) -> Section:
    groups: defaultdict[_Same, list[Edge]] = defaultdict(list)
    for edge in result.edges:
        groups[_same(edge)].append(edge)
    kept = sorted(
        groups,
        key=lambda same: (
            same[0] != "downwind" and groups[same][0].beyond_stage not in _FUEL_STAGES,
            -sum(edge.length_m for edge in groups[same]),
        ),
    )[:most]
    rows = []
    for same, key in keys.items():
        if same not in kept:
            continue
        members = groups[same]
        breaks = list(dict.fromkeys(edge.break_name or "mapped" for edge in members if edge.mapped_break))
        named = breaks[0] if len(breaks) == 1 else f"{len(breaks)} on the map"
        break_ft = sum(ft(edge.length_m) for edge in members if edge.mapped_break)
        rises_ft = sum(ft(edge.length_m) for edge in members if edge.upslope)
        rows.append(
            (
                key,
                f"{sum(ft(edge.length_m) for edge in members):,.0f}",
                members[0].beyond_words,
                f"{named}, {break_ft:,.0f}" if breaks else "none",
                f"{rises_ft:,.0f}" if rises_ft else "–",
            )
        )
    totals = result.edge_totals
    return Section(
        title="Edges, and what lies beyond",
        sentences=(
            f"Feet: downwind {ft(totals.downwind_m):,.0f}, side {ft(totals.side_m):,.0f}, "
            f"upwind {ft(totals.upwind_m):,.0f}; around {ft(totals.perimeter_m):,.0f}. A mapped break counts for "
            "nothing until the burn boss has walked it. Rises: feet of it where the ground rises away.",
        ),
        header=("key", "feet", "beyond", "mapped break, ft", "rises"),
        rows=tuple(rows),
        shares=(0.09, 0.1, 0.4, 0.31, 0.1),
        after=_left_out(len(groups) - len(rows), "edges, the shortest with no cedar beyond"),
    )


# --- around -------------------------------------------------------------------------------------------------


def _around(result: BurnDayResult, most: int) -> tuple[Section, ...]:
    downwind = {(place.name, place.kind) for place in result.smoke}
    places = [(place, "downwind") for place in result.smoke]
    places += [(place, "near") for place in result.nearby if (place.name, place.kind) not in downwind]
    shown = places[:most]
    after = list(_left_out(len(places) - len(shown), "places"))
    if result.cold_air is None:
        after.append("The way of cold night air is not known.")
    else:
        near = ", ".join(place.name or FEATURE_WORDS[place.kind] for place in result.cold_air.places[:4])
        after.append(
            f"Cold night air would run downhill {ft(result.cold_air.length_m):,.0f} ft from the lowest edge; near its "
            f"ways: {near or 'no road or house on the map'}."
        )
    after.append(SCREEN_WORDS)
    if result.hazards:
        named = ", ".join(
            f"{one.name or FEATURE_WORDS[one.kind]} ({FEATURE_WORDS[one.kind]}, "
            f"{'inside' if one.inside else f'{ft(one.distance_m):,.0f} ft'})"
            for one in result.hazards[:5]
        )
        after.append(f"In or near the block: {named}.")
        after += _left_out(len(result.hazards) - 5, "lines, tanks, stacks or fences")
    return (
        Section(
            title="Downwind (45° to either side), and near",
            sentences=() if places else ("Nothing sensitive is on the map downwind or near; a map may miss some.",),
            header=("place", "kind", "miles", "toward", ""),
            rows=tuple(
                (place.name or "–", FEATURE_WORDS[place.kind], f"{place.distance_m / M_PER_MILE:.2f}",
                 f"{wind_16(place.bearing_deg)} {place.bearing_deg:.0f}°", where)
                for place, where in shown
            ),
            shares=(0.33, 0.16, 0.13, 0.2, 0.18),
            after=tuple(after),
        ),
    )  # fmt: skip


def _hours(result: BurnDayResult, most: int) -> tuple[Section, ...]:
    """Return the forecast's hours that stand out: something not met, a wind shift, or nothing known."""
    rows = []
    for hour in result.hours:
        marks = [ITEMS[item][0] for item in hour.not_met] + (["wind shift"] if hour.wind_shift else [])
        if hour.is_gap or marks:
            rows.append((_hour_words(hour.time)[5:], "no forecast" if hour.is_gap else ", ".join(marks)))
    if not rows:
        return ()
    return (
        Section(
            title="Forecast hours: not met, shifts and gaps",
            header=("hour", "what"),
            rows=tuple(rows[:most]),
            shares=(0.28, 0.72),
            after=_left_out(len(rows) - most, "hours"),
        ),
    )
