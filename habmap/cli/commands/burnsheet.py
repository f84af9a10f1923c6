"""``habmap burnsheet``: the weather beside the written plan, and what lies on each side of the fire."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

import typer

from habmap.cli import burn_options as options
from habmap.cli.context import JsonOption, OverwriteOption, Session
from habmap.cli.fact_options import Told, add_command
from habmap.cli.output import print_table, say, steps_shown, told_as_json
from habmap.errors import UsageError

if TYPE_CHECKING:
    from habmap.jobs.burnsheet import Burnsheet
    from habmap.jobs.ports import Store
    from habmap.progress import Steps
    from habmap.records import Fact, ForecastHour
    from habmap.show.burn.sheet import BurnPaper, Section
    from habmap.work.burn.hours import BurnHour
    from habmap.work.burn.request import BurnRequest, ForecastSource
    from habmap.work.burn.result import BurnsheetResult


def register(app: typer.Typer) -> None:
    """Hang the command on the app."""
    add_command(app, "burnsheet", _burnsheet, _weather_facts)


def _weather_facts() -> tuple[Fact, ...]:
    from habmap.work.burn.request import WEATHER_FACTS

    return tuple(WEATHER_FACTS.values())


def _burnsheet(
    context: typer.Context,
    at: Annotated[
        dt.datetime | None,
        typer.Option("--time", parser=options.parsed_time, metavar="TIME", help="Ignition, YYYY-MM-DDTHH:MM local."),
    ] = None,
    names: Annotated[
        list[str] | None,
        typer.Argument(metavar="ID…", help="Units burned as one, their pieces (C1:down), or a block's name."),
    ] = None,
    patch: Annotated[
        Path | None, typer.Option("--patch", metavar="FILE", help="The block as drawn, instead of whole units.")
    ] = None,
    *,
    told: Told,
    forecast: Annotated[
        Path | None, typer.Option("--forecast", metavar="CSV", help="A forecast of hours, instead of the one kept.")
    ] = None,
    sheets: Annotated[
        list[Path] | None,
        typer.Option("--sheet", metavar="FILE", help="Write the burn sheet: a .pdf or .html; may be given twice."),
    ] = None,
    paper: Annotated[
        str, typer.Option("--paper", metavar="|".join(options.PAPERS), help="The paper of the burn sheet.")
    ] = options.PAPERS[0],
    again: Annotated[
        str | None, typer.Option("--again", metavar="ENTRY", help="A burn in the log, its day made again.")
    ] = None,
    overwrite: OverwriteOption = False,
    is_sure: Annotated[bool, typer.Option("--yes", help="The temperature is right as it stands.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Compare the weather with the burn plan; look around a burn.

    Fuel moisture, edges by wind and what lies beyond them, what is downwind. It compares; it permits nothing.
    Shade that is left out counts as exposed, height as level; the plan is the one for most of the ground.
    """
    session: Session = context.obj
    targets = sheets or ()
    if again is not None:
        options.check_alone(again, (names, patch, at, forecast, *told.values()))
        _check_targets(targets, paper, overwrite=overwrite)

        def made(steps: Steps) -> Burnsheet:
            from habmap.jobs.burnsheet import past_burn

            return past_burn(session.store(), again, today=session.local_day(), steps=steps)
    else:
        request = _asked(session, told, at, names or (), patch, forecast, targets, paper, overwrite, is_sure=is_sure)

        def made(steps: Steps) -> Burnsheet:
            from habmap.jobs.burnsheet import worked_out

            return worked_out(session.store(), request, steps=steps)

    _show(session, made, targets, paper, overwrite=overwrite, as_json=as_json)


def _asked(
    session: Session,
    told: Told,
    at: dt.datetime | None,
    names: Sequence[str],
    patch: Path | None,
    forecast: Path | None,
    targets: Sequence[Path],
    paper: str,
    overwrite: bool,
    *,
    is_sure: bool,
) -> BurnRequest:
    """Return what is asked of ground, hour and weather as a person gives them."""
    if at is None:
        raise UsageError("give a time of ignition", where="--time", mend="give the time of ignition, or --again ENTRY")
    if not names and patch is None:
        raise UsageError("which ground?", where="ID…", mend="name a unit, a block, or give --patch FILE")
    from habmap.records.said import BurnSaid
    from habmap.work.burn.observed import check_burn_said

    check_burn_said(BurnSaid(**told), practice="burn", month=at.month, is_sure=is_sure, needs_hour=False)
    from habmap.work.burn.request import BurnRequest

    store = session.store()
    hours: tuple[ForecastHour, ...] = ()
    source = None
    if forecast is not None:
        hours, source = _read_forecast(forecast, store, told["wind_height"], is_sure=is_sure)
    elif not store.forecasts():
        options.check_complete(told)
    _check_targets(targets, paper, overwrite=overwrite)
    from habmap.place.layers import read_ground

    ground = None if patch is None else read_ground(patch)
    return BurnRequest(names=tuple(names), patch=ground, at=at, forecast=hours, forecast_source=source, **told)


def _show(
    session: Session,
    made: Callable[[Steps], Burnsheet],
    targets: Sequence[Path],
    paper: str,
    *,
    overwrite: bool,
    as_json: bool,
) -> None:
    """Make the burn sheet and write those that are asked for, then print the result."""
    from habmap.jobs.burnsheet import BURN_STEPS, SHEET_STEPS

    with steps_shown(*BURN_STEPS, *(SHEET_STEPS if targets else ())) as steps:
        sheet = made(steps)
        result = sheet.result
        if targets:
            from habmap.jobs.burnsheet_files import write_burn_sheets

            write_burn_sheets(
                sheet, targets=targets, now=session.now(), paper=cast("BurnPaper", paper), overwrite=overwrite,
                steps=steps,
            )  # fmt: skip
            result = replace(result, sheets=tuple(str(path) for path in targets))
    if told_as_json("burnsheet", result, as_json=as_json):
        return

    print_burnsheet(result)
    for path in targets:
        say(f"\nThe burn sheet is {path}; print it at 100%, not fitted to the page. It is not permission to burn.")


def _check_targets(targets: Sequence[Path], paper: str, *, overwrite: bool) -> None:
    options.check_choice("--paper", paper, options.PAPERS)
    if targets:
        from habmap.jobs.burnsheet_files import refuse_targets

        refuse_targets(targets, overwrite=overwrite)


def _read_forecast(
    path: Path, store: Store, wind_height: str | None, *, is_sure: bool
) -> tuple[tuple[ForecastHour, ...], ForecastSource]:
    """Return the hours of a table and where they came from; the height that was said counts where it says none."""
    from zoneinfo import ZoneInfo

    from habmap.place.load.forecast import read_forecast
    from habmap.work.burn.request import ForecastSource

    table = read_forecast(path, zone=ZoneInfo(store.settings.place.timezone), is_sure=is_sure)
    return table.hours, ForecastSource(file_name=path.name, wind_height=table.wind_height or wind_height)


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
