"""A burn sheet in words and tables. Compares and measures; nothing in it reads as leave to burn."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from habmap.cli.output import print_table, say

if TYPE_CHECKING:
    from habmap.show.burn.sheet import Section
    from habmap.work.burn.hours import BurnHour
    from habmap.work.burn.result import BurnsheetResult


def print_burnsheet(result: BurnsheetResult) -> None:
    """Print the answer first, then the tables, then what was not checked and the cautions."""
    from habmap.show.burn.sections import moisture_section, plan_section, surroundings_section
    from habmap.show.burn.words import answer, height_words, kept_words

    for words in result.again.words if result.again else ():
        say(f"{words}.")
    say(answer(result))
    if result.kept_from_fire:
        say(kept_words(result))
    for words in result.block_words:
        say(f"{words[0].upper()}{words[1:]}.")
    _print_section(replace(plan_section(result), sentences=()))
    height = height_words(result.wind_height, "at a height that was not given")
    say(f"Wind {height}. Directions are degrees from true north, not from a compass needle.")
    _print_section(moisture_section(result))
    if result.fine_fuel_moisture_pct is not None:
        say("Shade and height that were not given count as exposed and level.")
    _print_edges(result)
    _print_section(surroundings_section(result))
    _print_hours(result)
    _print_notices(result)
    say("")
    say("Not checked here:")
    for words in result.not_checked:
        say(f"- {words}")
    say("")
    for words in result.cautions:
        say(words)


def _print_section(section: Section) -> None:
    """Print a section of the sheet, with everything in its lists."""
    say("")
    say(f"{section.title}:")
    for words in section.sentences:
        say(words.strip())
    if section.rows:
        print_table(section.header, section.rows)
    for words in section.after:
        say(words)


def _print_edges(result: BurnsheetResult) -> None:
    from habmap.measures import ft
    from habmap.show.burn.sections import hour_words
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
                    hour_words(edge.from_time), hour_words(edge.to_time), wind_16(edge.wind_from_deg),
                    ft(edge.length_m), wind_16(edge.outward_deg), edge.side, edge.beyond_words,
                ]
                for edge in result.turned_edges
            ],
        )  # fmt: skip
    print_table(
        [BREAK_WORDS, "fuel beside", "feet wide", "to", "acres", "to", "source"],
        [
            [one.rule, one.fuel, one.width_low_ft, one.width_high_ft, one.acres_low, one.acres_high, one.source]
            for one in result.published_breaks
        ],
    )


def _print_hours(result: BurnsheetResult) -> None:
    if not result.hours:
        return
    from habmap.show.burn.sections import hour_words
    from habmap.work.burn.written_plan import beside, short_name

    def figure(hour: BurnHour, item: str) -> str | None:
        value: float | None = getattr(hour, item)
        ends = [end for line in result.prescription if line.item == item for end in (line.low, line.high)]
        return None if value is None else beside(value, ends)

    def marks(hour: BurnHour) -> str:
        if hour.is_gap:
            return "no forecast for this hour"
        found = [*map(short_name, hour.not_met), *(["wind shift"] if hour.wind_shift else [])]
        silent = ", ".join(map(short_name, hour.not_given))
        return "; ".join([*found, *([f"not given: {silent}"] if silent else [])])

    say("")
    say(f"The forecast, hour by hour: {result.forecast.words if result.forecast else ''}.")
    rows = [
        [
            hour_words(hour.time),
            figure(hour, "temp_f"),
            figure(hour, "rh_pct"),
            "" if hour.rh_pct is None else "#" * round(hour.rh_pct / 5),
            *(figure(hour, item) for item in ("wind_mph", "gust_mph", "wind_from_deg", "fine_fuel_pct", "rain_in")),
            marks(hour),
        ]
        for hour in result.hours
    ]
    print_table(
        ["hour", "°F", "RH %", "RH: # = 5%", "wind", "gusts", "from °", "fuel %", "rain in", "not met, and shifts"],
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
        say(f"Notice logged: {one.who}, {one.when}, {one.how}.")
    if waiting:
        say(f"To be notified by habmap.toml, no notice logged for this ground and day: {'; '.join(waiting)}.")
