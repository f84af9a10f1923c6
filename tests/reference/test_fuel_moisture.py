"""Fuel moisture against published tables and formulas.

Table cells: NWCG PMS 437 (Fire Behavior Field Reference Guide) and, before it, Rothermel 1983 (INT-143), by way of
public copies; the cells here are typed from the list of checked values, apart from the code's own copy.
"""

from __future__ import annotations

from datetime import datetime

import pytest

from habmap.work.fuel_moisture import (
    Air,
    clock_words,
    equilibrium_moisture_simard_1968,
    other_clock,
    reference_moisture_pct,
    saturation_vapour_pressure_kpa,
    table_moisture_pct,
    tables_used_words,
    vapour_pressure_deficit_kpa,
    why_no_tables,
)
from habmap.work.fuel_tables import ASPECTS, SLOPE_CLASSES, correction_pct


@pytest.mark.parametrize(
    ("temp_f", "rh_pct", "expected"),
    [
        # Table A, row and column as printed; first and last of each row's humidity, and both ends of the rows.
        (10, 0, 1), (29, 100, 14), (30, 47, 7), (49, 100, 13), (50, 35, 6), (69, 99, 12),
        (70, 5, 1), (89, 60, 8), (90, 12, 2), (95, 30, 4), (109, 100, 13), (110, 100, 12), (125, 25, 4),
        # Each row's first and last degree, in a column in which the next row has another figure.
        (29, 50, 8), (30, 50, 7), (49, 40, 7), (50, 40, 6), (69, 5, 2), (89, 30, 5), (90, 30, 4),
        # Fractions belong to the row and column they begin in.
        (49.6, 34.9, 5), (69.9, 4.9, 1), (60, 99.5, 12),
    ],
)  # fmt: skip
def test_table_a(temp_f: float, rh_pct: float, expected: int) -> None:
    assert reference_moisture_pct(temp_f, rh_pct) == expected  # whole percents: exact


@pytest.mark.parametrize(
    ("table", "shaded", "aspect", "slope", "block", "level", "expected"),
    [
        ("B", False, "N", "0-30", 0, "above", 4), ("B", False, "W", ">30", 0, "above", 6),
        ("B", False, "E", ">30", 5, "above", 6), ("B", False, "S", "0-30", 3, "level", 0),
        ("B", True, "S", "0-30", 3, "level", 3), ("B", True, "E", ">30", 3, "level", 4),
        ("C", False, "N", ">30", 2, "level", 3), ("C", False, "S", ">30", 2, "below", 0),
        ("C", False, "E", "0-30", 4, "above", 3), ("C", True, "N", "0-30", 1, "above", 5),
        ("D", False, "S", ">30", 2, "level", 1), ("D", False, "N", ">30", 3, "level", 5),
        ("D", True, "W", ">30", 3, "below", 4),
    ],
)  # fmt: skip
def test_correction_cells(
    table: str, shaded: bool, aspect: str, slope: str, block: int, level: str, expected: int
) -> None:
    found = correction_pct(table, is_shaded=shaded, aspect=aspect, slope_class=slope, block=block, level=level)  # type: ignore[arg-type]
    assert found == expected


@pytest.mark.parametrize("table", "BCD")
def test_every_correction_cell_is_there_and_higher_ground_is_never_drier(table: str) -> None:
    for shaded in (False, True):
        for aspect in ASPECTS:
            for slope in SLOPE_CLASSES:
                for block in range(6):
                    below, level, above = (
                        correction_pct(table, is_shaded=shaded, aspect=aspect, slope_class=slope, block=block, level=at)  # type: ignore[call-overload]
                        for at in ("below", "level", "above")
                    )
                    assert 0 <= below <= level <= above <= 6


@pytest.mark.parametrize(
    ("at", "temp_f", "rh_pct", "shade_pct", "aspect", "slope", "expected"),
    [
        # The worked checks that go with the tables.
        ("2026-07-10T14:00", 95, 12, None, "S", "0-30", 2),
        ("2026-07-10T14:00", 95, 12, 60, "S", "0-30", 5),
        ("2026-03-10T12:00", 60, 35, None, "S", "0-30", 7),
        ("2026-03-10T12:00", 60, 35, None, "N", ">30", 9),
    ],
)
def test_worked_checks(
    at: str, temp_f: float, rh_pct: float, shade_pct: float | None, aspect: str, slope: str, expected: int
) -> None:
    air = Air(at=datetime.fromisoformat(at), temp_f=temp_f, rh_pct=rh_pct, shade_pct=shade_pct)
    assert table_moisture_pct(air, aspect=aspect, slope_class=slope) == expected  # type: ignore[arg-type]


def test_exactly_half_shade_is_exposed_and_more_is_shaded() -> None:
    half, more = (
        Air(at=datetime(2026, 7, 10, 14), temp_f=95, rh_pct=12, shade_pct=shade_pct) for shade_pct in (50, 50.1)
    )
    assert table_moisture_pct(half, aspect="S", slope_class="0-30") == 2
    assert table_moisture_pct(more, aspect="S", slope_class="0-30") == 5


def test_flat_ground_takes_the_lowest_correction_of_the_four_aspects() -> None:
    # Table C, 1600, above, 0–30%: N 3, E 3, S 3, W 3; table A (60 °F, 35%) 6.
    air = Air(at=datetime(2026, 3, 10, 16, 30), temp_f=60, rh_pct=35, above_weather_ft=1500)
    assert table_moisture_pct(air, aspect=None, slope_class="0-30", is_flat=True) == 9


def test_flat_ground_has_the_corrections_up_to_30_percent_alone_whatever_slope_is_told() -> None:
    # Table D, 1200, level, 0–30%: N 3, E 3, S 3, W 3; steeper: N 5, E 2, S 1, W 4; table A (60 °F, 35%) 6.
    air = Air(at=datetime(2026, 1, 10, 12), temp_f=60, rh_pct=35)
    assert [
        table_moisture_pct(air, aspect=None, slope_class=slope, is_flat=True) for slope in (None, *SLOPE_CLASSES)
    ] == [9, 9, 9]
    assert table_moisture_pct(air, aspect=None, slope_class=None) == 7


def test_unknown_ground_takes_the_driest_answer() -> None:
    # Table C, 1400, below: the lowest of all cells is 0 (S, steeper than 30%); table A (60 °F, 35%) 6.
    air = Air(at=datetime(2026, 3, 10, 14), temp_f=60, rh_pct=35, above_weather_ft=-1500)
    assert table_moisture_pct(air, aspect=None, slope_class=None) == 6


@pytest.mark.parametrize(
    ("hour", "minute", "is_day"), [(7, 59, False), (8, 0, True), (19, 59, True), (20, 0, False), (0, 0, False)]
)
def test_only_the_hours_of_the_tables(hour: int, minute: int, is_day: bool) -> None:
    air = Air(at=datetime(2026, 3, 10, hour, minute), temp_f=60, rh_pct=35)
    assert (table_moisture_pct(air, aspect="S", slope_class="0-30") is not None) == is_day
    assert (why_no_tables(air) is None) == is_day


@pytest.mark.parametrize(
    ("temp_f", "above_ft", "word"), [(9.9, None, "begin at 10"), (60, 2001, "height"), (60, -2500, "height")]
)
def test_outside_the_range_gives_none_and_says_why(temp_f: float, above_ft: float | None, word: str) -> None:
    air = Air(at=datetime(2026, 3, 10, 14), temp_f=temp_f, rh_pct=35, above_weather_ft=above_ft)
    assert table_moisture_pct(air, aspect="S", slope_class="0-30") is None
    assert word in (why_no_tables(air) or "")


@pytest.mark.parametrize(
    ("lat_deg", "has_figure"), [(38.0, True), (0.0, True), (None, True), (-0.01, False), (-38.0, False)]
)
def test_south_of_the_equator_the_months_and_faces_are_others(lat_deg: float | None, has_figure: bool) -> None:
    # PMS 437 names its tables by months: B is May, June and July, the northern summer.
    air = Air(at=datetime(2026, 7, 10, 14), temp_f=95, rh_pct=12, lat_deg=lat_deg)
    assert table_moisture_pct(air, aspect="S", slope_class="0-30") == (2 if has_figure else None)
    assert (why_no_tables(air) is None) == has_figure
    assert has_figure or "south of the equator" in (why_no_tables(air) or "")


@pytest.mark.parametrize(
    ("temp_f", "rh_pct", "expected"),
    [(70, 5, 1.2354), (70, 30, 5.9958), (50, 40, 7.8926), (95, 12, 2.7443)],
)
def test_simard_published(temp_f: float, rh_pct: float, expected: float) -> None:
    # Simard 1968, by way of four public codes that agree; printed to four places, so half a unit in the last is 5e-5,
    # and 5e-4 leaves room for their rounding of coefficients.
    assert equilibrium_moisture_simard_1968(temp_f, rh_pct) == pytest.approx(expected, abs=5e-4)


@pytest.mark.parametrize(
    ("temp_f", "rh_pct", "expected"),
    [
        # Both sides of the joints, worked by hand from the published coefficients at 70 °F.
        (70, 9.999999, 0.03229 + 2.81073 - 0.4046),
        (70, 10, 2.22749 + 1.60107 - 1.03488),
        (70, 50, 2.22749 + 8.00535 - 1.03488),
        (70, 50.000001, 21.0606 + 13.9125 - 1.225 - 24.15995),
    ],
)
def test_simard_at_its_joints(temp_f: float, rh_pct: float, expected: float) -> None:
    assert equilibrium_moisture_simard_1968(temp_f, rh_pct) == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize(("temp_c", "expected_kpa"), [(24.5, 3.075), (15.0, 1.705)])
def test_vapour_pressure(temp_c: float, expected_kpa: float) -> None:
    # FAO Irrigation and Drainage Paper 56, equation 11, Example 3; printed to three places.
    assert saturation_vapour_pressure_kpa(temp_c) == pytest.approx(expected_kpa, abs=5e-4)


def test_vapour_pressure_deficit() -> None:
    # FAO 56 Example 3's 3.075 kPa at 24.5 °C (76.1 °F): 60% humidity leaves 40% of it; 100% leaves none.
    assert vapour_pressure_deficit_kpa(76.1, 60) == pytest.approx(0.4 * 3.075, abs=5e-4)
    assert vapour_pressure_deficit_kpa(76.1, 100) == 0


def test_the_hour_that_the_other_clock_shows() -> None:
    """Daylight time is an hour ahead of standard time: 14:00 of it is 13:00 of the other, and the other way round."""
    air = Air(at=datetime(2026, 3, 20, 14), temp_f=60, rh_pct=35)
    assert other_clock(air, is_daylight=True).at.hour == 13 and other_clock(air, is_daylight=False).at.hour == 15
    words = clock_words(8, 9, is_daylight=True)
    assert "(daylight time). Were they standard time, the driest ground would have 9%" in words
    words = clock_words(8, 8, is_daylight=False)
    assert "(standard time). Were they daylight time, the driest ground would have the same figure" in words
    assert clock_words(8, None, is_daylight=True).endswith("would have no figure")


def test_hours_heights_and_shade_of_the_tables_at_their_limits() -> None:
    """NWCG PMS 437: hours from 0800 to 1959, shaded from more than half, heights by a thousand feet up to two."""

    def air(hour: int = 14, minute: int = 0, **fields: float) -> Air:
        content = {"temp_f": 60.0, "rh_pct": 35.0} | fields
        return Air(at=datetime(2026, 3, 20, hour, minute), **content)  # type: ignore[arg-type]

    said = {
        (hour, minute): why_no_tables(air(hour, minute)) is None
        for hour, minute in ((7, 59), (8, 0), (19, 59), (20, 0))
    }
    assert said == {(7, 59): False, (8, 0): True, (19, 59): True, (20, 0): False}
    assert [why_no_tables(air(temp_f=temp)) is None for temp in (9.9, 10.0)] == [False, True]
    assert [why_no_tables(air(above_weather_ft=ft)) is None for ft in (2000.0, -2000.0, 2010.0, -2010.0)] == [
        True, True, False, False,
    ]  # fmt: skip
    assert [why_no_tables(air(lat_deg=lat)) is None for lat in (0.0, 0.005, -0.1)] == [True, True, False]
    for shade, word in ((None, "exposed"), (50.0, "exposed"), (50.2, "shaded")):
        assert f", {word}, " in tables_used_words(air() if shade is None else air(shade_pct=shade))
    for height, word in ((999.0, "level"), (1000.0, "above"), (-1000.0, "below"), (-999.0, "level"), (1005.0, "above")):
        assert tables_used_words(air(above_weather_ft=height)).endswith(f", {word}")
    assert [tables_used_words(air(hour)).split(", ")[1] for hour in (8, 9, 10, 19)] == [
        "0800 to 0959", "0800 to 0959", "1000 to 1159", "1800 to 1959",
    ]  # fmt: skip
