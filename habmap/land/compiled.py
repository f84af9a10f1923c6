"""The sums of `habmap.land.pieces` as numba compiles them: the same steps on the same numbers in the same order.

Nothing here decides anything: what each line stands for is said there, and a test holds both to the last bit.
Reassociation and fused multiply-add stay off, so that no processor's vectors change a sum.

Only what makes machine code imports this module, once for a machine (`habmap.place.kernels`): it imports numba, half a
second. Whoever sums calls that code through `habmap.land.fused`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, Final

import numba
import numpy as np

from habmap.land import coverage, pieces
from habmap.land.pieces import CLASSES_PER_RISE, DEG_PER_RAD, GENTLE_RISE, HEAT_FACE, PLAIN_SUMS, SHEER_RISE
from habmap.land.terrain import HEAT_LOAD_COSINES, HEAT_LOAD_LAT_DEG

_CLASSES = pieces.DENSE_CLASSES
_NOTHING_LESS = 1.0 - coverage.HAIR_SHARE
_HAIR = coverage.HAIR_SHARE
_LOW_LAT, _HIGH_LAT = HEAT_LOAD_LAT_DEG
_MAX_RISE = pieces.FITTED_RISE
_BEYOND_RISE = pieces.DENSE_CLASSES / pieces.CLASSES_PER_RISE
_BASE, _OF_LAT, _OF_SLOPE, _ = HEAT_LOAD_COSINES
_SUMS = len(PLAIN_SUMS)


carray: Any = numba.carray  # type: ignore[attr-defined]
#: Nothing that is compiled makes an array: bare code has nobody to ask for memory.
compiled: Any = numba.njit(nogil=True, error_model="numpy")
_add_rings = compiled(coverage.add_rings)
_arctan_parts = compiled(pieces.arctan_parts)


@compiled
def _small_arctan_deg(tangent: float) -> float:
    square = tangent * tangent
    over, under = _arctan_parts(square)
    return (tangent + tangent * (square * (over / under))) * DEG_PER_RAD


@compiled
def _steps_of_row(corners: Any, part: float, span_cols: float, k: Any) -> None:
    """Fill what `habmap.land.pieces` takes of the steps at a row's ends: values at the left, change per column."""
    for side in range(2):
        e_col = corners[0, side, 0] + (corners[1, side, 0] - corners[0, side, 0]) * part
        n_col = corners[0, side, 1] + (corners[1, side, 1] - corners[0, side, 1]) * part
        e_row = corners[0, side, 2] + (corners[1, side, 2] - corners[0, side, 2]) * part
        n_row = corners[0, side, 3] + (corners[1, side, 3] - corners[0, side, 3]) * part
        determinant = e_col * n_row - e_row * n_col
        k[5 * side] = abs(determinant)
        k[5 * side + 1] = n_row / determinant
        k[5 * side + 2] = n_col / determinant
        k[5 * side + 3] = e_col / determinant
        k[5 * side + 4] = e_row / determinant
    for number in range(5):
        k[5 + number] = (k[5 + number] - k[number]) / span_cols


@compiled
def _row_figures(
    above: Any, middle: Any, below: Any, count: int, k: Any, first: int, of_row: Any, sector: Any, is_wide: bool,
    weight: Any, east: Any, north: Any, rise: Any, deg: Any, heat: Any, usable: Any, sun: Any,
) -> tuple[int, int]:  # fmt: skip
    """Turn a row's shares into ground, and fill its gradients and what follows from them, each cell by itself.

    Cells without a gradient lose their ground, and stand as zeros. Returns how many cells are too steep for the angles
    given here, and how many for the classes.
    """
    m2_0, k_ec_0, k_ed_0, k_nd_0, k_nc_0 = k[0], k[1], k[2], k[3], k[4]
    m2_1, k_ec_1, k_ed_1, k_nd_1, k_nc_1 = k[5], k[6], k[7], k[8], k[9]
    cosine_0, cosine_1, sine_0, sine_1, row_lat, per_col_deg = (
        of_row[0], of_row[1], of_row[2], of_row[3], of_row[4], of_row[5],
    )  # fmt: skip
    first_east, first_north, last_east, last_north = sector[0], sector[1], sector[2], sector[3]
    steep = beyond = 0
    for i in range(count):
        col = float(first + i)
        hole = middle[i + 1] * 0.0
        down_right = above[i + 2] + 2 * middle[i + 2] + below[i + 2]
        down_left = above[i] + 2 * middle[i] + below[i]
        dz_dcol = (down_right - down_left) / 8 + hole
        across_below = below[i] + 2 * below[i + 1] + below[i + 2]
        across_above = above[i] + 2 * above[i + 1] + above[i + 2]
        dz_drow = (across_below - across_above) / 8 + hole
        to_east = (k_ec_0 + col * k_ec_1) * dz_dcol - (k_ed_0 + col * k_ed_1) * dz_drow
        to_north = (k_nd_0 + col * k_nd_1) * dz_drow - (k_nc_0 + col * k_nc_1) * dz_dcol
        square = to_east * to_east + to_north * to_north
        is_valid = square == square
        to_east = to_east if is_valid else 0.0
        to_north = to_north if is_valid else 0.0
        square = square if is_valid else 0.0
        own = weight[i] * (m2_0 + col * m2_1) if is_valid else 0.0
        length = math.sqrt(square)
        weight[i] = own
        east[i] = to_east
        north[i] = to_north
        rise[i] = length
        over, under = _arctan_parts(square)
        stretch = math.sqrt(1.0 + square)
        both = 1.0 / (under * stretch)
        deg[i] = (length + length * (square * (over * (stretch * both)))) * DEG_PER_RAD
        heat[i] = _BASE + (under * both) * (
            (cosine_0 + col * cosine_1) - (sine_0 + col * sine_1) * length + HEAT_FACE * (to_east + to_north)
        )
        cell_lat = row_lat + col * per_col_deg
        usable[i] = own if (length <= _MAX_RISE) & (cell_lat >= _LOW_LAT) & (cell_lat <= _HIGH_LAT) else 0.0
        after_first = first_east * to_north - first_north * to_east
        before_last = last_north * to_east - last_east * to_north
        is_between = (after_first >= 0.0) & (before_last >= 0.0)
        is_outside = (after_first < 0.0) & (before_last < 0.0)
        is_sun = ((is_wide & (not is_outside)) | ((not is_wide) & is_between)) & (length > 0.0)
        sun[i] = 1.0 if is_sun else 0.0
        steep += length > GENTLE_RISE
        beyond += (length >= _BEYOND_RISE) & (own > 0.0)
    return steep, beyond


@compiled
def _steep_angles(count: int, rise: Any, deg: Any) -> None:
    """Put in the angles of steep cells, by their own formula."""
    for i in range(count):
        length = rise[i]
        if length > SHEER_RISE:
            deg[i] = 90.0 + _small_arctan_deg(-1.0 / length)
        elif length > GENTLE_RISE:
            deg[i] = 45.0 + _small_arctan_deg((length - 1.0) / (length + 1.0))


@compiled
def _add_with_ground(count: int, ground: Any, figure: Any, of_figure: Any, of_ground: Any) -> None:
    """Add a row's ground times a figure, and the ground itself, to the sums of their columns."""
    for i in range(count):
        of_figure[i] += ground[i] * figure[i]
        of_ground[i] += ground[i]


@compiled
def _add_one(count: int, ground: Any, figure: Any, of_figure: Any) -> None:
    for i in range(count):
        of_figure[i] += ground[i] * figure[i]


@compiled
def _add_two(count: int, ground: Any, one: Any, other: Any, of_one: Any, of_other: Any) -> None:
    # more at once would not be taken eight cells at a time: the compiler must see that no sum lies over another
    for i in range(count):
        of_one[i] += ground[i] * one[i]
        of_other[i] += ground[i] * other[i]


@compiled
def _row_classes(count: int, weight: Any, rise: Any, sun: Any, dense: Any, low: int, high: int) -> tuple[int, int]:
    """Add a row's ground to its slope classes; even and odd columns apart, so that neighbors need not wait."""
    for i in range(count):
        area_m2 = weight[i]
        position = rise[i] * CLASSES_PER_RISE
        number = int(position)
        at = np.uint64(number * 8 + (i & 1) * 4)  # unsigned: no look whether it counts from the end
        dense[at] += area_m2
        dense[at + np.uint64(1)] += area_m2 * sun[i]
        if position == number:
            dense[at + np.uint64(2)] += area_m2
        low = min(low, number)
        high = max(high, number)
    return low, high


@compiled
def _sum_pieces(
    heights: Any, corner_row: int, corner_col: int,
    x: Any, y: Any, ring_ends: Any, is_shell: Any, polygon_ends: Any,
    owners: Any, windows: Any, steps: Any, latitudes: Any, rules: Any, cuts: Any, from_piece: int,
    plain: Any, class_counts: Any, classes: Any, class_m2: Any,
    area_at: Any, reach: Any, rows_of: Any, by_col: Any, dense: Any, scratch: Any,
) -> tuple[int, int, int]:  # fmt: skip
    """Sum pieces from one on; return how far it came, how many classes it wrote, and a piece too steep for it."""
    flat_pct, hand_pct = rules[0], rules[1]
    sector = rules[2:]
    flat_cut, hand_cut, is_wide = cuts[0], cuts[1], cuts[2] == 1
    weight, east, north, rise, deg, heat, usable, sun = (
        rows_of[0], rows_of[1], rows_of[2], rows_of[3], rows_of[4], rows_of[5], rows_of[6], rows_of[7],
    )  # fmt: skip
    written = 0
    k, of_row = scratch[0:10], scratch[10:16]
    for at in range(from_piece, len(owners)):
        first_row, first_col, end_row, end_col = windows[at]
        rows, cols = end_row - first_row, end_col - first_col
        for row in range(rows):
            reach[row, 0] = cols
            reach[row, 1] = 0
        area = carray(area_at, (rows, cols + 2))
        owner = owners[at]
        _add_rings(
            x, y, ring_ends, is_shell, polygon_ends[owner], polygon_ends[owner + 1],
            float(first_col), float(first_row), rows, cols, area, reach,
        )  # fmt: skip
        lat_0, per_row, per_col, sine, cosine = latitudes[at]
        span, span_cols = max(1, rows - 1), float(max(1, cols - 1))
        by_col[:, : cols + 16] = 0.0
        low_class, high_class = _CLASSES, -1
        is_too_steep = False
        for row in range(rows):
            begin, end = reach[row, 0], min(reach[row, 1] + 1, cols)
            if begin >= end:
                continue
            line = area[row]
            first = begin & ~7  # whole vectors of eight columns
            for i in range(begin - first):
                weight[i] = 0.0
            running = own_share = 0.0
            for col in range(begin, end):
                part = line[col]
                if part != 0.0:
                    running += part
                    if running < _HAIR:
                        own_share = 0.0
                    elif running > _NOTHING_LESS:
                        own_share = 1.0
                    else:
                        own_share = np.float64(np.float32(running))
                    line[col] = 0.0
                weight[col - first] = own_share
            line[end] = 0.0
            line[end + 1] = 0.0
            if own_share > 0.0:  # the outline goes on beyond the window
                for col in range(end, cols):
                    weight[col - first] = own_share
                end = cols
            count = (end - first + 7) & ~7
            for i in range(end - first, count):
                weight[i] = 0.0
            height_row = first_row + row - corner_row
            _steps_of_row(steps[at], row / span, span_cols, k)
            down = row * (per_row / DEG_PER_RAD)
            down_sine, down_cosine = down - down * down * down / 6.0, 1.0 - down * down / 2.0
            row_sine = sine * down_cosine + cosine * down_sine
            row_cosine = cosine * down_cosine - sine * down_sine
            of_row[0] = _OF_LAT * row_cosine
            of_row[1] = -_OF_LAT * row_sine * (per_col / DEG_PER_RAD)
            of_row[2] = _OF_SLOPE * row_sine
            of_row[3] = _OF_SLOPE * row_cosine * (per_col / DEG_PER_RAD)
            of_row[4] = lat_0 + row * per_row
            of_row[5] = per_col
            start = first + first_col - corner_col - 1
            own_cols = by_col[:, first : first + count]
            steep, beyond = _row_figures(
                heights[height_row - 1, start : start + count + 2],
                heights[height_row, start : start + count + 2],
                heights[height_row + 1, start : start + count + 2],
                count, k, first, of_row, sector, is_wide, weight, east, north, rise, deg, heat, usable, sun,
            )  # fmt: skip
            if beyond:
                is_too_steep = True
                break
            if steep:
                _steep_angles(count, rise, deg)
            _add_with_ground(count, weight, deg, by_col[1, first:], by_col[0, first:])
            _add_two(count, weight, east, north, by_col[2, first:], by_col[3, first:])
            _add_with_ground(count, usable, heat, by_col[5, first:], by_col[6, first:])
            _add_one(count, weight, rise, by_col[4, first:])
            low_class, high_class = _row_classes(count, weight, rise, sun, dense, low_class, high_class)
            if flat_cut >= 0 or hand_cut >= 0:
                for i in range(count):
                    own, pct = weight[i], 100.0 * rise[i]
                    number = int(rise[i] * CLASSES_PER_RISE)
                    if number == flat_cut and pct < flat_pct:
                        own_cols[7, i] += own
                        own_cols[8, i] += own * sun[i]
                    if number == hand_cut and pct > hand_pct:
                        own_cols[9, i] += own
        if is_too_steep:  # what was begun is wiped; the plain way has room for it
            area[:] = 0.0
        count = 0
        for number in range(low_class, high_class + 1):
            if dense[8 * number] + dense[8 * number + 4] > 0.0:
                count += 1
        is_full = written + count > len(classes)
        for number in range(low_class, high_class + 1):
            even = 8 * number
            area_m2 = dense[even] + dense[even + 4]
            if area_m2 > 0.0 and not (is_full or is_too_steep):
                classes[written] = number
                class_m2[written, 0] = area_m2
                class_m2[written, 1] = dense[even + 1] + dense[even + 5]
                class_m2[written, 2] = dense[even + 2] + dense[even + 6]
                written += 1
            for at_lane in range(even, even + 8):
                dense[at_lane] = 0.0
        if is_too_steep:
            return at, written, at
        if is_full:
            return at, written, -1
        class_counts[at] = count
        for number in range(_SUMS):
            total = 0.0
            for col in range(cols):
                total += by_col[number, col]
            plain[at, number] = total
    return len(owners), written, -1


@compiled
def _add_pieces(
    ends: Any, order: Any, by_owner: Any, classes: Any, class_m2: Any, low: Any, high: Any, dense: Any,
    counts: Any, all_classes: Any, all_m2: Any,
) -> None:  # fmt: skip
    written = 0
    for zone in range(len(counts)):
        begin, end = by_owner[zone], by_owner[zone + 1]
        first, last = low[zone], high[zone]
        for at in range(begin, end):
            piece = order[at]
            for entry in range(ends[piece], ends[piece + 1]):
                place = classes[entry] - first
                for kind in range(3):
                    dense[place, kind] += class_m2[entry, kind]
        before = written
        for place in range(last - first + 1):
            if dense[place, 0] > 0.0:
                all_classes[written] = first + place
                for kind in range(3):
                    all_m2[written, kind] = dense[place, kind]
                    dense[place, kind] = 0.0
                written += 1
        counts[zone] = written - before


def _sum_pieces_at(
    heights: Any, height_rows: int, height_cols: int, corner_row: int, corner_col: int,
    x: Any, y: Any, vertices: int, ring_ends: Any, is_shell: Any, rings: int, polygon_ends: Any, polygons: int,
    owners: Any, windows: Any, steps: Any, latitudes: Any, count: int, rules: Any, cuts: Any, from_piece: int,
    plain: Any, class_counts: Any, classes: Any, class_m2: Any, room: int,
    area: Any, reach: Any, most_rows: int, rows_of: Any, by_col: Any, row_cells: int, dense: Any, scratch: Any,
    told: Any,
) -> None:  # fmt: skip
    found = carray(told, (3,))
    found[0], found[1], found[2] = _sum_pieces(
        carray(heights, (height_rows, height_cols)), corner_row, corner_col,
        carray(x, (vertices,)), carray(y, (vertices,)), carray(ring_ends, (rings + 1,)), carray(is_shell, (rings,)),
        carray(polygon_ends, (polygons + 1,)),
        carray(owners, (count,)), carray(windows, (count, 4)), carray(steps, (count, 2, 2, 4)),
        carray(latitudes, (count, 5)), carray(rules, (6,)), carray(cuts, (3,)), from_piece,
        carray(plain, (count, _SUMS)), carray(class_counts, (count,)), carray(classes, (room,)),
        carray(class_m2, (room, 3)), area, carray(reach, (most_rows, 2)), carray(rows_of, (8, row_cells)),
        carray(by_col, (_SUMS, row_cells)),
        carray(dense, (8 * _CLASSES,)), carray(scratch, (16,)),
    )  # fmt: skip


def _add_pieces_at(
    ends: Any, order: Any, pieces_: int, by_owner: Any, classes: Any, class_m2: Any, entries: int,
    low: Any, high: Any, zones: int, dense: Any, widest: int, counts: Any, all_classes: Any, all_m2: Any,
) -> None:  # fmt: skip
    _add_pieces(
        carray(ends, (pieces_ + 1,)), carray(order, (pieces_,)), carray(by_owner, (zones + 1,)),
        carray(classes, (entries,)), carray(class_m2, (entries, 3)), carray(low, (zones,)), carray(high, (zones,)),
        carray(dense, (widest, 3)), carray(counts, (zones,)), carray(all_classes, (entries,)),
        carray(all_m2, (entries, 3)),
    )  # fmt: skip


#: What is called from outside, by the names that `habmap.land.fused.KINDS` knows.
ENTRIES: Final[dict[str, Callable[..., None]]] = {"sum_pieces": _sum_pieces_at, "add_pieces": _add_pieces_at}
