"""The map for the meeting: account, ground, order of work, elevation and features joined in one page."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields
from datetime import date, datetime
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from habmap.errors import UsageError
from habmap.jobs.acres import acres
from habmap.jobs.ground import ground
from habmap.jobs.page.missing import for_the_owner, missing_words
from habmap.jobs.page.photos import page_photos
from habmap.jobs.page.response import page_responses
from habmap.jobs.ports import Store
from habmap.jobs.public import public_view, veil_words
from habmap.jobs.rank import rank
from habmap.jobs.snapshot import snapshot
from habmap.jobs.terrain import (
    TerrainResult,
    UnitTerrain,
    coverage_warnings,
    remaining_outlines,
    terrain,
    terrain_sums,
    unit_outlines,
)
from habmap.land.acreage import merged
from habmap.land.grid import LocalGrid, grid_around
from habmap.measures import acres as to_acres
from habmap.place.elevation import open_elevation
from habmap.place.writers import refuse_to_write, write_whole
from habmap.show.page.history import page_history, page_seasons
from habmap.show.page.render import render_page
from habmap.show.records import Audience, Page, PageFeature, PagePiece, PageTerrain, PageUnit, PageWork
from habmap.show.relief import Relief, draw_relief
from habmap.show.words import SPOKEN_ACRES, day_words
from habmap.vocabulary import (
    FIRE_CAUTION,
    LABEL_CAUTION,
    PRODUCTS,
    SAW_CAUTION,
    SNAG_CAUTION,
    STEEP_CAUTION,
    STEEP_CAUTION_PUBLIC,
    file_mark,
)
from habmap.work.acres import AcresResult
from habmap.work.ground import Ground
from habmap.work.priority import Ranked
from habmap.work.private import is_private

#: Most cells of the drawn relief; more than a screen shows only makes the file heavy.
RELIEF_CELLS: Final = 200_000
#: Stands on every copy for the public, so that it tells nothing of this one.
_FOR_THE_PUBLIC: Final = (
    "Copies for the public are drawn more simply than the log is kept; their acres are those of the drawing."
)
#: Ground shown around the property, as a share of its larger side.
_MARGIN: Final = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class MapResult:
    """What was written, and the figures its headline says.

    Attributes
    ----------
    path, bytes
        The file and its size.
    audience
        Whom it is for: ``owner`` or ``public``.
    numbered_units
        Units that carry a number in the order of work.
    warnings
        What the map could not show, in words (the page says so too).
    """

    place: str
    path: str
    bytes: int
    audience: Audience
    on: date | None
    units: int
    numbered_units: int
    acres: float
    treated_acres: float
    remaining_acres: float
    warnings: tuple[str, ...]


def draw_map(
    store: Store,
    *,
    target: Path,
    now: datetime,
    audience: Audience = "owner",
    on: date | None = None,
    with_hours: bool = False,
    with_cost: bool = False,
    overwrite: bool = False,
) -> MapResult:
    """Write the self-contained map page.

    Parameters
    ----------
    store
        The place.
    target
        The HTML file to write; missing folders are made. It appears whole or not at all.
    now
        The moment of drawing (UTC); the page tells its day at the place.
    audience
        ``public`` leaves out names, notes, hours, costs and private features, in the file itself.
    on
        As of this day's work; ``None``: all work so far.
    with_hours, with_cost
        Tell person-hours, and cost, on the owner's page; never on one for the public.

    Raises
    ------
    UsageError
        Hours or cost are asked for on a page for the public.
    PlaceError
        It cannot be written.
    InputError
        The file is already there and ``overwrite`` is false, its name is that of a property's own
        file, or the elevation that the place names cannot be read.
    """
    if audience == "public" and (with_hours or with_cost):
        raise UsageError(
            "hours and cost never stand on a page for the public",
            value="--with-hours" if with_hours else "--with-cost",
            allowed="on the owner's page only",
            mend="leave the option out, or leave out --for public",
        )
    mark = file_mark("map", audience)
    refuse_to_write(target, overwrite=overwrite, replaces=mark)
    store = snapshot(store)
    page = build_page(store, now=now, audience=audience, on=on, with_hours=with_hours, with_cost=with_cost)
    content = render_page(page).encode()
    write_whole(target, lambda path: path.write_bytes(content), overwrite=overwrite, make_folder=True, replaces=mark)
    return MapResult(
        place=page.place,
        path=str(target),
        bytes=len(content),
        audience=audience,
        on=page.on,
        units=len(page.units),
        numbered_units=sum(unit.order is not None for unit in page.units),
        acres=page.acres,
        treated_acres=page.treated_acres,
        remaining_acres=page.remaining_acres,
        warnings=for_the_owner(page.missing) + veil_words(store, page),
    )


def build_page(
    store: Store,
    *,
    now: datetime,
    audience: Audience,
    on: date | None = None,
    with_hours: bool = False,
    with_cost: bool = False,
) -> Page:
    """Return the page's records: every figure from the jobs that print it elsewhere, so that none can differ."""
    store = public_view(store) if audience == "public" else snapshot(store)
    state = ground(store, on=on)
    account = acres(store, on=on)
    source = store.elevation()
    if source is not None and state.units:  # one pass over the raster for what the next two ask
        terrain_sums(store, unit_outlines(store, on=on).values(), remaining_outlines(store, on=on).values())
    slopes = terrain(store, on=on) if source is not None and state.units else None
    drawn_on = now.astimezone(ZoneInfo(store.settings.place.timezone)).date()
    order = {line.unit_id: line for line in rank(store, on=on, today=drawn_on).units} if state.units else {}
    boundary = store.boundary()
    shown: list[BaseGeometry] = [unit.geometry for unit in state.units]
    if boundary is not None:
        shown.append(boundary.geometry)
    relief = _relief(store, shown) if source is not None and shown else None
    pictures = page_photos(store, audience=audience, on=on)
    # What is odd about the elevation's file is the owner's; the public learns which ground has no figures.
    lie_words = () if slopes is None else slopes.warnings if audience == "owner" else coverage_warnings(slopes.units)
    missing = missing_words(
        has_units=bool(state.units),
        has_elevation=source is not None,
        has_relief=relief is not None,
        has_log=bool(state.entries),
        audience=audience,
    )
    return Page(
        place=store.settings.place.name,
        audience=audience,
        on=state.on,
        drawn_on=drawn_on,
        currency=store.settings.place.currency,
        acres=account.totals.acres,
        treated_acres=account.totals.treated_acres,
        remaining_acres=account.totals.remaining_acres,
        keep_acres=account.totals.keep_acres,
        coming_back_acres=account.totals.coming_back_acres,
        units=_units(state, account, slopes, order, audience),
        pieces=stage_pieces(state),
        work=_work(state, with_hours=with_hours, with_cost=with_cost),
        features=tuple(
            PageFeature(
                kind=feature.kind,
                name=feature.name or "",
                geometry=feature.geometry,
                is_private=is_private(feature),
            )
            for feature in store.features()
        ),
        boundary=None if boundary is None else boundary.geometry,
        relief=relief,
        missing=missing + lie_words + pictures.missing,
        method=_method(state, slopes, relief) + (_FOR_THE_PUBLIC,) * (audience == "public"),
        cautions=_cautions(state, account, slopes, audience),
        history=page_history(state, versions=store.unit_versions(), limits=store.settings.stages),
        response=page_responses(store, state, on=on),
        seasons=page_seasons(state, limits=store.settings.stages, with_hours=with_hours, with_cost=with_cost),
        photo_points=pictures.points,
        cedar=store.settings.place.cedar,
        grid_latlon=_drawing_center(store.grid, state, audience),
    )


def _units(
    state: Ground,
    account: AcresResult,
    slopes: TerrainResult | None,
    order: dict[str, Ranked],
    audience: Audience,
) -> tuple[PageUnit, ...]:
    grid = state.grid
    if grid is None:
        return ()
    lie = {unit.unit_id: unit for unit in slopes.units} if slopes is not None else {}
    figures = {unit.unit_id: unit for unit in account.units}
    # A number stands on the largest ground of one history, clear of the patches.
    largest = {
        piece.unit_id: piece.geometry for piece in sorted(state.pieces, key=lambda one: one.area_m2) if piece.area_m2
    }
    starting = [
        line
        for line in order.values()
        if line.tier != "none" and line.closure is None and line.remaining_acres >= SPOKEN_ACRES
    ]
    number = {line.unit_id: place for place, line in enumerate(sorted(starting, key=lambda line: line.order), 1)}
    units = []
    for unit in state.units:
        figure, ranked, slope = figures[unit.unit_id], order.get(unit.unit_id), lie.get(unit.unit_id)
        closure = ranked.closure if ranked is not None and ranked.remaining_acres >= SPOKEN_ACRES else None
        units.append(
            PageUnit(
                unit_id=unit.unit_id,
                name=unit.name or "",
                cover=unit.cover,
                geometry=unit.geometry,
                label_lonlat=_middle(largest.get(unit.unit_id, state.unit_shapes[unit.unit_id]), grid),
                acres=figure.acres,
                acres_sd=figure.acres_sd,
                stage_acres=asdict(figure.stage_acres),
                treated_acres=figure.treated_acres,
                remaining_acres=figure.remaining_acres,
                slash_acres=figure.slash_acres,
                snag_acres=figure.snag_acres,
                leave_target_acres=figure.leave_target_acres,
                still_to_leave_acres=figure.still_to_leave_acres,
                order=number.get(unit.unit_id),
                terrain=_page_terrain(slope),
                aspect_remaining_deg=None if ranked is None else ranked.aspect_remaining_deg,
                sun_facing_remaining_pct=None if ranked is None else ranked.sun_facing_remaining_pct,
                waits="" if closure is None else closure.public_words,
                waits_why="" if closure is None else closure.words if audience == "owner" else closure.public_words,
                reasons=() if ranked is None else told_reasons(ranked, audience),
                notes=unit.notes,
            )
        )
    return tuple(units)


def _page_terrain(slope: UnitTerrain | None) -> PageTerrain:
    """Return the figures that the page shows of a unit's terrain."""
    return (
        PageTerrain() if slope is None else PageTerrain(**{f.name: getattr(slope, f.name) for f in fields(PageTerrain)})
    )


def told_reasons(ranked: Ranked, audience: Audience) -> tuple[str, ...]:
    """Return the reasons that this audience may read.

    The words of a hold are the steward's own note (it may name a nest), and contract lines are about money: the public
    reads that a unit is on hold, and no more.
    """
    if audience == "owner":
        return ranked.reasons
    plain = tuple(reason for reason in ranked.reasons if reason not in ranked.remarks)
    return plain if ranked.closure is None else (*plain, ranked.closure.public_words)


def _drawing_center(grid: LocalGrid | None, state: Ground, audience: Audience) -> tuple[float, float] | None:
    """Return the center of the grid for what is drawn on the page (lat, lon) [°].

    The public's is worked out from the units it sees: the property's own may be the very place of a nest that was the
    first thing loaded, in places made by earlier versions. Acres agree: any such grid is true to area.
    """
    if audience == "public":
        grid = grid_around([unit.geometry for unit in state.units]) if state.units else None
    return None if grid is None else (grid.lat, grid.lon)


def _middle(shape: Polygon | MultiPolygon, grid: LocalGrid) -> tuple[float, float]:
    """Return the middle of the widest circle inside a shape (grid metres) as lon/lat: where a number has most room."""
    circle = shapely.maximum_inscribed_circle(shape, tolerance=1.0)
    point = grid.to_lonlat(shapely.Point(circle.coords[0]))
    return (float(point.x), float(point.y))


def stage_pieces(state: Ground) -> tuple[PagePiece, ...]:
    """Return the ground joined by unit and stage, so that no hairline shows between pieces of one stage."""
    grid = state.grid
    if grid is None:
        return ()
    parts: defaultdict[tuple[str, str], list[shapely.Polygon]] = defaultdict(list)
    for piece in state.pieces:
        parts[(piece.unit_id, piece.stage)] += list(shapely.get_parts(piece.geometry))
    return tuple(
        PagePiece(unit_id=unit_id, stage=stage, geometry=grid.to_lonlat(merged(polygons)))
        for (unit_id, stage), polygons in parts.items()
    )


def _work(state: Ground, *, with_hours: bool, with_cost: bool) -> tuple[PageWork, ...]:
    acres_in: defaultdict[str, defaultdict[str, float]] = defaultdict(lambda: defaultdict(float))
    for piece in state.pieces:
        for entry_id in piece.entry_ids:
            acres_in[entry_id][piece.unit_id] += piece.acres
    return tuple(
        PageWork(
            day=entry.date,
            practice=entry.practice,
            acres=to_acres(state.patches[entry.entry_id].area),
            unit_acres=dict(acres_in[entry.entry_id]),
            geometry=entry.patch,
            killed_pct=entry.killed_pct,
            person_hours=entry.person_hours if with_hours else None,
            cost=entry.cost if with_cost else None,
            who=entry.who,
            note=entry.note,
        )
        for entry in sorted(state.entries, key=lambda entry: entry.date)
        if entry.patch is not None
    )


def _relief(store: Store, shown: Sequence[BaseGeometry]) -> Relief | None:
    source = store.elevation()
    if source is None:
        return None
    west, south, east, north = (float(side) for side in shapely.total_bounds(list(shown)))
    margin = _MARGIN * max(east - west, north - south)
    bounds = (west - margin, south - margin, east + margin, north + margin)
    with open_elevation(Path(source.path), vertical_unit=source.vertical_unit) as elevation:
        coarse = elevation.coarse_heights(bounds, RELIEF_CELLS)
    return draw_relief(coarse.heights_m.astype("float64"), transform=coarse.transform, crs_wkt=coarse.crs_wkt)


def _method(state: Ground, slopes: TerrainResult | None, relief: Relief | None) -> tuple[str, ...]:
    lines = [
        "Acres are horizontal, measured on an equal-area grid set for this property; one acre is 43,560 square feet. "
        "Ground worked twice is counted once. Figures are rounded one by one, so a sum may differ by a tenth."
    ]
    if state.on is not None:
        lines.append(f"Stages follow from the work log up to {day_words(state.on)}.")
    if slopes is not None and slopes.dem is not None:
        lines.append(
            "Slope and facing come from the elevation by Horn’s method on cells of "
            f"{slopes.dem.analysis_cell_m:.0f} m, "
            "weighted by each cell’s share of the unit; facing is from true north."
        )
    if relief is not None:
        lines.append(
            f"Shade and contours are drawn from heights averaged to {relief.cell_m:.0f} m and lightly smoothed; the "
            f"shade is drawn {relief.exaggeration:.1f} times as steep as the ground, to show its shape."
        )
    return tuple(lines)


def _cautions(state: Ground, account: AcresResult, slopes: TerrainResult | None, audience: Audience) -> tuple[str, ...]:
    cautions = []
    if account.totals.remaining_acres >= SPOKEN_ACRES:
        cautions.append(SAW_CAUTION)
    if account.totals.cedar_acres - account.totals.keep_acres >= SPOKEN_ACRES:
        cautions.append(FIRE_CAUTION)
    if account.totals.snag_acres > 0:
        cautions.append(SNAG_CAUTION)
    if any(entry.practice in PRODUCTS for entry in state.entries):
        cautions.append(LABEL_CAUTION)
    if slopes is not None and any((unit.hand_only_pct or 0.0) >= 0.5 for unit in slopes.units):
        cautions.append(STEEP_CAUTION if audience == "owner" else STEEP_CAUTION_PUBLIC)
    return tuple(cautions)
