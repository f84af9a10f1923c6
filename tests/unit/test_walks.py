"""Walk files, whole and broken, as readers meet them."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from walk_makers import SQUARE, segment, walk, write_gpx

from habmap.errors import InputError, InputErrors
from habmap.place.walks import read_walk, read_walks

FIXES = [(-98.001, 38.001), (-98.002, 38.001), (-98.002, 38.002), (-98.001, 38.002)]
STAMPS = [f"2026-03-14T15:0{i}:00Z" for i in range(4)]
START_S = datetime(2026, 3, 14, 15, tzinfo=UTC).timestamp()

KML_LINE = """<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><LineString>
<coordinates>{}</coordinates></LineString></Placemark></Document></kml>"""
KML_TRACK = """<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"
 xmlns:gx="http://www.google.com/kml/ext/2.2"><Placemark><gx:Track>{}</gx:Track></Placemark></kml>"""


def gpx(points: str, *, head: str = "", kind: str = "trk") -> str:
    inner = f"<trk><trkseg>{points}</trkseg></trk>" if kind == "trk" else f"<rte>{points}</rte>"
    return (
        f'<?xml version="1.0"?>{head}<gpx version="1.1" creator="a test" '
        f'xmlns="http://www.topografix.com/GPX/1/1">{inner}</gpx>'
    )


def point(lat: object, lon: object, time: str = "") -> str:
    return f'<trkpt lat="{lat}" lon="{lon}">{f"<time>{time}</time>" if time else ""}</trkpt>'


GOOD = "".join(point(lat, lon, stamp) for (lon, lat), stamp in zip(FIXES, STAMPS, strict=True))


def saved(folder: Path, text: str | bytes, name: str = "walk.gpx") -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


@pytest.mark.parametrize("version", ["1.0", "1.1"])
def test_gpx_of_both_versions_with_several_segments(tmp_path: Path, version: str) -> None:
    xy, times = walk(SQUARE)
    written = [segment(xy[:40], times[:40]), segment(xy[40:])]
    read = read_walk(write_gpx(tmp_path / "walk.gpx", *written, version=version))
    assert len(read) == 2
    for one, other in zip(written, read, strict=True):
        assert other.lonlat == pytest.approx(one.lonlat, abs=1e-9)
        np.testing.assert_array_equal(other.time_s, one.time_s)
    assert "segment 2" in read[1].where


@pytest.mark.parametrize(
    ("stamp", "seconds"),
    [
        ("2026-03-14T15:00:00Z", 0),
        ("2026-03-14T15:00:00", 0),
        ("2026-03-14T10:00:00-05:00", 0),
        ("2026-03-14T15:00:00.250Z", 0.25),
    ],
)
def test_times_are_utc(tmp_path: Path, stamp: str, seconds: float) -> None:
    [read] = read_walk(saved(tmp_path, gpx(point(38, -98, stamp))))
    assert read.time_s[0] == START_S + seconds


def test_a_gpx_time_that_is_none_leaves_its_fix_without_one(tmp_path: Path) -> None:
    [read] = read_walk(saved(tmp_path, gpx(GOOD + point(38, -98, "yesterday"))))
    assert np.isnan(read.time_s).tolist() == [False] * 4 + [True]


def test_a_route_is_read_where_there_is_no_track(tmp_path: Path) -> None:
    points = "".join(f'<rtept lat="{lat}" lon="{lon}"/>' for lon, lat in FIXES)
    [read] = read_walk(saved(tmp_path, gpx(points, kind="rte")))
    np.testing.assert_array_equal(read.lonlat, FIXES)
    assert np.isnan(read.time_s).all()


def test_letters_and_byte_marks(tmp_path: Path) -> None:
    text = gpx(GOOD)
    named = text.replace("<trk>", "<trk><name>Süd\x0bhang</name>".replace("\x0b", ""))
    for data in (
        text.encode("utf-8-sig"),
        named.replace('version="1.0"?', 'version="1.0" encoding="UTF-16"?').encode("utf-16"),
        named.replace('version="1.0"?', 'version="1.0" encoding="ISO-8859-1"?').encode("latin-1"),
    ):
        [read] = read_walk(saved(tmp_path, data))
        np.testing.assert_array_equal(read.lonlat, FIXES)


def test_kml_line_and_track(tmp_path: Path) -> None:
    words = " ".join(f"{lon},{lat},410" for lon, lat in FIXES)
    [line] = read_walk(saved(tmp_path, KML_LINE.format(words), "walk.kml"))
    np.testing.assert_array_equal(line.lonlat, FIXES)
    inner = "".join(f"<when>{stamp}</when>" for stamp in STAMPS)
    inner += "".join(f"<gx:coord>{lon} {lat} 410</gx:coord>" for lon, lat in FIXES)
    [track] = read_walk(saved(tmp_path, KML_TRACK.format(inner), "walk.kml"))
    np.testing.assert_array_equal(track.lonlat, FIXES)
    np.testing.assert_array_equal(track.time_s, START_S + 60 * np.arange(4))


@pytest.mark.parametrize("holder", ["coordTimes", "times", "coordinateProperties"])
def test_geojson_lines_with_times(tmp_path: Path, holder: str) -> None:
    properties = {holder: {"times": STAMPS}} if holder == "coordinateProperties" else {holder: STAMPS}
    feature = {
        "type": "Feature",
        "properties": properties,
        "geometry": {"type": "LineString", "coordinates": [[*fix, 410.0] for fix in FIXES]},
    }
    document = {"type": "FeatureCollection", "features": [feature]}
    [read] = read_walk(saved(tmp_path, json.dumps(document), "walk.geojson"))
    np.testing.assert_array_equal(read.lonlat, FIXES)
    np.testing.assert_array_equal(read.time_s, START_S + 60 * np.arange(4))


def test_geojson_many_lines_without_times(tmp_path: Path) -> None:
    geometry = {"type": "MultiLineString", "coordinates": [FIXES[:2], FIXES[2:]]}
    read = read_walk(saved(tmp_path, json.dumps(geometry), "walk.json"))
    assert [one.lonlat.tolist() for one in read] == [[list(fix) for fix in FIXES[i : i + 2]] for i in (0, 2)]
    assert all(np.isnan(one.time_s).all() for one in read)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        (gpx(GOOD)[:-40], "cut short"),
        (gpx(GOOD)[: len(gpx(GOOD)) // 2], "cut short"),
        (gpx(GOOD, head='<!DOCTYPE gpx [<!ENTITY a "b">]>'), "DOCTYPE"),
        (gpx(GOOD, head='<!DOCTYPE gpx SYSTEM "file:///nowhere">'), "DOCTYPE"),
        (KML_LINE.format("1,2").replace('<?xml version="1.0"?>', '<?xml version="1.0"?><!DOCTYPE kml>'), "DOCTYPE"),
        (gpx(""), "no track"),
        ("<kml><gx:Track/></kml>", "not valid KML"),
        ('<?xml version="1.0"?><html/>', "not a GPX"),
        ("lat,lon\n38,-98\n", "cut short or damaged"),
        ('{"type": "LineString", "coordinates": [[-98, 38], [-98', "cut short"),
        ('{"type": "LineString", "coordinates": [[NaN, 38], [-98, 38]]}', "cut short or damaged"),
        ('{"type": "Point", "coordinates": [-98, 38]}', "no track"),
        ("[1, 2]", "no track"),
        (
            '{"type": "LineString", "coordinates": [[500000, 4200000], [1, 2]], "crs": {"type": "name", "properties": '
            '{"name": "urn:ogc:def:crs:EPSG::32614"}}}',
            "not WGS 84",
        ),
        (b"\x00\x01\x02\xff" * 40, "cut short or damaged"),
    ],
)
def test_broken_files_are_refused(tmp_path: Path, text: str | bytes, words: str) -> None:
    with pytest.raises(InputError, match=words) as refused:
        read_walk(saved(tmp_path, text))
    assert "walk.gpx" in str(refused.value.where)


def test_an_entity_bomb_is_refused_before_it_is_expanded(tmp_path: Path) -> None:
    bomb = '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">' + "".join(
        f'<!ENTITY {chr(98 + i)} "{10 * f"&{chr(97 + i)};"}">' for i in range(12)
    )
    with pytest.raises(InputError, match="DOCTYPE"):
        read_walk(saved(tmp_path, gpx(GOOD.replace("38.001", "&m;", 1), head=bomb + "]>")))


@pytest.mark.parametrize(
    ("lat", "lon", "name"),
    [("91", "-98", "latitude"), ("38", "181", "longitude"), ("nan", "-98", "latitude"), ("38", "inf", "longitude")],
)
def test_places_off_the_earth_are_refused(tmp_path: Path, lat: str, lon: str, name: str) -> None:
    with pytest.raises(InputErrors) as refused:
        read_walk(saved(tmp_path, gpx(GOOD + point(lat, lon))))
    [fault] = refused.value.faults
    assert name in fault.what
    assert "fix 5" in str(fault.where)


@pytest.mark.parametrize("broken", ['<trkpt lat="38"/>', '<trkpt lat="north" lon="-98"/>', '<trkpt lat="" lon=""/>'])
def test_a_fix_without_numbers_is_refused(tmp_path: Path, broken: str) -> None:
    with pytest.raises(InputError):
        read_walk(saved(tmp_path, gpx(GOOD + broken)))


def test_every_fault_is_listed_and_many_are_counted(tmp_path: Path) -> None:
    with pytest.raises(InputErrors) as refused:
        read_walk(saved(tmp_path, gpx(point(95, -98) + GOOD + point(38, 999))))
    assert len(refused.value.faults) == 2
    with pytest.raises(InputErrors) as many:
        read_walk(saved(tmp_path, gpx(point(95, -98) * 300)))
    assert len(many.value.faults) == 21
    assert "280 more" in str(many.value)


def test_times_that_do_not_match_the_places_are_refused(tmp_path: Path) -> None:
    inner = f"<when>{STAMPS[0]}</when>" + "".join(f"<gx:coord>{lon} {lat} 0</gx:coord>" for lon, lat in FIXES)
    with pytest.raises(InputError, match="1 times, 4 places"):
        _raise_first(tmp_path, KML_TRACK.format(inner))
    feature = {"type": "Feature", "properties": {"coordTimes": STAMPS[:3]}, "geometry": None}
    feature["geometry"] = {"type": "LineString", "coordinates": FIXES}
    with pytest.raises(InputError, match="3 times, 4 places"):
        _raise_first(tmp_path, json.dumps(feature))
    feature["properties"] = {"coordTimes": [*STAMPS[:3], "noon"]}
    with pytest.raises(InputError, match="noon"):
        _raise_first(tmp_path, json.dumps(feature))


def _raise_first(folder: Path, text: str) -> None:
    """Read a broken file and raise its first fault with the value in its words."""
    try:
        read_walk(saved(folder, text))
    except InputErrors as error:
        raise InputError(str(error.faults[0]), where="there", mend="mend it") from error


def test_a_missing_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_walks([tmp_path / "none.gpx"])
    with pytest.raises(InputError, match="folder, not a file"):
        read_walks([tmp_path])


def test_several_files_are_one_walk_in_the_order_of_the_files(tmp_path: Path) -> None:
    one = saved(tmp_path, gpx(GOOD), "one.gpx")
    two = saved(tmp_path, gpx(GOOD.replace("15:00:00", "14:00:00")), "two.gpx")
    assert [part.where.partition(",")[0] for part in read_walks([two, one, two])] == ["two.gpx", "one.gpx", "two.gpx"]
    assert read_walks([]) == ()


def test_parts_without_a_fix_are_no_parts(tmp_path: Path) -> None:
    empty = gpx(GOOD).replace("<trkseg>", "<trkseg></trkseg><trkseg>", 1)
    (part,) = read_walk(saved(tmp_path, empty))
    assert len(part.lonlat) == 4 and "segment 2" in part.where
    with pytest.raises(InputError, match="no track in this file"):
        read_walk(saved(tmp_path, gpx("")))


def fault_of(path: Path) -> tuple[object, str, object]:
    """Return the one fault of a file: what, where within it, and the value."""
    with pytest.raises(InputErrors) as refused:
        read_walk(path)
    (fault,) = refused.value.faults
    return fault.what, str(fault.where).removeprefix(f"{path}, "), fault.value


def test_faults_of_times_and_lines_name_the_fix_by_its_number(tmp_path: Path) -> None:
    stamps = [*STAMPS[:2], "noon", STAMPS[3]]
    line = {"type": "Feature", "properties": {"coordTimes": stamps},
            "geometry": {"type": "LineString", "coordinates": FIXES}}  # fmt: skip
    assert fault_of(saved(tmp_path, json.dumps(line))) == ("this is not a time", "line 1, fix 3", "noon")
    whens = "".join(f"<when>{one}</when>" for one in stamps)
    coords = "".join(f"<gx:coord>{lon} {lat} 0</gx:coord>" for lon, lat in FIXES)
    assert fault_of(saved(tmp_path, KML_TRACK.format(whens + coords))) == (
        "this is not a time",
        "track 1, fix 3",
        "noon",
    )
    many = {"type": "MultiLineString", "coordinates": [FIXES, "no list", FIXES]}
    assert fault_of(saved(tmp_path, json.dumps(many))) == ("a line has no list of places", "line 2", "no list")
