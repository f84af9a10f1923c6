"""Where cold night air runs: the steepest way downhill over a surface of heights. A screen, not a smoke model."""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Point = tuple[float, float]
End = Literal["hollow", "edge", "length"]

#: Flatter than this leads nowhere [m/m].
LEVEL_GRADIENT: Final = 1e-6
#: Cold air fills a hollow this deep and runs on over its rim (no source); it also bridges the false hollows that cells
#: make along the floor of a narrow valley [m].
POOL_DEPTH_M: Final = 2.0
_NEIGHBOURS: Final = ((-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1))


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """Heights on a planar grid of square cells.

    Attributes
    ----------
    heights_m
        Shape ``(rows, cols)``, float64, NaN where not known [m]. Row 0 is the southernmost.
    west_m, south_m
        Position of the middle of the first cell [m].
    cell_m
        Side of a cell [m].
    """

    heights_m: Floats
    west_m: float
    south_m: float
    cell_m: float

    def height_m(self, x: float, y: float) -> float:
        """Return the height at a point, bilinear between cell middles; NaN where not known [m]."""
        return float(sample(self.heights_m, (y - self.south_m) / self.cell_m, (x - self.west_m) / self.cell_m))

    def gradients(self) -> tuple[Floats, Floats]:
        """Return the rise toward east and toward north by central differences, NaN at the rim [m/m]."""
        east, north = np.full(self.heights_m.shape, np.nan), np.full(self.heights_m.shape, np.nan)
        h = self.heights_m
        east[:, 1:-1] = (h[:, 2:] - h[:, :-2]) / (2 * self.cell_m)
        north[1:-1, :] = (h[2:, :] - h[:-2, :]) / (2 * self.cell_m)
        return east, north


@dataclass(frozen=True, slots=True)
class DownhillPath:
    """The way down from a point.

    Attributes
    ----------
    points
        Ends of its steps in the grid, the start first [m].
    length_m
        Its length [m].
    end
        ``hollow``: ground with nothing lower near; ``edge``: the end of the known heights; ``length``: far enough.
    """

    points: tuple[Point, ...]
    length_m: float
    end: End


def sample(values: Floats, row: float, col: float) -> float:
    """Return a value between four cell middles, bilinear; NaN outside, or where one of them that counts is NaN."""
    rows, cols = values.shape
    if not (0 <= row <= rows - 1 and 0 <= col <= cols - 1):
        return math.nan
    r, c = int(row), int(col)
    dr, dc = row - r, col - c
    total = 0.0
    for at_row, at_col, weight in (
        (r, c, (1 - dr) * (1 - dc)),
        (r, c + 1, (1 - dr) * dc),
        (r + 1, c, dr * (1 - dc)),
        (r + 1, c + 1, dr * dc),
    ):
        if weight > 0:
            total += weight * float(values[at_row, at_col])
    return total


def sample_many(values: Floats, row: Floats, col: Floats) -> Floats:
    """Return `sample` for arrays of places, shape ``(n,)``; a NaN neighbor makes NaN, whatever its weight."""
    rows, cols = values.shape
    is_inside = (row >= 0) & (row <= rows - 1) & (col >= 0) & (col <= cols - 1)
    r, c = (np.where(is_inside, at, 0).astype(np.int64) for at in (row, col))
    dr, dc = row - r, col - c
    r1, c1 = np.minimum(r + 1, rows - 1), np.minimum(c + 1, cols - 1)
    south = values[r, c] * (1 - dc) + values[r, c1] * dc
    north = values[r1, c] * (1 - dc) + values[r1, c1] * dc
    return np.where(is_inside, south * (1 - dr) + north * dr, np.nan)


def outlets(surface: Surface) -> NDArray[np.int64]:
    """Return for each cell the next cell on the lowest way out of the known heights, −1 at their edge and outside.

    Notes
    -----
    Cells are flooded from the edge inward, the lowest first, so that each is reached over the lowest rim there is
    (priority flood: Barnes, Lehman & Mulla 2014, Computers & Geosciences 62:117-127, from memory).
    """
    rows, cols = surface.heights_m.shape
    heights = surface.heights_m.tolist()
    is_known = np.isfinite(surface.heights_m)
    inner = np.zeros_like(is_known)
    inner[1:-1, 1:-1] = is_known[1:-1, 1:-1]
    for dr, dc in _NEIGHBOURS:
        inner[1:-1, 1:-1] &= is_known[1 + dr : rows - 1 + dr, 1 + dc : cols - 1 + dc]
    next_cell = np.full((rows, cols), -1, dtype=np.int64)
    seen = np.pad(~inner, (0, 1), constant_values=True).tolist()  # what lies outside is seen, −1 counts from the end
    edge = np.argwhere(is_known & ~inner).tolist()
    queue = [(heights[r][c], r, c) for r, c in edge]
    heapq.heapify(queue)
    while queue:
        level_m, r, c = heapq.heappop(queue)
        for dr, dc in _NEIGHBOURS:
            nr, nc = r + dr, c + dc
            if not seen[nr][nc]:
                seen[nr][nc] = True
                next_cell[nr, nc] = r * cols + c
                heapq.heappush(queue, (max(level_m, heights[nr][nc]), nr, nc))
    return next_cell


def downhill_path(
    surface: Surface,
    start: Point,
    *,
    longest_m: float,
    pool_depth_m: float = POOL_DEPTH_M,
    ways_out: NDArray[np.int64] | None = None,
) -> DownhillPath:
    """Follow the steepest way down.

    Parameters
    ----------
    surface
        The ground.
    start
        Where the air starts, in the same grid [m].
    longest_m
        Where to stop [m].
    pool_depth_m
        Deepest hollow that is filled and left over its lowest rim; 0 = stop in the first one [m].
    ways_out
        What `outlets` gave for this surface, where it is at hand.

    Notes
    -----
    Steps of half a cell against the gradient (central differences, bilinear between cells), its direction taken at the
    middle of the step (midpoint rule): exact on planes, and on other surfaces off by the square of the cell. Where such
    a step does not go down, the way goes from cell to cell over the hollow's rim to the first ground that lies lower
    than its floor.
    """
    east, north = surface.gradients()
    step_m = surface.cell_m / 2
    points = [start]
    length_m = 0.0
    height_m = surface.height_m(*start)
    while longest_m - length_m > 1e-6 * step_m:  # what is left by rounding is no step
        stride_m = min(step_m, longest_m - length_m)
        reached = _step(surface, east, north, points[-1], stride_m)
        next_m = surface.height_m(*reached)
        if math.isnan(next_m):
            return DownhillPath(tuple(points), length_m, "edge")
        if next_m < height_m - LEVEL_GRADIENT * stride_m:
            way = [reached]
        else:
            if ways_out is None:
                ways_out = outlets(surface)
            way, end = _over_rim(surface, ways_out, points[-1], height_m, pool_depth_m)
            if end is not None:
                return DownhillPath(tuple(points), length_m, end)
        for point in way:
            length_m += math.dist(points[-1], point)
            points.append(point)
        height_m = surface.height_m(*points[-1])
    return DownhillPath(tuple(points), length_m, "length")


def _direction(surface: Surface, east: Floats, north: Floats, at: Point) -> Point:
    """Return the unit vector downhill, NaN where it is not known."""
    row, col = (at[1] - surface.south_m) / surface.cell_m, (at[0] - surface.west_m) / surface.cell_m
    rise_east, rise_north = sample(east, row, col), sample(north, row, col)
    steep = math.hypot(rise_east, rise_north)
    if steep <= LEVEL_GRADIENT:
        return (0.0, 0.0)
    return (-rise_east / steep, -rise_north / steep)


def _step(surface: Surface, east: Floats, north: Floats, at: Point, step_m: float) -> Point:
    first = _direction(surface, east, north, at)
    middle = (at[0] + first[0] * step_m / 2, at[1] + first[1] * step_m / 2)
    second = _direction(surface, east, north, middle)
    return (at[0] + second[0] * step_m, at[1] + second[1] * step_m)


def _over_rim(
    surface: Surface, ways_out: NDArray[np.int64], at: Point, floor_m: float, pool_depth_m: float
) -> tuple[list[Point], End | None]:
    """Return the way over a hollow's lowest rim to the first cell below its floor, or why there is none.

    ``hollow``: the rim is too high; ``edge``: the known heights end before lower ground.
    """
    _, cols = surface.heights_m.shape
    row, col = round((at[1] - surface.south_m) / surface.cell_m), round((at[0] - surface.west_m) / surface.cell_m)
    cell = row * cols + col
    way: list[Point] = []
    rim_m = floor_m
    while cell >= 0:
        row, col = divmod(cell, cols)
        height_m = float(surface.heights_m[row, col])
        if math.isnan(height_m):
            break
        rim_m = max(rim_m, height_m)
        if rim_m - floor_m > pool_depth_m:
            return [], "hollow"
        way.append((surface.west_m + col * surface.cell_m, surface.south_m + row * surface.cell_m))
        # A hair lower is the hollow's own floor between cell middles.
        if height_m < floor_m - LEVEL_GRADIENT * surface.cell_m:
            return way, None
        cell = int(ways_out[row, col])
    # Level ground all the way to the edge leads nowhere either.
    return [], "edge" if rim_m > floor_m else "hollow"
