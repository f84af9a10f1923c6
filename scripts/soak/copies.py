"""Copies of one property, written apart and united in any order, against a plain model of what must come of it.

The ground is six strips; unit A is drawn on the first three and B on the others. The model knows rows, what each says and
what its writer had before him, and works out by sets alone which lines count, which strips are treated and which unions
must be refused. Steps go through the jobs on real files; some are cut off by the end of their process.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import shapely
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule
from shapely import MultiPolygon, box
from shapely.geometry import mapping

from habmap.errors import HabmapError
from habmap.jobs.acres import acres
from habmap.jobs.correct import amend
from habmap.jobs.log import log
from habmap.jobs.snapshot import snapshot
from habmap.jobs.unit import redraw
from habmap.jobs.unite import unite
from habmap.jobs.withdraw import void
from habmap.land.grid import LocalGrid
from habmap.measures import M2_PER_ACRE
from habmap.place.store import GeoPackageStore
from habmap.records import Entry, Unit, key_of
from habmap.records.said import Said
from habmap.work.ledger import effective_entries
from habmap.work.withdrawal import Covered
from soak.law import scratch

GRID = LocalGrid(38.0, -98.0)
STRIPS, BREADTH_M, DEPTH_M = 6, 40.0, 100.0
START = datetime(2026, 1, 1, tzinfo=UTC)
#: No more lines than this are logged: the rules for corrections meet where many speak of one line.
MOST_LINES = 4
#: What was found is made smaller for so long [s]; hypothesis would take five minutes.
_SHRINKING_S = 45
#: After every day that is used.
LATER = date(2040, 1, 1)
OUTLINES = {"A": frozenset({0, 1, 2}), "B": frozenset({3, 4, 5})}

strips = st.sets(st.integers(0, STRIPS - 1), min_size=1, max_size=4).map(frozenset)
copies = st.integers(0, 2)
luck = st.integers(0, 10_000)
clocks = st.integers(-50_000, 50_000)


def ground(cells: Iterable[int]) -> MultiPolygon:
    """Return strips as lon/lat ground."""
    boxes = [box(BREADTH_M * at, 0, BREADTH_M * (at + 1), DEPTH_M) for at in sorted(cells)]
    merged = shapely.union_all(boxes)
    return GRID.to_lonlat(MultiPolygon(merged.geoms if isinstance(merged, MultiPolygon) else [merged]))


@dataclass(frozen=True, slots=True)
class Known:
    """What the model knows of a row: what it is, what it names, what it says, when by its clock, what was seen."""

    kind: str
    target: str = ""
    cells: frozenset[int] = frozenset()
    clock: datetime = START
    seen: frozenset[str] = frozenset()
    unit: str = ""


@dataclass(slots=True)
class Copy:
    """One copy: its folder, and the ids of the rows that it must hold."""

    folder: Path
    rows: set[str] = field(default_factory=set)


class Model:
    """The plain rules: sets of rows, and what counts of them."""

    def __init__(self) -> None:
        self.rows: dict[str, Known] = {}

    def is_withdrawn(self, row: str, among: set[str]) -> bool:
        """A row is withdrawn where a row names it that withdraws and is not withdrawn itself."""
        return any(
            self.rows[other].kind == "void" and self.rows[other].target == row and not self.is_withdrawn(other, among)
            for other in among
        )

    def corrections(self, line: str, among: set[str]) -> set[str]:
        """Return the corrections of a line."""
        return {row for row in among if self.rows[row].kind == "amend" and self.rows[row].target == line}

    def content(self, line: str, among: set[str]) -> frozenset[int] | None:
        """Return the strips that a line counts for: of its corrections in force, unseen by others, the last by clock."""
        if self.is_withdrawn(line, among):
            return None
        own = {row for row in self.corrections(line, among) if not self.is_withdrawn(row, among)}
        last = [row for row in own if not any(row in self.rows[other].seen for other in own)]
        if not last:
            return self.rows[line].cells
        return self.rows[max(last, key=lambda row: (self.rows[row].clock, row))].cells

    def lines(self, among: set[str]) -> dict[str, frozenset[int]]:
        """Return the lines that count, with their strips."""
        found = {row: self.content(row, among) for row in among if self.rows[row].kind == "log"}
        return {row: cells for row, cells in found.items() if cells is not None}

    def outlines(self, unit: str, among: set[str]) -> set[str]:
        """Return the versions of a unit that no other follows."""
        own = {row for row in among if self.rows[row].kind == "unit" and self.rows[row].unit == unit}
        return own - {self.rows[row].target for row in own}


class Copies(RuleBasedStateMachine):
    """Steps in any order, each held against the model."""

    #: Steps done since the class was made.
    steps = 0

    @initialize(number=st.integers(1, 3))
    def begin(self, number: int) -> None:
        """Make a property and copy its folder."""
        self.model, self.count, self.top = Model(), 0, scratch("habmap-copies-")
        first = GeoPackageStore.create(self.top / "0", "Strips", timezone="America/Chicago")
        units = [
            Unit(
                uuid=f"unit-{name}", unit_id=name, name=name, cover="cedar", geometry=ground(cells), recorded_at=START,
                valid_from=date(2020, 1, 1),
            )
            for name, cells in OUTLINES.items()
        ]  # fmt: skip
        first.append(units)
        for name, cells in OUTLINES.items():
            self.model.rows[f"unit-{name}"] = Known("unit", cells=cells, unit=name)
        self.copies = [Copy(self.top / str(at), set(self.model.rows)) for at in range(number)]
        for one in self.copies[1:]:
            shutil.copytree(self.copies[0].folder, one.folder)

    def teardown(self) -> None:
        """Put the folders away."""
        if hasattr(self, "top"):
            shutil.rmtree(self.top, ignore_errors=True)

    # --- steps ---------------------------------------------------------------------------------------------

    @precondition(lambda self: self._lines() < MOST_LINES)
    @rule(at=copies, cells=strips, clock=clocks)
    def log(self, at: int, cells: frozenset[int], clock: int) -> None:
        """Log a cut."""
        copy, now = self._at(at), self._now(clock)
        done = log(
            self._store(copy), practice="cut", date=now.date(), patch=ground(cells), said=Said(), now=now, today=LATER
        )
        self._know(copy, done.entry_id, Known("log", cells=cells, clock=now))

    @precondition(lambda self: self._lines() > 0)
    @rule(at=copies, which=luck, cells=strips, clock=clocks)
    def correct(self, at: int, which: int, cells: frozenset[int], clock: int) -> None:
        """Correct a line to other ground; a withdrawn one is refused."""
        copy, now = self._at(at), self._now(clock)
        line = self._pick(copy, which, "log")
        if line is None:
            return
        expected = self.model.content(line, copy.rows) is not None
        done = self._tried(
            copy,
            expected,
            lambda store: amend(
                store, line, why="a slip", said=Said(), now=now, today=LATER, agree=lambda words: True,
                ground=lambda day: Covered(patch=ground(cells), day=day),
            ),
        )  # fmt: skip
        if done is not None:
            seen = frozenset(self.model.corrections(line, copy.rows))
            self._know(copy, done.entry_id, Known("amend", target=line, cells=cells, clock=now, seen=seen))

    @precondition(lambda self: self._lines() > 0)
    @rule(at=copies, which=luck, kind=st.sampled_from(["log", "log", "amend", "void"]), clock=clocks)
    def void(self, at: int, which: int, kind: str, clock: int) -> None:
        """Withdraw a line, a correction or a withdrawal; what is withdrawn already may be refused."""
        copy, now = self._at(at), self._now(clock)
        row = self._pick(copy, which, kind)
        if row is None:
            return
        # whether it may be is said by rules of its own (a later correction, what settles): here only what must be
        is_sure = kind == "log" and self.model.content(row, copy.rows) is not None
        done = self._tried(
            copy,
            True if is_sure else None,
            lambda store: void(store, row, why="a slip", now=now, agree=lambda words: True),
        )
        if done is not None:
            self._know(copy, done.entry_id, Known("void", target=row, clock=now))

    @rule(
        at=copies,
        unit=st.sampled_from(["A", "B"]),
        cells=st.sets(st.integers(0, 2), min_size=1).map(frozenset),
        clock=clocks,
    )
    def redraw(self, at: int, unit: str, cells: frozenset[int], clock: int) -> None:
        """Draw a unit anew within its first outline."""
        import json

        copy, now = self._at(at), self._now(clock)
        cells = frozenset(at + min(OUTLINES[unit]) for at in range(min(cells), max(cells) + 1))  # one piece
        path = self.top / "outline.geojson"
        path.write_text(json.dumps({"type": "Feature", "properties": {}, "geometry": mapping(ground(cells))}))
        before = self.model.outlines(unit, copy.rows)
        done = self._tried(
            copy,
            None,
            lambda store: redraw(
                store, unit, path=path, valid_from=date(2030, 1, 1) + timedelta(days=self.count), now=now
            ),
        )
        if done is not None:
            (fresh,) = {key_of(row) for row in self._rows(copy)} - copy.rows
            self._know(copy, fresh, Known("unit", target=next(iter(before)), cells=cells, unit=unit))

    @precondition(lambda self: len(self.copies) > 1 and self._lines() > 0)
    @rule(
        at=copies,
        other=copies,
        which=luck,
        cells=st.lists(strips, min_size=2, max_size=2),
        clock=st.lists(clocks, min_size=2, max_size=2),
    )
    def correct_apart(self, at: int, other: int, which: int, cells: list[frozenset[int]], clock: list[int]) -> None:
        """Correct a line in two copies that know nothing of each other's word, then unite them both ways."""
        self.unite(at=at, other=other)
        self.unite(at=other, other=at)
        for copy, ground_now, moment in zip((at, other), cells, clock, strict=True):
            self.correct(at=copy, which=which, cells=ground_now, clock=moment)
        self.unite(at=at, other=other)
        self.unite(at=other, other=at)

    @precondition(lambda self: len(self.copies) > 1)
    @rule(at=copies, other=copies)
    def unite(self, at: int, other: int) -> None:
        """Take in another copy's rows; where both drew a unit anew, nothing is taken."""
        copy, from_ = self._at(at), self._at(other)
        together = copy.rows | from_.rows
        may = all(len(self.model.outlines(unit, together)) == 1 for unit in OUTLINES)
        if self._tried(copy, may, lambda store: unite(store, self._store(from_))) is not None:
            copy.rows |= from_.rows
            self._hold(copy)

    @rule(at=copies, cells=strips, clock=clocks, after=st.integers(0, 12))
    def interrupted(self, at: int, cells: frozenset[int], clock: int, after: int) -> None:
        """End a process in the middle of its write: nothing of it is there, and nothing else is lost."""
        copy, now = self._at(at), self._now(clock)
        process = os.fork()
        if process == 0:
            _end_after(after)
            try:
                log(
                    self._store(copy),
                    practice="cut",
                    date=now.date(),
                    patch=ground(cells),
                    said=Said(),
                    now=now,
                    today=LATER,
                )
            finally:
                os._exit(0)
        _, status = os.waitpid(process, 0)
        fresh = {key_of(row) for row in self._rows(copy)} - copy.rows
        assert len(fresh) == (1 if os.waitstatus_to_exitcode(status) == 0 else 0), (status, fresh)
        for name in fresh:
            self._know(copy, name, Known("log", cells=cells, clock=now))
        self._hold(copy)

    # --- what holds after each -----------------------------------------------------------------------------

    def _hold(self, copy: Copy) -> None:
        store = self._store(copy)
        rows = store.rows()
        assert {key_of(row) for row in rows} == copy.rows
        assert store.storage_faults() == []
        lines = self.model.lines(copy.rows)
        counting = effective_entries(row for row in rows if isinstance(row, Entry))
        assert {line.entry_id for line in counting} == set(lines)
        cut = frozenset().union(*lines.values())
        account = {unit.unit_id: unit for unit in acres(store, on=LATER).units}
        for name in OUTLINES:
            (version,) = self.model.outlines(name, copy.rows)
            outline = self.model.rows[version].cells
            for said, cells in ((account[name].acres, outline), (account[name].treated_acres, outline & cut)):
                assert abs(said - len(cells) * BREADTH_M * DEPTH_M / M2_PER_ACRE) < 1e-5, (name, said, cells)
        alike = [one for one in self.copies if one is not copy and one.rows == copy.rows]
        for one in alike:
            assert acres(self._store(one), on=LATER) == acres(store, on=LATER)

    # --- inner helpers -------------------------------------------------------------------------------------

    def _lines(self) -> int:
        return sum(known.kind == "log" for known in self.model.rows.values())

    def _at(self, at: int) -> Copy:
        type(self).steps += 1
        return self.copies[at % len(self.copies)]

    def _now(self, clock: int) -> datetime:
        self.count += 1
        return START + timedelta(minutes=clock, seconds=self.count)

    def _store(self, copy: Copy) -> Any:
        return snapshot(GeoPackageStore.open(copy.folder))

    def _rows(self, copy: Copy) -> tuple[Any, ...]:
        return GeoPackageStore.open(copy.folder).rows()

    def _pick(self, copy: Copy, which: int, kind: str) -> str | None:
        found = sorted(
            (self.model.rows[row].clock, row) for row in copy.rows if self.model.rows[row].kind == kind
        )  # by the clock, since ids differ from run to run
        return found[which % len(found)][1] if found else None

    def _know(self, copy: Copy, row: str, known: Known) -> None:
        self.model.rows[row] = known
        copy.rows.add(row)
        self._hold(copy)

    def _tried(self, copy: Copy, expected: bool | None, step: Callable[[Any], Any]) -> Any:
        """Do a step; where it is refused, nothing has changed. ``expected``: whether it must be done (``None``: either)."""
        before = (copy.folder / "place.gpkg").read_bytes()
        try:
            done = step(self._store(copy))
        except HabmapError as error:
            assert expected is not True, f"refused: {error}"
            assert (copy.folder / "place.gpkg").read_bytes() == before
            return None
        assert expected is not False, "done, where it must be refused"
        return done


def _end_after(calls: int) -> None:
    """End this process without a word at one of the steps of a write."""
    from habmap.place import writing

    left = calls

    def ending(name: str) -> None:
        true = getattr(writing, name)

        def called(*words: Any, **more: Any) -> Any:
            nonlocal left
            left -= 1
            if left < 0:
                os._exit(9)
            return true(*words, **more)

        setattr(writing, name, called)

    for name in ("bring_up_to_date", "absent", "_read_back", "note_contents", "fix_grid"):
        ending(name)


def model(*, seed: int, seconds: float, most_steps: int = 10**9) -> tuple[int, str]:
    """Run the machine until the time or the steps are done; return the steps and the words of a fault, if any."""
    import time

    import hypothesis
    from hypothesis.internal.conjecture import engine
    from hypothesis.stateful import run_state_machine_as_test

    engine.MAX_SHRINKING_SECONDS = _SHRINKING_S
    Copies.steps, until = 0, time.monotonic() + seconds
    while time.monotonic() < until and Copies.steps < most_steps:
        settings = hypothesis.settings(
            max_examples=max(1, min(20, most_steps // 40)), stateful_step_count=40, deadline=None, database=None, print_blob=False,
            suppress_health_check=list(hypothesis.HealthCheck),
        )  # fmt: skip
        try:
            run_state_machine_as_test(hypothesis.seed(seed + Copies.steps)(Copies), settings=settings)
        except Exception as error:
            import traceback

            notes = [
                note
                for note in getattr(error, "__notes__", ())
                if not note.lstrip().startswith(("Explanation", "These lines"))
            ]
            lines = traceback.format_tb(error.__traceback__)
            return Copies.steps, "".join([*lines[-2:], f"{type(error).__name__}: {error}\n", "\n".join(notes)])
    return Copies.steps, ""
