"""Laws of a block's outline under any wind."""

from __future__ import annotations

import math

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon
from shapely.affinity import rotate

from habmap.land.edges import ANGLE_TOLERANCE_DEG, outline_pieces, side_of_wind

SIDES = ("downwind", "side", "upwind")
winds = st.floats(0, 360, allow_nan=False)


@st.composite
def blocks(draw: st.DrawFn) -> Polygon:
    """Stars with 3 to 12 corners, some of them deep notches, now and then with a hole."""
    radii = draw(st.lists(st.floats(20, 200), min_size=3, max_size=12))
    step = 2 * math.pi / len(radii)
    shell = [(r * math.cos(i * step), r * math.sin(i * step)) for i, r in enumerate(radii)]
    hole = [[(-3, -3), (3, -3), (3, 3), (-3, 3)]] if draw(st.booleans()) else []
    block = Polygon(shell, hole)
    return block if block.is_valid else Polygon(shell)


def lengths(block: Polygon, wind_from_deg: float) -> list[float]:
    pieces = outline_pieces(block)
    return [
        sum(piece.length_m for piece in pieces if side_of_wind(piece.outward_deg, wind_from_deg) == side)
        for side in SIDES
    ]


def is_near_a_limit(block: Polygon, wind_from_deg: float) -> bool:
    """Tell whether some edge lies so near a limiting angle that rounding decides."""
    angles = [
        abs((piece.outward_deg - wind_from_deg - 180 + 180) % 360 - 180)
        for piece in outline_pieces(block, longest_m=1e9)
    ]
    limits = (67.5 + ANGLE_TOLERANCE_DEG, 157.5 - ANGLE_TOLERANCE_DEG)
    return any(abs(angle - limit) < 1e-5 for angle in angles for limit in limits)


@settings(max_examples=60, deadline=None)
@given(block=blocks(), wind_from_deg=winds)
def test_the_three_kinds_add_up_to_the_perimeter(block: Polygon, wind_from_deg: float) -> None:
    assert sum(lengths(block, wind_from_deg)) == pytest.approx(block.length, rel=1e-9)


@settings(max_examples=60, deadline=None)
@given(block=blocks(), wind_from_deg=winds, turn_deg=st.floats(0, 360))
def test_turning_block_and_wind_together_changes_nothing(block: Polygon, wind_from_deg: float, turn_deg: float) -> None:
    if is_near_a_limit(block, wind_from_deg):
        return
    turned = rotate(block, -turn_deg, origin=(0, 0))  # shapely turns anticlockwise, bearings run clockwise
    assert lengths(turned, wind_from_deg + turn_deg) == pytest.approx(lengths(block, wind_from_deg), rel=1e-6, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(block=blocks(), wind_from_deg=winds, start=st.integers(0, 11), backward=st.booleans())
def test_where_the_ring_starts_and_which_way_it_runs_does_not_matter(
    block: Polygon, wind_from_deg: float, start: int, backward: bool
) -> None:
    shell = list(block.exterior.coords)[:-1]
    start %= len(shell)
    shell = shell[start:] + shell[:start]
    other = Polygon(shell[::-1] if backward else shell, [ring.coords[::-1] for ring in block.interiors])
    assert shapely.equals(other, block)
    if is_near_a_limit(block, wind_from_deg):
        return
    assert lengths(other, wind_from_deg) == pytest.approx(lengths(block, wind_from_deg), rel=1e-9, abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(block=blocks(), wind_from_deg=winds)
def test_a_wind_turned_round_makes_upwind_edges_downwind(block: Polygon, wind_from_deg: float) -> None:
    for piece in outline_pieces(block, longest_m=1e9):
        if side_of_wind(piece.outward_deg, wind_from_deg) == "upwind":
            assert side_of_wind(piece.outward_deg, wind_from_deg + 180) == "downwind"
