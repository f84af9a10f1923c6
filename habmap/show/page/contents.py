"""What the map page shows, put together from the answers of the jobs, so that no figure can differ from theirs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date
from typing import Final

import shapely
from shapely import MultiPolygon, Polygon

from habmap.land.acreage import merged
from habmap.land.grid import LocalGrid, grid_around
from habmap.land.meridian import joined, near
from habmap.measures import acres as to_acres
from habmap.memory import remembered
from habmap.records import Boundary, Entry, Feature, Unit
from habmap.show.missing import missing_words
from habmap.show.page.history import page_history
from habmap.show.records import Page, PageBite, PagePhotos, PagePiece, PageUnit, PageWork, page_features
from habmap.show.relief import Relief
from habmap.show.shares import unit_shares
from habmap.show.terrain_words import coverage_warnings
from habmap.show.words import SPOKEN_ACRES, day_words
from habmap.vocabulary import MACHINES, PRODUCTS, Audience, cautions_of
from habmap.work.acres import AcresResult, UnitAcres
from habmap.work.bite import BiteResult
from habmap.work.ground import CutUnit, Ground, StageLimits
from habmap.work.priority import Ranked
from habmap.work.response_records import UnitResponse
from habmap.work.season_account import season_account
from habmap.work.terrain import DemInfo, TerrainResult

#: Stands on every copy for the public, so that it tells nothing of this one.
_FOR_THE_PUBLIC: Final = (
    "Copies for the public are drawn more simply than the log is kept; their acres are those of the drawing."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """What the jobs answer about one day, of what its audience may know.

    Attributes
    ----------
    grid
        The property's own.
    has_elevation, dem, relief, slopes
        Whether any is loaded, what it is and what it gives; ``None`` where there is no ground to draw, or it does not
        reach there.
    order
        By ``unit_id``; empty without units.
    bite
        Where to cut next; ``None`` where no ground is, or the audience is not to know.
    """

    state: Ground
    account: AcresResult
    limits: StageLimits
    versions: Sequence[Unit]
    features: Sequence[Feature]
    boundary: Boundary | None
    grid: LocalGrid | None
    has_elevation: bool
    dem: DemInfo | None
    relief: Relief | None
    slopes: TerrainResult | None
    order: Mapping[str, Ranked]
    photos: PagePhotos
    response: Sequence[UnitResponse]
    bite: BiteResult | None


def page_of(
    answers: Answers,
    *,
    audience: Audience,
    drawn_on: date,
    currency: str,
    cedar: str,
    with_hours: bool,
    with_cost: bool,
) -> Page:
    """Return all that the page shows for an audience."""
    state, account, slopes = answers.state, answers.account, answers.slopes
    # What is odd about the elevation's file is the owner's; the public learns which ground has no figures.
    off = () if slopes is None else slopes.warnings if audience == "owner" else coverage_warnings(slopes.units)
    missing = missing_words(
        has_units=bool(state.units),
        has_elevation=answers.has_elevation,
        has_relief=answers.relief is not None,
        has_log=bool(state.entries),
        audience=audience,
    )
    return Page(
        place=account.place,
        audience=audience,
        on=state.on,
        drawn_on=drawn_on,
        currency=currency,
        totals=account.totals,
        units=_units(answers, audience),
        pieces=stage_pieces(state),
        work=_work(state, with_hours=with_hours, with_cost=with_cost),
        features=page_features(answers.features),
        boundary=None if answers.boundary is None else answers.boundary.geometry,
        relief=answers.relief,
        dem=answers.dem,
        missing=missing + off + answers.photos.missing,
        method=_method(answers) + (_FOR_THE_PUBLIC,) * (audience == "public"),
        cautions=_cautions(answers, audience),
        history=page_history(state, versions=answers.versions, limits=answers.limits),
        response=tuple(answers.response),
        seasons=season_account(state).shown(hours=with_hours, cost=with_cost),
        with_hours=with_hours,
        with_cost=with_cost,
        photo_points=answers.photos.points,
        shares=tuple(share for cut in state.by_unit for share in unit_shares(cut, state.grid)),
        bite=None if answers.bite is None else _bite(answers.bite, answers.grid),
        cedar=cedar,
        grid_latlon=_drawing_center(answers.grid, state, audience),
    )


def _bite(found: BiteResult, grid: LocalGrid | None) -> PageBite:
    """Return the bite as the page draws it: whole and beside the units, where its answer is cut at ±180."""
    outline = joined(shapely.geometry.shape(dict(found.geometry)))
    return PageBite(
        unit_id=found.unit_id,
        acres=found.acres,
        geometry=outline if grid is None else near(outline, grid.lon),
        beside=found.beside,
    )


def _units(answers: Answers, audience: Audience) -> tuple[PageUnit, ...]:
    state, grid = answers.state, answers.state.grid
    if grid is None:
        return ()
    lie = {unit.unit_id: unit for unit in answers.slopes.units} if answers.slopes is not None else {}
    figures = {unit.unit_id: unit for unit in answers.account.units}
    # A number stands on the largest ground of one history, clear of the patches.
    largest = {
        piece.unit_id: piece.geometry for piece in sorted(state.pieces, key=lambda one: one.area_m2) if piece.area_m2
    }
    order = sorted(answers.order.values(), key=lambda line: line.order)
    starting = [
        line for line in order if line.tier != "none" and line.closure is None and line.remaining_acres >= SPOKEN_ACRES
    ]
    number = {line.unit_id: place for place, line in enumerate(starting, 1)}
    units = []
    for unit in state.units:
        ranked = answers.order.get(unit.unit_id)
        closure = ranked.closure if ranked is not None and ranked.remaining_acres >= SPOKEN_ACRES else None
        figure = figures[unit.unit_id]
        units.append(
            PageUnit(
                **{one.name: getattr(figure, one.name) for one in fields(UnitAcres)},
                geometry=unit.geometry,
                label_lonlat=_middle(largest.get(unit.unit_id, state.unit_shapes[unit.unit_id]), grid),
                order=number.get(unit.unit_id),
                terrain=lie.get(unit.unit_id),
                ranked=ranked,
                waits="" if closure is None else closure.public_words,
                waits_why="" if closure is None else closure.words if audience == "owner" else closure.public_words,
                reasons=() if ranked is None else told_reasons(ranked, audience),
                notes=unit.notes,
            )
        )
    return tuple(units)


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


@remembered
def _middle(shape: Polygon | MultiPolygon, grid: LocalGrid) -> tuple[float, float]:
    """Return the middle of the widest circle inside a shape (grid meters) as lon/lat: where a number has most room."""
    circle = shapely.maximum_inscribed_circle(shape, tolerance=1.0)
    point = grid.to_lonlat(shapely.Point(circle.coords[0]))
    return (float(point.x), float(point.y))


def stage_pieces(state: Ground) -> tuple[PagePiece, ...]:
    """Return the ground joined by unit and stage, so that no hairline shows between pieces of one stage."""
    grid = state.grid
    if grid is None:
        return ()
    return tuple(piece for cut in state.by_unit for piece in _unit_pieces(cut, grid))


@remembered
def _unit_pieces(cut: CutUnit, grid: LocalGrid) -> tuple[PagePiece, ...]:
    parts: defaultdict[str, list[Polygon | MultiPolygon]] = defaultdict(list)
    for piece in cut.pieces:
        parts[piece.stage].append(piece.geometry)
    return tuple(
        PagePiece(unit_id=cut.pieces[0].unit_id, stage=stage, geometry=grid.to_lonlat(merged(ground)))
        for stage, ground in parts.items()
    )


def _work(state: Ground, *, with_hours: bool, with_cost: bool) -> tuple[PageWork, ...]:
    acres_in: defaultdict[str, dict[str, float]] = defaultdict(dict)
    for unit_id, cut in state.cuts.items():
        for entry_id, its_acres in _line_acres(cut):
            acres_in[entry_id][unit_id] = its_acres
    return tuple(
        PageWork(
            entry=_without_money(entry, with_hours=with_hours, with_cost=with_cost),
            geometry=entry.patch,
            acres=to_acres(state.patches[entry.entry_id].area),
            unit_acres=acres_in[entry.entry_id],
        )
        for entry in sorted(state.entries, key=lambda entry: entry.date)
        if entry.patch is not None
    )


@remembered
def _line_acres(cut: CutUnit) -> tuple[tuple[str, float], ...]:
    """Return by line of the log how much of one unit it worked [acre]."""
    found: defaultdict[str, float] = defaultdict(float)
    for piece in cut.pieces:
        for entry_id in piece.entry_ids:
            found[entry_id] += piece.acres
    return tuple(found.items())


def _without_money(entry: Entry, *, with_hours: bool, with_cost: bool) -> Entry:
    hours, cost = entry.person_hours if with_hours else None, entry.cost if with_cost else None
    is_same = (hours, cost) == (entry.person_hours, entry.cost)
    return entry if is_same else replace(entry, person_hours=hours, cost=cost)


def _method(answers: Answers) -> tuple[str, ...]:
    slopes, relief = answers.slopes, answers.relief
    lines = [
        "Acres are horizontal, measured on an equal-area grid set for this property; one acre is 43,560 square feet. "
        "Ground worked twice is counted once. Figures are rounded one by one, so a sum may differ by a tenth."
    ]
    if answers.state.on is not None:
        lines.append(f"Stages follow from the work log up to {day_words(answers.state.on)}.")
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


def _cautions(answers: Answers, audience: Audience) -> tuple[str, ...]:
    totals, slopes = answers.account.totals, answers.slopes
    has_cedar = totals.cedar_acres - totals.keep_acres >= SPOKEN_ACRES
    asked = [("cut", totals.remaining_acres >= SPOKEN_ACRES), ("burn", has_cedar)]
    return cautions_of(
        {
            *(practice for practice, is_asked in asked if is_asked),
            *({entry.practice for entry in answers.state.entries} & (MACHINES | PRODUCTS)),
        },
        has_snags=totals.snag_acres > 0,
        is_steep=slopes is not None and any((unit.hand_only_pct or 0.0) >= 0.5 for unit in slopes.units),
        audience=audience,
    )
