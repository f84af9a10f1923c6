"""What is kept from work done before never shows: every figure is the one that is worked out anew, to the last bit."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import hypothesis.strategies as st
import pytest
from drawn_logs import FEW, UNITS, entries, polygons
from fakes import GRID, FakeStore, entry, unit
from hypothesis import given
from shapely import Polygon, box
from shapely.geometry.base import BaseGeometry

from habmap.jobs.acres import acres
from habmap.jobs.ground import ground
from habmap.jobs.map import build_page
from habmap.jobs.snapshot import snapshot
from habmap.memory import forget
from habmap.records import Entry, Row, Unit
from habmap.show.page.account import sheet_parts
from habmap.show.page.reading import map_in_words
from habmap.show.page.render import drawing_json
from habmap.work import ground as ground_rules
from habmap.work.ground import stage_courses
from habmap.work.season_account import season_account

NOW = datetime(2026, 9, 1, tzinfo=UTC)


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


def shown(rows: list[Row]) -> Any:
    """Return all that the map page draws and tells of a property."""
    page = build_page(FakeStore(rows, grid=GRID), now=NOW, audience="owner")
    # the history is in what is drawn; its pieces are told apart by being one object, not by what they say
    return drawing_json(page), sheet_parts(page)["groups"], map_in_words(page), replace(page, history=None)


def changed(rows: list[Row], data: st.DataObject) -> list[Row]:
    """Return a property's rows after something that a person may do next."""
    logged = [row for row in rows if isinstance(row, Entry) and row.action == "log"]
    units = [row for row in rows if isinstance(row, Unit) and row.valid_to is None]
    what = data.draw(st.sampled_from(["log", "void", "correct", "redraw", "whole"]))
    if what == "redraw":
        old = data.draw(st.sampled_from(units))
        drawn = unit(old.unit_id, data.draw(polygons()), cover=old.cover, target_pct=data.draw(st.just(50.0)))
        return [drawn if row is old else row for row in rows]
    if what == "void" and logged:
        target = data.draw(st.sampled_from(logged)).entry_id
        return [*rows, entry("other", "2024-01-01", action="void", target=target)]
    if what == "correct" and logged:
        right, target = data.draw(entries()), data.draw(st.sampled_from(logged)).entry_id
        return [*rows, replace(right, action="amend", target=target, why="slip")]
    if what == "whole":
        return [*rows, replace(entry("mow", "2026-08-01"), patch=data.draw(st.sampled_from(units)).geometry)]
    return [*rows, data.draw(entries())]


@pytest.mark.parametrize("answer", [told, shown])
@FEW
@given(data=st.data())
def test_what_is_worked_out_after_each_change_is_what_is_worked_out_anew(
    answer: Callable[[list[Row]], Any], data: st.DataObject
) -> None:
    forget()
    steps: list[list[Row]] = [list(UNITS)]
    warm = [answer(steps[0])]
    for _ in range(data.draw(st.integers(1, 5 if answer is told else 3))):
        steps.append(changed(steps[-1], data))
        warm.append(answer(steps[-1]))
    for at, found in zip(steps, warm, strict=True):
        forget()
        assert answer(at) == found


def test_a_day_or_a_unit_drawn_anew_in_between_moves_the_steps_of_units_that_nothing_was_done_on() -> None:
    """What is kept of a unit's history is by its own lines and their steps, which move with other units' days."""
    rows: list[Row] = [unit(f"U{k}", box(200 * k, 0, 200 * k + 100, 100)) for k in range(3)]
    rows += [entry("cut", f"2024-0{k + 1}-01", box(200 * k, 0, 200 * k + 50, 80)) for k in (0, 2)]
    forget()
    warm = [shown(rows)]
    between: list[Row] = [*rows, entry("cut", "2024-02-01", box(200, 0, 240, 80))]  # a step between the two
    warm.append(shown(between))
    new = unit("U1", box(200, 0, 290, 100), valid_from=date(2024, 2, 15), replaces=(rows[1].uuid,))  # type: ignore[union-attr]
    store = FakeStore(between, grid=GRID)
    store.append([new])
    redrawn = list(store.rows())
    warm.append(shown(redrawn))
    for at, found in zip((rows, between, redrawn), warm, strict=True):
        forget()
        assert shown(at) == found


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
