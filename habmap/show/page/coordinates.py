"""Outlines as the page's scripts read them: degrees at 1e-6, or whole micro-degrees step by step."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from habmap.land.grid import wkbs
from habmap.land.label_room import label_rooms
from habmap.memory import remembered

#: Decimals of a degree: 0.11 m of latitude, finer than any boundary walked.
DEGREE_DECIMALS: Final = 6


def pair(lonlat: tuple[float, float]) -> list[float]:
    """Return a position, rounded."""
    return [round(lonlat[0], DEGREE_DECIMALS), round(lonlat[1], DEGREE_DECIMALS)]


@remembered
def geojson(shape: BaseGeometry) -> dict[str, Any]:
    """Return a shape (lon/lat) as a GeoJSON geometry, rounded."""
    found: dict[str, Any] = shapely.geometry.mapping(shape)
    if "geometries" in found:
        return {"type": found["type"], "geometries": [geojson(part) for part in shape.geoms]}  # type: ignore[attr-defined]
    return {"type": found["type"], "coordinates": _rounded(found["coordinates"])}


def geojson_texts(shapes: Iterable[BaseGeometry]) -> list[str]:
    """Return many shapes (lon/lat) as `geojson`, each as JSON text; those told before are found quickly."""
    return [_geojson_text(wkb) for wkb in wkbs(shapes)]


@remembered
def _geojson_text(wkb: bytes) -> str:
    return text_of(geojson(shapely.from_wkb(wkb)))


def text_of(value: object) -> str:
    """Return a value as JSON, as short as it can be written."""
    return json.dumps(value, allow_nan=False, ensure_ascii=False, separators=(",", ":"))


def steps(lonlat: NDArray[np.float64]) -> list[int]:
    """Return a line as whole micro-degrees, each vertex as the step from the one before it (the first from 0)."""
    micro = np.rint(lonlat * 10**DEGREE_DECIMALS).astype(np.int64)
    found: list[int] = np.diff(micro, axis=0, prepend=np.zeros((1, 2), np.int64)).ravel().tolist()
    return found


def rooms_texts(shapes: Sequence[BaseGeometry]) -> list[str]:
    """Return the rooms for words (`label_rooms`) of each shape (lon/lat): middle, half width and half height [°].

    As JSON text of a list of rooms.
    """
    if not shapes:
        return []
    _, south, _, north = shapely.total_bounds(list(shapes))
    # A screen's true shapes, to a hair; the same as long as what is shown does not grow by a mile.
    flat = float(np.cos(np.radians(round((south + north) / 2, 1))))
    return [_rooms_text(wkb, flat) for wkb in wkbs(shapes)]


@remembered
def _rooms_text(wkb: bytes, flat: float) -> str:
    shape = shapely.from_wkb(wkb)
    stretch = np.array([flat, 1.0])
    (found,) = label_rooms([shapely.transform(shape, stretch.__mul__)])
    found[:, :2] /= stretch
    found[:, 2] /= flat
    return text_of([np.round(room, DEGREE_DECIMALS + 1).tolist() for room in found if np.isfinite(room[0])])


@remembered
def stepped_polygons(shape: BaseGeometry) -> list[list[list[int]]]:
    """Return a polygon or multipolygon as its polygons, each of its rings as `steps`, last vertex left out.

    Holes run against their shell, so that a drawing may fill by winding: there, ground that two neighbors cover by a
    hair is no hole.
    """
    return [
        [steps(shapely.get_coordinates(ring)[:-1]) for ring in (polygon.exterior, *polygon.interiors)]
        for polygon in map(shapely.orient_polygons, shapely.get_parts(shape))
    ]


def _rounded(coordinates: Sequence[Any]) -> list[Any]:
    if coordinates and isinstance(coordinates[0], int | float):
        return [round(float(value), DEGREE_DECIMALS) for value in coordinates[:2]]
    return [_rounded(part) for part in coordinates]
