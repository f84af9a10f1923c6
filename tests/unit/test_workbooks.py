"""Tables in spreadsheets: real dates, 15 digits, percent, and every cell that would be read as something else."""

from __future__ import annotations

import datetime as dt
import re
import zipfile
from pathlib import Path

import pytest
import xlsxwriter
from sheet_makers import edited, ods_cell, ods_file, write_ods, write_xlsx

from habmap.errors import InputError, InputErrors
from habmap.place.load import table
from habmap.place.load.table import Table, read_table

WRITERS = {".xlsx": write_xlsx, ".ods": write_ods}
ROWS = [
    ["unit_id", "date", "cost", "whole", "note"],
    [5, dt.date(2026, 11, 14), 12.5, True, "=SUM(A1)"],
    ["05", dt.datetime(2026, 3, 4, 13, 30), 0.1 + 0.2, False, "two\nlines"],
    [None, None, None, None, None],
    ["x", None, 1e-7, None, " '=kept "],
]


def cells(table: Table) -> list[dict[str, str]]:
    return [row.values for row in table.rows]


def faults_of(path: Path, **options: str) -> list[InputError]:
    with pytest.raises(InputError) as refused:
        read_table(path, **options)
    error = refused.value
    return list(error.faults) if isinstance(error, InputErrors) else [error]  # type: ignore[list-item]


@pytest.mark.parametrize("suffix", WRITERS)
def test_cells_come_as_what_they_are(tmp_path: Path, suffix: str) -> None:
    table = read_table(WRITERS[suffix](tmp_path / f"t{suffix}", ROWS))
    assert table.columns == ("unit_id", "date", "cost", "whole", "note")
    assert [row.number for row in table.rows] == [2, 3, 5]
    assert cells(table) == [
        {"unit_id": "5", "date": "2026-11-14", "cost": "12.5", "whole": "yes", "note": "=SUM(A1)"},
        {"unit_id": "05", "date": "2026-03-04T13:30", "cost": "0.3", "whole": "no", "note": "two\nlines"},
        {"unit_id": "x", "date": "", "cost": "1e-07", "whole": "", "note": " '=kept "},
    ]
    assert [sorted(row.dates) for row in table.rows] == [["date"], ["date"], []]


def test_both_counts_of_days_that_spreadsheets_have_give_the_same_day(tmp_path: Path) -> None:
    """1900 with its leap day that never was, and 1904 (ECMA-376 part 1, 18.17.4.1)."""
    days = [dt.date(1904, 1, 2), dt.date(2000, 2, 29), dt.date(2026, 12, 31)]
    for is_1904 in (False, True):
        path = write_xlsx(tmp_path / f"{is_1904}.xlsx", [["date"], *([day] for day in days)], is_1904=is_1904)
        raw = zipfile.ZipFile(path).read("xl/worksheets/sheet1.xml").decode()
        # 46387 days from 1899-12-30 to 2026-12-31, 1462 fewer from 1904-01-01
        assert ("<v>44925</v>" if is_1904 else "<v>46387</v>") in raw
        assert [row["date"] for row in cells(read_table(path))] == [day.isoformat() for day in days]


def test_every_minute_of_a_day_comes_back_as_that_minute(tmp_path: Path) -> None:
    """A spreadsheet keeps times as fractions of a day: a third of them are not exact."""
    minutes = [dt.datetime(2026, 6, 5) + dt.timedelta(minutes=each) for each in range(1, 1440)]
    path = write_xlsx(tmp_path / "t.xlsx", [["time"], *([minute] for minute in minutes)])
    assert [row["time"] for row in cells(read_table(path))] == [minute.strftime("%Y-%m-%dT%H:%M") for minute in minutes]


@pytest.mark.parametrize("suffix", WRITERS)
def test_percent_comes_as_it_is_shown(tmp_path: Path, suffix: str) -> None:
    """80% is 0.8 in the file: read as a number of percent it would be under one."""
    path = tmp_path / f"t{suffix}"
    if suffix == ".xlsx":
        with xlsxwriter.Workbook(str(path)) as book:
            sheet = book.add_worksheet()
            sheet.write_row(0, 0, ["killed_pct", "other"])
            sheet.write(1, 0, 0.8, book.add_format({"num_format": "0%"}))
            sheet.write(2, 0, 0.125, book.add_format({"num_format": "0.0%"}))
            sheet.write(3, 0, 80)
    else:
        percent = (
            '<table:table-cell office:value-type="percentage" office:value="{}"><text:p>x</text:p></table:table-cell>'
        )
        lines = [ods_cell("killed_pct") + ods_cell("other"), percent.format(0.8), percent.format(0.125), ods_cell(80)]
        rows = "".join(f"<table:table-row>{line}</table:table-row>" for line in lines)
        ods_file(path, f'<table:table table:name="a">{rows}</table:table>')
    assert [row["killed_pct"] for row in cells(read_table(path))] == ["80%", "12.5%", "80"]


def test_an_error_value_and_a_formula_never_worked_out_are_refused_with_their_place(tmp_path: Path) -> None:
    path = tmp_path / "t.xlsx"
    with xlsxwriter.Workbook(str(path)) as book:
        sheet = book.add_worksheet("Log")
        sheet.write_row(0, 0, ["unit_id", "cost", "note"])
        sheet.write_row(1, 0, ["C1", 1, "x"])
        sheet.write_formula(1, 1, "=1/0", None, "#DIV/0!")
        sheet.write_formula(2, 2, '="a"&"b"', None, "ab")
        sheet.write_formula(3, 1, "=1+1", None, 7)
        sheet.write_string(3, 0, "#N/A")  # somebody's words, no error
    edited(path, lambda name, data: data.replace(b"<v>7</v>", b"<v></v>") if "sheet1" in name else data)
    faults = faults_of(path)
    assert [(fault.where.rpartition("sheet ")[2], fault.value) for fault in faults] == [
        ("Log, cell B2", "#DIV/0!"),
        ("Log, cell B4", None),
    ]
    assert "never stored" in faults[1].what


def test_errors_in_an_ods_table_are_refused_too(tmp_path: Path) -> None:
    broken = (
        '<table:table-cell table:formula="of:=1/0" office:value-type="string" office:string-value="" '
        'calcext:value-type="error"><text:p>#DIV/0!</text:p></table:table-cell>'
    )
    unsaved = '<table:table-cell table:formula="of:=[.A1]"/>'
    # as office programs write them: an empty text is a value, an error of their own number is an error
    empty = '<table:table-cell table:formula="of:=&quot;&quot;"><text:p/></table:table-cell>'
    own = broken.replace("#DIV/0!", "Err:502")
    cells = (broken, unsaved, empty, own)
    rows = [ods_cell("unit_id") + ods_cell("cost"), *(ods_cell("C1") + cell for cell in cells)]
    lines = "".join(f"<table:table-row>{row}</table:table-row>" for row in rows)
    path = ods_file(tmp_path / "t.ods", f'<table:table table:name="Log">{lines}</table:table>')
    assert [fault.where.rpartition(", ")[2] for fault in faults_of(path)] == ["cell B2", "cell B5", "cell B3"]


def test_merged_cells_are_refused_and_hidden_rows_are_said(tmp_path: Path) -> None:
    path = tmp_path / "t.xlsx"
    with xlsxwriter.Workbook(str(path)) as book:
        sheet = book.add_worksheet()
        sheet.write_row(0, 0, ["unit_id", "cost"])
        sheet.write_row(1, 0, ["C1", 1])
        sheet.write_row(2, 0, ["C2", 2])
        sheet.set_row(2, None, None, {"hidden": True})
        sheet.set_row(8, None, None, {"hidden": True})
        sheet.set_column(1, 1, None, None, {"hidden": True})
        sheet.set_column(7, 9, None, None, {"hidden": True})
        sheet.merge_range(20, 3, 22, 5, "")  # beside the table, with nothing in it
    table = read_table(path)
    assert len(table.rows) == 2
    assert table.notes == ("sheet Sheet1: 1 hidden row and 1 hidden column of the sheet are read too",)
    with xlsxwriter.Workbook(str(path)) as book:
        sheet = book.add_worksheet()
        sheet.write_row(0, 0, ["unit_id", "cost"])
        sheet.merge_range(1, 0, 2, 0, "C1")
        sheet.write_column(1, 1, [1, 2])
    assert faults_of(path)[0].where.endswith("cell A2:A3")
    spanned = ods_cell("C1", 'table:number-rows-spanned="2"') + ods_cell(1)
    rows = [ods_cell("unit_id") + ods_cell("cost"), spanned, "<table:covered-table-cell/>" + ods_cell(2)]
    lines = "".join(f"<table:table-row>{row}</table:table-row>" for row in rows)
    merged = ods_file(tmp_path / "t.ods", f'<table:table table:name="a">{lines}</table:table>')
    assert faults_of(merged)[0].where.endswith("cell A2")


@pytest.mark.parametrize("suffix", WRITERS)
def test_of_several_sheets_one_must_be_named(tmp_path: Path, suffix: str) -> None:
    one, two = [["unit_id"], ["C1"]], [["unit_id"], ["C2"]]
    path = WRITERS[suffix](tmp_path / f"t{suffix}", one, two)
    assert (faults_of(path)[0].value, "--sheet" in (faults_of(path)[0].mend or "")) == ("Sheet1, Sheet2", True)
    assert cells(read_table(path, sheet="Sheet2")) == [{"unit_id": "C2"}]
    assert faults_of(path, sheet="Sheet3")[0].allowed == "Sheet1, Sheet2"
    # sheets with nothing in them, which spreadsheet programs make by themselves, are none to choose from
    alone = WRITERS[suffix](tmp_path / f"alone{suffix}", [], two, [])
    assert cells(read_table(alone)) == [{"unit_id": "C2"}]


def test_a_hidden_sheet_is_read_only_by_its_name(tmp_path: Path) -> None:
    path = tmp_path / "t.xlsx"
    with xlsxwriter.Workbook(str(path)) as book:
        for name, unit_id in (("Log", "C1"), ("Lists", "C2")):
            sheet = book.add_worksheet(name)
            sheet.write_column(0, 0, ["unit_id", unit_id])
        sheet.hide()
    assert cells(read_table(path)) == [{"unit_id": "C1"}]
    assert cells(read_table(path, sheet="Lists")) == [{"unit_id": "C2"}]


def test_a_number_that_lost_its_last_digits_is_refused(tmp_path: Path) -> None:
    path = write_xlsx(tmp_path / "t.xlsx", [["entry_id"], [1234567890123456]])
    assert faults_of(path)[0].where.endswith("cell A2")
    assert cells(read_table(write_xlsx(path, [["entry_id"], [123456789012345]]))) == [{"entry_id": "123456789012345"}]


def test_a_cell_at_the_far_end_is_refused_before_room_is_made_for_it(tmp_path: Path) -> None:
    """The reading library makes room for every cell between: 17 thousand million here, and the program is gone."""
    path = write_xlsx(tmp_path / "t.xlsx", [["a"]])
    edited(
        path,
        lambda name, data: (
            data.replace(b"</sheetData>", b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>')
            if "sheet1" in name
            else data
        ),
    )
    assert "row 1,048,576" in str(faults_of(path)[0].value)
    wide = write_xlsx(tmp_path / "wide.xlsx", [["a"]])
    edited(
        wide,
        lambda name, data: (
            data.replace(b"</sheetData>", b'<row r="900"><c r="XFD900"><v>1</v></c></row></sheetData>')
            if "sheet1" in name
            else data
        ),
    )
    assert "XFD900" in str(faults_of(wide)[0].value)


@pytest.mark.parametrize("name", ["xfd1048576", "XFD01048576", "XFD1048576 ", "R1048576C16384", "AAAA1", "A0", ""])
def test_a_cell_whose_name_can_be_read_in_two_ways_is_refused(tmp_path: Path, name: str) -> None:
    path = write_xlsx(tmp_path / "t.xlsx", [["a"], ["b"]])
    far = f'<c r="{name}"><v>1</v></c></row></sheetData>'.encode()
    edited(path, lambda member, data: data.replace(b"</row></sheetData>", far) if "sheet1" in member else data)
    assert faults_of(path)


@pytest.mark.parametrize("count", ["+1000000", "99999999999999999999", "1e6", " 9", "-1"])
def test_a_count_that_can_be_read_in_two_ways_is_refused(tmp_path: Path, count: str) -> None:
    row = f'<table:table-row table:number-rows-repeated="{count}">{ods_cell("a")}</table:table-row>'
    path = ods_file(tmp_path / "t.ods", f'<table:table table:name="a">{ods_cell("h")}{row}</table:table>')
    assert faults_of(path)


def test_repeated_cells_and_texts_are_counted_before_they_unfold(tmp_path: Path) -> None:
    many = (
        '<table:table-row table:number-rows-repeated="150000"><table:table-cell '
        'table:number-columns-repeated="90" office:value-type="float" office:value="7"/></table:table-row>'
    )
    path = ods_file(tmp_path / "t.ods", f'<table:table table:name="a">{many}</table:table>')
    assert "its cells reach to CL150000" in str(faults_of(path)[0].value)
    long = f'<table:table-row table:number-rows-repeated="1000">{ods_cell("x" * 200_000)}</table:table-row>'
    path = ods_file(tmp_path / "long.ods", f'<table:table table:name="a">{long}</table:table>')
    assert "characters" in str(faults_of(path)[0].value)
    shared = write_xlsx(tmp_path / "shared.xlsx", [["y" * 30_000]] * 4_000)
    assert "characters" in str(faults_of(shared)[0].value)


def test_what_unfolds_to_too_much_is_refused_whatever_the_archive_says(tmp_path: Path) -> None:
    path = write_xlsx(tmp_path / "t.xlsx", [["a"], ["b"]])
    edited(path, lambda name, data: data + b" " * 160_000_000 if "sheet1" in name else data)
    assert path.stat().st_size < 1_000_000
    assert "unfolded" in str(faults_of(path)[0].value)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"PK\x03\x04 and no more", "cannot be read"),
        (b"a,b\n1,2\n", "cannot be read"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x00" * 512, "locked with a password"),
    ],
)
def test_what_is_no_spreadsheet_is_said(tmp_path: Path, content: bytes, words: str) -> None:
    for suffix in WRITERS:
        path = tmp_path / f"t{suffix}"
        path.write_bytes(content)
        assert words in faults_of(path)[0].what


@pytest.mark.parametrize("suffix", WRITERS)
def test_a_spreadsheet_cut_short_or_with_entities_is_refused(tmp_path: Path, suffix: str) -> None:
    path = WRITERS[suffix](tmp_path / f"t{suffix}", ROWS)
    whole = path.read_bytes()
    for length in range(0, len(whole) - 1, 97):
        path.write_bytes(whole[:length])
        faults_of(path)
    path.write_bytes(whole)
    doctype = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">]>'
    edited(path, lambda name, data: re.sub(rb"(<\?xml[^>]*>)", rb"\1" + doctype, data, count=1))
    assert "document type" in str(faults_of(path)[0].value)


def test_other_spreadsheets_are_named(tmp_path: Path) -> None:
    path = tmp_path / "t.xls"
    path.write_bytes(b"x")
    assert faults_of(path)[0].allowed == ".ods, .xlsx, or CSV in UTF-8"


def test_a_csv_table_is_read_no_further_than_its_limits(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "t.csv"
    path.write_text("a,b\n" + "1,2\n" * 10, encoding="utf-8")
    monkeypatch.setattr(table, "MAX_ROWS", 10)
    assert faults_of(path)[0].value == "more than 10 rows"
    monkeypatch.setattr(table, "MAX_ROWS", 11)
    assert len(read_table(path).rows) == 10
    monkeypatch.setattr(table, "MAX_CELLS", 21)
    assert faults_of(path)[0].value == "more than 21 cells"
    monkeypatch.setattr(table, "MAX_TABLE_BYTES", 43)
    assert faults_of(path)[0].value == "more than 43 bytes"
