"""The layer of units: polygons, each of one cover, and what a row becomes beside the units that are there."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any, Final

from habmap.errors import HabmapError, InputError, printable
from habmap.land.grid import LocalGrid, grid_around
from habmap.place.contents import Contents
from habmap.place.load.engine import Brought, read_layer_rows
from habmap.place.load.spec import Column, Loading, ReadRow, RecordOfRow, TableSpec, columns_of
from habmap.place.load.table import Table, layer_table
from habmap.progress import Progress
from habmap.records import Difference, Unit, differences
from habmap.work.unit_outlines import far_away, hardly_there, lie_beside, overlap_faults, trimmed

_STORE_COLUMNS: Final = frozenset({"uuid", "valid_from", "valid_to", "recorded_at"})


def _rest(row: ReadRow, _loading: Loading) -> Mapping[str, Any]:
    unit_id, replaces = row["unit_id"], row["replaces"] or ""
    if unit_id is not None and ";" in unit_id:
        row.cells.fault(
            "a unit_id holds a semicolon, which parts the units of a log line",
            "unit_id",
            value=unit_id,
            allowed="any text without ;",
            mend="rename it",
        )
    return {
        "uuid": _row_uuid(row),
        "name": row["name"] or unit_id or "",
        "replaces": tuple(part.strip() for part in replaces.split(";") if part.strip()),
    }


def _row_uuid(row: ReadRow) -> str:
    text = row["uuid"]
    if text is not None:
        try:
            return str(uuid.UUID(text))
        except ValueError:
            mend = "delete it: habmap gives each version its own"
            row.cells.fault("this is not a uuid", "uuid", value=text, mend=mend)
    return str(uuid.uuid4())


UNITS: Final = TableSpec(
    kind="units",
    noun="unit",
    record=Unit,
    columns=(
        *columns_of(
            Unit,
            unit_id={"is_required": True, "title": "short name, as it stands on the map"},
            name={"title": "what people call it"},
            cover={"is_required": True, "title": "what grew there when the work began"},
        ),
        Column("replaces"),
        Column("uuid"),
    ),
    rest=_rest,
)


def bring_units(
    store: Contents,
    *,
    path: Path,
    valid_from: date,
    now: datetime,
    layer: str | None = None,
    columns: Mapping[str, str] | None = None,
    repair: bool = False,
    overwrite: bool = False,
    trim: bool = False,
    progress: Progress | None = None,
) -> Brought[Unit]:
    """Read a layer of units and tell what is new in it; nothing is written.

    Parameters
    ----------
    valid_from
        First day on which new versions hold; units loaded for the first time hold from the beginning.
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
    table, told = read_layer_rows(store, UNITS, read, now=now, columns=columns, progress=progress)
    faults, notes = table.faults, table.notes
    versions, current = store.unit_versions(), {unit.unit_id: unit for unit in store.units()}
    retired = {unit.unit_id: unit for unit in versions if unit.is_retired and unit.valid_to is None}
    used, had = {unit.uuid for unit in versions}, {unit.unit_id for unit in versions}
    faults += _duplicates(told, read.where)
    news = [(one.where, one.record) for one in told if not _is_known(one.record, current.get(one.record.unit_id))]
    already = len(told) - len(news)
    grid = store.grid or (grid_around([unit.geometry for _where, unit in news]) if news else None)
    cuts: list[str] = []
    if trim and grid is not None:
        news, cuts, empty = _trimmed(news, current, grid)
        faults += empty
        # What was drawn over its neighbors may be, once cut back, what is there already.
        left = [(where, unit) for where, unit in news if not _is_known(unit, current.get(unit.unit_id))]
        news, already = left, already + len(news) - len(left)
    fresh: list[tuple[str, Unit]] = []
    for where, unit in news:
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
        version = _as_version(unit, where, retired | current, valid_from, overwrite=overwrite, faults=faults)
        if version.valid_from is None and version.unit_id in had:
            # The label was another unit's, since split or merged: it must not hold on that one's days too.
            version = replace(version, valid_from=valid_from)
        fresh.append((where, version))
    units = [unit for _where, unit in fresh]
    gone = {follows for unit in units for follows in unit.replaces}
    kept = [unit for unit in current.values() if unit.uuid not in gone]
    if units and grid is not None:
        faults += overlap_faults(fresh, kept, grid, read.where)
    table.refuse_faults()
    if units and grid is not None:
        notes += cuts + far_away(fresh, grid) + hardly_there(fresh, grid) + lie_beside(units, kept, grid)
    return Brought(
        fresh=tuple(units),
        corrected=sum(1 for unit in units if unit.replaces),
        already=already,
        notes=tuple(notes),
        repaired=read.repaired,
        kept_columns=table.left,
    )


def _told_apart(unit: Unit, known: Unit) -> tuple[Difference, ...]:
    """Return what a row says otherwise than the current version of its unit."""
    return differences(unit, known, besides=("uuid", "valid_from", "replaces"))


def _is_known(unit: Unit, known: Unit | None) -> bool:
    """Tell whether a row holds just what the current version of its unit holds, outline included."""
    return known is not None and not unit.replaces and not _told_apart(unit, known)


def _as_version(
    unit: Unit,
    where: str,
    current: Mapping[str, Unit],
    valid_from: date,
    *,
    overwrite: bool,
    faults: list[HabmapError],
) -> Unit:
    """Return the row as the version it is: the units it names as replaced become the versions it follows."""
    followed: list[Unit] = []
    for label in unit.replaces:
        if label in current:
            followed.append(current[label])
        else:
            faults.append(
                InputError(
                    "it replaces a unit that is not there",
                    where=where,
                    value=printable(label),
                    allowed=printable(", ".join(current), longest=400) or "none: the property has no units yet",
                    mend="name present units, several joined by ;",
                )
            )
    known = current.get(unit.unit_id)
    if known is not None:
        if known not in followed:
            followed.insert(0, known)
        if not overwrite and known.is_retired:
            faults.append(
                InputError(
                    "this unit was retired",
                    where=where,
                    value=printable(unit.unit_id),
                    allowed="a new unit_id",
                    mend="let it be a unit again with --overwrite, or take the retirement back with `unit undo`",
                )
            )
        elif not overwrite:
            faults.append(
                InputError(
                    "this unit is there already, with other content",
                    where=where,
                    value=printable(
                        f"{unit.unit_id}: {'; '.join(one.words for one in _told_apart(unit, known))}", longest=400
                    ),
                    allowed="a new unit_id",
                    mend="let it become a new version with --overwrite; the old one stays on record",
                )
            )
    late = [old for old in followed if old.valid_from is not None and old.valid_from > valid_from]
    if late:
        faults.append(
            InputError(
                "the version it would follow begins later",
                where=where,
                value=valid_from.isoformat(),
                allowed=f"{max(old.valid_from for old in late if old.valid_from).isoformat()} or later",
                mend="give a later day with --from, or first give that version its right day with `unit redate`",
            )
        )
    return replace(
        unit,
        replaces=tuple(dict.fromkeys(old.uuid for old in followed)),
        valid_from=valid_from if followed else None,
    )


def _trimmed(
    news: Sequence[tuple[str, Unit]], current: Mapping[str, Unit], grid: LocalGrid
) -> tuple[list[tuple[str, Unit]], list[str], list[HabmapError]]:
    """Cut rows that bring something new back to all others; what is there already keeps its ground."""
    going = {unit.unit_id for _where, unit in news} | {label for _where, unit in news for label in unit.replaces}
    return trimmed(news, [unit for unit in current.values() if unit.unit_id not in going], grid)


def _duplicates(told: Sequence[RecordOfRow[Unit]], where: str) -> list[HabmapError]:
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
