"""Tables that stand in a spreadsheet file (.xlsx, .ods): the cells of one sheet as text, none mistaken for another."""

from __future__ import annotations

import io
import zipfile
import zlib
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from habmap.errors import HabmapError, InputError, InputErrors, printable
from habmap.measures import so_many
from habmap.place.ods_facts import ods_facts
from habmap.place.sheetguard import Limits, SheetError, SheetFacts, TooLargeError, place_name
from habmap.place.xlsx_facts import xlsx_facts, xlsx_sheet_parts

if TYPE_CHECKING:
    from python_calamine import CalamineWorkbook

WORKBOOK_SUFFIXES: Final = frozenset({".xlsx", ".ods"})
#: Spreadsheets of other kinds, which are told apart from a text table by name.
OTHER_SUFFIXES: Final = frozenset({".xls", ".xlsm", ".xlsb", ".numbers", ".fods", ".gsheet"})
#: What all parts of a file that matter here may unfold to; a full table of the largest size takes a third [bytes].
MAX_UNPACKED_BYTES: Final = 150_000_000
MAX_MEMBERS: Final = 1_000
_READ_SUFFIXES: Final = (".xml", ".rels", "mimetype")
_CHUNK_BYTES: Final = 1 << 20
_OLD_OR_LOCKED: Final = b"\xd0\xcf\x11\xe0"  # OLE2: an .xls file, or an .xlsx under a password
#: Spreadsheets keep 15 digits of a number; from here on whole numbers have lost some.
_MOST_DIGITS: Final = 15
#: Most faults of one kind that are listed.
_LISTED: Final = 50
_SAVE_AGAIN: Final = "open it in the spreadsheet program and save it again as .xlsx, .ods or CSV UTF-8"


@dataclass(frozen=True, slots=True)
class SheetCells:
    """The filled part of a sheet: rows of text from the first row on, the places of real dates, and what to look at."""

    name: str
    rows: tuple[tuple[str, ...], ...]
    dates: frozenset[tuple[int, int]]
    notes: tuple[str, ...]


def read_sheet(path: Path, *, sheet: str | None, limits: Limits) -> SheetCells:
    """Read one sheet of an .xlsx or .ods file; a formula by its stored value.

    Real dates come as ISO days, or moments where they have a time; numbers with up to 15 digits; 80% as ``80%``.

    Parameters
    ----------
    path
        A file that can be read.
    sheet
        Its name; ``None``: the only one that is shown and not empty.
    limits
        Most that the sheet may hold.

    Raises
    ------
    InputError
        The file is broken, locked or too large, the sheet is not there or not the only one; ``InputErrors`` lists
        cells that cannot be taken, by their places.
    """
    where = str(path)
    members = _members(path, where)
    is_ods = path.suffix.lower() == ".ods"
    try:
        with _opened(members) as book:
            wanted, facts = _chosen(book, sheet, members, is_ods=is_ods, limits=limits, where=where)
            rows = book.get_sheet_by_name(wanted).to_python(skip_empty_area=False)
    except TooLargeError as error:
        raise InputError(
            "the sheet is too large",
            where=where,
            value=error,
            allowed=f"up to {limits.rows:,} rows, {limits.cells:,} cells and {limits.characters:,} characters of text",
            mend="load it in parts; where it looks small, delete what stands far below or to the right of the table",
        ) from error
    except HabmapError:
        raise
    except BaseException as error:
        if not _is_from_reader(error):
            raise
        raise _broken(where, error) from error
    _refuse_cells(facts, f"{where}, sheet {printable(wanted)}")
    return _as_text(wanted, rows, facts, f"{where}, sheet {printable(wanted)}")


def _members(path: Path, where: str) -> dict[str, bytes]:
    """Return the parts of the file that are read, unfolded within limits whatever the archive says of their sizes."""
    if (size := path.stat().st_size) > MAX_UNPACKED_BYTES:
        raise _too_large(where, f"{size:,} bytes")
    with path.open("rb") as stream:
        head = stream.read(len(_OLD_OR_LOCKED))
    if head == _OLD_OR_LOCKED:
        raise InputError(
            "the spreadsheet is locked with a password, or an old .xls under another name",
            where=where,
            allowed="an .xlsx or .ods file without a password",
            mend=_SAVE_AGAIN,
        )
    try:
        with zipfile.ZipFile(path) as archive:
            infos = [info for info in archive.infolist() if info.filename.endswith(_READ_SUFFIXES)]
            if len(archive.infolist()) > MAX_MEMBERS:
                raise TooLargeError(f"{len(archive.infolist()):,} parts")
            members: dict[str, bytes] = {}
            left = MAX_UNPACKED_BYTES
            for info in infos:
                if info.flag_bits & 0x1:
                    raise SheetError("it is locked with a password")
                chunks = []
                with archive.open(info) as stream:
                    while chunk := stream.read(_CHUNK_BYTES):
                        left -= len(chunk)
                        if left < 0:
                            raise TooLargeError(f"unfolded it holds more than {MAX_UNPACKED_BYTES:,} bytes")
                        chunks.append(chunk)
                members[info.filename] = b"".join(chunks)
    except TooLargeError as error:
        raise _too_large(where, error) from error
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, SheetError, EOFError, OSError, ValueError) as error:
        raise _broken(where, error) from error
    return members


def _opened(members: dict[str, bytes]) -> CalamineWorkbook:
    """Open the parts that were looked at, and no others: packed anew, so that no archive's word on sizes counts."""
    import python_calamine

    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_STORED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    buffer.seek(0)
    return python_calamine.load_workbook(buffer)


def _chosen(
    book: CalamineWorkbook, sheet: str | None, members: dict[str, bytes], *, is_ods: bool, limits: Limits, where: str
) -> tuple[str, SheetFacts]:
    """Return the name of the sheet to be read and what its XML says."""
    shown = [one.name for one in book.sheets_metadata if "Visible" in str(one.visible).rpartition(".")[2][:7]]
    if sheet is not None:
        if sheet not in book.sheet_names:
            raise InputError(
                "the spreadsheet has no such sheet",
                where=where,
                value=printable(sheet),
                allowed=printable(", ".join(book.sheet_names), longest=400),
                mend="name one of these with --sheet",
            )
        return sheet, _facts(members, sheet, is_ods=is_ods, limits=limits)
    looked_at = {name: _facts(members, name, is_ods=is_ods, limits=limits) for name in shown}
    filled = [name for name, facts in looked_at.items() if facts.rows]
    if not filled:
        raise InputError(
            "the table is empty",
            where=where,
            value="no sheet that is shown has anything in it",
            mend="choose another file, or name a hidden sheet with --sheet",
        )
    if len(filled) > 1:
        raise InputError(
            "the spreadsheet has several sheets",
            where=where,
            value=printable(", ".join(filled), longest=400),
            allowed="one sheet that is shown and not empty",
            mend="say which with --sheet NAME",
        )
    return filled[0], looked_at[filled[0]]


def _facts(members: dict[str, bytes], sheet: str, *, is_ods: bool, limits: Limits) -> SheetFacts:
    if is_ods:
        return ods_facts(members.get("content.xml", b""), sheet=sheet, limits=limits)
    part = xlsx_sheet_parts(members).get(sheet, "")
    if part not in members:
        raise SheetError(f"the part of sheet {printable(sheet)} is missing")
    return xlsx_facts(members[part], members=members, limits=limits)


def _refuse_cells(facts: SheetFacts, where: str) -> None:
    """Refuse a sheet with cells that would be read as something that they are not."""
    faults: list[HabmapError] = [
        InputError(
            "the cell holds an error, not a value",
            where=f"{where}, cell {place}",
            value=printable(shown),
            allowed="a value, or blank",
            mend="mend its formula, or clear the cell",
        )
        for place, shown in list(facts.errors.items())[:_LISTED]
    ]
    faults += [
        InputError(
            "the cell has a formula whose value was never stored",
            where=f"{where}, cell {place}",
            allowed="formulas as a spreadsheet program saves them, with their values",
            mend="open the file in the spreadsheet program and save it",
        )
        for place in facts.unsaved[:_LISTED]
    ]
    faults += [
        InputError(
            "cells are merged, so that it cannot be told which rows and columns their value is meant for",
            where=f"{where}, cell {printable(place)}",
            allowed="one value in each cell",
            mend="split the cells and fill in each",
        )
        for place in facts.merged[:_LISTED]
    ]
    if faults:
        raise InputErrors(faults, where=where)


def _as_text(name: str, rows: list[list[Any]], facts: SheetFacts, where: str) -> SheetCells:
    faults: list[HabmapError] = []
    dates: set[tuple[int, int]] = set()
    told: list[tuple[str, ...]] = []
    for row, cells in enumerate(rows):
        words = []
        for column, value in enumerate(cells):
            if isinstance(value, date):
                dates.add((row, column))
            if isinstance(value, int | float) and not isinstance(value, bool) and abs(value) >= 10**_MOST_DIGITS:
                faults.append(
                    InputError(
                        "the number has more digits than a spreadsheet keeps",
                        where=f"{where}, cell {place_name(row, column)}",
                        value=f"{value:.15g}",
                        allowed=f"up to {_MOST_DIGITS} digits",
                        mend="format the cell as text and type it anew",
                    )
                )
            words.append(_words(value, is_percent=(row, column) in facts.percent))
        told.append(tuple(words))
    if faults:
        raise InputErrors(faults, where=where)
    hidden = [
        so_many(count, word)
        for count, word in ((facts.hidden_rows, "hidden row"), (facts.hidden_columns, "hidden column"))
        if count
    ]
    notes = (f"sheet {printable(name)}: {' and '.join(hidden)} of the sheet are read too",) if hidden else ()
    return SheetCells(name, tuple(told), frozenset(dates), notes)


def _words(value: object, *, is_percent: bool) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        # 15 digits are all that a spreadsheet shows: what lies beyond is noise of its sums
        return f"{value * 100:.15g}%" if is_percent else f"{value:.15g}"
    if isinstance(value, datetime):
        rounded = (value + timedelta(microseconds=500_000)).replace(microsecond=0)
        return rounded.date().isoformat() if rounded.time() == time() else _clock_words(rounded)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, time):  # 13:00, as a burn's observed_time has it
        return value.isoformat(timespec="seconds" if value.second else "minutes")
    if isinstance(value, timedelta):
        minutes, seconds = divmod(round(value.total_seconds()), 60)
        return f"{minutes // 60}:{minutes % 60:02}:{seconds:02}"
    return str(value)


def _clock_words(moment: datetime) -> str:
    return moment.isoformat(timespec="seconds" if moment.second else "minutes")


def _is_from_reader(error: BaseException) -> bool:
    # a fault of the library's own (a panic of its compiled part) derives from BaseException alone
    module = type(error).__module__
    return module.startswith(("python_calamine", "_python_calamine", "pyo3_runtime")) or isinstance(error, ValueError)


def _too_large(where: str, value: object) -> InputError:
    return InputError(
        "the spreadsheet is too large",
        where=where,
        value=value,
        allowed=f"up to {MAX_UNPACKED_BYTES:,} bytes unfolded, in {MAX_MEMBERS:,} parts",
        mend="check that it is the right file; save the one sheet as a file of its own, or as CSV UTF-8",
    )


def _broken(where: str, error: BaseException) -> InputError:
    return InputError(
        "the spreadsheet cannot be read",
        where=where,
        value=printable(str(error)),
        allowed="a whole .xlsx or .ods file",
        mend=_SAVE_AGAIN,
    )
