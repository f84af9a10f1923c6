"""Cells that face the sun, kept so that many outlines over the same ground are weighed without reading it again."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from habmap.land.coverage import Floats, shares_in
from habmap.land.facerules import FaceRules
from habmap.land.pieces import Outlines
from habmap.land.zones import GradientTile


@dataclass(frozen=True, slots=True)
class SunCells:
    """A rectangle of analysis cells.

    Attributes
    ----------
    first_row, first_col
        Its place in the raster's grid of analysis cells.
    is_known, is_sun
        Which cells have a slope, and which of them are sun-facing, shape ``(rows, cols)``.
    """

    first_row: int
    first_col: int
    is_known: NDArray[np.bool_]
    is_sun: NDArray[np.bool_]

    @classmethod
    def of(cls, tiles: Iterable[GradientTile], rules: FaceRules) -> SunCells:
        """Lay tiles side by side; what lies between them is not known."""
        given = list(tiles)
        first_row = min((tile.first_row for tile in given), default=0)
        first_col = min((tile.first_col for tile in given), default=0)
        end_row = max((tile.first_row + tile.east.shape[0] for tile in given), default=0)
        end_col = max((tile.first_col + tile.east.shape[1] for tile in given), default=0)
        is_known, is_sun = np.zeros((2, end_row - first_row, end_col - first_col), dtype=np.bool_)
        for tile in given:
            rows, cols = tile.east.shape
            top, left = tile.first_row - first_row, tile.first_col - first_col
            own = np.s_[top : top + rows, left : left + cols]
            rise = np.hypot(tile.east, tile.north)
            is_known[own] = ~np.isnan(rise)
            is_sloping = (rise > 0) & (100 * rise >= rules.flat_below_pct)  # false where it is not known
            is_sun[own] = is_sloping & rules.faces_sun(tile.east, tile.north)
        return cls(first_row, first_col, is_known, is_sun)

    def shares(self, outlines: Outlines) -> Floats:
        """Return the share of each outline's known ground that is sun-facing, cells by their exact shares; 0 of none.

        All cells count as equally large: within one place they are, to 1e-4.
        """
        found = np.zeros(len(outlines.polygon_ends) - 1)
        for number in range(len(found)):
            rings = slice(int(outlines.polygon_ends[number]), int(outlines.polygon_ends[number + 1]))
            ends = outlines.ring_ends[rings.start : rings.stop + 1]
            x, y = (values[ends[0] : ends[-1]] for values in (outlines.x, outlines.y))
            if not len(x):
                continue
            rows, cols = self.is_known.shape
            top = max(0, int(np.floor(y.min())) - self.first_row)
            left = max(0, int(np.floor(x.min())) - self.first_col)
            bottom = min(rows, int(np.ceil(y.max())) - self.first_row)
            right = min(cols, int(np.ceil(x.max())) - self.first_col)
            if top >= bottom or left >= right:
                continue
            window = (top + self.first_row, left + self.first_col, bottom + self.first_row, right + self.first_col)
            at_row, at_col, share = shares_in(x, y, ends - ends[0], outlines.is_shell[rings].tolist(), window=window)
            inner = (at_row + top, at_col + left)
            known = float(share[self.is_known[inner]].sum())
            found[number] = float(share[self.is_sun[inner]].sum()) / known if known else 0.0
        return found
