"""The next bite from outside: on small properties of squares and on slopes; every promise is measured by the test.

Areas are measured on the ellipsoid by PROJ's geodesics, distances on an azimuthal equidistant map of the test's own.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import gpxpy
import numpy as np
import pytest
import shapely
from fakes import GRID
from pyproj import Geod, Transformer
from shapely.geometry import mapping, shape
from shapely.geometry.base import BaseGeometry
from small_places import make_place, square, write_dem

import habmap
from habmap.place.elevation import Elevation
from habmap.vocabulary import FIRE_CAUTION, SAW_CAUTION

Run = Callable[..., Any]
M2_PER_ACRE = 4046.8564224
FT_PER_M = 1 / 0.3048
_GEOD = Geod(ellps="WGS84")
_FLAT = Transformer.from_crs("EPSG:4326", f"+proj=aeqd +lat_0={GRID.lat} +lon_0={GRID.lon}", always_xy=True)
#: Two projections of one edge, and crumbs of the arithmetic [m²].
CRUMB_M2 = 0.5


def flat(geometry: BaseGeometry) -> BaseGeometry:
    return shapely.transform(geometry, lambda xy: np.column_stack(_FLAT.transform(xy[:, 0], xy[:, 1])))


def acres_of(geometry: BaseGeometry) -> float:
    return abs(_GEOD.geometry_area_perimeter(shapely.orient_polygons(geometry))[0]) / M2_PER_ACRE


def planar(side: BaseGeometry) -> BaseGeometry:
    return flat(GRID.to_lonlat(side))


def taken(done: Any) -> BaseGeometry:
    assert done.code == 0, done.err
    found = shape(done.json["geometry"])
    assert found.geom_type == "Polygon" and found.is_valid
    assert done.json["acres"] == pytest.approx(acres_of(found), rel=1e-5)
    return found


HOLD = '\n[[hold]]\nunit = "H1"\nreason = "sale not settled"\n'
RATE = "\n[effort.rates]\ncut = 8.0\n"


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory, run_habmap: Run) -> Path:
    """Return stands of 100 m in a row: A1, G1 (grass), H1 (densest, on hold), B1 with its west half cut."""
    units = [
        ("H1", square(3), {"stems_per_acre": 900}),
        ("A1", square(1), {"stems_per_acre": 800}),
        ("G1", square(2), {"cover": "grass"}),
        ("B1", shapely.box(400, 0, 600, 200), {"stems_per_acre": 300}),
    ]
    folder = make_place(run_habmap, tmp_path_factory.mktemp("bite") / "place", units, settings=HOLD)
    text = (folder / "habmap.toml").read_text(encoding="utf-8")
    (folder / "habmap.toml").write_text(text.replace("[effort]\n", "[effort]\nrates.cut = 8.0\n"), encoding="utf-8")
    patch = folder.parent / "west.geojson"
    patch.write_text(json.dumps(mapping(GRID.to_lonlat(shapely.box(400, 0, 450, 200)))), encoding="utf-8")
    done = run_habmap("log", "cut", "--date", "2026-01-10", "--patch", patch, place=folder)
    assert done.code == 0, done.err
    return folder


def test_it_lies_in_the_unit_that_comes_next_beside_the_grass_and_says_why(run_habmap: Run, place: Path) -> None:
    done = run_habmap("bite", "--acres", "0.8", "--json", place=place)
    bite, found = taken(done), done.json
    assert found["schema"] == "habmap/bite/1" and found["unit_id"] == "A1" and found["asked_acres"] == 0.8
    assert found["acres"] == pytest.approx(0.8, rel=0.03)
    assert flat(bite).difference(planar(square(1))).area < CRUMB_M2
    assert flat(bite).distance(planar(square(2))) < 0.01
    assert any("G1" in words and "grass" in words for words in found["beside"])
    why = " ".join(found["why"])
    assert "H1 would come before it but is on hold" in why and "sale not settled" in why and "A1" in why
    assert found["person_hours"] == pytest.approx(8 * found["acres"])
    assert found["hand_only_pct"] is None  # no elevation is loaded


def test_the_new_edge_and_what_lies_beside_are_as_measured(run_habmap: Run, place: Path) -> None:
    done = run_habmap("bite", "--acres", "2", "--unit", "B1", "--json", place=place)
    bite = flat(taken(done))
    assert bite.difference(planar(shapely.box(450, 0, 600, 200))).area < CRUMB_M2
    opened, own = planar(shapely.box(400, 0, 450, 200)), planar(shapely.box(450, 0, 600, 200))
    along = re.search(r"opened ground of B1 \(cut, slash on ground\), along ([\d,]+) ft", " ".join(done.json["beside"]))
    assert along is not None
    beside_ft = bite.boundary.intersection(opened.buffer(10)).length * FT_PER_M
    assert float(along[1].replace(",", "")) == pytest.approx(beside_ft, abs=5)
    new_ft = bite.boundary.difference(own.boundary.buffer(0.05)).length * FT_PER_M
    assert done.json["new_edge_ft"] == pytest.approx(new_ft, abs=2)
    assert run_habmap("bite", "--acres", "2", "--unit", "B1", "--json", place=place).out == done.out


def test_hours_take_what_the_rate_says_and_of_two_wishes_the_lesser_counts(run_habmap: Run, place: Path) -> None:
    done = run_habmap("bite", "--hours", "8", "--unit", "B1", "--json", place=place)
    assert done.json["asked_acres"] == pytest.approx(1.0) and taken(done) is not None
    assert done.json["person_hours"] == pytest.approx(8, rel=0.03)
    for acres, hours, asked in (("0.5", "8", 0.5), ("2", "8", 1.0)):
        both = run_habmap("bite", "--acres", acres, "--hours", hours, "--unit", "B1", "--json", place=place)
        assert both.json["asked_acres"] == pytest.approx(asked)


def test_held_ground_is_never_named(run_habmap: Run, place: Path) -> None:
    refused = run_habmap("bite", "--acres", "1", "--unit", "H1", "--json", place=place)
    assert refused.code == 3 and "on hold" in refused.json["what"] and "sale not settled" in refused.json["value"]
    assert run_habmap("bite", "--acres", "1", "--unit", "X9", "--json", place=place).code == 3
    other = run_habmap("bite", "--acres", "1", "--unit", "G1", "--json", place=place)
    assert other.code == 3 and "nothing remains" in other.json["what"]


def test_command_lines_that_cannot_be(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    for arguments in ((), ("--acres", "0"), ("--acres", "-1"), ("--acres", "nan"), ("--hours", "1e9"), ("--acres", "x"),
                      ("--acres", "1", "-o", str(tmp_path / "bite.shp"))):  # fmt: skip
        done = run_habmap("bite", *arguments, place=place)
        assert done.code == 2 and "Traceback" not in done.err, arguments


def test_the_outline_to_walk_is_the_one_that_is_said(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    for name in ("bite.gpx", "bite.geojson"):
        done = run_habmap("bite", "--acres", "1", "--unit", "B1", "-o", tmp_path / name, "--json", place=place)
        bite = taken(done)
        again = run_habmap("bite", "--acres", "1", "--unit", "B1", "-o", tmp_path / name, place=place)
        assert again.code == 3 and "already there" in again.err
    walk = gpxpy.parse((tmp_path / "bite.gpx").read_text(encoding="utf-8"))
    (track,) = walk.tracks
    ring = shapely.Polygon([(point.longitude, point.latitude) for point in track.segments[0].points])
    assert ring.equals_exact(bite, 1e-9) or ring.symmetric_difference(bite).area < 1e-12
    assert track.name.startswith("B1") and "acres" in track.name
    (feature,) = json.loads((tmp_path / "bite.geojson").read_text(encoding="utf-8"))["features"]
    assert shape(feature["geometry"]).symmetric_difference(bite).area < 1e-12


def test_what_is_printed_is_no_leave_and_carries_the_cautions(run_habmap: Run, place: Path) -> None:
    done = run_habmap("bite", "--acres", "1", place=place)
    assert done.out.splitlines()[0].startswith("Cut 1.0") and "A1" in done.out.splitlines()[0]
    assert "maim and kill" in done.out and "ready" not in done.out and "safe" not in done.out


# --- the whole sequence -------------------------------------------------------------------------------------


def test_bites_logged_until_nothing_remains_cover_all_ground_once(run_habmap: Run, tmp_path: Path) -> None:
    whole = shapely.Polygon([(0, 0), (260, 30), (240, 190), (110, 150), (90, 240), (-20, 200)])
    nest = shapely.Point(60, 80).buffer(15)
    folder = make_place(run_habmap, tmp_path / "place", [("C1", whole, {})])
    keep = tmp_path / "keep.geojson"
    keep.write_text(json.dumps(mapping(GRID.to_lonlat(nest))), encoding="utf-8")
    assert run_habmap("log", "keep", "--date", "2026-01-05", "--patch", keep, place=folder).code == 0
    ground = planar(whole).difference(planar(nest))
    left, bites = ground, []
    while True:
        done = run_habmap("bite", "--acres", "2", "--json", place=folder)
        if done.code != 0:
            assert done.code == 3 and "no ground remains" in done.json["what"]
            break
        bite = flat(taken(done))
        assert bite.difference(left.buffer(0.01)).area < CRUMB_M2
        assert bite.intersection(planar(nest)).area < CRUMB_M2
        left = left.difference(bite)
        rest = [part.area for part in shapely.get_parts(left.buffer(-0.01)) if part.area > 1]
        if rest:
            assert done.json["acres"] == pytest.approx(2, rel=0.03)
            assert min(rest) >= 0.0995 * 2 * M2_PER_ACRE
        assert done.json["left_pieces"] == len(rest)
        assert done.json["left_acres"] == pytest.approx(left.area / M2_PER_ACRE, abs=1e-3)
        bites.append(bite)
        patch = tmp_path / f"bite{len(bites)}.geojson"
        patch.write_text(json.dumps(done.json["geometry"]), encoding="utf-8")
        logged = run_habmap("log", "cut", "--date", "2026-02-01", "--patch", patch, place=folder)
        assert logged.code == 0, logged.err
    assert len(bites) == -(-ground.area // (2 * M2_PER_ACRE))
    assert sum(bite.area for bite in bites) == pytest.approx(ground.area, rel=1e-6)
    assert shapely.union_all(bites).area == pytest.approx(ground.area, rel=1e-6)
    totals = run_habmap("acres", "--json", place=folder).json["totals"]
    assert totals["remaining_acres"] < 1e-6 and totals["treated_acres"] == pytest.approx(
        ground.area / M2_PER_ACRE, rel=1e-5
    )


# --- slopes -------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def hill(tmp_path_factory: pytest.TempPathFactory, run_habmap: Run) -> Path:
    """Return a stand of 300 m: its south third rises at 40%, the rest is level but for a rise of 10% facing south."""

    def height_m(east: Any, north: Any) -> Any:
        return np.where(north < 100, 0.4 * north, np.where(north < 200, 40 + 0 * north, 40 + 0.1 * (north - 200)))

    folder = make_place(
        run_habmap, tmp_path_factory.mktemp("hill") / "place", [("C1", shapely.box(0, 0, 300, 300), {})]
    )
    dem = write_dem(folder.parent / "hill.tif", height_m)
    assert run_habmap("load", "dem", dem, place=folder).code == 0
    return folder


def test_hand_only_ground_is_left_out_unless_asked_for(run_habmap: Run, hill: Path) -> None:
    # Horn's window is three cells of 10 m wide: the row of cells below 100 m has (40 - 34) / 20 = 30%, not more
    steep = planar(shapely.box(0, 0, 300, 90))
    for acres in ("1", "3", "9"):
        done = run_habmap("bite", "--acres", acres, "--json", place=hill)
        assert flat(taken(done)).intersection(steep).area < CRUMB_M2
        assert done.json["hand_only_pct"] == pytest.approx(0, abs=1e-9)
        assert "hand-only" in " ".join(done.json["why"])
    done = run_habmap("bite", "--acres", "20", "--hand-only", "--json", place=hill)
    assert done.json["hand_only_pct"] > 20
    share_pct = 100 * flat(taken(done)).intersection(steep).area / flat(taken(done)).area
    assert done.json["hand_only_pct"] == pytest.approx(share_pct, abs=0.1)


def test_the_side_that_faces_the_sun_comes_first(run_habmap: Run, hill: Path) -> None:
    done = run_habmap("bite", "--acres", "1", "--json", place=hill)
    assert done.json["sun_facing_pct"] > 95
    assert flat(taken(done)).difference(planar(shapely.box(0, 180, 300, 300))).area < CRUMB_M2


def test_the_elevation_is_opened_a_few_times_however_many_bites_are_weighed(
    hill: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened = []
    plain = Elevation.__init__

    def counted(self: Elevation, *args: Any, **kwargs: Any) -> None:
        opened.append(self)
        plain(self, *args, **kwargs)

    monkeypatch.setattr(Elevation, "__init__", counted)
    assert habmap.bite(habmap.open_place(hill), acres=1).acres == pytest.approx(1, abs=0.03)
    # the order of work, what remains there, all candidates together, and the bite that is answered
    assert 0 < len(opened) <= 4


def test_all_ground_too_steep_for_a_machine_is_refused_with_the_way_out(run_habmap: Run, tmp_path: Path) -> None:
    folder = make_place(run_habmap, tmp_path / "place", [("C1", square(0), {})])
    assert run_habmap("load", "dem", write_dem(tmp_path / "s.tif", lambda e, n: 0.5 * n), place=folder).code == 0
    refused = run_habmap("bite", "--acres", "1", "--json", place=folder)
    assert refused.code == 3 and "--hand-only" in refused.json["mend"] and "C1" in refused.json["value"]
    assert taken(run_habmap("bite", "--acres", "1", "--hand-only", "--json", place=folder)) is not None


def test_a_caution_that_a_line_of_today_said_in_full_is_one_sentence_after(run_habmap: Run, tmp_path: Path) -> None:
    folder = make_place(run_habmap, tmp_path / "place", [("C1", square(0), {}), ("C2", square(1), {})])
    asks = (("rank",), ("bite", "--acres", "1"), ("effort",), ("week",))
    for words in asks:
        assert SAW_CAUTION in " ".join(run_habmap(*words, place=folder).out.split())
    logged = run_habmap("log", "cut", "--unit", "C2", "--whole", "--date", "today", place=folder)
    assert logged.code == 0 and SAW_CAUTION in logged.err + logged.out
    assert run_habmap("log", "burn", "--unit", "C2", "--whole", "--date", "today", place=folder).code == 0
    for words in asks:
        told = " ".join(run_habmap(*words, place=folder).out.split())
        assert SAW_CAUTION not in told
        assert "Chain saws and falling trees maim and kill. (In full today with line 1.)" in told
    assert SAW_CAUTION in run_habmap("bite", "--acres", "1", "--json", place=folder).json["cautions"]
    assert FIRE_CAUTION in run_habmap("due", place=folder).out  # said today with the fire's line, and whole again
