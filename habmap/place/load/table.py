"""Tables as people hand them over (CSV, a spreadsheet, the rows of a layer): row by row, refused where not sound."""

from __future__ import annotations

import codecs
import csv
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

from shapely.geometry.base import BaseGeometry

from habmap.errors import HabmapError, InputError, InputErrors, printable
from habmap.land.grid import LocalGrid
from habmap.land.meridian import near
from habmap.place.formulas import restored
from habmap.place.layers import Wanted, read_layer
from habmap.place.load.cells import LONGEST_OUTLINE
from habmap.place.sheetguard import Limits
from habmap.place.userfiles import check_readable
from habmap.place.workbooks import OTHER_SUFFIXES, WORKBOOK_SUFFIXES, read_sheet

#: The largest log that was thought of, 5,000 lines with their ground, has half of it [bytes].
MAX_TABLE_BYTES: Final = 100_000_000
MAX_ROWS: Final = 200_000
MAX_CELLS: Final = 3_000_000
#: A table with as many faults is another table, or has one fault in all its rows; no more of them are told.
MOST_FAULTS: Final = 1_000
_WIDE_MARKS: Final = (b"\xff\xfe", b"\xfe\xff")
_CHUNK_BYTES: Final = 1 << 20
#: A row's number as a spreadsheet counts it, and its cells.
_Record = tuple[int, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class TableRow:
    """One row.

    Attributes
    ----------
    number
        As a spreadsheet counts it (the first is row 1), or the feature's place in its layer, counted from 1.
    values
        Its cells by column: as written, or a layer's plain values.
    dates
        Columns in which a spreadsheet holds a real date; their text is ISO.
    shape
        WGS 84 lon/lat; ``None`` in a table, and where the table's faults say why there is none.
    where
        File and row, for messages; ``None``: the table's, and the number.
    """

    number: int
    values: dict[str, Any]
    dates: frozenset[str] = frozenset()
    shape: BaseGeometry | None = None
    where: str | None = None


@dataclass(frozen=True, slots=True)
class Table:
    """A whole table; rows with nothing in them are left out.

    Attributes
    ----------
    notes
        What is to be looked at.
    faults
        Of shapes, where the table is a layer.
    repaired
        Outlines that were mended, and how, in words.
    """

    where: str
    columns: tuple[str, ...]
    rows: tuple[TableRow, ...]
    notes: tuple[str, ...] = ()
    faults: tuple[HabmapError, ...] = ()
    repaired: tuple[str, ...] = ()
    kind: Literal["table", "layer"] = "table"


def table_of(rows: Sequence[Mapping[str, str]], *, columns: Sequence[str], where: str) -> Table:
    """Return what a person filled in as a table; what was left open is blank, and messages name it by ``where``."""
    made = (
        TableRow(number, {name: row.get(name, "") for name in columns}, where=where)
        for number, row in enumerate(rows, start=1)
    )
    return Table(where, tuple(columns), tuple(made))


def read_table(path: Path, *, sheet: str | None = None) -> Table:
    """Read a table from a CSV file in UTF-8, cells separated by commas or semicolons, or from an .xlsx or .ods file.

    Parameters
    ----------
    sheet
        Which sheet of a spreadsheet; ``None``: the only one that is shown and not empty.

    Raises
    ------
    InputError
        The file cannot be read, is too large, or has no header or no rows; ``InputErrors`` lists rows that have more or
        fewer cells than the header, and cells of a spreadsheet that cannot be taken.
    """
    where = str(path)
    path = check_readable(path)
    suffix = path.suffix.lower()
    if suffix in OTHER_SUFFIXES:
        raise InputError(
            "this kind of spreadsheet is not read",
            where=where,
            value=suffix,
            allowed=f"{', '.join(sorted(WORKBOOK_SUFFIXES))}, or CSV in UTF-8",
            mend="open it in the spreadsheet program and save it as one of these",
        )
    if suffix in WORKBOOK_SUFFIXES:
        return _from_workbook(path, where, sheet)
    if sheet is not None:
        raise InputError(
            "only a spreadsheet has sheets", where=where, value=f"--sheet {printable(sheet)}", mend="leave --sheet out"
        )
    records = list(_filled(_csv_records(path, where)))
    columns, rows = _headed(records, where)
    faults: list[HabmapError] = [
        InputError(
            "the row does not have as many cells as the header",
            where=f"{where}, row {number}",
            value=f"{len(record)} cells",
            allowed=f"{len(columns)} cells",
            mend="put quotes around a text that holds the separator",
        )
        for number, record in rows
        if len(record) != len(columns)
    ]
    if faults:
        raise InputErrors(faults[:MOST_FAULTS], where=where)
    made = (TableRow(number, dict(zip(columns, map(restored, record), strict=True))) for number, record in rows)
    return Table(where, columns, tuple(made))


def _from_workbook(path: Path, where: str, sheet: str | None) -> Table:
    limits = Limits(rows=MAX_ROWS, cells=MAX_CELLS, characters=MAX_TABLE_BYTES)
    read = read_sheet(path, sheet=sheet, limits=limits)
    where = f"{where}, sheet {printable(read.name)}"
    records = list(_filled(enumerate(read.rows, start=1)))
    # a column is one of the table's where anything stands in it; what was only formatted is not
    kept = [at for at in range(len(records[0][1]) if records else 0) if any(cells[at].strip() for _, cells in records)]
    columns, rows = _headed([(number, tuple(cells[at] for at in kept)) for number, cells in records], where)
    made = [
        TableRow(
            number,
            # an export that was opened and saved as a spreadsheet keeps its apostrophes
            dict(zip(columns, map(restored, cells), strict=True)),
            frozenset(name for name, at in zip(columns, kept, strict=True) if (number - 1, at) in read.dates),
        )
        for number, cells in rows
    ]
    return Table(where, columns, tuple(made), read.notes)


def _filled(records: Iterable[_Record]) -> Iterator[_Record]:
    return ((number, cells) for number, cells in records if any(cell.strip() for cell in cells))


def _headed(records: list[_Record], where: str) -> tuple[tuple[str, ...], list[_Record]]:
    """Return the names of the columns and the rows below them."""
    if not records:
        raise InputError("the table is empty", where=where, mend="choose another file")
    number, header = records[0]
    columns = tuple(cell.strip() for cell in header)
    seen: set[str] = set()
    for at, column in enumerate(columns, start=1):
        if not column or column.casefold() in seen:
            raise InputError(
                "two columns have the same name" if column else "a column has no name",
                where=f"{where}, row {number}, column {at}",
                value=printable(column) or "blank",
                allowed="a different name for each column, in the first row that has anything in it",
                mend="mend the header",
            )
        seen.add(column.casefold())
    if len(records) == 1:
        raise InputError("the table has a header and no rows", where=where, value="0 rows", mend="choose another file")
    return columns, records[1:]


def _csv_records(path: Path, where: str) -> Iterator[_Record]:
    """Yield the rows of a CSV file, read bit by bit, and no further than a table may reach."""
    _check_text(path, where)
    csv.field_size_limit(LONGEST_OUTLINE)
    cells = 0
    unread = InputError(
        "the table cannot be read as CSV",
        where=where,
        allowed="cells separated by commas or semicolons, quotes closed, no text longer than "
        f"{LONGEST_OUTLINE:,} characters",
        mend="export it again as CSV UTF-8",
    )
    with unread.instead_of(csv.Error), path.open(encoding="utf-8-sig", newline="") as stream:
        header_line = next((line for line in stream if line.strip()), "")
        delimiter = ";" if header_line.count(";") > header_line.count(",") else ","
        stream.seek(0)
        for number, record in enumerate(csv.reader(stream, delimiter=delimiter, strict=True), start=1):
            cells += len(record)
            if number > MAX_ROWS or cells > MAX_CELLS:
                raise InputError(
                    "the table is too large",
                    where=where,
                    value=f"more than {MAX_ROWS:,} rows" if number > MAX_ROWS else f"more than {MAX_CELLS:,} cells",
                    allowed=f"up to {MAX_ROWS:,} rows and {MAX_CELLS:,} cells",
                    mend="load it in parts",
                )
            yield number, tuple(record)


def _check_text(path: Path, where: str) -> None:
    """Refuse what is no UTF-8 text or too long, without holding it in memory."""
    decoder, size, line = codecs.getincrementaldecoder("utf-8")(), 0, 1
    with path.open("rb") as stream:
        while chunk := stream.read(_CHUNK_BYTES):
            if size == 0 and chunk.startswith(_WIDE_MARKS):
                raise InputError(
                    "the table is UTF-16 text",
                    where=where,
                    value="UTF-16",
                    allowed="UTF-8",
                    mend="save it as CSV UTF-8",
                )
            size += len(chunk)
            if size > MAX_TABLE_BYTES:
                raise InputError(
                    "the table is too large",
                    where=where,
                    value=f"more than {MAX_TABLE_BYTES:,} bytes",
                    allowed=f"up to {MAX_TABLE_BYTES:,} bytes",
                    mend="check that it is the right file, or load it in parts",
                )
            if b"\x00" in chunk:
                raise InputError(
                    "the file is not a text table",
                    where=where,
                    value="bytes that no text holds",
                    allowed="CSV in UTF-8, or a spreadsheet named .xlsx or .ods",
                    mend="export the table as CSV UTF-8",
                )
            try:
                decoder.decode(chunk)
            except UnicodeDecodeError as error:
                line += error.object[: error.start].count(b"\n")
                raise _not_utf8(error, f"{where}, line {line}") from error
            line += chunk.count(b"\n")
    try:
        decoder.decode(b"", final=True)
    except UnicodeDecodeError as error:
        raise _not_utf8(error, f"{where}, line {line}") from error


def _not_utf8(error: UnicodeDecodeError, where: str) -> InputError:
    return InputError(
        "the table is not UTF-8 text",
        where=where,
        value=f"byte 0x{error.object[error.start]:02x}",
        allowed="UTF-8",
        mend="save it as CSV UTF-8",
    )


def layer_table(
    path: Path,
    *,
    layer: str | None = None,
    want: Wanted = "ground",
    repair: bool = False,
    grid: LocalGrid | None = None,
) -> Table:
    """Read a layer (see `habmap.place.layers.read_layer`).

    Parameters
    ----------
    grid
        The property's: longitudes are counted as it counts them, which matters across the 180° meridian.

    Raises
    ------
    InputError
        The file, its layer or its coordinate system as a whole is unfit; faults of single shapes are the table's.
    """
    read = read_layer(path, layer=layer, want=want, repair=repair)
    rows = tuple(
        TableRow(
            row.number,
            row.values,
            shape=row.geometry if row.geometry is None or grid is None else near(row.geometry, grid.lon),
            where=read.row_words(row),
        )
        for row in read.rows
    )
    return Table(read.where, read.columns, rows, faults=read.faults, repaired=read.repaired, kind="layer")
