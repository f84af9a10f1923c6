"""The whole ground of a place, cut into pieces of one history each: what every account, map and plan starts from."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Final

import shapely
from shapely import MultiPolygon, Polygon

from habmap.errors import PlaceError
from habmap.jobs.ports import Store
from habmap.jobs.snapshot import once, worked_out
from habmap.land.acreage import Piece, merged, pieces
from habmap.land.grid import LocalGrid
from habmap.measures import acres
from habmap.place.settings import Settings
from habmap.records import Entry, Unit
from habmap.vocabulary import CEDAR_COVERS, COVERS, PRACTICES, REMAINING
from habmap.work.ledger import effective_entries
from habmap.work.stages import GroundState, ground_state

#: Less of a neighboring unit under a patch is a hair of an outline drawn twice, and no ground that is worked [m²].
HAIR_M2: Final = 1.0


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
class Cover:
    """Ground that lies in the same units under the same patches; each square metre is in one of these only."""

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
        Their outlines in grid metres, by ``unit_id`` and ``entry_id``.
    pieces
        By unit, then the order in which pieces come from the net of edges.
    covers
        The same ground and that outside every unit, each square metre once.
    """

    on: date | None
    grid: LocalGrid | None
    units: tuple[Unit, ...]
    entries: tuple[Entry, ...]
    unit_shapes: dict[str, MultiPolygon] = field(default_factory=dict)
    patches: dict[str, MultiPolygon] = field(default_factory=dict)
    pieces: tuple[GroundPiece, ...] = ()
    covers: tuple[Cover, ...] = ()


@once
def ground(store: Store, *, on: date | None = None) -> Ground:
    """Cut a place's ground into pieces and tell each one's stage.

    Parameters
    ----------
    store
        The place.
    on
        Day as of which the work counts, with today's corrections, on the units as they were drawn that day. ``None``:
        all work, on the units as they are drawn now.

    Raises
    ------
    PlaceError
        A log line's practice or a unit's cover is a word that habmap does not know: acres counted without it would be
        wrong and look right.
    """
    entries = tuple(entry for entry in effective_entries(store.entries()) if on is None or entry.date <= on)
    units = store.units(on)
    for entry in entries:
        _refuse_unknown("the practice of a log line", entry.practice, PRACTICES, where=f"line {entry.entry_id}")
    for unit in units:
        _refuse_unknown("the cover of a unit", unit.cover, COVERS, where=f"unit {unit.unit_id}")
    day = on if on is not None else max((entry.date for entry in entries), default=None)
    # The same units under the same lines are the same ground, whatever day is asked about.
    key = (cut_ground, *(unit.uuid for unit in units), *(entry.entry_id for entry in entries))
    kept = worked_out(store)
    if key not in kept:
        kept[key] = cut_ground(units, entries, grid=store.grid, settings=store.settings)
    cut: Ground = kept[key]
    return replace(cut, on=day)


def states_on(store: Store, patch: MultiPolygon, *, on: date, rows: Sequence[Entry]) -> tuple[GroundState, ...]:
    """Return what the log says, up to and with a day, of the units' ground under a patch (lon/lat [°])."""
    grid = store.grid
    if grid is None:
        return ()
    lines = [line for line in effective_entries(rows) if line.date <= on and line.patch is not None]
    state = cut_ground(
        tuple(unit for unit in store.units(on) if unit.geometry.intersects(patch)),
        tuple(line for line in lines if line.patch is not None and line.patch.intersects(patch)),
        grid=grid,
        settings=store.settings,
        on=on,
    )
    under = grid.to_grid(patch)
    return tuple(piece.state for piece in state.pieces if piece.geometry.intersection(under).area > HAIR_M2)


def _refuse_unknown(what: str, word: str, known: Collection[str], *, where: str) -> None:
    if word not in known:
        raise PlaceError(
            f"{what} is not known",
            where=where,
            value=word,
            allowed=", ".join(known),
            mend="correct it (`habmap check` lists all such rows), or use the newer habmap that wrote it",
        )


def cut_ground(
    units: tuple[Unit, ...],
    entries: tuple[Entry, ...],
    *,
    grid: LocalGrid | None,
    settings: Settings,
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
        pieces=_ground_pieces(faces, units, entries, list(patches), settings),
        covers=_covers(faces, [unit.unit_id for unit in units], list(patches)),
    )


@dataclass(frozen=True, slots=True)
class UnitRules:
    """What decides a stage on a unit's ground: its target share (0–1), live cedars it may keep, whether it counts."""

    target_frac: float
    leave_stems_per_acre: float
    is_cedar: bool


def unit_rules(unit: Unit, settings: Settings) -> UnitRules:
    """Return a unit's own limits, the place's where it has none."""
    stages = settings.stages
    return UnitRules(
        target_frac=(stages.target_pct if unit.target_pct is None else unit.target_pct) / 100,
        leave_stems_per_acre=(
            stages.leave_stems_per_acre if unit.leave_stems_per_acre is None else unit.leave_stems_per_acre
        ),
        is_cedar=unit.cover in CEDAR_COVERS,
    )


@once
def remaining_ground(store: Store, *, on: date | None = None) -> dict[str, Polygon | MultiPolygon]:
    """Return the ground that remains to be treated in each unit that has any, in grid metres by ``unit_id``."""
    state = ground(store, on=on)
    parts: defaultdict[str, list[Polygon]] = defaultdict(list)
    for piece in state.pieces:
        if piece.stage in REMAINING and piece.area_m2 > 0:
            parts[piece.unit_id] += list(shapely.get_parts(piece.geometry))
    return {unit_id: merged(polygons) for unit_id, polygons in parts.items()}


def _ground_pieces(
    faces: tuple[Piece, ...],
    units: tuple[Unit, ...],
    entries: tuple[Entry, ...],
    patch_ids: list[str],
    settings: Settings,
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
        rules = unit_rules(unit, settings)
        key = (patch_indices, rules)
        if key not in states:
            states[key] = ground_state(
                [by_id[entry_id] for entry_id in entry_ids],
                target_frac=rules.target_frac,
                leave_stems_per_acre=rules.leave_stems_per_acre,
                is_cedar=rules.is_cedar,
            )
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


def _covers(faces: tuple[Piece, ...], unit_ids: list[str], patch_ids: list[str]) -> tuple[Cover, ...]:
    area_m2: defaultdict[tuple[tuple[int, ...], tuple[int, ...]], float] = defaultdict(float)
    for face in faces:
        area_m2[(face.units, face.patches)] += face.area_m2
    return tuple(
        Cover(tuple(unit_ids[index] for index in units), tuple(patch_ids[index] for index in patches), total)
        for (units, patches), total in area_m2.items()
    )
