"""What is answered about the next acre or two, its words, and how large it is for the hours there are."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from habmap.land.bite import AREA_WITHIN_FRAC, BESIDE_M, SCRAP_FRAC, Bite
from habmap.land.contiguous import HAIR_M, grown
from habmap.land.grid import LocalGrid
from habmap.measures import acres, acres_words, ft
from habmap.records import Feature
from habmap.vocabulary import (
    BREAK_FEATURE_KINDS,
    FEATURE_WORDS,
    OPEN_COVERS,
    STAGE_WORDS,
    TREATED,
)
from habmap.work.effort import Rates, left_on
from habmap.work.ground import Ground
from habmap.work.priority import SLIVER_ACRES, Ranked, passed_over
from habmap.work.public_copy import is_private
from habmap.work.stages import GroundState

#: What a bite takes where nobody says how many hours there are, and what a page shows as the next one [acre].
USUAL_BITE_ACRES: Final = 1.0
#: Less of an edge than this beside something is a corner that touches it [m].
LEAST_BESIDE_M: Final = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BiteResult:
    """One contiguous piece of ground to cut next.

    Attributes
    ----------
    on
        As of this day's work; ``None``: all work so far. ``closed_on`` is the day by which holds and closed days count.
    asked_acres
        What was asked, or what the hours asked take here [acre].
    geometry
        Its outline: a GeoJSON polygon, WGS 84 lon/lat.
    beside
        What it lies beside, in words: opened ground, lanes and firebreaks of the map, and along how much of its edge.
    new_edge_ft
        How much of its edge must be walked and marked, because no edge is there yet [ft].
    hand_only_pct, sun_facing_pct
        Share of it that is steeper than the place's machine limit, and that faces the sun [%]; ``None`` = not known.
    person_hours, rests_on
        What it takes at the log's own rate for ground of its density and slope; ``None`` = no rate is known. In words,
        what the rate comes from.
    left_acres, left_pieces
        What remains in the unit after it, and in how many pieces.
    why
        In words, why there and why so large.
    """

    on: date | None
    closed_on: date
    unit_id: str
    unit_name: str
    acres: float
    asked_acres: float
    geometry: Mapping[str, object]
    beside: tuple[str, ...]
    new_edge_ft: float
    hand_only_pct: float | None
    sun_facing_pct: float | None
    person_hours: float | None
    rests_on: str
    left_acres: float
    left_pieces: int
    why: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """Something that a bite can lie beside (planar, [m]), and what it is called."""

    words: str
    geometry: BaseGeometry


def openings(state: Ground, features: Iterable[Feature], *, near: BaseGeometry) -> tuple[Beside, ...]:
    """Return what a bite may lie beside: opened ground by unit and stage, grass units, lanes and firebreaks.

    Parameters
    ----------
    near
        Ground in grid meters; what lies farther off than a bite's neighbor is left out.
    """
    grid = state.grid
    assert grid is not None
    shapely.prepare(near)
    opened: dict[str, list[BaseGeometry]] = {}
    treated = [piece for piece in state.pieces if piece.stage in TREATED]
    meet = shapely.dwithin(near, np.array([piece.geometry for piece in treated], dtype=object), BESIDE_M)
    for piece in (treated[k] for k in np.flatnonzero(meet)):
        # a hair between two outlines of one and the same edge is no opened ground
        if shapely.dwithin(near, grown(piece.geometry, -HAIR_M), BESIDE_M):
            opened.setdefault(f"opened ground of {piece.unit_id} ({STAGE_WORDS[piece.stage]})", []).append(
                piece.geometry
            )
    for unit in state.units:
        if unit.cover in OPEN_COVERS and shapely.dwithin(near, state.unit_shapes[unit.unit_id], BESIDE_M):
            opened.setdefault(f"{unit.cover} of {unit.unit_id}", []).append(state.unit_shapes[unit.unit_id])
    for feature in features:
        if feature.kind in BREAK_FEATURE_KINDS and not is_private(feature):
            shape = grid.to_grid(feature.geometry)
            if shapely.dwithin(near, shape, BESIDE_M):
                opened.setdefault(f"{FEATURE_WORDS[feature.kind]} {feature.name or ''}".strip(), []).append(shape)
    return tuple(Beside(words=words, geometry=shapely.union_all(shapes)) for words, shapes in sorted(opened.items()))


def beside_words(one: Bite, openings: Sequence[Beside]) -> tuple[str, ...]:
    """Say what a bite lies beside and along how much of its edge, the longest first."""
    edge = one.geometry.boundary
    found = []
    for opening in openings:
        along_m = edge.intersection(shapely.buffer(opening.geometry, BESIDE_M)).length
        found.append((max(along_m, opening.geometry.intersection(one.geometry).length), opening.words))
    return tuple(
        f"{words}, along {ft(length_m):,.0f} ft"
        for length_m, words in sorted(found, key=lambda line: (-line[0], line[1]))
        if length_m >= LEAST_BESIDE_M
    )


def acres_in(hours: float, *, density: str | None, steep_frac: float | None, by: Rates) -> float | None:
    """Return what ground hours are good for [acre]; ``None`` where no rate is known."""
    one = left_on(1.0, density=density, steep_frac=steep_frac, by=by).middle
    return None if one is None or one <= 0 else hours / one


def usual_bite(
    remaining_acres: float, *, hours: float | None, density: str | None, by: Rates
) -> tuple[float, float | None]:
    """Return what the next bite of a unit takes, and the person-hours of that; ``None`` where no rate is known.

    So much as the hours of a week are good for where both are known, else `USUAL_BITE_ACRES`; never more than remains.
    Where it lies is not looked for, so it is taken off ground that is not steep, as a bite is.
    """
    wanted = None if hours is None else acres_in(hours, density=density, steep_frac=0.0, by=by)
    takes_acres = min(remaining_acres, wanted or USUAL_BITE_ACRES)
    return takes_acres, left_on(takes_acres, density=density, steep_frac=0.0, by=by).middle


def which_words(unit: Ranked, order: Sequence[Ranked], *, is_asked: bool) -> tuple[str, ...]:
    """Say why this unit: it was asked for, or comes next; and what would come before it but must wait."""
    called = f"{unit.unit_id} ({unit.name})" if unit.name else unit.unit_id
    if is_asked:
        return (f"{called} was asked for", *unit.remarks)
    waits = [
        f"{other.unit_id} would come before it but is {other.closure.words}"
        for other in passed_over(order)
        if other.closure is not None
    ]
    plain = "; ".join(reason for reason in unit.reasons if reason not in unit.remarks)
    return (*waits, f"{called} comes next in the order of work: {plain}", *unit.remarks)


def place_words(beside: Sequence[str], openings: Sequence[Beside]) -> str:
    """Say why it lies where it does."""
    if beside:
        return "it lies beside " + "; ".join(beside)
    if openings:
        return "no bite beside opened ground, a lane or a firebreak leaves no scrap here, so it begins at another edge"
    return "no opened ground, lane or firebreak of the map lies beside what remains here, so it begins at an edge"


def size_words(one: Bite, *, asked_acres: float, left_acres: float, left_pieces: int) -> str:
    """Say how large it is, what it leaves, and why it is not what was asked where it is not."""
    size = acres(one.area_m2)
    unlike = abs(size - asked_acres) > AREA_WITHIN_FRAC * asked_acres
    words = f"{acres_words(size)} in one piece"
    if one.is_whole and unlike and size < asked_acres:
        words += ", which is all that remains there in one piece"
    elif one.is_whole and unlike:
        words += f": cutting only {acres_words(asked_acres)} off it would leave a scrap, so it is taken whole"
    elif one.is_whole:
        words += ", a piece by itself"
    elif unlike:
        words += f": the ground is so ragged that no contiguous piece of {acres_words(asked_acres)} was found"
    if one.scraps_m2 > 0:
        words += f"; it leaves {acres_words(acres(one.scraps_m2))} in scraps, because no bite found here leaves none"
    if left_pieces == 0:
        return f"{words}; nothing remains in the unit after it"
    pieces = "one piece" if left_pieces == 1 else f"{left_pieces} pieces"
    verb = "remains" if left_acres < 0.005 else "remain"
    return f"{words}; {acres_words(left_acres)} {verb} in the unit after it, in {pieces}" + (
        "" if one.scraps_m2 > 0 or one.is_whole else f", none cut smaller than {SCRAP_FRAC:.0%} of it"
    )


def steep_words(*, limit_pct: float, hand_only_pct: float | None, spared_acres: float) -> tuple[str, ...]:
    """Say what of it is too steep for a machine, and what was left out for that."""
    words = []
    if spared_acres > 0:
        words.append(
            f"{acres_words(spared_acres)} of what remains here are hand-only (steeper than {limit_pct:g}%) or lie in "
            "between, and are left out; --hand-only takes them too"
        )
    if hand_only_pct is not None and hand_only_pct >= 0.5:
        words.append(f"{hand_only_pct:.0f}% of it is hand-only, steeper than {limit_pct:g}%")
    return tuple(words)


def private_words(one: Bite, features: Iterable[Feature], *, grid: LocalGrid) -> tuple[str, ...]:
    """Say which private places lie in it although no line of the log leaves ground about them standing."""
    inside = [
        f"{FEATURE_WORDS[feature.kind]} {feature.name or ''}".strip()
        for feature in features
        if is_private(feature) and grid.to_grid(feature.geometry).intersects(one.geometry)
    ]
    return tuple(
        f"{words} lies in it, and no line of the log leaves ground about it standing: log that first, as `keep`"
        for words in sorted(inside)
    )


def sun_words(of_it_pct: float | None, of_unit_pct: float | None) -> tuple[str, ...]:
    """Say how much of it faces the sun beside all that remains in its unit."""
    if of_it_pct is None or of_unit_pct is None:
        return ()
    return (f"{of_it_pct:.0f}% of it is sun-facing, of all that remains in the unit {of_unit_pct:.0f}%",)


def states_under(state: Ground, outline: BaseGeometry) -> tuple[GroundState, ...]:
    """Return the states of the ground that an outline lies on, and of what is near enough to fall into it."""
    shapely.prepare(outline)
    return tuple(piece.state for piece in state.pieces if shapely.dwithin(outline, piece.geometry, BESIDE_M))


def part_killed_words(one: Bite, state: Ground, unit_id: str) -> tuple[str, ...]:
    """Say how much of a bite is part killed already."""
    shapes = np.array(
        [piece.geometry for piece in state.pieces if piece.unit_id == unit_id and piece.stage == "part_cut"],
        dtype=object,
    )
    killed_acres = acres(float(shapely.area(shapely.intersection(shapes, one.geometry)).sum())) if shapes.size else 0.0
    if killed_acres < SLIVER_ACRES:
        return ()
    return (f"{acres_words(killed_acres)} of it are part killed already; its hours count it as not begun",)
