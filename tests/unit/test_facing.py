"""Ground by facing and slope class on planes, whose one face is known."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from habmap.land.facerules import SUN_FACING_NORTH_DEG, SUN_FACING_SOUTH_DEG, FaceRules, SlopeLimit, _toward
from habmap.land.facing import facing_class_m2
from habmap.land.terrain import GroundSteps
from habmap.land.zones import GradientTile
from habmap.place.settings import Settings


def tile(east: np.ndarray, north: np.ndarray) -> GradientTile:
    """Cells of 10 m, rows going south."""
    one, nil = np.array(10.0), np.array(0.0)
    return GradientTile(
        first_row=0, first_col=0, east=east, north=north, steps=GroundSteps(one, nil, nil, -one),
        lat_deg=38.0, lat_per_row_deg=0.0, lat_per_col_deg=0.0,
    )  # fmt: skip


def plane(bearing_deg: float, slope_pct: float) -> GradientTile:
    """A plane that falls toward a bearing: its gradient points the other way."""
    turn = math.radians(bearing_deg)
    shape = (8, 8)
    return tile(np.full(shape, -slope_pct / 100 * math.sin(turn)), np.full(shape, -slope_pct / 100 * math.cos(turn)))


def classes(ground: GradientTile, *polygons: shapely.Polygon) -> list[dict[tuple[str, str], float]]:
    return facing_class_m2(
        ground, [shapely.to_wkb(polygon) for polygon in polygons], flat_below_pct=5, steep_above_pct=30
    )


WHOLE = shapely.box(0, -8, 8, 0)


@pytest.mark.parametrize(
    ("bearing_deg", "facing"),
    [(0, "N"), (44.9, "N"), (45.1, "E"), (90, "E"), (134.9, "E"), (135.1, "S"), (180, "S"), (224.9, "S"), (225.1, "W"),
     (270, "W"), (314.9, "W"), (315.1, "N"), (359.9, "N")],
)  # fmt: skip
def test_quadrants(bearing_deg: float, facing: str) -> None:
    (found,) = classes(plane(bearing_deg, 20), WHOLE)
    assert found == pytest.approx({(facing, "0-30"): 6400.0})


@pytest.mark.parametrize(
    ("slope_pct", "name"),
    [
        (0, ("flat", "0-30")),
        (4.9, ("flat", "0-30")),
        (5, ("S", "0-30")),
        (5.1, ("S", "0-30")),
        (29.9, ("S", "0-30")),
        (30, ("S", "0-30")),
        (30.1, ("S", ">30")),
    ],
)
def test_slope_classes(slope_pct: float, name: tuple[str, str]) -> None:
    (found,) = classes(plane(180, slope_pct), WHOLE)
    assert list(found) == [name]


def test_a_part_of_a_raster_knows_where_it_lies_and_how_large_its_rows_are() -> None:
    """Rows 3 and 4 of a raster from its fifth column on, the second row twice as large; level ground is flat."""
    falls_south = plane(180, 20)
    part = GradientTile(
        first_row=3, first_col=5, east=np.zeros((2, 2)), north=falls_south.north[:2, :2].copy(),
        steps=GroundSteps(np.array([10.0, 20.0]), np.zeros(2), np.zeros(2), np.array([-10.0, -10.0])),
        lat_deg=38.0, lat_per_row_deg=0.0, lat_per_col_deg=0.0,
    )  # fmt: skip
    part.north[0, 1] = 0.0
    (found,) = facing_class_m2(
        part, [shapely.to_wkb(shapely.box(5, -4.5, 7, -3))], flat_below_pct=0, steep_above_pct=30
    )
    # 100 m² of the upper row's cells, half of 200 m² of the lower one's
    assert found == pytest.approx({("S", "0-30"): 100 + 200, ("flat", "0-30"): 100})


def test_each_polygon_gets_its_own_ground_by_exact_shares() -> None:
    west, east = plane(180, 20), plane(0, 40)
    mixed = tile(np.hstack([west.east[:, :4], east.east[:, 4:]]), np.hstack([west.north[:, :4], east.north[:, 4:]]))
    across, sliver, off = shapely.box(2.5, -3, 5, -1), shapely.box(0.25, -1.5, 0.75, -1), shapely.box(20, -3, 22, -1)
    found = classes(mixed, across, sliver, off)
    # By hand: 1.5 of 2.5 columns lie west, two rows, 100 m² a cell; a half by a half cell; nothing.
    assert found[0] == pytest.approx({("S", "0-30"): 300.0, ("N", ">30"): 200.0})
    assert found[1] == pytest.approx({("S", "0-30"): 25.0})
    assert found[2] == {}
    # a quarter of a square meter is ground too
    (crumb,) = classes(mixed, shapely.box(0.25, -1.05, 0.3, -1))
    assert crumb == pytest.approx({("S", "0-30"): 0.25})


def test_cells_without_a_gradient_are_left_out() -> None:
    ground = plane(180, 20)
    ground.east[:, :4] = np.nan
    (found,) = classes(ground, WHOLE)
    assert found == pytest.approx({("S", "0-30"): 3200.0})


def test_the_eight_chief_bearings_are_exact_and_others_are_sines() -> None:
    root = math.sqrt(0.5)
    by_hand = [(0, 1), (root, root), (1, 0), (root, -root), (0, -1), (-root, -root), (-1, 0), (-root, root)]
    for number, expected in enumerate(by_hand):
        east, north = _toward(45.0 * number)
        assert (east / math.hypot(east, north), north / math.hypot(east, north)) == pytest.approx(expected)
        assert {abs(east), abs(north)} <= {0.0, 1.0}
    assert _toward(-90) == (-1, 0) and _toward(30) == pytest.approx((0.5, math.sqrt(0.75)))


def test_the_rules_of_a_property_without_settings_are_those_of_ground_by_itself() -> None:
    """Flat below 5%, hand-only above 30%, the sun from 112.5° to 247.5°."""
    rules, terrain = FaceRules(), Settings().terrain
    assert (rules.flat_below_pct, rules.machine_limit_pct, rules.sun_facing_deg) == (5, 30, (112.5, 247.5))
    assert (terrain.flat_below_pct, terrain.machine_limit_pct, terrain.sun_facing_deg) == (5, 30, (112.5, 247.5))


@pytest.mark.parametrize(
    ("limit_pct", "whole", "cut"),
    [(5.0, 50, -1), (5.05, 50, 50), (4.99, 49, 49), (29.96, 299, 299), (0.3, 3, -1), (0.0, 0, -1), (5 + 5e-11, 50, -1),
     (5 - 5e-11, 50, -1), (5 + 2e-10, 50, 50), (5 - 2e-10, 49, 49)],
)  # fmt: skip
def test_a_limit_lies_between_classes_of_a_tenth_of_a_percent_or_cuts_one(
    limit_pct: float, whole: int, cut: int
) -> None:
    assert SlopeLimit.at(limit_pct) == SlopeLimit(whole, cut)


@pytest.mark.parametrize(
    ("sun_facing_deg", "inside", "outside"),
    [
        (SUN_FACING_NORTH_DEG, (112.6, 135, 180, 225, 247.4), (112.4, 90, 0, 300, 247.6)),
        (SUN_FACING_SOUTH_DEG, (292.6, 315, 0, 45, 67.4), (292.4, 270, 180, 90, 67.6)),
        ((90, 270), (90, 91, 180, 269, 270), (89, 0, 45, 315, 271)),  # half the circle
        ((90, 270.5), (90, 90.2, 180, 270, 270.4), (89.9, 0, 45, 315, 270.6)),  # and more
        ((90, 269.5), (90, 180, 269.4), (89.9, 45, 315, 269.6)),  # or less
        ((270, 90.5), (270, 0, 90, 90.4), (269.9, 180, 90.6)),
        ((225, 135), (225, 226, 315, 0, 45, 134, 135), (136, 180, 224)),
        ((90, 90), (90,), (89, 91, 0, 180)),
        ((90, 89), (90, 180, 270, 0, 89), (89.5,)),
        ((45, 90), (45, 60, 90), (44, 91, 225, 270, 250)),
    ],
)
def test_bearings_from_the_first_to_the_last_face_the_sun(
    sun_facing_deg: tuple[float, float], inside: tuple[float, ...], outside: tuple[float, ...]
) -> None:
    rules = FaceRules(sun_facing_deg=sun_facing_deg)
    for bearings, faces in ((inside, True), (outside, False)):
        for bearing_deg in bearings:
            downhill_east, downhill_north = _toward(bearing_deg)
            for steep in (1.0, 0.25):  # exact in numbers, so that chief bearings lie on the limit
                found = rules.faces_sun(np.array([-steep * downhill_east]), np.array([-steep * downhill_north]))
                assert found.tolist() == [faces], bearing_deg


def test_the_sunny_octants_lie_about_the_noon_sun() -> None:
    """Half an octant beyond southeast and southwest, and beyond northwest and northeast."""
    assert SUN_FACING_NORTH_DEG == (135 - 22.5, 225 + 22.5) and SUN_FACING_SOUTH_DEG == (315 - 22.5, 45 + 22.5)
