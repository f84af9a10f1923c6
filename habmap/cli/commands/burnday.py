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
from habmap.cli.output import print_json, say, warn
from habmap.errors import UsageError

if TYPE_CHECKING:
    from shapely import MultiPolygon

    from habmap.jobs.burnday import BurnDayResult
    from habmap.jobs.ports import Store
    from habmap.place.load.forecast import ForecastTable
    from habmap.show.burn.sheet import BurnPaper
    from habmap.work.burn.request import BurnRequest, ForecastSource
    from habmap.work.burnday import PlanKind

Number = float | None


def register(app: typer.Typer) -> None:
    """Hang the command on the app."""

    @app.command("burnsheet")
    def burnday_command(
        context: typer.Context,
        at: Annotated[
            dt.datetime | None,
            typer.Option(
                "--time", parser=options.parsed_time, metavar="TIME", help="Ignition, YYYY-MM-DDTHH:MM local."
            ),
        ] = None,
        names: Annotated[
            list[str] | None,
            typer.Argument(metavar="ID…", help="Units burned as one, their pieces (C1:down), or a block's name."),
        ] = None,
        patch: Annotated[
            Path | None, typer.Option("--patch", metavar="FILE", help="The block as drawn, instead of whole units.")
        ] = None,
        temp_f: Annotated[Number, typer.Option("--temp-f", metavar="F", help="Air temperature, Fahrenheit.")] = None,
        rh_pct: Annotated[Number, typer.Option("--rh-pct", metavar="R", help="Relative humidity, percent.")] = None,
        wind_mph: Annotated[Number, typer.Option("--wind-mph", metavar="W", help="Wind, miles an hour.")] = None,
        wind_from: Annotated[
            Number,
            typer.Option(
                "--wind-from", parser=options.parsed_wind_from, metavar="DEG|NNW", help="Where the wind comes from."
            ),
        ] = None,
        shade_pct: Annotated[
            Number, typer.Option("--shade-pct", metavar="S", help="Shade on the ground; left out: exposed.")
        ] = None,
        gust_mph: Annotated[Number, typer.Option("--gust-mph", metavar="G", help="Gusts, miles an hour.")] = None,
        days_since_rain: Annotated[
            Number, typer.Option("--days-since-rain", metavar="D", help="Days since it rained.")
        ] = None,
        mixing_height_ft: Annotated[
            Number, typer.Option("--mixing-height-ft", metavar="FT", help="Mixing height, feet above ground.")
        ] = None,
        transport_wind_mph: Annotated[
            Number, typer.Option("--transport-wind-mph", metavar="W", help="Transport wind, miles an hour.")
        ] = None,
        weather_elevation_ft: Annotated[
            Number,
            typer.Option(
                "--weather-elevation-ft", metavar="FT", help="Height of the place of the weather; left out: level."
            ),
        ] = None,
        plan_kind: Annotated[
            str | None,
            typer.Option("--plan-kind", metavar="grass|down_cedar|piles", help="Which plan; left out: by the stage."),
        ] = None,
        forecast: Annotated[
            Path | None, typer.Option("--forecast", metavar="CSV", help="A forecast of hours, instead of the one kept.")
        ] = None,
        wind_height: Annotated[
            str | None, typer.Option("--wind-height", metavar="20ft|eye", help="Where the wind is measured.")
        ] = None,
        sheets: Annotated[
            list[Path] | None,
            typer.Option("--sheet", metavar="FILE", help="Write the burn sheet: a .pdf or .html; may be given twice."),
        ] = None,
        paper: Annotated[
            str, typer.Option("--paper", metavar="letter|a4", help="The paper of the burn sheet.")
        ] = "letter",
        again: Annotated[
            str | None, typer.Option("--again", metavar="ENTRY", help="A burn in the log, its day made again.")
        ] = None,
        overwrite: OverwriteOption = False,
        is_sure: Annotated[bool, typer.Option("--yes", help="The temperature is right as it stands.")] = False,
        as_json: JsonOption = False,
    ) -> None:
        """Compare the weather with the written plan; look around a burn.

        Fuel moisture, edges by wind and what lies beyond them, what is downwind. It compares; it permits nothing.
        """
        if again is not None:
            given = (names, patch, at, temp_f, rh_pct, wind_mph, wind_from, shade_pct, gust_mph, days_since_rain)
            more = (mixing_height_ft, transport_wind_mph, weather_elevation_ft, plan_kind, forecast, wind_height)
            options.check_alone(again, (*given, *more))
            options.check_choice("--paper", paper, ("letter", "a4"))
            _check_sheets(sheets or (), overwrite=overwrite)
            from habmap.jobs.burn.again import burn_again

            session: Session = context.obj
            place = session.store()
            past = burn_again(place, again, today=session.today(place.settings.place.timezone))
            _show(session, past.store, past.request, past.result, sheets or (), paper, overwrite, as_json=as_json)
            return
        if at is None:
            raise UsageError("at which hour?", where="--time", mend="give the time of ignition, or --again ENTRY")
        if not names and patch is None:
            raise UsageError("which ground?", where="ID…", mend="name a unit, a block, or give --patch FILE")
        weather = {
            "temp_f": temp_f,
            "rh_pct": rh_pct,
            "wind_mph": wind_mph,
            "shade_pct": shade_pct,
            "gust_mph": gust_mph,
            "days_since_rain": days_since_rain,
            "mixing_height_ft": mixing_height_ft,
            "transport_wind_mph": transport_wind_mph,
            "weather_elevation_ft": weather_elevation_ft,
        }
        options.check_weather(weather)
        from habmap.records import PLAN_KINDS, WIND_HEIGHTS

        options.check_choice("--plan-kind", plan_kind, PLAN_KINDS)
        options.check_choice("--wind-height", wind_height, WIND_HEIGHTS)
        options.check_temperature(at.month, temp_f, is_sure=is_sure, where="--temp-f")
        options.check_choice("--paper", paper, ("letter", "a4"))
        from habmap.jobs.burnday import burnday
        from habmap.work.burn.request import BurnRequest

        session = context.obj
        store = session.store()
        told = None if forecast is None else _read_forecast(forecast, store, is_sure=is_sure)
        if told is None and not store.forecasts():
            _check_complete(temp_f, rh_pct, wind_mph, wind_from)
        _check_sheets(sheets or (), overwrite=overwrite)
        request = BurnRequest(
            names=tuple(names or ()),
            patch=None if patch is None else _read_patch(patch),
            at=at,
            temp_f=temp_f,
            rh_pct=rh_pct,
            wind_mph=wind_mph,
            wind_from_deg=wind_from,
            shade_pct=shade_pct,
            gust_mph=gust_mph,
            days_since_rain=days_since_rain,
            mixing_height_ft=mixing_height_ft,
            transport_wind_mph=transport_wind_mph,
            weather_elevation_ft=weather_elevation_ft,
            plan_kind=cast("PlanKind | None", plan_kind),
            wind_height=wind_height,
            forecast=told.hours if told else (),
            forecast_source=_source(forecast, told, wind_height),
        )
        result = burnday(store, request)
        _show(session, store, request, result, sheets or (), paper, overwrite, as_json=as_json)


def _show(
    session: Session,
    store: Store,
    request: BurnRequest,
    result: BurnDayResult,
    sheets: Sequence[Path],
    paper: str,
    overwrite: bool,
    *,
    as_json: bool,
) -> None:
    """Write the burn sheets that are asked for, then print the result."""
    if sheets:
        from habmap.jobs.burn.sheet import write_burn_sheets

        write_burn_sheets(
            store,
            request,
            result,
            targets=sheets,
            now=session.now(),
            paper=cast("BurnPaper", paper),
            overwrite=overwrite,
        )
        result = replace(result, sheets=tuple(str(path) for path in sheets))
    for words in result.warnings:
        warn(words)
    if as_json:
        print_json("burnsheet", result)
        return
    from habmap.cli.burn_report import print_burnday

    print_burnday(result)
    for path in sheets:
        say(f"\nThe burn sheet is {path}; print it at 100 %, not fitted to the page. It is not permission to burn.")


def _check_sheets(sheets: Sequence[Path], *, overwrite: bool) -> None:
    if sheets:
        from habmap.jobs.burn.sheet import refuse_targets

        refuse_targets(sheets, overwrite=overwrite)


def _check_complete(temp_f: Number, rh_pct: Number, wind_mph: Number, wind_from: Number) -> None:
    missing = [
        option
        for option, value in (
            ("--temp-f", temp_f),
            ("--rh-pct", rh_pct),
            ("--wind-mph", wind_mph),
            ("--wind-from", wind_from),
        )
        if value is None
    ]
    if missing:
        raise UsageError(
            "the weather is not complete",
            where=", ".join(missing),
            allowed="temperature, humidity, wind and its direction, or a forecast that has them at that hour",
            mend="give what is missing, or load a forecast with `habmap load forecast FILE`",
        )


def _read_patch(path: Path) -> MultiPolygon:
    from habmap.place.layers import read_ground_and_repairs

    return read_ground_and_repairs(path)[0]


def _read_forecast(path: Path, store: Store, *, is_sure: bool) -> ForecastTable:
    from zoneinfo import ZoneInfo

    from habmap.place.load.forecast import read_forecast

    return read_forecast(path, zone=ZoneInfo(store.settings.place.timezone), is_sure=is_sure)


def _source(path: Path | None, told: ForecastTable | None, wind_height: str | None) -> ForecastSource | None:
    """Return where the hours handed over came from; the height that was said counts for a table that says none."""
    from habmap.work.burn.request import ForecastSource

    if path is None or told is None:
        return None
    return ForecastSource(file_name=path.name, wind_height=told.wind_height or wind_height)
