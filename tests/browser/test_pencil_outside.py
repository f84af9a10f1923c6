"""Acres that the drawing tool reads off an outline, in the browser, against GeographicLib's polygon area.

The tool maps each corner by closed formulas onto an equal-area plane and takes the plane's area; GeographicLib
(Karney 2013, its own Python code) sums geodesics on the ellipsoid. A straight edge of the plane and the geodesic differ
by an arc of some L²·d/R² (edge L, distance d from the middle of the plane): for a kilometer within ten kilometers less
than 1e-3 of a meter, so that 1e-5 of the area is asked for.
"""

from __future__ import annotations

import json
import math
import random
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from fakes import FakeStore, unit
from geographiclib.geodesic import Geodesic
from shapely import box

from habmap.jobs.map import build_page
from habmap.land.grid import LocalGrid
from habmap.show.page.render import render_page

pytestmark = pytest.mark.browser

ACRE_M2 = 4046.8564224  # 43,560 ft² of 0.3048 m a side
FINE = 10**7  # corners are whole ten-millionths of a degree
SAME_REL = 1e-5


def outline(rng: random.Random, *, acres: float, lat: float, lon: float) -> Iterator[tuple[int, int]]:
    """Yield the corners of a star of about so many acres, round a point within some kilometers, either way round."""
    count = rng.randint(4, 12)
    turns = [2 * math.pi * (at + rng.uniform(0, 0.8)) / count for at in range(count)]
    radius_m = math.sqrt(acres * ACRE_M2 / math.pi)
    bearing, away_m = rng.uniform(0, 360), rng.uniform(0, 6000)
    middle = Geodesic.WGS84.Direct(lat, lon, bearing, away_m)
    for turn in rng.choice((turns, turns[::-1])):
        corner = Geodesic.WGS84.Direct(
            middle["lat2"], middle["lon2"], math.degrees(turn), radius_m * rng.uniform(0.7, 1.4)
        )
        yield round(corner["lon2"] * FINE), round(corner["lat2"] * FINE)


def signed_m2(ring: list[tuple[int, int]]) -> float:
    """Return GeographicLib's area, positive where the corners run against the clock."""
    walked = Geodesic.WGS84.Polygon()
    for lon, lat in ring:
        walked.AddPoint(lat / FINE, lon / FINE)
    return float(walked.Compute()[2])


@pytest.mark.parametrize(("lat", "lon"), [(37.06, -96.32), (61.4, 24.8), (-33.2, 149.1)])
def test_the_acres_of_random_outlines_are_geographiclibs(
    open_page: Callable[..., Any], tmp_path: Path, lat: float, lon: float
) -> None:
    grid = LocalGrid(lat, lon)
    store = FakeStore([unit("A", box(0, 0, 400, 300), grid=grid)], grid=grid)
    page = build_page(store, now=datetime(2026, 8, 1, 12, tzinfo=UTC), audience="owner")
    file = tmp_path / "map.html"
    file.write_text(render_page(page), encoding="utf-8")
    seen = open_page(file)
    seen.page.wait_for_selector("body[data-drawn=yes]")
    rules = json.loads(seen.page.text_content("#drawing"))["pencil"]
    assert rules["grid"] is not None
    rng = random.Random(f"pencil {lat}")
    # About 0.1 to 100 acres, by equal steps of their logarithm.
    for step in range(5):
        ring = list(outline(rng, acres=0.2 * (90 / 0.2) ** (step / 4), lat=lat, lon=lon))
        expected_m2 = signed_m2(ring)
        assert 0.1 < abs(expected_m2) / ACRE_M2 < 100, step
        for given in (rules, rules | {"grid": None}):  # the place's own grid, and a place without one
            told = seen.page.evaluate(
                "([rules, ring]) => { const made = outlines(rules);"
                " return { m2: made.measured(ring).m2, acres: made.acresOf(ring), fine: made.FINE }; }",
                [given, ring],
            )
            assert told["fine"] == FINE
            assert told["m2"] == pytest.approx(expected_m2, rel=SAME_REL)
            assert told["acres"] == pytest.approx(abs(expected_m2) / ACRE_M2, rel=SAME_REL)
    assert not seen.complaints
