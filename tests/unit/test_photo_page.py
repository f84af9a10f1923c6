"""The page's photo points: bounded, bare, and for the public without what nobody else should see."""

from __future__ import annotations

import base64
import io
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from fakes import GRID, FakeStore, entry, unit
from photo_makers import plain_jpeg
from PIL import Image
from shapely import LineString, Point, box

from habmap.errors import InputError, PlaceBusyError, PlaceError
from habmap.jobs.map import build_page
from habmap.jobs.photos import page_photos, photos
from habmap.place.store import GeoPackageStore
from habmap.place.wkb import to_blob
from habmap.records import Feature, Photo
from habmap.show.page.render import render_page
from habmap.show.records import PrivateOnPublicPageError, refuse_private
from habmap.work.succession import newest_photos

NOW = datetime(2026, 8, 1, 12, tzinfo=UTC)
JPEG = b"\xff\xd8 enough of one \xff\xd9"
_SOURCE = re.compile(r'src="data:image/jpeg;base64,([^"]+)"')


def photo(name: str, x_m: float, y_m: float, direction_deg: float | None, day: date, **fields: object) -> Photo:
    content: dict[str, object] = {
        "uuid": f"photo-{name}",
        "file_name": f"{name}.jpg",
        "sha256": name,
        "picture": f"{name}-picture",
        "taken_at": datetime(day.year, day.month, day.day, 18, tzinfo=UTC),
        "taken_on": day,
        "geometry": GRID.to_lonlat(Point(x_m, y_m)),
        "direction_deg": direction_deg,
        "direction_ref": None if direction_deg is None else "T",
        "unit_id": "A",
        "recorded_at": NOW,
    }
    return Photo(**(content | fields))  # type: ignore[arg-type]


def place(*rows: object, noisy: bool = False) -> FakeStore:
    """Return a property with one unit, a cut in its north, and pictures for all photos given."""
    store = FakeStore(
        [
            unit("A", box(0, 0, 200, 200), name="Joe's", extra={"public_name": "South <b>Bluff"}),
            entry("cut", "2025-11-15", box(0, 100, 200, 200)),
        ],
        grid=GRID,
    )
    found = [row for row in rows if isinstance(row, Photo)]
    picture = _noise() if noisy else plain_jpeg((1280, 960))
    store.append_with_pictures(list(rows), [(one.picture, picture) for one in found])  # type: ignore[arg-type]
    return store


def _noise() -> bytes:
    target = io.BytesIO()
    Image.effect_noise((1280, 960), 90).convert("RGB").save(target, "JPEG", quality=90)
    return target.getvalue()


BEFORE = photo("before", 100, 50, 350, date(2025, 11, 2))
AFTER = photo("after", 102, 52, 2, date(2026, 6, 2))


def test_words_under_and_behind_the_pictures() -> None:
    html = render_page(build_page(place(BEFORE, AFTER), now=NOW, audience="public"))
    # the name of a unit is a person's text: it is escaped wherever it stands
    spot = "South &lt;b&gt;Bluff"
    alts = re.findall(r'<img src="[^"]+" width="\d+" height="\d+" alt="([^"]+)"', html)
    assert alts == [
        f"Looking north from {spot}, November 2025; before the cut of November 15, 2025",
        f"Looking north from {spot}, June 2026; after the cut of November 15, 2025",
    ]
    assert "<b>November 2, 2025</b><br>before the cut of November 15, 2025" in html
    assert "before.jpg" not in html and "before-picture" not in html


def test_pictures_in_the_page_hold_pixels_and_nothing_else() -> None:
    html = render_page(build_page(place(BEFORE, AFTER), now=NOW, audience="owner"))
    sources = [base64.b64decode(text) for text in _SOURCE.findall(html)]
    assert len(sources) == 2
    for jpeg in sources:
        # no APP1 (Exif, XMP), APP2 (ICC), APP13 or comment segment: ITU T.81, table B.1
        assert not any(bytes((0xFF, marker)) in jpeg[:700] for marker in (0xE1, 0xE2, 0xED, 0xFE))
        with Image.open(io.BytesIO(jpeg)) as picture:
            assert picture.size == (1100, 825)
            assert dict(picture.getexif()) == {}


def test_an_on_day_knows_no_later_photo() -> None:
    store = place(BEFORE, AFTER)
    (line,) = photos(store, on=date(2026, 1, 1)).points
    assert (line.after, len(line.photos)) == (None, 1)
    (point,) = page_photos(store, audience="owner", on=date(2026, 1, 1)).points
    assert point.after is None


def test_work_out_of_view_is_not_told() -> None:
    south = [photo("s1", 100, 90, 180, date(2025, 11, 2)), photo("s2", 100, 90, 180, date(2026, 6, 2))]
    (line,) = photos(place(*south)).points
    assert line.work_between == ()


def test_the_same_day_is_neither_before_nor_after() -> None:
    store = place(photo("b", 100, 50, 0, date(2025, 11, 15)), AFTER)
    html = render_page(build_page(store, now=NOW, audience="owner"))
    assert "November 2025; on the day of the cut" in html


def test_the_bound_holds_and_pairs_come_first() -> None:
    rows = []
    for number in range(4):
        day = date(2025, 1, 1 + number)
        rows += [
            photo(f"b{number}", 40 * number, 10, 0, day),
            photo(f"a{number}", 40 * number, 10, 0, date(2026, 1, 1 + number)),
        ]
    rows.append(photo("alone", 100, 150, 90, date(2026, 7, 1)))
    store = place(*rows, noisy=True)
    whole = page_photos(store, audience="owner")
    assert len(whole.points) == 5 and whole.missing == ()

    def weight(found: object) -> int:
        pictures = [one for point in found.points for one in (point.before, point.after) if one]  # type: ignore[attr-defined]
        return sum(len(base64.b64encode(one.jpeg)) for one in pictures)

    bound = weight(whole) // 3
    less = page_photos(store, audience="owner", most_bytes=bound)
    assert weight(less) <= bound
    assert less.points[0].before.width_px < 1100  # made smaller before any is left out
    while len((tight := page_photos(store, audience="owner", most_bytes=bound)).points) >= 4:
        bound = bound * 3 // 4
    assert 0 < len(tight.points) < 5
    assert all(point.after is not None for point in tight.points)
    assert f"{5 - len(tight.points)} photo points are left out" in tight.missing[0]


@pytest.mark.parametrize(
    ("kind", "sensitive", "spot", "is_hidden"),
    [
        ("nest", False, (100, -90), True),  # 140 m behind the camera
        ("grave", False, (100, -110), False),  # 160 m behind it
        ("cultural", False, (100, 440), True),  # 390 m ahead, in the picture
        ("well", True, (240, 50), True),  # marked sensitive by its owner
        ("well", False, (100, 60), False),
    ],
)
def test_the_public_sees_no_point_near_what_is_private(
    kind: str, sensitive: bool, spot: tuple[float, float], is_hidden: bool
) -> None:
    thing = Feature(
        uuid="f", kind=kind, name="", geometry=GRID.to_lonlat(Point(spot)), sensitive=sensitive, recorded_at=NOW
    )
    store = place(BEFORE, AFTER, thing)
    assert len(page_photos(store, audience="owner").points) == 1
    assert len(page_photos(store, audience="public").points) == (0 if is_hidden else 1)
    assert photos(store).points[0].for_public is not is_hidden


def test_a_private_photo_stays_with_its_owner_even_if_the_filter_forgets() -> None:
    store = place(BEFORE, photo("after", 102, 52, 2, date(2026, 6, 2), is_private=True))
    assert page_photos(store, audience="public").points == ()
    page = build_page(store, now=NOW, audience="owner")
    with pytest.raises(PrivateOnPublicPageError, match="photo point"):
        refuse_private(page)


def test_a_picture_that_is_gone_is_said() -> None:
    store = place(BEFORE, AFTER)
    store.append([photo("lost", 150, 150, 90, date(2026, 7, 1))])
    found = page_photos(store, audience="owner")
    assert len(found.points) == 1
    assert found.missing == ("1 picture of photo points cannot be found.",)


def test_rows_come_back_and_damage_by_other_programs_is_said(tmp_path: Path) -> None:
    store = GeoPackageStore.create(tmp_path / "place", "Test")
    first = photo("a" * 64, 100, 50, 350.5, date(2025, 11, 2), picture="a" * 32 + ".jpg", error_m=4.5)
    first = replace(first, supersedes=())
    newer = replace(first, uuid="again", direction_deg=12.0, is_private=True, supersedes=(first.uuid,))
    newer = replace(newer, recorded_at=NOW + timedelta(days=1))
    store.append_with_pictures([first, newer], [(first.picture, JPEG)])
    found = GeoPackageStore.open(store.folder)
    assert found.photos() == (newer,)
    assert found.rows() == (first, newer)
    assert found.picture(first.picture) == JPEG
    assert found.picture("../place.gpkg") is None
    with pytest.raises(PlaceError, match="no name of a picture"):
        store.append_with_pictures([], [("../habmap.toml", b"x")])
    with closing(sqlite3.connect(store.path)) as connection:
        connection.execute("DROP TRIGGER photos_no_update")
        connection.execute("UPDATE photos SET geom = ?", (to_blob(LineString([(0, 0), (1, 1)])),))
        connection.commit()
    with pytest.raises(PlaceError, match="damaged"):
        found.photos()


@pytest.mark.parametrize("ref", ["x", b"\x00\xff", 7])
def test_a_north_that_is_none_is_damage(tmp_path: Path, ref: object) -> None:
    store = GeoPackageStore.create(tmp_path / "place", "Test")
    row = photo("a" * 64, 100, 50, 350.5, date(2025, 11, 2), picture="a" * 32 + ".jpg")
    store.append_with_pictures([row], [(row.picture, JPEG)])
    with closing(sqlite3.connect(store.path)) as connection:
        connection.execute("DROP TRIGGER photos_no_update")
        connection.execute("UPDATE photos SET direction_ref = ?", (ref,))
        connection.commit()
    with pytest.raises(PlaceError, match="damaged"):
        store.photos()


def test_of_two_writers_of_the_same_photos_the_one_that_fails_takes_no_picture_away(tmp_path: Path) -> None:
    store = GeoPackageStore.create(tmp_path / "place", "Test")
    row = photo("a" * 64, 100, 50, 350.5, date(2025, 11, 2), picture="a" * 32 + ".jpg")
    tried = []

    def pictures() -> Iterator[tuple[str, bytes]]:
        yield row.picture, JPEG
        # its picture is there, its row is not yet: nobody else may come between
        second = GeoPackageStore.open(store.folder, busy_timeout_s=0.01)
        with pytest.raises(PlaceBusyError):
            second.append_with_pictures([row], [(row.picture, JPEG)])
        tried.append(second.picture(row.picture))

    store.append_with_pictures([row], pictures())
    assert tried == [JPEG]
    with pytest.raises(InputError, match="already there"):
        store.append_with_pictures([row], [(row.picture, JPEG)])
    assert store.picture(row.picture) == JPEG and store.photos() == (replace(row, supersedes=()),)


def test_what_a_killed_writer_had_begun_is_cleared_away(tmp_path: Path) -> None:
    store = GeoPackageStore.create(tmp_path / "place", "Test")
    begun, theirs = store.folder / "photos" / ".qih12j41.jpg", store.folder / "photos" / ".my own.jpg"
    begun.parent.mkdir(exist_ok=True)
    for path in (begun, theirs):
        path.write_bytes(b"half")
    row = photo("a" * 64, 100, 50, 350.5, date(2025, 11, 2), picture="a" * 32 + ".jpg")
    store.append_with_pictures([row], [(row.picture, JPEG)])
    assert (begun.exists(), theirs.exists()) == (False, True)


def test_which_row_of_a_photo_counts_does_not_hang_on_the_copy_that_is_asked() -> None:
    """First rows (UUID version 5) have another moment in each copy; only what they say may decide between them."""
    day = date(2025, 11, 2)
    open_one = photo("a", 100, 50, 90, day, uuid="11111111-1111-5111-8111-111111111111")
    private = photo("a", 100, 50, 90, day, uuid="00000000-0000-5000-8000-000000000000", is_private=True)
    retold = photo("a", 100, 50, 90, day, uuid="22222222-2222-4222-8222-222222222222", file_name="retold.jpg")
    late = NOW + timedelta(days=9)
    for first, second in ((open_one, private), (replace(open_one, recorded_at=late), private)):
        for rows in ([first, second], [second, first]):
            (counting,) = newest_photos(rows)
            assert counting.is_private
            (counting,) = newest_photos([*rows, retold])
            assert (counting,) == newest_photos([retold, *rows])
            assert (counting.file_name, counting.is_private) == ("retold.jpg", True)  # it was not made in sight of both
            told = replace(retold, supersedes=(open_one.uuid, private.uuid))
            assert newest_photos([*rows, told]) == newest_photos([told, *rows]) == (told,)


def test_no_clock_opens_a_private_photo_to_the_public() -> None:
    day, late = date(2025, 11, 2), NOW + timedelta(days=9)
    first = photo("a", 100, 50, 90, day, uuid="11111111-1111-5111-8111-111111111111", recorded_at=late)
    private = photo("a", 100, 50, 90, day, uuid="33333333-3333-4333-8333-333333333333", is_private=True)
    elsewhere = photo("a", 120, 50, 90, day, uuid="44444444-4444-4444-8444-444444444444", recorded_at=late)
    for rows in ([first, private, elsewhere], [elsewhere, first, private]):
        (counting,) = newest_photos(rows)  # from before rows said what they supersede
        assert (counting.uuid, counting.is_private) == (elsewhere.uuid, True)
        in_sight = [replace(row, supersedes=(first.uuid,)) if row is not first else row for row in rows]
        (counting,) = newest_photos(in_sight)
        assert (counting.uuid, counting.is_private) == (elsewhere.uuid, True)
        opened = replace(elsewhere, uuid="55555555-5555-4555-8555-555555555555", recorded_at=NOW - timedelta(days=9))
        opened = replace(opened, supersedes=(elsewhere.uuid, private.uuid))
        assert newest_photos([*in_sight, opened]) == (opened,)
