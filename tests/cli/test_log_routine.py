"""The daily way from a walk to log, account and map, as a person types it."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from fakes import GRID
from shapely.geometry import LineString
from small_places import make_place, square, with_settings

from habmap.vocabulary import SAW_CAUTION

Run = Callable[..., Any]


@pytest.fixture(scope="module")
def master(tmp_path_factory: pytest.TempPathFactory, run_habmap: Run) -> Path:
    folder = tmp_path_factory.mktemp("routine") / "place"
    place = make_place(run_habmap, folder, [("C1", square(0), {}), ("C2", square(1), {})])
    text = (place / "habmap.toml").read_text(encoding="utf-8").replace('"America/Chicago"', '"Pacific/Kiritimati"')
    (place / "habmap.toml").write_text(text, encoding="utf-8")
    return place


@pytest.fixture
def place(master: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(master, tmp_path / "place"))


def edge_walk(path: Path) -> Path:
    """Write a walk around the western half of C1, a fix a second, on 14 March 2026 at the property."""
    ring = LineString([(0, 0), (50, 0), (50, 100), (0, 100), (0, 0.5)])
    start = datetime(2026, 3, 13, 20, tzinfo=UTC)  # the morning of the 14th on Kiritimati
    fixes = []
    for step in range(int(ring.length) + 1):
        lonlat = GRID.to_lonlat(ring.interpolate(step))
        fixes.append(
            f'<trkpt lat="{lonlat.y:.8f}" lon="{lonlat.x:.8f}">'
            f"<time>{start + timedelta(seconds=step):%Y-%m-%dT%H:%M:%SZ}</time></trkpt>"
        )
    path.write_text(
        '<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
        + "".join(fixes)
        + "</trkseg></trk></gpx>",
        encoding="utf-8",
    )
    return path


def test_one_line_from_a_walk_to_log_account_and_map(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    walk = edge_walk(tmp_path / "walk.gpx")
    for times in (1, 2):  # the map of the first time is replaced without a word
        done = run_habmap("log", "cut", "--track", walk, "--killed-pct", "90", "--map", place=place)
        assert done.code == 0, done.err
        page = place / "out" / "map.html"
        assert page.exists() and "The map was drawn anew" in done.out
        if times == 1:
            # 5,000 m² of a hectare: 1.24 acres
            assert "Treated acres went from 0.00 to 1.2" in done.out and "2026-03-14" in done.out
            assert "Account: 1.2 of 4.9 cedar acres treated at least once; 3.7 remain." in done.out
            assert SAW_CAUTION in done.err
        else:
            assert "acres of this ground were treated already" in done.out
            assert SAW_CAUTION not in done.err
            assert "in full today with line 1 holds here too: saws and falling trees" in done.err
            assert "the same work is already logged" in done.err


def test_the_walk_behind_a_line_is_kept_under_its_number(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    walk = edge_walk(tmp_path / "South edge (2).GPX")
    asked = ("log", "cut", "--track", walk, "--killed-pct", "90", "--json")
    assert run_habmap(*asked, "--preview", place=place).code == 0
    assert list((place / "tracks").iterdir()) == []
    done = run_habmap(*asked, place=place)
    kept = list((place / "tracks").iterdir())
    assert [path.name for path in kept] == [f"{done.json['number']}-South_edge_2.gpx"]
    assert kept[0].read_bytes() == walk.read_bytes()
    # another walk of that name under another line lies beside it
    again = run_habmap(*asked, place=place)
    assert {path.name for path in (place / "tracks").iterdir()} == {
        f"{done.json['number']}-South_edge_2.gpx", f"{again.json['number']}-South_edge_2.gpx"
    }  # fmt: skip


def test_a_walk_that_cannot_be_kept_is_said_and_the_line_stands(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    walk = edge_walk(tmp_path / "walk.gpx")
    (place / "tracks").rmdir()
    (place / "tracks").write_text("a file where the folder should be", encoding="utf-8")
    done = run_habmap("log", "cut", "--track", walk, "--killed-pct", "90", "--json", place=place)
    assert done.code == 0
    assert any("walk.gpx was not kept" in words for words in done.json["warnings"])
    assert len(run_habmap("history", "--json", place=place).json["entries"]) == 1


def test_today_and_yesterday_are_the_property_s_own(run_habmap: Run, place: Path) -> None:
    today = datetime.now(ZoneInfo("Pacific/Kiritimati")).date()
    for word, day in (("today", today), ("Yesterday", today - timedelta(days=1))):
        done = run_habmap("log", "cut", "--unit", "C1", "--whole", "--date", word, "--json", place=place)
        # a test that runs over midnight there may see the next day
        assert done.json["date"] in (day.isoformat(), (day + timedelta(days=1)).isoformat())
    done = run_habmap("correct", "1", "--why", "a day early", "--date", "yesterday", "--json", place=place)
    assert done.json["date"] in ((today - timedelta(days=1)).isoformat(), today.isoformat())
    for word in ("tomorrow", "2026-02-30", "todayy"):
        done = run_habmap("log", "cut", "--unit", "C1", "--whole", "--date", word, place=place)
        assert done.code == 2 and "today, yesterday" in done.err


def test_a_preview_tells_what_the_line_would_and_writes_nothing(run_habmap: Run, place: Path) -> None:
    asked = ("log", "cut", "--unit", "C1", "--whole", "--date", "2026-03-01", "--reported-acres", "9", "--json")
    before = (place / "place.gpkg").read_bytes()
    preview = run_habmap(*asked, "--preview", place=place)
    assert preview.code == 0 and preview.json["preview"] is True
    assert any("reported 9.00 acres" in words for words in preview.json["warnings"])
    assert (place / "place.gpkg").read_bytes() == before
    assert run_habmap("history", "--json", place=place).json["entries"] == []
    real = run_habmap(*asked, "--yes", place=place)
    assert real.json["preview"] is False
    for key in set(real.json) - {"entry_id", "preview"}:
        assert preview.json[key] == real.json[key], key
    changes = real.json["changes"]
    assert changes["treated_before_acres"] == 0 and changes["treated_after_acres"] == pytest.approx(2.4711, abs=1e-4)
    fixed = run_habmap("correct", "1", "--why", "half", "--killed-pct", "50", "--preview", "--json", place=place)
    assert fixed.json["preview"] and fixed.json["changes"]["treated_after_acres"] == 0
    assert run_habmap("acres", "--json", place=place).json["totals"]["treated_acres"] > 2
    both = run_habmap(*asked, "--preview", "--map", place=place)
    assert both.code == 2


def test_a_map_for_other_eyes_or_of_another_maker_is_not_replaced_unasked(run_habmap: Run, place: Path) -> None:
    page = place / "out" / "map.html"
    log = ("log", "cut", "--unit", "C1", "--whole", "--date", "2026-03-01", "--map")
    page.parent.mkdir(exist_ok=True)
    page.write_text("<!DOCTYPE html><html><head><title>mine</title></head><body>habmap map for the owner</body></html>")
    done = run_habmap(*log, place=place)
    assert done.code == 3 and "mine" in page.read_text(encoding="utf-8")
    assert run_habmap("history", "--json", place=place).json["entries"] == []  # refused before anything was written
    assert run_habmap("map", "--for", "public", "--overwrite", place=place).code == 0
    assert run_habmap(*log, place=place).code == 3
    assert run_habmap("map", place=place).code == 3
    assert run_habmap("map", "--for", "public", place=place).code == 0


@pytest.mark.parametrize("command", ["sheet", "handout"])
def test_printed_sheets_replace_their_own_and_no_other(run_habmap: Run, place: Path, command: str) -> None:
    with_settings(place, "")
    assert run_habmap("log", "cut", "--unit", "C1", "--whole", "--date", "2026-03-01", place=place).code == 0
    first = run_habmap(command, "--json", place=place)
    path = Path(first.json["path"])
    assert run_habmap(command, place=place).code == 0
    assert run_habmap(command, "--for", "public", place=place).code == 3
    path.write_bytes(b"%PDF-1.4 somebody's own")
    assert run_habmap(command, place=place).code == 3
    assert json.loads(first.out)["path"] == str(path) and path.read_bytes().endswith(b"own")
