"""What a burn boss could read wrongly: figures on a limit, calms, blanks, breaks without a name, silence of the map."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from fakes import GRID, FakeStore, entry, ground_lonlat, unit
from shapely import LineString, box

from habmap.cli.commands.burnsheet import print_burnsheet
from habmap.errors import InputError
from habmap.jobs.burnsheet import burnsheet
from habmap.place.settings import Settings
from habmap.records import Boundary, DrawnBlock, Feature, ForecastHour, Row
from habmap.show.burn.compose import burn_sheet
from habmap.show.burn.hour_sections import hours_chart, hours_sections
from habmap.show.burn.sections import edge_keys, edges_section, moisture_section, plan_section, surroundings_section
from habmap.show.burn.sheet import BurnSheet
from habmap.show.burn.words import answer
from habmap.work.burn.request import BurnRequest, ForecastSource
from habmap.work.burn.result import BurnsheetResult
from habmap.work.burn.written_plan import beside, distance_words

NOW = datetime(2026, 3, 1, tzinfo=UTC)
IGNITION = datetime(2026, 3, 20, 14)
PLAN = {
    "author": "P. Writer",
    "date": date(2026, 1, 31),
    "rh_pct": (25, 60),
    "wind_mph": (0, 12),
    "wind_from_deg": (135, 225),
    "gust_mph": (0, 20),
}


def settings(**burn: object) -> Settings:
    return Settings.model_validate({"burn_plan": {"grass": PLAN}, "burn": burn})


def store(*more: Row, chosen: Settings | None = None) -> FakeStore:
    rows: list[Row] = [unit("A", box(-100, -100, 100, 100), cover="grass"), unit("B", box(100, -100, 300, 100))]
    return FakeStore([*rows, *more], grid=GRID, settings=chosen or settings())


def ask(place: FakeStore, **fields: object) -> BurnsheetResult:
    content: dict[str, object] = {"names": ("A",), "at": IGNITION, "temp_f": 60.0, "rh_pct": 35.0, "wind_mph": 8.0}
    return burnsheet(place, BurnRequest(**(content | {"wind_from_deg": 180.0} | fields)))  # type: ignore[arg-type]


def sheet_of(result: BurnsheetResult) -> BurnSheet:
    weather = {"temp_f": 60.0, "rh_pct": 35.0, "wind_mph": 8.0}
    return burn_sheet(result, weather=weather, grid=GRID, zone=ZoneInfo("America/Chicago"), drawn_on=date(2026, 3, 1))


def lane(name: str, x: float) -> Feature:
    return Feature(
        uuid=f"lane{x}", kind="lane", name=name, geometry=GRID.to_lonlat(LineString([(x, -300), (x, 300)])),
        recorded_at=NOW,
    )  # fmt: skip


@pytest.mark.parametrize("value", [24.996, 24.99996, 24.999999996])
def test_a_figure_just_outside_is_never_written_as_the_limit(value: float) -> None:
    rows = {row[0]: row for row in plan_section(ask(store(), rh_pct=value)).rows}
    _, shown, plan, compared = rows["relative humidity"]
    assert float(shown.removesuffix("%")) < 25
    assert plan == "25 to 60"
    assert compared.startswith("not met, by ")
    assert not compared.startswith("not met, by 0%")


def test_figures_beside_limits() -> None:
    assert [beside(value, (25.0, 60.0)) for value in (25, 24.6, 60.0000001)] == ["25", "24.6", "60.0000001"]
    assert [distance_words(value) for value in (0.0, 0.0004, 0.4, 15.7, 1234.0)] == [
        "0",
        "less than 0.001",
        "0.4",
        "15.7",
        "1,230",
    ]


def test_a_calm_has_no_direction_to_hold_against_the_plan() -> None:
    hours = (
        ForecastHour(at=IGNITION, temp_f=60, rh_pct=35, wind_mph=5, wind_from_deg=180),
        ForecastHour(at=IGNITION + timedelta(hours=1), temp_f=60, rh_pct=35, wind_mph=0, wind_from_deg=0),
    )
    calm = ask(store(), wind_mph=0.0, wind_from_deg=180.0)
    assert {line.item: line.comparison for line in calm.prescription}["wind_from_deg"] == "not given"
    told = {hour.time[11:]: hour for hour in ask(store(), forecast=hours).hours if not hour.is_gap}
    assert "wind_from_deg" in told["15:00"].not_given
    assert (told["15:00"].not_met, told["15:00"].wind_turn_deg, told["15:00"].wind_shift) == ((), None, False)


def test_every_hour_that_is_not_met_stands_on_the_sheet() -> None:
    # By hand: 14:00 is the hour of ignition, humidity falls below 25 at 15:00 and at 17:00, and there is no 16:00.
    figures = {14: 40.0, 15: 20.0, 17: 20.0, 18: 21.0, 19: 30.0}
    hours = tuple(
        ForecastHour(at=datetime(2026, 3, 20, hour), temp_f=60, rh_pct=rh, wind_mph=5, wind_from_deg=180)
        for hour, rh in figures.items()
    )
    (section,) = hours_sections(ask(store(), forecast=hours), 8)
    rows = {row[0]: row[1] for row in section.rows}
    assert rows["relative humidity"] == "03-20 15:00; 17:00 to 18:00"
    assert rows["no forecast"] == "03-20 11:00 to 13:00; 16:00; 20:00 to 03-21 08:00"
    assert "gusts" in rows["not given"]
    (short,) = hours_sections(ask(store(), forecast=hours), 1)
    assert {row[0]: row[1] for row in short.rows}["relative humidity"] == "03-20 15:00; and 1 more time later"


def test_a_break_without_a_name_is_never_taken_for_walked() -> None:
    walked = [{"break": name, "date": IGNITION.date(), "by": "the boss"} for name in ("lane", "Ridge lane", "Nowhere")]
    result = ask(store(lane("", -105), lane("Ridge lane", 105), chosen=settings(walked=walked)))
    found = {edge.break_name: edge.boss_checked for edge in result.edges if edge.mapped_break}
    assert found == {"lane": False, "Ridge lane": True}
    assert any("'Nowhere'" in words for words in result.warnings)
    assert not any("'Ridge lane'" in words for words in result.warnings)
    rows = edges_section(result, edge_keys(result.edges), 9).rows
    assert any(row[3].startswith("Ridge lane, ") and "; walked " in row[3] for row in rows)


def test_a_map_with_nothing_on_it_says_so() -> None:
    bare = ask(store()).warnings
    assert any("what lies around this block is not known" in words for words in bare)
    assert any("where the property ends is not known" in words for words in bare)
    land = Boundary(uuid="b", geometry=ground_lonlat(box(-500, -500, 500, 500)), recorded_at=NOW)
    full = ask(store(lane("Lane", 400), land)).warnings
    assert not any("not known" in words and "elevation" not in words for words in full)


def test_what_no_elevation_covers_is_not_level_ground() -> None:
    result = ask(store())
    section = edges_section(result, edge_keys(result.edges), 9)
    assert {row[4] for row in section.rows} == {"?"}
    assert "? = not known" in section.sentences[0]
    assert [row[:2] for row in moisture_section(result, 6).rows] == [("not known", "not known")]


def test_edges_left_out_are_named_with_their_feet() -> None:
    result = ask(store())
    keys = edge_keys(result.edges)
    section = edges_section(result, keys, 2)
    (words,) = section.after
    shown = {row[0] for row in section.rows}
    assert len(shown) == 2
    assert all(key in words for key in set(keys.values()) - shown)
    assert not any(f" {key}," in words for key in shown)


def test_slash_and_piles_in_a_grass_burn_are_pointed_out() -> None:
    slash = entry("cut", "2026-02-01", box(100, -100, 150, 100))
    result = ask(store(slash), names=("A", "B"), plan_kind="grass")
    assert any("cut slash" in words and "is not written" in words for words in result.block_words)
    alone = ask(store(slash), names=("B:down",), plan_kind="down_cedar")
    assert not any("is not written" in words for words in alone.block_words)


def test_the_block_is_called_as_it_was_named() -> None:
    slash = entry("cut", "2026-02-01", box(100, -100, 150, 100))
    drawn = DrawnBlock(uuid="d", name="corner", geometry=ground_lonlat(box(50, 0, 150, 50)), recorded_at=NOW)
    place = store(slash, drawn, chosen=settings(blocks={"both": ["A", "B"]}))
    names = [ask(place, names=(name,)).block for name in ("A", "B:down", "both", "corner")]
    assert names == ["A", "B:down", "both (A, B)", "corner (A, B)"]
    assert "B:down" in sheet_of(ask(place, names=("B:down",))).headline


def test_without_a_plan_the_heading_says_that_there_is_none() -> None:
    section = plan_section(ask(FakeStore([unit("A", box(0, 0, 90, 90), cover="grass")], grid=GRID)))
    assert section.title.startswith("No written plan")


def test_an_hour_that_never_comes_is_refused_and_one_that_comes_twice_is_said() -> None:
    # U.S. clocks go forward at 2:00 on 8 March 2026 and back at 2:00 on 1 November 2026 (Energy Policy Act of 2005).
    with pytest.raises(InputError, match="never comes"):
        ask(store(), at=datetime(2026, 3, 8, 2, 30))
    assert any("comes twice" in words for words in ask(store(), at=datetime(2026, 11, 1, 1, 30)).warnings)
    assert not any("comes twice" in words for words in ask(store()).warnings)


def test_a_patch_in_no_unit_is_held_against_the_plan_all_the_same() -> None:
    result = ask(store(), names=(), patch=ground_lonlat(box(2000, 2000, 2100, 2100)), rh_pct=20.0)
    assert (result.units, result.plan.kind) == ((), "grass")
    assert {line.item: line.comparison for line in result.prescription}["rh_pct"] == "not met"
    assert result.block == "a patch outside every unit"


def test_no_note_is_cut_off_on_the_sheet() -> None:
    place = store()
    words = tuple(
        f"note {number} of this burn, with words enough to fill a line of the page and more" for number in range(9)
    )
    result = replace(ask(place), warnings=words)
    sheet = sheet_of(result)
    more = next(section for section in sheet.measured if section.title.startswith("More of this block"))
    shown = " ".join((*sheet.lines, *more.sentences)).casefold()
    assert all(one in shown for one in words)
    assert "page 2" in sheet.lines[-1]
    assert all(len(line) < 3 * 130 for line in sheet.lines)  # three lines of the page; more would be cut


def test_the_owners_closed_days_are_said_before_all_else() -> None:
    closed = settings().model_copy(update={"closed": Settings.model_validate(
        {"closed": [{"work": "burn", "reason": "nesting birds", "from": "03-15", "to": "07-31"}]}).closed})  # fmt: skip
    assert "nesting birds" in ask(store(chosen=closed)).warnings[0]


def test_ground_left_standing_on_purpose_is_pointed_out() -> None:
    kept = entry("keep", "2026-01-05", box(120, 0, 160, 40))
    words = ask(store(kept), names=("B",)).block_words
    # 40 m by 40 m are 1,600 m², 0.395 of the acre's 4,046.86 m².
    assert "0.40 acres of the block are ground that the log leaves standing on purpose" in words


def test_a_plan_signed_for_one_unit_is_never_hidden_by_another_without() -> None:
    limits = {"rh_pct": (30, 60), "unit": {"A": {"author": "Own Boss", "date": date(2026, 2, 1), "rh_pct": (40, 60)}}}
    place = store(chosen=Settings.model_validate({"burn_plan": {"grass": limits}}))
    both, alone = ask(place, names=("A", "B"), plan_kind="grass"), ask(place)
    assert (alone.plan.author, alone.plan.date) == ("Own Boss", date(2026, 2, 1))
    for result, whose in ((alone, "Own Boss, 2026-02-01"), (both, "Own Boss, 2026-02-01, for A; B has none")):
        words, section = answer(result), plan_section(result)
        assert whose in words
        assert "Not met: relative humidity (by 5%)" in words
        assert whose in section.sentences[0]
        assert section.rows[0][3] == "not met, by 5%"
    assert {line.unit_ids: line.comparison for line in both.prescription if line.item == "rh_pct"} == {
        ("A",): "not met", ("B",): "no plan",
    }  # fmt: skip


def test_a_signed_plan_without_limits_compares_nothing_and_says_so() -> None:
    signed = {"author": "P. Writer", "date": date(2026, 1, 31)}
    result = ask(store(chosen=Settings.model_validate({"burn_plan": {"grass": signed}})))
    assert result.prescription == ()
    assert "sets no limits" in answer(result)
    assert "nothing is compared" in plan_section(result).sentences[0]


@pytest.mark.parametrize(
    ("at", "fields", "words"),
    [
        # Table B is for May to July, C for February to April and August to October, D for the rest (NWCG PMS 437).
        (datetime(2026, 7, 2, 15, 59), {}, "NWCG table B, 1400 to 1559, exposed, level"),
        (datetime(2026, 3, 20, 8), {"shade_pct": 51.0}, "NWCG table C, 0800 to 0959, shaded, level"),
        (datetime(2026, 12, 20, 19, 59), {"shade_pct": 50.0}, "NWCG table D, 1800 to 1959, exposed, level"),
        (datetime(2026, 12, 20, 20), {}, None),
    ],
)
def test_which_part_of_the_tables_was_read_is_said(at: datetime, fields: dict[str, float], words: str | None) -> None:
    assert ask(store(), at=at, **fields).fine_fuel_tables == words


def test_an_empty_list_says_how_far_was_looked(capsys: pytest.CaptureFixture[str]) -> None:
    result = ask(store(lane("Lane", 400), chosen=settings(downwind_within_m=1609.344, sensitive_within_m=160.9344)))
    section = surroundings_section(result, 5)
    assert "(45° to either side, 1 mi) and near (0.1 mi)" in section.title
    assert "a map may miss some" in section.sentences[0]
    assert "within 328 ft" in " ".join(section.after)  # 100 m are 328.08 ft
    print_burnsheet(result)
    words = capsys.readouterr().out
    assert section.title in words and section.sentences[0] in words
    assert "within 98 ft" in words  # 30 m beyond the edge are 98.4 ft
    assert section.after[-1] in words


@pytest.mark.parametrize(
    ("plan_height", "wind_height", "comparison"),
    [("eye", "20ft", "not given"), ("eye", "eye", "within"), ("eye", None, "within"), (None, "20ft", "within")],
)
def test_wind_from_another_height_than_the_plans_is_not_compared(
    plan_height: str | None, wind_height: str | None, comparison: str
) -> None:
    plan = PLAN if plan_height is None else {**PLAN, "wind_height": plan_height}
    place = store(chosen=Settings.model_validate({"burn_plan": {"grass": plan}}))
    result = ask(place, wind_height=wind_height, gust_mph=12.0)
    found = {line.item: line.comparison for line in result.prescription}
    assert (found["wind_mph"], found["gust_mph"]) == (comparison, comparison)
    assert (found["rh_pct"], found["wind_from_deg"]) == ("within", "within")
    assert any("another height" in words for words in result.warnings) == (comparison == "not given")
    assert ("at what height the plan means its wind" in result.not_checked) == (plan_height is None)
    assert any("only the limits copied" in words for words in result.not_checked)


def test_a_plan_that_nobody_signed_is_not_said_to_be_compared() -> None:
    result = ask(store(chosen=Settings()))
    assert "the written burn plan: nothing was compared with it" in result.not_checked
    assert not any("were compared" in words for words in result.not_checked)


def test_a_forecasts_own_height_counts_for_its_hours() -> None:
    place = store(chosen=Settings.model_validate({"burn_plan": {"grass": {**PLAN, "wind_height": "eye"}}}))
    hours = (ForecastHour(at=IGNITION, temp_f=60, rh_pct=35, wind_mph=30, wind_from_deg=180),)
    source = ForecastSource(file_name="f.csv", wind_height="20ft")
    result = ask(place, forecast=hours, forecast_source=source, wind_mph=8.0, wind_height="eye")
    assert {line.item: line.comparison for line in result.prescription}["wind_mph"] == "within"
    told = next(hour for hour in result.hours if not hour.is_gap)
    assert "wind_mph" in told.not_given
    chart = hours_chart(result, grid=GRID, zone=ZoneInfo("America/Chicago"))
    assert chart is not None
    assert set(chart.limits) == {"rh_pct", "gust_mph", "wind_from_deg"}  # no gusts in the forecast; wind is not drawn
    assert "wind_mph" not in told.not_met


def test_the_day_is_held_against_the_days_of_the_year_that_the_plan_is_for() -> None:
    """April 1 lies in December 1 to April 10 and not in A's own October 1 to March 31; without a signature, nothing."""
    days = PLAN | {"from": "12-01", "to": "04-10"}

    def on(at: datetime, plan: dict[str, object]) -> BurnsheetResult:
        return ask(store(chosen=Settings.model_validate({"burn_plan": {"grass": plan}})), at=at)

    inside, outside = on(datetime(2026, 4, 1, 13), days), on(datetime(2026, 4, 11, 13), days)
    assert [(one.from_day, one.to_day, one.comparison) for one in inside.plan_days] == [("12-01", "04-10", "within")]
    assert plan_section(inside).rows[-1] == ("day of the year", "04-01", "12-01 to 04-10", "within")
    assert plan_section(outside).rows[0] == ("day of the year", "04-11", "12-01 to 04-10", "not met")
    assert "Not met: day of the year (the plan is for 12-01 to 04-10)" in answer(outside)
    own = on(datetime(2026, 4, 1, 13), days | {"unit": {inside.units[0]: {"from": "10-01", "to": "03-31"}}})
    assert own.plan_days[0].comparison == "not met" and own.plan_days[0].unit_ids == inside.units[:1]
    assert on(datetime(2026, 4, 1, 13), days | {"author": ""}).plan_days == ()
    nothing_said = on(datetime(2026, 4, 1, 13), dict(PLAN))
    assert nothing_said.plan_days == () and "day of the year" in nothing_said.unlimited
    # One of two units without days is enough to say so, and a block off all units has the place's plan.
    mixed = PLAN | {"unit": {"A": {"from": "10-01", "to": "03-31"}}}
    beside = ask(store(chosen=Settings.model_validate({"burn_plan": {"grass": mixed}})), names=("A", "B"))
    assert "day of the year" in beside.unlimited and len(beside.plan_days) == 1
    off = ground_lonlat(box(0, 500, 50, 550))
    assert "day of the year" in ask(store(), names=(), patch=off, plan_kind="grass").unlimited
    (placed,) = ask(
        store(chosen=Settings.model_validate({"burn_plan": {"grass": days}})), names=(), patch=off, plan_kind="grass"
    ).plan_days
    assert placed.unit_ids == () and placed.from_day == "12-01"
    unsigned = on(datetime(2026, 4, 1, 13), PLAN | {"author": ""})
    assert not any("day of the year" in one.unlimited for one in (inside, outside, own, unsigned))
