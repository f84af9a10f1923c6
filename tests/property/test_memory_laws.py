"""What is kept from work done before never shows: every figure is the one that is worked out anew, to the last bit."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import hypothesis.strategies as st
from drawn_logs import FEW, UNITS, entries, polygons
from fakes import GRID, FakeStore, entry, unit
from hypothesis import given
from shapely import Polygon, box
from shapely.geometry.base import BaseGeometry

from habmap.jobs.acres import acres
from habmap.jobs.ground import ground
from habmap.jobs.snapshot import snapshot
from habmap.memory import forget
from habmap.records import Entry, Row, Unit
from habmap.work import ground as ground_rules
from habmap.work.ground import stage_courses
from habmap.work.season_account import season_account


def told(rows: list[Row]) -> Any:
    """Return all that a property's ground says, outlines as bytes."""
    store = snapshot(FakeStore(rows, grid=GRID))
    state = ground(store)
    shapes: list[BaseGeometry] = [piece.geometry for piece in state.pieces]
    return (
        acres(store),
        [(piece.unit_id, piece.entry_ids, piece.state, piece.area_m2, piece.acres) for piece in state.pieces],
        [shape.wkb for shape in (*shapes, *state.unit_shapes.values(), *state.patches.values())],
        state.overlays,
        season_account(state),
        [course for _, course in stage_courses(state, group_of=lambda line: line.date)],
    )


@FEW
@given(st.data())
def test_what_is_worked_out_after_each_change_is_what_is_worked_out_anew(data: st.DataObject) -> None:
    rows: list[Row] = list(UNITS)
    forget()
    warm = [told(rows)]
    steps = [list(rows)]
    for _ in range(data.draw(st.integers(1, 5))):
        logged = [row for row in rows if isinstance(row, Entry) and row.action == "log"]
        what = data.draw(st.sampled_from(["log", "void", "correct", "redraw", "whole"]))
        if what == "redraw":
            old = data.draw(st.sampled_from([row for row in rows if isinstance(row, Unit) and row.valid_to is None]))
            drawn = unit(old.unit_id, data.draw(polygons()), cover=old.cover, target_pct=data.draw(st.just(50.0)))
            rows[rows.index(old)] = drawn
        elif what == "void" and logged:
            rows.append(entry("other", "2024-01-01", action="void", target=data.draw(st.sampled_from(logged)).entry_id))
        elif what == "correct" and logged:
            right = data.draw(entries())
            rows.append(replace(right, action="amend", target=data.draw(st.sampled_from(logged)).entry_id, why="slip"))
        elif what == "whole":
            one = data.draw(st.sampled_from([row for row in rows if isinstance(row, Unit)]))
            rows.append(replace(entry("mow", "2026-08-01"), patch=one.geometry))
        else:
            rows.append(data.draw(entries()))
        steps.append(list(rows))
        warm.append(told(rows))
    for at, found in zip(steps, warm, strict=True):
        forget()
        assert told(at) == found


def test_a_line_of_the_log_has_only_the_units_cut_anew_that_it_touches() -> None:
    rows: list[Row] = [unit(f"U{k}", box(100 * k, 0, 100 * k + 100, 100)) for k in range(12)]
    rows += [entry("cut", "2024-01-01", box(100 * k - 30, 20, 100 * k + 30, 80)) for k in range(12)]
    cut: Any = ground_rules._unit_ground
    forget()
    told(rows)
    assert cut.cache_info().misses == 12
    told([*rows, entry("burn", "2025-03-01", box(110, 10, 250, 90))])  # in U1 and U2
    assert cut.cache_info().misses == 14


def test_a_long_burn_around_all_units_closes_in_each_of_them() -> None:
    """A patch that reaches far out is cut to what is near a unit: its edges within the unit stay its own."""
    units = [unit(f"U{k}", box(100 * k, 0, 100 * k + 100, 100)) for k in range(4)]
    around = Polygon([(-500, -400), (900, -380), (870, 60.5), (390, 55.25), (20.5, 99), (-480, 500)])
    state = ground(FakeStore([*units, entry("burn", "2024-01-01", around)], grid=GRID))
    for drawn in units:
        shape, patch = state.unit_shapes[drawn.unit_id], next(iter(state.patches.values()))
        worked_m2 = sum(one.area_m2 for one in state.pieces if one.unit_id == drawn.unit_id and one.entry_ids)
        assert abs(worked_m2 - shape.intersection(patch).area) < 1e-6  # plain polygon algebra
    assert abs(sum(one.area_m2 for one in state.overlays if one.entry_ids) - patch.area) < 1e-6
