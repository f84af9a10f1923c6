"""Options that say what was observed at a burn and who was told before, shared by ``log`` and ``amend``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from habmap.cli.burn_options import parsed_wind_from

if TYPE_CHECKING:
    import datetime as dt

    from habmap.jobs.burn.record import BurnSaid

IgnitionOption = Annotated[
    str | None, typer.Option("--observed-time", metavar="HH:MM", help="A burn: hour of ignition and of the weather.")
]
TempOption = Annotated[float | None, typer.Option("--temp-f", metavar="F", help="A burn: air temperature observed.")]
HumidityOption = Annotated[
    float | None, typer.Option("--rh-pct", metavar="R", help="A burn: relative humidity observed.")
]
WindOption = Annotated[float | None, typer.Option("--wind-mph", metavar="W", help="A burn: wind observed.")]
WindFromOption = Annotated[
    float | None,
    typer.Option("--wind-from", parser=parsed_wind_from, metavar="DEG|NNW", help="A burn: where the wind came from."),
]
GustOption = Annotated[float | None, typer.Option("--gust-mph", metavar="G", help="A burn: gusts observed.")]
ShadeOption = Annotated[float | None, typer.Option("--shade-pct", metavar="S", help="A burn: shade on the ground.")]
RainOption = Annotated[
    float | None, typer.Option("--days-since-rain", metavar="D", help="A burn: days since it rained.")
]
MixingOption = Annotated[
    float | None, typer.Option("--mixing-height-ft", metavar="FT", help="A burn: mixing height that day.")
]
TransportOption = Annotated[
    float | None, typer.Option("--transport-wind-mph", metavar="W", help="A burn: transport wind that day.")
]
ElevationOption = Annotated[
    float | None,
    typer.Option("--weather-elevation-ft", metavar="FT", help="A burn: height of the place of the weather."),
]
WindHeightOption = Annotated[
    str | None, typer.Option("--wind-height", metavar="20ft|eye", help="A burn: where the wind was measured.")
]
PlanKindOption = Annotated[
    str | None, typer.Option("--plan-kind", metavar="grass|down_cedar|piles", help="A burn: which written plan.")
]
ToldOption = Annotated[
    list[str] | None,
    typer.Option("--told", metavar="WHO;WHEN;HOW", help="A burn: a notice given; repeat. Amending: all anew."),
]


def burn_said(
    *,
    practice: str | None,
    date: dt.date | None,
    is_sure: bool,
    ignition: str | None,
    temp_f: float | None,
    rh_pct: float | None,
    wind_mph: float | None,
    wind_from: float | None,
    gust_mph: float | None,
    shade_pct: float | None,
    days_since_rain: float | None,
    mixing_height_ft: float | None,
    transport_wind_mph: float | None,
    weather_elevation_ft: float | None,
    wind_height: str | None,
    plan_kind: str | None,
    told: list[str] | None,
) -> BurnSaid:
    """Return what the options say, refused where the command line alone shows that it cannot be.

    Parameters
    ----------
    practice, date
        Of the line; ``None`` where only the log knows them (the job looks again).
    is_sure
        The person said that the numbers are right as they stand.

    Raises
    ------
    UsageError
        Something cannot be.
    """
    from habmap.jobs.burn.record import BurnSaid, check_burn_said, notice_of

    said = BurnSaid(
        ignition=ignition,
        temp_f=temp_f,
        rh_pct=rh_pct,
        wind_mph=wind_mph,
        wind_from_deg=wind_from,
        gust_mph=gust_mph,
        shade_pct=shade_pct,
        days_since_rain=days_since_rain,
        mixing_height_ft=mixing_height_ft,
        transport_wind_mph=transport_wind_mph,
        weather_elevation_ft=weather_elevation_ft,
        wind_height=wind_height,
        plan_kind=plan_kind,
        notices=tuple(notice_of(text) for text in told or ()),
    )
    if practice is not None:
        check_burn_said(said, practice=practice, month=date.month if date else None, is_sure=is_sure)
    return said
