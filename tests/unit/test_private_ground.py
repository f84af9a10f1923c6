"""Ground kept standing around a nest is not drawn for the public, and counts all the same."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
import shapely
from fakes import GRID, FakeStore, entry, unit
from shapely import Point, box

from habmap.jobs.export_layers import ledger_table
from habmap.jobs.map import build_page
from habmap.jobs.private import KEPT_FOR_IT_M
from habmap.measures import acres
from habmap.show.page.render import render_page
from habmap.show.records import Page
from habmap.work.records import Feature

NOW = datetime(2026, 8, 1, 12, tzinfo=UTC)
AROUND_NEST = box(100, 100, 160, 160)
FAR_ROW = box(0, 0, 400, 20)


def a_nest(x: float, y: float, **given: Any) -> Feature:
    return Feature(uuid="nest", kind="nest", name="", geometry=GRID.to_lonlat(Point(x, y)), recorded_at=NOW, **given)


@pytest.fixture
def store() -> FakeStore:
    return FakeStore(
        [
            unit("A", box(0, 0, 400, 300)),
            a_nest(130, 130),
            entry("keep", "2025-01-10", AROUND_NEST),
            entry("keep", "2025-01-11", FAR_ROW),
            entry("girdle", "2025-02-01", box(90, 90, 200, 200), killed_pct=40),
        ],
        grid=GRID,
    )


def keep_m2(page: Page) -> float:
    return sum(GRID.to_grid(piece.geometry).area for piece in page.pieces if piece.stage == "keep")


def test_the_public_does_not_see_the_island_around_a_nest_and_the_account_is_the_same(store: FakeStore) -> None:
    owner, public = (build_page(store, now=NOW, audience=audience) for audience in ("owner", "public"))
    assert keep_m2(owner) == pytest.approx(AROUND_NEST.area + FAR_ROW.area, abs=1)
    assert keep_m2(public) == pytest.approx(FAR_ROW.area, abs=1)
    assert owner.keep_acres == public.keep_acres == pytest.approx(acres(AROUND_NEST.area + FAR_ROW.area), rel=1e-6)
    assert [one.stage_acres for one in owner.units] == [one.stage_acres for one in public.units]
    assert [work.day.day for work in owner.work] == [10, 11, 1]
    assert [work.day.day for work in public.work] == [11, 1]
    # Girdled over the island: the ground there is drawn as the girdling left it, with no edge of the island in it.
    drawn = shapely.union_all([piece.geometry for piece in public.pieces if piece.stage == "part_cut"])
    assert GRID.to_grid(drawn).area == pytest.approx(box(90, 90, 200, 200).area, abs=1)
    assert public.history is not None and owner.history is not None
    assert [step.stage_acres for step in public.history.steps] == [step.stage_acres for step in owner.history.steps]
    assert len(public.history.patch_steps) == len(public.work)
    assert any("keep its place private" in line for line in public.method)
    assert not any("keep its place private" in line for line in owner.method)


def test_no_corner_of_the_island_is_in_the_public_files(store: FakeStore) -> None:
    corner = GRID.to_lonlat(Point(100, 100))
    micro = str(round(corner.x * 1e6)), str(round(corner.y * 1e6))
    owner, public = (render_page(build_page(store, now=NOW, audience=audience)) for audience in ("owner", "public"))
    written = f"{round(corner.x, 6)},{round(corner.y, 6)}"
    assert written in owner
    assert written not in public
    assert not all(number in public for number in micro)
    rows = {audience: ledger_table(store, audience=audience).rows for audience in ("owner", "public")}
    assert len(rows["owner"]) == 3
    assert [row["date"] for row in rows["public"]] == ["2025-01-11", "2025-02-01"]


def test_not_even_where_it_crosses_the_edge_of_other_work(store: FakeStore) -> None:
    """Its edges cross those of the cut, which end in another stage: no joint is left there."""
    store.append([entry("cut", "2025-03-01", box(120, 0, 400, 300), killed_pct=95)])
    crossing = GRID.to_lonlat(Point(120, 160))
    written = f"{round(crossing.x, 6)},{round(crossing.y, 6)}"
    owner, public = (render_page(build_page(store, now=NOW, audience=audience)) for audience in ("owner", "public"))
    assert written in owner
    assert written not in public
    assert not all(str(round(number * 1e6)) in public for number in (crossing.x, crossing.y))


@pytest.mark.parametrize(("metres_off", "is_hidden"), [(KEPT_FOR_IT_M - 1, True), (KEPT_FOR_IT_M + 1, False)])
def test_ground_kept_for_other_reasons_is_drawn(metres_off: float, is_hidden: bool) -> None:
    store = FakeStore(
        [unit("A", box(0, 0, 400, 300)), a_nest(160 + metres_off, 130), entry("keep", "2025-01-10", AROUND_NEST)],
        grid=GRID,
    )
    assert (keep_m2(build_page(store, now=NOW, audience="public")) < 1) is is_hidden
