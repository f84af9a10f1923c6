"""Laws of what a line changes: a preview writes nothing and tells the account as it is after the line is written."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from drawn_logs import FEW, UNITS, entries, logs
from fakes import GRID, FakeStore, entry, ground_lonlat, unit
from hypothesis import given
from shapely import MultiPolygon, Polygon, box

from habmap.errors import InputError, UsageError
from habmap.jobs.acres import acres
from habmap.jobs.correct import amend
from habmap.jobs.log import add_entry, log
from habmap.measures import M2_PER_ACRE
from habmap.place.settings import Settings
from habmap.records import Entry
from habmap.records.said import Said
from habmap.vocabulary import LABEL_CAUTION, SAW_CAUTION, SNAG_CAUTION
from habmap.work.logged import said_today
from habmap.work.unit_shares import Covered

TODAY = date(2026, 11, 20)
NOW = datetime(2026, 11, 20, 18, tzinfo=UTC)
SAME = 1e-6  # [acre]


@FEW
@given(logs, entries())
def test_a_preview_tells_the_account_that_the_line_makes_and_writes_nothing(log_: list[Entry], new: Entry) -> None:
    store = FakeStore([*UNITS, *log_], grid=GRID)
    before = acres(store).totals
    told = add_entry(store, new, today=TODAY, agree=None, is_preview=True)
    assert store.entries() == FakeStore([*UNITS, *log_], grid=GRID).entries()
    written = add_entry(store, new, today=TODAY, agree=None)
    assert (told.preview, written.preview) == (True, False)
    assert told.changes == written.changes and told.number == written.number
    after = acres(store).totals
    was = {one.unit_id: one.treated_acres for one in acres(FakeStore([*UNITS, *log_], grid=GRID)).units}
    changes = told.changes
    assert changes is not None
    assert changes.treated_before_acres == pytest.approx(before.treated_acres, abs=SAME)
    assert changes.treated_after_acres == pytest.approx(after.treated_acres, abs=SAME)
    assert changes.remaining_after_acres == pytest.approx(after.remaining_acres, abs=SAME)
    assert changes.keep_after_acres == pytest.approx(after.keep_acres, abs=SAME)
    for one in changes.units:
        now = next(found for found in acres(store).units if found.unit_id == one.unit_id)
        assert one.treated_before_acres == pytest.approx(was[one.unit_id], abs=SAME)
        assert one.treated_after_acres == pytest.approx(now.treated_acres, abs=SAME)


def test_units_are_told_whose_treated_ground_a_line_changes_and_no_other() -> None:
    """B's 100 m by 100 m were cut before, half of A's; a line over both changes A alone, by its other half."""
    rows = [unit("A", box(0, 0, 100, 100)), unit("B", box(100, 0, 200, 100)), unit("C", box(900, 0, 950, 100))]
    store = FakeStore([*rows, entry("cut", "2026-01-10", box(50, 0, 200, 100))], grid=GRID)
    changes = log(
        store, practice="cut", date=date(2026, 2, 1), patch=ground_lonlat(box(0, 0, 200, 100)), said=Said(), now=NOW,
        today=TODAY, is_preview=True,
    ).changes  # fmt: skip
    assert changes is not None
    (found,) = changes.units
    assert (found.unit_id, found.treated_before_acres, found.treated_after_acres) == (
        "A", pytest.approx(5_000 / M2_PER_ACRE, rel=1e-6), pytest.approx(10_000 / M2_PER_ACRE, rel=1e-6),
    )  # fmt: skip
    assert changes.cedar_acres == pytest.approx(25_000 / M2_PER_ACRE, rel=1e-6)


def test_what_was_treated_already_is_counted_by_hand_and_a_correction_leaves_its_own_line_out() -> None:
    """100 m × 100 m cut; then 150 m × 100 m cut over it: 1 hectare treated already, half a hectare new."""
    store = FakeStore([unit("A", box(0, 0, 300, 100)), entry("cut", "2026-01-10", box(0, 0, 100, 100))], grid=GRID)
    made = log(
        store, practice="cut", date=date(2026, 2, 1), patch=ground_lonlat(box(0, 0, 150, 100)), said=Said(), now=NOW,
        today=TODAY,
    )  # fmt: skip
    assert made.changes is not None
    assert made.changes.already_treated_acres == pytest.approx(10_000 / M2_PER_ACRE, rel=1e-6)
    assert made.changes.treated_after_acres == pytest.approx(15_000 / M2_PER_ACRE, rel=1e-6)
    wider = amend(
        store, made.entry_id, why="walked on", said=Said(), now=NOW + timedelta(hours=1), today=TODAY, is_preview=True,
        ground=lambda day: Covered(day=day, patch=ground_lonlat(box(0, 0, 200, 100))),
    )  # fmt: skip
    assert wider.changes is not None and wider.preview
    assert wider.changes.treated_before_acres == pytest.approx(15_000 / M2_PER_ACRE, rel=1e-6)
    assert wider.changes.treated_after_acres == pytest.approx(20_000 / M2_PER_ACRE, rel=1e-6)
    assert wider.changes.already_treated_acres == pytest.approx(10_000 / M2_PER_ACRE, rel=1e-6)
    assert len(store.entries()) == 2


def test_a_caution_is_said_in_full_once_a_local_day() -> None:
    zone = ZoneInfo("America/Chicago")
    # 2026-11-20 04:00 UTC is still the evening of the 19th there
    late = entry("cut", "2026-11-19", box(0, 0, 9, 9), recorded_at=datetime(2026, 11, 20, 4, tzinfo=UTC))
    morning = entry("cut", "2026-11-20", box(0, 0, 9, 9), recorded_at=datetime(2026, 11, 20, 14, tzinfo=UTC))
    loaded = entry(
        "spray", "2026-11-20", box(0, 0, 9, 9), killed_pct=80.0, source_id="7",
        recorded_at=datetime(2026, 11, 20, 15, tzinfo=UTC),
    )  # fmt: skip
    cautions = (SAW_CAUTION, SNAG_CAUTION, LABEL_CAUTION)
    assert said_today(cautions, [late], today=TODAY, zone=zone) == ()
    (found,) = said_today(cautions, [late, morning, loaded], today=TODAY, zone=zone)
    assert (found.caution, found.number) == (SAW_CAUTION, 2)


@pytest.mark.parametrize(
    "patch", [None, MultiPolygon(), MultiPolygon([Polygon([(-98, 38), (-97, 39), (-97, 38), (-98, 39)])])]
)
def test_ground_that_is_missing_empty_or_crossing_itself_is_refused(patch: MultiPolygon | None) -> None:
    store = FakeStore([unit("A", box(0, 0, 300, 100))], grid=GRID)
    with pytest.raises(InputError, match="empty or crosses itself"):
        log(store, practice="cut", date=date(2026, 2, 1), patch=patch, said=Said(), now=NOW, today=TODAY)
    assert store.entries() == ()


def test_reported_acres_far_off_are_asked_about_once_and_never_in_a_preview() -> None:
    """A hectare is 2.4711 acres: 4 are 1.53 more, 2.4 are within a tenth."""
    store = FakeStore([unit("A", box(0, 0, 300, 100))], grid=GRID)
    asked: list[str] = []

    def logged(reported_acres: float, *, answer: bool | None, is_preview: bool = False) -> bool | None:
        def agree(question: str) -> bool:
            asked.append(question)
            return bool(answer)

        told = log(
            store, practice="cut", date=date(2026, 2, 1), patch=ground_lonlat(box(0, 0, 100, 100)), now=NOW,
            said=Said(reported_acres=reported_acres), today=TODAY, agree=None if answer is None else agree,
            is_preview=is_preview,
        )  # fmt: skip
        return next((one.is_sure for one in store.entries() if one.entry_id == told.entry_id), None)

    logged(4, answer=False, is_preview=True)
    assert (asked, store.entries()) == ([], ())
    with pytest.raises(InputError, match=r"1\.53 more than the ground given, which measures 2\.47 acres"):
        logged(4, answer=False)
    assert (len(asked), store.entries()) == (1, ())
    assert logged(4, answer=None) is False
    assert logged(4, answer=True) is True and len(asked) == 2
    assert logged(2.4, answer=True) is False and len(asked) == 2


def test_the_first_line_of_a_property_without_ground_is_measured_round_itself() -> None:
    store = FakeStore()
    assert store.grid is None
    for number in (1, 2):
        told = log(store, practice="cut", date=date(2026, 2, number), patch=ground_lonlat(box(0, 0, 100, 100)),
                   said=Said(), now=NOW + timedelta(minutes=number), today=TODAY)  # fmt: skip
        assert told.acres == told.outside_acres == pytest.approx(10_000 / M2_PER_ACRE, rel=1e-6)
        assert (told.units, told.changes, told.number) == ((), None, number)


def test_work_on_held_ground_and_before_its_contract_is_warned_of_and_a_look_is_not() -> None:
    ground = box(0, 0, 100, 100)
    item = {"program": "P", "item": "1", "practice_code": "314", "units": ["A"], "not_before": date(2026, 3, 1)}
    hold = {"unit": "A", "reason": "owls", "from": date(2026, 1, 15), "to": date(2026, 2, 8)}
    settings = Settings.model_validate({"hold": [hold], "contract": [item, item | {"item": "2", "units": ["B"]}]})

    def warned(practice: str, day: date, **said: object) -> list[str]:
        told = log(
            FakeStore([unit("A", ground)], grid=GRID, settings=settings), practice=practice, date=day, now=NOW,
            patch=ground_lonlat(ground), said=Said(**said), today=TODAY, is_preview=True,
        )  # fmt: skip
        return [word for word in ("owls", "item 1", "item 2") if any(word in words for words in told.warnings)]

    assert warned("cut", date(2026, 2, 8)) == ["owls", "item 1"]
    assert warned("cut", date(2026, 2, 9)) == ["item 1"]
    assert warned("cut", date(2026, 3, 1)) == []
    assert warned("checkup", date(2026, 2, 8), note="seen") == warned("keep", date(2026, 2, 8)) == []


def test_the_same_work_logged_again_names_the_line() -> None:
    ground = box(0, 0, 100, 100)
    store = FakeStore([unit("A", ground)], grid=GRID)

    def told(practice: str, day: int) -> tuple[str, ...]:
        now = NOW + timedelta(minutes=len(store.entries()))
        made = log(store, practice=practice, date=date(2026, 2, day), patch=ground_lonlat(ground), said=Said(),
                   now=now, today=TODAY)  # fmt: skip
        return made.warnings

    assert told("cut", 1) == told("pile", 2) == ()
    for practice, day in (("pile", 2), ("cut", 1)):
        (words,) = told(practice, day)
        assert f"same ground: line {day})" in words


def test_unless_somebody_agrees_reported_acres_far_off_are_refused_and_what_cannot_be_is_refused_always() -> None:
    store = FakeStore([unit("A", box(0, 0, 300, 100))], grid=GRID)

    def logged(practice: str, **said: object) -> None:
        log(store, practice=practice, date=date(2026, 2, 1), patch=ground_lonlat(box(0, 0, 100, 100)), now=NOW,
            said=Said(**said), today=TODAY)  # type: ignore[arg-type]  # fmt: skip

    with pytest.raises(InputError, match="more than the ground given"):
        logged("cut", reported_acres=4)
    with pytest.raises(UsageError):
        logged("checkup")  # a look of nothing
    with pytest.raises(UsageError, match="practice"):
        logged("dance")
    assert store.entries() == ()
    logged("cut", reported_acres=2.5)
    assert len(store.entries()) == 1
