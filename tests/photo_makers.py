"""Photos for tests: a plain JPEG with tags that are laid out here byte by byte, apart from the library that reads them.

The layout is TIFF 6.0, section 2 (header, image file directories of 12-byte entries, values of more than 4 bytes by
offset), inside an APP1 segment that begins ``Exif\\0\\0`` (Exif 3.0, CIPA DC-008, 4.5.4 and 4.7.2). Written
from memory.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Mapping
from pathlib import Path

from PIL import Image

EXIF_IFD, GPS_IFD = 0x8769, 0x8825
ASCII, LONG, RATIONAL = 2, 4, 5

Value = str | int | tuple[int, int] | list[tuple[int, int]]


def plain_jpeg(size: tuple[int, int] = (64, 48), color: str = "#406030") -> bytes:
    """Return a JPEG without tags."""
    target = io.BytesIO()
    Image.new("RGB", size, color).save(target, "JPEG", quality=60)
    return target.getvalue()


def tagged_jpeg(
    *,
    gps: Mapping[int, Value] | None = None,
    own: Mapping[int, Value] | None = None,
    top: Mapping[int, Value] | None = None,
    size: tuple[int, int] = (64, 48),
    color: str = "#406030",
) -> bytes:
    """Return a JPEG with tags of the first, the Exif and the GPS directory; rationals are (numerator, denominator)."""
    plain = plain_jpeg(size, color)
    segment = b"Exif\x00\x00" + _tiff(dict(top or {}), dict(own or {}), dict(gps or {}))
    return plain[:2] + b"\xff\xe1" + struct.pack(">H", len(segment) + 2) + segment + plain[2:]


def place_tags(lat: float, lon: float, direction_deg: float | None = None, ref: str = "T") -> dict[int, Value]:
    """Return the GPS tags of a spot: whole degrees, whole minutes, seconds to a thousandth."""
    tags: dict[int, Value] = {
        1: "N" if lat >= 0 else "S", 2: sexagesimal(abs(lat)), 3: "E" if lon >= 0 else "W", 4: sexagesimal(abs(lon)),
    }  # fmt: skip
    if direction_deg is not None:
        tags |= {16: ref, 17: (round(direction_deg * 100), 100)}
    return tags


def sexagesimal(degrees: float) -> list[tuple[int, int]]:
    milli = round(degrees * 3600 * 1000)
    return [(milli // 3_600_000, 1), (milli // 60_000 % 60, 1), (milli % 60_000, 1000)]


def write_photo(path: Path, lat: float, lon: float, direction_deg: float | None, taken: str, *, color: str) -> Path:
    """Write a photo with its place, direction from true north and the camera's own clock (``YYYY:MM:DD HH:MM:SS``)."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(tagged_jpeg(gps=place_tags(lat, lon, direction_deg), own={0x9003: taken}, color=color))
    return path


def _tiff(top: dict[int, Value], own: dict[int, Value], gps: dict[int, Value]) -> bytes:
    """Lay the three directories one after the other, little-endian, each followed by its long values."""
    start = 8
    sizes = [_size(directory) for directory in (top | {EXIF_IFD: 0, GPS_IFD: 0}, own)]
    top_at, own_at, gps_at = start, start + sizes[0], start + sizes[0] + sizes[1]
    top |= {EXIF_IFD: own_at, GPS_IFD: gps_at}
    return (
        b"II*\x00"
        + struct.pack("<I", start)
        + b"".join(_directory(directory, at) for directory, at in ((top, top_at), (own, own_at), (gps, gps_at)))
    )


def _size(directory: Mapping[int, Value]) -> int:
    return 2 + 12 * len(directory) + 4 + sum(len(_long(value)[2]) for value in directory.values())


def _directory(directory: Mapping[int, Value], at: int) -> bytes:
    entries, values = b"", b""
    values_at = at + 2 + 12 * len(directory) + 4
    for tag in sorted(directory):
        kind, count, content = _long(directory[tag])
        short = _short(directory[tag])
        if short is not None:
            entries += struct.pack("<HHI", tag, kind, count) + short
        else:
            entries += struct.pack("<HHII", tag, kind, count, values_at + len(values))
            values += content
    return struct.pack("<H", len(directory)) + entries + struct.pack("<I", 0) + values


def _short(value: Value) -> bytes | None:
    if isinstance(value, int):
        return struct.pack("<I", value)
    if isinstance(value, str) and len(value) < 4:
        return (value.encode("ascii") + b"\x00" * 4)[:4]
    return None


def _long(value: Value) -> tuple[int, int, bytes]:
    """Return type, count and the bytes that stand outside the entry (none where the value fits into it)."""
    if isinstance(value, int):
        return LONG, 1, b""
    if isinstance(value, str):
        content = value.encode("ascii") + b"\x00"
        return ASCII, len(content), b"" if len(content) <= 4 else content + b"\x00" * (len(content) % 2)
    pairs = value if isinstance(value, list) else [value]
    return RATIONAL, len(pairs), b"".join(struct.pack("<II", *pair) for pair in pairs)
