"""What was seen goes before what a clock says: random histories on copies of a place whose clocks are of no use."""

from __future__ import annotations

import itertools
from datetime import UTC, date, datetime, timedelta

import shapely
from fakes import FakeStore
from hypothesis import given, settings
from hypothesis import strategies as st

from habmap.jobs.unite import unite
from habmap.records import Boundary, DrawnBlock, Entry, Photo
from habmap.work.ledger import Correction, conflicts, corrections, effective_entries, sight, told_in_order
from habmap.work.lines import find_row
from habmap.work.succession import in_order, newest, newest_photos

GROUND = shapely.MultiPolygon([shapely.box(-98.01, 38.0, -98.0, 38.01)])
START = datetime(2026, 1, 1, tzinfo=UTC)
LAW = settings(max_examples=120, deadline=None)


class Copies:
    """Copies of one log; each step is done in one of them, at a moment that its clock makes up."""

    def __init__(self, number: int) -> None:
        self.logs: list[dict[str, Entry]] = [{} for _ in range(number)]
        self.seen: dict[str, frozenset[str]] = {}
        self.count = 0

    def write(self, at: int, clock: int, **fields: object) -> Entry:
        self.count += 1
        content: dict[str, object] = {
            "entry_id": f"{(self.count * 7919) % 1000:03d}-{self.count}",  # ids in no order
            "recorded_at": START + timedelta(minutes=clock),
            "practice": "cut",
            "date": date(2026, 1, 1),
            "patch": GROUND,
            "person_hours": float(self.count),
        }
        row = Entry(**(content | fields))  # type: ignore[arg-type]
        self.seen[row.entry_id] = frozenset(self.logs[at])
        self.logs[at][row.entry_id] = row
        return row

    def line(self, at: int, root: str) -> Correction:
        return next(line for line in corrections(self.logs[at].values()) if line.root.entry_id == root)


steps = st.lists(
    st.tuples(
        st.sampled_from(["log", "correct", "correct", "correct", "void", "unite", "unite"]),
        st.integers(0, 2),
        st.integers(-50_000, 50_000),
        st.integers(0, 1000),
    ),
    max_size=25,
)


def play(steps_: list[tuple[str, int, int, int]]) -> Copies:
    """Do as people do with the commands, and hold each step's own promise."""
    copies = Copies(3)
    copies.write(0, 0)
    for log in copies.logs[1:]:
        log |= copies.logs[0]  # one line that all know, so that they have something to quarrel about
    for kind, at, clock, pick in steps_:
        log = copies.logs[at]
        lines = corrections(log.values())
        if kind == "log":
            copies.write(at, clock)
        elif kind == "unite":
            copies.logs[at] |= copies.logs[pick % 3]
        elif lines:
            line = lines[pick % len(lines)]
            root = line.root.entry_id
            if kind == "correct" and line.content is not None:
                row = copies.write(
                    at, clock, action="amend", target=line.basis[-1].entry_id, supersedes=sight(line), why="x"
                )
                content = copies.line(at, root).content
                assert content is not None and content.person_hours == row.person_hours  # what was said last, counts
                assert not [one for one in conflicts(copies.line(at, root).rows) if one.kind == "two_amendments"]
            elif kind == "void":
                row = line.rows[pick % len(line.rows)]
                if row.entry_id in line.withdrawn:
                    continue
                copies.write(at, clock, action="void", target=row.entry_id, supersedes=sight(line), patch=None, why="x")
                after = copies.line(at, root)
                assert row.entry_id in after.withdrawn
                if row is line.root:
                    assert after.content is None
                elif row is line.basis[-1] if line.basis else False:
                    assert row not in after.basis
    return copies


@LAW
@given(steps)
def test_no_correction_is_beaten_by_one_that_it_was_made_in_sight_of(done: list[tuple[str, int, int, int]]) -> None:
    copies = play(done)
    everything = {name: row for log in copies.logs for name, row in log.items()}
    for line in corrections(everything.values()):
        if line.content is None:
            continue
        last = line.basis[-1]
        for row in line.amends:
            if row.entry_id not in line.withdrawn:
                assert last.entry_id not in copies.seen[row.entry_id], (
                    "a counting correction that saw it is passed over"
                )


@LAW
@given(steps)
def test_two_or_more_that_nobody_saw_both_of_are_named(done: list[tuple[str, int, int, int]]) -> None:
    copies = play(done)
    everything = {name: row for log in copies.logs for name, row in log.items()}
    for line in corrections(everything.values()):
        counting = [row for row in line.amends if row.entry_id not in line.withdrawn]
        seen = {name for row in counting for name in copies.seen[row.entry_id]}
        unseen = sorted(row.entry_id for row in counting if row.entry_id not in seen)
        expected = unseen if len(unseen) > 1 and line.content is not None else []
        assert sorted(row.entry_id for row in line.rivals) == expected
        if expected:  # only then the clock decides
            assert line.rivals[-1] == max(line.rivals, key=lambda row: (row.recorded_at, row.entry_id))
            assert any(one.kind == "two_amendments" for one in conflicts(line.rows))


@settings(max_examples=25, deadline=None)
@given(steps)
def test_copies_agree_in_whatever_order_they_are_united(done: list[tuple[str, int, int, int]]) -> None:
    copies = play(done)
    told = []
    for order in itertools.permutations(range(3)):
        store = FakeStore()
        for at in order:
            unite(store, FakeStore(list(copies.logs[at].values())))
        told.append((effective_entries(store.entries()), conflicts(store.entries()), told_in_order(store.entries())))
    assert all(one == told[0] for one in told)
    rows = told[0][2]
    places = {row.entry_id: at for at, row in enumerate(rows)}
    for row in rows:
        below = [row.target, *(row.supersedes or ())]
        assert all(places[name] < places[row.entry_id] for name in below if name in places)
        assert find_row(rows, row.entry_id)[1] == row


@LAW
@given(st.lists(st.tuples(st.booleans(), st.integers(0, 2), st.integers(-50_000, 50_000)), max_size=14))
def test_the_last_word_on_a_block_or_a_boundary_counts_where_it_was_spoken(
    done: list[tuple[bool, int, int]],
) -> None:
    copies = [FakeStore(), FakeStore(), FakeStore()]
    for number, (is_union, at, clock) in enumerate(done):
        if is_union:
            unite(copies[at], copies[(at + 1) % 3])
            continue
        moment = START + timedelta(minutes=clock)
        copies[at].append([DrawnBlock(uuid=f"k{number}", name="N", geometry=GROUND, recorded_at=moment)])
        copies[at].append([Boundary(uuid=f"b{number}", geometry=GROUND, recorded_at=moment)])
        assert copies[at].drawn_blocks()[-1].uuid == f"k{number}"
        line = copies[at].boundary()
        assert line is not None and line.uuid == f"b{number}"
    for kind in (DrawnBlock, Boundary):
        rows = {row.uuid: row for copy in copies for row in copy.rows() if isinstance(row, kind)}
        told = [in_order(order) for order in itertools.islice(itertools.permutations(rows.values()), 24)]
        assert all(one == told[0] for one in told)
        assert not rows or told[0][-1] == newest(rows.values())


@LAW
@given(
    st.lists(
        st.tuples(st.booleans(), st.integers(0, 2), st.integers(-50_000, 50_000), st.booleans()),
        min_size=1,
        max_size=10,
    )
)
def test_a_private_photo_is_opened_only_in_sight_of_every_row_that_closed_it(
    done: list[tuple[bool, int, int, bool]],
) -> None:
    copies = [FakeStore(), FakeStore(), FakeStore()]
    seen: dict[str, frozenset[str]] = {}
    for number, (is_union, at, clock, is_private) in enumerate(done):
        if is_union:
            unite(copies[at], copies[(at + 1) % 3])
            continue
        row = Photo(
            uuid=f"00000000-0000-4000-8000-{number:012d}", file_name="a.jpg", sha256="a", picture="a" * 32 + ".jpg",
            taken_at=START, taken_on=START.date(), geometry=shapely.Point(-98, 38), is_private=is_private,
            recorded_at=START + timedelta(minutes=clock),
        )  # fmt: skip
        seen[row.uuid] = frozenset(one.uuid for one in copies[at].rows() if isinstance(one, Photo))
        copies[at].append([row])
        (told,) = copies[at].photos()
        assert told.is_private == is_private  # what was said last, in sight of all
    rows = {row.uuid: row for copy in copies for row in copy.rows() if isinstance(row, Photo)}
    if rows:
        (told,) = newest_photos(rows.values())
        closing = [row for row in rows.values() if row.is_private]
        is_open = all(any(row.uuid in seen[other] for other in rows) for row in closing)
        assert told.is_private is not is_open
