"""What lies beyond a block's edges, against a walk of the outline in half-meter steps with points looked up one by one.

The walk knows nothing of the product's rays: it steps outward along the normal and asks of every point what it lies in.
"""

from __future__ import annotations

import math
from collections import Counter
from datetime import UTC, datetime
from itertools import pairwise
from typing import TypeVar

import numpy as np
import pytest
import shapely
from fakes import GRID, FakeStore, entry, ground_lonlat, unit
from shapely import LineString, Polygon, affinity, box
from shapely.geometry.base import BaseGeometry

from habmap.jobs.burnsheet import burnsheet
from habmap.land.edges import PIECE_M
from habmap.records import Boundary, Feature, Row
from habmap.work.burn.request import BurnRequest

STEP_M, OUT_STEP_M, WITHIN_M = 0.5, 0.125, 30.0
#: A break drawn this far inside the outline is the one on the edge (said at ``INSIDE_M``) [m].
INSIDE_M = 3.0
EARLY = datetime(2025, 1, 1, tzinfo=UTC)
BREAK_WORDS = {"road": "road", "lane": "road", "creek": "water", "pond": "water", "line": "break"}

#: 170 by 90 m. By hand, with all that lies beyond, every change at a multiple of 5 m from a corner. All of it is drawn
#: a thousandth smaller: coordinates go to degrees and back, and 90.000001 m would be cut into 19 looks instead of 18.
SMALLER = 0.999
RECTANGLE = box(0, 0, 170, 90)
AROUND_RECTANGLE = {
    "N1": box(-20, 90, 75, 150),  # against the block
    "N2": box(95, 102, 150, 160),  # over a gap of 12 m
    "N3": box(70, 125, 95, 160),  # 35 m off, out of reach
    "E": box(184, 30, 220, 120),  # behind the road where the road runs
    "S": box(0, -18, 110, 0),  # behind the creek where the creek runs
    "B": box(120, -28, 150, -22),  # the neighbor's, past the property's line at 20 m
    "W": Polygon([(-10, 0), (-60, 100), (-120, 100), (-120, 0)]),  # draws away: 30 m off at 40 m along
}
BREAKS_RECTANGLE = [("road", LineString([(178, -15), (178, 50)])), ("creek", LineString([(-10, 2), (60, 2)]))]
LAND_RECTANGLE = box(-300, -20, 400, 300)
RECTANGLE_BY_HAND_M = {
    "N1": 75, "N2": 55, "road": 50, "E": 40, "water": 60, "S": 50, "off the property": 60, "W": 40,
    "unmapped ground": 20 + 20 + 50,
}  # fmt: skip

ELL = Polygon([(0, 0), (150, 0), (150, 55), (60, 55), (60, 180), (0, 180)])
AROUND_ELL = {
    "K": box(60, 55, 101, 91),  # in the corner of the notch: beyond both of its edges
    "M": box(75, 118, 120, 200),
    "P": box(-8, 21, -2, 72),  # between the block and the property's line
    "T": box(31, 180, 60, 220),
    "R": box(150, -10, 190, 23),
    "Q": box(165, 41, 200, 80),
    "Z": box(-20, -90, 170, -31),  # out of reach
}
BREAKS_ELL: list[tuple[str, BaseGeometry]] = [
    ("pond", box(106, 71, 131, 100)),
    ("lane", LineString([(-5, 183), (65, 215)])),
]
LAND_ELL = box(-12, -300, 400, 400)


def crossing_m(start: np.ndarray, out: np.ndarray, line: BaseGeometry) -> float:
    """Return how far out a straight look crosses a line of two points, by Cramer's rule; infinity where it does not."""
    (ax, ay), (bx, by) = shapely.get_coordinates(line) - start
    det = out[0] * (by - ay) - out[1] * (bx - ax)
    if abs(det) < 1e-9:
        return math.inf
    far_m = (ax * by - ay * bx) / det
    share = (ax * out[1] - ay * out[0]) / det
    return float(far_m) if 0 <= share <= 1 and -INSIDE_M <= far_m <= WITHIN_M else math.inf


def walked(
    block: Polygon,
    around: dict[str, Polygon],
    breaks: list[tuple[str, BaseGeometry]],
    land: Polygon,
    wind_from_deg: float,
) -> tuple[Counter[tuple[str, str]], Counter[tuple[str, str]]]:
    """Return length of outline by side of the wind and what is met first [m], and how often each begins or ends."""
    lengths: Counter[tuple[str, str]] = Counter()
    changes: Counter[tuple[str, str]] = Counter()
    outs = np.arange(OUT_STEP_M, WITHIN_M + 1e-9, OUT_STEP_M)
    for (x0, y0), (x1, y1) in pairwise(shapely.get_coordinates(block.exterior)):
        length_m = math.hypot(x1 - x0, y1 - y0)
        along = np.array([x1 - x0, y1 - y0]) / length_m
        out = np.array([along[1], -along[0]])
        if shapely.contains_xy(block, *(np.array([x0 + x1, y0 + y1]) / 2 + 0.1 * out)):
            out = -out
        # Angle between the way out and the way that the wind blows to, by their cosine.
        to = np.radians(wind_from_deg + 180)
        angle_deg = math.degrees(math.acos(float(out @ [np.sin(to), np.cos(to)])))
        side = "downwind" if angle_deg < 67.5 else "upwind" if angle_deg > 157.5 else "side"
        count = round(length_m / STEP_M)
        last = None
        for step in range(count):
            start = np.array([x0, y0]) + along * length_m * (step + 0.5) / count
            x, y = (start[:, None] + out[:, None] * outs).tolist()
            met = {name: first(shapely.contains_xy(ground, x, y), outs) for name, ground in around.items()}
            off_m = first(~shapely.contains_xy(land, x, y), outs)
            crossed = [
                (first(shapely.contains_xy(shape, x, y), outs) if shape.area else crossing_m(start, out, shape), kind)
                for kind, shape in breaks
            ]
            break_m, kind = min(crossed)
            unit_m, name = min((far_m, name) for name, far_m in met.items())
            if break_m <= INSIDE_M or (break_m < math.inf and break_m <= min(unit_m, off_m)):
                beyond = BREAK_WORDS[kind]
            elif unit_m < math.inf and unit_m <= off_m:
                beyond = name
            else:
                beyond = "off the property" if off_m < math.inf else "unmapped ground"
            lengths[side, beyond] += length_m / count  # type: ignore[assignment]
            if last not in (None, beyond):
                changes.update([(side, beyond), (side, str(last))])
            last = beyond
    return lengths, changes


def first(hits: np.ndarray, outs: np.ndarray) -> float:
    return float(outs[np.argmax(hits)]) if hits.any() else math.inf


def told(
    block: Polygon,
    around: dict[str, Polygon],
    breaks: list[tuple[str, BaseGeometry]],
    land: Polygon,
    wind_from_deg: float,
) -> Counter[tuple[str, str]]:
    """Return the product's lengths by the same classes [m]."""
    rows: list[Row] = [
        unit("block", block),
        *(unit(name, shape) for name, shape in around.items()),
        *(
            Feature(uuid=f"f{number}", kind=kind, name="", geometry=GRID.to_lonlat(shape), recorded_at=EARLY)
            for number, (kind, shape) in enumerate(breaks)
        ),
        Boundary(uuid="land", geometry=ground_lonlat(land), recorded_at=EARLY),
        entry("cut", "2026-02-01", block),
    ]
    request = BurnRequest(
        names=("block",), at=datetime(2026, 3, 20, 14), temp_f=60.0, rh_pct=35.0, wind_mph=8.0,
        wind_from_deg=wind_from_deg,
    )  # fmt: skip
    lengths: Counter[tuple[str, str]] = Counter()
    for edge in burnsheet(FakeStore(rows, grid=GRID), request).edges:
        lengths[edge.side, edge.beyond] += edge.length_m  # type: ignore[assignment]
    return lengths


Shape = TypeVar("Shape", bound=BaseGeometry)


def turned(turn_deg: float, shape: Shape) -> Shape:
    smaller = affinity.scale(shape, SMALLER, SMALLER, origin=(0, 0))
    return affinity.rotate(smaller, turn_deg, origin=(40, 40))  # type: ignore[no-any-return]


@pytest.mark.parametrize(
    ("turn_deg", "wind_from_deg"),
    # At 118° turned, edges lie 63 and 68° off downwind, on both sides of the limit; at −40° 160° off.
    [(0.0, 10.0), (25.0, 130.0), (118.0, 130.0), (118.0, 305.0), (-40.0, 200.0)],
)
@pytest.mark.parametrize(
    ("block", "around", "breaks", "land", "off_a_change_m"),
    [
        # Every change falls between two looks of the product (5 m): only the walk's own half step is left.
        (RECTANGLE, AROUND_RECTANGLE, BREAKS_RECTANGLE, LAND_RECTANGLE, STEP_M / 2),
        # Here they fall anywhere: each can be off by half a look as well.
        (ELL, AROUND_ELL, BREAKS_ELL, LAND_ELL, STEP_M / 2 + PIECE_M / 2),
    ],
    ids=["rectangle", "ell"],
)
def test_lengths_by_side_and_what_lies_beyond(
    block: Polygon,
    around: dict[str, Polygon],
    breaks: list[tuple[str, BaseGeometry]],
    land: Polygon,
    off_a_change_m: float,
    turn_deg: float,
    wind_from_deg: float,
) -> None:
    setting = (
        turned(turn_deg, block),
        {name: turned(turn_deg, shape) for name, shape in around.items()},
        [(kind, turned(turn_deg, shape)) for kind, shape in breaks],
        turned(turn_deg, land),
        wind_from_deg,
    )
    expected, changes = walked(*setting)
    found = told(*setting)
    assert set(found) == set(expected)
    for key, length_m in expected.items():
        # Coordinates go to degrees and back to within a millimeter.
        assert found[key] == pytest.approx(length_m, abs=changes[key] * off_a_change_m + 0.01), key
    if block is RECTANGLE:
        by_beyond: Counter[str] = Counter()
        for (_, beyond), length_m in found.items():
            by_beyond[beyond] += length_m  # type: ignore[assignment]
        by_hand = {beyond: SMALLER * length_m for beyond, length_m in RECTANGLE_BY_HAND_M.items()}
        assert by_beyond == pytest.approx(by_hand, abs=0.01)
