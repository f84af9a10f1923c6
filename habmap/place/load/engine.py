"""The one way a person's table becomes records: opened, its cells read, its rows placed, known again, or refused."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import Any, Final, Generic
from zoneinfo import ZoneInfo

from habmap.errors import HabmapError, InputError, InputErrors, printable
from habmap.place.contents import Contents
from habmap.place.load.columns import Rows, position
from habmap.place.load.identity import Identities, Identity, hashed
from habmap.place.load.spec import Label, Loading, ReadRow, Record, RecordOfRow, TableSpec, Written
from habmap.place.load.table import Table, read_table
from habmap.progress import Progress, counted
from habmap.records import Difference, Unit, differences, types_of
from habmap.work.succession import in_order

_LONGEST: Final = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Brought(Generic[Record]):
    """What a file brings.

    Attributes
    ----------
    fresh
        Records to be written.
    corrected, already
        How many of them correct one that is there; how many rows say nothing new.
    notes, repaired
        What to look at; outlines that were mended, and how.
    kept_columns
        Columns that are kept as they are.
    """

    fresh: tuple[Record, ...]
    corrected: int = 0
    already: int = 0
    notes: tuple[str, ...] = ()
    repaired: tuple[str, ...] = ()
    kept_columns: tuple[str, ...] = ()


def bring(
    store: Contents,
    spec: TableSpec[Record],
    *,
    path: Path,
    now: datetime,
    today: date,
    columns: Mapping[str, str] | None = None,
    sheet: str | None = None,
    overwrite: bool = False,
    progress: Progress | None = None,
) -> Brought[Record]:
    """Read a table's file and tell what is new in it; nothing is written.

    Parameters
    ----------
    path, sheet
        The file, and which of its sheets.
    now, today, columns, overwrite, progress
        See `bring_rows`, which also says what is refused.
    """
    table = read_table(path, sheet=sheet)
    return bring_rows(store, spec, table, now=now, today=today, columns=columns, overwrite=overwrite, progress=progress)


def bring_rows(
    store: Contents,
    spec: TableSpec[Record],
    table: Table,
    *,
    now: datetime,
    today: date,
    columns: Mapping[str, str] | None = None,
    overwrite: bool = False,
    progress: Progress | None = None,
) -> Brought[Record]:
    """Tell what is new in a table; nothing is written.

    Parameters
    ----------
    now, today
        Moment of recording (UTC); local civil day at the place.
    columns
        Field → column of the file, where the names differ.
    overwrite
        A record that is told otherwise is corrected, one that was withdrawn counts again.
    progress
        Called with how many rows are read.

    Raises
    ------
    InputErrors
        Every fault of the table, with its row.
    InputError
        The file as a whole is unfit, or a column is missing.
    """
    loading = loading_of(store, now=now, today=today)
    rows, said = open_rows(spec, table, units=loading.units, columns=columns, progress=progress)
    told = (spec.gather or _one_each)(spec, said, loading)
    there = store.all_of(spec.record)
    counts = {spec.key_of(record): record for record in (there if spec.counting is None else spec.counting(store))}
    versions: dict[str, list[Record]] = {}
    for record in there if spec.counting is None else in_order(there):  # type: ignore[type-var]
        versions.setdefault(spec.key_of(record), []).insert(0, record)
    fresh: list[RecordOfRow[Record]] = []
    in_file: dict[str, RecordOfRow[Record]] = {}
    corrected = already = 0
    for one in told:
        key = spec.key_of(one.record)
        first = in_file.setdefault(key, one)
        earlier, now_told = versions.get(key, []), counts.get(key)
        if first is not one:
            if told_apart := differences(one.record, first.record, besides=spec.besides):
                rows.faults.append(_clash(spec, one, told_apart, first))
            already += not told_apart
        elif not earlier:
            fresh.append(one)
        elif now_told is not None and not differences(one.record, now_told, besides=spec.besides):
            already += 1
        elif overwrite:
            corrected += 1
            fresh.append(replace(one, record=replace(one.record, uuid=str(uuid.uuid4()))))  # type: ignore[type-var]
            if now_told is None:
                rows.notes.append(f"{_called(spec, one)} had been withdrawn; it counts again")
        elif any(not differences(one.record, before, besides=spec.besides) for before in earlier):
            already += 1
            since = "withdrawn" if now_told is None else "corrected"
            rows.notes.append(f"{_called(spec, one)} was {since} since; it stays so unless you add --overwrite")
        else:
            told_apart = differences(one.record, now_told or earlier[0], besides=spec.besides)
            rows.faults.append(_clash(spec, one, told_apart, None))
    rows.refuse_faults()
    return Brought(
        fresh=tuple(one.record for one in fresh),
        corrected=corrected,
        already=already,
        notes=(*rows.notes, *spec.notes(fresh, loading), *rows.not_read()),
    )


def loading_of(store: Contents, *, now: datetime, today: date) -> Loading:
    """Return what is the same for all rows of one table."""
    zone = ZoneInfo(store.settings.place.timezone)
    return Loading(place_id=store.place_id, units=store.units(), zone=zone, now=now, today=today)


def read_layer_rows(
    store: Contents,
    spec: TableSpec[Record],
    table: Table,
    *,
    now: datetime,
    columns: Mapping[str, str] | None = None,
    progress: Progress | None = None,
) -> tuple[Rows, list[RecordOfRow[Record]]]:
    """Return a layer's rows, where faults and notes are gathered, and their records.

    A row has one wherever it has a shape and what each must say, so that all that is wrong with it is told at once.
    """
    loading = loading_of(store, now=now, today=now.date())
    rows, said = open_rows(spec, table, columns=columns, progress=progress)
    identify = identifier(spec, loading)
    told = []
    for row in said:
        rest = spec.rest(row, loading)
        if row.shape is not None and all(row[column.name] is not None for column in spec.columns if column.is_required):
            told.append(RecordOfRow(made_of(spec, row, loading, identify(row), **rest), row.where, row.number))
    return rows, told


def open_rows(
    spec: TableSpec[Any],
    table: Table,
    *,
    units: Sequence[Unit] = (),
    columns: Mapping[str, str] | None = None,
    progress: Progress | None = None,
) -> tuple[Rows, Iterator[ReadRow]]:
    """Return a table's rows, where faults and notes are gathered, and one by one what each of them says.

    Parameters
    ----------
    units
        As drawn now, where rows are placed.
    columns
        Field → column of the file, where the names differ.
    progress
        Called with how many rows are read.

    Raises
    ------
    UsageError
        ``columns`` names a field that does not exist.
    InputError
        A column is missing, or stands for two things.
    """
    rows = Rows(table, spec.fields, needed=() if spec.lacks else spec.needed, renames=columns, mend=spec.mend)
    return rows, _rows_said(spec, rows, _names(spec, rows, columns or {}), units, progress)


def _names(spec: TableSpec[Any], rows: Rows, renames: Mapping[str, str]) -> dict[str, str]:
    """Return the name under which the file has each column; its own where it has none.

    A column that ``--map`` gave to one unit is no longer taken for the unit that its own name says.
    """
    given = {rows.found[name] for name in spec.fields if name.casefold() in renames or name in renames}
    what, apart = spec.apart
    used = [rows.found[name] for name in apart if name in rows.found]
    if len(set(used)) < len(used):
        raise InputError(
            f"one column is taken for two {what}",
            where=rows.table.where,
            value=", ".join(f"{name}={rows.found[name]}" for name in apart if name in rows.found),
            allowed=f"{what}, each with a column of its own",
            mend=f"name each one's own column with --map {apart[0]}=COLUMN and so on",
        )
    faults: list[HabmapError] = []
    chosen = {}
    for column in spec.columns:
        there = [name for name in column.names if name in rows.found]
        if len(column.names) > 1:
            there = [name for name in there if name in renames or rows.found[name] not in given]
        if len(there) > 1:
            faults.append(
                InputError(
                    "the same quantity stands in two columns",
                    where=f"{rows.table.where}, row 1",
                    value=" and ".join(rows.found[name] for name in there),
                    allowed="one of them",
                    mend="delete one column",
                )
            )
        if not there and spec.lacks and column.is_needed:
            faults.append(
                InputError(
                    f"the column {' or '.join(column.names)} is missing",
                    where=f"{rows.table.where}, row 1",
                    value=printable(", ".join(rows.table.columns)),
                    allowed=spec.lacks,
                    mend="name the columns so, with the unit, or say which is which with --map FIELD=COLUMN",
                )
            )
        chosen[column.name] = there[0] if there else column.names[0]
    if faults:
        raise InputErrors(faults, where=rows.table.where)
    return chosen


def _rows_said(
    spec: TableSpec[Any], rows: Rows, names: Mapping[str, str], units: Sequence[Unit], progress: Progress | None
) -> Iterator[ReadRow]:
    for row in counted(rows.table.rows, progress, what="rows"):
        before = len(rows.faults)
        cells = rows.cells(row, by_file=bool(spec.lacks))
        values: dict[str, Any] = {}
        for column in spec.columns:
            is_read = column.only is None or values.get(column.only[0]) == column.only[1]
            values[column.name] = column.read(cells, names[column.name]) if is_read else None
        unit_id, spot = position(cells, values, units, what=spec.noun) if spec.is_placed else (None, None)
        yield ReadRow(
            number=row.number,
            where=rows.where(row),
            cells=cells,
            values=values,
            names=names,
            written=rows.values(row),
            unit_id=unit_id,
            spot=spot,
            shape=row.shape,
            extra={column: row.values[column] for column in rows.left if row.values[column] is not None},
            faults=rows.faults,
            faults_before=before,
        )


def _one_each(spec: TableSpec[Record], said: Iterator[ReadRow], loading: Loading) -> list[RecordOfRow[Record]]:
    """Return one record for each sound row."""
    told = []
    identify = identifier(spec, loading)
    for row in said:
        record = record_of(spec, row, loading, identify(row), **spec.rest(row, loading))
        if record is not None:
            told.append(RecordOfRow(record, row.where, row.number))
    return told


def record_of(
    spec: TableSpec[Record], row: ReadRow, loading: Loading, identity: Identity, **rest: Any
) -> Record | None:
    """Return a row's record; ``None`` where something is wrong with the row."""
    return made_of(spec, row, loading, identity, **rest) if row.is_sound else None


def made_of(spec: TableSpec[Record], row: ReadRow, loading: Loading, identity: Identity, **rest: Any) -> Record:
    """Return a row's record, whatever was found wrong with the row."""
    known = types_of(spec.record)
    filled: dict[str, Any] = {column.fills or column.name: row[column.name] for column in spec.columns}
    of_all: dict[str, Any] = {"uuid": identity.uuid, "recorded_at": loading.now, "extra": row.extra}
    if row.shape is not None:
        of_all["geometry"] = row.shape
    if spec.is_placed:
        of_all |= {"unit_id": row.unit_id, "geometry": row.spot}
    if isinstance(spec.identity, Written):
        filled[spec.identity.keeps] = identity.source_id
    return spec.record(**{name: value for name, value in (filled | of_all | rest).items() if name in known})


def identifier(spec: TableSpec[Any], loading: Loading) -> Callable[[ReadRow], Identity]:
    """Return what tells each row of a table its identity, row by row in their order."""
    one_by = spec.identity
    if isinstance(one_by, Written):
        content = one_by.content or spec.fields
        identities = Identities(loading.place_id, content=content, later=one_by.later, kind=one_by.word)
        days = [column.name for column in spec.columns if column.kind in ("day", "written_day")]

        def written(row: ReadRow) -> Identity:
            # a row is known again however its table writes the day
            told = {name: str(row[name]) for name in days if row[name] is not None}
            source_id = None if one_by.source is None else row[one_by.source]
            return identities.of(row[one_by.column], {**row.written, **told}, row.number, source_id=source_id)

        return written
    if isinstance(one_by, Label):
        words, place_id = (one_by.word, *one_by.columns), loading.place_id
        return lambda row: Identity(uuid=hashed(place_id, words[0], *(str(row[name]) for name in words[1:])))
    return lambda _row: Identity(uuid=str(uuid.uuid4()))


def _called(spec: TableSpec[Record], one: RecordOfRow[Record]) -> str:
    return f"{spec.noun} {printable(spec.key_of(one.record))}"


def _clash(
    spec: TableSpec[Record],
    one: RecordOfRow[Record],
    told_apart: Sequence[Difference],
    first: RecordOfRow[Record] | None,
) -> InputError:
    """Return the fault of a row that says otherwise what was said before, in row ``first`` or in the property."""
    column = spec.label
    label = f"{spec.key_of(one.record)}: " if isinstance(spec.identity, Label) and spec.called is None else ""
    can_correct = spec.can_overwrite and first is None
    what = f"the same {column} with other content" + ("" if first is None else " in two rows")
    return InputError(
        spec.called(one.record) + " is there already with other content" if spec.called else what,
        where=f"{one.where}, column {column}; first said in "
        + ("the property" if first is None else f"row {first.number}"),
        value=printable(label + "; ".join(one.words for one in told_apart), longest=_LONGEST),
        allowed=f"what was said of the {spec.noun} before, or a {column} of its own for a {spec.noun} measured again"
        if can_correct
        else spec.once,
        mend=f"add --overwrite where the {spec.noun} was told wrong; what it said before stays on record"
        if can_correct
        else spec.own_id,
    )
