"""Load units or a boundary from a person's layer: all of the file, or none of it."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Final

import shapely

from habmap.errors import HabmapError, InputError, printable
from habmap.jobs.history import changes_recorded
from habmap.jobs.load.result import LoadResult
from habmap.jobs.ports import Store
from habmap.jobs.unit_versions import (
    as_version,
    far_away,
    hardly_there,
    lie_beside,
    overlap_faults,
    says_nothing_new,
    trimmed,
)
from habmap.land.grid import LocalGrid, grid_around
from habmap.land.meridian import near
from habmap.measures import acres
from habmap.place.layers import read_ground_and_repairs
from habmap.place.load.engine import read_layer_rows
from habmap.place.load.layer import layer_table
from habmap.place.load.spec import Told
from habmap.place.load.table import Table
from habmap.place.load.units import UNITS
from habmap.records import Boundary, Unit
from habmap.vocabulary import COVERS

_STORE_COLUMNS: Final = frozenset({"uuid", "valid_from", "valid_to", "recorded_at"})


def load_units(
    store: Store,
    *,
    path: Path,
    valid_from: date,
    now: datetime,
    layer: str | None = None,
    columns: Mapping[str, str] | None = None,
    repair: bool = False,
    overwrite: bool = False,
    trim: bool = False,
) -> LoadResult:
    """Load a layer of units; one whose ``unit_id`` exists becomes a new version of it.

    Parameters
    ----------
    store
        The property.
    path, layer
        The file and, where it holds several, the layer.
    valid_from
        First day on which new versions hold; units loaded for the first time hold from the beginning.
    now
        Moment of recording, UTC.
    columns
        Field → column of the file, where the names differ.
    repair
        Mend outlines that cross themselves, and say so.
    overwrite
        Let existing units get new versions.
    trim
        Cut new units back where they share ground, hair or wider, with units that are there; of two new ones the
        earlier in the file keeps it.

    Raises
    ------
    InputErrors
        Every fault of the file, with its row; without ``trim`` each pair of units that overlap, with its place.
    InputError
        The file as a whole is unfit.
    """
    read = layer_table(path, layer=layer, want="ground", repair=repair, grid=store.grid)
    _refuse_store(read)
    table, told = read_layer_rows(store, UNITS, read, now=now, columns=columns)
    faults, notes = table.faults, table.notes
    current = {unit.unit_id: unit for unit in store.units()}
    rows = [(one.where, one.record) for one in told]
    faults += _duplicates(told, read.where)
    retired = {unit.unit_id: unit for unit in store.unit_versions() if unit.is_retired and unit.valid_to is None}
    used = {unit.uuid for unit in store.unit_versions()}
    had = {unit.unit_id for unit in store.unit_versions()}
    cuts: list[str] = []
    if trim and rows:
        rows, cuts, empty = _trimmed(rows, current, store.grid or grid_around([unit.geometry for _, unit in rows]))
        faults += empty
    fresh: list[tuple[str, Unit]] = []
    already = 0
    for where, unit in rows:
        if says_nothing_new(unit, current.get(unit.unit_id)):
            already += 1
            continue
        if unit.uuid in used:
            faults.append(
                InputError(
                    "another row has this uuid already",
                    where=where,
                    value=unit.uuid,
                    allowed="a new one",
                    mend="delete the uuid column: habmap gives each version its own",
                )
            )
        used.add(unit.uuid)
        version = as_version(unit, where, retired | current, valid_from, overwrite=overwrite, faults=faults)
        if version.valid_from is None and version.unit_id in had:
            # The label was another unit's, since split or merged: it must not hold on that one's days too.
            version = replace(version, valid_from=valid_from)
        fresh.append((where, version))
    units = [unit for _where, unit in fresh]
    gone = {follows for unit in units for follows in unit.replaces}
    kept = [unit for unit in current.values() if unit.uuid not in gone]
    if units:
        grid = store.grid or grid_around([unit.geometry for unit in units])
        faults += overlap_faults(fresh, kept, grid, read.where)
    table.refuse_faults()
    by_cover: defaultdict[str, float] = defaultdict(float)
    if units:
        notes += cuts + far_away(fresh, grid) + hardly_there(fresh, grid) + lie_beside(units, kept, grid)
        store.append(units)
        grid = store.grid or grid
        for unit in units:
            by_cover[unit.cover] += acres(grid.to_grid(unit.geometry).area)
    return LoadResult(
        kind="units",
        loaded=len(units),
        versions=sum(1 for unit in units if unit.replaces),
        already_there=already,
        acres=sum(by_cover.values()),
        acres_by_cover=dict(sorted(by_cover.items(), key=lambda item: COVERS.index(item[0]))),
        kept_columns=table.left,
        warnings=tuple(notes),
        repaired=read.repaired,
        changes=changes_recorded(store, recorded_at=now) if any(unit.replaces for unit in units) else (),
    )


def load_boundary(
    store: Store,
    *,
    path: Path,
    now: datetime,
    layer: str | None = None,
    repair: bool = False,
    overwrite: bool = False,
) -> LoadResult:
    """Load the property's outer line; several polygons are united.

    Raises
    ------
    InputError
        The file is unfit, or another boundary is there and ``overwrite`` is not set.
    """
    outline, repaired = read_ground_and_repairs(path, layer=layer, repair=repair)
    outline = near(outline, store.grid.lon) if store.grid else outline
    known = store.boundary()
    if known is not None and shapely.equals_identical(known.geometry, outline):
        return LoadResult(kind="boundary", loaded=0, already_there=1, acres=0.0)
    if known is not None and not overwrite:
        raise InputError(
            "the property has a boundary already",
            where=str(path),
            value=f"recorded {known.recorded_at.date().isoformat()}",
            allowed="one boundary at a time; the old one stays on record",
            mend="let the new one count with --overwrite",
        )
    store.append([Boundary(uuid=str(uuid.uuid4()), geometry=outline, recorded_at=now)])
    grid = store.grid or grid_around([outline])
    return LoadResult(kind="boundary", loaded=1, acres=acres(grid.to_grid(outline).area), repaired=repaired)


def _trimmed(
    rows: list[tuple[str, Unit]], current: Mapping[str, Unit], grid: LocalGrid
) -> tuple[list[tuple[str, Unit]], list[str], list[HabmapError]]:
    """Cut the rows that bring something new back to all others; what is there already keeps its ground."""
    same: list[tuple[str, Unit]] = []
    news: list[tuple[str, Unit]] = []
    for where, unit in rows:
        (same if says_nothing_new(unit, current.get(unit.unit_id)) else news).append((where, unit))
    going = {unit.unit_id for _where, unit in news} | {label for _where, unit in news for label in unit.replaces}
    kept = [unit for unit in current.values() if unit.unit_id not in going]
    done, words, faults = trimmed(news, kept, grid)
    return same + done, words, faults


def _duplicates(told: Sequence[Told[Unit]], where: str) -> list[HabmapError]:
    rows_of: defaultdict[str, list[int]] = defaultdict(list)
    for one in told:
        rows_of[one.record.unit_id].append(one.number)
    return [
        InputError(
            "the same unit_id stands on several rows",
            where=f"{where}, features {', '.join(str(number) for number in numbers)}",
            value=printable(label),
            allowed="each unit_id once",
            mend="rename them, or join their polygons into one feature",
        )
        for label, numbers in rows_of.items()
        if len(numbers) > 1
    ]


def _refuse_store(read: Table) -> None:
    """Refuse a property's own file: its rows are versions that belong to their place, not a list of units."""
    if set(read.columns) >= _STORE_COLUMNS:
        raise InputError(
            "this is the file of a habmap property, with every version of its units",
            where=read.where,
            value=", ".join(sorted(_STORE_COLUMNS)),
            allowed="a layer with one row per unit",
            mend="write one with `habmap export units` there and load that",
        )
