"""The whole ground of a place, cut into pieces of one history each: what every account, map and plan starts from."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date
from itertools import chain
from typing import Final, Protocol, TypeVar, cast

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from habmap.errors import PlaceError
from habmap.land.acreage import Piece, groups_apart, merged, multipolygon, pieces
from habmap.land.grid import LocalGrid, wkbs
from habmap.measures import acres
from habmap.memory import remembered
from habmap.records import Entry, Unit
from habmap.vocabulary import CEDAR_COVERS, COVERS, PRACTICES
from habmap.work.ledger import day_order
from habmap.work.stages import Course, GroundState

Key = TypeVar("Key", bound=Hashable)
Shapes = NDArray[np.object_]

#: Less of a neighboring unit under a patch is a hair of an outline drawn twice, and no ground that is worked [m²].
HAIR_M2: Final = 1.0
#: Of a patch that reaches farther than this beyond a unit only the nearer part is cut with that unit [m].
_MARGIN_M: Final = 1.0


class StageLimits(Protocol):
    """A place's own limits, for units that have none: target share [%], live cedars that may stay [1/acre]."""

    @property
    def target_pct(self) -> float: ...

    @property
    def leave_stems_per_acre(self) -> float: ...


@dataclass(frozen=True, slots=True)
class GroundPiece:
    """All ground of one unit on which the same entries were done.

    Attributes
    ----------
    state
        What the log says of it; ``stage`` is its stage, for short.
    entry_ids
        Entries whose patches cover it, in the order the work was done.
    geometry
        Planar outline in the place's grid [m].
    area_m2, acres
        Sum of the areas of its parts [m²], [acre].
    """

    unit_id: str
    stage: str
    state: GroundState
    entry_ids: tuple[str, ...]
    geometry: Polygon | MultiPolygon
    area_m2: float
    acres: float


@dataclass(frozen=True, slots=True)
class Overlay:
    """Ground that lies in the same units under the same patches; each square meter is in one of these only."""

    unit_ids: tuple[str, ...]
    entry_ids: tuple[str, ...]
    area_m2: float


@dataclass(frozen=True, slots=True, eq=False)
class CutUnit:
    """One unit's ground; the very same object as long as nothing that decides about it changed.

    Attributes
    ----------
    lines
        Those whose patches meet it, in the order of work.
    pieces
        In the order in which they come from the net of edges.
    courses
        Of each piece its stages: before any work, and after each line on it.
    overlays
        Its ground without what it shares with a unit before it.
    """

    lines: tuple[Entry, ...]
    pieces: tuple[GroundPiece, ...]
    courses: tuple[tuple[str, ...], ...]
    overlays: tuple[Overlay, ...]


@dataclass(frozen=True, slots=True)
class Ground:
    """A place's ground as of a day.

    Attributes
    ----------
    on
        The day; the newest counting entry's where none was asked for, ``None`` when there is no entry.
    grid
        The place's grid; ``None`` while it holds no geometry.
    units, entries
        Unit versions and effective entries that this rests on.
    unit_shapes, patches
        Their outlines in grid meters, by ``unit_id`` and ``entry_id``.
    by_unit
        Beside the units.
    pieces
        By unit, then the order in which pieces come from the net of edges.
    overlays
        The same ground and that outside every unit, each square meter once.
    """

    on: date | None
    grid: LocalGrid | None
    units: tuple[Unit, ...]
    entries: tuple[Entry, ...]
    unit_shapes: dict[str, MultiPolygon] = field(default_factory=dict)
    patches: dict[str, MultiPolygon] = field(default_factory=dict)
    by_unit: tuple[CutUnit, ...] = ()
    pieces: tuple[GroundPiece, ...] = ()
    overlays: tuple[Overlay, ...] = ()

    @property
    def cuts(self) -> dict[str, CutUnit]:
        """Each unit's ground by ``unit_id``."""
        return {unit.unit_id: cut for unit, cut in zip(self.units, self.by_unit, strict=True)}


def cut_ground(
    units: tuple[Unit, ...],
    entries: tuple[Entry, ...],
    *,
    grid: LocalGrid | None,
    limits: StageLimits,
    on: date | None = None,
) -> Ground:
    """Cut the ground of these units, no two of one ``unit_id``, by these effective entries; ``on`` is only carried.

    Notes
    -----
    Each unit is cut by what lies on it and by nothing else, so that its figures, to the last bit, hang on nothing that
    is done elsewhere, and a line of the log has only the units cut anew that it touches. Work outside all units is cut
    in groups that do not meet.
    """
    if grid is None:
        return Ground(on, None, units, entries, by_unit=tuple(CutUnit((), (), (), ()) for _ in units))
    unit_shapes = _turned_by((unit.unit_id for unit in units), (unit.geometry for unit in units), grid)
    lines = sorted((entry for entry in entries if entry.patch is not None), key=day_order)
    worked_lonlat = (line.patch for line in lines if line.patch is not None)
    patches = _turned_by((line.entry_id for line in lines), worked_lonlat, grid)
    shapes, worked = (np.array([*these.values()], dtype=object) for these in (unit_shapes, patches))
    beside = _meeting(shapes, shapes)
    beside = beside[:, ~shapely.touches(shapes[beside[0]], shapes[beside[1]])]  # with itself; with one overlapping it
    on_unit = _meeting(shapes, worked)
    by_unit = [
        _unit_ground(
            tuple((units[k].unit_id, shapes[k]) for k in held),
            held.index(at) if at in held else 0,
            unit_rules(unit, limits),
            tuple(lines[k] for k in done),
            grid,
        )
        for at, (unit, held, done) in enumerate(
            zip(units, _others_of(beside, len(units)), _others_of(on_unit, len(units)), strict=True)
        )
    ]
    outside = _outside(shapes, worked, list(patches), _others_of(_rising(on_unit[::-1]), len(worked)))
    return Ground(
        on=on,
        grid=grid,
        units=units,
        entries=entries,
        unit_shapes=unit_shapes,
        patches=patches,
        by_unit=tuple(by_unit),
        pieces=tuple(chain.from_iterable(one.pieces for one in by_unit)),
        overlays=(*chain.from_iterable(one.overlays for one in by_unit), *outside),
    )


def _turned_by(names: Iterable[str], shapes: Iterable[MultiPolygon], grid: LocalGrid) -> dict[str, MultiPolygon]:
    return dict(zip(names, cast("list[MultiPolygon]", grid.each_to_grid(shapes)), strict=True))


def _meeting(shapes: Shapes, others: Shapes) -> NDArray[np.intp]:
    """Return which shapes have a point in common with which others, both rising: two rows of positions."""
    found = shapely.STRtree(others).query(shapes, predicate="intersects")
    return _rising(found)


def _rising(pairs: NDArray[np.intp]) -> NDArray[np.intp]:
    return pairs[:, np.lexsort(pairs[::-1])]


def _others_of(pairs: NDArray[np.intp], count: int) -> list[list[int]]:
    """Return of rising pairs the second positions of each first one, of so many."""
    parts = np.split(pairs[1], np.searchsorted(pairs[0], np.arange(1, count))) if count else []
    return [part.tolist() for part in parts]


@dataclass(frozen=True, slots=True)
class UnitRules:
    """What decides a stage on a unit's ground: its target share (0–1), live cedars it may keep, whether it counts."""

    target_frac: float
    leave_stems_per_acre: float
    is_cedar: bool

    def state_of(self, entries: Iterable[Entry]) -> GroundState:
        """Return the state of such a unit's ground on which these effective entries, and no others, were done."""
        return self.course().states(sorted(entries, key=day_order))[-1]

    def course(self) -> Course:
        """Return what becomes of such a unit's ground line by line."""
        return Course(
            target_frac=self.target_frac,
            leave_stems_per_acre=self.leave_stems_per_acre,
            is_cedar=self.is_cedar,
        )


def unit_rules(unit: Unit, limits: StageLimits) -> UnitRules:
    """Return a unit's own limits, the place's where it has none."""
    return UnitRules(
        target_frac=(limits.target_pct if unit.target_pct is None else unit.target_pct) / 100,
        leave_stems_per_acre=(
            limits.leave_stems_per_acre if unit.leave_stems_per_acre is None else unit.leave_stems_per_acre
        ),
        is_cedar=unit.cover in CEDAR_COVERS,
    )


@remembered
def _unit_ground(
    held: tuple[tuple[str, MultiPolygon], ...], at: int, rules: UnitRules, lines: tuple[Entry, ...], grid: LocalGrid
) -> CutUnit:
    """Cut one unit's ground.

    Parameters
    ----------
    held
        It and the units that overlap it by a hair, in their order: ``unit_id`` and outline [m]; ``at`` is its position.
    lines
        Those whose patches meet it, in the order of work.
    """
    if not held:  # an outline without ground
        return CutUnit(lines, (), (), ())
    unit_ids = [unit_id for unit_id, _ in held]
    patches = [grid.to_grid(line.patch) for line in lines if line.patch is not None]
    faces = pieces([shape for _, shape in held], _near(held[at][1], patches))
    by_history: defaultdict[tuple[int, ...], list[Piece]] = defaultdict(list)
    overlay_m2: defaultdict[tuple[tuple[int, ...], tuple[int, ...]], float] = defaultdict(float)
    for face in faces:
        if at in face.units:
            by_history[face.patches].append(face)
            if at == face.units[0]:
                overlay_m2[face.units, face.patches] += face.area_m2
    done = rules.course()
    found, courses = [], []
    for numbers, parts in by_history.items():
        states = done.states(tuple(lines[number] for number in numbers))
        area_m2 = sum(part.area_m2 for part in parts)
        found.append(
            GroundPiece(
                unit_id=unit_ids[at],
                stage=states[-1].stage,
                state=states[-1],
                entry_ids=tuple(lines[number].entry_id for number in numbers),
                geometry=merged([part.geometry for part in parts]),
                area_m2=area_m2,
                acres=acres(area_m2),
            )
        )
        courses.append(tuple(state.stage for state in states))
    return CutUnit(
        lines,
        tuple(found),
        tuple(courses),
        tuple(
            Overlay(tuple(unit_ids[k] for k in units), tuple(lines[k].entry_id for k in numbers), total)
            for (units, numbers), total in overlay_m2.items()
        ),
    )


def _near(unit: MultiPolygon, patches: list[MultiPolygon]) -> list[MultiPolygon]:
    """Return of each patch what may matter to a unit: of a burn around all units little is here.

    The cut lies off the unit, so that within it every edge is the patch's own.
    """
    west, south, east, north = shapely.bounds(unit).tolist()
    window = shapely.box(west - _MARGIN_M, south - _MARGIN_M, east + _MARGIN_M, north + _MARGIN_M)
    return [patch if window.contains(patch) else multipolygon(patch.intersection(window)) for patch in patches]


def _outside(shapes: Shapes, worked: Shapes, entry_ids: list[str], units_under: list[list[int]]) -> list[Overlay]:
    """Cut the worked ground that lies in no unit, group by group of what meets there."""
    units, patches = wkbs(shapes), wkbs(worked)
    beyond = {
        k: left
        for k, under in enumerate(units_under)
        if (left := _beyond(patches[k], tuple(units[at] for at in under))) is not None
    }
    numbers, found = list(beyond), []
    for group in groups_apart(np.array(list(beyond.values()), dtype=object)):
        members = [numbers[k] for k in group.tolist()]
        near = sorted({at for k in members for at in units_under[k]})
        for inside, area_m2 in _outside_m2(tuple(worked[k] for k in members), tuple(shapes[at] for at in near)):
            found.append(Overlay((), tuple(entry_ids[members[k]] for k in inside), area_m2))
    return found


@remembered
def _beyond(patch: bytes, units: tuple[bytes, ...]) -> BaseGeometry | None:
    """Return about what of a patch reaches out of the units that it meets, all given as WKB; ``None``: nothing."""
    worked, outlines = shapely.from_wkb(patch), shapely.from_wkb(units)
    if any(outline.covers(worked) for outline in outlines):
        return None
    left = worked.difference(shapely.union_all(outlines))
    return None if left.is_empty else left


@remembered
def _outside_m2(
    patches: tuple[MultiPolygon, ...], units: tuple[MultiPolygon, ...]
) -> tuple[tuple[tuple[int, ...], float], ...]:
    """Return the ground [m²] outside these units by which of these patches it lies in."""
    area_m2: defaultdict[tuple[int, ...], float] = defaultdict(float)
    for face in pieces(units, patches):
        if not face.units:
            area_m2[face.patches] += face.area_m2
    return tuple(area_m2.items())


@remembered
def joined_in(cut: CutUnit, stages: tuple[str, ...]) -> Polygon | MultiPolygon | None:
    """Return one unit's ground in some stages as one geometry [m]; ``None`` where it has none."""
    own = [piece.geometry for piece in cut.pieces if piece.stage in stages]
    return merged(own) if own else None


def stage_courses(
    cut: Ground, *, group_of: Callable[[Entry], Key]
) -> Iterator[tuple[GroundPiece, list[tuple[Key | None, str]]]]:
    """Yield each piece with its stage before any work (``None``) and after each group of the lines on it.

    Parameters
    ----------
    group_of
        Tells lines of one group; it must not fall from one line to the next in the order of work.
    """
    for one in cut.by_unit:
        yield from unit_courses(one, group_of=group_of)


def unit_courses(
    cut: CutUnit, *, group_of: Callable[[Entry], Key]
) -> Iterator[tuple[GroundPiece, list[tuple[Key | None, str]]]]:
    """Yield the same of one unit's pieces."""
    group = {line.entry_id: group_of(line) for line in cut.lines}
    for piece, stages in zip(cut.pieces, cut.courses, strict=True):
        # Lines on a piece come in the order of work, so that those of a group and all before are its first ones.
        later = zip(piece.entry_ids, stages[1:], strict=True)
        steps = {None: stages[0]} | {group[line]: stage for line, stage in later}
        yield piece, list(steps.items())


def refuse_unknown_words(units: Iterable[Unit], entries: Iterable[Entry]) -> None:
    """Refuse a practice or a cover that habmap does not know: acres counted without it would be wrong and look right.

    Raises
    ------
    PlaceError
        There is such a word; `habmap check` lists them all.
    """
    words = [
        *(("the practice of a log line", f"line {one.entry_id}", one.practice, PRACTICES) for one in entries),
        *(("the cover of a unit", f"unit {one.unit_id}", one.cover, COVERS) for one in units),
    ]
    for what, where, word, known in words:
        if word not in known:
            raise PlaceError(
                f"{what} is not known",
                where=where,
                value=word,
                allowed=", ".join(known),
                mend="correct it (`habmap check` lists all such rows), or use the newer habmap that wrote it",
            )
