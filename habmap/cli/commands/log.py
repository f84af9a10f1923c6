"""``habmap log``: one line of the work log."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

import typer

from habmap.cli import burn_log_options as burn_options
from habmap.cli import track_options
from habmap.cli import work_options as options
from habmap.cli.context import DateOption, JsonOption, Session
from habmap.cli.output import print_json
from habmap.errors import UsageError


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("log")(log)


def log(
    context: typer.Context,
    practice: Annotated[
        str, typer.Argument(metavar="PRACTICE", help="cut, girdle, spray, burn, mow, checkup, keep, …")
    ],
    date: DateOption = None,
    unit: options.UnitOption = None,
    is_all: options.AllOption = False,
    track: track_options.TrackOption = None,
    swath_ft: track_options.SwathOption = None,
    travel: track_options.TravelOption = "foot",
    start: track_options.FromOption = None,
    end: track_options.ToOption = None,
    patch: options.PatchOption = None,
    repair: options.RepairOption = False,
    block: options.BlockOption = None,
    killed_pct: options.KilledOption = None,
    burned_pct: options.BurnedOption = None,
    person_hours: options.HoursOption = None,
    cost: options.CostOption = None,
    reported_acres: options.ReportedOption = None,
    who: options.WhoOption = None,
    note: options.NoteOption = None,
    product: options.ProductOption = None,
    rate: options.RateOption = None,
    live_stems_per_acre: options.StemsOption = None,
    tallest_ft: options.TallestOption = None,
    seedlings_per_acre: options.SeedlingsOption = None,
    sprouts: options.SproutsOption = None,
    needles: options.NeedlesOption = None,
    fuel_lb_ac: options.FuelOption = None,
    stump_treated: options.StumpsOption = None,
    observed_time: burn_options.IgnitionOption = None,
    temp_f: burn_options.TempOption = None,
    rh_pct: burn_options.HumidityOption = None,
    wind_mph: burn_options.WindOption = None,
    wind_from: burn_options.WindFromOption = None,
    gust_mph: burn_options.GustOption = None,
    shade_pct: burn_options.ShadeOption = None,
    days_since_rain: burn_options.RainOption = None,
    mixing_height_ft: burn_options.MixingOption = None,
    transport_wind_mph: burn_options.TransportOption = None,
    weather_elevation_ft: burn_options.ElevationOption = None,
    wind_height: burn_options.WindHeightOption = None,
    plan_kind: burn_options.PlanKindOption = None,
    told: burn_options.ToldOption = None,
    yes: options.YesOption = False,
    as_json: JsonOption = False,
) -> None:
    """Add one piece of work to the log, with the ground it covered."""
    from habmap.jobs.log import log as add
    from habmap.jobs.said import Said, check_practice, check_said, look_of

    session: Session = context.obj
    look = look_of(
        live_stems_per_acre=live_stems_per_acre,
        tallest_ft=tallest_ft,
        seedlings_per_acre=seedlings_per_acre,
        sprouts=sprouts,
        needles=needles,
        fuel_lb_ac=fuel_lb_ac,
        stump_treated=stump_treated,
    )
    said = Said(
        killed_pct=killed_pct,
        burned_pct=burned_pct,
        person_hours=person_hours,
        cost=cost,
        reported_acres=reported_acres,
        who=who,
        note=note,
        product=product,
        product_rate=rate,
        look=look,
    )
    check_practice(practice)
    check_said(said, practice=practice)
    burn = burn_options.burn_said(
        practice=practice,
        date=date,
        is_sure=yes,
        ignition=observed_time,
        temp_f=temp_f,
        rh_pct=rh_pct,
        wind_mph=wind_mph,
        wind_from=wind_from,
        gust_mph=gust_mph,
        shade_pct=shade_pct,
        days_since_rain=days_since_rain,
        mixing_height_ft=mixing_height_ft,
        transport_wind_mph=transport_wind_mph,
        weather_elevation_ft=weather_elevation_ft,
        wind_height=wind_height,
        plan_kind=plan_kind,
        told=told,
    )
    walked = track_options.track_ground(
        session.store,
        tracks=track,
        swath_ft=swath_ft,
        travel=travel,
        units=unit,
        has_other_ground=patch is not None or is_all or bool(block),
        day=date,
        start=start,
        end=end,
    )
    if walked is not None:
        store = session.store()
        covered, unit_ids, day = walked.patch, walked.unit_ids, walked.day
    else:
        if date is None:
            raise UsageError(
                "on which day?",
                where="--date",
                allowed="YYYY-MM-DD, or a --track whose times tell the day",
                mend="give the day of the work",
            )
        ground = options.ground_from(session.store, units=unit, is_all=is_all, patch=patch, repair=repair, block=block)
        if ground is None:
            raise UsageError(
                "on which ground?",
                where="log",
                allowed="one of --unit ID --whole, --track GPX, --patch FILE, --block NAME",
                mend="give the ground that the work really covered",
            )
        store = session.store()
        covered, unit_ids, day = *ground(date), date
    result = add(
        store,
        practice=practice,
        date=day,
        patch=covered,
        said=said,
        now=session.now(),
        today=session.today(store.settings.place.timezone),
        unit_ids=unit_ids,
        acres_sd=None if walked is None else walked.acres_sd,
        burn=burn,
        agree=options.agreement(is_yes=yes, as_json=as_json),
    )
    if walked is not None:
        result = replace(result, warnings=(*result.warnings, *walked.notes))
    if as_json:
        print_json("log", result)
    else:
        options.print_logged(result, verb="Logged")
