"""`add photos` and `photos` as a person uses them: a folder from a phone, some of it unfit, and the pairs in it."""

from __future__ import annotations

import csv
import io
import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from fakes import GRID
from photo_makers import place_tags, plain_jpeg, tagged_jpeg, write_photo
from PIL import Image
from shapely import Point
from small_places import make_place, square

Run = Callable[..., Any]
WORDS_FOR_PLACING = "photos.csv"


def lonlat(x_m: float, y_m: float) -> tuple[float, float]:
    point = GRID.to_lonlat(Point(x_m, y_m))
    return point.x, point.y


@pytest.fixture(scope="module")
def fresh_place(run_habmap: Run, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_place(
        run_habmap,
        tmp_path_factory.mktemp("photos") / "small",
        [("A", square(0), {}), ("B", square(1), {})],
        entries="e1,2025-02-01,cut,A,100,,\ne2,2026-02-01,burn,B,0,,\n",
    )


@pytest.fixture
def place(fresh_place: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(fresh_place, tmp_path / "small"))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with a pair in A that looks east, and one photo in B, in a sub-folder."""
    at = tmp_path / "from phone"
    lon, lat = lonlat(50, 50)
    write_photo(at / "one.jpg", lat, lon, 90, "2025:01:10 09:00:00", color="#203010")
    lon, lat = lonlat(56, 52)
    write_photo(at / "two.JPG", lat, lon, 84.5, "2026:06:10 09:00:00", color="#a0a040")
    lon, lat = lonlat(150, 50)
    write_photo(at / "east" / "three.jpeg", lat, lon, 180, "2025:03:01 17:30:00", color="#405060")
    (at / "notes.txt").write_text("milk, chain oil", encoding="utf-8")
    return at


def rows(place: Path) -> list[sqlite3.Row]:
    with closing(sqlite3.connect(place / "place.gpkg")) as connection:
        connection.row_factory = sqlite3.Row
        return connection.execute("SELECT * FROM photos ORDER BY file_name").fetchall()


def test_a_folder_becomes_pairs(run_habmap: Run, place: Path, folder: Path) -> None:
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    done = run_habmap("load", "photos", folder, "--json", place=place)
    assert done.code == 0, done.err
    assert (done.json["schema"], done.json["loaded"], done.json["other_files"]) == ("habmap/load/1", 3, 1)
    assert {photo["file"]: photo["unit_id"] for photo in done.json["photos"]} == {
        "one.jpg": "A", "two.JPG": "A", "east/three.jpeg": "B",
    }  # fmt: skip
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before

    listed = run_habmap("photos", "--json", place=place).json
    assert (listed["schema"], listed["photos"], listed["pairs"]) == ("habmap/photos/1", 3, 1)
    pair, single = listed["points"]
    assert (pair["unit_id"], pair["before"], pair["after"]) == ("A", "2025-01-10", "2026-06-10")
    # a thousandth of a second of arc is 0.03 m
    assert pair["lon"] == pytest.approx(lonlat(50, 50)[0], abs=3e-7)
    assert pair["direction_deg"] == 90.0
    # looking east from the middle of A: its own cut, and the burn of B beyond
    assert [(work["date"], work["practice"]) for work in pair["work_between"]] == [
        ("2025-02-01", "cut"), ("2026-02-01", "burn"),
    ]  # fmt: skip
    assert (single["unit_id"], single["after"], single["work_between"]) == ("B", None, [])
    words = run_habmap("photos", place=place).out
    assert words.startswith("2 photo points from 3 photos; 1 of them has a before and an after.")
    early = run_habmap("photos", "--on", "2025-12-31", "--json", place=place).json
    assert (early["photos"], early["pairs"]) == (2, 0)


def test_what_is_kept_is_small_upright_and_bare(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    lon, lat = lonlat(50, 50)
    large = tagged_jpeg(
        gps=place_tags(lat, lon, 10), own={0x9003: "2025:01:10 09:00:00"}, top={0x0112: 6, 0x010F: "Camera of W."},
        size=(2400, 1200),
    )  # fmt: skip
    (tmp_path / "p").mkdir()
    (tmp_path / "p" / "big.jpg").write_bytes(large)
    assert run_habmap("load", "photos", tmp_path / "p", place=place).code == 0
    (kept,) = (place / "photos").iterdir()
    content = kept.read_bytes()
    assert b"Exif" not in content and b"Camera of W." not in content
    with Image.open(io.BytesIO(content)) as picture:
        assert picture.size == (640, 1280)
        assert dict(picture.getexif()) == {}


@pytest.mark.parametrize("name", ["", "  "])
def test_a_folder_without_a_name_is_not_the_folder_one_stands_in(run_habmap: Run, place: Path, name: str) -> None:
    before = (place / "place.gpkg").read_bytes()
    done = run_habmap("load", "photos", name, place=place)
    assert (done.code, "no folder is named" in done.err) == (2, True)
    assert (place / "place.gpkg").read_bytes() == before


def test_loaded_again_it_is_no_news(run_habmap: Run, place: Path, folder: Path) -> None:
    run_habmap("load", "photos", folder, place=place)
    first = [tuple(row) for row in rows(place)]
    shutil.copyfile(folder / "one.jpg", folder / "one (1).jpg")
    again = run_habmap("load", "photos", folder, "--json", place=place).json
    assert (again["loaded"], again["already_there"]) == (0, 4)
    assert [tuple(row) for row in rows(place)] == first
    # the property's own copies are no new photos either
    own = run_habmap("load", "photos", place / "photos", "--json", place=place).json
    assert (own["loaded"], own["already_there"]) == (0, 3)


def test_photos_without_place_or_date_are_listed_and_placed_by_a_table(
    run_habmap: Run, place: Path, folder: Path
) -> None:
    (folder / "old.jpg").write_bytes(plain_jpeg(color="#888888"))
    lon, lat = lonlat(150, 20)
    (folder / "undated.jpg").write_bytes(tagged_jpeg(gps=place_tags(lat, lon), color="#777777"))
    done = run_habmap("load", "photos", folder, place=place)
    assert done.code == 0
    assert "3 photos loaded" in done.out and "2 photos left out" in done.out
    assert "old.jpg: the camera wrote no position." in done.out
    assert "undated.jpg: the camera wrote no date." in done.out
    assert WORDS_FOR_PLACING in done.out

    lon, lat = lonlat(20, 20)
    with (folder / "photos.csv").open("w", encoding="utf-8", newline="") as target:
        table = csv.writer(target)
        table.writerow(["file", "lon", "lat", "direction_deg", "taken_at", "unit_id", "private"])
        table.writerow(["old.jpg", lon, lat, 270, "2019-05-01", "", "yes"])
        table.writerow(["undated.jpg", "", "", "", "2024-05-01T08:30", "A", ""])
    placed = run_habmap("load", "photos", folder, "--json", place=place).json
    assert (placed["loaded"], placed["already_there"], placed["left_out"]) == (2, 3, [])
    by_name = {row["file_name"]: row for row in rows(place)}
    assert (by_name["old.jpg"]["taken_on"], by_name["old.jpg"]["direction_ref"]) == ("2019-05-01", "T")
    assert (by_name["old.jpg"]["is_private"], by_name["old.jpg"]["unit_id"]) == (1, "A")
    assert (by_name["undated.jpg"]["taken_at"][:16], by_name["undated.jpg"]["unit_id"]) == ("2024-05-01T13:30", "A")


def test_every_unfit_file_is_named_with_its_reason(run_habmap: Run, place: Path, folder: Path) -> None:
    lon, lat = lonlat(50, 50)
    dated = {0x9003: "2025:01:10 09:00:00"}
    good = place_tags(lat, lon)
    bad = {
        "lat91.jpg": tagged_jpeg(gps=good | {2: [(91, 1), (0, 1), (0, 1)]}, own=dated),
        "nan.jpg": tagged_jpeg(gps=good | {2: [(0, 0), (0, 0), (0, 0)]}, own=dated),
        "noref.jpg": tagged_jpeg(gps={2: good[2], 4: good[4]}, own=dated),
        "text.jpg": b"this is a letter, not a photo\n",
        "empty.jpg": b"",
        "cut.jpg": tagged_jpeg(gps=good, own=dated, size=(900, 700), color="#123456")[:-900],
        "future.jpg": tagged_jpeg(gps=good, own={0x9003: "2199:01:10 09:00:00"}),
        "far.jpg": tagged_jpeg(gps=place_tags(lat + 1, lon), own=dated),
        "phone.heic": b"\x00\x00\x00\x18ftypheic",
    }
    bomb = bytearray(plain_jpeg((16, 16)))
    frame = bomb.index(b"\xff\xc0")
    bomb[frame + 5 : frame + 9] = (60_000).to_bytes(2, "big") * 2
    bad["bomb.jpg"] = bytes(bomb)
    for name, content in bad.items():
        (folder / name).write_bytes(content)
    done = run_habmap("load", "photos", folder, "--json", place=place)
    assert done.code == 0, done.err
    assert done.json["loaded"] == 3
    found = {one["file"]: (one["kind"], one["why"]) for one in done.json["left_out"]}
    assert set(found) == set(bad)
    assert "91°" in found["lat91.jpg"][1]
    assert "no number" in found["nan.jpg"][1]
    assert "N or S" in found["noref.jpg"][1]
    assert [found[name][0] for name in ("text.jpg", "empty.jpg", "cut.jpg", "bomb.jpg")] == ["damaged"] * 4
    assert found["future.jpg"][0] == "no date"
    assert found["far.jpg"][0] == "elsewhere"
    assert "111" in found["far.jpg"][1]  # one degree of latitude is 111 km
    assert found["phone.heic"][0] == "not read"
    assert all(one["mend"] for one in done.json["left_out"])
    assert len(rows(place)) == 3


def test_a_faulty_table_loads_nothing_and_lists_every_fault(run_habmap: Run, place: Path, folder: Path) -> None:
    header = "file,lon,lat,direction_deg,taken_at,unit_id,private\n"
    lines = {
        "one.jpg,-98.0,,,,,": "both lon and lat",
        "nobody.jpg,,,,,,": "no photo of this name",
        "two.JPG,,,400,,,": "direction_deg",
        "three.jpeg,,,,yesterday,,": "is not a moment",
        "TWO.jpg,,,,,Z9,maybe": "unknown unit",
        "one.jpg,,,,,,": "twice",
    }
    (folder / "photos.csv").write_text(header + "\n".join(lines) + "\n", encoding="utf-8")
    done = run_habmap("load", "photos", folder, place=place)
    assert done.code == 3
    assert [words for words in lines.values() if words not in done.err] == []
    # what only the photo beside it shows
    far = "one.jpg,98.0,38.0,,,,\ntwo.JPG,,,,2199-01-01,,\n"
    (folder / "photos.csv").write_text(header + far, encoding="utf-8")
    done = run_habmap("load", "photos", folder, place=place)
    assert done.code == 3
    assert "km from the property" in done.err and "still to come" in done.err
    assert rows(place) == []
    assert list((place / "photos").iterdir()) == []


def test_magnetic_directions_are_kept_said_and_turned(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    lon, lat = lonlat(50, 50)
    (tmp_path / "m").mkdir()
    compass = tagged_jpeg(gps=place_tags(lat, lon, 358, "M"), own={0x9003: "2025:01:10 09:00:00"})
    (tmp_path / "m" / "m.jpg").write_bytes(compass)
    done = run_habmap("load", "photos", tmp_path / "m", place=place)
    assert "magnetic north" in done.err and "--declination" in done.err
    assert run_habmap("photos", "--json", place=place).json["points"][0]["direction_ref"] == "M"
    turned = run_habmap("load", "photos", tmp_path / "m", "--declination", "4.5", "--overwrite", place=place)
    assert turned.code == 0, turned.err
    (point,) = run_habmap("photos", "--json", place=place).json["points"]
    assert (point["direction_deg"], point["direction_ref"]) == (2.5, "T")
    assert len(rows(place)) == 2  # the first row stays; the newer one counts
    refused = run_habmap("load", "photos", tmp_path / "m", "--declination", "400", place=place)
    assert refused.code == 2


def test_other_words_for_a_photo_need_overwrite(run_habmap: Run, place: Path, folder: Path) -> None:
    run_habmap("load", "photos", folder, place=place)
    (folder / "photos.csv").write_text("file,direction_deg\none.jpg,45\n", encoding="utf-8")
    done = run_habmap("load", "photos", folder, "--json", place=place).json
    (left,) = done["left_out"]
    assert (left["kind"], left["file"]) == ("other content", "one.jpg")
    assert "direction" in left["why"] and "--overwrite" in left["mend"]
    assert len(rows(place)) == 3


def test_folders_that_are_none(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(plain_jpeg())
    for name in ("empty", "texts", "broken"):
        (tmp_path / name).mkdir()
    (tmp_path / "texts" / "a.txt").write_text("x", encoding="utf-8")
    (tmp_path / "broken" / "a.jpg").write_text("no picture", encoding="utf-8")
    for name in ("not there", "file", "empty", "texts", "broken"):
        done = run_habmap("load", "photos", tmp_path / name, place=place)
        assert done.code == 3, name
        assert "Traceback" not in done.err
    assert list((place / "photos").iterdir()) == []


def test_without_units_no_photo_finds_its_place(run_habmap: Run, folder: Path, tmp_path: Path) -> None:
    bare = tmp_path / "bare"
    run_habmap("start", bare, "--name", "Bare")
    done = run_habmap("load", "photos", folder, place=bare)
    assert done.code == 3
    assert "load units" in done.err


def test_join_brings_pictures_and_check_misses_them(run_habmap: Run, place: Path, folder: Path, tmp_path: Path) -> None:
    other = tmp_path / "copy"
    shutil.copytree(place, other)
    run_habmap("load", "photos", folder, place=other)
    joined = run_habmap("unite", other, "--json", place=place)
    assert joined.json["added"]["photos"] == 3
    pictures = {path.name: path.read_bytes() for path in (other / "photos").iterdir()}
    assert {path.name: path.read_bytes() for path in (place / "photos").iterdir()} == pictures
    assert run_habmap("check", place=place).code == 0

    gone = sorted((place / "photos").iterdir())[0]
    gone.unlink()
    checked = run_habmap("check", "--json", place=place)
    assert checked.code == 1
    assert [fault["rule"] for fault in checked.json["faults"]] == ["photos"]
    again = run_habmap("unite", other, "--json", place=place)  # no new rows, but the picture comes back
    assert again.json["added"]["photos"] == 0
    assert any("1 picture that was missing here" in words for words in again.json["warnings"])
    assert gone.read_bytes() == pictures[gone.name]
    gone.unlink()
    assert run_habmap("load", "photos", folder, place=place).code == 0
    assert gone.read_bytes() == pictures[gone.name]


def test_a_database_that_refuses_leaves_no_pictures_behind(run_habmap: Run, place: Path, folder: Path) -> None:
    with closing(sqlite3.connect(place / "place.gpkg")) as connection:
        connection.execute("CREATE TRIGGER full BEFORE INSERT ON photos BEGIN SELECT RAISE(ABORT, 'disk full'); END")
        connection.commit()
    done = run_habmap("load", "photos", folder, place=place)
    assert done.code == 3
    assert "Traceback" not in done.err
    assert list((place / "photos").iterdir()) == []


def test_a_photo_is_made_private_later(run_habmap: Run, place: Path, folder: Path) -> None:
    done = run_habmap("load", "photos", folder, place=place)
    assert "mark it private" in done.out
    (folder / "photos.csv").write_text("file,private\ntwo.JPG,yes\n", encoding="utf-8")
    assert run_habmap("load", "photos", folder, "--overwrite", place=place).code == 0
    pair, single = run_habmap("photos", "--json", place=place).json["points"]
    assert (pair["for_public"], pair["after"], single["for_public"]) == (False, "2026-06-10", True)


def private_rows(place: Path) -> list[tuple[str, int]]:
    with closing(sqlite3.connect(place / "place.gpkg")) as connection:
        return connection.execute("SELECT file_name, is_private FROM photos ORDER BY fid").fetchall()


def test_once_private_a_photo_stays_so_until_somebody_writes_no(run_habmap: Run, place: Path, folder: Path) -> None:
    table = folder / "photos.csv"
    table.write_text("file,private\none.jpg,yes\n", encoding="utf-8")
    run_habmap("load", "photos", folder, place=place)
    table.write_text("file,direction_deg\none.jpg,45\n", encoding="utf-8")
    assert run_habmap("load", "photos", folder, "--overwrite", "--json", place=place).json["loaded"] == 1
    table.unlink()
    assert run_habmap("load", "photos", folder, "--overwrite", place=place).code == 0
    said = [is_private for name, is_private in private_rows(place) if name == "one.jpg"]
    assert len(said) >= 2 and all(said)
    table.write_text("file,private\none.jpg,no\n", encoding="utf-8")
    assert run_habmap("load", "photos", folder, "--overwrite", place=place).code == 0
    assert private_rows(place)[-1] == ("one.jpg", 0)


def test_a_private_mark_is_never_passed_over(run_habmap: Run, place: Path, folder: Path) -> None:
    """In a table below, in a column misspelled, on the second of two equal files, on the property's own copy."""
    below = folder / "east" / "photos.csv"
    below.write_text("file,private\nthree.jpeg,yes\n", encoding="utf-8")
    done = run_habmap("load", "photos", folder, place=place)
    assert (done.code, rows(place)) == (3, [])
    assert "east/photos.csv" in done.err
    below.unlink()

    shutil.copy(folder / "one.jpg", folder / "zone.jpg")
    table = folder / "photos.csv"
    table.write_text("file,private\nzone.jpg,yes\n", encoding="utf-8")
    done = run_habmap("load", "photos", folder, "--json", place=place)
    assert (done.code, rows(place)) == (3, [])
    assert "twice" in done.json["faults"][0]["what"] and "one.jpg" in done.json["faults"][0]["value"]
    (folder / "zone.jpg").unlink()

    table.write_text("file,privat\none.jpg,yes\n", encoding="utf-8")
    done = run_habmap("load", "photos", folder, "--json", place=place)
    assert done.code == 0 and any("columns not read: privat" in words for words in done.json["warnings"])

    table.unlink()
    kept = place / "photos"
    name = next(row["picture"] for row in rows(place) if row["file_name"] == "one.jpg")
    (kept / "photos.csv").write_text(f"file,private\n{name},yes\n", encoding="utf-8")
    before = next(tuple(row) for row in rows(place) if row["file_name"] == "one.jpg")
    assert run_habmap("load", "photos", kept, "--json", place=place).json["left_out"][0]["kind"] == "other content"
    assert run_habmap("load", "photos", kept, "--overwrite", "--json", place=place).json["loaded"] == 1
    with closing(sqlite3.connect(place / "place.gpkg")) as connection:
        after = connection.execute("SELECT * FROM photos ORDER BY fid DESC LIMIT 1").fetchone()
        columns = [one[1] for one in connection.execute("PRAGMA table_info(photos)")]
    differing = {name for name, old, new in zip(columns, before, after, strict=True) if old != new}
    assert differing == {"fid", "uuid", "is_private", "recorded_at", "supersedes"}


def test_copies_that_tell_a_photo_differently_can_be_joined_and_agree(
    run_habmap: Run, place: Path, folder: Path, tmp_path: Path
) -> None:
    other = Path(shutil.copytree(place, tmp_path / "other"))
    table = folder / "photos.csv"
    run_habmap("load", "photos", folder, place=place)
    table.write_text("file,private\none.jpg,yes\n", encoding="utf-8")
    run_habmap("load", "photos", folder, "--overwrite", place=place)
    table.unlink()
    (folder / "one.jpg").rename(folder / "uno.jpg")
    run_habmap("load", "photos", folder, place=other)
    third = Path(shutil.copytree(other, tmp_path / "third"))
    assert run_habmap("unite", place, place=other).code == 0
    assert run_habmap("unite", third, place=place).code == 0
    seen = [run_habmap("photos", "--json", place=one).json["points"] for one in (place, other)]
    assert seen[0] == seen[1]
    assert [point["unit_id"] for point in seen[0] if not point["for_public"]] == ["A"]


def test_a_folder_whose_name_no_disk_can_hold(run_habmap: Run, place: Path) -> None:
    done = run_habmap("load", "photos", "x" * 5000, place=place)
    assert done.code == 3 and "cannot be read" in done.err and "not made for" not in done.err


@pytest.mark.parametrize("spoil", ["empty", "cut", "html", "pipe"])
def test_a_spoiled_picture_is_told_and_comes_back_from_the_cameras_file(
    run_habmap: Run, place: Path, folder: Path, tmp_path: Path, spoil: str
) -> None:
    run_habmap("load", "photos", folder, place=place)
    picture = place / "photos" / next(row["picture"] for row in rows(place) if row["file_name"] == "one.jpg")
    whole = picture.read_bytes()
    picture.unlink()
    if spoil == "pipe":
        os.mkfifo(picture)
    else:
        picture.write_bytes({"empty": b"", "cut": whole[: len(whole) // 2], "html": b"<script>"}[spoil])
    done = run_habmap("check", "--json", place=place, timeout_s=60)
    assert done.code == 1 and [fault["rule"] for fault in done.json["faults"]] == ["photos"]
    drawn = run_habmap("map", "-o", tmp_path / "m.html", "--json", place=place, timeout_s=60)
    assert drawn.json["warnings"][-1] == "1 picture of photo points cannot be found."
    assert run_habmap("load", "photos", folder, "--json", place=place, timeout_s=60).json["loaded"] == 0
    assert picture.read_bytes() == whole
    assert run_habmap("check", place=place).code == 0
