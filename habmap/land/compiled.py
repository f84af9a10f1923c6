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
from llvmlite import ir

from habmap.land import coverage, pieces
from habmap.land.fused import ROOM, SCRATCH
from habmap.land.pieces import CLASSES_PER_RISE, DEG_PER_RAD, GENTLE_RISE, HEAT_FACE, PLAIN_SUMS, SHEER_RISE
from habmap.land.terrain import HEAT_LOAD_COSINES, HEAT_LOAD_LAT_DEG

_CLASSES = pieces.DENSE_CLASSES
_NOTHING_LESS = 1.0 - coverage.HAIR_SHARE
_HAIR = coverage.HAIR_SHARE
_LOW_LAT, _HIGH_LAT = HEAT_LOAD_LAT_DEG
_MAX_RISE = pieces.FITTED_RISE
#: How many rows before they are read heights are brought near.
_AHEAD = 3
#: From this class on a cell may be too steep for the angles of `_add_angles`.
_STEEP_CLASS = int(GENTLE_RISE * CLASSES_PER_RISE)
_BASE, _OF_LAT, _OF_SLOPE, _ = HEAT_LOAD_COSINES
_SUMS = len(PLAIN_SUMS)
# A row's workings, one line of columns after another: shares and then ground; a sum each by column; the gradient's
# length, its square, and its two parts together. Places are unsigned numbers wherever it matters: nobody then looks
# whether they count from the end.
_SUM_0, _SUM_1, _SUM_2, _SUM_3, _SUM_4, _SUM_5, _SUM_6, _SUM_7, _SUM_8, _SUM_9, _RISE, _SQUARE, _FACE = (
    np.uint64(number * ROOM) for number in range(1, 14)
)
# Three rows of heights; Horn's sums across each of them; his sum down all three.
_ACROSS, _DOWN = np.uint64(3 * ROOM), np.uint64(6 * ROOM)
_NONE, _ONE, _TWO, _SEVEN, _EIGHT = (np.uint64(number) for number in (0, 1, 2, 7, 8))
# Heights, workings, slope classes and what belongs to one row, in one array.
_END_LINES = 7 * ROOM
_END_WORK = _END_LINES + (4 + _SUMS) * ROOM
_END_DENSE = _END_WORK + 6 * _CLASSES

carray: Any = numba.carray  # type: ignore[attr-defined]
_intrinsic: Any = numba.extending.intrinsic
#: Nothing that is compiled makes an array: bare code has nobody to ask for memory.
compiled: Any = numba.njit(nogil=True, error_model="numpy")
_add_rings = compiled(coverage.add_rings)
_arctan_parts = compiled(pieces.arctan_parts)


@_intrinsic
def _ints_at(_context: Any, address: Any) -> Any:
    kind: Any = numba.types
    return kind.CPointer(kind.int64)(kind.int64), _as_pointer


@_intrinsic
def _floats_at(_context: Any, address: Any) -> Any:
    kind: Any = numba.types
    return kind.CPointer(kind.float64)(kind.int64), _as_pointer


@_intrinsic
def _fetch(_context: Any, address: Any) -> Any:
    """Have what lies at an address brought near: in a moment it will be read."""
    kind: Any = numba.types

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        number = ir.IntType(32)
        place = builder.inttoptr(args[0], ir.IntType(8).as_pointer())
        fetch = builder.module.declare_intrinsic("llvm.prefetch", [place.type], _FETCH)
        builder.call(fetch, [place, number(0), number(3), number(1)])
        return context.get_dummy_value()

    return kind.void(kind.int64), code


_FETCH = ir.FunctionType(ir.VoidType(), [ir.IntType(8).as_pointer(), *[ir.IntType(32)] * 3])


def _as_pointer(context: Any, builder: Any, signature: Any, args: Any) -> Any:
    return builder.inttoptr(args[0], context.get_value_type(signature.return_type))


@compiled
def _small_arctan_deg(tangent: float) -> float:
    square = tangent * tangent
    over, under = _arctan_parts(square)
    return (tangent + tangent * (square * (over / under))) * DEG_PER_RAD


@compiled
def _steps_of_row(corners: Any, part: float, per_col: float, k: Any) -> None:
    """Fill what `habmap.land.pieces` takes of the steps at a row's ends: values at the left, change per column.

    But for the size of a cell they are an eighth, which Horn's weights want and which rounds nothing.
    """
    for side in range(2):
        e_col = corners[0, side, 0] + (corners[1, side, 0] - corners[0, side, 0]) * part
        n_col = corners[0, side, 1] + (corners[1, side, 1] - corners[0, side, 1]) * part
        e_row = corners[0, side, 2] + (corners[1, side, 2] - corners[0, side, 2]) * part
        n_row = corners[0, side, 3] + (corners[1, side, 3] - corners[0, side, 3]) * part
        determinant = e_col * n_row - e_row * n_col
        whole = 1.0 / determinant
        k[5 * side] = abs(determinant)
        k[5 * side + 1] = n_row * whole / 8
        k[5 * side + 2] = n_col * whole / 8
        k[5 * side + 3] = e_col * whole / 8
        k[5 * side + 4] = e_row * whole / 8
    for number in range(5):
        k[5 + number] = (k[5 + number] - k[number]) * per_col


@compiled
def _share_of(sum_here: float) -> float:
    """Return the share that a running sum of signed areas stands for."""
    if sum_here < _HAIR:
        return 0.0
    return 1.0 if sum_here > _NOTHING_LESS else np.float64(np.float32(sum_here))


@compiled
def _row_shares(line: Any, bits: Any, begin: Any, end: Any, cols: Any, work: Any) -> tuple[Any, Any]:
    """Turn a row's signed areas into shares and wipe them; return between which columns they stand, by whole eights."""
    first = begin & ~_SEVEN
    for col in range(first, begin):
        work[col] = 0.0
    running = own_share = 0.0
    col = begin
    while col < end:
        if col + _EIGHT <= end:
            touched = bits[col]
            for i in range(_ONE, _EIGHT):
                touched |= bits[col + i]
            if touched == 0:  # no edge here: as in most of a row
                for i in range(_NONE, _EIGHT):
                    work[col + i] = own_share
            else:
                for i in range(_NONE, _EIGHT):
                    running += line[col + i]
                    line[col + i] = 0.0
                    work[col + i] = running
                for i in range(_NONE, _EIGHT):
                    work[col + i] = _share_of(work[col + i])
                own_share = work[col + _SEVEN]
            col += _EIGHT
            continue
        running += line[col]
        line[col] = 0.0
        own_share = work[col] = _share_of(running)
        col += _ONE
    line[end] = 0.0
    line[end + _ONE] = 0.0
    if own_share > 0.0:  # the outline goes on beyond the window
        for on in range(end, cols):
            work[on] = own_share
        end = cols
    last = (end + _SEVEN) & ~_SEVEN
    for on in range(end, last):
        work[on] = 0.0
    return first, last


@compiled
def _take_row(row: Any, count: int, itself: Any, across: Any, next_at: int, next_end: int) -> None:
    """Take a row of heights, and with it Horn's sum of every three cells side by side; have another brought near."""
    for at in range(next_at, next_end, 64):
        _fetch(at)
    for i in range(count + 2):
        itself[i] = np.float64(row[i])
    for i in range(count):
        across[i] = itself[i] + 2 * itself[i + 1] + itself[i + 2]


@compiled
def _add_gradients(
    lines: Any, above: Any, middle: Any, below: Any, first: Any, last: Any, k: Any, sector: Any, is_wide: bool,
    work: Any, keys: Any,
) -> tuple[int, int]:  # fmt: skip
    """Turn a row's shares into ground, and add it and its gradients to the sums of their columns, each cell by itself.

    Cells without a gradient lose their ground, and stand as zeros. All that is written lies in one array, at distances
    that stand fixed: so the compiler sees that no sum lies over another, and takes eight cells at a time. In two loops,
    this one and `_add_angles`: in one, a processor sees too little of the next cells while it waits for a root.

    Returns
    -------
    at_limit, high
        How many cells lie at a class's limit exactly; the highest class.
    """
    m2_0, k_ec_0, k_ed_0, k_nd_0, k_nc_0 = k[0], k[1], k[2], k[3], k[4]
    m2_1, k_ec_1, k_ed_1, k_nd_1, k_nc_1 = k[5], k[6], k[7], k[8], k[9]
    first_east, first_north, last_east, last_north = sector[0], sector[1], sector[2], sector[3]
    across_above, across_below = above + _ACROSS, below + _ACROSS
    for col in range(first, last + _TWO):
        lines[_DOWN + col] = lines[above + col] + 2 * lines[middle + col] + lines[below + col]
    at_limit, high = 0, -1
    for col in range(first, last):
        dz_dcol = lines[_DOWN + col + _TWO] - lines[_DOWN + col]
        dz_drow = lines[across_below + col] - lines[across_above + col]
        itself = lines[middle + col + _ONE]
        at = float(np.int64(col))
        to_east = (k_ec_0 + at * k_ec_1) * dz_dcol - (k_ed_0 + at * k_ed_1) * dz_drow
        to_north = (k_nd_0 + at * k_nd_1) * dz_drow - (k_nc_0 + at * k_nc_1) * dz_dcol
        square = to_east * to_east + to_north * to_north
        is_valid = (square == square) & (itself == itself)
        to_east = to_east if is_valid else 0.0
        to_north = to_north if is_valid else 0.0
        square = square if is_valid else 0.0
        own = work[col] * (m2_0 + at * m2_1) if is_valid else 0.0
        length = math.sqrt(square)
        is_after_first = first_east * to_north - first_north * to_east >= 0.0
        is_before_last = last_north * to_east - last_east * to_north >= 0.0
        is_sun = (is_after_first & is_before_last) | (is_wide & (is_after_first | is_before_last))
        is_sun = is_sun & (length > 0.0)
        position = length * CLASSES_PER_RISE
        number = int(position)
        is_ground = own > 0.0
        work[col] = own
        work[_RISE + col] = length
        work[_SQUARE + col] = square
        work[_FACE + col] = to_east + to_north
        work[_SUM_0 + col] += own
        work[_SUM_2 + col] += own * to_east
        work[_SUM_3 + col] += own * to_north
        work[_SUM_4 + col] += own * length
        keys[col] = 4 * (number if is_ground else 0) + 2 * np.int64(col & _ONE) + (1 if is_sun else 0)
        at_limit += (position == number) & is_ground
        high = max(high, number if is_ground else -1)
    return at_limit, high


def _angles(*, is_plain: bool) -> Any:
    """Return what adds a row's angles, but those of steep cells, and its heat load to the sums of their columns.

    ``is_plain``: none of its ground is steep, and the heat load holds for all of it, so that no cell is asked.
    """

    @compiled
    def add_angles(first: Any, last: Any, k: Any, work: Any) -> None:
        cosine_0, cosine_1, sine_0, sine_1, row_lat, per_col_deg = k[10], k[11], k[12], k[13], k[14], k[15]
        for col in range(first, last):
            own, length, square = work[col], work[_RISE + col], work[_SQUARE + col]
            at = float(np.int64(col))
            over, under = _arctan_parts(square)
            stretch = math.sqrt(1.0 + square)
            both = 1.0 / (under * stretch)
            near_deg = length * DEG_PER_RAD
            deg = near_deg + (near_deg * (square * over)) * (stretch * both)
            heat = _BASE + (under * both) * (
                (cosine_0 + at * cosine_1) - (sine_0 + at * sine_1) * length + HEAT_FACE * work[_FACE + col]
            )
            if is_plain:
                gentle = usable = own
            else:
                cell_lat = row_lat + at * per_col_deg
                gentle = 0.0 if length > GENTLE_RISE else own
                usable = own if (length <= _MAX_RISE) & (cell_lat >= _LOW_LAT) & (cell_lat <= _HIGH_LAT) else 0.0
            work[_SUM_1 + col] += gentle * deg
            work[_SUM_5 + col] += usable * heat
            work[_SUM_6 + col] += usable

    return add_angles


_add_plain_angles, _add_angles = _angles(is_plain=True), _angles(is_plain=False)


@compiled
def _add_steep(first: Any, last: Any, work: Any) -> None:
    """Add the angles of steep cells, by their own formula."""
    for col in range(first, last):
        length = work[_RISE + col]
        if length > GENTLE_RISE:
            if length > SHEER_RISE:
                deg = 90.0 + _small_arctan_deg(-1.0 / length)
            else:
                deg = 45.0 + _small_arctan_deg((length - 1.0) / (length + 1.0))
            work[_SUM_1 + col] += work[col] * deg


@compiled
def _add_classes(first: Any, last: Any, work: Any, keys: Any, dense: Any) -> None:
    """Add a row's ground to its slope classes: shade and sun, even and odd columns apart, so that nothing waits."""
    for col in range(first, last):
        dense[np.uint64(keys[col])] += work[col]  # unsigned: no look whether it counts from the end


@compiled
def _add_at_limit(first: Any, last: Any, work: Any, keys: Any, dense: Any) -> None:
    """Add the ground that lies at its class's own lower limit exactly."""
    for col in range(first, last):
        position = work[_RISE + col] * CLASSES_PER_RISE
        number = int(position)
        if position == number and work[col] > 0.0:
            dense[4 * _CLASSES + 2 * number + np.int64(col & _ONE)] += work[col]


@compiled
def _add_cut(first: Any, last: Any, work: Any, keys: Any, rules: Any, cuts: Any) -> None:
    """Add the ground of classes that a limit cuts in two."""
    for col in range(first, last):
        own, length = work[col], work[_RISE + col]
        pct = 100.0 * length
        number = int(length * CLASSES_PER_RISE)
        if number == cuts[0] and pct < rules[0]:
            work[_SUM_7 + col] += own
            work[_SUM_8 + col] += own * (keys[col] & 1)
        if number == cuts[1] and pct > rules[1]:
            work[_SUM_9 + col] += own


@compiled
def _sum_pieces(
    singles: Any, heights: Any, heights_at: int, is_single: int, corner_row: int, corner_col: int,
    x: Any, y: Any, ring_ends: Any, is_shell: Any, polygon_ends: Any,
    owners: Any, windows: Any, steps: Any, latitudes: Any, rules: Any, cuts: Any, from_piece: int,
    plain: Any, class_counts: Any, classes: Any, class_m2: Any,
    area_at: Any, bits_at: Any, reach: Any, lines: Any, work: Any, keys: Any, dense: Any, k: Any,
) -> tuple[int, int, int]:  # fmt: skip
    """Sum pieces from one on; return how far it came, how many classes it wrote, and a piece too steep for it."""
    sector = rules[2:]
    is_wide, has_cut = cuts[2] == 1, cuts[0] >= 0 or cuts[1] >= 0
    written = 0
    for at in range(from_piece, len(owners)):
        first_row, first_col, end_row, end_col = windows[at]
        rows, cols = end_row - first_row, end_col - first_col
        for row in range(rows):
            reach[row, 0] = cols
            reach[row, 1] = 0
        area, bits = carray(area_at, (rows, cols + 2)), carray(bits_at, (rows, cols + 2))
        owner = owners[at]
        _add_rings(
            x, y, ring_ends, is_shell, polygon_ends[owner], polygon_ends[owner + 1],
            float(first_col), float(first_row), rows, cols, area, reach,
        )  # fmt: skip
        lat_0, per_row, per_col, sine, cosine = latitudes[at]
        span, over_span = max(1, rows - 1), 1.0 / max(1, cols - 1)
        even_cols = (cols + 7) & ~7
        for number in range(_SUMS):
            work[(1 + number) * ROOM : (1 + number) * ROOM + even_cols] = 0.0
        left = first_col - corner_col - 1
        taken = -1
        high_class = -1
        is_too_steep = False
        for row in range(rows):
            begin, end = reach[row, 0], min(reach[row, 1] + 1, cols)
            if begin >= end:
                continue
            first, last = _row_shares(
                area[row], bits[row], np.uint64(begin), np.uint64(end), np.uint64(cols), work
            )  # fmt: skip
            for line in range(max(taken, row), row + 3):  # line n is row n − 1 of the window
                height_row = first_row + line - 1 - corner_row
                to = (line % 3) * ROOM
                itself, across = lines[to : to + ROOM], lines[to + 3 * ROOM : to + 4 * ROOM]
                end = left + even_cols + 2
                if is_single:
                    next_at = heights_at + 4 * ((height_row + _AHEAD) * singles.shape[1] + left)
                    next_end = next_at + 4 * (even_cols + 2)
                    _take_row(singles[height_row, left:end], even_cols, itself, across, next_at, next_end)
                else:
                    next_at = heights_at + 8 * ((height_row + _AHEAD) * heights.shape[1] + left)
                    next_end = next_at + 8 * (even_cols + 2)
                    _take_row(heights[height_row, left:end], even_cols, itself, across, next_at, next_end)
            taken = row + 3
            _steps_of_row(steps[at], row / span, over_span, k)
            down = row * (per_row / DEG_PER_RAD)
            down_sine, down_cosine = down - down * down * down / 6.0, 1.0 - down * down / 2.0
            row_sine = sine * down_cosine + cosine * down_sine
            row_cosine = cosine * down_cosine - sine * down_sine
            k[10] = _OF_LAT * row_cosine
            k[11] = -_OF_LAT * row_sine * (per_col / DEG_PER_RAD)
            k[12] = _OF_SLOPE * row_sine
            k[13] = _OF_SLOPE * row_cosine * (per_col / DEG_PER_RAD)
            k[14] = lat_0 + row * per_row
            k[15] = per_col
            at_limit, high = _add_gradients(
                lines, np.uint64(row % 3 * ROOM), np.uint64((row + 1) % 3 * ROOM), np.uint64((row + 2) % 3 * ROOM),
                first, last, k, sector, is_wide, work, keys,
            )  # fmt: skip
            if high >= _CLASSES:
                is_too_steep = True
                break
            row_ends = min(k[14], k[14] + (cols - 1) * per_col), max(k[14], k[14] + (cols - 1) * per_col)
            if high < _STEEP_CLASS and row_ends[0] >= _LOW_LAT and row_ends[1] <= _HIGH_LAT:
                _add_plain_angles(first, last, k, work)
            else:
                _add_angles(first, last, k, work)
            high_class = max(high_class, high)
            _add_classes(first, last, work, keys, dense)
            if high >= _STEEP_CLASS:
                _add_steep(first, last, work)
            if at_limit:
                _add_at_limit(first, last, work, keys, dense)
            if has_cut:
                _add_cut(first, last, work, keys, rules, cuts)
        if is_too_steep:  # what was begun is wiped; the plain way has room for it
            area[:] = 0.0
        is_full = written + high_class + 1 > len(classes)
        before = written
        for number in range(high_class + 1):
            own, exact = 4 * number, 4 * _CLASSES + 2 * number
            sun_m2 = dense[own + 1] + dense[own + 3]
            area_m2 = sun_m2 + (dense[own] + dense[own + 2])
            if area_m2 > 0.0 and not (is_full or is_too_steep):
                classes[written] = number
                class_m2[written, 0] = area_m2
                class_m2[written, 1] = sun_m2
                class_m2[written, 2] = dense[exact] + dense[exact + 1]
                written += 1
            dense[own] = dense[own + 1] = dense[own + 2] = dense[own + 3] = 0.0
            dense[exact] = dense[exact + 1] = 0.0
        if is_too_steep:
            return at, written, at
        if is_full:
            return at, written, -1
        class_counts[at] = written - before
        for col in range(cols):
            for number in range(_SUMS):
                plain[at, number] += work[(1 + number) * ROOM + col]
    return len(owners), written, -1


@compiled
def _add_pieces(
    classes_at: Any, m2_at: Any, lengths: Any, order: Any, by_owner: Any, low: Any, high: Any, dense: Any,
    counts: Any, all_classes: Any, all_m2: Any,
) -> None:  # fmt: skip
    written = 0
    for zone in range(len(counts)):
        begin, end = by_owner[zone], by_owner[zone + 1]
        first, last = low[zone], high[zone]
        for at in range(begin, end):
            piece = order[at]
            length = lengths[piece]
            classes = carray(_ints_at(classes_at[piece]), (length,))
            class_m2 = carray(_floats_at(m2_at[piece]), (length, 3))
            for entry in range(length):
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
    singles: Any, heights: Any, heights_at: int, is_single: int, height_rows: int, height_cols: int,
    corner_row: int, corner_col: int,
    x: Any, y: Any, vertices: int, ring_ends: Any, is_shell: Any, rings: int, polygon_ends: Any, polygons: int,
    owners: Any, windows: Any, steps: Any, latitudes: Any, count: int, rules: Any, cuts: Any, from_piece: int,
    plain: Any, class_counts: Any, classes: Any, class_m2: Any, room: int,
    area: Any, bits: Any, reach: Any, most_rows: int, scratch: Any, keys: Any, told: Any,
) -> None:  # fmt: skip
    found = carray(told, (3,))
    all_scratch = carray(scratch, (SCRATCH,))
    found[0], found[1], found[2] = _sum_pieces(
        carray(singles, (height_rows, height_cols)), carray(heights, (height_rows, height_cols)), heights_at, is_single,
        corner_row, corner_col,
        carray(x, (vertices,)), carray(y, (vertices,)), carray(ring_ends, (rings + 1,)), carray(is_shell, (rings,)),
        carray(polygon_ends, (polygons + 1,)),
        carray(owners, (count,)), carray(windows, (count, 4)), carray(steps, (count, 2, 2, 4)),
        carray(latitudes, (count, 5)), carray(rules, (6,)), carray(cuts, (3,)), from_piece,
        carray(plain, (count, _SUMS)), carray(class_counts, (count,)), carray(classes, (room,)),
        carray(class_m2, (room, 3)), area, bits, carray(reach, (most_rows, 2)),
        all_scratch[:_END_LINES], all_scratch[_END_LINES:_END_WORK], carray(keys, (ROOM,)),
        all_scratch[_END_WORK:_END_DENSE], all_scratch[_END_DENSE:SCRATCH],
    )  # fmt: skip


def _add_pieces_at(
    classes_at: Any, m2_at: Any, lengths: Any, order: Any, pieces_: int, by_owner: Any, low: Any, high: Any, zones: int,
    dense: Any, widest: int, counts: Any, all_classes: Any, all_m2: Any, entries: int,
) -> None:  # fmt: skip
    _add_pieces(
        carray(classes_at, (pieces_,)), carray(m2_at, (pieces_,)), carray(lengths, (pieces_,)),
        carray(order, (pieces_,)), carray(by_owner, (zones + 1,)), carray(low, (zones,)), carray(high, (zones,)),
        carray(dense, (widest, 3)), carray(counts, (zones,)), carray(all_classes, (entries,)),
        carray(all_m2, (entries, 3)),
    )  # fmt: skip


#: What is called from outside, by the names that `habmap.land.fused.KINDS` knows.
ENTRIES: Final[dict[str, Callable[..., None]]] = {"sum_pieces": _sum_pieces_at, "add_pieces": _add_pieces_at}
