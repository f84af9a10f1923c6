"""A line on the wrong ground is given its right ground at the desk and by the command; the old stays on record."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import shapely
from desk_process import Running, hidden, words_of
from shapely.geometry import mapping
from small_places import GRID, SIDE_M, make_place, square
from walk_makers import segment, walk, write_gpx

Run = Callable[..., Any]
#: A square of 100 m, in international acres (4046.8564224 m²).
SQUARE_ACRES = SIDE_M**2 / 4046.8564224
#: The south half of the second square.
HALF = shapely.box(SIDE_M, 0, 2 * SIDE_M, SIDE_M / 2)


@pytest.fixture
def two_squares(run_habmap: Run, tmp_path: Path) -> Path:
    """Squares A and B; a cut was logged on all of A, and was in the south half of B."""
    place = make_place(run_habmap, tmp_path / "two", [("A", square(0), {}), ("B", square(1), {})])
    logged = run_habmap("log", "cut", "--date", "2026-03-14", "--unit", "A", "--whole", "--note", "x", place=place)
    assert logged.code == 0, logged.err
    return place


def drawn(shape: shapely.Polygon) -> str:
    """Return an outline as the map page's pencil writes it."""
    feature = {"type": "Feature", "properties": {}, "geometry": mapping(GRID.to_lonlat(shape))}
    return json.dumps({"type": "FeatureCollection", "features": [feature]})


def treated(run: Run, place: Path) -> dict[str, float]:
    """Return what the command says is treated, by unit [acre]."""
    return {one["unit_id"]: one["treated_acres"] for one in run("acres", "--json", place=place).json["units"]}


def test_a_drawn_outline_takes_the_place_of_the_wrong_ground_after_a_look(
    begin: Callable[..., Running], two_squares: Path, run_habmap: Run
) -> None:
    desk = begin(place=two_squares).enter()
    key = desk.key
    page = desk.get(f"/{key}/history/correct?line=1")
    assert f"{SQUARE_ACRES:.2f} acres; that stays on record" in words_of(page)
    assert f'href="/{key}/map?line=1"' in page.text
    assert "the right ground of line 1" in words_of(desk.get(f"/{key}/map?line=1"))
    assert "the right ground of line" not in words_of(desk.get(f"/{key}/map"))
    taken = desk.post(f"/{key}/history/ground", {"line": "1", "ground": drawn(HALF)})
    page = desk.get(taken.heads["location"])
    assert "An outline was drawn on the map for this" in words_of(page)
    said = {"line": "1", "seen": hidden(page, "seen"), "draft": hidden(page, "draft"), "practice": "cut",
            "date": "2026-03-14", "note": "x", "ground": drawn(HALF)}  # fmt: skip
    assert desk.post(f"/{key}/history/look", said).status == 422  # the reason is missing
    both = desk.post(f"/{key}/history/look", {**said, "why": "wrong stand", "unit": "A", "whole": "yes"})
    assert "Several grounds are given" in words_of(both)
    look = desk.post(f"/{key}/history/look", {**said, "why": "wrong stand"})
    assert look.status == 200, words_of(look)
    assert f"B: {SQUARE_ACRES / 2:.2f} acres" in words_of(look)
    assert treated(run_habmap, two_squares) == pytest.approx({"A": SQUARE_ACRES, "B": 0.0})  # a look writes nothing
    # what was filled in is there again where something is changed first
    again = desk.get(re.findall(r'href="([^"]+)">change it first', look.text)[0].replace("&amp;", "&"))
    assert 'value="wrong stand"' in again.text and "An outline was drawn" in again.text
    saved = desk.post(f"/{key}/history/correct", {"draft": hidden(look, "draft"), "once": hidden(look, "once")})
    assert saved.status == 303, words_of(saved)
    assert treated(run_habmap, two_squares) == pytest.approx({"A": 0.0, "B": SQUARE_ACRES / 2}, abs=1e-6)
    # the old ground is on record, and comes back where the correction is withdrawn
    rows = run_habmap("history", "--json", place=two_squares).json["entries"]
    assert [row["action"] for row in rows] == ["log", "amend"]
    assert run_habmap("void", rows[1]["entry_id"], "--why", "it was right", place=two_squares).code == 0
    assert treated(run_habmap, two_squares) == pytest.approx({"A": SQUARE_ACRES, "B": 0.0})


def test_a_walk_or_whole_units_may_be_the_right_ground_and_the_walk_is_kept(
    begin: Callable[..., Running], two_squares: Path, run_habmap: Run, tmp_path: Path
) -> None:
    desk = begin(place=two_squares).enter()
    key = desk.key
    corners = shapely.get_coordinates(HALF)[:-1]
    gpx = write_gpx(tmp_path / "edge.gpx", segment(*walk(corners, speed_mps=1.0))).read_bytes()
    seen = hidden(desk.get(f"/{key}/history/correct?line=1"), "seen")
    said = {"line": "1", "seen": seen, "practice": "cut", "date": "2026-03-14", "note": "x", "why": "walked it"}
    look = desk.post(f"/{key}/history/look", said, files={"track": ("edge.gpx", gpx)})
    assert look.status == 200, words_of(look)
    assert "The walk looks like an edge walk" in words_of(look)
    desk.post(f"/{key}/history/correct", {"draft": hidden(look, "draft"), "once": hidden(look, "once")})
    assert treated(run_habmap, two_squares) == pytest.approx({"A": 0.0, "B": SQUARE_ACRES / 2}, rel=0.03, abs=1e-3)
    assert (two_squares / "tracks" / "1-edge.gpx").read_bytes() == gpx
    # where it cannot be kept, that is said: the line stands
    shutil.rmtree(two_squares / "tracks")
    (two_squares / "tracks").write_text("no folder")
    again = {**said, "seen": hidden(desk.get(f"/{key}/history/correct?line=1"), "seen")}
    look = desk.post(f"/{key}/history/look", again, files={"track": ("edge.gpx", gpx)})
    answer = desk.post(f"/{key}/history/correct", {"draft": hidden(look, "draft"), "once": hidden(look, "once")})
    assert "The walk edge.gpx was not kept under tracks/" in words_of(desk.get(answer.heads["location"]))
    (two_squares / "tracks").unlink()
    # and by the command, which keeps the walk as `log` does
    file = tmp_path / "second walk.gpx"
    file.write_bytes(gpx + b"<!-- again -->\n")
    done = run_habmap("correct", "1", "--why", "again", "--track", file, place=two_squares)
    assert done.code == 0, done.err
    assert (two_squares / "tracks" / "1-second_walk.gpx").exists()
    seen = hidden(desk.get(f"/{key}/history/correct?line=1"), "seen")
    look = desk.post(f"/{key}/history/look", {**said, "seen": seen, "unit": "B"})
    assert "Was all of each unit covered?" in words_of(look)
    look = desk.post(f"/{key}/history/look", {**said, "seen": seen, "unit": "B", "whole": "yes"})
    desk.post(f"/{key}/history/correct", {"draft": hidden(look, "draft"), "once": hidden(look, "once")})
    assert treated(run_habmap, two_squares) == pytest.approx({"A": 0.0, "B": SQUARE_ACRES})
