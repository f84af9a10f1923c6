"""The work of summing heights under outlines: which part of which outline lies in which tile, and who does it."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Any, Final, Literal, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray

from habmap.land.pieces import Outlines, PieceSums, plain_sums
from habmap.land.terrain import Floats

Ints: TypeAlias = NDArray[np.int64]
Way = Literal["plain", "compiled"]

#: Cells from which the compiled way is worth it: it is made once for a machine, which takes some seconds. Chosen: the
#: plain one needs about a second for them.
COMPILED_FROM_CELLS: Final = 20_000_000
#: An outline costs the plain way as much as this many cells.
CELLS_PER_OUTLINE: Final = 20_000
#: Threads beyond these wait for memory, not for a processor. Chosen.
MOST_THREADS: Final = 8
#: Tasks that a thread begins while what all need is being prepared. Chosen: few enough to stay small in memory.
MOST_BEGUN: Final = 4


def outlines_of(polygons: NDArray[np.object_], turn: Callable[[Floats], Floats] = lambda xy: xy) -> Outlines:
    """Return polygons as rings; what is no polygon has none, nor has what cannot be turned.

    Parameters
    ----------
    polygons
        Shapely objects.
    turn
        Turns their vertices, shape ``(vertices, 2)``, into cells: x = column, y = −row.
    """
    given = polygons.copy()
    given[shapely.get_dimensions(polygons) != 2] = shapely.Polygon()
    parts, part_owner = given, np.arange(len(given))
    while len(parts) and (shapely.get_type_id(parts) > shapely.GeometryType.POLYGON).any():  # collections
        parts, inner = shapely.get_parts(parts, return_index=True)
        part_owner = part_owner[inner]
    keeps = shapely.get_dimensions(parts) == 2
    parts, part_owner = parts[keeps], part_owner[keeps]
    rings, ring_part = shapely.get_rings(parts, return_index=True)
    vertices, vertex_ring = shapely.get_coordinates(rings, return_index=True)
    xy = turn(vertices)
    ring_owner = part_owner[ring_part]
    is_nowhere = ~np.isfinite(xy).all(axis=1)
    if is_nowhere.any():
        given[ring_owner[vertex_ring[is_nowhere]]] = shapely.Polygon()
        return outlines_of(given, turn)
    is_shell = np.concatenate([[True], ring_part[1:] != ring_part[:-1]])[: len(rings)]
    return Outlines(
        x=np.ascontiguousarray(xy[:, 0]),
        y=np.ascontiguousarray(-xy[:, 1]),
        ring_ends=np.searchsorted(vertex_ring, np.arange(len(rings) + 1)).astype(np.int64),
        is_shell=is_shell.astype(np.bool_),
        polygon_ends=np.searchsorted(ring_owner, np.arange(len(polygons) + 1)).astype(np.int64),
    )


@dataclass(frozen=True, slots=True)
class Cut:
    """Outlines cut by tiles: whose piece, which tile (row, column), and its window, in order of tiles and rows."""

    owners: Ints
    tiles: Ints
    windows: Ints

    @classmethod
    def of(cls, bounds: Floats, *, side: int, shape: tuple[int, int]) -> Cut:
        """Cut outlines by their boxes.

        Parameters
        ----------
        bounds
            Left, bottom, right and top of each outline [cells], y = −row; NaN where it is empty.
        side
            Side of a tile [cells].
        shape
            Rows and columns of the raster.
        """
        rows, cols = shape
        left, top, right, bottom = bounds[:, 0], -bounds[:, 3], bounds[:, 2], -bounds[:, 1]
        own = np.flatnonzero((right > 0) & (left < cols) & (bottom > 0) & (top < rows))
        first = np.maximum(np.floor(np.column_stack([top, left])[own]), 0).astype(np.int64)
        end = np.minimum(np.ceil(np.column_stack([bottom, right])[own]), [rows, cols]).astype(np.int64)
        low, high = first // side, (end - 1) // side
        spans = high - low + 1
        counts = spans[:, 0] * spans[:, 1]
        at = np.repeat(np.arange(len(own)), counts)
        number = np.arange(len(at)) - np.repeat(np.cumsum(counts) - counts, counts)
        tiles = low[at] + np.column_stack(np.divmod(number, spans[at, 1]))
        windows = np.column_stack([np.maximum(first[at], tiles * side), np.minimum(end[at], (tiles + 1) * side)])
        is_there = (windows[:, 2] > windows[:, 0]) & (windows[:, 3] > windows[:, 1])
        tiles, windows, owners = tiles[is_there], windows[is_there], own[at[is_there]]
        order = np.lexsort((owners, windows[:, 0], tiles[:, 1], tiles[:, 0]))
        return cls(owners[order], tiles[order], windows[order])

    @property
    def begins_tile(self) -> NDArray[np.bool_]:
        """Whether a piece is the first of its tile."""
        return np.asarray(np.diff(self.tiles, axis=0, prepend=-1).any(axis=1), dtype=np.bool_)

    @property
    def cells(self) -> int:
        """Cells of all windows."""
        return int(np.prod(self.windows[:, 2:] - self.windows[:, :2], axis=1).sum())

    def reach(self, own: slice) -> tuple[int, int, int, int]:
        """Return first row, first column, end row and end column of what some pieces reach [cells]."""
        windows = self.windows[own]
        first_row, first_col = (int(low) for low in windows[:, :2].min(axis=0))
        end_row, end_col = (int(end) for end in windows[:, 2:].max(axis=0))
        return first_row, first_col, end_row, end_col

    def by_tile(self, *, band_tiles: int) -> list[slice]:
        """Return the pieces of each tile, in an order that keeps to bands of columns so that neighbors follow soon."""
        starts = np.flatnonzero(self.begins_tile)
        ends = np.append(starts[1:], len(self.owners))
        row, col = self.tiles[starts].T
        order = np.lexsort((col, row, col // max(1, band_tiles)))
        return [slice(int(starts[at]), int(ends[at])) for at in order]


def way_for(cut: Cut) -> Way:
    """Return the way that is quicker for so much work."""
    work = cut.cells + CELLS_PER_OUTLINE * len(cut.owners)
    return "compiled" if work > COMPILED_FROM_CELLS else "plain"


def get_ready(outlines: int) -> None:
    """Begin to load the machine code, where so many outlines are sure to need it, beside what else must be done."""
    if CELLS_PER_OUTLINE * outlines > COMPILED_FROM_CELLS:
        threading.Thread(target=summing, args=("compiled",), daemon=True).start()


def summing(way: Way) -> Callable[..., PieceSums]:
    """Return the function that sums pieces."""
    if way == "plain":
        return plain_sums
    from habmap.place.kernels import fused

    return fused().sums


def adding(way: Way) -> Callable[..., Any] | None:
    """Return what makes the function that adds up slope classes; ``None``: the plain one."""
    if way == "plain":
        return None
    from habmap.place.kernels import fused

    return fused().adding


def threads_here() -> int:
    """Return how many threads are worth starting on this machine."""
    allowed = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(allowed, MOST_THREADS)


def do_each(work: Callable[[int], None], numbers: Sequence[int], *, threads: int | None) -> None:
    """Do work that has nothing to do with each other on so many threads; ``None``: on all that are worth it."""
    most = min(len(numbers), threads or threads_here())
    if most < 2:
        for number in numbers:
            work(number)
        return
    with ThreadPoolExecutor(most) as pool:
        list(pool.map(work, numbers))


def spread(
    tasks: Sequence[slice],
    begin: Callable[[Any, slice], Any],
    finish: Callable[[slice, Any, Any], Any],
    reader: Any,
    another_reader: Callable[[], AbstractContextManager[Any]],
    *,
    prepared: Callable[[], Any],
    threads: int,
    done: Callable[[int], None],
) -> list[Any]:
    """Do tasks on several threads, each with a reader of its own, and return what they gave, in the tasks' order.

    Parameters
    ----------
    tasks
        Begun in their order.
    begin, finish
        The first half of a task, with a reader; the second, with what the first gave and what was prepared. Until that
        is there, several are begun.
    reader, another_reader
        The calling thread's reader, and what opens one for another thread.
    prepared
        Prepares what all tasks need, in the calling thread, while the others begin.
    threads
        How many, the calling one included.
    done
        Called in the calling thread with how many tasks are done.
    """
    found: list[Any] = [None] * len(tasks)
    faults: list[BaseException] = []
    numbers = iter(range(len(tasks)))
    lock = threading.Lock()
    ready: Future[Any] = Future()
    over = 0

    def turn(own: Any, *, tells: bool) -> None:
        nonlocal over
        is_left = True
        while is_left and not faults:
            begun: list[tuple[int, Any]] = []
            while len(begun) < (1 if ready.done() else MOST_BEGUN):
                with lock:
                    number = next(numbers, None)
                if number is None:
                    is_left = False
                    break
                begun.append((number, begin(own, tasks[number])))
            for number, half in begun:
                if tells:
                    done(over)
                found[number] = finish(tasks[number], half, ready.result())
                with lock:
                    over += 1

    def helper() -> None:
        try:
            with another_reader() as own:
                turn(own, tells=False)
        except BaseException as fault:  # raised again where the others are waited for
            faults.append(fault)

    helpers = [threading.Thread(target=helper, daemon=True) for _ in range(min(threads, len(tasks)) - 1)]
    for one in helpers:
        one.start()
    try:
        ready.set_result(prepared())
        turn(reader, tells=True)
    except BaseException as fault:
        faults.insert(0, fault)
        ready.cancel()
    for one in helpers:
        one.join()
    if faults:
        raise faults[0]
    return found
