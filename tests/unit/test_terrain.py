"""Horn's gradient, ground steps and block averages on grids that can be checked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import Geod

from habmap.land.terrain import (
    GroundSteps,
    aspect_deg,
    block_average,
    block_factor,
    heat_load_mccune_keon_2002,
    horn_gradient,
    metres_per_degree,
    slope_deg,
)

NORTH_UP_10_M = GroundSteps(np.array(10.0), np.array(0.0), np.array(0.0), np.array(-10.0))


def plane(east: float, north: float, *, rows: int = 5, cols: int = 6, cell: float = 10.0) -> np.ndarray:
    row, col = np.mgrid[:rows, :cols]
    return 300.0 + east * col * cell - north * row * cell


@pytest.mark.parametrize(
    ("east", "north", "slope", "aspect"),
    [
        # atan(sqrt(0.1² + 0.2²)) and atan2(0.1, −0.2): algebra
        (-0.1, 0.2, 12.604382648379, 153.434948822922),
        (0.0, -0.25, 14.036243467926, 0.0),
    ],
)
def test_plane_has_its_own_slope_and_aspect_everywhere_inside(east, north, slope, aspect):
    gradient = NORTH_UP_10_M.gradient(*horn_gradient(plane(east, north)))
    assert slope_deg(*gradient)[1:-1, 1:-1] == pytest.approx(slope, abs=1e-9)
    assert aspect_deg(*gradient)[1:-1, 1:-1] == pytest.approx(aspect, abs=1e-9)


def test_border_and_every_cell_beside_a_hole_have_no_gradient():
    heights = plane(0.1, 0.1, rows=7, cols=7)
    heights[3, 3] = np.nan
    for part in horn_gradient(heights):
        is_valid = np.isfinite(part)
        assert not is_valid[[0, -1]].any() and not is_valid[:, [0, -1]].any()
        assert not is_valid[2:5, 2:5].any()
        assert is_valid[1, 1:-1].all() and is_valid[1:-1, 5].all()


def test_grid_smaller_than_three_cells_has_no_gradient():
    assert np.isnan(horn_gradient(np.zeros((2, 9)))[0]).all()


def test_flat_ground_faces_nowhere():
    gradient = NORTH_UP_10_M.gradient(*horn_gradient(plane(0.0, 0.0)))
    assert np.isnan(aspect_deg(*gradient)).all()
    gentle = NORTH_UP_10_M.gradient(*horn_gradient(plane(0.04, 0.0)))
    assert np.isnan(aspect_deg(*gentle, flat_below_pct=5)[1:-1, 1:-1]).all()
    assert aspect_deg(*gentle, flat_below_pct=3)[2, 2] == pytest.approx(270)


def test_south_up_and_turned_rasters_give_the_same_ground_gradient():
    upright = NORTH_UP_10_M.gradient(*horn_gradient(plane(-0.1, 0.2)))
    south_up = GroundSteps(np.array(10.0), np.array(0.0), np.array(0.0), np.array(10.0))
    flipped = south_up.gradient(*horn_gradient(plane(-0.1, 0.2)[::-1]))
    assert flipped[0][2, 2] == pytest.approx(upright[0][2, 2])
    assert flipped[1][2, 2] == pytest.approx(upright[1][2, 2])
    # Columns lead to 30° east of north, rows to 120°.
    sin, cos = np.sin(np.radians(30)), np.cos(np.radians(30))
    turned = GroundSteps(*(10 * np.array(v) for v in (sin, cos, cos, -sin)))
    row, col = np.mgrid[:5, :5]
    heights = -0.1 * 10 * (sin * col + cos * row) + 0.2 * 10 * (cos * col - sin * row)
    east, north = turned.gradient(*horn_gradient(heights))
    assert (east[2, 2], north[2, 2]) == pytest.approx((-0.1, 0.2))
    assert turned.cell_m2 == pytest.approx(100)


def test_block_average_takes_whole_valid_blocks_only():
    heights = np.arange(35, dtype=np.float32).reshape(5, 7)
    heights[0, 3] = np.nan
    averaged = block_average(heights, 2)
    assert averaged.shape == (2, 3)
    assert averaged.dtype == np.float64
    assert averaged[0, 0] == (0 + 1 + 7 + 8) / 4
    assert np.isnan(averaged[0, 1])
    assert averaged[1, 2] == (18 + 19 + 25 + 26) / 4


@pytest.mark.parametrize(
    ("cell_m", "wanted", "factor"),
    [(3.0, 10, 3), (10.0, 10, 1), (30.0, 10, 1), (1.0, 10, 10), (1.0, "native", 1), (0.3048, 10, 33)],
)
def test_block_factor(cell_m, wanted, factor):
    assert block_factor(cell_m, wanted) == factor


def test_degree_lengths_at_the_equator_and_the_pole():
    east, north = metres_per_degree([0.0, 90.0])
    assert east == pytest.approx([111_319.4908, 0.0], abs=1e-4)  # 2π·6 378 137 / 360
    assert north == pytest.approx([110_574.2758, 111_693.9796], abs=1e-3)  # M(0) = a(1−e²), M(90) = a/√(1−e²)


def test_the_faintest_slope_has_an_aspect_unless_somebody_calls_it_flat():
    # 0.005% toward north
    assert aspect_deg(np.array(0.0), np.array(5e-5)) == pytest.approx(180)
    assert np.isnan(aspect_deg(np.array(0.0), np.array(5e-5), flat_below_pct=0.01))


def test_heat_load_holds_to_sixty_degrees_of_slope_and_no_further():
    # 0.339 + 0.808 cos 40° cos 60° − 0.196 sin 40° sin 60° − 0.482 cos 135° sin 60°, by hand
    assert heat_load_mccune_keon_2002(40, 60, 180) == pytest.approx(0.8345, abs=1e-4)
    assert np.isnan(heat_load_mccune_keon_2002(40, 60.001, 180))


def test_heat_load_takes_a_face_round_the_compass() -> None:
    plain = heat_load_mccune_keon_2002(40, 30, 315)
    assert heat_load_mccune_keon_2002(40, 30, -45) == plain == heat_load_mccune_keon_2002(40, 30, 675)


@pytest.mark.parametrize("lat", [-52.0, 20.0, 38.0, 45.0, 71.0])
def test_degree_lengths_between_are_those_of_short_geodesics(lat: float) -> None:
    geod = Geod(ellps="WGS84")
    east, north = metres_per_degree(lat)
    assert east == pytest.approx(geod.inv(0, lat, 1e-3, lat)[2] * 1000, rel=1e-7)
    assert north == pytest.approx(geod.inv(0, lat - 5e-4, 0, lat + 5e-4)[2] * 1000, rel=1e-7)


def test_heat_load_holds_from_thirty_to_sixty_degrees_north_and_from_level_ground_on() -> None:
    for lat, slope, is_known in ((30, 10, 1), (60, 10, 1), (29.99, 10, 0), (60.01, 10, 0), (40, 0, 1), (40, -0.1, 0)):
        assert np.isfinite(heat_load_mccune_keon_2002(lat, slope, 180)) == bool(is_known)
