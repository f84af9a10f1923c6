"""Withdrawing a line, a correction or a withdrawal: it is said first, and other people's work is asked about."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from fakes import GRID, FakeStore, entry, ground_lonlat, unit
from shapely import MultiPolygon, box

from habmap.errors import InputError
from habmap.jobs.correct import amend
from habmap.jobs.history import history
from habmap.jobs.withdraw import void
from habmap.place.settings import Settings
from habmap.records import Entry, Look, facts
from habmap.records.said import Said
from habmap.work.ledger import conflicts, corrections, effective_entries
from habmap.work.unit_shares import Covered
from habmap.work.withdrawal import Voided, corrected, dependent_lines, refuse_idle

NOW = datetime(2026, 5, 1, 12, tzinfo=UTC)
BACK = datetime(2020, 5, 1, 12, tzinfo=UTC)  # the clock was set years back
STAND = unit("A", box(0, 0, 100, 100))


def a_store(*rows: Entry) -> FakeStore:
    return FakeStore([STAND, *rows], grid=GRID)


def hours(store: FakeStore) -> list[float | None]:
    return [line.person_hours for line in effective_entries(store.entries())]


def change(store: FakeStore, line: str, now: datetime = NOW, **said: float) -> str:
    result = amend(store, line, why="measured again", said=Said(**said), now=now, today=date(2026, 5, 1))  # type: ignore[arg-type]
    return result.entry_id


def test_on_one_machine_the_correction_written_later_counts_though_its_clock_was_set_back() -> None:
    line = entry("cut", "2025-03-01", box(0, 0, 50, 50), person_hours=5)
    store = a_store(line)
    change(store, line.entry_id, person_hours=10)
    last = change(store, line.entry_id, BACK, person_hours=20)
    assert hours(store) == [20]
    assert conflicts(store.entries()) == ()
    told = {row.entry_id: row for row in history(store).entries}
    assert (told[last].counts, told[last].state) == (True, "counts")
    assert [row.state for row in told.values()] == ["corrected", "corrected", "counts"]
    assert list(told)[-1] == last  # told after what it corrects, whatever its clock says


def test_a_correction_taken_back_leaves_the_line_as_before_and_says_so_first() -> None:
    line = entry("cut", "2025-03-01", box(0, 0, 50, 50), person_hours=5)
    store = a_store(line)
    first = change(store, line.entry_id, person_hours=10)
    second = change(store, line.entry_id, person_hours=20)
    said: list[tuple[Voided, int]] = []
    done = void(store, second, why="no", now=BACK, tell=lambda voided: said.append((voided, len(store.entries()))))
    assert said == [(done, 3)]  # before the fourth row was there
    assert (done.withdraws, done.line_id, done.target) == ("correction", line.entry_id, second)
    assert done.before is not None and done.after is not None
    assert (done.before.person_hours, done.after.person_hours) == (20, 10)
    assert hours(store) == [10]
    with pytest.raises(InputError, match="taken back already"):
        void(store, second, why="no", now=NOW)
    back = void(store, done.entry_id, why="it was right", now=NOW)
    assert (back.withdraws, hours(store)) == ("withdrawal", [20])
    with pytest.raises(InputError, match="made in sight of this one"):
        void(store, first, why="no", now=NOW)
    gone = void(store, line.entry_id, why="never was", now=NOW)
    assert (gone.withdraws, gone.after, hours(store)) == ("line", None, [])
    states = {row.entry_id: row.state for row in history(store).entries}
    assert states[done.entry_id] == "taken back" and states[gone.entry_id] == "in force"
    assert states[line.entry_id] == states[first] == states[second] == "withdrawn"
    with pytest.raises(InputError, match="withdrawn already") as caught:
        void(store, line.entry_id, why="never was", now=NOW)
    assert gone.entry_id[:8] in str(caught.value.mend)
    void(store, gone.entry_id, why="it was", now=NOW)
    assert hours(store) == [20]


def test_corrections_made_apart_can_be_settled_by_either_word() -> None:
    line = entry("cut", "2025-03-01", box(0, 0, 50, 50), person_hours=5)
    one = entry("cut", "2025-03-01", box(0, 0, 50, 50), person_hours=6, action="amend", target=line.entry_id, why="a")
    two = entry("cut", "2025-03-01", box(0, 0, 50, 50), person_hours=7, action="amend", target=line.entry_id, why="b")
    store = a_store(line, one, two)
    states = {row.entry_id: row.state for row in history(store).entries}
    assert (states[one.entry_id], states[two.entry_id], hours(store)) == ("lost", "counts", [7])
    void(store, one.entry_id, why="the other is right", now=BACK)
    assert hours(store) == [7] and conflicts(store.entries()) == ()
    store = a_store(line, one, two)
    change(store, line.entry_id, BACK, person_hours=8)
    assert hours(store) == [8] and conflicts(store.entries()) == ()


def pile_on_a_cut() -> tuple[FakeStore, Entry, Entry]:
    cut = entry("cut", "2025-03-01", box(0, 0, 50, 100), who="Bob")
    pile = entry("pile", "2025-05-01", box(0, 0, 100, 40), who="Ann")
    return a_store(cut, pile), cut, pile


def test_what_others_work_rests_on_is_not_withdrawn_without_a_word() -> None:
    store, cut, _pile = pile_on_a_cut()
    before = store.rows()
    asked: list[str] = []
    with pytest.raises(InputError, match="rests on this") as caught:
        void(store, cut.entry_id, why="wrong unit", now=NOW, agree=lambda words: bool(asked.append(words)))
    assert store.rows() == before
    # 50 m by 40 m of Ann's pile lie on what Bob cut: 2,000 m² are 0.494 acres of 4,046.856 m².
    assert "Ann piled 0.49 acres on 2025-05-01 (line 2)" in asked[0]
    assert "--yes" in str(caught.value.mend)
    void(store, cut.entry_id, why="wrong unit", now=NOW, agree=lambda words: True)
    assert [line.practice for line in effective_entries(store.entries())] == ["pile"]


def test_a_correction_asks_only_where_others_lose_ground() -> None:
    store, cut, _ = pile_on_a_cut()
    change(store, cut.entry_id, person_hours=3)
    with pytest.raises(InputError, match="rests on this"):
        change(store, cut.entry_id, killed_pct=20)
    with pytest.raises(InputError, match=r"Ann piled 0\.49 acres"):
        amend(
            store, cut.entry_id, why="elsewhere", said=Said(), now=NOW, today=date(2026, 5, 1),
            ground=lambda day: Covered(day=day, patch=ground_lonlat(box(0, 60, 50, 100))),
        )  # fmt: skip
    assert len(store.entries()) == 3


def test_ones_own_work_and_work_that_stands_on_other_ground_is_not_asked_about() -> None:
    cut = entry("cut", "2025-03-01", box(0, 0, 50, 100), who="Bob")
    again = entry("cut", "2025-02-01", box(0, 0, 50, 100), who="Cal")  # the same ground was down without Bob
    store = a_store(cut, again, entry("pile", "2025-05-01", box(0, 0, 50, 100), who="Ann"))
    void(store, cut.entry_id, why="twice", now=NOW)
    store = a_store(cut, entry("pile", "2025-05-01", box(0, 0, 50, 100), who=" bob "))
    void(store, cut.entry_id, why="never was", now=NOW)
    store = a_store(cut, entry("pile", "2025-05-01", box(60, 0, 90, 100), who="Ann"))
    void(store, cut.entry_id, why="never was", now=NOW)


def test_what_counts_for_nothing_is_refused_but_where_a_word_settles_what_was_written_apart() -> None:
    line = entry("cut", "2025-03-01", box(0, 0, 50, 50), person_hours=5)

    def row(action: str, target: Entry, *seen: Entry) -> Entry:
        return entry("cut", "2025-03-01", box(0, 0, 50, 50), action=action, target=target.entry_id, why="w",
                     supersedes=tuple(one.entry_id for one in seen))  # fmt: skip

    def refused(rows: list[Entry], of: Entry) -> str | None:
        (found,) = corrections(rows)
        try:
            refuse_idle(found, of)
        except InputError as error:
            return str(error)
        return None

    end = row("void", line)
    assert "this line is withdrawn already" in str(refused([line, end], line))
    assert refused([line], line) is None and refused([line, end], end) is None
    # a correction that the withdrawal had not seen: the line may be withdrawn once more, in sight of it
    apart = row("amend", line)
    assert refused([line, end, apart], line) is None
    seen = row("amend", line)
    assert "withdrawn already" in str(refused([line, seen, row("void", line, seen)], line))
    assert "the line of this correction is withdrawn" in str(refused([line, end, apart], apart))
    gone = row("void", apart, apart)
    assert "this correction is taken back already" in str(refused([line, apart, gone], apart))
    lifted = row("void", end)
    assert "this withdrawal is taken back already" in str(refused([line, end, lifted], end))
    # what would bring the line back is its own withdrawal that counts, not one of a correction nor one taken back
    twice = row("void", line)
    for rows in ([line, end, seen, row("void", seen)], [line, end, twice, row("void", twice)]):
        with pytest.raises(InputError) as idle:
            refuse_idle(corrections(rows)[0], line)
        assert f"`habmap void {end.entry_id[:8]}`" in str(idle.value.mend)
    later = row("amend", line, apart)
    assert "a later correction of this line counts" in str(refused([line, apart, later], apart))
    assert refused([line, apart, later], later) is None


def test_a_correction_keeps_what_is_not_said_and_a_look_is_of_check_ups_alone() -> None:
    seen = Look(live_stems_per_acre=40.0, needles="red")
    look = entry("checkup", "2025-06-01", box(0, 0, 50, 50), look=seen, who="Ann", reported_acres=1.0, is_sure=True)

    def row(**said: object) -> Entry:
        (line,) = corrections([look])
        content: dict[str, object] = {"now": NOW, "why": "w", "practice": None, "date": None, "covered": None}
        return corrected(line, Said(), **(content | said))  # type: ignore[arg-type]

    same = row()
    assert (same.look, same.who, same.practice, same.date) == (look.look, "Ann", "checkup", date(2025, 6, 1))
    assert (same.action, same.target, same.patch) == ("amend", look.entry_id, look.patch)
    # that the acres were agreed to holds as long as there are any
    assert (same.reported_acres, same.is_sure) == (1.0, True)
    bare = row(gone=[facts(Entry)["reported_acres"]])
    assert (bare.reported_acres, bare.is_sure) == (None, False)
    cut = row(practice="cut", date=date(2025, 6, 2))
    assert (cut.practice, cut.date) == ("cut", date(2025, 6, 2))
    assert cut.look is None or cut.look.live_stems_per_acre is None


def test_others_work_beside_a_side_of_ten_kilometers_rests_on_what_lies_under_it_in_the_grid() -> None:
    """That side bends north of its parallel by 1.5 m in its middle: L²/8R × tan 38° = 10000²/(8 × 6.37e6) × 0.78."""
    lat, half = 38.0, 0.057
    whole = MultiPolygon([box(-98 - half, lat - 0.01, -98 + half, lat + 0.01)])
    side = MultiPolygon([box(-98 - half, lat - 0.005, -98 + half, lat)])
    strip = MultiPolygon([box(-98.0005, lat + 1e-7, -97.9995, lat + 0.0002)])
    assert not side.intersects(strip)
    rows = [
        replace(entry("cut", "2025-01-01", who="Ana"), patch=side),
        replace(entry("pile", "2025-02-01", who="Bo"), patch=strip),
    ]
    (own,) = dependent_lines(
        rows, rows[1:], entry_id=rows[0].entry_id, units=(replace(unit("A", box(0, 0, 1, 1)), geometry=whole),),
        grid=GRID, limits=Settings().stages,
    )  # fmt: skip
    assert own.who == "Bo" and own.acres == pytest.approx(88 * 1.5 / 4_046.8564224, rel=0.1)
