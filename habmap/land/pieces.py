"""Terrain sums of pieces of ground: an outline's part of one tile, each cell by the exact share of it inside.

Two ways lead to the same sums, to the last bit: the plain one here, and `habmap.land.compiled`, made once for a machine
and then some ten times as fast. So every step stands in a fixed order: within a row from left to right, rows
from top to bottom, and nothing but sums, products, quotients and square roots, which every processor rounds alike.

A piece's figures depend on nothing but its own outline, the heights and the tile that it lies in, and on the tile by
rounding alone: true north and the size of a cell are each cell's own, between those of the piece's four corners. Over a
piece of 2 km they bend from that by less than 1e-8, so that neither a neighbor nor where tiles end moves a figure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from habmap.land.coverage import Floats, Ints, shares_in
from habmap.land.facerules import CLASSES_PER_PCT, FaceRules
from habmap.land.terrain import (
    HEAT_LOAD_COSINES,
    HEAT_LOAD_LAT_DEG,
    HEAT_LOAD_MAX_SLOPE_DEG,
    horn_gradient,
)

#: The plain sums of a piece, in order; `habmap.land.zones.ZoneTable` says what each is.
PLAIN_SUMS: Final = (
    "covered_m2", "slope_deg_m2", "gradient_east_m2", "gradient_north_m2", "gradient_length_m2",
    "heat_load_m2", "heat_load_ground_m2", "flat_cut_m2", "sun_cut_m2", "hand_cut_m2",
)  # fmt: skip
#: Slope classes that the compiled way has room for: 819%. A steeper piece is summed the plain way.
DENSE_CLASSES: Final = 8192
CLASSES_PER_RISE: Final = 100.0 * CLASSES_PER_PCT
#: Columns of no heights that stand to the right of a tile's, so that the compiled way may read eight at a time.
SPARE_COLS: Final = 8
#: Widest piece that it has room for [cells].
MOST_COLS: Final = 1280
#: The steepest class is the largest number that leaves room for polygons' own.
LAST_CLASS: Final = 2**31 - 1

# Arctangent by a quotient of polynomials, as in the Cephes library (S. L. Moshier 1989, atan.c); a test holds it
# against the C library's to the last two bits. The C library's own differs between systems, and cannot be taken
# for several cells at once.
_P0, _P1, _P2, _P3, _P4 = (
    -8.750608600031904122785e-1, -1.615753718733365076637e1, -7.500855792314704667340e1, -1.228866684490136173410e2,
    -6.485021904942025371773e1,
)  # fmt: skip
_Q0, _Q1, _Q2, _Q3, _Q4 = (
    2.485846490142306297962e1, 1.650270098316988542046e2, 4.328810604912902668951e2, 4.853903996359136964868e2,
    1.945506571482613964425e2,
)  # fmt: skip
#: Below the first the polynomials hold; from the second on the angle's complement is taken (the tangent of 67.5°).
GENTLE_RISE: Final = 0.66
SHEER_RISE: Final = 2.414213562373095
DEG_PER_RAD: Final = 180.0 / math.pi
#: Rise of the steepest slope for which the heat load was fitted.
FITTED_RISE: Final = math.tan(math.radians(HEAT_LOAD_MAX_SLOPE_DEG))
#: What the sum of the gradients toward east and north weighs in the heat load.
HEAT_FACE: Final = HEAT_LOAD_COSINES[3] * math.sqrt(0.5)


def arctan_parts(square: Any) -> tuple[Any, Any]:
    """Return the two polynomials of a tangent's square whose quotient the arctangent needs; numbers or arrays."""
    fourth = square * square  # by twos: a processor need not wait for one term after another
    over = (_P0 * fourth + (_P1 * square + _P2)) * fourth + (_P3 * square + _P4)
    under = ((square + _Q0) * fourth + (_Q1 * square + _Q2)) * fourth + (_Q3 * square + _Q4)
    return over, under


def small_arctan_deg(tangent: Any) -> Any:
    """Return the angle whose tangent is −1 to 0.66 [°]; of a number or of an array."""
    square = tangent * tangent
    over, under = arctan_parts(square)
    return (tangent + tangent * (square * (over / under))) * DEG_PER_RAD


def slope_figures(square: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the rise, the angle [°] and the angle's cosine of slopes, from the square of their rise."""
    rise, stretch = np.sqrt(square), np.sqrt(1.0 + square)
    over, under = arctan_parts(square)
    both = 1.0 / (under * stretch)  # one quotient in place of two
    near_deg = rise * DEG_PER_RAD
    deg = near_deg + (near_deg * (square * over)) * (stretch * both)
    is_steep, is_sheer = rise > GENTLE_RISE, rise > SHEER_RISE
    steep, sheer = rise[is_steep], rise[is_sheer]
    deg[is_steep] = 45.0 + small_arctan_deg((steep - 1.0) / (steep + 1.0))
    deg[is_sheer] = 90.0 + small_arctan_deg(-1.0 / sheer)
    return rise, deg, under * both


@dataclass(frozen=True, slots=True)
class Outlines:
    """Outlines of many polygons, ring after ring.

    Attributes
    ----------
    x, y
        Vertices, each ring closed: columns, and rows counted downward [cells].
    ring_ends
        Where each ring ends among the vertices, a 0 in front.
    is_shell
        Whether a ring is an outer line or a hole.
    polygon_ends
        Where each polygon's rings end, a 0 in front.
    """

    x: Floats
    y: Floats
    ring_ends: Ints
    is_shell: NDArray[np.bool_]
    polygon_ends: Ints

    @property
    def bounds(self) -> Floats:
        """Left, bottom, right and top of each polygon [cells], y = −row; NaN where it has no rings."""
        ends = self.ring_ends[self.polygon_ends]
        is_there = ends[1:] > ends[:-1]
        found = np.full((len(is_there), 4), np.nan)
        if is_there.any():
            xy, begins = np.column_stack([self.x, -self.y]), ends[:-1][is_there]
            found[is_there] = np.hstack([np.minimum.reduceat(xy, begins), np.maximum.reduceat(xy, begins)])
        return found


@dataclass(frozen=True, slots=True)
class Pieces:
    """The pieces of outlines in one tile.

    Attributes
    ----------
    owners
        Number of each piece's outline.
    windows
        First row, first column, end row and end column of each [analysis cells]: its outline's own reach, in the tile.
    steps
        Ground steps at the middles of each piece's four corner cells, shape ``(pieces, 2, 2, 4)``: first row and last,
        first column and last, and the fields of `habmap.land.terrain.GroundSteps`, in order [m].
    latitudes
        Shape ``(pieces, 5)``: latitude of the middle of the window's first cell, change per row and per column [°],
        the sine and the cosine of that latitude.
    """

    owners: Ints
    windows: Ints
    steps: Floats
    latitudes: Floats

    def only(self, at: int) -> Pieces:
        """Return one of them."""
        one = slice(at, at + 1)
        return Pieces(self.owners[one], self.windows[one], self.steps[one], self.latitudes[one])


@dataclass(frozen=True, slots=True)
class PieceSums:
    """Sums of pieces.

    Attributes
    ----------
    plain
        Shape ``(pieces, len(PLAIN_SUMS))``.
    class_counts
        How many slope classes each piece has.
    classes, class_m2
        Those classes, ascending, piece after piece; their ground, sun-facing ground, and ground of the class's own
        lower limit exactly, shape ``(classes, 3)`` [m²].
    """

    plain: Floats
    class_counts: Ints
    classes: Ints
    class_m2: Floats


def plain_sums(
    heights: NDArray[np.floating[Any]], corner: tuple[int, int], outlines: Outlines, pieces: Pieces, *, rules: FaceRules
) -> PieceSums:
    """Sum the ground of pieces of one tile.

    Parameters
    ----------
    heights
        Heights of analysis cells [m], float32 or float64, NaN where there is none: the tile, one cell around it, and
        `SPARE_COLS` more columns to the right.
    corner
        Row and column of the first of them in the raster.
    outlines, pieces, rules
        Whose ground, which parts of it, and what counts as flat, sun-facing and hand-only.
    """
    dz_dcol, dz_drow = horn_gradient(heights[:, : heights.shape[1] - SPARE_COLS].astype(np.float64))
    return gradient_sums(dz_dcol, dz_drow, corner, outlines, pieces, rules=rules)


def gradient_sums(
    dz_dcol: Floats, dz_drow: Floats, corner: tuple[int, int], outlines: Outlines, pieces: Pieces, *, rules: FaceRules
) -> PieceSums:
    """Sum the ground of pieces as `plain_sums` does, from the height change per column and per row step [m]."""
    found = [_piece_sums(dz_dcol, dz_drow, corner, outlines, pieces, at, rules) for at in range(len(pieces.owners))]
    return PieceSums(
        np.array([plain for plain, _, _ in found]).reshape(-1, len(PLAIN_SUMS)),
        np.array([len(classes) for _, classes, _ in found], dtype=np.int64),
        np.concatenate([np.empty(0, np.int64), *(classes for _, classes, _ in found)]),
        np.concatenate([np.empty((0, 3)), *(class_m2 for _, _, class_m2 in found)]),
    )


def _piece_sums(
    dz_dcol: Floats, dz_drow: Floats, corner: tuple[int, int], outlines: Outlines, pieces: Pieces, at: int,
    rules: FaceRules,
) -> tuple[Floats, Ints, Floats]:  # fmt: skip
    owner = int(pieces.owners[at])
    first_row, first_col, end_row, end_col = (int(side) for side in pieces.windows[at])
    rings = slice(int(outlines.polygon_ends[owner]), int(outlines.polygon_ends[owner + 1]))
    ends = outlines.ring_ends[rings.start : rings.stop + 1]
    vertices = slice(int(ends[0]), int(ends[-1]))
    rows, cols, share = shares_in(
        outlines.x[vertices], outlines.y[vertices], ends - ends[0], outlines.is_shell[rings].tolist(),
        window=(first_row, first_col, end_row, end_col),
    )  # fmt: skip
    inner = (rows + (first_row - corner[0]), cols + (first_col - corner[1]))
    cell_m2, k_ec, k_ed, k_nd, k_nc = _of_cells(pieces.steps[at], rows, cols, end_row - first_row, end_col - first_col)
    east = k_ec * dz_dcol[inner] - k_ed * dz_drow[inner]
    north = k_nd * dz_drow[inner] - k_nc * dz_dcol[inner]
    is_valid = ~np.isnan(east + north)
    rows, cols, area_m2 = rows[is_valid], cols[is_valid], (share * cell_m2)[is_valid]
    east, north = east[is_valid], north[is_valid]

    rise, deg, slope_cosine = slope_figures(east * east + north * north)
    pct = 100.0 * rise
    lat_deg, per_row_deg, per_col_deg, sine, cosine = pieces.latitudes[at]
    heat = _heat_load(rows, cols, east, north, rise, slope_cosine, per_row_deg, per_col_deg, sine, cosine)
    lat = lat_deg + rows * per_row_deg + cols * per_col_deg
    fitted = (lat >= HEAT_LOAD_LAT_DEG[0]) & (lat <= HEAT_LOAD_LAT_DEG[1]) & (rise <= FITTED_RISE)

    position = rise * CLASSES_PER_RISE
    classes = np.minimum(position, LAST_CLASS).astype(np.int64)
    is_sun = rules.faces_sun(east, north) & (rise > 0)
    flat, hand = rules.flat_limit, rules.hand_limit
    is_flat_cut = (classes == flat.cut_class) & (pct < rules.flat_below_pct)
    is_hand_cut = (classes == hand.cut_class) & (pct > rules.machine_limit_pct)

    def total(*weights: Any) -> float:
        # Down each column, then from left to right: what lies side by side is added at the same time.
        by_col = np.bincount(cols, weights=math.prod(weights, start=area_m2), minlength=end_col - first_col)
        return float(np.cumsum(by_col)[-1])

    plain = np.array([
        total(), total(deg), total(east), total(north), total(rise), total(fitted, heat), total(fitted),
        total(is_flat_cut), total(is_flat_cut & is_sun), total(is_hand_cut),
    ])  # fmt: skip
    keys, place = np.unique(classes, return_inverse=True)
    kinds = (area_m2 * ~is_sun, area_m2 * is_sun, area_m2 * (position == classes))
    # Even and odd columns apart, and then together: the compiled way need not wait for the cell before.
    lane = 2 * place + cols % 2
    lanes = [np.bincount(lane, weights=kind, minlength=2 * len(keys)).reshape(-1, 2) for kind in kinds]
    shade_m2, sun_m2, at_limit_m2 = (both[:, 0] + both[:, 1] for both in lanes)
    return plain, keys, np.column_stack([sun_m2 + shade_m2, sun_m2, at_limit_m2])


def _of_cells(corners: Floats, rows: Ints, cols: Ints, high: int, wide: int) -> tuple[Floats, ...]:
    """Return the ground of cells of a piece [m²], and what turns their rises into gradients toward east and north.

    In order: how much of the rise per column goes into east, of that per row (taken off), and for north of the rise
    per row, and per column (taken off). At both ends of a row by its own steps; along it on a straight line.
    """
    down = (rows / max(1, high - 1))[:, None]
    ends = []
    for first, last in zip(corners[0], corners[1], strict=True):
        e_col, n_col, e_row, n_row = (first + (last - first) * down).T
        determinant = e_col * n_row - e_row * n_col
        whole = 1.0 / determinant
        ends.append((np.abs(determinant), n_row * whole, n_col * whole, e_col * whole, e_row * whole))
    per_col = 1.0 / max(1, wide - 1)
    return tuple(left + cols * ((right - left) * per_col) for left, right in zip(*ends, strict=True))


def _heat_load(
    rows: Ints, cols: Ints, east: Floats, north: Floats, rise: Floats, slope_cosine: Floats,
    per_row_deg: float, per_col_deg: float, sine: float, cosine: float,
) -> Floats:  # fmt: skip
    """Return what `habmap.land.terrain.heat_load_mccune_keon_2002` gives, without an angle in it.

    Notes
    -----
    With slope S and rise r: cos S = 1/√(1+r²), sin S = r cos S; folded about 225°, cos A sin S is
    −√½ (east + north) cos S. Sine and cosine of the latitude come from those of the first cell, by Taylor's series:
    downward, where a piece is at most 2 km high, the rest is below 1e-14; sideways, where latitude hardly changes, a
    straight line will do (1e-10 with the north on top, 1e-8 on a raster that is turned).
    """
    base, of_lat, of_slope, _ = HEAT_LOAD_COSINES
    down = rows * (per_row_deg / DEG_PER_RAD)
    down_sine, down_cosine = down - down * down * down / 6.0, 1.0 - down * down / 2.0
    row_sine = sine * down_cosine + cosine * down_sine
    row_cosine = cosine * down_cosine - sine * down_sine
    per_col = per_col_deg / DEG_PER_RAD
    lat_part = of_lat * row_cosine + cols * (-of_lat * row_sine * per_col)
    slope_part = of_slope * row_sine + cols * (of_slope * row_cosine * per_col)
    return np.asarray(base + slope_cosine * (lat_part - slope_part * rise + HEAT_FACE * (east + north)))
