"""Plots corrected and withdrawn: rows are added, the last in sight of the others counts, whatever the clocks said."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import permutations
from pathlib import Path
from typing import Any

import pytest
from fakes import FakeStore, unit
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import box

from habmap.errors import InputError, InputErrors, UsageError
from habmap.jobs.check import looked_at
from habmap.jobs.density import density
from habmap.jobs.history import history
from habmap.jobs.load.tables import load_table
from habmap.jobs.plot import void_plot
from habmap.records import Plot
from habmap.work.checks.copies import plots as plot_faults
from habmap.work.plots import plot_changes, plots_told
from habmap.work.union import union

NOW = datetime(2026, 3, 1, 12, tzinfo=UTC)
UNIT = unit("C1", box(0, 0, 400, 400))


def table(folder: Path, *stems: tuple[str, int]) -> Path:
    path = folder / "plots.csv"
    rows = "".join(f"{plot_id},C1,fixed,0.1,{count}\n" for plot_id, count in stems)
    path.write_text(f"plot_id,unit_id,method,plot_acres,stems\n{rows}", encoding="utf-8")
    return path


def told(store: FakeStore) -> dict[str, int | None]:
    return {plot.plot_id: plot.stems for plot in store.plots()}


def test_a_wrong_plot_is_corrected_withdrawn_and_told_again(tmp_path: Path) -> None:
    store = FakeStore([UNIT])
    first = table(tmp_path, ("P1", 5), ("P2", 7))
    assert load_table(store, "plots", path=first, now=NOW).loaded == 2
    # 12 stems on two tenths of an acre
    assert density(store).units[0].stems_per_acre == pytest.approx(60)
    right = table(tmp_path, ("P1", 50), ("P2", 7))
    with pytest.raises(InputErrors, match="stems 50, before 5") as refused:
        load_table(store, "plots", path=right, now=NOW)
    assert "--overwrite" in str(refused.value)
    result = load_table(store, "plots", path=right, now=NOW, overwrite=True)
    assert (result.loaded, result.versions, result.already_there) == (1, 1, 1)
    assert told(store) == {"P1": 50, "P2": 7} and len(store.plot_rows()) == 3
    assert density(store).units[0].stems_per_acre == pytest.approx(285)
    # the file as it first was is no news, and changes nothing
    again = load_table(store, "plots", path=table(tmp_path, ("P1", 5), ("P2", 7)), now=NOW)
    assert (again.loaded, again.already_there) == (0, 2) and "corrected since" in again.warnings[0]
    assert told(store)["P1"] == 50
    assert void_plot(store, "P1", why="another stand", now=NOW).plot_id == "P1"
    assert told(store) == {"P2": 7}
    assert density(store).units[0].stems_per_acre == pytest.approx(70)
    with pytest.raises(InputError, match="withdrawn already"):
        void_plot(store, "P1", why="again", now=NOW)
    still = load_table(store, "plots", path=right, now=NOW)
    assert (still.loaded, still.already_there) == (0, 2) and "withdrawn since" in still.warnings[0]
    back = load_table(store, "plots", path=table(tmp_path, ("P1", 50), ("P2", 7)), now=NOW, overwrite=True)
    assert (back.loaded, "counts again" in back.warnings[0]) == (1, True)
    assert told(store) == {"P2": 7, "P1": 50}
    found = history(store).plots
    assert [(change.action, change.changes, change.why) for change in found] == [
        ("correct", ("stems 50, before 5",), None),
        ("void", (), "another stand"),
        ("restore", (), None),
    ]
    assert history(store, unit_id="C1").plots == found


def test_a_correction_counts_though_the_clock_ran_back(tmp_path: Path) -> None:
    store = FakeStore([UNIT])
    for days, stems in ((0, 5), (-2, 6), (-4, 7)):
        path = table(tmp_path, ("P1", stems))
        load_table(store, "plots", path=path, now=NOW + timedelta(days=days), overwrite=True)
        assert told(store) == {"P1": stems}
    void_plot(store, "P1", why="twice", now=NOW - timedelta(days=9))
    assert told(store) == {}


def test_two_rows_of_one_file_that_differ_are_refused_even_so(tmp_path: Path) -> None:
    store = FakeStore([UNIT])
    for _ in range(2):  # new to the property, and known there
        with pytest.raises(InputErrors, match="two rows"):
            load_table(store, "plots", path=table(tmp_path, ("P1", 5), ("P1", 6)), now=NOW, overwrite=True)
        load_table(store, "plots", path=table(tmp_path, ("P1", 5), ("P1", 5)), now=NOW)
    assert told(store) == {"P1": 5}


def test_no_reason_and_no_such_plot(tmp_path: Path) -> None:
    store = FakeStore([UNIT])
    load_table(store, "plots", path=table(tmp_path, ("P1", 5)), now=NOW)
    with pytest.raises(UsageError, match="reason"):
        void_plot(store, "P1", why=" ", now=NOW)
    with pytest.raises(InputError, match="no such plot"):
        void_plot(store, "P9", why="x", now=NOW)
    assert told(store) == {"P1": 5}


def copied(store: FakeStore) -> FakeStore:
    copy = FakeStore(grid=store.grid)
    copy.append(store.rows(), is_copied=True)
    return copy


def united(*stores: FakeStore) -> FakeStore:
    mine = copied(stores[0])
    for other in stores[1:]:
        found = union(mine.rows(), other.rows())
        assert not found.clashes
        mine.append(found.news, is_copied=True)
    return mine


STEP = st.tuples(st.sampled_from(["correct", "void"]), st.integers(1, 9), st.integers(-9, 9))


@settings(max_examples=60, deadline=None)
@given(histories=st.lists(st.lists(STEP, max_size=4), min_size=2, max_size=3))
def test_copies_that_told_a_plot_apart_agree_in_whatever_order_they_are_united(
    tmp_path_factory: pytest.TempPathFactory, histories: list[list[tuple[str, int, int]]]
) -> None:
    folder = tmp_path_factory.mktemp("plots")
    start = FakeStore([UNIT])
    load_table(start, "plots", path=table(folder, ("P1", 5)), now=NOW)
    copies = [copied(start) for _ in histories]
    for copy, steps in zip(copies, histories, strict=True):
        for what, stems, days in steps:
            now = NOW + timedelta(days=days)
            if what == "correct":
                load_table(copy, "plots", path=table(folder, ("P1", stems)), now=now, overwrite=True)
            elif told(copy):
                void_plot(copy, "P1", why="wrong", now=now)
    outcomes = {tuple(told(united(*order)).items()) for order in permutations(copies)}
    assert len(outcomes) == 1
    # a copy that withdrew it and was not answered withdraws it for all
    if any(not told(copy) for copy in copies):
        assert outcomes == {()}


def test_check_names_a_plot_that_two_copies_told_apart(tmp_path: Path) -> None:
    start = FakeStore([UNIT])
    load_table(start, "plots", path=table(tmp_path, ("P1", 5)), now=NOW)
    one, other = copied(start), copied(start)
    load_table(one, "plots", path=table(tmp_path, ("P1", 6)), now=NOW, overwrite=True)
    load_table(other, "plots", path=table(tmp_path, ("P1", 7)), now=NOW + timedelta(days=1), overwrite=True)
    both = united(one, other)
    assert told(both) == {"P1": 7}
    (fault,) = plot_faults(looked_at(both, today=date(2026, 4, 1)))
    assert fault.where == "plot P1" and "stems 6, before 7" in fault.what
    load_table(both, "plots", path=table(tmp_path, ("P1", 6)), now=NOW, overwrite=True)
    assert told(both) == {"P1": 6}
    assert list(plot_faults(looked_at(both, today=date(2026, 4, 1)))) == []


def test_what_was_said_of_plots_after_they_were_first_told_stands_by_its_moment() -> None:
    def row(
        name: str, hours: int, *supersedes: str, plot_id: str = "P", unit_id: str | None = "A", **said: Any
    ) -> Plot:
        fields: dict[str, Any] = {"method": "fixed", "plot_acres": 0.1, "stems": 3} | said
        return Plot(uuid=name, plot_id=plot_id, unit_id=unit_id, supersedes=supersedes,
                    recorded_at=NOW + timedelta(hours=hours), **fields)  # fmt: skip

    rows = [
        row("a", 0), row("b", 5, "a", stems=4, why="counted again"),
        row("c", 6, "b", stems=4, is_void=True, why="lost"),
        row("d", 7, "c", stems=9, unit_id="B"), row("q", 1, plot_id="Q", unit_id="B"),
        row("r", 2, "q", plot_id="Q", unit_id="B", stems=1), row("s", 0, plot_id="S", unit_id=None),
    ]  # fmt: skip
    told = plot_changes(rows[::-1])
    assert [(one.plot_id, one.unit_id, one.action, one.why, len(one.changes)) for one in told] == [
        ("Q", "B", "correct", None, 1), ("P", "A", "correct", "counted again", 1), ("P", "A", "void", "lost", 0),
        ("P", "B", "restore", None, 2),
    ]  # fmt: skip
    assert [one.recorded_at.hour - NOW.hour for one in told] == [2, 5, 6, 7]
    # of one unit's plots all that was ever in it
    assert [one.plot_id for one in plot_changes(rows, unit_id="A")] == ["P", "P", "P"]
    assert len(plot_changes(rows, unit_id="B")) == 4 and plot_changes(rows, unit_id="Z") == ()
    assert [one.uuid for one in plots_told(rows[::-1])["P"]] == ["a", "b", "c", "d"]
