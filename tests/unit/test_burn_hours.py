"""Hours of a forecast beside the plan and places around a block, each rule at its limit."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from fakes import GRID
from shapely import LineString, Point, box
from shapely.geometry.base import BaseGeometry

from habmap.records import Feature, ForecastHour
from habmap.work.burn.fuel import FuelClass
from habmap.work.burn.hours import BurnHour, burn_hours, hour_of
from habmap.work.burn.surroundings import inside_places, kept_from_fire, near_hazards, nearby_places
from habmap.work.burn.written_plan import Window
from habmap.work.fuel_moisture import Air

AT = datetime(2026, 3, 20, 14, 30)
DAY = datetime(2026, 3, 20)
BLOCK = box(0, 0, 100, 100)
PLAN = Window(unit_ids=("A",), limits={"rh_pct": (30.0, 60.0), "wind_from_deg": (90.0, 180.0)}, author="P. Writer",
              written_on=date(2026, 1, 1))  # fmt: skip


def row(hours: float, **cells: float | None) -> ForecastHour:
    """Return a row so many hours after midnight."""
    content: dict[str, float | None] = {"temp_f": 60.0, "rh_pct": 40.0, "wind_mph": 8.0, "wind_from_deg": 120.0}
    return ForecastHour(at=DAY + timedelta(hours=hours), **(content | cells))  # type: ignore[arg-type]


def told(*rows: ForecastHour, wind_from_deg: float = 120.0) -> dict[str, BurnHour]:
    found = burn_hours(rows, [PLAN], ignition=None, wind_from_deg=wind_from_deg, at=AT, classes=())
    return {one.time[5:]: one for one in found}


def test_hours_are_told_from_three_before_ignition_to_eight_the_next_morning_and_gaps_are_named() -> None:
    found = told(row(10), row(11), row(13.5), row(32), row(33))
    assert list(found) == [
        "03-20T11:00", "03-20T12:00", "03-20T13:30", *(f"03-20T{hour}:00" for hour in range(14, 24)),
        *(f"03-21T0{hour}:00" for hour in range(9)),
    ]  # fmt: skip
    assert [time for time, one in found.items() if not one.is_gap] == ["03-20T11:00", "03-20T13:30", "03-21T08:00"]
    assert told() == {}
    gap = found["03-20T12:00"]
    assert gap == BurnHour(time=gap.time, is_gap=True) and gap.at == DAY + timedelta(hours=12)
    assert (gap.wind_shift, gap.not_met, gap.not_given, gap.temp_f, gap.fine_fuel_pct) == (False, (), (), None, None)


def test_an_hour_is_told_by_the_last_row_less_than_an_hour_old() -> None:
    rows = [row(14), row(14.25), row(15)]
    assert hour_of(rows, AT) == rows[1] and hour_of(rows, DAY + timedelta(hours=15)) == rows[2]
    assert hour_of(rows, DAY + timedelta(hours=15, minutes=59)) == rows[2]
    assert hour_of(rows, DAY + timedelta(hours=16)) is None and hour_of(rows, DAY + timedelta(hours=13)) is None


def test_what_is_not_met_or_not_given_is_named_hour_by_hour_and_a_calm_has_no_direction() -> None:
    found = told(row(15), row(16, rh_pct=29.9), row(17, rh_pct=None), row(18, wind_from_deg=181.0),
                 row(19, wind_mph=0.0, wind_from_deg=300.0))  # fmt: skip
    hours = [found[f"03-20T{hour}:00"] for hour in range(15, 20)]
    assert [one.not_met for one in hours] == [(), ("rh_pct",), (), ("wind_from_deg",), ()]
    assert [one.not_given for one in hours] == [(), (), ("rh_pct",), (), ("wind_from_deg",)]
    assert [one.wind_turn_deg for one in hours] == [0.0, 0.0, 0.0, 61.0, None]


def test_fuel_is_told_of_the_driest_ground_by_day_and_where_the_air_of_the_hour_is_known() -> None:
    """60 °F and 40 %: table A gives 6; table C at 1400, exposed, level: N 1, steeper 3; at 1600 N 2, steeper 3."""
    air = Air(at=AT, temp_f=60.0, rh_pct=40.0)
    classes = [FuelClass(facing="N", slope_class=slope, acres=1.0, pct=None) for slope in (">30", "0-30")]
    rows = (row(14), row(15, temp_f=None), row(16), row(17, rh_pct=None), row(21), row(19, temp_f=5.0))

    def moisture(ignition: Air | None, ground: list[FuelClass]) -> list[float | None]:
        found = burn_hours(rows, [], ignition=ignition, wind_from_deg=120.0, at=AT, classes=ground)
        return [one.fine_fuel_pct for one in found if not one.is_gap]

    assert moisture(air, classes) == [7.0, None, 8.0, None, None, None]
    assert moisture(air, classes[:1]) == [9.0, None, 9.0, None, None, None]
    assert moisture(None, classes) == moisture(air, []) == [None] * 6


def test_a_wind_that_turns_by_more_than_forty_five_degrees_after_ignition_is_a_shift() -> None:
    found = told(row(14, wind_from_deg=300.0), row(15, wind_from_deg=165.0), row(16, wind_from_deg=165.3),
                 row(17, wind_from_deg=74.7), row(18, wind_from_deg=75.0))  # fmt: skip
    hours = [found[f"03-20T{hour}:00"] for hour in range(14, 19)]
    assert [one.wind_shift for one in hours] == [False, False, True, True, False]
    assert hours[0].wind_turn_deg is None  # before ignition nothing has turned
    at_it, after = (
        told(row(hour, wind_from_deg=300.0))[time] for hour, time in ((14.5, "03-20T14:30"), (14.6, "03-20T14:36"))
    )
    assert (at_it.wind_turn_deg, at_it.wind_shift) == (None, False)
    assert (after.wind_turn_deg, after.wind_shift) == (180.0, True)


def feature(kind: str, shape: BaseGeometry, name: str | None = None, *, sensitive: bool = False) -> Feature:
    return Feature(uuid=f"{kind}{name}", kind=kind, name=name or kind, geometry=GRID.to_lonlat(shape),
                   sensitive=sensitive, recorded_at=datetime(2026, 1, 1, tzinfo=UTC))  # fmt: skip


def test_hazards_are_told_in_the_block_and_near_it_the_nearest_first() -> None:
    there = [
        feature("fence", LineString([(-50, 150), (150, 150)])), feature("tank", Point(50, 50)),
        feature("power_line", LineString([(-50, 40), (60, 40)])), feature("house", Point(50, 60)),
        feature("hay", Point(50, 5000)),
    ]  # fmt: skip
    found = near_hazards(BLOCK, there, grid=GRID)
    assert [(one.kind, round(one.distance_m, 3), one.inside, round(one.inside_m, 3)) for one in found] == [
        ("power_line", 0.0, True, 60.0), ("tank", 0.0, True, 0.0), ("fence", 50.0, False, 0.0),
    ]  # fmt: skip


def test_places_all_round_are_those_that_smoke_can_harm_the_nearest_first() -> None:
    there = [
        feature("house", Point(50, 300), "north"), feature("barn", Point(300, 50), "east"),
        feature("barn", Point(200, 50), "near", sensitive=True), feature("nest", Point(150, 50), sensitive=True),
        feature("house", Point(50, 301), "far"),
    ]  # fmt: skip
    found = nearby_places(BLOCK, there, grid=GRID, within_m=200.5)
    assert [(one.name, round(one.distance_m, 3), round(one.bearing_deg) % 360) for one in found] == [
        ("near", 100.0, 90), ("north", 200.0, 0),
    ]  # fmt: skip


def test_what_lies_inside_is_told_with_what_must_not_be_harmed_first() -> None:
    there = [feature("tank", Point(10, 10)), feature("house", Point(20, 20), sensitive=True),
             feature("nest", Point(30, 30)), feature("house", Point(120, 20))]  # fmt: skip
    assert [one.kind for one in inside_places(BLOCK, there, grid=GRID)] == ["nest", "house", "tank"]
    fence = feature("fence", Point(10, 10))
    marked = [replace(fence, sensitive=True), there[2]]
    assert kept_from_fire([*marked, fence]) == marked
