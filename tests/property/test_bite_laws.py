"""Taking bites until nothing is left covers the ground once, whatever its shape; every bite keeps its promises.

The promises are told here once more with plain shapely: one polygon, inside what is left, within 3% of the area
asked where a piece is that large, and nothing cut smaller than a tenth of it. The ground is ragged on purpose: blobs
with holes, combs, dumbbells with necks of a few meters, winding corridors, stars, heaps of triangles.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from habmap.land.bite import bites

#: Crumbs of floating arithmetic [m²]; necks narrower than 5 mm count as apart.
CRUMB_M2 = 1e-3


def blobs(rng: np.random.Generator) -> BaseGeometry:
    whole = shapely.union_all([Point(*rng.uniform(0, 300, 2)).buffer(rng.uniform(25, 80)) for _ in range(7)])
    return whole.difference(
        shapely.union_all([Point(*rng.uniform(0, 300, 2)).buffer(rng.uniform(5, 25)) for _ in range(6)])
    )


def comb(rng: np.random.Generator) -> BaseGeometry:
    count = int(rng.integers(3, 6))
    teeth = [box(60 * k, 0, 60 * k + rng.uniform(15, 45), rng.uniform(60, 200)) for k in range(count)]
    return shapely.union_all([box(0, 0, 60 * count, rng.uniform(8, 40)), *teeth])


def dumbbell(rng: np.random.Generator) -> BaseGeometry:
    neck, other = rng.uniform(2, 8, 2)
    return shapely.union_all(
        [box(0, 0, 120, 120), box(110, 55, 240, 55 + neck), box(230, 0, 330, 150), box(280, 140, 280 + other, 260),
         box(200, 250, 330, 330)]
    )  # fmt: skip


def corridor(rng: np.random.Generator) -> BaseGeometry:
    turns = [(40 * (k // 2), 200 * ((k + 1) // 2 % 2)) for k in range(14)]
    return LineString(turns).buffer(rng.uniform(8, 15))


def star(rng: np.random.Generator) -> BaseGeometry:
    turns = np.sort(rng.uniform(0, 2 * np.pi, int(rng.integers(5, 16))))
    reach = rng.uniform(20, 300, len(turns))
    return Polygon(np.column_stack([reach * np.cos(turns), reach * np.sin(turns)])).buffer(0)


def triangles(rng: np.random.Generator) -> BaseGeometry:
    heap = shapely.union_all([Polygon(rng.uniform(0, 350, (3, 2))) for _ in range(6)])
    return heap.difference(Polygon(rng.uniform(0, 350, (3, 2))))


def pieces(ground: BaseGeometry) -> list[BaseGeometry]:
    """Return the pieces that hang together by more than a centimeter, without crumbs."""
    return [part for part in shapely.get_parts(ground.buffer(-0.005)) if part.area > CRUMB_M2]


@given(
    make=st.sampled_from([blobs, comb, dumbbell, corridor, star, triangles]),
    seed=st.integers(0, 10**6),
    count=st.floats(2.3, 9),
    is_open=st.booleans(),
)
@example(make=star, seed=210, count=6.5, is_open=True)
@settings(deadline=None, max_examples=10)
def test_bites_until_nothing_is_left_cover_the_ground_once(
    make: object, seed: int, count: float, is_open: bool
) -> None:
    ground = make(np.random.default_rng(seed))  # type: ignore[operator]
    wanted_m2 = ground.area / count
    opened: list[BaseGeometry] = [box(-1000, -1000, 60, 1000)] if is_open else []
    left, taken = ground, []
    while left.area > CRUMB_M2:
        assert len(taken) < 80
        one = bites(left, wanted_m2=wanted_m2, opened=opened)[0]
        bite = one.geometry
        assert bite.geom_type == "Polygon" and bite.is_valid
        assert len(pieces(bite)) <= 1  # contiguous by more than a hair
        assert bite.difference(left.buffer(1e-6)).area < CRUMB_M2
        largest_m2 = max(part.area for part in shapely.get_parts(left))
        if largest_m2 > 1.08 * wanted_m2 and one.scraps_m2 == 0 and len(pieces(left)) == len(shapely.get_parts(left)):
            assert bite.area == pytest.approx(wanted_m2, rel=0.03)
        before, left = left, left.difference(bite)
        # pieces that were there before and were left alone are nobody's scraps
        old = [part.area for part in pieces(before)]
        cut = [part.area for part in pieces(left) if all(abs(part.area - area) > 1e-6 * area for area in old)]
        if one.scraps_m2 == 0:
            assert all(area > 0.1 * wanted_m2 - 0.02 * part_edge(left) for area in cut)
        taken.append(bite)
        opened = [*opened, bite]
    assert sum(bite.area for bite in taken) == pytest.approx(ground.area, rel=1e-6)
    # bite by bite, not by one union: GEOS unites outlines that meet within 1e-14 m to more than they are together
    # and takes two that only touch for the same ground (star, seed 210, 6.5): a micrometer's grid keeps them apart
    overlaps_m2 = [shapely.intersection(*two, grid_size=1e-6).area for two in combinations(taken, 2)]
    assert max(overlaps_m2, default=0.0) < CRUMB_M2


def part_edge(ground: BaseGeometry) -> float:
    """Return the edge of a ground, along which `pieces` took half a centimeter off [m]."""
    return float(ground.length)
