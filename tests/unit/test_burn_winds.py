"""Every hour's wind is cast: what comes downwind and when, which edges turn, published minimums, what lies inside."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from fakes import GRID, FakeStore, entry, unit
from pyproj import Geod
from shapely import Point, box

from habmap.cli.commands.burnsheet import print_burnsheet
from habmap.jobs.burnsheet import worked_out
from habmap.land.edges import Side
from habmap.measures import acres
from habmap.records import Feature, ForecastHour, Row
from habmap.show.burn.compose import burn_sheet
from habmap.vocabulary import SNAG_CAUTION
from habmap.work.burn.block_edges import CEDAR_FUEL_WORDS, Edge
from habmap.work.burn.breaks import published_breaks
from habmap.work.burn.request import BurnRequest, ForecastSource
from habmap.work.burn.result import BurnsheetResult
from habmap.work.burn.surroundings import downwind_places
from habmap.work.burn.winds import HourWind, Spell, spells, winds_cast

NOW = datetime(2026, 3, 1, tzinfo=UTC)
IGNITION = datetime(2026, 3, 20, 14)
MILE_M = 1609.344


def place(kind: str, name: str, bearing_deg: float, miles: float) -> Feature:
    """Return a place so far from the middle of the block, by true bearing."""
    out = math.radians(bearing_deg)
    spot = Point(math.sin(out) * miles * MILE_M, math.cos(out) * miles * MILE_M)
    return Feature(uuid=f"{kind}{name}", kind=kind, name=name, geometry=GRID.to_lonlat(spot), recorded_at=NOW)


def hours(*winds: tuple[int, float | None]) -> tuple[ForecastHour, ...]:
    """Return a forecast from 14:00 on, each wind (hours that it lasts, from degrees; ``None`` = a calm) in turn."""
    found, at = [], IGNITION
    for count, from_deg in winds:
        for _ in range(count):
            found.append(
                ForecastHour(
                    at=at, temp_f=60, rh_pct=40, wind_mph=0 if from_deg is None else 8, wind_from_deg=from_deg or 0.0
                )
            )
            at += timedelta(hours=1)
    return tuple(found)


def ask(*rows: Row, forecast: tuple[ForecastHour, ...] = (), **fields: object) -> BurnsheetResult:
    base: list[Row] = [unit("A", box(-100, -100, 100, 100), cover="grass"), unit("B", box(100, -100, 300, 100))]
    store = FakeStore([*base, *rows], grid=GRID)
    content: dict[str, object] = {"names": ("A",), "at": IGNITION, "temp_f": 60.0, "rh_pct": 40.0, "wind_mph": 8.0}
    source = ForecastSource(file_name="f.csv") if forecast else None
    request = BurnRequest(
        **(content | {"wind_from_deg": 180.0, "forecast": forecast, "forecast_source": source} | fields)  # type: ignore[arg-type]
    )
    done = worked_out(store, request)
    zone = ZoneInfo("America/Chicago")
    assert burn_sheet(done.result, weather=done.weather, grid=GRID, zone=zone, drawn_on=NOW.date())
    return done.result


HOUSES = (place("house", "north", 0, 0.5), place("house", "southeast", 130, 0.5), place("house", "far", 130, 0.7))


def test_the_house_behind_the_turn_of_the_wind_is_named_with_its_hours() -> None:
    """South at ignition, from 310° between 19:00 and the end: what lies to 130° comes downwind at 19:00."""
    result = ask(*HOUSES, forecast=hours((5, 180), (14, 310)))
    told = {one.name: (one.from_time, one.to_time) for one in result.smoke}
    assert told == {
        "north": ("2026-03-20T14:00", "2026-03-20T18:00"),
        "southeast": ("2026-03-20T19:00", "2026-03-21T08:00"),
        "far": ("2026-03-20T19:00", "2026-03-21T08:00"),
    }
    far = next(one for one in result.smoke if one.name == "far")
    # From the nearest corner of the block, (100, -100), by plane geometry.
    out = math.radians(130)
    x, y = math.sin(out) * 0.7 * MILE_M, math.cos(out) * 0.7 * MILE_M
    assert far.distance_m == pytest.approx(math.hypot(x - 100, y + 100), rel=1e-4)
    assert far.bearing_deg == pytest.approx(130, abs=0.01)
    assert "far" not in {one.name for one in result.nearby}


def test_every_hour_to_the_end_of_the_forecast_counts_and_spells_are_told_apart() -> None:
    result = ask(*HOUSES, forecast=hours((5, 180), (30, 90), (3, 180)))
    assert [(one.from_time, one.to_time) for one in result.smoke if one.name == "north"] == [
        ("2026-03-20T14:00", "2026-03-20T18:00"),
        ("2026-03-22T01:00", "2026-03-22T03:00"),
    ]


def test_without_a_forecast_the_given_wind_alone_is_cast_and_that_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    result = ask(*HOUSES)
    assert [(one.name, one.from_time, one.to_time) for one in result.smoke] == [("north", "2026-03-20T14:00", None)]
    assert result.turned_edges == ()
    print_burnsheet(result)
    said = capsys.readouterr().out
    assert "Cast for the wind given for ignition alone" in said and "at ignition" in said


@pytest.mark.parametrize("from_deg", range(0, 360, 30))
def test_places_are_those_that_a_cone_drawn_by_hand_holds(from_deg: int) -> None:
    """A ring of houses under two winds: downwind is what lies within 45° of downwind of some part of the block."""
    ring = [place("house", str(bearing), bearing, 2) for bearing in range(0, 360, 15)]
    result = ask(*ring, forecast=hours((1, 180), (1, from_deg)), wind_from_deg=180.0)
    corners = [(x, y) for x in (-100, 100) for y in (-100, 100)]

    def is_downwind(bearing: float, wind: float) -> bool:
        out = math.radians(bearing)
        x, y = math.sin(out) * 2 * MILE_M, math.cos(out) * 2 * MILE_M
        angles = [(math.degrees(math.atan2(x - cx, y - cy)) - wind - 180 + 180) % 360 - 180 for cx, cy in corners]
        # of a convex block some point sees the house within 45° if a corner does, or corners lie on both sides
        return min(map(abs, angles)) <= 45 or (min(angles) < 0 < max(angles) and max(map(abs, angles)) < 90)

    for one in ring:
        times = [spot.from_time for spot in result.smoke if spot.name == one.name]
        expected = [wind for wind in (180, from_deg) if is_downwind(float(one.name), wind)]
        assert bool(times) is bool(expected), (one.name, from_deg)


def test_bearings_of_smoke_are_true_ones_far_from_the_middle_of_the_grid() -> None:
    """Three degrees east of the grid's middle its north lies 1.8° off; houses are set out along geodesics."""
    lon, lat, five_km = -95.0, 38.0, 5000.0
    middle = GRID.to_grid(Point(lon, lat))
    houses = []
    for azimuth in (44, 46, 314, 316):
        spot = Point(Geod(ellps="WGS84").fwd(lon, lat, azimuth, five_km)[:2])
        houses.append(Feature(uuid=str(azimuth), kind="house", name=str(azimuth), geometry=spot, recorded_at=NOW))
    found = downwind_places(
        box(middle.x - 5, middle.y - 5, middle.x + 5, middle.y + 5), houses, grid=GRID,
        winds=[HourWind(IGNITION, 180.0)], within_m=2 * five_km,
    )  # fmt: skip
    # The block is seen 0.1° wide from there.
    assert {one.name: one.bearing_deg for one in found} == {
        "44": pytest.approx(44, abs=0.1), "316": pytest.approx(316, abs=0.1),
    }  # fmt: skip


def test_hours_without_a_direction_end_no_spell_and_are_said() -> None:
    result = ask(*HOUSES, forecast=hours((2, 180), (2, None), (2, 180)))
    north = [one for one in result.smoke if one.name == "north"]
    assert [(one.from_time, one.to_time) for one in north] == [("2026-03-20T14:00", "2026-03-20T19:00")]
    assert "2 of them have no direction" in result.winds_words


def test_spells_by_hand() -> None:
    at = [IGNITION + timedelta(hours=number) for number in range(6)]
    winds = [
        HourWind(when, from_deg) for when, from_deg in zip(at, (180.0, 180.0, None, 180.0, 90.0, 180.0), strict=True)
    ]
    assert spells(winds, [True, True, False, True, False, True]) == (Spell(at[0], at[3]), Spell(at[5], at[5]))
    assert spells(winds, [False] * 6) == ()
    assert spells(winds[:1], [True]) == (Spell(at[0], None),)
    assert [wind.at for wind in winds_cast(IGNITION + timedelta(minutes=30), 180.0, hours((3, 90)))] == [
        IGNITION + timedelta(minutes=30), at[1], at[2],
    ]  # fmt: skip
    # the row of ignition itself says nothing more, and a calm has no direction
    cast = winds_cast(IGNITION, 180.0, hours((2, 90), (1, None), (1, 45)))
    assert [(wind.at, wind.from_deg) for wind in cast] == list(zip(at[:4], (180.0, 90.0, None, 45.0), strict=True))


def test_flanks_that_turn_downwind_are_told_with_their_hours() -> None:
    """A square under a south wind: north is downwind. From 19:00 the wind is west: east turns downwind, 200 m of it."""
    result = ask(forecast=hours((5, 180), (3, 270)))
    assert {edge.side for edge in result.edges if edge.side == "downwind"} == {"downwind"}
    turned = [
        (one.from_time, one.to_time, one.side, round(one.length_m), round(one.outward_deg))
        for one in result.turned_edges
    ]
    assert turned == [("2026-03-20T19:00", "2026-03-20T21:00", "side", 200, 90)]
    assert result.turned_edges[0].beyond == "B" and "cedar fuel" in result.turned_edges[0].beyond_words


def test_a_wind_that_swings_a_little_turns_no_edge() -> None:
    assert ask(forecast=hours((5, 180), (5, 190))).turned_edges == ()


def test_published_minimums_are_called_so_and_the_widest_stands_first(capsys: pytest.CaptureFixture[str]) -> None:
    result = ask()  # live cedar stands in B, beside the block of grass
    lows = [line.width_low_ft for line in result.published_breaks]
    assert lows[:2] == [500, 300] and lows == sorted(lows, reverse=True)
    assert [line.width_high_ft for line in result.published_breaks][:2] == [700, 500]
    assert all("at least" in line.rule and "minimum" in line.note and line.source for line in result.published_breaks)
    assert result.published_breaks[0].fuel.startswith("volatile")
    # 200 m of outline have cedar beyond: 200 m × 500 ft
    assert result.published_breaks[0].acres_low == pytest.approx(acres(200 * 500 * 0.3048), rel=1e-6)
    print_burnsheet(result)
    said = capsys.readouterr().out
    assert said.index("at least 500") < said.index("at least 300") < said.index("never under 4 ft")
    assert "published minimums, not what this burn needs" in said


def test_grass_alone_has_the_minimum_for_grass_first() -> None:
    store_rows: list[Row] = [unit("G", box(1000, 1000, 1200, 1200), cover="grass")]
    result = ask(*store_rows, names=("G",))
    first = result.published_breaks[0]
    assert (first.width_low_ft, first.width_high_ft, first.fuel) == (40, 100, "slightly volatile: grass")
    assert result.published_breaks[-1].width_low_ft == 4


def test_cedar_in_the_block_counts_along_its_downwind_edge_and_cedar_beyond_along_any() -> None:
    def edge(side: Side, length_m: float, beyond: str = "X") -> Edge:
        return Edge(
            side=side, length_m=length_m, outward_deg=0.0, beyond="X", beyond_stage=None, beyond_words=beyond,
            mapped_break=False, break_name=None, boss_checked=False, upslope=None, coordinates=(),
        )  # fmt: skip

    def told(*edges: Edge, has_cedar: bool) -> list[tuple[float, float]]:
        found = published_breaks(edges, wind_mph=None, has_cedar=has_cedar, tallest_ft=None)
        return [(line.width_low_ft, line.length_m) for line in found]

    grass = (edge("downwind", 100), edge("side", 30), edge("upwind", 7))
    assert told(*grass, has_cedar=True) == [(500, 100), (300, 100), (4, 137)]
    assert told(*grass, has_cedar=False) == [(40, 100), (4, 137)]
    beside = edge("side", 20, f"unit B{CEDAR_FUEL_WORDS}")
    assert told(*grass, beside, has_cedar=True) == [(500, 120), (300, 120), (4, 157)]
    assert told(*grass, beside, has_cedar=False) == [(500, 20), (300, 20), (4, 157)]


@pytest.mark.parametrize("share", [5, 40, 70])
def test_slash_of_a_partial_cut_is_never_denied(share: float) -> None:
    """The unit's target is 80%: the ground is part killed, and its slash lies there all the same."""
    result = ask(
        entry("cut", "2026-01-10", box(100, -100, 300, 0), killed_pct=share), names=("B",), plan_kind="down_cedar"
    )
    assert result.slash_acres == pytest.approx(acres(200 * 100), rel=1e-6)
    assert not any("no cut slash" in words for words in result.block_words)
    bare = ask(names=("B",), plan_kind="down_cedar")
    assert bare.slash_acres == bare.snag_acres == 0
    assert any("no cut slash" in words for words in bare.block_words)


def test_snags_are_cautioned_of_whatever_the_stage_and_beside_the_block() -> None:
    girdled = entry("girdle", "2025-01-10", box(100, -100, 300, 100), killed_pct=50)
    cut = entry("cut", "2025-06-10", box(100, -100, 300, 100), killed_pct=80)
    inside = ask(girdled, cut, names=("B",))
    assert inside.snag_acres == pytest.approx(acres(200 * 200), rel=1e-6)
    assert SNAG_CAUTION in inside.cautions
    beside = ask(girdled, cut)
    assert beside.snag_acres == 0 and SNAG_CAUTION in beside.cautions
    assert SNAG_CAUTION not in ask().cautions
    far = entry("girdle", "2025-01-10", box(200, -100, 300, 100), killed_pct=50)
    assert SNAG_CAUTION not in ask(far).cautions


def test_what_lies_inside_is_told_to_the_crew() -> None:
    grave = Feature(uuid="g", kind="grave", name="Old Tom", geometry=GRID.to_lonlat(Point(10, 10)), recorded_at=NOW)
    outside = Feature(uuid="n", kind="nest", name="", geometry=GRID.to_lonlat(Point(150, 10)), recorded_at=NOW)
    lane = Feature(
        uuid="l",
        kind="lane",
        name="East lane",
        geometry=GRID.to_lonlat(box(50, -300, 52, 300).exterior),
        recorded_at=NOW,
    )
    result = ask(lane, grave, outside)
    assert [(one.kind, one.name) for one in result.inside] == [("grave", "Old Tom"), ("lane", "East lane")]


def test_the_other_clock_is_told() -> None:
    """18:30 by daylight time reads the block of 1800; an hour earlier that of 1600, which is drier."""
    result = ask(at=datetime(2026, 3, 20, 18, 30))
    assert result.fine_fuel_clock_words is not None
    assert "daylight time" in result.fine_fuel_clock_words and "standard time" in result.fine_fuel_clock_words
    # Table A (60 °F, 40%) 6; table C, lowest of 0–30% and steeper: 1800 level 3, 1600 level 1.
    assert result.fine_fuel_moisture_pct == 9
    assert "the driest ground would have 7%" in result.fine_fuel_clock_words
    winter = ask(at=datetime(2026, 1, 20, 19, 30)).fine_fuel_clock_words
    assert winter is not None and winter.endswith("would have no figure")
