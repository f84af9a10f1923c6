"""The shape of the ground as a printer would lay it down: one ink of shade, and contour hairlines with heights."""

from __future__ import annotations

import base64
import io
import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
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
from habmap.memory import remembered
from habmap.show.palette import INK, PAPER

#: Most cells of the drawn relief; more than a screen shows only makes the file heavy.
RELIEF_CELLS: Final = 200_000
_MERCATOR: Final = CRS.from_epsg(3857)
_EARTH_RADIUS_M: Final = 6378137.0  # of EPSG:3857
#: Contour steps [ft]: those of national sheets at 1:24,000 (5, 10, 20, 40, 80), and the like below and above them.
CONTOUR_STEPS_FT: Final = (1, 2, 5, 10, 20, 40, 80, 160, 400, 800)
#: How far apart contours stand on paper where the ground is rather steep [mm]: the middle of 1.5 to 3.
_APART_MM: Final = 2.1
#: The share of the ground that is less steep than that.
_RATHER_STEEP: Final = 0.75
#: On a screen or a sheet that is not known yet the ground that is drawn is taken to be so wide [mm].
_USUAL_WIDTH_MM: Final = 240.0
#: Lines are traced on a grid so many times finer than the heights, through a smooth surface.
_FINER: Final = 2
#: Heights are smoothed before that (Gaussian, sigma in cells), and no line is off by more than so much of a cell after.
_SMOOTH_CELLS: Final = 1.6
_THIN: Final = 0.04
#: Shade is drawn as if the steepest twentieth were this steep in the mean, so that gentle ground shows its shape.
_SHOWN_SLOPE: Final = 0.45
_MOST_EXAGGERATION: Final = 6.0
_SUN_AZIMUTH_DEG: Final = 315.0
_SUN_HEIGHT_DEG: Final = 45.0
_DARKEST_ALPHA: Final = 0.40
#: Ground in the sun is lit with paper, so that slopes show on the dark fill of standing cedar.
_LIGHTEST_ALPHA: Final = 0.26
_ALPHA_STEPS: Final = 32
#: Width of the edge along which the shade thins out, as a share of the picture's larger side.
_EDGE: Final = 0.03
#: Ground drawn around the property: so wide and so high, that a frame of any usual shape about it is filled. A frame's
#: width over its height is taken to lie between these.
_FRAME_SHAPES: Final = (0.7, 2.2)
_AIR: Final = 1.15


@dataclass(frozen=True, slots=True)
class Contour:
    """One contour line: height [ft], vertices lon/lat [°] of shape (n, 2), and whether it carries its height."""

    height_ft: int
    lonlat: NDArray[np.float64]
    is_index: bool


@dataclass(frozen=True)
class Relief:
    """What the page draws of the elevation; its picture and its contours are made when they are first asked for.

    Attributes
    ----------
    shade
        As alpha, shape (rows, columns): of ink where negative, of paper where positive; NaN: no height.
    south, west, north, east
        Corners of the image, WGS 84 [°].
    contour_step_ft
        Height between contours [ft].
    cell_m
        Ground size of the averaged cell drawn here [m].
    exaggeration
        How much steeper than true the shade is drawn.
    """

    south: float
    west: float
    north: float
    east: float
    contour_step_ft: int
    cell_m: float
    exaggeration: float
    shade: NDArray[np.float64]
    _heights_ft: NDArray[np.float64]
    _grid: Affine
    _steepness: float

    def at_scale(self, scale: float) -> Relief:
        """Return the same relief with the contours that a drawing at 1:``scale`` asks for."""
        step_ft = contour_step(self._steepness, scale)
        return self if step_ft == self.contour_step_ft else replace(self, contour_step_ft=step_ft)

    @cached_property
    def image(self) -> str:
        """PNG as a data URI: ink where it is darker than level ground and paper where it is lighter, as transparent as
        the light asks; true to EPSG:3857 between the corners.
        """
        return _ink_png(self.shade)

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """West, south, east, north of the picture [°]."""
        return self.west, self.south, self.east, self.north

    @property
    def may_have_contours(self) -> bool:
        """Whether the heights reach over a contour's; a hill of a cell or two has none all the same."""
        return _first_level(self._heights_ft, self.contour_step_ft) <= float(np.nanmax(self._heights_ft))

    @cached_property
    def contours(self) -> tuple[Contour, ...]:
        """The contour lines, each `contour_step_ft` of height."""
        return _contours(self._heights_ft, self._grid, self.contour_step_ft)


def contour_step(steepness: float, scale: float) -> int:
    """Return the step [ft] at which contours on ground of a steepness (rise over run) stand nearest to 2.1 mm apart."""
    wanted_ft = _APART_MM / 1000 * scale * max(steepness, 1e-4) / M_PER_FT
    return min(CONTOUR_STEPS_FT, key=lambda step: abs(math.log(step / wanted_ft)))


def relief_bounds(
    shapes: Sequence[BaseGeometry], *, margins: tuple[float, float] | None = None
) -> tuple[float, float, float, float]:
    """Return west, south, east, north of what is drawn around shapes (lon/lat [°]).

    Parameters
    ----------
    margins
        Ground shown to either side of them and above and below, as shares of their larger side; else what fills a frame
        of any usual shape.
    """
    west, south, east, north = map(float, shapely.total_bounds(list(shapes)))
    flat = math.cos(math.radians((south + north) / 2))
    if margins is not None:
        side = max((east - west) * flat, north - south)
        across, up = margins[0] * side / flat, margins[1] * side
        return (west - across, south - up, east + across, north + up)
    narrow, wide = _FRAME_SHAPES
    across, up = (east - west) * flat, north - south
    half_across = _AIR * max(across, wide * up) / 2 / flat
    half_up = _AIR * max(up, across / narrow) / 2
    middle = ((west + east) / 2, (south + north) / 2)
    return (middle[0] - half_across, middle[1] - half_up, middle[0] + half_across, middle[1] + half_up)


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
    Mercator meter is cos(latitude) ground meters. The same heights are drawn once, whichever file they came from.
    """
    t = transform
    return _drawn(heights_m.tobytes(), heights_m.shape, (t.a, t.b, t.c, t.d, t.e, t.f), crs_wkt)


@remembered
def _drawn(
    heights: bytes, shape: tuple[int, ...], terms: tuple[float, float, float, float, float, float], crs_wkt: str
) -> Relief | None:
    heights_m, transform = np.frombuffer(heights).reshape(shape), Affine(*terms)
    rows, columns = shape
    if rows < 3 or columns < 3 or not np.isfinite(heights_m).any():
        return None
    drawn, grid = _to_mercator(heights_m, transform, crs_wkt)
    if np.isfinite(drawn).sum() < 9:
        return None
    # north up, so that each side needs one step only
    corners = [(grid.c, grid.f), (grid.c + grid.a * drawn.shape[1], grid.f + grid.e * drawn.shape[0])]
    (west, north), (east, south) = _lonlat(np.array(corners)).tolist()
    middle_lat_deg = (north + south) / 2
    cell_m = grid.a * math.cos(math.radians(middle_lat_deg))
    shade, exaggeration = _shade(drawn, cell_m=cell_m)
    heights_ft = _smoothed(drawn) / M_PER_FT
    steepness = _steepness(heights_ft * M_PER_FT, cell_m)
    step_ft = contour_step(steepness, max(drawn.shape) * cell_m / (_USUAL_WIDTH_MM / 1000))
    return Relief(
        shade=shade, _heights_ft=heights_ft, _grid=grid, _steepness=steepness,
        south=south, west=west, north=north, east=east,
        contour_step_ft=step_ft, cell_m=cell_m, exaggeration=exaggeration,
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


def _shade(heights_m: NDArray[np.float64], *, cell_m: float) -> tuple[NDArray[np.float64], float]:
    """Return how much ink (negative) or paper (positive) lies on each cell (NaN: no height), and the exaggeration."""
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
    # Half of the cells about one at a straight edge are known, all of them a reach further in.
    inside = np.clip(2 * _mean_about(known, max(1, round(_EDGE * max(known.shape)))) - 1, 0, 1)
    level = math.sin(height)
    ink = _DARKEST_ALPHA * np.clip((0.88 - light) / 0.75, 0, 1)
    paper = _LIGHTEST_ALPHA * np.clip((light - level) / (1 - level), 0, 1)
    return np.where(known, (paper - ink) * inside, np.nan), exaggeration


def _steepness(heights_m: NDArray[np.float64], cell_m: float) -> float:
    """Return the rise over run that three quarters of the ground stay below."""
    down, right = np.gradient(heights_m, cell_m)
    slope = np.hypot(down, right)
    slope = slope[np.isfinite(slope)]
    return float(np.quantile(slope, _RATHER_STEEP)) if slope.size else 0.0


def _contours(heights_ft: NDArray[np.float64], grid: Affine, step: int) -> tuple[Contour, ...]:
    """Return contours of smoothed heights, traced through a smooth surface so that no corner of a cell shows."""
    first, high = _first_level(heights_ft, step), float(np.nanmax(heights_ft))
    rows, columns = heights_ft.shape
    heights_ft = _finer(heights_ft)
    x_m = grid.c + grid.a * (np.linspace(0, columns - 1, heights_ft.shape[1]) + 0.5)
    y_m = grid.f + grid.e * (np.linspace(0, rows - 1, heights_ft.shape[0]) + 0.5)
    known_ft = np.ma.masked_invalid(heights_ft)
    lines = contourpy.contour_generator(x_m, y_m, known_ft, line_type=contourpy.LineType.Separate)
    contours = []
    for level in range(first, math.floor(high) + 1, step):
        for line in lines.lines(level):
            vertices = np.asarray(line)
            if len(vertices) < 8 * _FINER:  # a ring of one or two cells is a roughness of the raster, not a hill
                continue
            kept = shapely.get_coordinates(shapely.simplify(shapely.LineString(vertices), _THIN * grid.a))
            contours.append(Contour(level, _lonlat(kept), level % (5 * step) == 0))
    return tuple(contours)


def _first_level(heights_ft: NDArray[np.float64], step: int) -> int:
    """Return the lowest height that a contour has on this ground [ft]."""
    return math.ceil(float(np.nanmin(heights_ft)) / step) * step


def _finer(heights_ft: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return heights on a grid twice as fine between the same corners; unknown ground stays unknown.

    Between four known heights in a row lies the cubic through them, beside the end of what is known a straight line.
    """
    for _ in range(2):  # rows, then columns
        first, second = heights_ft[:-1], heights_ft[1:]
        straight = (first + second) / 2
        around = np.vstack([np.full_like(first[:1], np.nan), heights_ft, np.full_like(first[:1], np.nan)])
        cubic = (9 * (first + second) - around[:-3] - around[3:]) / 16
        finer = np.empty((_FINER * len(heights_ft) - 1, heights_ft.shape[1]))
        finer[::_FINER], finer[1::_FINER] = heights_ft, np.where(np.isfinite(cubic), cubic, straight)
        heights_ft = finer.T
    return heights_ft


def _smoothed(heights_m: NDArray[np.float64]) -> NDArray[np.float64]:
    """Smooth where heights are known, with the weight of unknown cells taken out."""
    known = np.isfinite(heights_m)
    reach = math.ceil(4 * _SMOOTH_CELLS)
    weights = np.exp(-((np.arange(-reach, reach + 1) / _SMOOTH_CELLS) ** 2) / 2)
    filled, weight = (_weighted(values, weights) for values in (np.where(known, heights_m, 0.0), known.astype(float)))
    return np.where(known, filled / np.maximum(weight, 1e-9), np.nan)


def _weighted(values: NDArray[np.float64], weights: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the weighted sum of the values about each, along rows and columns; beyond the array lies nothing."""
    reach = len(weights) // 2
    for _ in range(2):
        padded = np.pad(values, ((reach, reach), (0, 0)))
        values = sum(weight * padded[k : k + len(values)] for k, weight in enumerate(weights.tolist())).T
    return values


def _mean_about(known: NDArray[np.bool_], reach: int) -> NDArray[np.float64]:
    """Return the share of known cells within so many rows and columns of each; beyond the array nothing is known."""
    share = known.astype(np.float64)
    for _ in range(2):
        sums = np.cumsum(np.pad(share, ((reach + 1, reach), (0, 0))), axis=0)
        share = ((sums[2 * reach + 1 :] - sums[: -2 * reach - 1]) / (2 * reach + 1)).T
    return share


def _ink_png(shade: NDArray[np.float64]) -> str:
    """Return a palette PNG of ink and paper, each at :data:`_ALPHA_STEPS` strengths, as a data URI."""
    value = np.nan_to_num(shade)
    ink = np.rint(np.clip(-value / _DARKEST_ALPHA, 0, 1) * (_ALPHA_STEPS - 1))
    paper = np.rint(np.clip(value / _LIGHTEST_ALPHA, 0, 1) * (_ALPHA_STEPS - 1))
    index = np.where(value > 0, _ALPHA_STEPS + paper, ink).astype(np.uint8)
    picture = Image.fromarray(index, "P")
    inks = [(INK, _DARKEST_ALPHA), (PAPER, _LIGHTEST_ALPHA)]
    picture.putpalette(b"".join(bytes.fromhex(color.removeprefix("#")) * _ALPHA_STEPS for color, _ in inks))
    strengths = bytes(round(255 * most * k / (_ALPHA_STEPS - 1)) for _, most in inks for k in range(_ALPHA_STEPS))
    file = io.BytesIO()
    picture.save(file, "PNG", transparency=strengths, optimize=True)
    return "data:image/png;base64," + base64.b64encode(file.getvalue()).decode()
