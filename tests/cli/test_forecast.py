"""``habmap load forecast`` from outside: kept whole or not at all, and used by ``burnsheet``."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., Any]
HEADER = "time,temp_f,rh_pct,wind_mph,wind_from_deg\n"
DAY = ("burnsheet", "C1", "--time", "2026-03-05T13:30")


@pytest.fixture
def place(demo_place: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "place"
    shutil.copytree(demo_place, folder)
    return folder


def _hours(path: Path, *, rh_pct: int, first: int = 9, name: str = "spot.csv") -> Path:
    rows = [f"2026-03-05T{hour:02d}:00,58,{rh_pct},7,{340 if hour < 18 else 90}" for hour in range(first, 24)]
    (path / name).write_text(HEADER + "\n".join(rows) + "\n", encoding="utf-8")
    return path / name


def test_a_forecast_is_kept_used_and_joined(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(place, copy)
    assert run_habmap(*DAY, "--json", place=place).code == 2  # no weather anywhere: the command line is not complete
    path = _hours(tmp_path, rh_pct=44)
    done = run_habmap("load", "forecast", path, "--wind-height", "20ft", "--json", place=place)
    assert (done.code, done.json["kind"], done.json["loaded"]) == (0, "forecast", 15), done.err
    again = run_habmap("load", "forecast", path, "--wind-height", "20ft", place=place)
    assert again.code == 0
    assert "15 were there already" in again.out
    day = run_habmap(*DAY, "--json", place=place)
    assert day.code == 0, day.err
    assert day.json["forecast"]["file_name"] == "spot.csv"
    assert day.json["forecast"]["wind_height"] == day.json["wind_height"] == "20ft"
    assert day.json["wind_from_deg"] == 340
    assert "spot.csv, loaded 20" in run_habmap(*DAY, place=place).out
    wins = run_habmap(*DAY, "--forecast", _hours(tmp_path, rh_pct=33, name="other.csv"), "--json", place=place)
    assert wins.json["forecast"]["file_name"] == "other.csv"
    assert wins.json["forecast"]["recorded_at"] is None
    assert run_habmap("check", place=place).code == run_habmap("check", place=copy).code
    joined = run_habmap("unite", place, "--json", place=copy)
    assert (joined.code, joined.json["added"]["forecasts"]) == (0, 1), joined.err
    assert run_habmap(*DAY, "--json", place=copy).json["forecast"]["file_name"] == "spot.csv"
    assert run_habmap("unite", place, "--json", place=copy).json["added"]["forecasts"] == 0


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (HEADER + "2026-03-05T12:00,60,140,8,20\n2026-03-05T13:00,60,40,8,400\n", ("row 2, rh_pct", "row 3, wind")),
        (HEADER + "2026-03-05T12:00,60,40,8,200\n2026-03-05T11:00,60,40,8,200\n", ("row 3, time", "out of order")),
        (HEADER + "2026-03-05T12:00,60,40,8,200\n2026-03-05T12:00,60,40,8,200\n", ("row 3, time", "there twice")),
        (HEADER + "2026-03-08T02:00,60,40,8,200\n", ("row 2, time", "never comes")),
        (HEADER + "2026-11-01T01:00,60,40,8,200\n2026-11-01T01:00,60,40,8,200\n", ("row 3, time", "put back")),
        (HEADER + "2026-03-05T12:00,16,40,8,200\n", ("row 2", "16 °C")),
        ("time,temp_f,rh_pct,wind_mph\n2026-03-05T12:00,60,40,8\n", ("wind_from_deg is missing",)),
    ],
)  # fmt: skip
def test_faults_keep_nothing_by_row_with_a_mend(
    run_habmap: Run, place: Path, tmp_path: Path, text: str, said: tuple[str, ...]
) -> None:
    path = tmp_path / "bad.csv"
    path.write_text(text, encoding="utf-8")
    before = (place / "place.gpkg").read_bytes()
    for command in (("load", "forecast", path), (*DAY, "--forecast", path)):
        done = run_habmap(*command, place=place)
        assert done.code == 3
        for part in said:
            assert part in " ".join(done.err.split())
    assert (place / "place.gpkg").read_bytes() == before
    assert run_habmap("load", "forecast", path, "--wind-height", "10m", place=place).code == 2
