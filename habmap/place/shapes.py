"""Shapes from a file: turned into lon/lat, checked, and mended where a person asked for that."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import Transformer
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError
from habmap.land.acreage import crossing_words
from habmap.land.grid import grid_around
from habmap.land.meridian import RUNS_ON_DEG, joined, running_on, unwound
from habmap.measures import acres, so_many

#: A shape wider than this was drawn across the 180th meridian, or is not a place at all [°].
WIDEST_SPAN_DEG: Final = 90
_NAN_BYTES: Final = (b"\x00\x00\x00\x00\x00\x00\xf8\x7f", b"\x00\x00\x00\x00\x00\x00\xf8\xff")


def lonlat_shape(wkb: bytes | None, transformer: Transformer | None, *, where: str) -> BaseGeometry:
    """Return one shape of a file in lon/lat [°], 2-D, finite, on the globe, and whole across the 180° meridian.

    Parameters
    ----------
    wkb
        The shape in the layer's own coordinates.
    transformer
        What turns them; ``None`` leaves the numbers as they are, bit by bit.
    where
        File and row, for messages.

    Raises
    ------
    InputError
        There is no shape, it is empty, or a number in it is not finite or off the globe.
    """
    if wkb is None:
        raise InputError("this row has no shape", where=where, value="null", mend="draw it, or delete the row")
    # GEOS lets numpy complain of a NaN; here it becomes a fault with its row, below.
    with np.errstate(invalid="ignore"):
        shape = shapely.from_wkb(wkb, on_invalid="fix")
    if shape is None:
        has_nan = any(nan in wkb for nan in _NAN_BYTES)
        raise InputError(
            "a coordinate is not a number" if has_nan else "the shape cannot be read",
            where=where,
            value="NaN" if has_nan else None,
            allowed="finite numbers",
            mend="draw the outline again",
        )
    shape = shapely.force_2d(shape)
    if shape.is_empty:
        raise InputError(
            "this row has an empty shape", where=where, value=shape.geom_type, mend="draw it, or delete the row"
        )
    before = shapely.get_coordinates(shape)
    _check_numbers(before, where=where, is_degrees=transformer is None)
    if transformer is not None:
        # Looked at before they are a shape: a ring that runs to infinity is none.
        turned = np.column_stack(transformer.transform(before[:, 0], before[:, 1]))
        _check_numbers(turned, where=where, is_degrees=True, before=before)
        shape = _turned(shape, transformer)
    shape = joined(shape)
    _check_span(shape, where=where)
    return running_on(shape)


def _check_span(shape: BaseGeometry, *, where: str) -> None:
    west, _south, east, _north = shape.bounds
    if east - west > WIDEST_SPAN_DEG:
        raise InputError(
            "the shape reaches around the globe; it seems to cross the 180th meridian",
            where=where,
            value=f"longitudes {west:g} to {east:g}",
            allowed=f"at most {WIDEST_SPAN_DEG} degrees of longitude",
            mend="let its longitudes run on past 180 (179.998, 180.002), or cut it in two at ±180 as GeoJSON wants it",
        )


def _turned(shape: BaseGeometry, transformer: Transformer) -> BaseGeometry:
    def turn(xy: NDArray[np.float64]) -> NDArray[np.float64]:
        # A projection goes on where longitudes jump from 180 to −180.
        return unwound(np.column_stack(transformer.transform(xy[:, 0], xy[:, 1])))

    turned: BaseGeometry = shapely.transform(shape, turn)
    return turned


def _check_numbers(
    xy: NDArray[np.float64],
    *,
    where: str,
    is_degrees: bool,
    before: NDArray[np.float64] | None = None,
) -> None:
    bad = ~np.isfinite(xy).all(axis=1)
    if is_degrees:
        bad |= (np.abs(xy[:, 0]) > 180 + RUNS_ON_DEG) | (np.abs(xy[:, 1]) > 90)
    if not bad.any():
        return
    first = int(np.argmax(bad))
    x, y = (xy if before is None else before)[first]
    if before is None and not np.isfinite([x, y]).all():
        what = "a coordinate is not a number"
    elif is_degrees and before is None and np.abs(xy).max() > 400:
        what = "the numbers are meters or feet, but the layer says they are degrees"
    else:
        what = "a coordinate lies off the globe"
    raise InputError(
        what,
        where=where,
        value=f"{x:g}, {y:g}",
        allowed="longitude −180 to 180 first (an outline across 180 may run on past it), then latitude −90 to 90",
        mend="set the layer's true coordinate system in the program it came from and export again",
    )


def as_ground(shape: BaseGeometry, *, where: str) -> MultiPolygon:
    """Return a shape's polygons; a line or point, alone or in a collection, is refused, for it is no ground."""
    parts = _flat_parts(shape)
    polygons = [part for part in parts if isinstance(part, Polygon)]
    if len(polygons) < len(parts):
        other = next(part for part in parts if not isinstance(part, Polygon))
        raise InputError(
            "ground is wanted here, and this is not a polygon",
            where=where,
            value=other.geom_type,
            allowed="Polygon or MultiPolygon",
            mend="close the line into a polygon, or trace a GPS walk with `habmap trace`",
        )
    return MultiPolygon(polygons)


def _flat_parts(shape: BaseGeometry) -> list[BaseGeometry]:
    if hasattr(shape, "geoms"):
        return [leaf for part in shape.geoms for leaf in _flat_parts(part)]
    return [shape]


def as_valid(shape: BaseGeometry, *, where: str, repair: bool | None, repaired: list[str]) -> BaseGeometry:
    """Return a shape whose outline never crosses itself: as it is, or mended with ``repair`` (``None``: not to be had).

    Notes
    -----
    Mending keeps the ground that an outline encloses, by lobes (GEOS "structure" method), and adds to ``repaired`` in
    words the acres before, by the shoelace sum in which lobes drawn the other way round count negative, and after.
    """
    # A line that crosses itself is a line all the same; only outlines of ground can be wrong.
    if shape.is_valid or shapely.get_dimensions(shape) != 2:
        return shape
    what, spot = crossing_words(shape)
    mended = multipolygon(shapely.make_valid(shape, method="structure")) if repair else MultiPolygon()
    if mended.is_empty:
        raise InputError(
            what,
            where=where if spot is None else f"{where}, {spot}",
            value=f"{shape.geom_type} of {shapely.get_num_coordinates(shape)} points",
            allowed="an outline that never crosses itself",
            mend="draw it again, or let --repair mend it and read what that changes"
            if repair is False
            else "draw the outline again",
        )
    grid = grid_around([mended])
    before, after = (acres(abs(grid.to_grid(outline).area)) for outline in (shape, mended))
    repaired.append(
        f"{where}: {what}{f' {spot}' if spot else ''}; mended: {before:.2f} acres as drawn, {after:.2f} acres now "
        f"in {so_many(len(mended.geoms), 'part')}"
    )
    return mended


def multipolygon(shape: BaseGeometry) -> MultiPolygon:
    """Return the polygons of a shape, other parts left out."""
    return MultiPolygon([part for part in _flat_parts(shape) if isinstance(part, Polygon) and not part.is_empty])
