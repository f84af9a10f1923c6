"""GeoPackage geometry blobs: a short header, the envelope, then little-endian WKB.

References
----------
OGC GeoPackage Encoding Standard 1.3 (OGC 12-128r17), clause 2.1.3, tables 5 and 6.
"""

from __future__ import annotations

import struct
from typing import Final

import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from habmap.errors import PlaceError
from habmap.land.meridian import running_on

WGS84_SRS_ID: Final = 4326

_MAGIC: Final = b"GP"
_HEADER: Final = struct.Struct("<2sBBi")
_ENVELOPE: Final = struct.Struct("<4d")
_LITTLE_ENDIAN: Final = 0b0000_0001
_ENVELOPE_XY: Final = 0b0000_0010
_EMPTY: Final = 0b0001_0000
#: Bytes of the envelope by the indicator in bits 1 to 3 of the flags.
_ENVELOPE_BYTES: Final = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}
#: Kinds of WKB that are no collection: a point, lines of points, rings of points.
_POINT: Final = 1
_LINES: Final = (2, 8)
_RINGS: Final = (3, 17)
_HAS_SRID: Final = 0x2000_0000
#: Collections in one another that anybody draws; chosen.
_DEEPEST: Final = 32
#: A shorter blob cannot hold so many that it ends the process: nine bytes each.
_NESTS_FROM_BYTES: Final = 9 * 2_000


def to_blob(geometry: BaseGeometry) -> bytes:
    """Return a lon/lat geometry as a GeoPackage blob, coordinates unrounded, Z and M dropped.

    Its west edge lies from −180 up to 180; across the 180° meridian its longitudes run on.
    """
    geometry = running_on(geometry)
    wkb: bytes = shapely.to_wkb(geometry, byte_order=1, output_dimension=2, include_srid=False)
    if geometry.is_empty:
        return _HEADER.pack(_MAGIC, 0, _LITTLE_ENDIAN | _EMPTY, WGS84_SRS_ID) + wkb
    min_x, min_y, max_x, max_y = geometry.bounds
    header = _HEADER.pack(_MAGIC, 0, _LITTLE_ENDIAN | _ENVELOPE_XY, WGS84_SRS_ID)
    return header + _ENVELOPE.pack(min_x, max_x, min_y, max_y) + wkb


def from_blob(blob: bytes, *, where: str) -> BaseGeometry:
    """Return the geometry of a GeoPackage blob, whoever wrote it, in either byte order.

    Raises
    ------
    PlaceError
        The bytes are no such blob.
    """
    try:
        if blob[:2] != _MAGIC:
            raise ValueError("no GP header")
        start = _HEADER.size + _ENVELOPE_BYTES[(blob[3] >> 1) & 0b111]
        wkb = blob[start:]
        if len(wkb) >= _NESTS_FROM_BYTES and _deepest(wkb) > _DEEPEST:
            raise ValueError("collections in collections without end")
        return shapely.force_2d(shapely.from_wkb(wkb))
    # NotImplementedError: arcs, which another program may have drawn
    except (
        IndexError, KeyError, ValueError, TypeError, NotImplementedError, struct.error, shapely.errors.ShapelyError,
    ) as error:  # fmt: skip
        raise PlaceError(
            "a stored outline is damaged",
            where=where,
            value=error,
            mend="restore the property's folder from a copy",
        ) from error


def _deepest(wkb: bytes) -> int:
    """Return how many collections lie in one another: GEOS reads them by calling itself, until the process ends.

    Raises
    ------
    struct.error
        The bytes end too soon.
    """
    lacking: list[int] = []  # parts still to come, of each collection that is open
    at = deepest = 0
    while True:
        order = "<" if wkb[at : at + 1] == b"\x01" else ">"
        kind, count = struct.unpack_from(f"{order}II", wkb, at + 1)
        if kind & _HAS_SRID:
            (count,) = struct.unpack_from(f"{order}I", wkb, at + 9)
            at += 4
        size = 8 * (2 + (kind >> 31) + (kind >> 30 & 1) + (0, 1, 1, 2)[(kind & 0xFFFF) // 1000 % 4])
        at, kind = at + 9, (kind & 0xFFFF) % 1000
        if kind == _POINT:
            at += size - 4
        elif kind in _LINES:
            at += size * count
        elif kind in _RINGS:
            for _ in range(count):
                (corners,) = struct.unpack_from(f"{order}I", wkb, at)
                at += 4 + size * corners
        else:
            lacking.append(count)
            deepest = max(deepest, len(lacking))
            if deepest > _DEEPEST:
                return deepest
        while lacking and not lacking[-1]:
            lacking.pop()
        if not lacking:
            return deepest
        lacking[-1] -= 1


def bounds_of(blob: bytes | None) -> tuple[float, float, float, float] | None:
    """Return the bounds (min x, min y, max x, max y) of a GeoPackage blob; ``None`` without one or where it is empty.

    Raises
    ------
    PlaceError
        The bytes are no such blob.
    """
    if blob is None:
        return None
    geometry = from_blob(blob, where="a stored outline")
    return None if geometry.is_empty else geometry.bounds


def as_multipolygon(geometry: BaseGeometry, *, where: str) -> MultiPolygon:
    """Return polygonal ground as a multipolygon.

    Raises
    ------
    PlaceError
        The geometry is not polygonal.
    """
    if isinstance(geometry, MultiPolygon):
        return geometry
    if isinstance(geometry, Polygon):
        return MultiPolygon([geometry])
    raise PlaceError(
        "a stored outline is not ground",
        where=where,
        value=geometry.geom_type,
        allowed="polygons",
        mend="`habmap check` lists such rows; restore the folder from a copy",
    )
