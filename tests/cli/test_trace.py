"""`habmap trace` and `habmap log --track` from outside, through the real command."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from pyproj import Geod
from shapely.geometry import shape
from walk_makers import SQUARE, lanes, segment, walk, write_gpx

M2_PER_ACRE = 4046.8564224  # 43,560 × 0.3048²


@pytest.fixture
def place(tmp_path: Path, run_habmap: Callable[..., Any]) -> Path:
    folder = tmp_path / "place"
    assert run_habmap("start", folder, "--name", "Test Ground").code == 0
    return folder


@pytest.fixture
def edge(tmp_path: Path) -> Path:
    return write_gpx(tmp_path / "edge.gpx", segment(*walk(SQUARE)))


def test_an_edge_walk_in_json(tmp_path: Path, edge: Path, run_habmap: Callable[..., Any]) -> None:
    done = run_habmap("trace", edge, "--dry-run", "--json", cwd=tmp_path)
    assert done.code == 0
    result = done.json
    assert result["schema"] == "habmap/trace/1"
    assert result["kind"] == "edge walk"
    assert result["acres"] == pytest.approx(10, abs=0.01)
    assert 0.15 < result["acres_sd"] < 0.3
    assert result["fixes"] == result["kept_fixes"] + result["dropped_fixes"] == len(walk(SQUARE)[0])
    assert result["closed_gap_m"] == pytest.approx(4.67, abs=0.1)  # 804.672 m mod 5 m
    assert result["started_at"].startswith("2026-03-14T15:00:00")
    assert any("own error only" in note for note in result["notes"])
    # the outline on the ellipsoid, by another library's formula (PROJ's geodesic area)
    area_m2, _ = Geod(ellps="WGS84").geometry_area_perimeter(shape(result["geometry"]))
    assert area_m2 > 0  # counter-clockwise, as RFC 7946 wants outer rings
    assert result["acres"] == pytest.approx(area_m2 / M2_PER_ACRE, rel=1e-6)


def test_words_first_and_nothing_kept_without_asking(edge: Path, place: Path, run_habmap: Callable[..., Any]) -> None:
    done = run_habmap("trace", edge, place=place)
    assert done.code == 0
    assert done.out.startswith("This looks like an edge walk: 10.00 acres")
    assert "Nothing was kept" in done.out
    assert "own error only" in done.err
    assert run_habmap("acres", "--json", place=place).json["units"] == []


def test_a_unit_is_added_once_and_never_over_another(
    tmp_path: Path, edge: Path, place: Path, run_habmap: Callable[..., Any]
) -> None:
    asked = ("trace", edge, "--unit-id", "C1", "--cover", "cedar", "--json")
    dry = run_habmap(*asked, "--dry-run", place=place)
    assert (dry.code, dry.json["is_added"]) == (0, False)
    assert run_habmap("acres", "--json", place=place).json["units"] == []
    added = run_habmap(*asked, place=place).json
    assert added["is_added"] is True
    [unit] = run_habmap("acres", "--json", place=place).json["units"]
    assert (unit["unit_id"], unit["cover"]) == ("C1", "cedar")
    assert unit["acres"] == pytest.approx(added["acres"], rel=1e-6)
    assert unit["acres_sd"] == pytest.approx(added["acres_sd"])

    again = run_habmap(*asked, place=place)
    assert again.code == 3
    assert "of this name already" in again.json["what"]
    xy, times = walk(SQUARE)
    beside = write_gpx(tmp_path / "beside.gpx", segment(xy + 150, times))
    crossed = run_habmap("trace", beside, "--unit-id", "C2", "--cover", "cedar", "--json", place=place)
    assert crossed.code == 3
    assert "C1 by 0.6" in crossed.json["value"]  # 51.168² m² = 0.647 acres
    assert len(run_habmap("acres", "--json", place=place).json["units"]) == 1


def test_trim_cuts_a_walk_back_to_its_neighbors(
    tmp_path: Path, edge: Path, place: Path, run_habmap: Callable[..., Any]
) -> None:
    assert run_habmap("trace", edge, "--unit-id", "C1", "--cover", "cedar", place=place).code == 0
    east = [(x + 150.0, y) for x, y in SQUARE]  # laps 51.168 m of 201.168 over the first
    beside = write_gpx(tmp_path / "beside.gpx", segment(*walk(east)))
    asked = ("trace", beside, "--unit-id", "C2", "--cover", "cedar", "--json")
    refused = run_habmap(*asked, place=place)
    assert refused.code == 3 and "--trim" in refused.json["mend"]
    done = run_habmap(*asked, "--trim", place=place)
    assert done.code == 0, done.out
    assert done.json["acres"] == pytest.approx(10 * 150 / 201.168, abs=0.02)
    account = run_habmap("acres", "--json", place=place).json
    assert account["totals"]["acres"] == pytest.approx(10 * (150 + 201.168) / 201.168, abs=0.03)
    # a walk of the first unit over again leaves nothing to add
    again = run_habmap("trace", edge, "--unit-id", "C3", "--cover", "cedar", "--trim", "--json", place=place)
    assert again.code == 3 and "most of the walked ground" in again.json["what"]


def test_a_working_track_needs_its_swath(tmp_path: Path, run_habmap: Callable[..., Any]) -> None:
    track = write_gpx(tmp_path / "work.gpx", segment(*walk(lanes(10), closed=False)))
    refused = run_habmap("trace", track, "--json", cwd=tmp_path)
    assert refused.code == 3
    assert "--swath-ft" in refused.json["mend"]
    covered = run_habmap("trace", track, "--swath-ft", "20", cwd=tmp_path)
    assert covered.code == 0
    assert covered.out.startswith("This looks like a working track, a swath of 20 ft along it:")


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--unit-id", "C1"], "both its name and its cover"),
        (["--cover", "cedar"], "both its name and its cover"),
        (["--name", "Draw"], "a name needs a unit"),
        (["--unit-id", "C1", "--cover", "jungle"], "no cover"),
        (["--swath-ft", "0"], "breadth in feet"),
        (["--swath-ft", "nan"], "breadth in feet"),
        (["--travel", "kite"], "way of travel"),
    ],
)
def test_faults_of_the_command_line_exit_2(
    edge: Path, place: Path, run_habmap: Callable[..., Any], options: list[str], words: str
) -> None:
    done = run_habmap("trace", edge, *options, "--json", place=place)
    assert done.code == 2
    assert words in done.json["what"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('<?xml version="1.0"?><gpx version="1.1"><trk><trkseg><trkpt lat="38" lon="-98">', "cut short"),
        ('<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "b">]><gpx/>', "DOCTYPE"),
        ('<?xml version="1.0"?><gpx version="1.1"/>', "no track"),
    ],
)
def test_broken_files_exit_3_without_a_traceback(
    tmp_path: Path, run_habmap: Callable[..., Any], text: str, words: str
) -> None:
    path = tmp_path / "broken.gpx"
    path.write_text(text, encoding="utf-8")
    done = run_habmap("trace", path, cwd=tmp_path)
    assert done.code == 3
    assert words in done.err
    assert "Traceback" not in done.err


def test_an_open_walk_is_refused_with_its_gap_and_taken_when_the_place_says_so(
    tmp_path: Path, place: Path, run_habmap: Callable[..., Any]
) -> None:
    xy, times = walk(SQUARE, speed_mps=1, step_s=2)
    path = write_gpx(tmp_path / "open.gpx", segment(xy[:-15], times[:-15]))
    refused = run_habmap("trace", path, "--json", place=place)
    assert refused.code == 3
    assert "101 ft are open" in refused.json["what"]  # the last fix is 774 m on: 804.672 − 774 = 30.672 m
    settings = place / "habmap.toml"
    text = settings.read_text(encoding="utf-8").replace("close_gap_ft = 50", "close_gap_ft = 120")
    settings.write_text(text, encoding="utf-8")
    assert run_habmap("trace", path, "--json", place=place).json["closed_gap_m"] == pytest.approx(30.672, abs=1e-3)


def test_log_track_keeps_the_walked_ground_whole(
    tmp_path: Path, edge: Path, place: Path, run_habmap: Callable[..., Any]
) -> None:
    assert run_habmap("trace", edge, "--unit-id", "C1", "--cover", "cedar", place=place).code == 0
    xy, times = walk(SQUARE)
    half = xy / 2 + (150.0, 50.0)  # 2.5 acres, half of them east of the unit's edge
    path = write_gpx(tmp_path / "half.gpx", segment(half, times))
    done = run_habmap("log", "cut", "--date", "2026-03-14", "--track", path, "--unit", "C1", "--json", place=place)
    assert done.code == 0, done.err
    logged = done.json
    assert logged["acres"] == pytest.approx(2.5, abs=0.01)
    assert logged["acres_sd"] > 0
    inside_acres = 51.168 * 100.584 / M2_PER_ACRE  # 201.168 − 150 m wide
    assert logged["units"] == [{"unit_id": "C1", "acres": pytest.approx(inside_acres, abs=0.01)}]
    assert logged["outside_acres"] == pytest.approx(2.5 - inside_acres, abs=0.01)
    assert any("outside every unit" in words for words in logged["warnings"])
    assert any("edge walk" in words for words in logged["warnings"])
    account = run_habmap("acres", "--json", place=place).json
    assert account["units"][0]["stage_acres"]["down"] == pytest.approx(inside_acres, abs=0.01)
    assert account["outside_acres"] == pytest.approx(2.5 - inside_acres, abs=0.01)


def test_log_track_with_a_swath_and_another_day(
    tmp_path: Path, edge: Path, place: Path, run_habmap: Callable[..., Any]
) -> None:
    track = write_gpx(tmp_path / "work.gpx", segment(*walk(lanes(10), closed=False)))
    done = run_habmap("log", "mow", "--date", "2026-03-20", "--track", track, "--swath-ft", "20", "--json", place=place)
    assert done.code == 0, done.err
    assert any("recorded on 2026-03-14" in words for words in done.json["warnings"])
    for extra in (["--patch", str(edge)], ["--unit", "C1", "--whole"]):
        refused = run_habmap("log", "mow", "--date", "2026-03-20", "--track", track, *extra, "--json", place=place)
        assert (refused.code, refused.json["what"]) == (2, "two sources of ground are given")
    lonely = run_habmap("log", "mow", "--date", "2026-03-20", "--swath-ft", "20", "--json", place=place)
    assert lonely.code == 2
    unknown = run_habmap("log", "cut", "--date", "2026-03-14", "--track", edge, "--unit", "ZZ", "--json", place=place)
    assert unknown.code == 3
