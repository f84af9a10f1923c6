"""The sample property's tables as spreadsheets: each loader makes of them what it makes of the CSV."""

from __future__ import annotations

import csv
import datetime as dt
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import xlsxwriter
from fakes import FakeStore
from sheet_makers import Cell, write_ods, write_xlsx

from habmap.errors import InputError, InputErrors
from habmap.jobs.load.layers import load_units
from habmap.jobs.load.tables import load_entries, load_forecast, load_table
from habmap.place.days import days_meant, moments_meant
from habmap.place.load.photos import read_photo_statements
from habmap.place.photo_folder import read_folder

SAMPLE = Path(__file__).resolve().parents[2] / "sample_layers"
NOW = dt.datetime(2026, 8, 1, tzinfo=dt.UTC)
TODAY = NOW.date()
WRITERS = {".xlsx": write_xlsx, ".ods": write_ods}
#: How each table is loaded, and the kind of rows it makes.
LOADERS: dict[str, Callable[[FakeStore, Path], Any]] = {
    "entries": lambda store, path: load_entries(store, path=path, today=TODAY, now=NOW),
    "plots": lambda store, path: load_table(store, "plots", path=path, now=NOW),
    "cover": lambda store, path: load_table(store, "cover", path=path, today=TODAY, now=NOW),
    "sightings": lambda store, path: load_table(store, "sightings", path=path, today=TODAY, now=NOW),
    "forecast": lambda store, path: load_forecast(store, path=path, now=NOW),
}


@pytest.fixture(scope="module")
def units() -> tuple[Any, ...]:
    store = FakeStore()
    load_units(store, path=SAMPLE / "units.geojson", now=NOW, valid_from=dt.date(2015, 1, 1))
    return store.rows()


def typed(text: str) -> Cell:
    """Return a CSV cell as a person's spreadsheet holds it: numbers, real dates and times, blanks."""
    if not text:
        return None
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
        return dt.date.fromisoformat(text)
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}", text):
        return dt.datetime.fromisoformat(text)
    if re.fullmatch(r"-?\d+(\.\d+)?", text):
        return float(text)
    return text


def rows_of(store: FakeStore) -> list[Any]:
    """Return what was loaded, but for a forecast's id of chance and its file's name."""
    rows = [row for row in store.rows() if type(row).__name__ != "Unit"]
    return [replace(row, uuid="", file_name="") if hasattr(row, "hours") else row for row in rows]


@pytest.mark.parametrize("kind", LOADERS)
@pytest.mark.parametrize("suffix", WRITERS)
def test_a_spreadsheet_loads_as_its_csv(tmp_path: Path, units: tuple[Any, ...], kind: str, suffix: str) -> None:
    with (SAMPLE / f"{kind}.csv").open(encoding="utf-8", newline="") as stream:
        records = list(csv.reader(stream))
    path = WRITERS[suffix](tmp_path / f"{kind}{suffix}", [records[0], *(map(typed, row) for row in records[1:])])
    store, other = FakeStore(units), FakeStore(units)
    loaded = LOADERS[kind](store, SAMPLE / f"{kind}.csv")
    assert LOADERS[kind](other, path).loaded == loaded.loaded > 0
    assert rows_of(other) == rows_of(store)
    if kind != "forecast":  # which keeps each load
        again = LOADERS[kind](store, path)
        assert (again.loaded, again.already_there) == (0, loaded.loaded)


@pytest.mark.parametrize(
    ("text", "days"),
    [
        ("2026-11-14", [(2026, 11, 14)]),
        ("11/14/2026", [(2026, 11, 14)]),
        ("14.11.2026", [(2026, 11, 14)]),
        ("14-11-2026", [(2026, 11, 14)]),
        ("2026/11/14", [(2026, 11, 14)]),
        ("4/4/2026", [(2026, 4, 4)]),
        ("03/04/2026", [(2026, 3, 4), (2026, 4, 3)]),
        ("2/29/2026", []),
        ("11/14/26", []),
        ("11/14.2026", []),
        ("46340", []),
        ("20261114", []),
        ("Nov 14, 2026", []),
        ("", []),
    ],
)
def test_a_text_date_is_taken_only_where_it_has_one_reading(text: str, days: list[tuple[int, int, int]]) -> None:
    assert days_meant(text) == tuple(dt.date(*day) for day in days)


def test_moments_with_the_clock_of_either_kind() -> None:
    at = dt.datetime(2026, 11, 14, 13, 5)
    for text in (
        "2026-11-14T13:05",
        "2026-11-14 13:05:00",
        "11/14/2026 1:05 PM",
        "11/14/2026 13:05",
        "14.11.2026 1:05pm",
    ):
        assert moments_meant(text) == (at,)
    assert moments_meant("11/14/2026 12:00 AM") == (dt.datetime(2026, 11, 14),)
    assert len(moments_meant("03/04/2026 13:05")) == 2
    for text in ("11/14/2026", "11/14/2026 25:00", "11/14/2026 13:05 PM", "2026-11-14", "2026-11-14T"):
        assert moments_meant(text) == ()


def faults(load: Callable[[FakeStore, Path], Any], store: FakeStore, path: Path) -> list[tuple[str, str, str]]:
    with pytest.raises(InputErrors) as refused:
        load(store, path)
    return [
        (fault.where.rpartition("/")[2], str(fault.value), str(fault.allowed))  # type: ignore[attr-defined]
        for fault in refused.value.faults
    ]


def test_a_date_that_can_be_two_days_is_refused_with_both(tmp_path: Path, units: tuple[Any, ...]) -> None:
    path = tmp_path / "log.csv"
    path.write_text("date,practice,unit_id,whole\n11/14/2025,mow,G1,yes\n03/04/2026,mow,G1,yes\n", encoding="utf-8")
    found = faults(LOADERS["entries"], FakeStore(units), path)
    assert found == [
        ("log.csv, row 3, column date", "03/04/2026", "either 2026-03-04 or 2026-04-03, written so"),
    ]
    head = "eventDate,scientificName,decimalLatitude,decimalLongitude\n"
    path.write_text(f"{head}5/14/2026,Asio flammeus,37,-96\n5/6/2026,Asio flammeus,37,-96\n", encoding="utf-8")
    assert faults(LOADERS["sightings"], FakeStore(units), path)[0][2] == "either 2026-05-06 or 2026-06-05, written so"
    head = "time,temp_f,rh_pct,wind_mph,wind_from_deg\n"
    path.write_text(f"{head}3/14/2026 13:00,60,40%,8,200\n4/5/2026 14:00,60,40,8,200\n", encoding="utf-8")
    assert [where for where, _, _ in faults(LOADERS["forecast"], FakeStore(units), path)] == ["log.csv, row 3, time"]


def test_one_reading_alone_is_the_same_line_as_its_iso_day(tmp_path: Path, units: tuple[Any, ...]) -> None:
    store, path = FakeStore(units), tmp_path / "log.csv"
    for day in ("2025-11-14", "11/14/2025", "14.11.2025"):
        path.write_text(f"date,practice,unit_id,whole\n{day},mow,G1,yes\n", encoding="utf-8")
        LOADERS["entries"](store, path)
    assert [entry.date for entry in store.entries()] == [dt.date(2025, 11, 14)]


def test_a_label_that_the_spreadsheet_made_a_date_is_refused(tmp_path: Path, units: tuple[Any, ...]) -> None:
    """Typed as 1-2, kept as the first of February (or the second of January)."""
    rows: list[list[Cell]] = [
        ["plot_id", "unit_id", "method", "plot_acres", "stems"],
        [dt.date(2026, 1, 2), "C1", "fixed", 0.1, 4],
    ]
    for suffix, write in WRITERS.items():
        found = faults(LOADERS["plots"], FakeStore(units), write(tmp_path / f"t{suffix}", rows))
        assert [(where.rpartition(", ")[2], value) for where, value, _ in found] == [("column plot_id", "2026-01-02")]


def test_midnight_in_a_column_of_times_is_midnight(tmp_path: Path, units: tuple[Any, ...]) -> None:
    start = dt.datetime(2026, 3, 14, 22)
    head: list[Cell] = ["time", "temp_f", "rh_pct", "wind_mph", "wind_from_deg"]
    hours: list[list[Cell]] = [[start + dt.timedelta(hours=each), 50, 40, 8, 200] for each in range(4)]
    for suffix, write in WRITERS.items():
        store = FakeStore(units)
        LOADERS["forecast"](store, write(tmp_path / f"t{suffix}", [head, *hours]))
        assert [hour.at for hour in store.forecasts()[0].hours] == [row[0] for row in hours]


def test_a_share_shown_in_percent_is_that_share(tmp_path: Path, units: tuple[Any, ...]) -> None:
    path = tmp_path / "log.csv"
    path.write_text("date,practice,unit_id,whole,killed_pct\n2025-11-14,cut,C1,yes,80%\n", encoding="utf-8")
    store = FakeStore(units)
    LOADERS["entries"](store, path)
    assert store.entries()[0].killed_pct == 80


def test_the_table_of_photos_may_be_a_spreadsheet_but_only_one(tmp_path: Path) -> None:
    head: list[Cell] = ["file", "lon", "lat", "direction_deg", "taken_at", "private"]
    rows: list[list[Cell]] = [
        ["a.jpg", -96.3, 37.1, 0, dt.datetime(2026, 5, 3, 7, 45), True],
        ["b.jpg", -96.3, 37.1, 359.5, dt.date(2026, 5, 3), None],
    ]
    zone = ZoneInfo("America/Chicago")
    for suffix, write in WRITERS.items():
        folder = tmp_path / suffix[1:]
        folder.mkdir()
        write(folder / f"photos{suffix}", [head, *rows])
        found = read_folder(folder)
        assert found.table is not None and found.other_files == 0
        statements, _ = read_photo_statements(found.table, files=["a.jpg", "b.jpg"], unit_ids=[], zone=zone)
        assert statements["a.jpg"].taken_at == dt.datetime(2026, 5, 3, 7, 45, tzinfo=zone)
        assert (statements["a.jpg"].is_private, statements["b.jpg"].is_private) == (True, None)
        assert statements["b.jpg"].taken_at == dt.datetime(2026, 5, 3, 12, tzinfo=zone)
        (folder / "Photos.csv").write_text("file\na.jpg\n", encoding="utf-8")
        with pytest.raises(InputError, match="several tables of photos"):
            read_folder(folder)
        (folder / "Photos.csv").unlink()


def test_a_time_of_day_in_a_spreadsheet_is_a_burns_hour(tmp_path: Path, units: tuple[Any, ...]) -> None:
    path = tmp_path / "log.xlsx"
    with xlsxwriter.Workbook(str(path)) as book:
        sheet = book.add_worksheet()
        sheet.write_row(0, 0, ["date", "practice", "unit_id", "whole", "observed_time", "temp_f"])
        sheet.write_row(1, 0, ["2025-03-14", "burn", "G1", "yes"])
        sheet.write_datetime(1, 4, dt.time(13, 20), book.add_format({"num_format": "h:mm AM/PM"}))
        sheet.write(1, 5, 61)
    store = FakeStore(units)
    LOADERS["entries"](store, path)
    assert store.burns()[0].ignition == "13:20"
