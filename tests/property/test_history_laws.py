"""Laws of the map's ruler: every step is the acre account of its day, however the log and the units go."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from drawn_logs import FEW, UNITS, logs
from fakes import FakeStore, unit
from hypothesis import given
from shapely import box

from habmap.jobs.acres import acres
from habmap.jobs.ground import ground
from habmap.records import Entry
from habmap.show.page.history import page_history
from habmap.show.records import PageHistory
from habmap.vocabulary import STAGES
from habmap.work.acres import AcresResult

#: [acre]; the same ground cut with fewer lines closes within 1e-6 m² a unit, some 1e-10 acres.
SAME = 1e-7


def check_steps(store: FakeStore, history: PageHistory) -> None:
    """Compare every step's figures, unit by unit and stage by stage, with the library's account of that day."""
    first_day = min(row.date for row in store.entries())
    units: dict[str, Any] = {}
    for index, step in enumerate(history.steps):
        units.update(step.units)
        is_last = index == len(history.steps) - 1
        account = acres(store, on=None if is_last else step.day or first_day - timedelta(days=1))
        compare(account, {unit_id: stages for unit_id, stages in units.items() if stages}, step.stage_acres)


def compare(account: AcresResult, units: dict[str, Any], total: Any) -> None:
    assert set(units) == {unit.unit_id for unit in account.units}
    for one in account.units:
        for stage in STAGES:
            assert abs(units[one.unit_id].get(stage, 0.0) - getattr(one.stage_acres, stage)) <= SAME
    for stage in STAGES:
        assert abs(total.get(stage, 0.0) - getattr(account.totals.stage_acres, stage)) <= SAME


def _history(store: FakeStore, **limits: int) -> PageHistory | None:
    return page_history(ground(store), versions=store.unit_versions(), limits=store.settings.stages, **limits)


@FEW
@given(logs)
def test_every_step_is_the_account_of_its_day(log: list[Entry]) -> None:
    store = FakeStore([*UNITS, *log])
    history = _history(store)
    if not log:
        assert history is None
        return
    assert history is not None
    assert [step.day for step in history.steps] == [None, *sorted({entry.date for entry in log})]
    check_steps(store, history)


@FEW
@given(logs)
def test_units_drawn_anew_on_a_day_in_between_stay_true(log: list[Entry]) -> None:
    """The first unit is split in two on a day in the middle of the logs, and the second gets another outline later."""
    store = FakeStore([*UNITS, *log])
    first, second = UNITS[0], UNITS[1]
    split = date(2025, 1, 15)
    store.append([unit("A1", box(0, 0, 90, 150), valid_from=split, replaces=(first.uuid,))])
    store.append([unit("A2", box(90, 0, 200, 150), valid_from=split, replaces=(first.uuid,))])
    store.append([unit("B", box(200, 0, 380, 150), valid_from=date(2030, 1, 1), replaces=(second.uuid,))])
    history = _history(store)
    if log:
        assert history is not None
        # The second unit's outline of 2030 is that of the page as it opens: a step of its own, after all work.
        assert len(history.steps) == 2 + len({entry.date for entry in log})
        check_steps(store, history)


@FEW
@given(logs)
def test_pieces_of_a_step_cover_its_units_once(log: list[Entry]) -> None:
    store = FakeStore([*UNITS, *log])
    history = _history(store)
    if history is None:
        return
    grid = store.grid
    assert grid is not None
    areas_m2 = [grid.to_grid(piece.geometry).area for piece in history.pieces]
    for index, step in enumerate(history.steps):
        by_stage: dict[str, float] = {}
        for piece, area_m2 in zip(history.pieces, areas_m2, strict=True):
            stage = [stage for from_step, stage in piece.stages if from_step <= index][-1]
            assert stage is not None
            by_stage[stage] = by_stage.get(stage, 0.0) + area_m2
        for stage, stage_acres in step.stage_acres.items():
            # What is drawn goes to degrees and back, some 1e-8 m a vertex.
            assert abs(by_stage[stage] / 4046.8564224 - stage_acres) <= 1e-5


@FEW
@given(logs)
def test_a_history_too_heavy_steps_by_season_and_stays_true(log: list[Entry]) -> None:
    store = FakeStore([*UNITS, *log])
    history = _history(store, most_bytes=0)
    if history is None:
        return
    days = [step.day for step in history.steps if step.day is not None]
    assert days == sorted({max(e.date for e in log if _season(e.date) == year) for year in map(_season, _dates(log))})
    assert all(step.season for step in history.steps[1:])
    check_steps(store, history)


def _dates(log: list[Entry]) -> list[date]:
    return [entry.date for entry in log]


def _season(day: date) -> int:
    return day.year if day.month >= 7 else day.year - 1
