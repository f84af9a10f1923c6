"""Spreadsheet files for tests: .xlsx by a writer's library, .ods as its standard says, hostile ones by hand."""

from __future__ import annotations

import datetime as dt
import zipfile
from collections.abc import Callable, Sequence
from pathlib import Path
from xml.sax.saxutils import escape

import xlsxwriter

Cell = str | float | int | bool | dt.date | dt.datetime | None
_DOCUMENT = (
    '<?xml version="1.0" encoding="UTF-8"?><office:document-content '
    'xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
    'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
    'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0" '
    'xmlns:calcext="urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0" office:version="1.3">'
    "<office:body><office:spreadsheet>{}</office:spreadsheet></office:body></office:document-content>"
)
_MANIFEST = (
    '<?xml version="1.0" encoding="UTF-8"?>'
    '<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0" manifest:version="1.3">'
    '<manifest:file-entry manifest:full-path="/" '
    'manifest:media-type="application/vnd.oasis.opendocument.spreadsheet"/>'
    '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/></manifest:manifest>'
)


def write_xlsx(path: Path, *sheets: Sequence[Sequence[Cell]], is_1904: bool = False) -> Path:
    """Write sheets of typed cells; dates as real dates, shown in the American way."""
    with xlsxwriter.Workbook(str(path), {"date_1904": is_1904, "strings_to_formulas": False}) as book:
        day, moment = book.add_format({"num_format": "m/d/yyyy"}), book.add_format({"num_format": "m/d/yyyy h:mm"})
        for number, rows in enumerate(sheets, start=1):
            sheet = book.add_worksheet(f"Sheet{number}")
            for row, cells in enumerate(rows):
                for column, cell in enumerate(cells):
                    if isinstance(cell, dt.datetime):
                        sheet.write_datetime(row, column, cell, moment)
                    elif isinstance(cell, dt.date):
                        sheet.write_datetime(row, column, cell, day)
                    elif cell is not None:
                        sheet.write(row, column, cell)
    return path


def write_ods(path: Path, *sheets: Sequence[Sequence[Cell]]) -> Path:
    """Write sheets of typed cells, each with the empty rows and columns that office programs put around them."""
    tables = []
    for number, rows in enumerate(sheets, start=1):
        lines = "".join(
            f"<table:table-row>{''.join(map(ods_cell, cells))}"
            '<table:table-cell table:number-columns-repeated="16300"/></table:table-row>'
            for cells in rows
        )
        rest = '<table:table-row table:number-rows-repeated="1048000"><table:table-cell '
        rest += 'table:number-columns-repeated="16384"/></table:table-row>' if lines else "/></table:table-row>"
        tables.append(f'<table:table table:name="Sheet{number}">{lines}{rest}</table:table>')
    return ods_file(path, "".join(tables))


def ods_file(path: Path, tables: str) -> Path:
    """Write an .ods file whose ``content.xml`` holds these tables."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("META-INF/manifest.xml", _MANIFEST)
        archive.writestr("content.xml", _DOCUMENT.format(tables))
    return path


def ods_cell(cell: Cell, more: str = "") -> str:
    """Return one cell of an .ods table."""
    if cell is None:
        return "<table:table-cell/>"
    if isinstance(cell, bool):
        kind, shown = f'office:value-type="boolean" office:boolean-value="{str(cell).lower()}"', str(cell).upper()
    elif isinstance(cell, dt.datetime):
        kind, shown = f'office:value-type="date" office:date-value="{cell.isoformat()}"', f"{cell:%m/%d/%Y %H:%M}"
    elif isinstance(cell, dt.date):
        kind, shown = f'office:value-type="date" office:date-value="{cell.isoformat()}"', f"{cell:%m/%d/%Y}"
    elif isinstance(cell, int | float):
        kind, shown = f'office:value-type="float" office:value="{cell!r}"', f"{cell:g}"
    else:
        kind, shown = 'office:value-type="string"', cell
    return f"<table:table-cell {kind} {more}><text:p>{escape(shown)}</text:p></table:table-cell>"


def edited(path: Path, change: Callable[[str, bytes], bytes]) -> Path:
    """Change the members of a spreadsheet file by name and content."""
    with zipfile.ZipFile(path) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, change(name, data))
    return path
