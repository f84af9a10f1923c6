"""The whole ground of a place, cut into pieces of one history each: what every account, map and plan starts from."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from itertools import groupby
from typing import Final, Protocol, TypeVar

from shapely import MultiPolygon, Polygon

from habmap.errors import PlaceError
from habmap.land.acreage import Piece, merged, pieces
from habmap.land.grid import LocalGrid
from habmap.measures import acres
from habmap.records import Entry, Unit
from habmap.vocabulary import CEDAR_COVERS, COVERS, PRACTICES
from habmap.work.stages import GroundState, ground_state

Key = TypeVar("Key", bound=Hashable)

#: Less of a neighboring unit under a patch is a hair of an outline drawn twice, and no ground that is worked [m²].
HAIR_M2: Final = 1.0


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
    pieces: tuple[GroundPiece, ...] = ()
    overlays: tuple[Overlay, ...] = ()


def cut_ground(
    units: tuple[Unit, ...],
    entries: tuple[Entry, ...],
    *,
    grid: LocalGrid | None,
    limits: StageLimits,
    on: date | None = None,
) -> Ground:
    """Cut the ground of these units, no two of one ``unit_id``, by these effective entries; ``on`` is only carried."""
    if grid is None:
        return Ground(on, None, units, entries)
    unit_shapes = {unit.unit_id: grid.to_grid(unit.geometry) for unit in units}
    patches = {entry.entry_id: grid.to_grid(entry.patch) for entry in entries if entry.patch is not None}
    faces = pieces([unit_shapes[unit.unit_id] for unit in units], list(patches.values()))
    return Ground(
        on=on,
        grid=grid,
        units=units,
        entries=entries,
        unit_shapes=unit_shapes,
        patches=patches,
        pieces=_ground_pieces(faces, units, entries, list(patches), limits),
        overlays=_overlays(faces, [unit.unit_id for unit in units], list(patches)),
    )


@dataclass(frozen=True, slots=True)
class UnitRules:
    """What decides a stage on a unit's ground: its target share (0–1), live cedars it may keep, whether it counts."""

    target_frac: float
    leave_stems_per_acre: float
    is_cedar: bool

    def state_of(self, entries: Iterable[Entry]) -> GroundState:
        """Return the state of such a unit's ground on which these effective entries, and no others, were done."""
        return ground_state(
            entries,
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


def _ground_pieces(
    faces: tuple[Piece, ...],
    units: tuple[Unit, ...],
    entries: tuple[Entry, ...],
    patch_ids: list[str],
    limits: StageLimits,
) -> tuple[GroundPiece, ...]:
    by_history: defaultdict[tuple[int, tuple[int, ...]], list[Piece]] = defaultdict(list)
    for face in faces:
        for unit_index in face.units:
            by_history[(unit_index, face.patches)].append(face)
    by_id = {entry.entry_id: entry for entry in entries}
    states: dict[tuple[tuple[int, ...], UnitRules], GroundState] = {}
    found = []
    for (unit_index, patch_indices), parts in sorted(by_history.items(), key=lambda item: item[0][0]):
        unit = units[unit_index]
        entry_ids = tuple(patch_ids[index] for index in patch_indices)
        rules = unit_rules(unit, limits)
        key = (patch_indices, rules)
        if key not in states:
            states[key] = rules.state_of(by_id[entry_id] for entry_id in entry_ids)
        area_m2 = sum(part.area_m2 for part in parts)
        found.append(
            GroundPiece(
                unit_id=unit.unit_id,
                stage=states[key].stage,
                state=states[key],
                entry_ids=entry_ids,
                geometry=merged([part.geometry for part in parts]),
                area_m2=area_m2,
                acres=acres(area_m2),
            )
        )
    return tuple(found)


def stage_courses(
    cut: Ground, limits: StageLimits, *, group_of: Callable[[Entry], Key]
) -> Iterator[tuple[GroundPiece, list[tuple[Key | None, str]]]]:
    """Yield each piece with its stage before any work (``None``) and after each group of the lines on it.

    Parameters
    ----------
    limits
        Those by which the ground was cut.
    group_of
        Tells lines of one group; it must not fall from one line to the next in the order of work.
    """
    rules = {unit.unit_id: unit_rules(unit, limits) for unit in cut.units}
    by_id = {entry.entry_id: entry for entry in cut.entries}

    @cache
    def stage(entry_ids: tuple[str, ...], rule: UnitRules) -> str:
        return rule.state_of(by_id[entry_id] for entry_id in entry_ids).stage

    for piece in cut.pieces:
        rule, done = rules[piece.unit_id], 0
        found: list[tuple[Key | None, str]] = [(None, stage((), rule))]
        # Lines on a piece come in the order of work, so that those of a group and all before are its first ones.
        for group, lines in groupby(piece.entry_ids, key=lambda entry_id: group_of(by_id[entry_id])):
            done += len(tuple(lines))
            found.append((group, stage(piece.entry_ids[:done], rule)))
        yield piece, found


def _overlays(faces: tuple[Piece, ...], unit_ids: list[str], patch_ids: list[str]) -> tuple[Overlay, ...]:
    area_m2: defaultdict[tuple[tuple[int, ...], tuple[int, ...]], float] = defaultdict(float)
    for face in faces:
        area_m2[(face.units, face.patches)] += face.area_m2
    return tuple(
        Overlay(tuple(unit_ids[index] for index in units), tuple(patch_ids[index] for index in patches), total)
        for (units, patches), total in area_m2.items()
    )


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
