"""GPX for a handheld, read back by GDAL and by its order of elements: no scraps, all spots, nothing private.

Acres are by hand: squares of 100 m, cut by strips.
"""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pyogrio
import pytest
import shapely
from fakes import GRID
from photo_makers import write_photo
from shapely.geometry import mapping
from small_places import make_place, square

ACRE_M2 = 4046.8564224
NS = "{http://www.topografix.com/GPX/1/1}"
#: The order of a waypoint's elements in the GPX 1.1 schema (from memory; those that habmap could write).
ORDER = ["ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym", "type"]


def patch(path: Path, *shapes: shapely.Polygon) -> str:
    whole = GRID.to_lonlat(shapely.MultiPolygon(shapes))
    path.write_text(json.dumps({"type": "Feature", "properties": {}, "geometry": mapping(whole)}), encoding="utf-8")
    return str(path)


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory, run_habmap: Callable[..., Any]) -> Path:
    top = tmp_path_factory.mktemp("handheld")
    folder = make_place(run_habmap, top / "place", [("C1", square(0), {}), ("C2", square(2), {})])

    def ok(*command: str) -> None:
        done = run_habmap(*command, place=folder)
        assert done.code == 0, done.err

    # C1: what is left is 40 m by 100 m with a gap of 5 m by 5 m worked and one of 4 m by 4 m left on purpose, and two
    # scraps, 10 m by 10 m and 2 m by 100 m.
    scraps = shapely.union_all([shapely.box(50, 40, 60, 50), shapely.box(98, 0, 100, 100)])
    worked = shapely.union(shapely.box(40, 0, 100, 100).difference(scraps), shapely.box(10, 10, 15, 15))
    ok("log", "cut", "--date", "2025-11-03", "--patch", patch(top / "cut.json", *shapely.get_parts(worked)))
    ok("log", "keep", "--date", "2025-11-04", "--patch", patch(top / "keep.json", shapely.box(20, 70, 24, 74)))
    plots = top / "plots.csv"
    spots = [GRID.to_lonlat(shapely.Point(x, 50)) for x in (20, 80, 250)]
    rows = [f"Q{n},{spot.x},{spot.y},fixed,0.05,4,2025-09-01" for n, spot in enumerate(spots, 1)]
    plots.write_text("\n".join(["plot_id,lon,lat,method,plot_acres,stems,date", *rows, ""]), encoding="utf-8")
    ok("load", "plots", str(plots))
    seen = GRID.to_lonlat(shapely.Point(0, 50))
    write_photo(top / "photos" / "a.jpg", seen.y, seen.x, 90.0, "2025:06:01 09:00:00", color="#336633")
    ok("load", "photos", str(top / "photos"))
    return folder


def waypoints(path: Path) -> list[ET.Element]:
    found = ET.parse(path).getroot().findall(f"{NS}wpt")
    for one in found:
        order = [ORDER.index(part.tag.removeprefix(NS)) for part in one]
        assert order == sorted(order) and -90 <= float(one.attrib["lat"]) <= 90
    return found


def test_remaining_ground_has_no_scraps_and_says_what_they_add_up_to(
    run_habmap: Callable[..., Any], place: Path, tmp_path: Path
) -> None:
    out = tmp_path / "left.gpx"
    told = run_habmap("export", "gpx", "-o", out, place=place)
    assert told.code == 0, told.err
    # 100 m² and 200 m²: 0.07 acres together
    assert "Left out: C1: 2 parts of the ground that remains, 0.07 acres together, are too small" in told.out
    tracks = pyogrio.read_dataframe(out, layer="tracks")
    assert list(tracks["name"]) == ["C1", "C1 left", "C2", "C2 left"]
    (left,) = tracks[tracks["name"] == "C1 left"].geometry
    rings = sorted((shapely.Polygon(part.coords) for part in shapely.get_parts(left)), key=shapely.area, reverse=True)
    areas = [GRID.to_grid(ring).area for ring in rings]
    # the whole part, and the gap left on purpose; the gap that was worked is too small to show
    assert areas == pytest.approx([4000, 16], rel=1e-3)
    # the acres told are all that remains: 4000 − 25 − 16 + 300 m²
    (comment,) = tracks[tracks["name"] == "C1 left"]["cmt"]
    assert f"{4259 / ACRE_M2:.1f} acres remain" in comment
    figures = run_habmap("export", "gpx", "-o", out, "--overwrite", "--json", place=place).json
    assert (figures["scraps"], figures["rows"], figures["waypoints"]) == (2, 4, 4)
    assert figures["scrap_acres"] == pytest.approx(300 / ACRE_M2, rel=1e-4)


def test_an_outside_reader_counts_the_same_outlines_and_spots(
    run_habmap: Callable[..., Any], place: Path, tmp_path: Path
) -> None:
    out = tmp_path / "all.gpx"
    figures = run_habmap("export", "gpx", "-o", out, "--json", place=place).json
    info = pyogrio.read_info(out, layer="tracks", force_feature_count=True)  # the driver counts only when told to
    assert info["features"] == len(ET.parse(out).getroot().findall(f"{NS}trk")) == figures["rows"]
    spots = pyogrio.read_dataframe(out, layer="waypoints")
    assert len(spots) == len(waypoints(out)) == figures["waypoints"]
    assert set(spots["name"]) == {"P1 C1 090T", "Q1 C1", "Q2 C1", "Q3 C2"}
    q3 = GRID.to_grid(spots[spots["name"] == "Q3 C2"].geometry.iloc[0])
    assert (q3.x, q3.y) == pytest.approx((250, 50), abs=0.01)


KML = (
    '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><Schema name="s" id="s">'
    '<SimpleField name="kind" type="string"/></Schema>{}</Document></kml>'
)
MARK = (
    '<Placemark><name>{0}</name><ExtendedData><SchemaData schemaUrl="#s"><SimpleData name="kind">well</SimpleData>'
    "</SchemaData></ExtendedData><Point><coordinates>-98.0{0},38.0{0}</coordinates></Point></Placemark>"
)
GPX = '<?xml version="1.0"?><gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="t">{}</gpx>'
WPT = '<wpt lat="38.0{0}" lon="-98.0{0}"><name>{0}</name><type>well</type></wpt>'


@pytest.mark.parametrize(
    ("suffix", "whole", "one", "kind", "counted"),
    [("kml", KML, MARK, "kind", "{http://www.opengis.net/kml/2.2}Placemark"), ("gpx", GPX, WPT, "type", f"{NS}wpt")],
)
def test_as_many_marks_come_in_as_an_xml_reader_counts(
    run_habmap: Callable[..., Any], tmp_path: Path, suffix: str, whole: str, one: str, kind: str, counted: str
) -> None:
    # GDAL's drivers for these two count no features by themselves, so that its count proves nothing
    place = make_place(run_habmap, tmp_path / "place", [("C1", square(0), {})])
    path = tmp_path / f"marks.{suffix}"
    path.write_text(whole.format("".join(one.format(number) for number in range(11, 48))), encoding="utf-8")
    more = ["--layer", "waypoints"] if suffix == "gpx" else []
    loaded = run_habmap("load", "features", path, "--map", f"kind={kind}", *more, "--json", place=place)
    assert loaded.code == 0, loaded.err
    assert loaded.json["loaded"] == sum(1 for _ in ET.parse(path).iter(counted)) == 37


def test_spots_due_again_are_waypoints_with_direction_and_why(
    run_habmap: Callable[..., Any], place: Path, tmp_path: Path
) -> None:
    out = tmp_path / "again.gpx"
    told = run_habmap("export", "revisits", "-o", out, "--on", "2025-12-01", place=place)
    assert told.code == 0, told.err
    # The cut of Nov 3 lies in the photo's view and over Q2; Q1 stands on live cedars, Q3 in the other unit.
    assert "2 spots due again on 2025-12-01 (1 photo point, 1 plot)" in told.out
    spots = pyogrio.read_dataframe(out, layer="waypoints")
    assert list(spots["name"]) == ["P1 C1 090T", "Q2 C1"] and list(spots["type"]) == ["photo point", "plot"]
    assert (
        "Look 090° true (east)" in spots["desc"][0]
        and "Due since the work in its view on Nov 3, 2025" in spots["desc"][0]
    )
    assert len(waypoints(out)) == 2
    later = run_habmap("export", "revisits", "-o", out, "--on", "2028-08-31", "--overwrite", "--json", place=place).json
    assert later["rows"] == 4  # September 1, 2025 and 1095 days are August 31, 2028
    before = run_habmap("export", "revisits", "-o", out, "--on", "2028-08-30", "--overwrite", "--json", place=place)
    assert before.json["rows"] == 2
    refused = run_habmap("export", "revisits", "-o", out, place=place)
    assert refused.code == 3 and "--overwrite" in refused.err
    assert run_habmap("export", "revisits", "-o", tmp_path / "a.csv", place=place).code == 2
