"""Edges that run due north and due east on the ground, far from the middle of the place's own grid."""

from __future__ import annotations

from datetime import datetime

import pytest
import shapely
from fakes import GRID, FakeStore, unit

from habmap.jobs.burnsheet import burnsheet
from habmap.work.burn.request import BurnRequest

WEST, SOUTH, WIDE_DEG, HIGH_DEG = -97.7, 38.1, 0.02, 0.012


@pytest.mark.parametrize("step", range(16))
def test_a_square_of_meridians_and_parallels_has_whole_edges_for_each_of_sixteen_winds(step: int) -> None:
    square = shapely.box(WEST, SOUTH, WEST + WIDE_DEG, SOUTH + HIGH_DEG)
    store = FakeStore([unit("A", GRID.to_grid(square))], grid=GRID)
    wind_from_deg = 22.5 * step
    totals = burnsheet(
        store,
        BurnRequest(
            names=("A",),
            at=datetime(2026, 3, 20, 14),
            temp_f=60,
            rh_pct=35,
            wind_mph=8,
            wind_from_deg=wind_from_deg,
        ),
    ).edge_totals
    shape = shapely.get_coordinates(GRID.to_grid(square)).tolist()
    length_m = [shapely.LineString(shape[i : i + 2]).length for i in range(4)]
    # Anticlockwise or clockwise, the two parallels and the two meridians are found by their own middles.
    expected = {"downwind": 0.0, "side": 0.0, "upwind": 0.0}
    for i in range(4):
        x, y = ((shape[i][0] + shape[i + 1][0]) / 2, (shape[i][1] + shape[i + 1][1]) / 2)
        lon, lat = shapely.get_coordinates(GRID.to_lonlat(shapely.Point(x, y)))[0].tolist()
        east, north = (lon - WEST) / WIDE_DEG - 0.5, (lat - SOUTH) / HIGH_DEG - 0.5
        outward_deg = (90 if east > 0 else 270) if abs(east) > abs(north) else (0 if north > 0 else 180)
        angle = abs((outward_deg - wind_from_deg - 180 + 180) % 360 - 180)
        expected["downwind" if angle <= 67.5 else "upwind" if angle >= 157.5 else "side"] += length_m[i]
    # The contract's angles; a parallel is bent by less than a meter here.
    assert [totals.downwind_m, totals.side_m, totals.upwind_m] == pytest.approx(list(expected.values()), abs=0.01)
