"""CSV tables as people hand them over: text, row by row, refused where the text itself is not sound."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from habmap.errors import HabmapError, InputError, InputErrors
from habmap.place.userfiles import check_readable, printable

#: A patch drawn by hand may have a very long outline; more than this in one cell is a broken quote [characters].
MAX_CELL_CHARACTERS: Final = 16_000_000
MAX_TABLE_BYTES: Final = 500_000_000
_WIDE_MARKS: Final = (b"\xff\xfe", b"\xfe\xff")


@dataclass(frozen=True, slots=True)
class TableRow:
    """One row: ``number`` as a spreadsheet counts it (the header is row 1), and its cells by column, as written."""

    number: int
    values: dict[str, str]


@dataclass(frozen=True, slots=True)
class Table:
    """A whole table; rows with nothing in them are left out."""

    where: str
    columns: tuple[str, ...]
    rows: tuple[TableRow, ...]


def read_table(path: Path) -> Table:
    """Read a CSV file in UTF-8, its cells separated by commas or semicolons.

    Raises
    ------
    InputError
        The file cannot be read, is not UTF-8 text, or has no header or no rows; ``InputErrors`` lists rows that have
        more or fewer cells than the header.
    """
    where = str(path)
    path = check_readable(path)
    text = _text(path, where)
    header_line = text.lstrip("\n").partition("\n")[0]
    delimiter = ";" if header_line.count(";") > header_line.count(",") else ","
    csv.field_size_limit(MAX_CELL_CHARACTERS)
    try:
        records = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise InputError(
            "the table cannot be read as CSV",
            where=where,
            value=error,
            allowed="cells separated by commas or semicolons, quotes closed",
            mend="export it again as CSV UTF-8",
        ) from error
    filled = [
        (number, record) for number, record in enumerate(records, start=1) if any(cell.strip() for cell in record)
    ]
    if not filled:
        raise InputError("the table is empty", where=where, mend="choose another file")
    columns = tuple(cell.strip() for cell in filled[0][1])
    _check_header(columns, where)
    if len(filled) == 1:
        raise InputError("the table has a header and no rows", where=where, value="0 rows", mend="choose another file")
    faults: list[HabmapError] = [
        InputError(
            "the row does not have as many cells as the header",
            where=f"{where}, row {number}",
            value=f"{len(record)} cells",
            allowed=f"{len(columns)} cells",
            mend="put quotes around a text that holds the separator",
        )
        for number, record in filled[1:]
        if len(record) != len(columns)
    ]
    if faults:
        raise InputErrors(faults, where=where)
    rows = tuple(TableRow(number, dict(zip(columns, record, strict=True))) for number, record in filled[1:])
    return Table(where, columns, rows)


def _text(path: Path, where: str) -> str:
    if path.stat().st_size > MAX_TABLE_BYTES:
        raise InputError(
            "the table is too large",
            where=where,
            value=f"{path.stat().st_size:,} bytes",
            allowed=f"up to {MAX_TABLE_BYTES:,} bytes",
            mend="check that it is the right file",
        )
    data = path.read_bytes()
    if data.startswith(_WIDE_MARKS):
        raise InputError(
            "the table is UTF-16 text", where=where, value="UTF-16", allowed="UTF-8", mend="save it as CSV UTF-8"
        )
    if b"\x00" in data:
        raise InputError(
            "the file is not a text table",
            where=where,
            value="bytes that no text holds",
            allowed="CSV in UTF-8",
            mend="export the table as CSV UTF-8",
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise InputError(
            "the table is not UTF-8 text",
            where=f"{where}, line {line}",
            value=f"byte 0x{data[error.start]:02x}",
            allowed="UTF-8",
            mend="save it as CSV UTF-8",
        ) from error


def _check_header(columns: tuple[str, ...], where: str) -> None:
    seen: set[str] = set()
    for number, column in enumerate(columns, start=1):
        if not column or column.casefold() in seen:
            raise InputError(
                "two columns have the same name" if column else "a column has no name",
                where=f"{where}, row 1, column {number}",
                value=printable(column) or "blank",
                allowed="a different name for each column",
                mend="mend the header",
            )
        seen.add(column.casefold())
