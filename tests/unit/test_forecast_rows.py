"""Forecasts in the property's file: every figure back as it went in, older properties, spoiled rows."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from habmap.errors import InputError, PlaceError
from habmap.place.store import GeoPackageStore
from habmap.records import Forecast, ForecastHour

NOW = datetime(2026, 3, 4, 18, 0, 0, 123456, tzinfo=UTC)


@pytest.fixture
def store(tmp_path: Path) -> GeoPackageStore:
    return GeoPackageStore.create(tmp_path / "place", "A place")


def forecast(name: str = "one", minutes: int = 0, **changed: object) -> Forecast:
    fields: dict[str, object] = {
        "uuid": name,
        "file_name": f'{name} "ü".csv',
        "wind_height": None,
        "hours": (
            ForecastHour(at=datetime(2026, 3, 5, 13, 30), temp_f=1 / 3, rh_pct=40.0, gust_mph=14.000000000000002),
            ForecastHour(at=datetime(2026, 3, 5, 14, 30)),
        ),
        "recorded_at": NOW + timedelta(minutes=minutes),
    }
    return Forecast(**(fields | changed))  # type: ignore[arg-type]


def test_every_figure_comes_back_as_it_went_in(store: GeoPackageStore) -> None:
    first, second = forecast(), forecast("two", 5, wind_height="eye")
    store.append([first])
    store.append([second])
    first, second = replace(first, supersedes=()), replace(second, supersedes=("one",))
    again = GeoPackageStore.open(store.folder)
    assert again.forecasts() == (second, first)  # the newest first
    assert set(again.rows()) == {first, second}
    with pytest.raises(InputError):
        store.append([first])


def test_a_property_older_than_the_table_reads_as_empty_until_the_first_forecast(store: GeoPackageStore) -> None:
    with closing(sqlite3.connect(store.path)) as file, file:
        file.execute("DROP TABLE forecast")
        file.execute("DELETE FROM gpkg_contents WHERE table_name = 'forecast'")
    assert store.forecasts() == ()
    assert store.storage_faults() == []
    store.append([forecast()])
    assert store.forecasts() == (forecast(supersedes=()),)
    assert store.storage_faults() == []


@pytest.mark.parametrize(
    "hours",
    ["", "[]", "7", '["a"]', '[{"temp_f": 3}]', '[{"at": "noon"}]', '[{"at": "2026-03-05T13:00", "temp_f": "hot"}]'],
)
def test_spoiled_hours_are_said(store: GeoPackageStore, hours: str) -> None:
    with closing(sqlite3.connect(store.path)) as file, file:
        file.execute(
            "INSERT INTO forecast (uuid, file_name, hours, recorded_at) VALUES ('x', 'x.csv', ?, ?)",
            (hours, "2026-03-04T18:00:00.000000Z"),
        )
    with pytest.raises(PlaceError, match="damaged"):
        store.forecasts()
