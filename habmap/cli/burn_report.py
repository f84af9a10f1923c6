"""A burn sheet in words and tables. Compares and measures; nothing in it reads as leave to burn."""

from __future__ import annotations

from typing import TYPE_CHECKING

from habmap.cli.output import print_table, say

if TYPE_CHECKING:
    from habmap.work.burn.result import BurnsheetResult


_HOW_FAR = "nearest first, miles from the block's edge, bearing from its middle."
_MAY_MISS = "nothing sensitive on the map; a map may miss some."


def print_burnsheet(result: BurnsheetResult) -> None:
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
    _print_notices(result)
    say("")
    say("Not checked here:")
    for words in result.not_checked:
        say(f"- {words}")
    say("")
    for words in result.cautions:
        say(words)


def answer(result: BurnsheetResult) -> str:
    """Return what the comparison found, worst first, in a few sentences."""
    from habmap.show.burn.words import signed_words
    from habmap.work.burn.written_plan import PLAN_KIND_WORDS

    ground = f"{result.block}, {result.acres:.2f} acres, {result.time.replace('T', ' ')}"
    kind = PLAN_KIND_WORDS[result.plan.kind]
    if not result.plan_signed:
        there = (
            "was in habmap.toml when it was logged" if result.again and result.again.plans_kept else "is in habmap.toml"
        )
        return (
            f"{ground}: no written plan for {kind} with author and date {there}, so nothing is compared. "
            "The weather is only set down below."
        )
    not_met = _named(result, "not met")
    not_given = _named(result, "not given")
    words = f"{ground}, beside the written plan for {kind} by {signed_words(result.plan_signed, result.units)}. "
    words += "" if result.prescription else "It names no limits in habmap.toml, so nothing is compared. "
    words += f"Not met: {not_met}. " if not_met else ""
    words += f"Not given: {not_given}. " if not_given else ""
    return words + "This is a comparison and decides nothing; what was not checked stands below."


def _named(result: BurnsheetResult, comparison: str) -> str:
    from habmap.work.burn.written_plan import ITEMS, distance_words

    found = []
    for line in result.prescription:
        if line.comparison == comparison:
            name, unit = ITEMS[line.item]
            by = (
                ""
                if comparison != "not met" or line.distance is None
                else f" (by {distance_words(line.distance)} {unit}"
            )
            units = f" on {', '.join(line.unit_ids)}" if line.unit_ids != result.units else ""
            found.append(f"{name}{f'{by.rstrip()})' if by else ''}{units}")
    return ", ".join(found)


def _print_plan(result: BurnsheetResult) -> None:
    from habmap.work.burn.written_plan import ITEMS, beside, distance_words

    is_split = len({line.unit_ids for line in result.prescription}) > 1
    rows: list[list[object]] = []
    for line in result.prescription:
        name, unit = ITEMS[line.item]
        value = None if line.value is None else beside(line.value, (line.low, line.high))
        ends = [None if end is None else beside(end) for end in (line.low, line.high)]
        away = None if line.distance is None else distance_words(line.distance)
        row: list[object] = [name, unit, value, *ends, line.comparison, away]
        rows.append([*row, ", ".join(line.unit_ids)] if is_split else row)
    headers = ["item", "unit", "weather", "plan low", "plan high", "comparison", "distance to limit"]
    print_table([*headers, "units"] if is_split else headers, rows)
    height = {"20ft": "at 20 ft", "eye": "at eye level"}.get(result.wind_height or "", "at a height that nobody said")
    say(f"Wind {height}. Directions are degrees from true north, not from a compass needle.")


def _print_moisture(result: BurnsheetResult) -> None:
    say("")
    if result.fine_fuel_moisture_pct is None:
        say(f"Fine dead fuel moisture: none given, {result.fine_fuel_words}.")
    else:
        say(f"Fine dead fuel moisture on the driest ground: {result.fine_fuel_moisture_pct:g} %.")
        say(
            f"Read from {result.fine_fuel_tables} (height beside the place of the weather). Shade and height that were "
            "not given count as exposed and level."
        )
        say(f"{result.fine_fuel_clock_words}.")
    if result.equilibrium_moisture_pct is not None and result.vpd_kpa is not None:
        say(
            f"Equilibrium moisture (Simard) {result.equilibrium_moisture_pct:.1f} %, "
            f"vapor pressure deficit {result.vpd_kpa:.2f} kPa."
        )
    fuel = result.fuel
    seen = f"by the check-up of {fuel.look_date}" if fuel.look_date else "nobody logged a check-up"
    load = "not known" if fuel.fuel_lb_ac is None else f"{fuel.fuel_lb_ac:,.0f} lb/ac"
    cut = "no cut logged" if fuel.days_since_cut is None else f"{fuel.days_since_cut} days since cutting"
    say(f"Needles {fuel.needles or 'not known'}, grass load {load} ({seen}); {cut}.")
    print_table(
        ["faces", "slope %", "acres", "fine dead fuel %"],
        [[line.facing, line.slope_class, line.acres, line.pct] for line in result.fuel_moisture],
    )


def _print_edges(result: BurnsheetResult) -> None:
    from habmap.measures import ft
    from habmap.vocabulary import WIND_WORDS, wind_16
    from habmap.work.burn.breaks import BREAK_WORDS

    totals = result.edge_totals
    say("")
    say(
        f"Wind from {WIND_WORDS[wind_16(result.wind_from_deg)]}. Outline {ft(totals.perimeter_m):,.0f} ft: "
        f"downwind {ft(totals.downwind_m):,.0f}, side {ft(totals.side_m):,.0f}, upwind {ft(totals.upwind_m):,.0f}. "
        "A break on the map counts for nothing until the burn boss has walked it. What lies beyond was looked for on "
        f"the map within {ft(result.looked_within_m.beyond):,.0f} ft."
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
    say("")
    say(f"{result.winds_words}.")
    if result.turned_edges:
        say("Edges that come to lie downwind in later hours:")
        print_table(
            ["from", "to", "wind from", "feet", "faces", "now", "beyond"],
            [
                [
                    edge.from_time.replace("T", " "), edge.to_time.replace("T", " "), wind_16(edge.wind_from_deg),
                    ft(edge.length_m), wind_16(edge.outward_deg), edge.side, edge.beyond_words,
                ]
                for edge in result.turned_edges
            ],
        )  # fmt: skip
    print_table(
        [BREAK_WORDS, "fuel beside", "feet wide", "to", "acres", "to", "source"],
        [
            [
                line.rule,
                line.fuel,
                line.width_low_ft,
                line.width_high_ft,
                line.acres_low,
                line.acres_high,
                line.source,
            ]
            for line in result.published_breaks
        ],
    )


def _print_around(result: BurnsheetResult) -> None:
    from habmap.measures import M_PER_MILE, ft
    from habmap.show.burn.sections import inside_words, when_words
    from habmap.vocabulary import FEATURE_WORDS, wind_16
    from habmap.work.burn.surroundings import COLD_AIR_NEAR_M, END_WORDS, SCREEN_WORDS, SmokePlace

    looked = result.looked_within_m
    downwind = f"Downwind, 45° to either side, to {looked.downwind / M_PER_MILE:.1f} miles"
    around = f"All round, to {looked.sensitive / M_PER_MILE:.1f} miles"
    for title, places in ((downwind, result.smoke), (around, result.nearby)):
        say("")
        say(f"{title}: {_MAY_MISS if not places else _HOW_FAR}")
        if places:
            print_table(
                ["place", "kind", "miles", "bearing °", "toward", *(["downwind"] if places is result.smoke else [])],
                [
                    [
                        place.name, FEATURE_WORDS[place.kind], place.distance_m / M_PER_MILE, place.bearing_deg,
                        wind_16(place.bearing_deg), *([when_words(place)] if isinstance(place, SmokePlace) else []),
                    ]
                    for place in places
                ],
            )  # fmt: skip
    say(f"{result.winds_words}.")
    if result.inside:
        say(f"Inside the block: {inside_words(result.inside)}.")
    say("")
    if result.cold_air is None:
        say("The way of cold night air is not known: no elevation, or level ground.")
    else:
        near = ", ".join(
            f"{place.name or 'without a name'} ({FEATURE_WORDS[place.kind]}, {ft(place.from_path_m):,.0f} ft)"
            for place in result.cold_air.places
        )
        say(
            f"Cold night air would run downhill {ft(result.cold_air.length_m):,.0f} ft from the block's lowest edge"
            f"{END_WORDS[result.cold_air.ends]}; within {ft(COLD_AIR_NEAR_M):,.0f} ft "
            f"of its ways: {near or 'no road or house on the map'}."
        )
    say(SCREEN_WORDS)
    if not result.hazards:
        say(f"No power line, gas line, tank, hay or fence is on the map inside the block or within "
            f"{ft(looked.hazards):,.0f} ft of it; a map may miss some.")  # fmt: skip
    else:
        print_table(
            ["in or near the block", "kind", "feet away", "inside"],
            [[one.name, FEATURE_WORDS[one.kind], ft(one.distance_m), one.inside] for one in result.hazards],
        )


def _print_hours(result: BurnsheetResult) -> None:
    if not result.hours:
        return
    from habmap.work.burn.written_plan import ITEMS, beside

    ends = {item: [end for line in result.prescription if line.item == item for end in (line.low, line.high)]
            for item in ITEMS}  # fmt: skip

    names = {item: name.partition(",")[0] for item, (name, _) in ITEMS.items()}

    def figure(hour: object, item: str) -> str | None:
        value: float | None = getattr(hour, item)
        return None if value is None else beside(value, ends.get(item, ()))

    say("")
    say(f"The forecast, hour by hour: {result.forecast.words if result.forecast else ''}.")
    rows: list[list[object]] = []
    for hour in result.hours:
        marks = [names[item] for item in hour.not_met]
        marks += ["wind shift"] if hour.wind_shift else []
        marks += [f"not given: {', '.join(names[item] for item in hour.not_given)}"] if hour.not_given else []
        humidity = "" if hour.rh_pct is None else "#" * round(hour.rh_pct / 5)
        words = "no forecast for this hour" if hour.is_gap else "; ".join(marks)
        figures = [figure(hour, item) for item in ("wind_mph", "gust_mph", "wind_from_deg", "fine_fuel_pct", "rain_in")]
        rows.append(
            [hour.time.replace("T", " "), figure(hour, "temp_f"), figure(hour, "rh_pct"), humidity, *figures, words]
        )
    print_table(
        ["hour", "°F", "RH %", "RH: # = 5 %", "wind", "gusts", "from °", "fuel %", "rain in", "not met, and shifts"],
        rows,
    )
    if result.plan_signed:
        say(
            "Nothing beside an hour means only that no copied limit of these few items is passed. It allows nothing, "
            "and a forecast is not the weather on site."
        )
    else:
        say(
            "No written plan is in force here: no hour was held against anything but the turn of the wind. A forecast "
            "is not the weather on site."
        )


def _print_notices(result: BurnsheetResult) -> None:
    """Say who the log has as told, and whom habmap.toml names besides."""
    told = {one.who.strip().casefold() for one in result.notices}
    waiting = [who for who in result.notify if who.strip().casefold() not in told]
    if not result.notices and not waiting:
        return
    say("")
    for one in result.notices:
        say(f"Told by the log: {one.who}, {one.when}, {one.how}.")
    if waiting:
        say(f"Named in habmap.toml to be told, and not logged as told for this ground and day: {'; '.join(waiting)}.")
