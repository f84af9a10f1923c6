"""A burn day in words and tables. Compares and measures; nothing in it reads as leave to burn."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from habmap.cli.output import print_table, say

if TYPE_CHECKING:
    from habmap.jobs.burnday import BurnDayResult
    from habmap.work.burnday import Compared


END_WORDS = {
    "hollow": ", into a hollow where it would pool",
    "edge": ", to where the elevation ends",
    "length": " and further than it is followed here",
}


def print_burnday(result: BurnDayResult) -> None:
    """Print the answer first, then the tables, then what was not checked and the cautions."""
    if result.again is not None:
        for words in result.again.words:
            say(f"{words}.")
    say(answer(result))
    for words in result.block_words:
        say(f"{words[0].upper()}{words[1:]}.")
    _print_plan(result)
    _print_moisture(result)
    _print_edges(result)
    _print_around(result)
    _print_hours(result)
    say("")
    say("Not checked here:")
    for words in result.not_checked:
        say(f"- {words}")
    say("")
    for words in result.cautions:
        say(words)


def answer(result: BurnDayResult) -> str:
    """Return what the comparison found, worst first, in a few sentences."""
    from habmap.work.burnday import PLAN_KIND_WORDS

    ground = f"{', '.join(result.units)}, {result.acres:.2f} acres, {result.time.replace('T', ' ')}"
    kind = PLAN_KIND_WORDS[result.plan.kind]
    if any(line.verdict == "no plan" for line in result.prescription):
        there = (
            "was in habmap.toml when it was logged" if result.again and result.again.plans_kept else "is in habmap.toml"
        )
        return (
            f"{ground}: no written plan for {kind} with author and date {there}, so nothing is compared. "
            "The weather is only set down below."
        )
    not_met = _named(result.prescription, "not met")
    not_given = _named(result.prescription, "not given")
    words = f"{ground}, beside the written plan for {kind} by {result.plan.author}, {result.plan.date}. "
    words += f"Not met: {not_met}. " if not_met else ""
    words += f"Not given: {not_given}. " if not_given else ""
    return words + "This is a comparison and decides nothing; what was not checked stands below."


def _named(lines: Sequence[Compared], verdict: str) -> str:
    from habmap.work.burnday import ITEMS

    found = []
    for line in lines:
        if line.verdict == verdict:
            name, unit = ITEMS[line.item]
            by = f" (by {line.distance:.3g} {unit}".rstrip() + ")" if verdict == "not met" else ""
            units = f" on {', '.join(line.unit_ids)}" if len({each.unit_ids for each in lines}) > 1 else ""
            found.append(f"{name}{by}{units}")
    return ", ".join(found)


def _print_plan(result: BurnDayResult) -> None:
    from habmap.work.burnday import ITEMS

    is_split = len({line.unit_ids for line in result.prescription}) > 1
    rows = []
    for line in result.prescription:
        name, unit = ITEMS[line.item]
        row: list[object] = [name, unit, line.value, line.low, line.high, line.verdict, line.distance]
        rows.append([*row, ", ".join(line.unit_ids)] if is_split else row)
    headers = ["item", "unit", "weather", "plan low", "plan high", "comparison", "distance to limit"]
    print_table([*headers, "units"] if is_split else headers, rows)
    say(f"Wind height: {result.wind_height or 'not said'}.")


def _print_moisture(result: BurnDayResult) -> None:
    say("")
    if result.fine_fuel_moisture_pct is None:
        say(f"Fine dead fuel moisture: none given, {result.fine_fuel_words}.")
    else:
        say(f"Fine dead fuel moisture on the driest ground: {result.fine_fuel_moisture_pct:g} %.")
    if result.equilibrium_moisture_pct is not None and result.vpd_kpa is not None:
        say(
            f"Equilibrium moisture (Simard) {result.equilibrium_moisture_pct:.1f} %, "
            f"vapour pressure deficit {result.vpd_kpa:.2f} kPa."
        )
    fuel = result.fuel
    seen = f"by the look of {fuel.look_date}" if fuel.look_date else "nobody logged a look"
    load = "not known" if fuel.fuel_lb_ac is None else f"{fuel.fuel_lb_ac:,.0f} lb/ac"
    cut = "no cut logged" if fuel.days_since_cut is None else f"{fuel.days_since_cut} days since cutting"
    say(f"Needles {fuel.needles or 'not known'}, grass load {load} ({seen}); {cut}.")
    print_table(
        ["faces", "slope %", "acres", "fine dead fuel %"],
        [[line.facing, line.slope_class, line.acres, line.pct] for line in result.fuel_moisture],
    )


def _print_edges(result: BurnDayResult) -> None:
    from habmap.measures import ft
    from habmap.vocabulary import WIND_WORDS, wind_16

    totals = result.edge_totals
    say("")
    say(
        f"Wind from {WIND_WORDS[wind_16(result.wind_from_deg)]}. Outline {ft(totals.perimeter_m):,.0f} ft: "
        f"downwind {ft(totals.downwind_m):,.0f}, side {ft(totals.side_m):,.0f}, upwind {ft(totals.upwind_m):,.0f}. "
        "A break on the map counts for nothing until the burn boss has walked it."
    )
    print_table(
        ["edge", "feet", "faces", "beyond", "mapped break", "boss checked", "ground rises away"],
        [
            [
                edge.side, ft(edge.length_m), wind_16(edge.outward_deg), edge.beyond_words, edge.break_name or "none",
                edge.boss_checked, edge.upslope,
            ]
            for edge in result.edges
        ],
    )  # fmt: skip
    print_table(
        ["published figures, not what this burn needs", "feet wide", "to", "acres", "to"],
        [
            [line.rule, line.width_low_ft, line.width_high_ft, line.acres_low, line.acres_high]
            for line in result.published_breaks
        ],
    )


def _print_around(result: BurnDayResult) -> None:
    from habmap.jobs.burn_around import SCREEN_WORDS
    from habmap.measures import M_PER_MILE, ft
    from habmap.vocabulary import FEATURE_WORDS, wind_16

    for title, places in (("Downwind, within 45° to either side", result.smoke), ("All round", result.nearby)):
        say("")
        say(f"{title}: {'nothing sensitive on the map.' if not places else 'nearest first.'}")
        if places:
            print_table(
                ["place", "kind", "miles", "bearing °", "toward"],
                [
                    [
                        place.name, FEATURE_WORDS[place.kind], place.distance_m / M_PER_MILE, place.bearing_deg,
                        wind_16(place.bearing_deg),
                    ]
                    for place in places
                ],
            )  # fmt: skip
    say("")
    if result.cold_air is None:
        say("The way of cold night air is not known: no elevation, or level ground.")
    else:
        near = ", ".join(f"{place.name} ({FEATURE_WORDS[place.kind]})" for place in result.cold_air.places)
        say(
            f"Cold night air would run downhill {ft(result.cold_air.length_m):,.0f} ft from the block's lowest edge"
            f"{END_WORDS[result.cold_air.ends]}; near its ways: {near or 'no road or house on the map'}."
        )
    say(SCREEN_WORDS)
    if result.hazards:
        print_table(
            ["in or near the block", "kind", "feet away", "inside"],
            [[one.name, FEATURE_WORDS[one.kind], ft(one.distance_m), one.inside] for one in result.hazards],
        )


def _print_hours(result: BurnDayResult) -> None:
    if not result.hours:
        return
    from habmap.work.burnday import ITEMS

    say("")
    say(f"The forecast, hour by hour: {result.forecast.words if result.forecast else ''}.")
    rows: list[list[object]] = []
    for hour in result.hours:
        marks = [ITEMS[item][0] for item in hour.not_met]
        marks += ["wind shift"] if hour.wind_shift else []
        humidity = "" if hour.rh_pct is None else "#" * round(hour.rh_pct / 5)
        words = "no forecast for this hour" if hour.is_gap else ", ".join(marks)
        rows.append(
            [
                hour.time.replace("T", " "), hour.temp_f, hour.rh_pct, humidity, hour.wind_mph, hour.gust_mph,
                hour.wind_from_deg, hour.fine_fuel_pct, hour.rain_in, words,
            ]
        )  # fmt: skip
    print_table(
        ["hour", "°F", "RH %", "RH: # = 5 %", "wind", "gusts", "from °", "fuel %", "rain in", "not met, and shifts"],
        rows,
    )
