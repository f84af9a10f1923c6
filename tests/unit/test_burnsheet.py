"""Weather beside the plan, and a block's surroundings, on ground small enough to work by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from fakes import GRID, FakeStore, entry, ground_lonlat, unit
from shapely import LineString, Point, box
from shapely.geometry.base import BaseGeometry
from small_places import write_dem

from habmap.errors import InputError, InputErrors
from habmap.jobs.burnsheet import burnsheet
from habmap.land.grid import LocalGrid
from habmap.place.load.forecast import read_forecast
from habmap.place.settings import Settings
from habmap.records import Boundary, ElevationSource, Feature, ForecastHour, Look, Row
from habmap.vocabulary import SNAG_CAUTION
from habmap.work.burn.block_edges import CEDAR_FUEL_WORDS, _unit_words
from habmap.work.burn.fuel import FuelClass, driest_pct
from habmap.work.burn.request import BurnRequest
from habmap.work.burn.result import BurnsheetResult
from habmap.work.burn.surroundings import cold_air
from habmap.work.burn.written_plan import (
    ITEMS,
    Compared,
    Window,
    beside,
    compare,
    distance_words,
    plan_info,
    plan_windows,
    plans_signed,
    unlimited,
    unsaid_words,
)
from habmap.work.said import temperature_question

AFTERNOON = datetime(2026, 3, 20, 14)
LIMITS = {"temp_f": (55.0, 80.0), "rh_pct": (40.0, 70.0), "wind_mph": (5.0, 12.0), "wind_from_deg": (315.0, 45.0)}
SIGNED = Window(unit_ids=("A",), limits=LIMITS, author="P. Writer", written_on=date(2026, 1, 31))


def by_item(lines: tuple[Compared, ...]) -> dict[str, Compared]:
    return {line.item: line for line in lines}


# --- the plan -----------------------------------------------------------------------------------------------


def test_not_met_first_then_not_given_then_within() -> None:
    lines = compare({"temp_f": 60, "rh_pct": 35, "wind_from_deg": 180}, [SIGNED])
    assert [(line.item, line.comparison) for line in lines] == [
        ("rh_pct", "not met"),
        ("wind_from_deg", "not met"),
        ("wind_mph", "not given"),
        ("temp_f", "within"),
    ]
    assert [line.distance for line in lines] == [5, 135, None, 5]
    # and where one of the plans is not signed, its items last
    both = compare({"temp_f": 60, "rh_pct": 35}, [replace(SIGNED, author=None, unit_ids=("B",)), SIGNED])
    told = [line.comparison for line in both]
    assert told == ["not met", *["not given"] * 2, "within", *["no plan"] * len(ITEMS)]


@pytest.mark.parametrize(
    ("value", "comparison", "distance"),
    [(39.9, "not met", 0.1), (40, "within", 0), (55, "within", 15), (70, "within", 0), (70.5, "not met", 0.5)],
)
def test_limits_are_inside(value: float, comparison: str, distance: float) -> None:
    line = by_item(compare({"rh_pct": value}, [SIGNED]))["rh_pct"]
    assert line.comparison == comparison
    assert line.distance == pytest.approx(distance)


def test_what_any_signed_plan_leaves_unlimited_is_named() -> None:
    less = replace(SIGNED, unit_ids=("B",), limits={"temp_f": (55.0, 80.0)})
    whole = [item for item in ITEMS if item not in LIMITS]
    assert unlimited([SIGNED]) == tuple(whole)
    assert unlimited([SIGNED, less]) == unlimited([less, SIGNED]) == tuple(item for item in ITEMS if item != "temp_f")
    assert unlimited([SIGNED, replace(less, author=None)]) == tuple(whole) and unlimited([]) == ()


def test_units_for_which_a_plan_says_the_same_have_one_window() -> None:
    def said(**fields: Any) -> Any:
        return SimpleNamespace(**(dict.fromkeys((*ITEMS, "author", "date", "wind_height")) | fields))

    signed = {"author": "P. Writer", "date": date(2026, 1, 1), "rh_pct": (30.0, 60.0), "wind_height": "eye"}
    own = {"B": said(rh_pct=(40.0, 60.0)), "D": said(rh_pct=(40.0, 60.0)), "E": said(author="Q. Boss")}
    plan = said(**signed, unit=own)
    found = plan_windows(plan, ["A", "B", "C", "D", "E"], wind_height=None)
    assert [(one.unit_ids, one.limits["rh_pct"], one.author) for one in found] == [
        (("A", "C"), (30.0, 60.0), "P. Writer"), (("B", "D"), (40.0, 60.0), "P. Writer"),
        (("E",), (30.0, 60.0), "Q. Boss"),
    ]  # fmt: skip
    (bare,) = plan_windows(plan, [], wind_height="20ft")
    assert (bare.unit_ids, bare.written_on, bare.limits) == ((), date(2026, 1, 1), {"rh_pct": (30.0, 60.0)})
    # a wind of another height than the plan's, where both are said
    for meant, measured, items in (
        ("eye", "20ft", {"wind_mph", "gust_mph"}), ("eye", "eye", set()), ("eye", None, set()), (None, "20ft", set()),
        (None, None, set()),
    ):  # fmt: skip
        (window,) = plan_windows(said(**signed | {"wind_height": meant}, unit={}), ["A"], wind_height=measured)
        assert window.not_comparable == items


def test_a_plan_without_author_or_day_of_its_own_has_those_of_the_only_one_that_was_signed() -> None:
    own, other, day, other_day = "P. Writer", "Q. Boss", date(2026, 1, 1), date(2026, 2, 2)
    (one,) = signed = plans_signed([replace(SIGNED, author=f" {other} ", written_on=other_day)])
    assert (one.author, one.date, one.unit_ids) == (other, other_day, ("A",))
    for author, written_on, told in (
        (own, day, (own, day)), (None, day, (other, other_day)), (own, None, (other, other_day)),
        (" ", None, (other, other_day)), (f" {own} ", day, (own, day)),
    ):  # fmt: skip
        plan: Any = SimpleNamespace(author=author, date=written_on)
        found = plan_info(plan, "grass", signed)
        assert (found.kind, found.author, found.date) == ("grass", *told)
        for several in ((), (one, one)):
            bare = plan_info(plan, "grass", several)
            assert (bare.author, bare.date) == ((author or "").strip() or None, written_on)
    # several windows of one author and day are one plan; what is not signed is none
    two = plans_signed(
        [SIGNED, replace(SIGNED, unit_ids=("B", "C")), replace(SIGNED, author=None), replace(SIGNED, written_on=None)]
    )
    assert [line.unit_ids for line in two] == [("A", "B", "C")]


@pytest.mark.parametrize(
    ("value", "comparison", "distance"),
    [(400, "not met", 100), (500, "within", 0), (2000, "within", 1000), (3000, "within", 0), (3360, "not met", 360)],
)
def test_only_directions_go_round(value: float, comparison: str, distance: float) -> None:
    window = Window(
        unit_ids=(), limits={"mixing_height_ft": (500.0, 3000.0)}, author="P. W.", written_on=date(2026, 1, 1)
    )
    (line,) = compare({"mixing_height_ft": value}, [window])
    assert (line.comparison, line.distance) == (comparison, distance)


@pytest.mark.parametrize(
    ("limits", "value", "comparison"),
    [
        ((315, 45), 0, "within"), ((315, 45), 315, "within"), ((315, 45), 45, "within"), ((315, 45), 46, "not met"),
        ((315, 45), 180, "not met"), ((135, 225), 180, "within"), ((135, 225), 134, "not met"),
        ((0, 360), 217, "within"), ((0, 360), 0, "within"), ((180, 180), 180, "within"), ((180, 180), 181, "not met"),
        ((270, 360), 0, "within"), ((270, 360), 1, "not met"),
    ],
)  # fmt: skip
def test_wind_directions_run_clockwise_and_pass_through_north(
    limits: tuple[float, float], value: float, comparison: str
) -> None:
    window = replace(SIGNED, limits={"wind_from_deg": limits})
    assert by_item(compare({"wind_from_deg": value}, [window]))["wind_from_deg"].comparison == comparison


@pytest.mark.parametrize(
    ("author", "written_on"), [(None, date(2026, 1, 1)), ("P. Writer", None), ("  ", date(2026, 1, 1)), (None, None)]
)
def test_without_author_and_date_there_is_no_verdict(author: str | None, written_on: date | None) -> None:
    lines = compare({"rh_pct": 5}, [replace(SIGNED, author=author, written_on=written_on)])
    assert {line.comparison for line in lines} == {"no plan"}
    assert [line.item for line in lines] == list(ITEMS)
    assert all(line.distance is None for line in lines)


def test_a_figure_has_the_digits_that_keep_it_on_its_side_of_a_limit_and_no_more() -> None:
    assert [beside(value, [25.0, None]) for value in (26.123456, 24.123456, 25.00004, 24.99996, 25.0)] == [
        "26.123", "24.123", "25.00004", "24.99996", "25",
    ]  # fmt: skip
    assert beside(1234.5678) == "1,234.6"


def test_ground_without_a_figure_is_not_the_driest() -> None:
    classes = [FuelClass(facing="flat", slope_class="", acres=1.0, pct=pct) for pct in (None, 9.0, 6.0)]
    assert (driest_pct(classes), driest_pct(classes[:1]), driest_pct([])) == (6.0, None, None)


def test_what_the_plan_does_not_limit_is_not_compared_but_named() -> None:
    assert "gust_mph" not in by_item(compare({"gust_mph": 60}, [SIGNED]))
    assert "gust_mph" in unlimited([SIGNED])
    assert unlimited([replace(SIGNED, author=None)]) == ()


def test_units_with_the_same_limit_share_a_line_and_others_have_their_own() -> None:
    other = replace(SIGNED, unit_ids=("B",), limits=LIMITS | {"rh_pct": (20.0, 70.0)})
    lines = compare({"temp_f": 60, "rh_pct": 35}, [SIGNED, other])
    assert [(line.item, line.unit_ids, line.comparison) for line in lines] == [
        ("rh_pct", ("A",), "not met"),
        ("wind_mph", ("A", "B"), "not given"),
        ("wind_from_deg", ("A", "B"), "not given"),
        ("temp_f", ("A", "B"), "within"),
        ("rh_pct", ("B",), "within"),
    ]


@pytest.mark.parametrize(
    ("month", "temp_f", "is_asked"),
    [(7, 31, True), (7, 95, False), (3, 22, True), (3, 60, False), (1, 25, False), (1, -5, True), (7, 130, True)],
)
def test_celsius_is_asked_about_by_range(month: int, temp_f: float, is_asked: bool) -> None:
    question = temperature_question(month, temp_f)
    assert (question is not None) == is_asked
    assert question is None or "?" in question or "hotter" in question


# --- a block and what surrounds it --------------------------------------------------------------------------

BLOCK = box(-100, -100, 100, 100)


def feature(kind: str, name: str, planar: BaseGeometry, *, sensitive: bool = False) -> Feature:
    return Feature(
        uuid=f"feature-{name}",
        kind=kind,
        name=name,
        geometry=GRID.to_lonlat(planar),
        sensitive=sensitive,
        recorded_at=datetime(2025, 1, 1, tzinfo=UTC),
    )


def place(*more: Row, settings: Settings | None = None) -> FakeStore:
    """A block of 200 m with slash on it, a unit to its north, a road along its east side, off the place to the west."""
    rows: list[Row] = [
        unit("A", BLOCK),
        unit("N", box(-100, 100, 100, 300)),
        feature("road", "East road", LineString([(110, -400), (110, 400)])),
        Boundary(
            uuid="boundary",
            geometry=ground_lonlat(box(-100, -500, 500, 500)),
            recorded_at=datetime(2025, 1, 1, tzinfo=UTC),
        ),
        entry("cut", "2026-02-01", BLOCK),
    ]
    return FakeStore([*rows, *more], grid=GRID, settings=settings)


def ask(store: FakeStore, **fields: object) -> BurnsheetResult:
    content: dict[str, object] = {
        "names": ("A",),
        "at": AFTERNOON,
        "temp_f": 60.0,
        "rh_pct": 35.0,
        "wind_mph": 8.0,
        "wind_from_deg": 180.0,
    }
    return burnsheet(store, BurnRequest(**(content | fields)))  # type: ignore[arg-type]


def test_edges_of_a_square() -> None:
    edges = {(edge.side, edge.beyond): edge for edge in ask(place()).edges}
    # By hand: 200 m each; the south side looks onto nothing that is mapped.
    assert {key: round(edge.length_m, 3) for key, edge in edges.items()} == {
        ("downwind", "N"): 200.0,
        ("side", "road"): 200.0,
        ("side", "off the property"): 200.0,
        ("upwind", "unmapped ground"): 200.0,
    }
    assert edges["downwind", "N"].beyond_stage == "standing"
    assert [edge.mapped_break for edge in edges.values()] == [False, True, False, False]
    assert not any(edge.boss_checked for edge in edges.values())
    assert {edge.upslope for edge in edges.values()} == {None}  # no elevation: not known, not "no"


def test_edge_lengths_add_up_for_every_wind() -> None:
    for wind_from_deg in range(0, 360, 45):
        totals = ask(place(), wind_from_deg=float(wind_from_deg)).edge_totals
        assert totals.downwind_m + totals.side_m + totals.upwind_m == pytest.approx(800, abs=1e-3)
        assert totals.perimeter_m == pytest.approx(800, abs=1e-3)


def test_ground_burned_this_season_is_to_be_confirmed_black() -> None:
    north = box(-100, 100, 100, 300)
    store = place(entry("cut", "2026-01-10", north), entry("burn", "2026-03-01", north, killed_pct=0))
    (edge,) = (edge for edge in ask(store).edges if edge.beyond == "N")
    assert edge.beyond_stage == "burned"
    assert "confirm it is black" in edge.beyond_words
    assert not edge.mapped_break
    # Ten months later it is no longer this season's fire.
    later = ask(store, at=datetime(2027, 2, 1, 14))
    assert not any("black" in edge.beyond_words for edge in later.edges)


def test_downwind_places_by_distance_and_bearing() -> None:
    def at(bearing_deg: float, from_middle_m: float) -> Point:
        turn = math.radians(bearing_deg)
        return Point(from_middle_m * math.sin(turn), from_middle_m * math.cos(turn))

    store = place(
        feature("school", "School", at(0, 3100), sensitive=True),
        feature("house", "House", at(30, 1500), sensitive=True),
        feature("other", "Clinic", at(350, 5000), sensitive=True),
        feature("building", "Shed", at(5, 900)),
        feature("house", "Behind", at(180, 600), sensitive=True),
        feature("house", "Far", at(0, 9000), sensitive=True),
        feature("nest", "Nest", at(0, 700), sensitive=True),
    )
    result = ask(store)
    smoke = {one.name: one for one in result.smoke if one.kind != "road"}
    assert list(smoke) == ["House", "School", "Clinic"]
    assert smoke["School"].distance_m == pytest.approx(3000, abs=0.1)  # 3,100 less the 100 m to the edge
    assert smoke["School"].bearing_deg == pytest.approx(0, abs=0.01) or smoke["School"].bearing_deg > 359.99
    assert smoke["House"].bearing_deg == pytest.approx(30, abs=0.01)
    assert [one.name for one in result.nearby if one.kind == "house"] == ["Behind"]


def test_lines_tanks_hay_and_fences_near_the_block() -> None:
    store = place(
        feature("power_line", "Power", LineString([(-500, 0), (500, 0)])),
        feature("tank", "Tank", Point(0, 150)),
        feature("hay", "Hay", Point(0, 400)),
    )
    assert [(one.kind, one.inside, round(one.inside_m)) for one in ask(store).hazards] == [
        ("power_line", True, 200),
        ("tank", False, 0),
    ]


def test_neighbors_burned_as_one_have_one_outline() -> None:
    settings = Settings.model_validate({"burn": {"blocks": {"both": ["A", "N"]}}})
    result = ask(place(settings=settings), names=("both",))
    assert result.units == ("A", "N")
    assert result.edge_totals.perimeter_m == pytest.approx(1200, abs=0.01)
    assert "N" not in {edge.beyond for edge in result.edges}


@pytest.mark.parametrize(("day", "is_checked"), [("2026-03-20", True), ("2026-03-19", False), ("2026-03-21", False)])
def test_a_break_is_checked_only_by_a_walk_of_that_day(day: str, is_checked: bool) -> None:
    walk = {"break": "East road", "date": day, "by": "B. Boss"}
    edges = ask(place(settings=Settings.model_validate({"burn": {"walked": [walk]}}))).edges
    assert {edge.beyond: edge.boss_checked for edge in edges} == {
        "N": False,
        "road": is_checked,
        "off the property": False,
        "unmapped ground": False,
    }


def test_only_the_pieces_of_one_stage() -> None:
    west = box(-100, -100, 0, 100)
    store = FakeStore([unit("A", BLOCK), entry("cut", "2026-02-01", west)], grid=GRID)
    result = ask(store, names=("A:down",))
    assert result.acres == pytest.approx(20_000 / 4046.8564224, rel=1e-6)
    assert list(result.stage_acres) == ["down"]
    # 100 by 200 m; its east side looks onto the rest of the unit, where cedars stand.
    assert result.edge_totals.perimeter_m == pytest.approx(600, abs=0.01)
    (rest,) = (edge for edge in result.edges if edge.beyond == "A")
    assert (rest.beyond_stage, rest.side) == ("standing", "side")
    assert rest.length_m == pytest.approx(200, abs=0.01)
    with pytest.raises(InputError, match="no such ground"):
        ask(store, names=("A:piled",))


def test_a_drawn_patch_is_the_block() -> None:
    result = ask(place(), names=(), patch=ground_lonlat(box(-50, -50, 50, 150)))
    assert result.units == ("A", "N")
    assert result.acres == pytest.approx(20_000 / 4046.8564224, rel=1e-6)
    beyond = {(edge.side, edge.beyond): round(edge.length_m) for edge in result.edges}
    # the longest of a side first
    assert list(beyond.items()) == [
        (("downwind", "N"), 100), (("side", "A"), 150), (("side", "N"), 50), (("upwind", "A"), 100),
    ]  # fmt: skip
    far = place(unit("Far", box(400, 400, 500, 500)))
    with pytest.raises(InputError, match="no ground in a unit") as told:
        ask(far, names=("Far",), patch=ground_lonlat(box(-50, -50, 50, 150)))
    assert (told.value.value, told.value.allowed) == ("Far", "A, N")
    with pytest.raises(InputError, match="no ground in a unit") as told:
        ask(far, names=("A", "Far"), patch=ground_lonlat(box(-900, -900, -800, -800)))
    assert (told.value.value, told.value.allowed) == ("A, Far", "the patch lies in no unit")


def test_without_elevation_the_driest_figure_of_the_tables_is_given() -> None:
    result = ask(place())
    # Table A (60 °F, 35%) 6, table C 1400 level: the lowest correction of all is 1.
    assert [(line.facing, line.pct) for line in result.fuel_moisture] == [("unknown", 7.0)]
    assert result.fine_fuel_moisture_pct == 7
    assert "dead fuel" in result.fine_fuel_words
    # Simard 1968 for 10 to 50%: 2.22749 + 0.160107 · 35 − 0.014784 · 60; saturated air of 15.6 °C holds 1.767 kPa
    assert result.equilibrium_moisture_pct == pytest.approx(6.944, abs=0.001)
    assert result.vpd_kpa == pytest.approx(0.65 * 1.767, abs=0.005)
    assert any("no elevation" in words for words in result.warnings)


def test_at_night_no_fuel_moisture_and_words() -> None:
    result = ask(place(), at=datetime(2026, 3, 20, 21))
    assert result.fine_fuel_moisture_pct is None
    assert "2100" in result.fine_fuel_words
    assert (result.fine_fuel_tables, result.fine_fuel_clock_words) == (None, None)
    assert ask(place(), wind_from_deg=0.0).wind_from_deg == 0
    no_air = ask(place(), temp_f=None, is_observed=True)
    assert (no_air.fine_fuel_words, no_air.fine_fuel_tables) == ("temperature or humidity is not given", None)
    assert (no_air.equilibrium_moisture_pct, no_air.vpd_kpa, no_air.fine_fuel_clock_words) == (None, None, None)


def test_in_the_south_no_figure_of_the_tables_and_words() -> None:
    south = LocalGrid(-31.0, 150.0)
    store = FakeStore([unit("A", BLOCK, grid=south)], grid=south)
    forecast = hours(("2026-03-20T14:00", 35, 180))
    result = ask(store, forecast=forecast)
    assert result.fine_fuel_moisture_pct is None
    assert "south of the equator" in result.fine_fuel_words
    assert [line.pct for line in result.fuel_moisture] == [None]
    assert {hour.fine_fuel_pct for hour in result.hours} == {None}
    assert not [words for words in result.warnings if "driest figure" in words]
    assert result.equilibrium_moisture_pct is not None  # of the air alone: the same on both halves
    north = ask(place(), forecast=forecast)
    assert [hour.fine_fuel_pct for hour in north.hours if not hour.is_gap] == [7]


@pytest.mark.parametrize(
    ("cover", "rows", "word"),
    [
        ("water", [], "water"),
        ("cedar", [entry("cut", "2026-01-01", BLOCK), entry("burn", "2026-03-01", BLOCK)], "little or nothing"),
        ("cedar", [entry("mulch", "2026-01-01", BLOCK)], "slash is gone"),
    ],
)
def test_nothing_to_burn_is_reported_not_refused(cover: str, rows: list[Row], word: str) -> None:
    result = ask(FakeStore([unit("A", BLOCK, cover=cover), *rows], grid=GRID))
    assert any(word in words for words in result.block_words)


def test_slash_and_snags_are_told_by_their_share_whatever_the_stage() -> None:
    part = [unit("A", BLOCK), entry("cut", "2026-02-01", BLOCK, killed_pct=70.0)]
    result = ask(FakeStore(part, grid=GRID))
    assert result.stage_acres.keys() == {"part_cut"} and result.plan.kind == "down_cedar"
    assert result.slash_acres == pytest.approx(result.acres, abs=1e-9) and result.snag_acres == 0
    assert not any("no cut slash" in words for words in result.block_words)
    assert f"{result.acres:.2f} acres of the block hold cut slash on the ground" in result.block_words
    assert SNAG_CAUTION not in result.cautions
    girdled = [unit("A", BLOCK), entry("girdle", "2026-01-01", BLOCK, killed_pct=50.0)]
    result = ask(FakeStore([*girdled, entry("cut", "2026-02-01", BLOCK, killed_pct=80.0)], grid=GRID))
    assert result.stage_acres.keys() == {"down"} and SNAG_CAUTION in result.cautions
    assert result.snag_acres == pytest.approx(result.acres, abs=1e-9)
    assert any("killed and left standing" in words for words in result.block_words)
    hauled = [*part, entry("haul", "2026-02-20", BLOCK)]
    result = ask(FakeStore(hauled, grid=GRID), plan_kind="down_cedar")
    assert result.slash_acres == 0
    assert any("no cut slash on the ground in the block by the log" in words for words in result.block_words)


def test_slash_on_grass_beyond_an_edge_is_cedar_fuel() -> None:
    grass = unit("S", box(-100, -300, 100, -100), cover="grass")
    slash = entry("cut", "2026-02-01", box(-100, -300, 100, -100), killed_pct=5.0)
    for log, is_fuel in (([], False), ([slash], True)):
        beyond = {edge.beyond: edge.beyond_words for edge in ask(place(grass, *log)).edges}
        assert ("cedar fuel" in beyond["S"]) is is_fuel


def test_needles_grass_and_days_since_cutting_come_from_the_log() -> None:
    seen = entry("checkup", "2026-03-10", BLOCK, look=Look(needles="red", fuel_lb_ac=2400))
    fuel = ask(place(seen)).fuel
    assert (fuel.needles, fuel.fuel_lb_ac, fuel.look_date) == ("red", 2400, date(2026, 3, 10))
    assert any("slash is at its flashiest while red needles hang" in words for words in ask(place(seen)).block_words)
    cut_since = entry("cut", "2026-03-12", BLOCK, killed_pct=50.0)
    assert ask(place(seen, cut_since)).fuel.needles is None
    assert fuel.days_since_cut == 47  # 1 February to 20 March 2026


def test_the_plan_follows_the_stage_and_units_may_differ() -> None:
    signed = {"author": "P. Writer", "date": date(2026, 1, 31)}
    plan = {"down_cedar": {**signed, "rh_pct": [45, 100], "unit": {"N": {"rh_pct": [30, 100]}}}}
    settings = Settings.model_validate({"burn_plan": plan})
    result = ask(place(settings=settings), names=("A", "N"), plan_kind="down_cedar")
    assert [(line.unit_ids, line.comparison) for line in result.prescription] == [
        (("A",), "not met"),
        (("N",), "within"),
    ]
    assert ask(place(settings=settings)).plan.kind == "down_cedar"  # slash lies on all of it
    assert {line.comparison for line in ask(place(), plan_kind="piles").prescription} == {"no plan"}
    assert result.not_checked


def test_unknown_unit_is_refused_with_the_known_ones() -> None:
    with pytest.raises(InputError) as caught:
        ask(place(), names=("A", "Z9"))
    assert caught.value.value == "Z9"
    assert "A" in (caught.value.allowed or "")


# --- the forecast -------------------------------------------------------------------------------------------


def hours(*rows: tuple[str, float, float]) -> tuple[ForecastHour, ...]:
    return tuple(
        ForecastHour(at=datetime.fromisoformat(at), temp_f=60, rh_pct=rh_pct, wind_mph=8, wind_from_deg=wind_from_deg)
        for at, rh_pct, wind_from_deg in rows
    )


def test_hours_show_gaps_wind_shifts_and_what_is_not_met() -> None:
    settings = Settings.model_validate(
        {
            "burn_plan": {
                "down_cedar": {
                    "author": "P. Writer", "date": date(2026, 1, 31), "rh_pct": [30, 60], "days_since_rain": [2, 9],
                }
            }
        }
    )  # fmt: skip
    told = hours(
        ("2026-03-20T10:00", 65, 300), ("2026-03-20T13:00", 50, 180), ("2026-03-20T14:00", 35, 180),
        ("2026-03-20T15:00", 25, 225), ("2026-03-20T16:00", 40, 225.2), ("2026-03-21T09:00", 40, 180),
    )  # fmt: skip
    result = ask(place(settings=settings), forecast=told)
    by_time = {hour.time: hour for hour in result.hours}
    # From 11:00, three hours before ignition, to 08:00 next morning: 22 hours, four of them told.
    assert next(iter(by_time)) == "2026-03-20T11:00"
    assert list(by_time)[-1] == "2026-03-21T08:00"
    assert len(by_time) == 22
    assert sum(hour.is_gap for hour in result.hours) == 18
    assert by_time["2026-03-20T13:00"].not_met == ()
    assert by_time["2026-03-20T15:00"].not_met == ("rh_pct",)
    assert [by_time[f"2026-03-20T{hour}:00"].wind_shift for hour in (13, 14, 15, 16)] == [False, False, False, True]
    # What no forecast has a column for is asked of the day, not of each hour.
    assert {hour.not_given for hour in result.hours} == {()}


def test_weather_left_out_comes_from_the_forecast() -> None:
    told = hours(("2026-03-20T14:00", 35, 200))
    result = ask(place(), temp_f=None, rh_pct=None, wind_mph=None, wind_from_deg=None, forecast=told)
    assert result.wind_from_deg == 200
    with pytest.raises(InputError, match="not complete"):
        ask(place(), rh_pct=None, forecast=hours(("2026-03-20T10:00", 35, 200)))


def test_units_of_the_header(tmp_path: Path) -> None:
    path = tmp_path / "f.csv"
    path.write_text(
        "time,temp_c,rh_pct,wind_kt,gust_mps,wind_from_deg,rain_mm\n"
        "2026-03-20T13:00,20,40,10,10,200,25.4\n"
        "2026-03-20T14:00,,,,,,\n"
    )
    first, second = read_forecast(path).hours
    assert (first.temp_f, first.rain_in) == (68, 1)
    assert first.wind_mph == pytest.approx(11.5078, abs=1e-4)  # 1852 m to the knot, 1609.344 m to the mile
    assert first.gust_mph == pytest.approx(22.3694, abs=1e-4)
    assert second == ForecastHour(at=datetime(2026, 3, 20, 14))


def test_every_fault_of_a_forecast_is_told_at_once(tmp_path: Path) -> None:
    path = tmp_path / "f.csv"
    path.write_text(
        "time,temp_f,rh_pct,wind_mph,wind_from_deg\n"
        "2026-03-20T13:00,60,140,8,200\n"
        "2026-03-20T12:00,60,40,8,400\n"
        "noon,60,x,8,200\n"
        "2026-03-20T15:00Z,60,40,8,200\n"
    )
    with pytest.raises(InputErrors) as caught:
        read_forecast(path)
    told = "\n".join(str(fault) for fault in caught.value.faults)
    for part in ("row 2, rh_pct", "row 3, time", "row 3, wind_from_deg", "row 4, time", "row 4, rh_pct", "row 5, time"):
        assert part in told
    assert len(caught.value.faults) == 6


@pytest.mark.parametrize(
    ("header", "word"),
    [
        ("time,temp_f,rh_pct,wind_mph", "wind_from_deg is missing"),
        ("time,temp,rh_pct,wind_mph,wind_from_deg", "temp_f or temp_c is missing"),
        ("time,temp_f,temp_c,rh_pct,wind_mph,wind_from_deg", "two columns"),
    ],
)
def test_columns_missing_or_twice(tmp_path: Path, header: str, word: str) -> None:
    path = tmp_path / "f.csv"
    path.write_text(header + "\n" + ",".join(["2026-03-20T13:00"] + ["50"] * header.count(",")) + "\n")
    with pytest.raises(InputErrors) as caught:
        read_forecast(path)
    assert word in str(caught.value)


@pytest.mark.parametrize(
    ("stage", "fire", "felled", "words"),
    [
        ("burned", date(2025, 5, 25), 0.0, "unit B: burned over; burned this season (2025-05-25): confirm it is black"),
        ("burned", date(2025, 5, 24), 0.0, "unit B: burned over, last fire 2025-05-24"),
        ("down", date(2025, 5, 24), 0.0, "unit B: cut, slash on ground"),
        ("kept_up", None, 0.0, "unit B: kept up"),
        ("other", date(2026, 1, 1), 0.0, "unit B: grass"),
        ("kept_up", None, 0.1, "unit B: kept up" + CEDAR_FUEL_WORDS),
        ("standing", None, 0.0, "unit B: cedars standing" + CEDAR_FUEL_WORDS),
    ],
)
def test_what_lies_beyond_an_edge_is_said_with_its_fire(
    stage: str, fire: date | None, felled: float, words: str
) -> None:
    """On March 20, 2026, 300 days after May 24."""
    piece: Any = SimpleNamespace(
        unit_id="B", stage=stage, state=SimpleNamespace(last_fire=fire, felled_frac=felled, snag_frac=0.0)
    )
    assert _unit_words(piece, {"B": "grass"}, date(2026, 3, 20)) == words


@pytest.mark.parametrize(
    ("weather_ft", "column"),
    [(None, "level"), (340.0, "above"), (635.0, "above"), (645.0, "level"), (2635.0, "level"), (2645.0, "below")],
)
def test_the_block_lies_above_or_below_the_place_of_the_weather_by_a_thousand_feet(
    weather_ft: float | None, column: str, tmp_path: Path
) -> None:
    """Level ground 500 m high, which is 1,640.4 ft (NWCG table C has columns for 1,000 ft and more apart)."""
    path = write_dem(tmp_path / "level.tif", lambda _east, north: 500.0 + 0 * north)
    dem = ElevationSource(uuid="e", path=str(path), crs_wkt=GRID.crs.to_wkt(), vertical_unit="m",
                          recorded_at=datetime(2026, 3, 1, 18, tzinfo=UTC))  # fmt: skip
    result = ask(place(dem), weather_elevation_ft=weather_ft)
    assert (result.fine_fuel_tables or "").endswith(f"1400 to 1559, exposed, {column}")
    unknown = "the block's height is not known, so the weather is taken as measured level with it"
    assert unknown not in result.warnings
    assert (unknown in ask(place(), weather_elevation_ft=weather_ft).warnings) is (weather_ft is not None)


def test_places_within_a_hundred_meters_of_the_way_of_cold_air_are_named() -> None:
    """The way runs 300 m south along x = 0; 20 m east of it lies the block's own edge."""
    way: Any = SimpleNamespace(points=((0.0, 0.0), (0.0, -300.0)), length_m=300.0, end="edge")
    spots = {"far": 100.5, "near": 99.5, "at it": 0.0}
    features = [feature("house", name, Point(x, -150.0), sensitive=True) for name, x in spots.items()]
    found = cold_air(box(20, 0, 220, 200), [way], features, grid=GRID)
    assert found is not None and (found.length_m, found.ends) == (300.0, "edge")
    assert [(one.name, round(one.from_path_m, 3)) for one in found.places] == [("at it", 0.0), ("near", 99.5)]
    assert found.places[0].from_block_m == pytest.approx((20**2 + 150**2) ** 0.5, abs=1e-3)
    assert cold_air(box(20, 0, 220, 200), [], features, grid=GRID) is None


def test_an_hour_that_the_clock_leaps_over_is_refused_but_for_a_burn_that_was() -> None:
    settings = Settings.model_validate({"place": {"timezone": "America/Chicago"}})
    leap = datetime(2026, 3, 8, 2, 30)
    with pytest.raises(InputError, match="this hour never comes"):
        ask(place(settings=settings), at=leap)
    assert ask(place(settings=settings), at=leap, is_observed=True).time == "2026-03-08T02:30"


@pytest.mark.parametrize(("slope_pct", "slope_class"), [(29.9, "0-30"), (30.2, ">30")])
def test_ground_is_steep_above_thirty_percent_by_the_guides_classes(
    slope_pct: float, slope_class: str, tmp_path: Path
) -> None:
    path = write_dem(tmp_path / "slope.tif", lambda _east, north: 500.0 - north * slope_pct / 100)
    dem = ElevationSource(uuid="e", path=str(path), crs_wkt=GRID.crs.to_wkt(), vertical_unit="m",
                          recorded_at=datetime(2026, 3, 1, 18, tzinfo=UTC))  # fmt: skip
    assert [(one.facing, one.slope_class) for one in ask(place(dem)).fuel_moisture] == [("N", slope_class)]


def test_figures_of_many_digits_stand_on_their_side_of_a_limit() -> None:
    """Fifteen digits can tell two numbers apart that fourteen cannot; where they don't, all of them are written."""
    assert beside(1234.12341234123, [1234.12341234122]) == "1,234.12341234123"
    last = math.nextafter(25.0, 0.0)
    assert beside(last, [25.0]) == repr(last) == "24.999999999999996"


def test_what_a_plan_leaves_unsaid_is_named_where_any_signed_plan_does() -> None:
    unsigned = replace(SIGNED, author=None)
    assert unsaid_words([unsigned]) == unsaid_words([]) == ("the written burn plan: nothing was compared with it",)
    own = "the written burn plan itself: only the limits copied into habmap.toml were compared"
    height = "at what height the plan means its wind"
    whole = replace(SIGNED, limits=dict.fromkeys(ITEMS, (0.0, 360.0)), wind_height="20ft")
    assert unsaid_words([whole]) == unsaid_words([whole, unsigned]) == (own,)
    assert unsaid_words([replace(whole, wind_height=None)]) == (own, height)
    assert unsaid_words([whole, replace(whole, wind_height=None)]) == (own, height)
    # a plan that limits no wind need not say at what height
    dry = {item: limits for item, limits in whole.limits.items() if item not in ("wind_mph", "gust_mph")}
    (first, what) = unsaid_words([replace(whole, wind_height=None, limits=dry)])
    assert first == own and what.startswith("what the plan sets no limit for: ") and "wind" in what


def test_directions_are_compared_all_the_way_round() -> None:
    """From 300° through north to 60°: 359° and 0° lie within, and the nearer end tells how far."""

    def of(value: float, low: float, high: float) -> tuple[str, float | None]:
        (line,) = compare({"wind_from_deg": value}, [replace(SIGNED, limits={"wind_from_deg": (low, high)})])
        return line.comparison, line.distance

    assert of(300, 300, 60) == of(60, 300, 60) == ("within", 0)
    assert of(359, 300, 60) == ("within", 59) and of(0, 300, 60) == ("within", 60)
    assert of(61, 300, 60) == ("not met", 1) and of(299, 300, 60) == ("not met", 1)
    assert of(180, 0, 360)[0] == of(0, 0, 360)[0] == "within"
    assert of(180, 0, 359.9)[0] == "within" and of(359.95, 0, 359.9)[0] == "not met"
    assert of(90, 90, 90) == ("within", 0) and of(91, 90, 90) == ("not met", 1)


@pytest.mark.parametrize(("distance", "words"), [(0.0, "0"), (0.001, "0.001"), (0.00099, "less than 0.001")])
def test_a_small_distance_is_never_told_as_nothing(distance: float, words: str) -> None:
    assert distance_words(distance) == words
