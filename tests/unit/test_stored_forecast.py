"""Forecasts kept in a property: which one a burn day goes by, and which rows are refused."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from fakes import GRID, FakeStore, unit
from shapely import box

from habmap.errors import InputError, InputErrors, UsageError
from habmap.jobs.burnsheet import burnsheet
from habmap.jobs.load.tables import load_forecast
from habmap.place.load.forecast import read_forecast
from habmap.records import Forecast, ForecastHour
from habmap.work.burn.request import BurnRequest
from habmap.work.burn.result import BurnsheetResult
from habmap.work.clock import comes_twice, is_skipped
from habmap.work.union import union

CHICAGO = ZoneInfo("America/Chicago")
NOON = datetime(2026, 3, 20, 12)
LOADED = datetime(2026, 3, 19, 18, tzinfo=UTC)
HEADER = "time,temp_f,rh_pct,wind_mph,wind_from_deg\n"


def stored(name: str, first: datetime, count: int, *, rh_pct: float = 40, minutes: int = 0) -> Forecast:
    hours = tuple(
        ForecastHour(at=first + timedelta(hours=n), temp_f=60, rh_pct=rh_pct, wind_mph=8, wind_from_deg=200)
        for n in range(count)
    )
    return Forecast(
        uuid=name, file_name=name, wind_height="20ft", hours=hours, recorded_at=LOADED + timedelta(minutes=minutes)
    )


def ask(*forecasts: Forecast, **changed: object) -> BurnsheetResult:
    store = FakeStore([unit("A", box(0, 0, 100, 100), cover="grass"), *forecasts], grid=GRID)
    return burnsheet(store, BurnRequest(**{"names": ("A",), "at": NOON, **changed}))  # type: ignore[arg-type]


def table(tmp_path: Path, *rows: str, header: str = HEADER) -> Path:
    path = tmp_path / "hours.csv"
    path.write_text(header + "\n".join(rows) + "\n", encoding="utf-8")
    return path


# --- which one counts ---------------------------------------------------------------------------------------


def test_the_newest_load_that_reaches_the_hour_counts() -> None:
    old = stored("old.csv", NOON, 20, rh_pct=30)
    new = stored("new.csv", NOON - timedelta(hours=4), 24, rh_pct=50, minutes=5)
    result = ask(old, new)
    assert result.forecast is not None
    assert (result.forecast.file_name, result.forecast.recorded_at) == ("new.csv", new.recorded_at)
    assert result.forecast.taken == ("temp_f", "rh_pct", "wind_mph", "wind_from_deg")
    assert (
        "new.csv, loaded 2026-03-19 13:05, 23 hours before ignition" in result.forecast.words
    )  # 18:05 UTC in Chicago's summer time
    assert result.wind_height == "20ft"
    assert {hour.rh_pct for hour in result.hours if not hour.is_gap} == {50}


def test_one_that_does_not_reach_the_day_is_said_and_not_used() -> None:
    old = stored("old.csv", NOON, 20)
    late = stored("late.csv", NOON + timedelta(days=9), 24, minutes=5)
    result = ask(old, late)
    assert result.forecast is not None
    assert result.forecast.file_name == "old.csv"
    assert any("late.csv" in words and "not used" in words for words in result.warnings)
    with pytest.raises(InputError, match="not complete") as caught:
        ask(late)
    assert "late.csv" in str(caught.value.value)
    given = {"temp_f": 60.0, "rh_pct": 40.0, "wind_mph": 8.0, "wind_from_deg": 200.0}
    result = ask(late, **given)
    assert (result.forecast, result.hours) == (None, ())
    assert any("late.csv" in words for words in result.warnings)


def test_weather_that_was_given_wins_over_the_hour() -> None:
    result = ask(stored("f.csv", NOON, 20), rh_pct=77.0, wind_mph=3.0)
    values = {line.item: line.value for line in result.prescription}
    assert (values["rh_pct"], values["wind_mph"], values["temp_f"]) == (77, 3, 60)
    assert result.forecast is not None
    assert result.forecast.taken == ("temp_f", "wind_from_deg")
    assert result.wind_height is None  # the height is of the forecast's wind, not of the one given


def test_gusts_of_the_forecast_weaker_than_a_wind_that_was_given_do_not_count() -> None:
    gusts = tuple(replace(hour, gust_mph=14.0) for hour in stored("f.csv", NOON, 20).hours)
    known = replace(stored("f.csv", NOON, 20), hours=gusts)
    for wind_mph, gust_mph in ((None, 14), (12.0, 14), (20.0, None)):
        result = ask(known, wind_mph=wind_mph)
        assert {line.item: line.value for line in result.prescription}["gust_mph"] == gust_mph
        assert result.forecast is not None
        assert ("gust_mph" in result.forecast.taken) == (gust_mph is not None)


def test_two_heights_of_one_wind_are_refused() -> None:
    with pytest.raises(InputError, match="another height"):
        ask(stored("f.csv", NOON, 20), wind_height="eye")
    assert ask(stored("f.csv", NOON, 20), wind_height="eye", wind_mph=4.0).wind_height == "eye"


def test_hours_handed_over_win_over_stored_ones() -> None:
    mine = stored("mine", NOON, 3, rh_pct=22).hours
    result = ask(stored("f.csv", NOON, 20), forecast=mine)
    assert result.forecast is not None
    assert result.forecast.recorded_at is None
    assert {hour.rh_pct for hour in result.hours if not hour.is_gap} == {22}


# --- loading ------------------------------------------------------------------------------------------------


def test_loaded_twice_it_is_no_news_and_an_old_one_may_come_again(tmp_path: Path) -> None:
    store = FakeStore(grid=GRID)
    one = table(tmp_path, "2026-03-20T12:00,60,40,8,200", "2026-03-20T14:00,61,39,8,200")
    first = load_forecast(store, path=one, now=LOADED)
    assert (first.loaded, first.already_there) == (2, 0)
    assert any("1 hours" in words for words in first.warnings)
    assert any("eye level" in words for words in first.warnings)
    again = load_forecast(store, path=one, now=LOADED + timedelta(hours=1))
    assert (again.loaded, again.already_there, len(store.forecasts())) == (0, 2, 1)
    other = tmp_path / "other.csv"
    other.write_text(HEADER + "2026-03-20T12:00,50,60,8,200\n", encoding="utf-8")
    load_forecast(store, path=other, now=LOADED + timedelta(hours=2), wind_height="eye")
    assert store.forecasts()[0].wind_height == "eye"
    load_forecast(store, path=one, now=LOADED + timedelta(hours=3))
    assert [row.file_name for row in store.forecasts()] == ["hours.csv", "other.csv", "hours.csv"]
    assert len({row.uuid for row in store.forecasts()}) == 3


def test_copies_that_loaded_one_forecast_under_two_names_can_be_joined_and_agree(tmp_path: Path) -> None:
    one = table(tmp_path, "2026-03-20T12:00,60,40,8,200")
    two, other = tmp_path / "same hours.csv", tmp_path / "other.csv"
    two.write_bytes(one.read_bytes())
    other.write_text(HEADER + "2026-03-20T12:00,50,60,8,200\n", encoding="utf-8")
    ours, theirs = FakeStore(grid=GRID), FakeStore(grid=GRID)
    load_forecast(ours, path=one, now=LOADED)
    load_forecast(ours, path=other, now=LOADED + timedelta(hours=1))
    load_forecast(theirs, path=two, now=LOADED + timedelta(hours=2))
    news = [union(a.rows(), b.rows()) for a, b in ((ours, theirs), (theirs, ours))]
    assert [one.clashes for one in news] == [(), ()]
    ours.append(news[0].news)
    theirs.append(news[1].news)
    assert ours.forecasts() == theirs.forecasts()
    assert ours.forecasts()[0].file_name == "same hours.csv"


def test_columns_by_other_names(tmp_path: Path) -> None:
    path = table(tmp_path, "2026-03-20T12:00,16,40,10,200", header="valid,temp_f,RH,wind_mph,dir\n")
    renames = {"time": "valid", "temp_c": "temp_f", "rh_pct": "RH", "wind_kt": "wind_mph", "wind_from_deg": "dir"}
    (hour,) = read_forecast(path, columns=renames).hours
    assert hour.temp_f == pytest.approx(60.8)  # 16 × 1.8 + 32
    assert hour.wind_mph == pytest.approx(11.5078, abs=1e-4)  # 1852 m to the knot, 1609.344 m to the mile
    with pytest.raises(UsageError):
        read_forecast(path, columns={"humidity": "RH"})


def test_the_height_of_the_wind_is_said_once(tmp_path: Path) -> None:
    header = HEADER.strip() + ",wind_height\n"
    path = table(tmp_path, "2026-03-20T12:00,60,40,8,200,20ft", "2026-03-20T13:00,60,40,8,200,", header=header)
    assert read_forecast(path).wind_height == "20ft"
    with pytest.raises(InputError, match="another height"):
        load_forecast(FakeStore(grid=GRID), path=path, now=LOADED, wind_height="eye")
    path = table(tmp_path, "2026-03-20T12:00,60,40,8,200,20ft", "2026-03-20T13:00,60,40,8,200,eye", header=header)
    with pytest.raises(InputErrors, match="two heights"):
        read_forecast(path)


# --- the clock ----------------------------------------------------------------------------------------------


def test_hours_skipped_and_shown_twice() -> None:
    # In the United States clocks go forward at 2:00 on the second Sunday in March and back at 2:00 on the first Sunday
    # in November (15 U.S.C. 260a); in 2026 these are March 8 and November 1.
    assert is_skipped(datetime(2026, 3, 8, 2, 30), CHICAGO)
    assert not is_skipped(datetime(2026, 3, 8, 3), CHICAGO)
    assert not is_skipped(datetime(2026, 3, 8, 1, 59), CHICAGO)
    assert comes_twice(datetime(2026, 11, 1, 1), CHICAGO)
    assert not comes_twice(datetime(2026, 11, 1, 2), CHICAGO)
    assert not comes_twice(datetime(2026, 3, 8, 2, 30), CHICAGO)


def test_rows_that_the_clock_does_not_have(tmp_path: Path) -> None:
    path = table(tmp_path, *(f"2026-03-08T0{hour}:00,60,40,8,200" for hour in (1, 2, 3)))
    with pytest.raises(InputErrors) as caught:
        read_forecast(path, zone=CHICAGO)
    (fault,) = caught.value.faults
    assert "never comes" in str(fault)
    assert "row 3, time" in str(fault)
    path = table(tmp_path, *(f"2026-11-01T0{hour}:00,60,40,8,200" for hour in (0, 1, 1, 2)))
    with pytest.raises(InputErrors) as caught:
        read_forecast(path, zone=CHICAGO)
    (fault,) = caught.value.faults
    assert "put back" in str(fault)
    assert "row 4, time" in str(fault)


def test_an_hour_that_the_clock_skips_is_no_gap() -> None:
    at = datetime(2026, 3, 7, 14)
    told = tuple(
        ForecastHour(at=at + timedelta(hours=n), temp_f=60, rh_pct=40, wind_mph=8, wind_from_deg=200) for n in range(19)
    )
    told = tuple(hour for hour in told if hour.at.hour != 2)
    result = ask(at=at, forecast=told)
    gaps = [hour.time for hour in result.hours if hour.is_gap]
    assert gaps == ["2026-03-07T11:00", "2026-03-07T12:00", "2026-03-07T13:00"]


def test_gusts_weaker_than_the_wind_are_refused_by_row(tmp_path: Path) -> None:
    header = HEADER.strip() + ",gust_kt\n"
    path = table(tmp_path, "2026-03-20T12:00,60,40,8,200,7", "2026-03-20T13:00,60,40,8,200,6", header=header)
    with pytest.raises(InputErrors) as caught:  # 7 kt are 8.06 mph, 6 kt are 6.90 mph
        read_forecast(path)
    assert ["row 3, gust_kt" in str(fault) for fault in caught.value.faults] == [True]
