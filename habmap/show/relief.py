"""The shape of the ground as a printer would lay it down: one ink of shade, and contour hairlines with heights."""

from __future__ import annotations

import base64
import io
import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import contourpy
import numpy as np
import shapely
from affine import Affine
from numpy.typing import NDArray
from PIL import Image
from rasterio.crs import CRS
from rasterio.warp import Resampling, calculate_default_transform, reproject
from shapely.geometry.base import BaseGeometry

from habmap.measures import M_PER_FT
from habmap.show.palette import INK

#: Most cells of the drawn relief; more than a screen shows only makes the file heavy.
RELIEF_CELLS: Final = 200_000
_MERCATOR: Final = CRS.from_epsg(3857)
_EARTH_RADIUS_M: Final = 6378137.0  # of EPSG:3857
#: Contour steps that people are used to [ft].
_CONTOUR_STEPS_FT: Final = (2, 5, 10, 20, 40, 50, 100, 200, 400, 500, 1000)
_MOST_CONTOURS: Final = 16
#: Shade is drawn as if the steepest twentieth were this steep in the mean, so that gentle ground shows its shape.
_SHOWN_SLOPE: Final = 0.45
_MOST_EXAGGERATION: Final = 6.0
_SUN_AZIMUTH_DEG: Final = 315.0
_SUN_HEIGHT_DEG: Final = 45.0
_DARKEST_ALPHA: Final = 0.40
_ALPHA_STEPS: Final = 32
#: Width of the edge along which the shade thins out, as a share of the picture's larger side.
_EDGE: Final = 0.12


@dataclass(frozen=True, slots=True)
class Contour:
    """One contour line: height [ft], vertices lon/lat [°] of shape (n, 2), and whether it carries its height."""

    height_ft: int
    lonlat: NDArray[np.float64]
    is_index: bool


@dataclass(frozen=True, slots=True)
class Relief:
    """What the page draws of the elevation.

    Attributes
    ----------
    image
        PNG as a data URI: dark ink whose transparency is the light; true to EPSG:3857 between the corners.
    south, west, north, east
        Corners of the image, WGS 84 [°].
    contour_step_ft
        Height between contours [ft].
    cell_m
        Ground size of the averaged cell drawn here [m].
    exaggeration
        How much steeper than true the shade is drawn.
    """

    image: str
    south: float
    west: float
    north: float
    east: float
    contours: tuple[Contour, ...]
    contour_step_ft: int
    cell_m: float
    exaggeration: float


def relief_bounds(shapes: Sequence[BaseGeometry], *, margin: float = 0.25) -> tuple[float, float, float, float]:
    """Return west, south, east, north of what is drawn around shapes (lon/lat [°]).

    Parameters
    ----------
    margin
        Ground shown around them, as a share of their larger side.
    """
    west, south, east, north = map(float, shapely.total_bounds(list(shapes)))
    margin *= max(east - west, north - south)
    return (west - margin, south - margin, east + margin, north + margin)


def draw_relief(heights_m: NDArray[np.float64], *, transform: Affine, crs_wkt: str) -> Relief | None:
    """Return shade and contours of a small elevation array, or ``None`` if it has no height at all.

    Parameters
    ----------
    heights_m
        Heights [m], shape (rows, columns), NaN where unknown.
    transform
        From (column, row) to the coordinates of ``crs_wkt``.
    crs_wkt
        Coordinate reference system of the array, meters or degrees.

    Notes
    -----
    Heights are turned into EPSG:3857 first (bilinear), and shaded there with the true ground size of the cell: a
    Mercator meter is cos(latitude) ground meters.
    """
    rows, columns = heights_m.shape
    if rows < 3 or columns < 3 or not np.isfinite(heights_m).any():
        return None
    heights, grid = _to_mercator(heights_m, transform, crs_wkt)
    if np.isfinite(heights).sum() < 9:
        return None
    # north up, so that each side needs one step only
    corners = [(grid.c, grid.f), (grid.c + grid.a * heights.shape[1], grid.f + grid.e * heights.shape[0])]
    (west, north), (east, south) = _lonlat(np.array(corners)).tolist()
    middle_lat_deg = (north + south) / 2
    cell_m = grid.a * math.cos(math.radians(middle_lat_deg))
    alpha, exaggeration = _shade_alpha(heights, cell_m=cell_m)
    contours, step_ft = _contours(heights, grid)
    return Relief(
        image=_ink_png(alpha),
        south=south, west=west, north=north, east=east,
        contours=contours, contour_step_ft=step_ft, cell_m=cell_m, exaggeration=exaggeration,
    )  # fmt: skip


def _to_mercator(heights_m: NDArray[np.float64], transform: Affine, crs_wkt: str) -> tuple[NDArray[np.float64], Affine]:
    rows, columns = heights_m.shape
    crs = CRS.from_wkt(crs_wkt)
    # Written out because affine 3 warns of ``*`` and affine 2 has no ``@``.
    left, top = transform.c, transform.f
    right, bottom = transform.a * columns + transform.b * rows + left, transform.d * columns + transform.e * rows + top
    with warnings.catch_warnings():
        # rasterio 1.4 writes ``*`` where affine 3 wants ``@``
        warnings.simplefilter("ignore", PendingDeprecationWarning)
        grid, width, height = calculate_default_transform(
            crs, _MERCATOR, columns, rows,
            left=min(left, right), bottom=min(top, bottom), right=max(left, right), top=max(top, bottom),
        )  # fmt: skip
    turned = np.full((height, width), np.nan)
    reproject(
        heights_m.astype(np.float64), turned,
        src_transform=transform, src_crs=crs, src_nodata=np.nan,
        dst_transform=grid, dst_crs=_MERCATOR, dst_nodata=np.nan, resampling=Resampling.bilinear,
    )  # fmt: skip
    return turned, grid


def _lonlat(xy_m: NDArray[np.float64]) -> NDArray[np.float64]:
    """Turn EPSG:3857 meters of shape (n, 2) into lon/lat [°] (its own closed form: the sphere's inverse Mercator)."""
    lon = np.degrees(xy_m[:, 0] / _EARTH_RADIUS_M)
    return np.column_stack([lon, np.degrees(2 * np.arctan(np.exp(xy_m[:, 1] / _EARTH_RADIUS_M)) - np.pi / 2)])


def _shade_alpha(heights_m: NDArray[np.float64], *, cell_m: float) -> tuple[NDArray[np.float64], float]:
    """Return how much ink lies on each cell (0 to 1, 0 where the height is unknown) and the exaggeration used."""
    down, right = np.gradient(heights_m, cell_m)
    steepness = np.hypot(right, down)
    known = np.isfinite(steepness)
    steepest = steepness[known & (steepness >= np.quantile(steepness[known], 0.95))] if known.any() else np.zeros(1)
    exaggeration = float(np.clip(_SHOWN_SLOPE / max(float(steepest.mean()), 1e-6), 1.0, _MOST_EXAGGERATION))
    right, down = right * exaggeration, down * exaggeration
    height, azimuth = math.radians(_SUN_HEIGHT_DEG), math.radians(_SUN_AZIMUTH_DEG)
    # Light on a tilted plane: the surface normal is (-dz/dx, -dz/dnorth, 1); rows run south.
    toward_sun = (
        -right * math.sin(azimuth) * math.cos(height) + down * math.cos(azimuth) * math.cos(height) + math.sin(height)
    ) / np.sqrt(1 + right**2 + down**2)
    light = np.clip(toward_sun, 0, 1)
    # Toward the end of what is known the ink thins out, as a draughtsman's does; a hard edge would read as a border.
    from scipy import ndimage

    from_edge = ndimage.distance_transform_edt(np.pad(known, 1))[1:-1, 1:-1] / max(heights_m.shape)
    ink = np.where(known, _DARKEST_ALPHA * np.clip((0.88 - light) / 0.75, 0, 1) * np.clip(from_edge / _EDGE, 0, 1), 0.0)
    return ink, exaggeration


def _contours(heights_m: NDArray[np.float64], grid: Affine) -> tuple[tuple[Contour, ...], int]:
    """Return contours of lightly smoothed heights (Gaussian, sigma 1.2 cells) at a step that gives about a dozen."""
    heights_ft = _smoothed(heights_m) / M_PER_FT
    low, high = float(np.nanmin(heights_ft)), float(np.nanmax(heights_ft))
    step = next((s for s in _CONTOUR_STEPS_FT if (high - low) / s <= _MOST_CONTOURS), _CONTOUR_STEPS_FT[-1])
    rows, columns = heights_ft.shape
    x_m = grid.c + grid.a * (np.arange(columns) + 0.5)
    y_m = grid.f + grid.e * (np.arange(rows) + 0.5)
    known_ft = np.ma.masked_invalid(heights_ft)
    lines = contourpy.contour_generator(x_m, y_m, known_ft, line_type=contourpy.LineType.Separate)
    contours = []
    for level in range(math.ceil(low / step) * step, math.floor(high) + 1, step):
        for line in lines.lines(level):
            vertices = np.asarray(line)
            if len(vertices) < 8:  # a ring of one or two cells is a roughness of the raster, not a hill
                continue
            contours.append(Contour(level, _lonlat(vertices), level % (5 * step) == 0))
    return tuple(contours), step


def _smoothed(heights_m: NDArray[np.float64]) -> NDArray[np.float64]:
    """Smooth where heights are known, with the weight of unknown cells taken out."""
    known = np.isfinite(heights_m)
    from scipy import ndimage

    weight = ndimage.gaussian_filter(known.astype(np.float64), 1.2)
    filled = ndimage.gaussian_filter(np.where(known, heights_m, 0.0), 1.2)
    return np.where(known, filled / np.maximum(weight, 1e-9), np.nan)


def _ink_png(alpha: NDArray[np.float64]) -> str:
    """Return a palette PNG of one ink at :data:`_ALPHA_STEPS` strengths, as a data URI."""
    index = np.rint(np.clip(alpha, 0, 1) / _DARKEST_ALPHA * (_ALPHA_STEPS - 1)).astype(np.uint8)
    picture = Image.fromarray(index, "P")
    picture.putpalette(bytes.fromhex(INK.removeprefix("#")) * _ALPHA_STEPS)
    strengths = bytes(round(255 * _DARKEST_ALPHA * step / (_ALPHA_STEPS - 1)) for step in range(_ALPHA_STEPS))
    file = io.BytesIO()
    picture.save(file, "PNG", transparency=strengths, optimize=True)
    return "data:image/png;base64," + base64.b64encode(file.getvalue()).decode()
