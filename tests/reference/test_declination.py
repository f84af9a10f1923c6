"""Magnetic declination against the test values that NOAA publishes with the model."""

from __future__ import annotations

import math
from datetime import date
from types import SimpleNamespace
from typing import Any

import pytest

import habmap.land.declination
from habmap.land.declination import FIRST_YEAR, LAST_YEAR, declination

# NOAA NCEI, WMM2025_TEST_VALUES.txt (the report's Table 6), its rows at 0 km: day, lat, lon, D [°], H [nT] of X and Y.
# July 2 is the 183rd day: 2027.4986, the table's 2027.5 within the hundredth it is printed to.
WMM2025 = [
    (date(2025, 1, 1), 80, 0, 1.28, math.hypot(6521.6, 145.9)),
    (date(2025, 1, 1), 0, 120, -0.16, math.hypot(39677.8, -109.6)),
    (date(2025, 1, 1), -80, -120, 68.78, math.hypot(6117.5, 15751.9)),
    (date(2027, 7, 2), 80, 0, 2.59, math.hypot(6500.8, 294.5)),
    (date(2027, 7, 2), 0, 120, -0.24, math.hypot(39701.6, -167.4)),
    (date(2027, 7, 2), -80, -120, 68.49, math.hypot(6200.7, 15730.3)),
]  # fmt: skip
# WMM2020testvalues.pdf, its rows at 0 km; its last column is the change of D in a year.
WMM2020 = [
    (date(2020, 1, 1), 80, 0, -1.28, 0.51), (date(2020, 1, 1), 0, 120, 0.16, -0.09),
    (date(2020, 1, 1), -80, 240, 69.36, -0.10), (date(2022, 7, 2), 80, 0, 0.01, 0.52),
    (date(2022, 7, 2), 0, 120, -0.06, -0.09), (date(2022, 7, 2), -80, 240, 69.13, -0.09),
]  # fmt: skip


@pytest.mark.parametrize(("day", "lat", "lon", "east_deg", "horizontal_nt"), WMM2025)
def test_the_model_of_2025_gives_its_published_values(
    day: date, lat: float, lon: float, east_deg: float, horizontal_nt: float
) -> None:
    found = declination(lon, lat, day)
    assert found is not None
    assert found.model == "WMM2025"
    assert found.east_deg == pytest.approx(east_deg, abs=0.006)  # printed to 0.01
    # WMM2025 report, error model (from memory): sqrt(0.26² + (5417 / H)²).
    assert found.sd_deg == pytest.approx(math.hypot(0.26, 5417 / horizontal_nt), abs=1e-4)


@pytest.mark.parametrize(("day", "lat", "lon", "east_deg", "change_deg"), WMM2020)
def test_the_model_of_2020_serves_its_own_years(
    day: date, lat: float, lon: float, east_deg: float, change_deg: float
) -> None:
    found = declination(lon, lat, day)
    assert found is not None
    assert found.model == "WMM2020"
    assert found.east_deg == pytest.approx(east_deg, abs=0.006)
    assert found.change_deg_per_year == pytest.approx(change_deg, abs=0.012)  # the yearly change itself moves


def test_outside_the_models_years_and_about_the_poles_there_is_no_figure() -> None:
    assert declination(-96.3, 37.1, date(FIRST_YEAR - 1, 12, 31)) is None
    assert declination(-96.3, 37.1, date(LAST_YEAR + 1, 1, 1)) is None
    assert (FIRST_YEAR, LAST_YEAR) == (2015, 2029)
    for day in (date(FIRST_YEAR, 1, 1), date(LAST_YEAR, 12, 31)):
        assert declination(-96.3, 37.1, day) is not None
    assert declination(138.0, 86.0, date(2026, 1, 1)) is None  # the north magnetic pole lies there


def test_where_one_model_follows_another_they_agree_within_their_own_error() -> None:
    for lon, lat in ((-96.3, 37.1), (-122.3, 47.6), (149.1, -35.3)):
        for year in (2020, 2025):
            before, after = declination(lon, lat, date(year - 1, 12, 31)), declination(lon, lat, date(year, 1, 1))
            assert before is not None
            assert after is not None
            assert before.model != after.model
            assert abs(before.east_deg - after.east_deg) < before.sd_deg


def test_where_the_needle_points_south_its_yearly_change_is_that_of_its_neighbors() -> None:
    """South of the magnetic pole the declination passes from −180° to 180°, within 2027 near 146.25° E at 85° S."""
    here, *beside = (declination(lon, -85.0, date(2027, 7, 1)) for lon in (146.25, 140.0, 152.5))
    assert here is not None and abs(here.east_deg) > 179.8
    changes_deg = [one.change_deg_per_year for one in beside if one is not None]
    assert here.change_deg_per_year == pytest.approx(sum(changes_deg) / 2, abs=0.01) and abs(changes_deg[0]) < 0.5


@pytest.mark.parametrize(
    ("day", "year"),
    [
        (date(2024, 1, 1), 2024.0),
        (date(2024, 12, 31), 2024 + 365 / 366),
        (date(2025, 12, 31), 2025 + 364 / 365),
        (date(2025, 3, 1), 2025 + 59 / 365),
        (date(2024, 3, 1), 2024 + 60 / 366),
    ],
)
def test_a_day_is_its_share_of_its_own_year(day: date, year: float, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[float] = []

    def calculate(*, glat: float, glon: float, alt: float, time: float) -> Any:
        assert (glat, glon, alt) == (37.1, -96.3, 0.0)
        asked.append(time)
        # past the pole from 179.5° to −179.8°, on either side of the middle of the model's years
        turned = 179.5 if time < year_begun + 2.5 else -179.8
        return SimpleNamespace(h=horizontal_nt, d=turned, calculate_uncertainty=lambda: SimpleNamespace(d=0.4))

    year_begun = day.year // 5 * 5
    monkeypatch.setattr(habmap.land.declination, "_model", lambda _: SimpleNamespace(calculate=calculate))
    horizontal_nt = 0.0
    for limit_nt, is_told in ((2000.0, True), (1999.9, False), (2010.0, True)):
        horizontal_nt = limit_nt
        found = declination(-96.3, 37.1, day)
        assert (found is not None) is is_told
        if found:
            assert (found.change_deg_per_year, found.sd_deg) == (pytest.approx(0.7), 0.4)
    assert asked[0] == pytest.approx(year, abs=1e-9) and asked[1:3] == [year_begun + 2, year_begun + 3]
