"""The days of the year that a written burn plan is for."""

from __future__ import annotations

from datetime import date

import pytest

from habmap.place.closed_days import plan_days
from habmap.place.settings import Settings
from habmap.work.plan_days import PlanDays, compared_days
from habmap.work.seasons import YearlyDays

PLAN = {
    "burn_plan": {
        "down_cedar": {
            "author": "R. Boss", "date": date(2025, 11, 1), "from": "12-01", "to": "04-10",
            "unit": {"C2": {"from": "01-15", "to": "03-01"}},
        },
        "piles": {"from": "12-01", "to": "03-15"},
    }
}  # fmt: skip


def test_a_plan_has_its_days_over_new_year_and_a_unit_may_have_its_own() -> None:
    settings = Settings.model_validate(PLAN)
    plan = plan_days(settings, "down_cedar", "C1")
    assert plan.is_signed
    assert [plan.has(day) for day in (date(2025, 11, 30), date(2025, 12, 1), date(2026, 4, 10), date(2026, 4, 11))] == [
        False, True, True, False,
    ]  # fmt: skip
    assert plan.last_day(date(2025, 12, 20)) == date(2026, 4, 10)
    assert plan.opens(date(2026, 4, 11)) == date(2026, 12, 1)
    own = plan_days(settings, "down_cedar", "C2")
    assert own.is_signed and not own.has(date(2026, 1, 14)) and own.has(date(2026, 1, 15))
    assert not plan_days(settings, "piles", "C1").is_signed  # days alone are no plan
    none = plan_days(settings, "grass", "C1")
    assert (none.is_signed, none.has(date(2026, 7, 1)), none.last_day(date(2026, 7, 1))) == (False, True, None)


def test_days_of_a_plan_want_both_ends() -> None:
    with pytest.raises(ValueError, match="both from and to"):
        Settings.model_validate({"burn_plan": {"grass": {"from": "12-01"}}})


def test_days_of_signed_plans_are_compared_what_is_not_met_first() -> None:
    winter, spring = YearlyDays(first=(12, 1), last=(4, 10)), YearlyDays(first=(3, 1), last=(5, 9))

    def plan(days: YearlyDays | None, *, is_signed: bool = True) -> PlanDays:
        return PlanDays(kind="grass", is_signed=is_signed, days=days)

    plans = {
        "A": plan(spring), "B": plan(winter), "C": plan(spring), "D": plan(winter, is_signed=False), "E": plan(None),
        "F": plan(None, is_signed=False),
    }  # fmt: skip
    for day, told in (
        (date(2026, 2, 28), [("not met", ("A", "C"), "03-01", "05-09"), ("within", ("B",), "12-01", "04-10")]),
        (date(2026, 3, 1), [("within", ("A", "C"), "03-01", "05-09"), ("within", ("B",), "12-01", "04-10")]),
        (date(2026, 5, 9), [("not met", ("B",), "12-01", "04-10"), ("within", ("A", "C"), "03-01", "05-09")]),
    ):
        found = compared_days(plans, day)
        assert [(one.comparison, one.unit_ids, one.from_day, one.to_day) for one in found] == told
        assert {one.day for one in found} == {day}
    # ground in no unit has the plan of its own
    (bare,) = compared_days({"": plan(winter)}, date(2026, 1, 1))
    assert (bare.unit_ids, bare.comparison) == ((), "within")
    assert plan(None).has(date(2026, 7, 1)) and not plan(winter).has(date(2026, 7, 1))
    assert plan(None).opens(date(2026, 7, 1)) is None and plan(None).last_day(date(2026, 7, 1)) is None
    assert plan(winter).opens(date(2026, 2, 1)) == date(2026, 2, 1)
    assert plan(winter).opens(date(2026, 7, 1)) == date(2026, 12, 1)
    assert plan(winter).last_day(date(2026, 2, 1)) == date(2026, 4, 10)
    assert plan(winter).last_day(date(2026, 12, 1)) == date(2027, 4, 10)
