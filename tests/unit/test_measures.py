"""Unit factors: value against the published figure, direction by hand, and there-and-back."""

from __future__ import annotations

from datetime import date

import pytest

from habmap import measures


def test_the_acre_is_the_international_acre() -> None:
    # 43,560 square international feet of 0.3048 m (85 Fed. Reg. 62698): 4046.8564224 m² exactly.
    assert pytest.approx(4046.8564224, rel=1e-15) == measures.M2_PER_ACRE
    # The US survey acre (NIST SP 811, B.8: 4.046 873 E+03) is larger by 4 ppm; not in use here.
    assert pytest.approx(4e-6, abs=2e-7) == 4046.873 / measures.M2_PER_ACRE - 1


def test_lengths_match_the_published_factors() -> None:
    # NIST SP 811, B.8: foot 3.048 E-01 exact; foot (US survey) 3.048 006 E-01; mile 1.609 344 E+03 exact.
    assert measures.M_PER_FT == 0.3048
    assert pytest.approx(0.3048006, abs=5e-8) == measures.M_PER_US_FT
    assert pytest.approx(1609.344, rel=1e-15) == measures.M_PER_MILE
    assert measures.MM_PER_IN == 25.4


def test_speeds_match_the_published_factors() -> None:
    # NIST SP 811, B.8: mile per hour 4.4704 E-01 m/s and 1.609 344 km/h, both exact; knot 1852 m/h exact.
    assert pytest.approx(0.44704, rel=1e-15) == 1 / measures.MPH_PER_MPS
    assert pytest.approx(1.852, rel=1e-15) == measures.MPH_PER_KNOT * 1.609344


def test_every_vertical_unit_is_in_metres() -> None:
    assert measures.M_PER_VERTICAL_UNIT == {"m": 1.0, "ft": 0.3048, "us-ft": 1200 / 3937}


def test_areas_go_the_right_way_and_come_back() -> None:
    # A square of 208.71 ft on a side is an acre, to the hundredth of a foot.
    side_m = 208.71 * 0.3048
    assert measures.acres(side_m**2) == pytest.approx(1, abs=1e-4)
    assert measures.acres(10_000) == pytest.approx(2.4710538147, abs=1e-10)  # one hectare, NIST SP 811 inverted
    assert measures.m2(measures.acres(12_345.678)) == pytest.approx(12_345.678, rel=1e-15)


def test_feet_go_the_right_way() -> None:
    assert measures.ft(0.3048) == pytest.approx(1, rel=1e-15)
    assert measures.ft(1) == pytest.approx(3.2808399, abs=1e-7)


@pytest.mark.parametrize(("pct", "deg"), [(0, 0), (100, 45), (57.735026919, 30), (173.205080757, 60)])
def test_slope_percent_is_the_tangent(pct: float, deg: float) -> None:
    # tan 30° = 1/√3 and tan 60° = √3.
    assert measures.slope_deg(pct) == pytest.approx(deg, abs=1e-9)
    assert measures.slope_pct(deg) == pytest.approx(pct, abs=1e-7)


@pytest.mark.parametrize(("temp_f", "temp_c"), [(32, 0), (212, 100), (-40, -40)])
def test_temperatures_at_the_fixed_points(temp_f: float, temp_c: float) -> None:
    assert measures.celsius(temp_f) == pytest.approx(temp_c, abs=1e-12)
    assert measures.fahrenheit(temp_c) == pytest.approx(temp_f, abs=1e-12)


def test_significant_digits_never_come_with_an_exponent() -> None:
    told = {(1234.0, 2): "1,200", (120.0, 2): "120", (999.9, 2): "1,000", (0.0123, 2): "0.012", (-15.71, 3): "-15.7"}
    assert {key: measures.significant(*key) for key in told} == told
    assert measures.significant(0.0, 3) == "0"
    assert measures.significant(1_234_567.0, 9) == "1,234,567" and measures.significant(1.0, 3) == "1"
    assert measures.significant(9.996, 3) == "10" and measures.significant(100.0, 1) == "100"


def test_figures_in_words() -> None:
    acres, hours, many, behind = measures.acres_words, measures.hours_words, measures.so_many, measures.unit_behind
    told = [acres(value) for value in (1234.5, 0.00503, 0.00499, 1e-9, 0.0, -0.5)]
    little = "under 0.01 acre"
    assert told == ["1,234.50 acres", "0.01 acres", little, little, "0.00 acres", "-0.50 acres"]
    told = [hours(value).removesuffix(" person-hours") for value in (1234.5, 12.6, 0.43, 0.043)]
    assert told == ["1,234", "13", "0.4", "0.04"] and hours(2).endswith(" person-hours")
    told = [many(0, "plot"), many(1, "property"), many(1, "stratum", "strata"), many(1200, "property")]
    assert told == ["0 plots", "1 property", "1 stratum", "1,200 properties"]
    assert many(2, "stratum", "strata") == "2 strata"
    assert [behind(unit) for unit in ("%", "°", "mph", "", None)] == ["%", "°", " mph", "", ""]


def test_days_end_with_the_calendar() -> None:
    assert measures.days_after(date(2024, 2, 28), 2) == date(2024, 3, 1)
    assert measures.days_after(date(2024, 3, 1), -2) == date(2024, 2, 28)
    assert measures.days_after(date(9999, 12, 30), 1) == measures.days_after(date(9999, 12, 30), 2) == date.max
    assert measures.days_after(date.max, 1) == date.max and measures.days_after(date.min, -1) == date.min
    assert measures.days_after(date(1, 1, 2), -2) == date.min
