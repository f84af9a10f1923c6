"""Hours and money per acre, by hand."""

from __future__ import annotations

import math
from datetime import date

import pytest

from habmap.work.effort import Sample, assumed, finish_date, left, rate


def test_rate_is_the_ratio_of_totals_with_t_limits() -> None:
    # 2 ac in 10 h and 4 ac in 26 h: R = 6; residuals −2 and 2; SE = √(2·8)/6; t(1) = 12.7062 (Student's table)
    got = rate([Sample(acres=2, spent=10), Sample(acres=4, spent=26)])
    assert got is not None and got.per_acre == pytest.approx(6.0)
    assert got.high == pytest.approx(6 + 12.7062 * math.sqrt(16) / 6, rel=1e-5)
    assert got.low == 0.0


def test_steady_days_have_no_spread() -> None:
    got = rate([Sample(acres=1, spent=8), Sample(acres=0.5, spent=4)])
    assert got is not None and (got.low, got.per_acre, got.high) == (8.0, 8.0, 8.0)


def test_one_day_gives_a_rate_without_limits_and_none_gives_nothing() -> None:
    got = rate([Sample(acres=2, spent=10)])
    assert got is not None and (got.per_acre, got.low, got.high) == (5.0, None, None)
    assert rate([]) is None


def test_what_is_left_is_acres_times_the_rate() -> None:
    got = left(3.0, rate([Sample(acres=1, spent=8), Sample(acres=0.5, spent=4)]))
    assert (got.low, got.middle, got.high) == (24.0, 24.0, 24.0)
    assert left(3.0, assumed(7.0)).middle == 21.0
    assert left(3.0, None).middle is None


def test_finish_counts_weeks_and_skips_months_off() -> None:
    year = range(1, 13)
    # 14 hours at 7 a week is one hour a day: the fourteenth day is the last
    assert finish_date(14, start=date(2026, 1, 1), hours_per_week=7, working_months=year) == date(2026, 1, 14)
    assert finish_date(0, start=date(2026, 1, 1), hours_per_week=7, working_months=year) == date(2026, 1, 1)
    # 31 days of January, then nothing until October
    assert finish_date(32, start=date(2026, 1, 1), hours_per_week=7, working_months=[1, 10]) == date(2026, 10, 1)
    assert finish_date(1e9, start=date(2026, 1, 1), hours_per_week=1, working_months=year) is None
