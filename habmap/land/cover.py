"""Share of the ground under a canopy, as sums over exact cell shares that can be added piece by piece."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from habmap.land.shares import cell_shares

#: How far below the limit a cell still counts as at it, as a share of the limit: float32 stores 1.8288 m a hair low.
AT_THE_LIMIT_FRAC: Final = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverSums:
    """Ground of one polygon, or of a piece of it, with a known canopy height and at or above a limit [m²]."""

    covered_m2: float = 0.0
    tall_m2: float = 0.0

    def __add__(self, other: CoverSums) -> CoverSums:
        return CoverSums(covered_m2=self.covered_m2 + other.covered_m2, tall_m2=self.tall_m2 + other.tall_m2)

    @property
    def canopy_pct(self) -> float | None:
        """Share of the covered ground at or above the limit [%]; ``None`` where none is covered."""
        return 100 * min(1.0, self.tall_m2 / self.covered_m2) if self.covered_m2 > 0 else None

    def coverage_pct(self, *, unit_m2: float) -> float:
        """Return the share of the whole unit whose canopy height is known [%]."""
        share_pct = 100 * self.covered_m2 / unit_m2 if unit_m2 > 0 else 0.0
        # Shares come as float32 and the unit's own area from another projection: a hair short of all is all.
        return 100.0 if share_pct > 99.999 else share_pct


def cover_sums(
    heights_m: NDArray[np.floating[Any]],
    polygons_wkb: Sequence[bytes],
    *,
    first_row: int,
    first_col: int,
    cell_m2: ArrayLike,
    limit_m: float,
) -> list[CoverSums]:
    """Sum a tile's ground at or above a height over each polygon, each cell by its exact share inside.

    Parameters
    ----------
    heights_m
        Canopy height above the ground, shape ``(rows, cols)``, NaN where not known [m].
    polygons_wkb, first_row, first_col
        See :func:`habmap.land.shares.cell_shares`.
    cell_m2
        Ground of a cell, one for all or shape ``(rows, 1)`` [m²].
    limit_m
        Height from which ground counts as covered [m].
    """
    cells, shares, owners = cell_shares(heights_m, polygons_wkb, first_row=first_row, first_col=first_col)
    rows, cols = heights_m.shape
    row_m2 = np.broadcast_to(np.ravel(cell_m2), rows)
    area_m2 = shares * row_m2[cells // cols]
    is_tall = heights_m.ravel()[cells] >= limit_m * (1 - AT_THE_LIMIT_FRAC)
    count = len(polygons_wkb)
    covered = np.bincount(owners, weights=area_m2, minlength=count)
    tall = np.bincount(owners, weights=area_m2 * is_tall, minlength=count)
    return [CoverSums(covered_m2=float(c), tall_m2=float(t)) for c, t in zip(covered, tall, strict=True)]
