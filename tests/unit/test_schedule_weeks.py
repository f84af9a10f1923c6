"""Weeks laid out by hand: hours to the last minute, days to the last of a week, and why something does not fit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta

import pytest

from habmap.errors import InputError
from habmap.work.closures import Closures
from habmap.work.schedule import Seasonal, Task, lay_out, refuse_no_week
from habmap.work.seasons import DatedBan

MONDAY = date(2026, 1, 5)
BURN, PILES, CUT, PILE, CHECK = (
    Task(what=what, unit_id="A", acres=1.0, hours_per_acre=hours)  # type: ignore[arg-type]
    for what, hours in (("burn", 2.0), ("pile_burn", 1.5), ("cut", 10.0), ("pile", 4.0), ("hand_check", 1.0))
)


def laid(
    *tasks: Task, hours: float, days: int = 28, piles: Mapping[str, Task] | None = None, closed: date | None = None
) -> tuple[list[tuple[str, str, float, int]], list[tuple[str, str, float, float, str]]]:
    """Return what is laid (what, unit, acres, first day counted from the Monday) and what is not, with why."""
    ban = [] if closed is None else [DatedBan(what="closed_cut", reason="fair", first=closed, last=closed)]
    season = Seasonal(
        closures=Closures(bans=ban, holds=[]), working_months=range(1, 13), drying_days=(30, 60), burns={},
        pile_burns=dict(piles or {}),
    )  # fmt: skip
    last = MONDAY + timedelta(days=days - 1)
    weeks, unfit = lay_out(tasks, first=MONDAY, last=last, hours_per_week=hours, season=season)
    assert [week.from_date for week in weeks] == [MONDAY + timedelta(days=7 * n) for n in range(days // 7)]
    assert all((week.to_date - week.from_date).days == 6 for week in weeks)
    assert all(sum(item.person_hours for item in week.items) <= hours + 1e-9 for week in weeks)
    return (
        [(item.what, item.unit_id, round(item.acres, 6), (item.from_date - MONDAY).days)
         for week in weeks for item in week.items],
        [(line.what, line.unit_id, round(line.acres, 6), round(line.person_hours, 6), line.why) for line in unfit],
    )  # fmt: skip


def day(number: int) -> date:
    return MONDAY + timedelta(days=number)


@pytest.mark.parametrize(("first_acres", "second"), [(0.6995, [0.1005, 0.8, 0.0995]), (0.7005, [0.8, 0.2])])
def test_a_tenth_of_an_acre_is_cut_in_what_is_left_of_a_week_and_less_is_not(
    first_acres: float, second: list[float]
) -> None:
    """Eight hours a week are 0.8 acres."""
    found, unfit = laid(
        replace(CUT, acres=first_acres), replace(CUT, unit_id="B", acres=1.0, order=1), hours=8.0, days=21
    )
    assert [acres for _, unit_id, acres, _ in found if unit_id == "B"] == second
    assert unfit == []


def test_a_check_is_laid_once_on_its_day_while_the_hours_reach_and_is_told_where_they_do_not() -> None:
    check = replace(CHECK, first=day(6), last=day(6), words="felt over")
    assert laid(check, hours=1.0, days=7) == ([("hand_check", "A", 1.0, 6)], [])
    no_hours = "falls on 2026-01-11, for which the hours of that week do not reach; do it all the same"
    assert laid(check, hours=0.999, days=7) == ([], [("hand_check", "A", 1.0, 1.0, no_hours)])
    # a second walk of the week finds no hours, one of the next does
    other = replace(check, unit_id="B", first=day(0))
    assert laid(check, other, hours=1.0, days=7)[0] == [("hand_check", "B", 1.0, 0)]
    assert len(laid(check, replace(other, first=day(7)), hours=1.0, days=14)[0]) == 2
    for number in (-1, 7):
        (line,) = laid(replace(check, first=day(number)), hours=9.0, days=13)[1]
        assert line[4] == f"falls on {day(number)}, outside these weeks, and must be done all the same"
    assert laid(replace(check, first=None), hours=9.0, days=7)[0] == [("hand_check", "A", 1.0, 0)]


def test_work_without_hours_is_neither_laid_nor_missed() -> None:
    assert laid(replace(BURN, acres=0.0), hours=9.0) == ([], [])


def test_of_burns_of_one_unit_the_one_that_may_begin_first_comes_first() -> None:
    late, soon = replace(BURN, first=day(-1), last=day(40), acres=3.0), replace(BURN, last=day(40), acres=2.0)
    assert laid(late, soon, hours=4.0, days=14)[0] == [
        ("burn", "A", 2.0, 0), ("burn", "A", 2.0, 7),
    ]  # fmt: skip
    early = replace(late, first=day(-2), acres=2.0)
    found = laid(late, early, hours=6.0, days=14)[0]
    assert [acres for _, _, acres, _ in found] == [2.0, 1.0, 2.0]


def test_piles_of_several_weeks_are_burned_together_from_the_day_after_the_last() -> None:
    """Three acres at 4 h an acre, 8 h a week: two acres, then one; their fire (4.5 h, checks 1 h each) from day 14."""
    found, unfit = laid(replace(PILE, acres=3.0), hours=8.0, piles={"A": PILES})
    assert found[:3] == [("pile", "A", 2.0, 0), ("pile", "A", 1.0, 7), ("pile_burn", "A", 3.0, 14)]
    assert [item[3] for item in found[3:]] == [15, 17, 21] and unfit == []
    # in a season that ends with the piling it is said what comes after
    (line,) = laid(replace(PILE, acres=3.0), hours=8.0, days=14, piles={"A": PILES})[1]
    assert line == ("pile_burn", "A", 3.0, 4.5, "piled until 2026-01-18, past the last of these weeks")
    assert laid(replace(PILE, acres=3.0), hours=8.0, piles={"B": PILES})[0] == found[:2]


def test_piles_of_more_than_a_week_are_burned_by_parts_that_fill_half_a_week_or_more() -> None:
    """Ten acres, 15 h; 8 h a week. Day 0: its checks on days 1, 3 leave 6 h, 4 acres. Day 7: 8 less the check on day 7
    and two more leave 5 h, 3⅓ acres. Day 14: 5 h again hold the last 4 h, 2⅔ acres."""
    found, unfit = laid(replace(PILES, acres=10.0), hours=8.0)
    assert [item for item in found if item[0] == "pile_burn"] == [
        ("pile_burn", "A", 4.0, 0), ("pile_burn", "A", 3.333333, 7), ("pile_burn", "A", 2.666667, 14),
    ]  # fmt: skip
    assert [item[3] for item in found if item[0] == "hand_check"] == [1, 3, 7, 8, 10, 14, 15, 17, 21] and unfit == []
    # two of four hours are half; with a little less a week nothing fits on a day with two checks in the same week
    assert laid(replace(PILES, acres=10.0), hours=4.0)[0][0] == ("pile_burn", "A", 1.333333, 0)
    assert laid(replace(PILES, acres=10.0), hours=3.9)[0][0] == ("pile_burn", "A", round(2.9 / 1.5, 6), 4)
    # what a week holds is not cut in two: it waits for a day that leaves all its hours
    assert laid(replace(PILES, acres=4.0), hours=7.0)[0][0] == ("pile_burn", "A", 4.0, 4)
    assert laid(replace(PILES, acres=4.0), hours=6.0)[0][0] == ("pile_burn", "A", 4.0, 6)
    # while the week of a check has no hours for it nothing is lit; hours that just reach will do
    walks = [replace(CHECK, unit_id=name, first=day(8), last=day(8)) for name in "BC"]
    small = replace(PILES, acres=0.5)
    assert [item[3] for item in laid(small, *walks, hours=2.0, days=35)[0] if item[0] == "pile_burn"] == [18]
    assert [item[3] for item in laid(small, hours=2.0, days=35)[0] if item[0] == "pile_burn"] == [4]


def test_what_is_left_over_says_what_stood_against_it() -> None:
    ends = replace(BURN, acres=3.0, last=day(6), last_why="its drying days end")
    # one acre of three is burned by its last day; a day more, and there is another week
    assert laid(ends, hours=2.0, days=14) == (
        [("burn", "A", 1.0, 0)], [("burn", "A", 2.0, 4.0, "the hours ran out before then: its drying days end")],
    )  # fmt: skip
    longer = replace(ends, last=day(7))
    assert [item[3] for item in laid(longer, hours=2.0, days=14)[0]] == [0, 7]
    # a last day after the season is no reason
    beyond = replace(ends, last=day(14))
    assert laid(beyond, hours=2.0, days=14)[1] == [("burn", "A", 1.0, 2.0, "the hours ran out")]
    assert laid(replace(beyond, last=day(13)), hours=2.0, days=14)[1][0][4].endswith("before then: its drying days end")
    # a first day on the last of the weeks is still in them
    last_day = replace(BURN, first=day(13), first_why="its slash dries")
    assert laid(last_day, hours=2.0, days=14)[0] == [("burn", "A", 1.0, 13)]
    assert laid(replace(last_day, first=day(14)), hours=2.0, days=14)[1][0][4] == (
        "its slash dries, past the last of these weeks"
    )
    # of a week that is cut or piled no day is closed
    assert laid(CUT, hours=20.0, days=7, closed=day(6)) == (
        [], [("cut", "A", 1.0, 10.0, "closed to cutting until 2026-01-11: fair")],
    )  # fmt: skip
    assert laid(CUT, hours=20.0, days=14, closed=day(6))[0] == [("cut", "A", 1.0, 7)]
    # parts of one kind in one unit for one reason are told together
    assert laid(beyond, replace(beyond, words="more"), hours=0.5, days=7)[1] == [
        ("burn", "A", 5.75, 11.5, "the hours ran out")
    ]


def test_a_season_holds_a_week() -> None:
    refuse_no_week(MONDAY, day(6))
    with pytest.raises(InputError, match="no whole week"):
        refuse_no_week(MONDAY, day(5))


def test_what_begins_within_the_weeks_is_not_said_to_begin_past_them() -> None:
    """Three acres from some day on at 2 h a week: an acre in each week that is left, and the rest for want of hours."""
    for number, weeks_left in ((15, 1), (20, 1), (8, 2)):
        begun = replace(BURN, acres=3.0, first=day(number), first_why="its slash dries")
        found, unfit = laid(begun, hours=2.0, days=21)
        assert [item[3] for item in found] == [number, 14][:weeks_left]
        assert unfit == [("burn", "A", 3.0 - weeks_left, 2 * (3.0 - weeks_left), "the hours ran out")]


def test_what_closes_first_is_told_first_of_what_does_not_fit() -> None:
    """B ends with the first week and A with the second, though A presses more; C takes all hours from the second."""
    upkeep = replace(BURN, what="upkeep", acres=9.0, first=day(7), last=day(13), last_why="dry")
    takes_all = replace(BURN, unit_id="C", acres=99.0, first=day(7))
    ends = replace(BURN, what="checkup", unit_id="B", acres=2.0, last=day(6), last_why="over")
    before_all = replace(takes_all, unit_id="D", first=None, last=day(20))
    for tasks, closed in (
        ((ends,), None),  # a part of it is done
        ((ends, before_all), None),  # no hours are left for it
        ((replace(ends, what="cut"),), day(3)),  # closed
    ):
        unfit = laid(upkeep, takes_all, *tasks, hours=1.0, days=21, closed=closed)[1]
        assert [line[1] for line in unfit][:2] == ["B", "A"]
