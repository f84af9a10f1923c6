"""Boxes that grow from places on an edge, many at once."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Speeds of a box's sides, backward and forward along the edge and away from it; behind the edge all is taken.
ALL: Final = math.inf
SPEEDS: Final = (
    (ALL, 1.0, 1.0), (1.0, ALL, 1.0), (ALL, 1.0, 2.0), (2.0, ALL, 1.0), (ALL, 2.0, 1.0), (1.0, ALL, 2.0),
    (ALL, ALL, 1.0), (ALL, 1.0, ALL), (1.0, ALL, ALL), (0.5, 0.5, 1.0), (1.0, 1.0, 1.0),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Boxes:
    """Boxes that grow from places on the edge, as arrays: where, along which way, the speeds of their sides."""

    at: Floats  # (n, 2)
    along: Floats  # (n, 2), unit vectors; the ground lies to the left of it
    speeds: Floats  # (n, 4): backward, forward, behind, away

    def __len__(self) -> int:
        return len(self.at)

    def __getitem__(self, index: NDArray[np.bool_] | NDArray[np.intp]) -> Boxes:
        return Boxes(self.at[index], self.along[index], self.speeds[index])

    def boxes(self, size_m: Floats, *, reach_m: float) -> NDArray[np.object_]:
        """Return the boxes at sizes [m]; a side that takes all lies ``reach_m`` away."""
        with np.errstate(invalid="ignore"):
            sides = np.where(np.isinf(self.speeds), reach_m, self.speeds * size_m[:, None])
        back, forward, behind, away = sides.T
        across = np.column_stack([-self.along[:, 1], self.along[:, 0]])

        def corner(along: Floats, up: Floats) -> Floats:
            found: Floats = self.at + along[:, None] * self.along + up[:, None] * across
            return found

        ring = [corner(-back, -behind), corner(forward, -behind), corner(forward, away), corner(-back, away)]
        return np.asarray(shapely.polygons(np.stack([*ring, ring[0]], axis=1)), dtype=object)

    @property
    def inside(self) -> NDArray[np.object_]:
        """A point just inside the ground at each place."""
        across = np.column_stack([-self.along[:, 1], self.along[:, 0]])
        return np.asarray(shapely.points(self.at + 1e-3 * across), dtype=object)
