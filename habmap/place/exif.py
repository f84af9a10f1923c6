"""Where, when and which way a photo was taken, as the camera wrote it; whatever is not sound is said, never guessed.

References
----------
Exif 3.0 (CIPA DC-008-Translation-2023): GPS attribute information in 4.6.7 (tag numbers, N/S/E/W and T/M references,
``GPSTimeStamp`` in UTC, ``GPSStatus`` A or V, ``GPSImgDirection`` 0 to 359.99), ``DateTimeOriginal`` and
``OffsetTimeOriginal`` in 4.6.6. Section numbers from memory; tag numbers and
meanings as Pillow's ``ExifTags`` has them.
"""

from __future__ import annotations

import math
import re
import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, timezone, tzinfo
from typing import TYPE_CHECKING, Any, Final, Literal

if TYPE_CHECKING:
    from PIL.Image import Image

_EXIF_IFD, _GPS_IFD = 0x8769, 0x8825
_DATE_TIME_ORIGINAL, _OFFSET_TIME_ORIGINAL = 0x9003, 0x9011
_LAT_REF, _LAT, _LON_REF, _LON = 1, 2, 3, 4
_TIME_STAMP, _STATUS, _DIRECTION_REF, _DIRECTION, _DATUM, _DATE_STAMP, _ERROR = 7, 9, 16, 17, 18, 29, 31
#: Datums that lie within the receiver's own error of WGS 84.
_SAME_DATUMS: Final = frozenset({"", "WGS84", "WGS1984", "NAD83", "NAD1983", "GRS80", "ITRF"})
_DAY: Final = re.compile(r"(\d{4})[:\-/](\d{2})[:\-/](\d{2})")
_MOMENT: Final = re.compile(r"(\d{4})[:\-/](\d{2})[:\-/](\d{2})[ T](\d{2}):(\d{2}):(\d{2})")
_OFFSET: Final = re.compile(r"([+-])(\d{2}):(\d{2})")
#: Longest word that a field of these tags can hold.
_LONGEST: Final = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraSaid:
    """What a picture says of itself.

    Attributes
    ----------
    lonlat
        WGS 84 [°]; ``None`` with the reason in ``no_position``.
    direction_deg, direction_ref
        Clockwise from true (``T``) or magnetic (``M``) north [°].
    taken_at
        With its time zone; ``None`` with the reason in ``no_time``.
    error_m
        The receiver's horizontal error [m].
    doubts
        What was there but not sound, in words.
    """

    lonlat: tuple[float, float] | None
    no_position: str
    direction_deg: float | None
    direction_ref: Literal["T", "M"] | None
    taken_at: datetime | None
    no_time: str
    error_m: float | None
    doubts: tuple[str, ...]


def camera_said(image: Image, *, zone: tzinfo) -> CameraSaid:
    """Read the tags of an opened JPEG.

    Parameters
    ----------
    image
        Opened, decoded or not.
    zone
        Time zone of the place, for camera clocks that name none.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            exif = image.getexif()
            own = dict(exif.get_ifd(_EXIF_IFD))
            gps = dict(exif.get_ifd(_GPS_IFD))
    except Exception as error:  # whatever the reader stumbles over in hostile tags
        why = f"its tags cannot be read ({type(error).__name__})"
        return CameraSaid(
            lonlat=None, no_position=why, direction_deg=None, direction_ref=None, taken_at=None, no_time=why,
            error_m=None, doubts=(),
        )  # fmt: skip
    doubts: list[str] = []
    lonlat, no_position = _position(gps)
    direction_deg, direction_ref = _direction(gps, doubts)
    taken_at, no_time = _moment(own, gps, zone, doubts)
    error_m = _number(gps.get(_ERROR))
    return CameraSaid(
        lonlat=lonlat,
        no_position=no_position,
        direction_deg=direction_deg,
        direction_ref=direction_ref,
        taken_at=taken_at,
        no_time=no_time,
        error_m=error_m if error_m is not None and 0 < error_m < 10_000 else None,
        doubts=tuple(doubts),
    )


def _position(gps: Mapping[int, Any]) -> tuple[tuple[float, float] | None, str]:
    if _LAT not in gps and _LON not in gps:
        return None, "the camera wrote no position"
    if _word(gps.get(_STATUS)).upper() == "V":
        return None, "the camera's receiver had no fix"
    datum = re.sub(r"[^A-Z0-9]", "", _word(gps.get(_DATUM)).upper())
    if datum not in _SAME_DATUMS:
        return None, f"its position is on the datum {datum}, not on WGS 84"
    lat, why = _angle(gps, _LAT, _LAT_REF, "NS", most_deg=90.0, what="latitude")
    if lat is None:
        return None, why
    lon, why = _angle(gps, _LON, _LON_REF, "EW", most_deg=180.0, what="longitude")
    if lon is None:
        return None, why
    if lat == 0.0 and lon == 0.0:
        return None, "its position is 0° N, 0° E, which cameras write when they have none"
    return (lon, lat), ""


def _angle(
    gps: Mapping[int, Any], tag: int, ref_tag: int, signs: str, *, most_deg: float, what: str
) -> tuple[float | None, str]:
    """Return signed degrees from degrees, minutes and seconds, or why not."""
    ref = _word(gps.get(ref_tag)).upper()
    if ref not in (signs[0], signs[1]):
        return None, f"its {what} does not say {signs[0]} or {signs[1]}"
    parts = gps.get(tag)
    if not isinstance(parts, tuple | list) or not 1 <= len(parts) <= 3:
        return None, f"its {what} is not made of degrees, minutes and seconds"
    numbers = [_number(part) for part in parts]
    if any(number is None or number < 0 for number in numbers):
        return None, f"its {what} holds no number"
    degrees, minutes, seconds = ([float(number or 0.0) for number in numbers] + [0.0, 0.0])[:3]
    if minutes >= 60 or seconds >= 60:
        return None, f"its {what} has 60 minutes or seconds, or more"
    value = degrees + minutes / 60 + seconds / 3600
    if value > most_deg:
        return None, f"its {what} is {value:g}°, beyond {most_deg:g}°"
    return (value if ref == signs[0] else -value), ""


def _direction(gps: Mapping[int, Any], doubts: list[str]) -> tuple[float | None, Literal["T", "M"] | None]:
    if _DIRECTION not in gps:
        return None, None
    value, ref = _number(gps[_DIRECTION]), _word(gps.get(_DIRECTION_REF)).upper()
    if value is None or not 0 <= value <= 360:
        doubts.append("the direction it looks is no angle from 0° to 360°, and is left out")
        return None, None
    if ref == "T":
        return value % 360, "T"
    if ref == "M":
        return value % 360, "M"
    doubts.append("its direction does not say whether from true or magnetic north, and is left out")
    return None, None


def _moment(
    own: Mapping[int, Any], gps: Mapping[int, Any], zone: tzinfo, doubts: list[str]
) -> tuple[datetime | None, str]:
    """Return the satellites' time where it is whole, else the camera's clock."""
    satellites, clock = _gps_moment(gps), _clock_moment(own, zone)
    if satellites is None and clock is None:
        if _word(own.get(_DATE_TIME_ORIGINAL)):
            return None, "its date is no date that exists"
        return None, "the camera wrote no date"
    if satellites is None:
        return clock, ""
    if clock is not None and abs(clock - satellites) > timedelta(hours=36):
        doubts.append(
            f"its clock said {clock.date().isoformat()} where the satellites said {satellites.date().isoformat()}; "
            "theirs is taken"
        )
    return satellites, ""


def _gps_moment(gps: Mapping[int, Any]) -> datetime | None:
    day = _DAY.fullmatch(_word(gps.get(_DATE_STAMP)))
    parts = gps.get(_TIME_STAMP)
    if day is None or not isinstance(parts, tuple | list) or len(parts) != 3:
        return None
    numbers = [_number(part) for part in parts]
    if any(number is None for number in numbers):
        return None
    hours, minutes, seconds = (float(number or 0.0) for number in numbers)
    if not (0 <= hours < 24 and 0 <= minutes < 60 and 0 <= seconds < 61):
        return None
    try:
        midnight = datetime.combine(date(int(day[1]), int(day[2]), int(day[3])), time(), UTC)
        return midnight + timedelta(hours=hours, minutes=minutes, seconds=math.floor(seconds))
    except (ValueError, OverflowError):
        return None


def _clock_moment(own: Mapping[int, Any], zone: tzinfo) -> datetime | None:
    found = _MOMENT.fullmatch(_word(own.get(_DATE_TIME_ORIGINAL)))
    if found is None:
        return None
    offset = _OFFSET.fullmatch(_word(own.get(_OFFSET_TIME_ORIGINAL)))
    if offset is not None and int(offset[2]) <= 14 and int(offset[3]) < 60:
        away = timedelta(hours=int(offset[2]), minutes=int(offset[3]))
        zone = timezone(away if offset[1] == "+" else -away)
    try:
        year, month, day, hour, minute, second = (int(part) for part in found.groups())
        return datetime(year, month, day, hour, minute, second, tzinfo=zone)
    except ValueError:
        return None


def _number(value: Any) -> float | None:
    """Return a rational or other number where it is finite; a denominator of 0 makes none."""
    try:
        number = float(value)
    except (TypeError, ValueError, ArithmeticError):
        return None
    return number if math.isfinite(number) else None


def _word(value: Any) -> str:
    """Return a tag's short text, without its closing zero bytes; anything long or of another kind is none."""
    if isinstance(value, bytes):
        value = value[: _LONGEST + 8].decode("ascii", "replace")
    if not isinstance(value, str) or len(value) > _LONGEST + 8:
        return ""
    return value.replace("\x00", "").strip()
