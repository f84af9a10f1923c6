"""Where cold night air runs: the steepest way downhill over a surface of heights. A screen, not a smoke model."""

from __future__ import annotations

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
#: Cold air fills a small hollow and runs on: lower ground this near a hollow's floor is reached over its rim [m].
POOL_M: Final = 60.0


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
    r, c = min(int(row), max(0, rows - 2)), min(int(col), max(0, cols - 2))
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
    """Return `sample` for arrays of places, shape ``(n,)``; a NaN neighbour makes NaN, whatever its weight."""
    rows, cols = values.shape
    is_inside = (row >= 0) & (row <= rows - 1) & (col >= 0) & (col <= cols - 1)
    r = np.clip(np.floor(np.where(is_inside, row, 0)).astype(np.int64), 0, max(0, rows - 2))
    c = np.clip(np.floor(np.where(is_inside, col, 0)).astype(np.int64), 0, max(0, cols - 2))
    dr, dc = row - r, col - c
    r1, c1 = np.minimum(r + 1, rows - 1), np.minimum(c + 1, cols - 1)
    south = values[r, c] * (1 - dc) + values[r, c1] * dc
    north = values[r1, c] * (1 - dc) + values[r1, c1] * dc
    return np.where(is_inside, south * (1 - dr) + north * dr, np.nan)


def downhill_path(surface: Surface, start: Point, *, longest_m: float, pool_m: float = POOL_M) -> DownhillPath:
    """Follow the steepest way down.

    Parameters
    ----------
    surface
        The ground.
    start
        Where the air starts, in the same grid [m].
    longest_m
        Where to stop [m].
    pool_m
        How far over the rim of a hollow lower ground is looked for; 0 = stop in the first hollow [m].

    Notes
    -----
    Steps of half a cell against the gradient (central differences, bilinear between cells), its direction taken at the
    middle of the step (midpoint rule): exact on planes, and on other surfaces off by the square of the cell. A step
    that does not go down ends in a hollow.
    """
    east, north = surface.gradients()
    step_m = surface.cell_m / 2
    points = [start]
    length_m = 0.0
    height_m = surface.height_m(*start)
    while longest_m - length_m > 1e-6 * step_m:  # what is left by rounding is no step
        reached = _step(surface, east, north, points[-1], min(step_m, longest_m - length_m))
        if reached is None:
            return DownhillPath(tuple(points), length_m, "edge")
        next_m = surface.height_m(*reached)
        if math.isnan(next_m):
            return DownhillPath(tuple(points), length_m, "edge")
        if next_m >= height_m - LEVEL_GRADIENT * step_m:
            over_rim = _lower_near(surface, points[-1], height_m, pool_m)
            if over_rim is None:
                return DownhillPath(tuple(points), length_m, "hollow")
            reached, next_m = over_rim
        length_m += math.dist(points[-1], reached)
        points.append(reached)
        height_m = next_m
    return DownhillPath(tuple(points), length_m, "length")


def _direction(surface: Surface, east: Floats, north: Floats, at: Point) -> Point | None:
    row, col = (at[1] - surface.south_m) / surface.cell_m, (at[0] - surface.west_m) / surface.cell_m
    rise_east, rise_north = sample(east, row, col), sample(north, row, col)
    steep = math.hypot(rise_east, rise_north)
    if math.isnan(steep):
        return None
    if steep <= LEVEL_GRADIENT:
        return (0.0, 0.0)
    return (-rise_east / steep, -rise_north / steep)


def _step(surface: Surface, east: Floats, north: Floats, at: Point, step_m: float) -> Point | None:
    first = _direction(surface, east, north, at)
    if first is None:
        return None
    middle = (at[0] + first[0] * step_m / 2, at[1] + first[1] * step_m / 2)
    second = _direction(surface, east, north, middle)
    if second is None:
        return None
    return (at[0] + second[0] * step_m, at[1] + second[1] * step_m)


def _lower_near(surface: Surface, at: Point, height_m: float, pool_m: float) -> tuple[Point, float] | None:
    """Return the nearest cell middle that lies lower than the hollow's floor, with its height."""
    reach = int(pool_m / surface.cell_m)
    if reach < 1:
        return None
    rows, cols = surface.heights_m.shape
    row = round((at[1] - surface.south_m) / surface.cell_m)
    col = round((at[0] - surface.west_m) / surface.cell_m)
    r0, r1, c0, c1 = max(0, row - reach), min(rows, row + reach + 1), max(0, col - reach), min(cols, col + reach + 1)
    around = surface.heights_m[r0:r1, c0:c1]
    ys = surface.south_m + np.arange(r0, r1) * surface.cell_m
    xs = surface.west_m + np.arange(c0, c1) * surface.cell_m
    distance = np.hypot(xs[None, :] - at[0], ys[:, None] - at[1])
    # A hair lower is the hollow's own floor between cell middles.
    is_lower = (around < height_m - LEVEL_GRADIENT * surface.cell_m) & (distance <= pool_m) & (distance > 0)
    if not is_lower.any():
        return None
    best = np.unravel_index(np.argmin(np.where(is_lower, distance, np.inf)), around.shape)
    return (float(xs[best[1]]), float(ys[best[0]])), float(around[best])
