"""A burn block's outline against the wind, and what lies beyond each stretch of it."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

import shapely
from shapely import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from habmap.land.downhill import Surface
from habmap.land.edges import INSIDE_M, EdgePiece, Side, first_met, merged_runs, outline_pieces, side_of_wind
from habmap.land.grid import LocalGrid
from habmap.measures import ft
from habmap.records import Boundary, Feature
from habmap.vocabulary import BREAK_FEATURE_KINDS, STAGE_WORDS
from habmap.work.burn.block_terrain import rise_frac
from habmap.work.burn.winds import HourWind, Spell, spells, written
from habmap.work.ground import GroundPiece
from habmap.work.stages import UPKEEP_AFTER_DAYS

#: How far out the ground is compared with the edge, to tell whether it rises away [m].
RISE_RUN_M: Final = 20.0
#: Ground thinner than twice this is a leftover of drawing [m].
HAIR_M: Final = 0.02
OFF_PROPERTY: Final = "off the property"
UNMAPPED: Final = "unmapped ground"
_BEYOND_WORD: Final = {"road": "road", "lane": "road", "pond": "water", "creek": "water", "line": "break"}
FIRE_STAGES: Final = frozenset({"burned", "slash_gone", "kept_up", "coming_back"})
#: Ground that holds live cedar which can carry fire on; what lies felled or stands dead is told by its share.
LIVE_STAGES: Final = frozenset({"standing", "part_cut", "coming_back", "keep"})
CEDAR_FUEL_WORDS: Final = ": cedar fuel beyond this edge"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """One stretch of the outline with one side of the wind at ignition and one thing beyond it.

    Attributes
    ----------
    outward_deg
        Mean true bearing that it faces, away from the block [°].
    beyond
        A unit's id, ``road``, ``water``, ``break``, ``off the property`` or ``unmapped ground``.
    beyond_stage
        Stage of the unit beyond.
    beyond_words
        The same for people.
    """

    side: Side
    length_m: float
    outward_deg: float
    beyond: str
    beyond_stage: str | None
    beyond_words: str

    @property
    def listed_as(self) -> tuple[str, str]:
        """What stretches have in common that stand in the sheet's list as one: side and what lies beyond."""
        return self.side, self.beyond_words


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge(Stretch):
    """One stretch of the outline, with its break and its rise.

    Attributes
    ----------
    mapped_break, break_name
        Whether a road, water or mowed or bare strip is drawn within reach, and which. Whether it holds is not known.
    boss_checked
        Whether ``[[burn.walked]]`` of ``habmap.toml`` says that the burn boss walked that break on the burn's own day.
    upslope
        Whether the ground rises away from the edge, whatever the wind; ``None`` without elevation.
    coordinates
        The stretch, WGS 84 lon/lat [°].
    """

    mapped_break: bool
    break_name: str | None
    boss_checked: bool
    upslope: bool | None
    coordinates: tuple[tuple[float, float], ...]

    @property
    def line(self) -> LineString:
        """The stretch as a line, WGS 84 lon/lat [°]."""
        return LineString(self.coordinates)


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnedEdge(Stretch):
    """Outline that is no downwind edge at ignition and becomes one in a spell of the forecast's hours.

    Attributes
    ----------
    from_time, to_time
        First and last hour in which it lies downwind, local civil time.
    wind_from_deg
        True bearing of the wind of the first [°].
    """

    from_time: str
    to_time: str
    wind_from_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeTotals:
    """Length of outline by side of the wind [m]."""

    downwind_m: float
    side_m: float
    upwind_m: float
    perimeter_m: float


@dataclass(frozen=True, slots=True)
class _Beyond:
    beyond: str
    stage: str | None
    words: str
    break_name: str | None
    #: Whether it has a name of its own: a walk of "creek" would count for every creek.
    is_named: bool


@dataclass(frozen=True, slots=True)
class Outline:
    """A block's outline in short bits, what lies beyond each, and the grid's convergence at its middle [°]."""

    pieces: tuple[EdgePiece, ...]
    beyond: tuple[_Beyond, ...]
    turn_deg: float
    grid: LocalGrid

    def stretch(self, numbers: Sequence[int], side: Side) -> dict[str, Any]:
        """Return the fields of a `Stretch` of some bits that have one thing beyond them."""
        members, beyond = [self.pieces[number] for number in numbers], self.beyond[numbers[0]]
        return {
            "side": side,
            "length_m": math.fsum(piece.length_m for piece in members),
            "outward_deg": (_mean_outward_deg(members) + self.turn_deg) % 360,
            "beyond": beyond.beyond,
            "beyond_stage": beyond.stage,
            "beyond_words": beyond.words,
        }


def outline_of(
    block: Polygon | MultiPolygon,
    *,
    others: Sequence[GroundPiece],
    covers: Mapping[str, str],
    features: Sequence[Feature],
    boundary: Boundary | None,
    grid: LocalGrid,
    within_m: float,
    on: date,
) -> Outline:
    """Walk the outline of a block once and look beyond each bit of it, whatever the wind.

    Parameters
    ----------
    block
        Grid meters.
    others, covers
        Pieces of the place outside the block, and the cover of each unit.
    within_m
        How far beyond the edge is looked [m].
    """
    middle = shapely.get_coordinates(grid.to_lonlat(shapely.centroid(block)))[0]
    pieces = outline_pieces(block)
    return Outline(
        tuple(pieces),
        tuple(_beyond(pieces, others, covers, features, boundary, grid, within_m, on)),
        grid.convergence_deg(float(middle[0]), float(middle[1])),
        grid,
    )


def turned_edges(outline: Outline, winds: Sequence[HourWind]) -> tuple[TurnedEdge, ...]:
    """Return what is not downwind at ignition, the first of the winds, and comes to be so, the soonest first.

    Stretches with one thing beyond them, one side at ignition and one spell of hours are told together.
    """
    first, *later = winds
    assert first.from_deg is not None
    spells_of: dict[float, tuple[Spell, ...]] = {}
    groups: defaultdict[tuple[Side, str, Spell], list[int]] = defaultdict(list)
    for number, piece in enumerate(outline.pieces):
        side = side_of_wind(piece.outward_deg, first.from_deg - outline.turn_deg)
        if side == "downwind":
            continue
        if piece.outward_deg not in spells_of:
            spells_of[piece.outward_deg] = spells(
                later, [_is_downwind(piece, wind.from_deg, outline.turn_deg) for wind in later]
            )
        for spell in spells_of[piece.outward_deg]:
            groups[side, outline.beyond[number].words, spell].append(number)
    from_deg = {wind.at: wind.from_deg for wind in later}
    found = [
        TurnedEdge(
            **outline.stretch(numbers, side),
            from_time=written(spell.first),
            to_time=written(spell.last or spell.first),
            wind_from_deg=from_deg[spell.first] or 0.0,
        )
        for (side, _, spell), numbers in groups.items()
    ]
    return tuple(sorted(found, key=lambda edge: (edge.from_time, -edge.length_m, edge.beyond_words)))


def _is_downwind(piece: EdgePiece, from_deg: float | None, turn_deg: float) -> bool:
    return from_deg is not None and side_of_wind(piece.outward_deg, from_deg - turn_deg) == "downwind"


def burn_edges(
    outline: Outline,
    *,
    wind_from_deg: float,
    surface: Surface | None,
    rising_above_pct: float,
    walked: Collection[str] = (),
) -> tuple[Edge, ...]:
    """Return the stretches of an outline, the longest downwind first, then side, then upwind.

    Parameters
    ----------
    wind_from_deg
        True bearing that the wind comes from [°].
    rising_above_pct
        Ground that rises away by at least this is upslope [%].
    walked
        Names of the breaks that the burn boss walked that day.
    """
    pieces, beyond, turn_deg, grid = outline.pieces, outline.beyond, outline.turn_deg, outline.grid
    sides = [side_of_wind(piece.outward_deg, wind_from_deg - turn_deg) for piece in pieces]
    rises = [_is_upslope(surface, piece, rising_above_pct) for piece in pieces]
    runs = merged_runs(pieces, list(zip(sides, beyond, rises, strict=True)))
    edges = []
    for run in runs:
        members, seen = [pieces[i] for i in run], beyond[run[0]]
        line = [members[0].start, *(piece.end for piece in members)]
        lonlat = shapely.get_coordinates(grid.to_lonlat(shapely.simplify(LineString(line), 0.01)))
        edges.append(
            Edge(
                **outline.stretch(run, sides[run[0]]),
                mapped_break=seen.break_name is not None,
                break_name=seen.break_name,
                boss_checked=seen.is_named and seen.break_name in walked,
                upslope=rises[run[0]],
                coordinates=tuple((float(x), float(y)) for x, y in lonlat),
            )
        )
    order = ("downwind", "side", "upwind")
    return tuple(sorted(edges, key=lambda edge: (order.index(edge.side), -edge.length_m)))


def holds_cedar_fuel(piece: GroundPiece) -> bool:
    """Return whether live, felled or dead standing cedar is there, whatever the stage."""
    return piece.stage in LIVE_STAGES or piece.state.felled_frac > 0 or piece.state.snag_frac > 0


def edge_totals(edges: Sequence[Edge]) -> EdgeTotals:
    """Add the stretches up."""

    def length_m(*sides: Side) -> float:
        return math.fsum(edge.length_m for edge in edges if edge.side in sides)

    return EdgeTotals(
        downwind_m=length_m("downwind"),
        side_m=length_m("side"),
        upwind_m=length_m("upwind"),
        perimeter_m=length_m("downwind", "side", "upwind"),
    )


def _is_upslope(surface: Surface | None, piece: EdgePiece, rising_above_pct: float) -> bool | None:
    if surface is None:
        return None
    rise = rise_frac(surface, piece.point(0.0), piece.point(RISE_RUN_M))
    return None if rise is None else 100 * rise >= rising_above_pct


def _mean_outward_deg(pieces: Sequence[EdgePiece]) -> float:
    east = math.fsum(piece.length_m * math.sin(math.radians(piece.outward_deg)) for piece in pieces)
    north = math.fsum(piece.length_m * math.cos(math.radians(piece.outward_deg)) for piece in pieces)
    return math.degrees(math.atan2(east, north)) % 360


def _beyond(
    pieces: Sequence[EdgePiece],
    others: Sequence[GroundPiece],
    covers: Mapping[str, str],
    features: Sequence[Feature],
    boundary: Boundary | None,
    grid: LocalGrid,
    within_m: float,
    on: date,
) -> list[_Beyond]:
    breaks = [feature for feature in features if feature.kind in BREAK_FEATURE_KINDS]
    # Drawn patches leave slivers of a nanometer along edges, which are no ground: every piece is drawn in by a hair.
    grounds = [shapely.buffer(piece.geometry, -HAIR_M) for piece in others]
    near_units = first_met(pieces, grounds, within_m=within_m)
    near_breaks = first_met(
        pieces, [grid.to_grid(feature.geometry) for feature in breaks], within_m=within_m, from_m=-INSIDE_M
    )
    off_m = _off_property_m(pieces, boundary, grid, within_m)
    found = []
    for (unit, unit_m), (line, line_m), off in zip(near_units, near_breaks, off_m, strict=True):
        feature = None if line is None else breaks[line]
        other = None if unit is None else others[unit]
        break_name = other.unit_id if other is not None and covers.get(other.unit_id) == "water" else None
        is_named = break_name is not None
        stage: str | None = None
        if feature is not None:
            break_name, is_named = feature.name or feature.kind, bool((feature.name or "").strip())
        if feature is not None and (line_m <= INSIDE_M or line_m <= min(unit_m, off)):
            what = _BEYOND_WORD[feature.kind]
            words = f"{what}: {feature.name or feature.kind}"
        elif other is not None and unit_m <= off:
            what, stage, words = other.unit_id, other.stage, _unit_words(other, covers, on)
        elif off < math.inf:
            what, words = OFF_PROPERTY, OFF_PROPERTY
        else:
            what, words = UNMAPPED, f"nothing mapped within {ft(within_m):.0f} ft"
        found.append(_Beyond(what, stage, words, break_name, is_named))
    return found


def _unit_words(piece: GroundPiece, covers: Mapping[str, str], on: date) -> str:
    state = piece.state
    if piece.stage == "other":
        words = f"unit {piece.unit_id}: {covers[piece.unit_id]}"
    else:
        words = f"unit {piece.unit_id}: {STAGE_WORDS[piece.stage]}"
        fire = state.last_fire
        if fire is not None and (on - fire).days < UPKEEP_AFTER_DAYS:
            words += f"; burned this season ({fire}): confirm it is black"
        elif piece.stage in FIRE_STAGES and fire is not None:
            words += f", last fire {fire}"
    # A fire that killed too few leaves cedars standing: black ground below them is no end of the fuel.
    return f"{words}{CEDAR_FUEL_WORDS}" if holds_cedar_fuel(piece) else words


def _off_property_m(
    pieces: Sequence[EdgePiece], boundary: Boundary | None, grid: LocalGrid, within_m: float
) -> list[float]:
    """Return how far outward the property ends, infinity where it does not or no boundary is loaded [m]."""
    if boundary is None:
        return [math.inf] * len(pieces)
    land: BaseGeometry = grid.to_grid(boundary.geometry)
    shapely.prepare(land)
    line = first_met(pieces, [shapely.boundary(land)], within_m=within_m, from_m=-INSIDE_M)
    just_out = shapely.points([piece.point(0.5) for piece in pieces])
    is_inside = shapely.intersects(land, just_out).tolist()
    return [distance if inside else 0.0 for (_, distance), inside in zip(line, is_inside, strict=True)]
