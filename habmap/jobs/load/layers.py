"""Load units or a boundary from a person's layer: all of the file, or none of it."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any, Final

import shapely
from shapely import MultiPolygon

from habmap.errors import HabmapError, InputError, InputErrors
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
from habmap.place.layers import Layer, LayerRow, read_ground_and_repairs, read_layer
from habmap.place.load.cells import Cells
from habmap.place.load.columns import matched_columns, require_columns
from habmap.place.userfiles import printable
from habmap.records import Boundary, Unit
from habmap.vocabulary import COVERS

UNIT_FIELDS: Final = (
    "unit_id", "name", "cover", "stems_per_acre", "canopy_pct", "target_pct", "leave_stems_per_acre", "planned_acres",
    "stratum", "notes", "acres_sd", "replaces", "uuid",
)  # fmt: skip
LONGEST_UNIT_ID: Final = 200
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
    read = beside(read_layer(path, layer=layer, want="ground", repair=repair), store)
    _refuse_store(read)
    found = matched_columns(read.columns, UNIT_FIELDS, renames=columns or {}, where=read.where)
    require_columns(found, ("unit_id", "cover"), of=read, fields=UNIT_FIELDS, kind="layer")
    faults: list[HabmapError] = list(read.faults)
    notes: list[str] = []
    current = {unit.unit_id: unit for unit in store.units()}
    rows: list[tuple[str, Unit]] = []
    for row in read.rows:
        cells = Cells(fields_of(row, found), where=read.row_words(row), faults=faults, notes=notes)
        unit = _unit(row, cells, extra=extra_of(row, found), now=now)
        if unit is not None:
            rows.append((read.row_words(row), unit))
    faults += _duplicates(read, found)
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
    if faults:
        raise InputErrors(faults, where=read.where)
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
        kept_columns=kept_columns(read, found),
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


# --- rows to units ------------------------------------------------------------------------------------------


def _unit(row: LayerRow, cells: Cells, *, extra: dict[str, object], now: datetime) -> Unit | None:
    unit_id = cells.text("unit_id", required=True, longest=LONGEST_UNIT_ID)
    if unit_id is not None and ";" in unit_id:
        cells.fault(
            "a unit_id holds a semicolon, which parts the units of a log line",
            "unit_id",
            value=unit_id,
            allowed="any text without ;",
            mend="rename it",
        )
    cover = cells.choice("cover", COVERS)
    unit = Unit(
        uuid=_row_uuid(cells),
        unit_id=unit_id or "",
        name=cells.text("name") or unit_id or "",
        cover=cover or "",
        geometry=row.geometry if isinstance(row.geometry, MultiPolygon) else MultiPolygon(),
        stems_per_acre=cells.number("stems_per_acre", low=0),
        canopy_pct=cells.number("canopy_pct", low=0, high=100),
        target_pct=cells.number("target_pct", above=0, high=100),
        leave_stems_per_acre=cells.number("leave_stems_per_acre", low=0),
        planned_acres=cells.number("planned_acres", low=0),
        stratum=cells.text("stratum"),
        notes=cells.text("notes", one_line=False),
        acres_sd=cells.number("acres_sd", low=0),
        extra=extra,
        replaces=tuple(part.strip() for part in (cells.text("replaces") or "").split(";") if part.strip()),
        recorded_at=now,
    )
    return unit if unit_id and cover and row.geometry is not None else None


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


def _row_uuid(cells: Cells) -> str:
    text = cells.text("uuid")
    if text is None:
        return str(uuid.uuid4())
    try:
        return str(uuid.UUID(text))
    except ValueError:
        cells.fault("this is not a uuid", "uuid", value=text, mend="delete it: habmap gives each version its own")
        return str(uuid.uuid4())


def _duplicates(read: Layer, found: Mapping[str, str]) -> list[HabmapError]:
    rows_of: defaultdict[str, list[int]] = defaultdict(list)
    for row in read.rows:
        label = Cells(fields_of(row, found), where="", faults=[], notes=[]).text("unit_id")
        if label:
            rows_of[label].append(row.number)
    return [
        InputError(
            "the same unit_id stands on several rows",
            where=f"{read.where}, features {', '.join(str(number) for number in numbers)}",
            value=printable(label),
            allowed="each unit_id once",
            mend="rename them, or join their polygons into one feature",
        )
        for label, numbers in rows_of.items()
        if len(numbers) > 1
    ]


# --- shared bits --------------------------------------------------------------------------------------------


def beside(read: Layer, store: Store) -> Layer:
    """Return a layer with its longitudes counted as the property's are, which matters across the 180° meridian."""
    grid = store.grid
    if grid is None:
        return read
    moved = (
        replace(row, geometry=near(row.geometry, grid.lon)) if row.geometry is not None else row for row in read.rows
    )
    return replace(read, rows=tuple(moved))


def _refuse_store(read: Layer) -> None:
    """Refuse a property's own file: its rows are versions that belong to their place, not a list of units."""
    if set(read.columns) >= _STORE_COLUMNS:
        raise InputError(
            "this is the file of a habmap property, with every version of its units",
            where=read.where,
            value=", ".join(sorted(_STORE_COLUMNS)),
            allowed="a layer with one row per unit",
            mend="write one with `habmap export units` there and load that",
        )


def fields_of(row: LayerRow, found: Mapping[str, str]) -> dict[str, Any]:
    """Return a row's cells by the names of habmap's own fields."""
    return {name: row.values[column] for name, column in found.items()}


def kept_columns(read: Layer, found: Mapping[str, str]) -> tuple[str, ...]:
    """Return the columns that habmap does not use and keeps as they are."""
    return tuple(column for column in read.columns if column not in found.values())


def extra_of(row: LayerRow, found: Mapping[str, str]) -> dict[str, object]:
    """Return the cells of a row's kept columns that are not blank."""
    used = set(found.values())
    return {column: value for column, value in row.values.items() if column not in used and value is not None}
