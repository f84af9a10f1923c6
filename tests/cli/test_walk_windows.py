"""A day's track from outside: windows of local time, the day of the work taken from the walk, --trim on any walk."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from walk_makers import SQUARE, errors, segment, walk, write_gpx


@pytest.fixture
def place(tmp_path: Path, run_habmap: Callable[..., Any]) -> Path:
    folder = tmp_path / "place"
    assert run_habmap("start", folder, "--name", "Test Ground").code == 0
    settings = folder / "habmap.toml"
    # the walks of walk_makers begin at 15:00 UTC on 2026-03-14: 10:00 in Chicago, where summer time has begun
    settings.write_text(
        "\n".join(
            'timezone = "America/Chicago"' if line.startswith("timezone") else line
            for line in settings.read_text(encoding="utf-8").splitlines()
        ),
        encoding="utf-8",
    )
    return folder


def a_day(folder: Path) -> Path:
    """Drive in at 11 mph for some minutes, then walk round ten acres."""
    drive, clock = walk([(-1500, -300), (0, 0)], speed_mps=4.9, step_s=3, closed=False)
    xy, times = walk(SQUARE)
    return write_gpx(
        folder / "day.gpx",
        segment(np.concatenate([drive, xy]), np.concatenate([clock, times - times[0] + clock[-1] + 3])),
    )


def test_a_window_of_local_time_cuts_the_drive_off(tmp_path: Path, place: Path, run_habmap: Callable[..., Any]) -> None:
    day = a_day(tmp_path)
    refused = run_habmap("trace", day, "--json", place=place)
    assert refused.code == 3
    # 1,530 m at 4.9 m/s: 312 s, so the drive ends at about 10:05 local
    assert "11 mph from 10:0" in refused.json["value"]
    assert "--from" in refused.json["mend"]
    taken = run_habmap("trace", day, "--from", "10:05", "--json", place=place)
    assert taken.code == 0
    assert taken.json["acres"] == pytest.approx(10, abs=0.3)  # what little is left of the drive is told as the way in
    empty = run_habmap("trace", day, "--from", "16:00", "--to", "17:00", "--json", place=place)
    assert empty.code == 3
    assert "10:00:00 to 10:1" in empty.json["allowed"]
    assert run_habmap("trace", day, "--from", "4 pm", place=place).code == 2
    assert run_habmap("log", "cut", "--date", "2026-03-14", "--to", "10:30", "--patch", day, place=place).code == 2


def test_the_day_of_the_work_is_the_walks_own(tmp_path: Path, place: Path, run_habmap: Callable[..., Any]) -> None:
    edge = write_gpx(tmp_path / "edge.gpx", segment(*walk(SQUARE)))
    logged = run_habmap("log", "cut", "--track", edge, "--json", place=place)
    assert logged.code == 0, logged.err
    assert logged.json["date"] == "2026-03-14"
    other = run_habmap("log", "mow", "--track", edge, "--date", "2026-03-20", "--json", place=place)
    assert other.json["date"] == "2026-03-20"
    assert any("recorded on 2026-03-14" in words for words in other.json["warnings"])
    timeless = write_gpx(tmp_path / "timeless.gpx", segment(walk(SQUARE)[0]))
    refused = run_habmap("log", "cut", "--track", timeless, "--json", place=place)
    assert refused.code == 3 and refused.json["where"] == "--date"
    # late in the evening the local day is the day before that of UTC
    xy, times = walk(SQUARE)
    evening = write_gpx(tmp_path / "evening.gpx", segment(xy, times + 13 * 3600 - 3 * 3600))  # 01:00 UTC, 20:00 local
    assert run_habmap("log", "mow", "--track", evening, "--json", place=place).json["date"] == "2026-03-14"
    assert run_habmap("log", "cut", "--unit", "C1", "--whole", place=place).code == 2


def test_trim_takes_any_walk_round_any_units(tmp_path: Path, place: Path, run_habmap: Callable[..., Any]) -> None:
    # Noisy walks along the edges of units that are there, each laid over the last: every one is trimmed and kept.
    rng = np.random.default_rng(12)
    for i in range(6):
        corners = [(x + 170.0 * (i % 3), y + 170.0 * (i // 3)) for x, y in SQUARE]
        xy, times = walk(corners, step_s=2)
        noise = errors(times, sigma_m=3, correlation_s=60, rng=rng)[0]
        path = write_gpx(tmp_path / f"walk{i}.gpx", segment(xy + noise, times))
        asked = ("trace", path, "--unit-id", f"C{i}", "--cover", "cedar", "--trim", "--json")
        added = run_habmap(*asked, place=place)
        assert added.code == 0, json.dumps(added.json)
    checked = run_habmap("check", "--json", place=place)
    assert checked.code == 0, checked.out
    units = run_habmap("acres", "--json", place=place).json["units"]
    assert len(units) == 6
    # the union of six squares of 201.168 m at steps of 170 m: 541.168 × 371.168 m = 49.63 acres, ± a few sd
    assert sum(unit["acres"] for unit in units) == pytest.approx(49.63, abs=1.5)
