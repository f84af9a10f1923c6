"""Contract acres of random logs against an overlay made here: patch after patch, no net of edges, no stage table."""

from __future__ import annotations

import math
from collections import defaultdict
from datetime import date, timedelta

import hypothesis.strategies as st
import pytest
from drawn_logs import FEW, polygons
from fakes import GRID, FakeStore, entry, unit
from hypothesis import given
from shapely import Polygon, box
from shapely.geometry.base import BaseGeometry

from habmap.jobs.export_practices import export_practices
from habmap.measures import M2_PER_ACRE
from habmap.place.settings import Settings
from habmap.records import Entry
from habmap.vocabulary import DEFAULT_KILLED_PCT
from habmap.work.paperwork_records import APART

UNITS = {"A": box(0, 0, 200, 150), "B": Polygon([(200, 0), (400, 0), (420, 150), (200, 150), (200, 60)])}
TARGET = {"A": 0.8, "B": 0.6}
#: Practices of code 314 and their opposite: a fire may bring ground to its target, and then no cutting did.
CUTTING = ("cut", "mulch", "girdle", "pull", "spray")
START = date(2025, 1, 1)


@st.composite
def logs(draw: st.DrawFn) -> list[Entry]:
    days = draw(st.lists(st.integers(0, 600), min_size=1, max_size=6, unique=True))
    found = []
    for day in days:
        practice = draw(st.sampled_from([*CUTTING, "burn"]))
        killed = draw(st.sampled_from([0.0, 1.0, 40.0, 60.0, 80.0, 100.0]))
        found.append(entry(practice, START + timedelta(days=day), draw(polygons()), killed_pct=killed))
    return found


DAYS = st.integers(0, 600).map(lambda n: START + timedelta(days=n))


@st.composite
def items(draw: st.DrawFn) -> dict[str, object]:
    first, last = sorted((draw(DAYS), draw(DAYS)))
    units = draw(st.sampled_from([[], ["A"], ["B"], ["A", "B"]]))
    return {
        "program": "P", "practice_code": "314", "units": units, "rate": 100.0,
        "not_before": draw(st.none() | st.just(first)), "due": draw(st.none() | st.just(last)),
    }  # fmt: skip


HOLDS = st.lists(st.tuples(st.sampled_from("AB"), DAYS, st.integers(0, 200)), max_size=2)


def reached(work: list[Entry]) -> list[tuple[str, BaseGeometry, Entry | None, bool]]:
    """Cut each unit by one patch after another; return unit, ground, the line that brought it to target, was it cut.

    The last says whether any line of code 314 worked it before it was at target, or at all where it never was.
    """
    found = []
    for unit_id, outline in UNITS.items():
        parts: list[tuple[BaseGeometry, float, Entry | None, bool, bool]] = [(outline, 1.0, None, False, False)]
        for line in sorted(work, key=lambda one: one.date):
            assert line.patch is not None
            patch = GRID.to_grid(line.patch)
            pct = line.killed_pct if line.killed_pct is not None else DEFAULT_KILLED_PCT[line.practice]
            after = []
            for ground, alive, first, was_cut, worked in parts:
                inside, outside = ground.intersection(patch), ground.difference(patch)
                if outside.area > 0:
                    after.append((outside, alive, first, was_cut, worked))
                if inside.area > 0:
                    left = alive * (1 - pct / 100)
                    is_code = line.practice in CUTTING
                    at_target = first or (line if 1 - left >= TARGET[unit_id] - 1e-9 else None)
                    after.append((inside, left, at_target, was_cut or (first is None and is_code), worked or is_code))
            parts = after
        found += [(unit_id, ground, first, was_cut) for ground, _, first, was_cut, worked in parts if worked]
    return found


@FEW
@given(work=logs(), contract=st.lists(items(), min_size=1, max_size=2), holds=HOLDS)
def test_every_column_is_the_overlay_s(
    work: list[Entry], contract: list[dict[str, object]], holds: list[tuple[str, date, int]]
) -> None:
    settings = Settings.model_validate(
        {
            "contract": [one | {"item": str(number)} for number, one in enumerate(contract)],
            "hold": [{"unit": u, "reason": "r", "from": day, "to": day + timedelta(days=n)} for u, day, n in holds],
        }
    )
    rows = [unit(unit_id, shape, target_pct=100 * TARGET[unit_id]) for unit_id, shape in UNITS.items()]
    result = export_practices(FakeStore([*rows, *work], settings=settings, grid=GRID))

    expected: defaultdict[tuple[str, str], defaultdict[str, float]] = defaultdict(lambda: defaultdict(float))
    for unit_id, ground, first, was_cut in reached(work):
        taken = False
        for number, item in enumerate(contract):
            if item["units"] and unit_id not in item["units"]:  # type: ignore[operator]
                continue
            if first is None:
                column = "below_target"
            elif first.practice == "burn":
                column = "below_target" if was_cut else "treated_before"
            elif item["not_before"] is not None and first.date < item["not_before"]:  # type: ignore[operator]
                column = "too_early"
            elif item["due"] is not None and first.date > item["due"]:  # type: ignore[operator]
                column = "late"
            elif any(u == unit_id and day <= first.date <= day + timedelta(days=n) for u, day, n in holds):
                column = "on_hold"
            elif taken:
                column = "elsewhere"
            else:
                column, taken = "applied", True
            expected[str(number), unit_id][column] += ground.area / M2_PER_ACRE

    lines = {(line.item, line.unit_id): line for line in result.lines if line.program == "P"}
    for key in expected.keys() | lines.keys():
        for column in ("applied", *APART):
            told = getattr(lines[key], f"{column}_acres") if key in lines else 0.0
            assert told == pytest.approx(expected[key][column], abs=1e-5), (key, column)
    for line in lines.values():
        assert line.payment == pytest.approx(100 * line.applied_acres)
    for total in result.items:
        key = (total.program, total.item, total.practice_code)
        own = [line.applied_acres for line in result.lines if (line.program, line.item, line.practice_code) == key]
        assert total.applied_acres == pytest.approx(math.fsum(own))
