"""How much ground faces each way, gentle and steep apart: the classes that fuel moisture is told by."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from habmap.land.shares import cell_shares
from habmap.land.zones import GradientTile

#: Quadrants of the fuel moisture tables, 90° each, ``N`` from 315° to 45°; each begins with its first bearing.
QUADRANTS: Final = ("N", "E", "S", "W")
FLAT: Final = "flat"

FaceClass = tuple[str, str]


def facing_class_m2(
    tile: GradientTile, polygons_wkb: Sequence[bytes], *, flat_below_pct: float, steep_above_pct: float
) -> list[dict[FaceClass, float]]:
    """Return the ground of one tile inside each polygon by facing and slope class [m²], cells by their exact shares.

    Parameters
    ----------
    tile, polygons_wkb
        As for `habmap.land.zones.tile_sums`.
    flat_below_pct
        Gentler ground is ``flat`` [%].
    steep_above_pct
        Where the slope class ``0-30`` ends, itself included, and ``>30`` begins [%].

    Returns
    -------
    list of dict
        ``(facing, slope_class)`` → m²; classes with no ground are left out, cells without a gradient too.
    """
    cells, shares, owners = cell_shares(
        tile.east + tile.north, polygons_wkb, first_row=tile.first_row, first_col=tile.first_col
    )
    east, north = tile.east.ravel()[cells], tile.north.ravel()[cells]
    rows = cells // tile.east.shape[1]
    cell_m2 = np.broadcast_to(np.ravel(tile.steps.cell_m2), tile.east.shape[:1])
    area_m2 = shares * cell_m2[rows]
    pct = 100 * np.hypot(east, north)
    bearing = np.degrees(np.arctan2(-east, -north)) % 360
    quadrant = ((bearing + 45) % 360 // 90).astype(np.int64) % len(QUADRANTS)
    is_steep = pct > steep_above_pct
    is_flat = (pct < flat_below_pct) | (pct == 0)
    # Class 0 is flat ground; then two for each quadrant, gentle before steep.
    classes = np.where(is_flat, 0, 1 + 2 * quadrant + is_steep)
    names: list[FaceClass] = [(FLAT, "0-30")]
    names += [(name, slope) for name in QUADRANTS for slope in ("0-30", ">30")]
    found = []
    for owner in range(len(polygons_wkb)):
        is_own = owners == owner
        totals = np.bincount(classes[is_own], weights=area_m2[is_own], minlength=len(names))
        found.append({name: float(total) for name, total in zip(names, totals, strict=True) if total > 0})
    return found
