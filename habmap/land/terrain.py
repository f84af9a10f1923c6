"""Slope, aspect and heat load from elevation: plain arrays in, plain arrays out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

#: WGS 84 ellipsoid: semi-major axis [m] and squared first eccentricity (NIMA TR8350.2, third edition, table 3.1).
WGS84_A_M: Final = 6_378_137.0
WGS84_E2: Final = 0.006_694_379_990_141_317

#: Latitudes and slopes for which equation 3 of McCune & Keon (2002) was fitted [°].
HEAT_LOAD_LAT_DEG: Final = (30.0, 60.0)
HEAT_LOAD_MAX_SLOPE_DEG: Final = 60.0
#: Its constant, and the weights of cos L cos S, −sin L sin S and −cos A sin S.
HEAT_LOAD_COSINES: Final = (0.339, 0.808, 0.196, 0.482)


@dataclass(frozen=True, slots=True)
class GroundSteps:
    """How far one column step and one row step lead on the ground: a 2 × 2 Jacobian for every row.

    Attributes
    ----------
    east_per_col, north_per_col, east_per_row, north_per_row
        Meters toward true east and true north on the WGS 84 ellipsoid [m]; scalars, or arrays of shape ``(rows, 1)``.

    Notes
    -----
    One form for every raster: degrees (steps change with latitude), projections with a scale factor and with grid
    north off true north, rasters that are turned, or that have the south on top.
    """

    east_per_col: Floats
    north_per_col: Floats
    east_per_row: Floats
    north_per_row: Floats

    @property
    def cell_m2(self) -> Floats:
        """Ground area of one cell [m²]."""
        return np.abs(self._determinant)

    @property
    def _determinant(self) -> Floats:
        return self.east_per_col * self.north_per_row - self.east_per_row * self.north_per_col

    def gradient(self, dz_dcol: Floats, dz_drow: Floats) -> tuple[Floats, Floats]:
        """Turn height change per step into the ground gradient toward east and north [m/m].

        Parameters
        ----------
        dz_dcol, dz_drow
            Height change per column and per row step [m], shape ``(rows, cols)``.
        """
        determinant = self._determinant
        east = (self.north_per_row / determinant) * dz_dcol - (self.north_per_col / determinant) * dz_drow
        north = (self.east_per_col / determinant) * dz_drow - (self.east_per_row / determinant) * dz_dcol
        return east, north


def metres_per_degree(lat_deg: ArrayLike) -> tuple[Floats, Floats]:
    """Return the ground length of one degree of longitude and of latitude on WGS 84 [m/°].

    Notes
    -----
    N cos φ and M, the prime-vertical and meridian radii of curvature (Snyder 1987, USGS Professional Paper 1395,
    equations 4-19 and 4-20).
    """
    lat_rad = np.radians(np.asarray(lat_deg, dtype=np.float64))
    w2 = 1 - WGS84_E2 * np.sin(lat_rad) ** 2
    east = WGS84_A_M / np.sqrt(w2) * np.cos(lat_rad)
    north = WGS84_A_M * (1 - WGS84_E2) / w2**1.5
    return np.radians(east), np.radians(north)


def block_factor(cell_m: float, analysis_cell_m: float | Literal["native"]) -> int:
    """Return how many source cells side by side make one analysis cell; 1 for ``"native"``."""
    if analysis_cell_m == "native":
        return 1
    return max(1, round(analysis_cell_m / cell_m))


def block_average(heights: NDArray[np.floating], factor: int) -> Floats:
    """Average blocks of ``factor`` × ``factor`` cells from the first row and column on.

    A block with a cell that is not valid (NaN) is not valid; incomplete blocks at the far edges are dropped.
    """
    rows, cols = heights.shape[0] // factor, heights.shape[1] // factor
    whole = heights[: rows * factor, : cols * factor]
    if factor == 1:
        return whole.astype(np.float64)
    # Strided sums: a quarter of the time of reshaping and summing over axes.
    by_row = whole[::factor].astype(np.float64)
    for row in range(1, factor):
        by_row += whole[row::factor]
    total = by_row[:, ::factor].copy()
    for col in range(1, factor):
        total += by_row[:, col::factor]
    return total / factor**2


def horn_gradient(heights: Floats) -> tuple[Floats, Floats]:
    """Return the height change per column step and per row step by Horn's weights, in the unit of ``heights``.

    Parameters
    ----------
    heights
        Shape ``(rows, cols)``, float64, NaN where not valid.

    Returns
    -------
    dz_dcol, dz_drow
        Shape ``(rows, cols)``; NaN on the border and wherever one of the nine cells is not valid.

    Notes
    -----
    Weights 1 2 1 / 8 on both sides. The middle cell has no weight but must be valid.

    References
    ----------
    Horn, B. K. P. 1981. Hill shading and the reflectance map. Proceedings of the IEEE 69(1):14-47.

    Examples
    --------
    >>> import numpy as np
    >>> dz_dcol, dz_drow = horn_gradient(np.array([[3.0, 3, 3], [2, 2, 2], [1, 1, 1]]))
    >>> float(dz_dcol[1, 1]), float(dz_drow[1, 1])
    (0.0, -1.0)
    """
    dz_dcol = np.full(heights.shape, np.nan)
    dz_drow = np.full(heights.shape, np.nan)
    hole = heights[1:-1, 1:-1] * 0.0  # NaN where the middle cell is not valid, else 0
    down = heights[:-2] + 2 * heights[1:-1] + heights[2:]
    across = heights[:, :-2] + 2 * heights[:, 1:-1] + heights[:, 2:]
    dz_dcol[1:-1, 1:-1] = (down[:, 2:] - down[:, :-2]) / 8 + hole
    dz_drow[1:-1, 1:-1] = (across[2:] - across[:-2]) / 8 + hole
    # A missing cell in the middle column is seen by dz_drow only, one in the middle row by dz_dcol only.
    both = dz_dcol + dz_drow
    dz_dcol[np.isnan(both)] = np.nan
    dz_drow[np.isnan(both)] = np.nan
    return dz_dcol, dz_drow


def slope_deg(east: Floats, north: Floats) -> Floats:
    """Return the slope of a gradient [°]."""
    return np.degrees(np.arctan(np.hypot(east, north)))


def aspect_deg(east: Floats, north: Floats, *, flat_below_pct: float = 0.0) -> Floats:
    """Return the true bearing that the ground faces, downhill, 0 = north, 90 = east [°].

    NaN where the slope is below ``flat_below_pct``, or where there is none at all: flat ground faces nowhere.
    """
    rise = np.hypot(east, north)
    bearing = np.degrees(np.arctan2(-east, -north)) % 360
    return np.where((rise > 0) & (100 * rise >= flat_below_pct), bearing, np.nan)


def heat_load_mccune_keon_2002(lat_deg: ArrayLike, slope_deg: ArrayLike, aspect_deg: ArrayLike) -> Floats:
    """Return potential heat load by equation 3 [unitless].

    Parameters
    ----------
    lat_deg
        Latitude, 30 to 60 north [°]; NaN is returned outside.
    slope_deg
        0 to 60 [°]; NaN is returned outside.
    aspect_deg
        True bearing that the ground faces [°]. It has no weight where the slope is 0.

    Notes
    -----
    0.339 + 0.808 cos L cos S − 0.196 sin L sin S − 0.482 cos A sin S, with A = |180 − |aspect − 225||: southwest is
    hottest and northeast coolest. The value stands as fitted, it is not the exponent of anything. Clear-sky radiation
    alone peaks at south; the turn to southwest stands for warmer afternoons.

    References
    ----------
    McCune, B. & Keon, D. 2002. Equations for potential annual direct incident radiation and heat load. Journal of
    Vegetation Science 13:603-606. doi:10.1111/j.1654-1103.2002.tb02087.x

    Examples
    --------
    >>> round(float(heat_load_mccune_keon_2002(40, 30, 180)), 4)
    0.9825
    """
    lat = np.asarray(lat_deg, dtype=np.float64)
    slope = np.asarray(slope_deg, dtype=np.float64)
    folded = np.radians(np.abs(180 - np.abs(np.asarray(aspect_deg, dtype=np.float64) % 360 - 225)))
    lat_rad, slope_rad = np.radians(lat), np.radians(slope)
    sin_slope = np.sin(slope_rad)
    base, of_lat, of_slope, of_face = HEAT_LOAD_COSINES
    heat = (
        base
        + of_lat * np.cos(lat_rad) * np.cos(slope_rad)
        - of_slope * np.sin(lat_rad) * sin_slope
        - of_face * np.cos(folded) * sin_slope
    )
    low, high = HEAT_LOAD_LAT_DEG
    is_fitted = (lat >= low) & (lat <= high) & (slope >= 0) & (slope <= HEAT_LOAD_MAX_SLOPE_DEG)
    return np.where(is_fitted, heat, np.nan)
