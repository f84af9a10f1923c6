"""``habmap burnsheet``: the weather beside the written plan, and what lies on each side of the fire."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

import typer

from habmap.cli import burn_options as options
from habmap.cli.context import JsonOption, OverwriteOption, Session
from habmap.cli.fact_options import Told, add_command
from habmap.cli.output import say, told_as_json
from habmap.errors import UsageError

if TYPE_CHECKING:
    from shapely import MultiPolygon

    from habmap.jobs.burnsheet import Burnsheet
    from habmap.jobs.ports import Store
    from habmap.records import Fact, ForecastHour
    from habmap.show.burn.sheet import BurnPaper
    from habmap.work.burn.request import ForecastSource


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
        from habmap.jobs.past_burn import past_burn

        sheet = past_burn(session.store(), again, today=session.local_day())
    else:
        sheet = _asked(session, told, at, names or (), patch, forecast, targets, paper, overwrite, is_sure=is_sure)
    _show(session, sheet, targets, paper, overwrite=overwrite, as_json=as_json)


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
) -> Burnsheet:
    """Return the burn sheet of ground, hour and weather as a person gives them."""
    if at is None:
        raise UsageError("give a time of ignition", where="--time", mend="give the time of ignition, or --again ENTRY")
    if not names and patch is None:
        raise UsageError("which ground?", where="ID…", mend="name a unit, a block, or give --patch FILE")
    from habmap.records.said import BurnSaid
    from habmap.work.burn.observed import check_burn_said

    check_burn_said(BurnSaid(**told), practice="burn", month=at.month, is_sure=is_sure, needs_hour=False)
    from habmap.jobs.burnsheet import worked_out
    from habmap.work.burn.request import BurnRequest

    store = session.store()
    hours: tuple[ForecastHour, ...] = ()
    source = None
    if forecast is not None:
        hours, source = _read_forecast(forecast, store, told["wind_height"], is_sure=is_sure)
    elif not store.forecasts():
        options.check_complete(told)
    _check_targets(targets, paper, overwrite=overwrite)
    ground = None if patch is None else _read_patch(patch)
    return worked_out(
        store,
        BurnRequest(names=tuple(names), patch=ground, at=at, forecast=hours, forecast_source=source, **told),
    )


def _show(
    session: Session, sheet: Burnsheet, targets: Sequence[Path], paper: str, *, overwrite: bool, as_json: bool
) -> None:
    """Write the burn sheets that are asked for, then print the result."""
    result = sheet.result
    if targets:
        from habmap.jobs.burnsheet_files import write_burn_sheets

        write_burn_sheets(
            sheet, targets=targets, now=session.now(), paper=cast("BurnPaper", paper), overwrite=overwrite
        )
        result = replace(result, sheets=tuple(str(path) for path in targets))
    if told_as_json("burnsheet", result, as_json=as_json):
        return
    from habmap.cli.burn_report import print_burnsheet

    print_burnsheet(result)
    for path in targets:
        say(f"\nThe burn sheet is {path}; print it at 100%, not fitted to the page. It is not permission to burn.")


def _check_targets(targets: Sequence[Path], paper: str, *, overwrite: bool) -> None:
    options.check_choice("--paper", paper, options.PAPERS)
    if targets:
        from habmap.jobs.burnsheet_files import refuse_targets

        refuse_targets(targets, overwrite=overwrite)


def _read_patch(path: Path) -> MultiPolygon:
    from habmap.place.layers import read_ground_and_repairs

    return read_ground_and_repairs(path)[0]


def _read_forecast(
    path: Path, store: Store, wind_height: str | None, *, is_sure: bool
) -> tuple[tuple[ForecastHour, ...], ForecastSource]:
    """Return the hours of a table and where they came from; the height that was said counts where it says none."""
    from zoneinfo import ZoneInfo

    from habmap.place.load.forecast import read_forecast
    from habmap.work.burn.request import ForecastSource

    table = read_forecast(path, zone=ZoneInfo(store.settings.place.timezone), is_sure=is_sure)
    return table.hours, ForecastSource(file_name=path.name, wind_height=table.wind_height or wind_height)
