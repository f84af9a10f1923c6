"""``start``, ``log``, ``void``, ``amend`` and ``check`` from outside: words, figures, exit codes, nothing changed."""

from __future__ import annotations

import itertools
import json
import math
import sqlite3
import tomllib
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from shapely import MultiPolygon, box, to_geojson

from habmap.place.store import GeoPackageStore
from habmap.records import ElevationSource, Entry, Unit

Run = Callable[..., Any]
MOMENT = datetime(2026, 1, 1, tzinfo=UTC)
#: Two neighbors of 0.002° by 0.002°, and a grass unit apart from them.
OUTLINES = {
    "C1": box(-97.100, 36.100, -97.098, 36.102),
    "C2": box(-97.098, 36.100, -97.096, 36.102),
    "G1": box(-97.090, 36.100, -97.088, 36.102),
}


def acres_of_box(west: float, south: float, east: float, north: float) -> float:
    """Area of a lon/lat box on the WGS 84 ellipsoid [acre], by the authalic latitude in closed form.

    Snyder 1987, USGS Professional Paper 1395, equation 3-12 (number from memory): the area from the equator to a
    parallel. International acre of 4046.8564224 m². Meridians and parallels bound it; our straight edges leave a
    sagitta of parts in 1e7.
    """
    a, f = 6378137.0, 1 / 298.257223563
    e = math.sqrt(f * (2 - f))

    def q(lat: float) -> float:
        s = math.sin(math.radians(lat))
        return (1 - e * e) * (s / (1 - e * e * s * s) + math.atanh(e * s) / e)

    return a * a / 2 * math.radians(east - west) * (q(north) - q(south)) / 4046.8564224


@pytest.fixture
def place(tmp_path: Path) -> Path:
    folder = tmp_path / "place"
    store = GeoPackageStore.create(folder, "Test place")
    covers = {"C1": "cedar", "C2": "mixed", "G1": "grass"}
    store.append(
        [
            Unit(
                uuid=f"u-{label}",
                unit_id=label,
                name=label,
                cover=covers[label],
                geometry=MultiPolygon([outline]),
                recorded_at=MOMENT,
            )
            for label, outline in OUTLINES.items()
        ]
    )
    return folder


@pytest.fixture
def half_patch(tmp_path: Path) -> Path:
    """The east half of C1 and the west half of C2, and as much again north of both, in no unit."""
    path = tmp_path / "patch.geojson"
    path.write_text(to_geojson(box(-97.099, 36.100, -97.097, 36.104)))
    return path


def entries(place: Path) -> tuple[Entry, ...]:
    return GeoPackageStore.open(place).entries()


# --- start --------------------------------------------------------------------------------------------------


def test_start_makes_a_commented_place(run_habmap: Run, tmp_path: Path) -> None:
    outline = tmp_path / "line.geojson"
    outline.write_text(to_geojson(box(-97.1, 36.1, -97.09, 36.11)))
    name = 'Öl & "Söhne" <b>'
    folder = tmp_path / "deep" / "er" / "place"
    done = run_habmap("start", folder, "--name", name, "--boundary", outline, "--timezone", "America/Denver", "--json")
    assert done.code == 0, done.err
    assert done.json["schema"] == "habmap/start/1"
    # 1e-6: the edges are straight on the grid, along parallels on the ellipsoid.
    assert done.json["boundary_acres"] == pytest.approx(acres_of_box(-97.1, 36.1, -97.09, 36.11), rel=1e-6)
    assert sorted(path.name for path in folder.iterdir()) == ["habmap.toml", "out", "photos", "place.gpkg", "tracks"]
    text = (folder / "habmap.toml").read_text(encoding="utf-8")
    document = tomllib.loads(text)
    assert document["place"]["name"] == name
    assert document["place"]["timezone"] == "America/Denver"
    assert text.count("#") > 10
    store = GeoPackageStore.open(folder)
    assert store.grid is not None
    assert (store.grid.lat, store.grid.lon) == (36.11, -97.1)  # round numbers

    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    again = run_habmap("start", folder, "--name", "other", "--json")
    assert again.code == 3
    assert again.json["schema"] == "habmap/error/1"
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["--name", "x", "--boundary", "nowhere.gpkg"], 3),
        (["--name", "x", "--timezone", "Mars/Base"], 2),
        (["--name", "  "], 2),
        ([], 2),
    ],
)
def test_start_leaves_nothing_behind(run_habmap: Run, tmp_path: Path, arguments: list[str], code: int) -> None:
    done = run_habmap("start", "new/place", *arguments, cwd=tmp_path)
    assert done.code == code, done.err
    assert "Traceback" not in done.err
    assert list(tmp_path.iterdir()) == []


def test_start_in_a_folder_with_other_things(run_habmap: Run, tmp_path: Path) -> None:
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "cow.jpg").write_bytes(b"moo")
    assert run_habmap("start", tmp_path, "--name", "x").code == 0
    assert (tmp_path / "photos" / "cow.jpg").read_bytes() == b"moo"
    assert GeoPackageStore.open(tmp_path).entries() == ()
    (tmp_path / "file").write_text("not a folder")
    assert run_habmap("start", tmp_path / "file", "--name", "x").code == 3


# --- log ----------------------------------------------------------------------------------------------------


def test_log_a_whole_unit(run_habmap: Run, place: Path) -> None:
    done = run_habmap(
        "log", "cut", "--date", "2026-02-01", "--unit", "C1", "--whole", "--who", "Ana", "--json", place=place
    )
    assert done.code == 0, done.err
    result = done.json
    assert result["schema"] == "habmap/log/1"
    expected_acres = acres_of_box(*OUTLINES["C1"].bounds)
    assert result["acres"] == pytest.approx(expected_acres, rel=1e-6)
    assert result["units"] == [{"unit_id": "C1", "acres": pytest.approx(result["acres"], rel=1e-12)}]
    assert result["outside_acres"] == pytest.approx(0, abs=1e-9)
    assert any("saw" in words.lower() for words in result["cautions"])
    (row,) = entries(place)
    assert row.patch == MultiPolygon([OUTLINES["C1"]])
    assert (row.entry_id, row.who, row.unit_ids, row.date) == (result["entry_id"], "Ana", ("C1",), date(2026, 2, 1))


def test_log_a_patch_over_two_units_and_outside(run_habmap: Run, place: Path, half_patch: Path) -> None:
    done = run_habmap("log", "spray", "--date", "2026-02-01", "--patch", half_patch, "--killed-pct", 60,
                      "--product", "as on the label", "--rate", "2 qt/ac", "--json", place=place)  # fmt: skip
    assert done.code == 0, done.err
    result = done.json
    half_acres = acres_of_box(-97.099, 36.100, -97.098, 36.102)
    assert [share["unit_id"] for share in result["units"]] == ["C1", "C2"]
    assert [share["acres"] for share in result["units"]] == pytest.approx([half_acres, half_acres], rel=1e-6)
    assert result["outside_acres"] == pytest.approx(acres_of_box(-97.099, 36.102, -97.097, 36.104), rel=1e-6)
    assert any("outside every unit" in words for words in result["warnings"])
    assert any("label" in words for words in result["cautions"])
    (row,) = entries(place)
    assert (row.killed_pct, row.product, row.product_rate) == (60, "as on the label", "2 qt/ac")


def test_log_words_first_and_twins_warn(run_habmap: Run, place: Path) -> None:
    # Both units: one by repetition, one by semicolon.
    first = run_habmap("log", "burn", "--date", "2026-02-01", "--unit", "C1", "--unit", "C2;C1", "--whole", place=place)
    assert first.code == 0, first.err
    assert first.out.startswith("Logged ") and "burned, 2026-02-01, 19.75 acres" in first.out
    assert "burn boss" in first.err and "already logged" not in first.err
    second = run_habmap("log", "burn", "--date", "2026-02-01", "--unit", "C1;C2", "--whole", place=place)
    assert second.code == 0
    assert "already logged" in second.err
    assert len(entries(place)) == 2
    tomorrow = run_habmap("log", "mow", "--date", "2999-01-01", "--unit", "C1", "--whole", place=place)
    assert tomorrow.code == 0
    assert "after today" in tomorrow.err


def test_log_points_out_holds_contract_days_and_redrawn_units(run_habmap: Run, place: Path) -> None:
    redrawn = Unit(
        uuid="u-C1-new",
        unit_id="C1",
        name="C1",
        cover="cedar",
        geometry=MultiPolygon([box(-97.101, 36.100, -97.098, 36.102)]),
        valid_from=date(2026, 2, 1),
        replaces=("u-C1",),
        recorded_at=MOMENT,
    )
    GeoPackageStore.open(place).append([redrawn])
    with (place / "habmap.toml").open("a", encoding="utf-8") as stream:
        stream.write(
            '[[contract]]\nprogram = "Test"\nitem = "1"\npractice_code = "314"\nunits = ["C1"]\n'
            'not_before = 2026-01-15\n[[hold]]\nunit = "C1"\nreason = "nest"\nto = 2026-01-20\n'
        )
    words = ["log", "cut", "--unit", "C1", "--whole", "--json", "--date"]
    early = " / ".join(run_habmap(*words, "2026-01-14", place=place).json["warnings"])
    assert "on hold" in early and "2026-01-15" in early and "drawn otherwise" in early
    late = run_habmap(*words, "2026-02-01", place=place).json
    assert late["warnings"] == []
    assert late["acres"] == pytest.approx(acres_of_box(-97.101, 36.100, -97.098, 36.102), rel=1e-6)


def test_reported_acres_far_from_the_ground_need_a_yes(run_habmap: Run, place: Path) -> None:
    words = ["log", "cut", "--date", "2026-02-01", "--unit", "C1", "--whole"]
    refused = run_habmap(*words, "--reported-acres", 7, "--json", place=place)
    assert refused.code == 3
    assert "7.00" in refused.json["what"] and "9.88" in refused.json["what"]
    assert entries(place) == ()
    taken = run_habmap(*words, "--reported-acres", 7, "--yes", "--json", place=place)
    assert taken.code == 0
    assert any("7.00" in text for text in taken.json["warnings"])
    near = run_habmap(*words, "--reported-acres", 9, "--json", place=place)  # within a tenth
    assert near.code == 0
    assert [row.reported_acres for row in entries(place)] == [7, 9]
    # a figure that was agreed to once is not asked for again by a correction of something else
    amend = ("correct", taken.json["entry_id"], "--why", "slip", "--json")
    assert run_habmap(*amend, "--person-hours", 4, place=place).code == 0
    assert run_habmap(*amend, "--reported-acres", 6, place=place).code == 3
    assert [row.reported_acres for row in entries(place)] == [7, 9, 7]


def test_log_a_look(run_habmap: Run, place: Path) -> None:
    done = run_habmap("log", "checkup", "--date", "2026-02-01", "--unit", "C1", "--whole", "--live-stems-per-acre", 40,
                      "--tallest-ft", 2.5, "--seedlings-per-acre", 0, "--needles", "red", "--fuel-lb-ac", 3000,
                      "--sprouts", "elm=3, osage orange=12", "--no-stump-treated", "--json", place=place)  # fmt: skip
    assert done.code == 0, done.err
    look = entries(place)[0].look
    assert look is not None
    assert (look.live_stems_per_acre, look.tallest_ft, look.seedlings_per_acre) == (40, 2.5, 0)
    assert (look.needles, look.fuel_lb_ac, look.stump_treated) == ("red", 3000, False)
    assert look.sprouts == (("elm", 3), ("osage orange", 12))


@pytest.mark.parametrize(
    ("words", "code", "named"),
    [
        ("log zap --date 2026-01-01 --unit C1 --whole", 2, "mulch"),
        ("log cut --date 2026-01-01 --unit C1", 2, "--whole"),
        ("log cut --date 2026-01-01 --whole", 2, "--unit"),
        ("log cut --date 2026-01-01", 2, "--patch"),
        ("log cut --date 2026-01-01 --unit C1 --whole --patch x.gpkg", 2, "two sources"),
        ("log cut --date 2026-02-30 --unit C1 --whole", 2, "YYYY-MM-DD"),
        ("log girdle --date 2026-01-01 --unit C1 --whole", 2, "--killed-pct"),
        ("log cut --date 2026-01-01 --unit C1 --whole --killed-pct 101", 2, "0 to 100"),
        ("log cut --date 2026-01-01 --unit C1 --whole --cost inf", 2, "--cost"),
        ("log cut --date 2026-01-01 --unit C9 --whole", 3, "C1, C2, G1"),
        ("log cut --date 2026-01-01 --patch nowhere.geojson", 3, "nowhere.geojson"),
        ("void abcd --why because", 3, "history"),
        ("correct abcd --why because", 2, "fields"),
        ("correct abcd --cost 3", 2, "--why"),
    ],
)
def test_refusals_change_nothing(run_habmap: Run, place: Path, words: str, code: int, named: str) -> None:
    before = (place / "place.gpkg").read_bytes()
    done = run_habmap(*words.split(), "--json", place=place)
    assert done.code == code, done.out + done.err
    fault = done.json
    assert fault["schema"] == "habmap/error/1"
    assert named in json.dumps(fault)
    assert (place / "place.gpkg").read_bytes() == before


# --- void and amend -----------------------------------------------------------------------------------------


def test_amend_then_void_keeps_every_row(run_habmap: Run, place: Path, half_patch: Path) -> None:
    store = GeoPackageStore.open(place)
    ground = MultiPolygon([OUTLINES["C1"]])
    first, other = (
        Entry(
            entry_id=entry_id,
            recorded_at=MOMENT,
            practice="cut",
            date=date(2026, 1, 1),
            patch=ground,
            unit_ids=("C1",),
            person_hours=4,
            who="Ana",
            source_id=source_id,
        )
        for entry_id, source_id in (("abcd1111-x", "row 7"), ("abcd2222-y", None))
    )
    store.append([first, other])
    several = run_habmap("correct", "abcd", "--why", "x", "--cost", 3, "--json", place=place)
    assert several.code == 3
    assert "abcd2222-y" in several.json["allowed"]

    hours = run_habmap("correct", "row 7", "--why", "wrong hours", "--person-hours", 6, "--json", place=place)
    assert hours.code == 0, hours.out
    right = ["--patch", half_patch, "--date", "2026-01-03"]
    where = run_habmap("correct", "abcd1111", "--why", "wrong ground", *right, "--json", place=place)
    assert where.code == 0, where.out
    rows = entries(place)
    assert rows[:2] == (first, other)
    assert [(row.action, row.target, row.why) for row in rows[2:]] == [
        ("amend", "abcd1111-x", "wrong hours"),
        ("amend", hours.json["entry_id"], "wrong ground"),
    ]
    newest = rows[-1]
    assert (newest.person_hours, newest.who, newest.date) == (6, "Ana", date(2026, 1, 3))
    assert newest.unit_ids == ()
    assert newest.patch is not None and newest.patch.bounds == (-97.099, 36.100, -97.097, 36.104)

    void = run_habmap("void", "row 7", "--why", "never was", "--who", "Ben", "--json", place=place)
    assert void.code == 0, void.out
    assert (void.json["target"], void.json["why"], void.json["who"]) == ("abcd1111-x", "never was", "Ben")
    assert run_habmap("void", "abcd1111", "--why", "again", place=place).code == 3
    assert run_habmap("correct", "abcd1111", "--why", "again", "--cost", "3", place=place).code == 3
    assert entries(place)[: len(rows)] == rows
    account = run_habmap("acres", "--json", place=place).json
    assert [line["entries"] for line in account["practices"]] == [1]


def test_amend_by_a_walk_carries_its_uncertainty(run_habmap: Run, repository: Path, tmp_path: Path) -> None:
    """The ground of a wrong line is replaced by the one walked around."""
    folder = tmp_path / "walked"
    assert run_habmap("start", folder, "--name", "x", "--boundary", tmp_path / "none.gpkg").code == 3
    assert run_habmap("start", folder, "--name", "x").code == 0
    fixes = [(0, 0), (0, 0.001), (0.001, 0.001), (0.001, 0), (0, 0.00005)]
    points = []
    for (lat_0, lon_0), (lat_1, lon_1) in itertools.pairwise(fixes):
        for step in range(10):
            lat, lon = lat_0 + (lat_1 - lat_0) * step / 10, lon_0 + (lon_1 - lon_0) * step / 10
            moment = MOMENT + timedelta(seconds=10 * len(points))
            points.append(
                f'<trkpt lat="{36 + lat:.8f}" lon="{-97 + lon:.8f}"><time>{moment:%Y-%m-%dT%H:%M:%SZ}</time></trkpt>'
            )
    gpx = tmp_path / "walk.gpx"
    gpx.write_text(
        '<?xml version="1.0"?><gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">'
        f"<trk><trkseg>{''.join(points)}</trkseg></trk></gpx>"
    )
    patch = tmp_path / "far.geojson"
    patch.write_text(to_geojson(box(-97.05, 36, -97.04, 36.01)))
    first = run_habmap("log", "cut", "--date", "2026-01-01", "--patch", patch, "--json", place=folder)
    assert first.code == 0, first.out
    entry_id = first.json["entry_id"]
    words = ["correct", entry_id[:8], "--why", "wrong ground", "--track", gpx, "--json"]
    assert run_habmap(*words, "--patch", patch, place=folder).code == 2
    done = run_habmap(*words, place=folder)
    assert done.code == 0, done.out
    # A square of 0.001 degrees walked in straight lines; the open end cuts off less than a hundredth.
    assert done.json["acres"] == pytest.approx(acres_of_box(-97, 36, -96.999, 36.001), rel=0.05)
    assert done.json["acres_sd"] > 0
    assert entries(folder)[-1].acres_sd == done.json["acres_sd"]


# --- check --------------------------------------------------------------------------------------------------


def test_check_finds_nothing_in_a_sound_place(run_habmap: Run, place: Path) -> None:
    assert run_habmap("log", "cut", "--date", "2026-02-01", "--unit", "C1", "--whole", place=place).code == 0
    done = run_habmap("check", "--json", place=place)
    assert done.code == 0, done.out
    assert done.json["faults"] == []
    assert {"overlap", "closure", "correction", "keep", "file"} <= set(done.json["rules"])


def test_check_lists_every_fault(run_habmap: Run, place: Path) -> None:
    store = GeoPackageStore.open(place)

    def unit(label: str, cover: str, *parts: Any) -> Unit:
        return Unit(
            uuid=f"bad {label} {cover}",
            unit_id=label,
            name="",
            cover=cover,
            geometry=MultiPolygon(parts),
            recorded_at=MOMENT,
        )

    def entry(entry_id: str, practice: str, ground: Any = OUTLINES["C1"], **fields: Any) -> Entry:
        content = {"date": date(2026, 1, 5), "recorded_at": MOMENT, "patch": ground and MultiPolygon([ground])} | fields
        return Entry(entry_id=entry_id, practice=practice, **content)

    bow_tie = ((-97.06, 36.1), (-97.05, 36.11), (-97.05, 36.1), (-97.06, 36.11), (-97.06, 36.1))
    store.append(
        [
            unit("C1", "cedar", box(-97.08, 36.10, -97.07, 36.11)),
            unit("B1", "lava", (bow_tie, [])),
            unit("O1", "cedar", box(-97.0895, 36.100, -97.087, 36.102)),
            entry("strange", "zap"),
            entry("no share", "spray"),
            entry("late", "cut", date=date(2999, 1, 1)),
            entry("outside", "cut", box(-97.2, 36.1, -97.19, 36.11)),
            entry("kept", "keep", OUTLINES["C2"], date=date(2026, 1, 1)),
            entry("on kept", "cut", OUTLINES["C2"]),
            entry("orphan", "cut", None, action="void", target="nobody", why="x"),
            ElevationSource(uuid="e", path="gone.tif", crs_wkt="EPSG:4326", vertical_unit="m", recorded_at=MOMENT),
        ]
    )
    connection = sqlite3.connect(place / "place.gpkg")
    connection.execute("DROP TRIGGER entries_no_update")
    connection.commit()
    connection.close()
    done = run_habmap("check", "--json", place=place)
    assert done.code == 1, done.err
    found = {(fault["rule"], fault["where"]) for fault in done.json["faults"]}
    assert all(fault["what"] and fault["mend"] for fault in done.json["faults"])
    assert found >= {
        ("file", "place.gpkg"),
        ("unit_id", "unit C1"),
        ("outline", "unit B1"),
        ("cover", "unit B1"),
        ("overlap", "units G1 and O1"),
        ("practice", "line strange"),
        ("practice", "line no share"),
        ("date", "line late"),
        ("patch", "line outside"),
        ("keep", "line on kept"),
        ("correction", "line nobody"),
        ("elevation", str(place / "gone.tif")),
    }
    words = run_habmap("check", place=place)
    assert words.code == 1
    assert "fix: " in words.out and "Traceback" not in words.err


def test_a_start_that_was_cut_short_says_what_is_there_and_how_to_go_on(run_habmap: Run, tmp_path: Path) -> None:
    folder = tmp_path / "place"
    assert run_habmap("start", folder, "--name", "Lark Hill").code == 0
    again = run_habmap("start", folder, "--name", "Lark Hill")
    assert again.code == 3
    assert "there is a property here already" in again.err
    (folder / "habmap.toml").unlink()
    kept = (folder / "place.gpkg").read_bytes()
    refused = run_habmap("start", folder, "--name", "Lark Hill")
    assert refused.code == 3
    assert "without its habmap.toml" in refused.err
    assert "move the file away" in refused.err
    assert (folder / "place.gpkg").read_bytes() == kept
    (folder / "place.gpkg").rename(tmp_path / "aside.gpkg")
    assert run_habmap("start", folder, "--name", "Lark Hill").code == 0
