"""Logs and units that hypothesis draws, for every law that must hold whatever was logged."""

from __future__ import annotations

import math
from datetime import date, timedelta

import hypothesis.strategies as st
from fakes import entry, unit
from hypothesis import HealthCheck, settings
from shapely import Polygon, box

from habmap.records import Entry
from habmap.vocabulary import KILLING, PRACTICES

FEW = settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
MANY = settings(max_examples=300, deadline=None)

UNITS = [
    unit("A", box(0, 0, 200, 150)),
    unit("B", Polygon([(200, 0), (400, 0), (420, 150), (200, 150), (200, 60)]), target_pct=60.0),
    unit("G", box(0, 150, 200, 220), cover="grass"),
]

coordinates = st.floats(-50, 450, allow_nan=False, allow_infinity=False)


@st.composite
def polygons(draw: st.DrawFn) -> Polygon:
    """Draw a star-shaped polygon about a point, with corners that no decimal grid holds."""
    x, y = draw(coordinates), draw(coordinates)
    reaches_m = draw(st.lists(st.floats(5, 150), min_size=3, max_size=12))
    turns = [2 * math.pi * (index + draw(st.floats(0, 0.9))) / len(reaches_m) for index in range(len(reaches_m))]
    star = Polygon([(x + r * math.cos(t), y + r * math.sin(t)) for r, t in zip(reaches_m, turns, strict=True)])
    return star if star.is_valid and star.area > 1 else box(x, y, x + 30, y + 20)


@st.composite
def entries(draw: st.DrawFn, practices: tuple[str, ...] = PRACTICES) -> Entry:
    practice = draw(st.sampled_from(practices))
    killed = draw(st.sampled_from([0.0, 20.0, 50.0, 80.0, 100.0])) if practice in KILLING else None
    return entry(
        practice,
        date(2024, 1, 1) + timedelta(days=draw(st.integers(0, 900))),
        draw(polygons()),
        killed_pct=killed,
        live_stems_per_acre=draw(st.sampled_from([0.0, 25.0, 80.0])) if practice == "checkup" else None,
    )


logs = st.lists(entries(), max_size=6)
