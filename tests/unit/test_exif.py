"""Tags of photos, read from bytes laid out by the test itself; tag numbers from Exif 3.0 (CIPA DC-008), GPS IFD."""

from __future__ import annotations

import io
import warnings
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from photo_makers import Value, place_tags, plain_jpeg, tagged_jpeg
from PIL import Image

from habmap.errors import InputError
from habmap.place.exif import CameraSaid, camera_said
from habmap.place.pictures import MOST_PIXELS, opened_jpeg, small_picture

CHICAGO = ZoneInfo("America/Chicago")
#: 37° 3' 43.2" N, 96° 19' 4.8" W: 37.062° N, 96.318° W, by hand.
SPOT: dict[int, Value] = {
    1: "N", 2: [(37, 1), (3, 1), (432, 10)], 3: "W", 4: [(96, 1), (19, 1), (48, 10)],
}  # fmt: skip


def said(gps: dict[int, Value] | None = None, own: dict[int, Value] | None = None) -> CameraSaid:
    return camera_said(opened_jpeg(tagged_jpeg(gps=gps, own=own)), zone=CHICAGO)


def test_position_direction_and_satellite_time() -> None:
    whole = SPOT | {7: [(15, 1), (40, 1), (2750, 100)], 16: "T", 17: (31600, 100), 29: "2025:01:11", 31: (48, 10)}
    found = said(whole, {0x9003: "2025:01:11 09:40:27"})
    assert found.lonlat is not None
    # a tenth of a second of arc is 3 m; the tags hold it exactly, so only the last bits of a double may differ
    assert found.lonlat == (pytest.approx(-96.318, abs=1e-12), pytest.approx(37.062, abs=1e-12))
    assert (found.direction_deg, found.direction_ref) == (316.0, "T")
    assert found.taken_at == datetime(2025, 1, 11, 15, 40, 27, tzinfo=UTC)
    assert found.error_m == pytest.approx(4.8)
    assert found.doubts == ()


def test_south_and_east_and_decimal_minutes() -> None:
    # 33° 51.5' S, 151° 12.75' E = -33.858333…, 151.2125; some cameras write minutes with a fraction and no seconds
    found = said({1: "S", 2: [(33, 1), (515, 10), (0, 1)], 3: "E", 4: [(151, 1), (1275, 100), (0, 1)]})
    assert found.lonlat == (pytest.approx(151.2125, abs=1e-12), pytest.approx(-33.858333333333, abs=1e-11))


def test_magnetic_stays_magnetic() -> None:
    found = said(SPOT | {16: "M", 17: (4510, 100)})
    assert (found.direction_deg, found.direction_ref) == (45.1, "M")


@pytest.mark.parametrize(
    ("own", "moment"),
    [
        ({0x9003: "2025:07:11 09:40:27"}, datetime(2025, 7, 11, 14, 40, 27, tzinfo=UTC)),  # the place's zone, summer
        ({0x9003: "2025:01:11 09:40:27"}, datetime(2025, 1, 11, 15, 40, 27, tzinfo=UTC)),  # winter
        ({0x9003: "2025:01:11 09:40:27", 0x9011: "-07:00"}, datetime(2025, 1, 11, 16, 40, 27, tzinfo=UTC)),
        ({0x9003: "2025:01:11 09:40:27", 0x9011: "   :  "}, datetime(2025, 1, 11, 15, 40, 27, tzinfo=UTC)),
    ],
)
def test_the_cameras_clock(own: dict[int, Value], moment: datetime) -> None:
    assert said(SPOT, own).taken_at == moment


def test_satellite_time_counts_before_a_wrong_clock_and_it_is_said() -> None:
    tags = SPOT | {7: [(15, 1), (40, 1), (27, 1)], 29: "2025:01:11"}
    found = said(tags, {0x9003: "2019:01:01 00:00:10"})
    assert found.taken_at == datetime(2025, 1, 11, 15, 40, 27, tzinfo=UTC)
    assert "2019-01-01" in found.doubts[0]


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({2: [(91, 1), (0, 1), (0, 1)]}, "91°, beyond 90°"),
        ({4: [(180, 1), (0, 1), (1, 1)]}, "beyond 180°"),
        ({2: [(37, 0), (3, 1), (0, 1)]}, "holds no number"),  # a denominator of 0
        ({2: [(0, 0), (0, 0), (0, 0)]}, "holds no number"),
        ({2: [(37, 1), (60, 1), (0, 1)]}, "60 minutes"),
        ({2: (37, 1)}, "not made of degrees"),
        ({2: "37.062"}, "not made of degrees"),
        ({1: "X"}, "does not say N or S"),
        ({3: ""}, "does not say E or W"),
        ({9: "V"}, "no fix"),
        ({18: "TOKYO"}, "TOKYO"),
        ({2: [(0, 1)] * 3, 4: [(0, 1)] * 3}, "0° N, 0° E"),
    ],
)
def test_positions_that_are_none(changed: dict[int, Value], why: str) -> None:
    found = said(SPOT | changed)
    assert found.lonlat is None
    assert why in found.no_position


@pytest.mark.parametrize("gone", [1, 3])
def test_a_position_without_its_reference(gone: int) -> None:
    assert said({tag: value for tag, value in SPOT.items() if tag != gone}).lonlat is None


@pytest.mark.parametrize(
    "tags", [{16: "T", 17: (361, 1)}, {16: "T", 17: (1, 0)}, {17: (90, 1)}, {16: "Q", 17: (90, 1)}, {16: "T", 17: "N"}]
)
def test_directions_that_are_none_leave_the_position(tags: dict[int, Value]) -> None:
    found = said(SPOT | tags)
    assert found.lonlat is not None
    assert (found.direction_deg, found.direction_ref) == (None, None)
    assert len(found.doubts) == 1


def test_north_is_0_not_360() -> None:
    assert said(SPOT | {16: "T", 17: (360, 1)}).direction_deg == 0.0


@pytest.mark.parametrize(
    "own", [{}, {0x9003: "0000:00:00 00:00:00"}, {0x9003: "2025:02:30 10:00:00"}, {0x9003: "x" * 60_000}]
)
def test_no_date(own: dict[int, Value]) -> None:
    found = said(SPOT, own)
    assert found.taken_at is None
    assert "date" in found.no_time


def test_no_tags_at_all() -> None:
    found = camera_said(opened_jpeg(plain_jpeg()), zone=CHICAGO)
    assert found.lonlat is None
    assert found.no_position == "the camera wrote no position"
    assert found.taken_at is None


@pytest.mark.parametrize("cut", [14, 20, 26, 40, 90, 150])
def test_tags_cut_short_or_pointing_nowhere(cut: int) -> None:
    content = bytearray(tagged_jpeg(gps=SPOT, own={0x9003: "2025:01:11 09:40:27"}))
    content[cut : cut + 6] = b"\xff" * 6
    found = camera_said(opened_jpeg(bytes(content)), zone=CHICAGO)
    assert found.lonlat is None or -180 <= found.lonlat[0] <= 180


# --- pictures ------------------------------------------------------------------------------------------------


def test_a_small_picture_is_upright_and_holds_nothing_but_pixels() -> None:
    gps = place_tags(37.062, -96.318, 10)
    # orientation 6: the camera was turned clockwise, so the picture is shown turned 90° clockwise (Exif 3.0, 0x0112)
    content = tagged_jpeg(gps=gps, top={0x0112: 6, 0x010F: "Secret camera"}, size=(400, 200))
    half = Image.open(io.BytesIO(content))
    assert half.getexif()[0x0112] == 6
    small = small_picture(opened_jpeg(content), long_side_px=100, quality=70)
    assert b"Exif" not in small and b"Secret" not in small and b"ICC" not in small
    with Image.open(io.BytesIO(small)) as shown:
        assert shown.size == (50, 100)
        assert dict(shown.getexif()) == {}
        assert set(shown.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


def test_a_comment_does_not_come_along() -> None:
    target = io.BytesIO()
    Image.new("RGB", (40, 30)).save(target, "JPEG", comment=b"Delphy was here")
    assert b"Delphy" in target.getvalue()
    assert b"Delphy" not in small_picture(opened_jpeg(target.getvalue()), long_side_px=30, quality=70)


def test_a_picture_is_never_made_larger() -> None:
    with Image.open(
        io.BytesIO(small_picture(opened_jpeg(plain_jpeg((64, 48))), long_side_px=1280, quality=80))
    ) as same:
        assert same.size == (64, 48)


def test_a_bomb_is_refused_before_it_is_unfolded() -> None:
    content = bytearray(plain_jpeg((16, 16)))
    frame = content.index(b"\xff\xc0")  # start of frame: length, precision, then height and width (ITU T.81, B.2.2)
    content[frame + 5 : frame + 9] = (60_000).to_bytes(2, "big") * 2
    assert MOST_PIXELS < 60_000**2
    with pytest.raises(InputError, match="more pixels"):
        opened_jpeg(bytes(content))


@pytest.mark.parametrize(
    "content", [b"this is a shopping list\n", b"\xff\xd8", b"\x89PNG\r\n\x1a\n" + b"\0" * 60, b"\xff"]
)
def test_what_is_no_jpeg(content: bytes) -> None:
    with pytest.raises(InputError):
        small_picture(opened_jpeg(content), long_side_px=100, quality=70)


def test_a_picture_cut_short() -> None:
    target = io.BytesIO()
    Image.effect_noise((400, 300), 60).convert("RGB").save(target, "JPEG")
    with pytest.raises(InputError, match="cut short"):
        small_picture(opened_jpeg(target.getvalue()[:9000]), long_side_px=360, quality=70)


def test_a_reader_that_warns_of_tags_stops_nothing(recwarn: pytest.WarningsRecorder) -> None:
    class Grumbling:
        def getexif(self) -> Image.Exif:
            warnings.warn("Corrupt EXIF data", UserWarning, stacklevel=2)
            return opened_jpeg(tagged_jpeg(gps=SPOT)).getexif()

    found = camera_said(Grumbling(), zone=CHICAGO)  # type: ignore[arg-type]
    assert found.lonlat is not None and not recwarn.list


def test_longer_words_than_a_tag_holds_are_none() -> None:
    # 48 letters are read, one more is not; "V" at the end would say that the receiver had no fix
    for length, lost in ((48, True), (49, False)):
        found = said(SPOT | {9: "V".rjust(length)})
        assert (found.lonlat is None) is lost
