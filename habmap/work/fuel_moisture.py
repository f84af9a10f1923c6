"""How dry fine dead fuel is: dead grass, needles and litter. Not red slash, not green crowns.

Three figures of the same air, each by its own published way: the tables of the field guide, an equilibrium moisture,
and the vapor pressure deficit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from habmap.measures import celsius
from habmap.work.fuel_tables import (
    ASPECTS,
    BLOCK_HOURS,
    BLOCKS,
    FIRST_HOUR,
    SLOPE_CLASSES,
    TABLE_A,
    TABLE_A_FROM_F,
    TABLE_OF_MONTH,
    Aspect,
    Level,
    SlopeClass,
    correction_pct,
)

#: Ground with more shade than this counts as shaded, from canopy or cloud [%].
SHADED_ABOVE_PCT: Final = 50.0
#: Differences of height that the tables know [ft].
LEVEL_WITHIN_FT: Final = 1_000.0
TABLES_WITHIN_FT: Final = 2_000.0
#: Steeper than this is the tables' second slope class [%].
STEEP_ABOVE_PCT: Final = 30.0
NO_AIR_WORDS: Final = "temperature or humidity is not given"
DEAD_FUEL_WORDS: Final = (
    "Fine dead fuel moisture describes dead grass, needles and litter. It says nothing of red slash or green crowns, "
    "which can burn hard when it is high."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """The weather that the tables ask for.

    Attributes
    ----------
    at
        Local civil time.
    temp_f, rh_pct
        Air temperature [°F] and relative humidity [%].
    shade_pct
        Share of the ground in shade; ``None`` counts as exposed, the drier [%].
    above_weather_ft
        Height of the ground above the place of the weather, negative below; ``None`` counts as level [ft].
    lat_deg
        Latitude of the ground, negative in the south [°]; ``None`` counts as northern.
    """

    at: datetime
    temp_f: float
    rh_pct: float
    shade_pct: float | None = None
    above_weather_ft: float | None = None
    lat_deg: float | None = None


def equilibrium_moisture_simard_1968(temp_f: float, rh_pct: float) -> float:
    """Return the moisture that wood would come to in this air [%].

    Notes
    -----
    Three pieces: humidity below 10%, 10 to 50%, above 50%. They do not meet at their joints.

    References
    ----------
    Simard, A. J. 1968. The moisture content of forest fuels. Forest Fire Research Institute, FF-X-14, Ottawa.

    Examples
    --------
    >>> round(equilibrium_moisture_simard_1968(70, 30), 4)
    5.9958
    """
    t, h = temp_f, rh_pct
    if h < 10:
        return 0.03229 + 0.281073 * h - 0.000578 * h * t
    if h <= 50:
        return 2.22749 + 0.160107 * h - 0.014784 * t
    return 21.0606 + 0.005565 * h**2 - 0.00035 * h * t - 0.483199 * h


def saturation_vapour_pressure_kpa(temp_c: float) -> float:
    """Return the vapor pressure of saturated air [kPa].

    References
    ----------
    Allen, R. G. et al. 1998. FAO Irrigation and Drainage Paper 56, equation 11.

    Examples
    --------
    >>> round(saturation_vapour_pressure_kpa(24.5), 3)
    3.075
    """
    return 0.6108 * math.exp(17.27 * temp_c / (temp_c + 237.3))


def vapour_pressure_deficit_kpa(temp_f: float, rh_pct: float) -> float:
    """Return how far the air is from saturated [kPa] (FAO 56: (1 − RH/100) × saturation pressure)."""
    return saturation_vapour_pressure_kpa(celsius(temp_f)) * (1 - rh_pct / 100)


def why_no_tables(air: Air) -> str | None:
    """Say why the tables give no figure for this air; ``None`` when they do."""
    if air.lat_deg is not None and air.lat_deg < 0:
        return (
            "the tables' months and sunny faces are those of the northern half of the Earth, and this ground lies "
            "south of the equator"
        )
    last_hour = FIRST_HOUR + BLOCKS * BLOCK_HOURS
    if not FIRST_HOUR <= air.at.hour < last_hour:
        return f"the tables are for {FIRST_HOUR:02d}00 to {last_hour - 1}59 local time, not {air.at:%H%M}"
    if air.temp_f < TABLE_A_FROM_F[0]:
        return f"the tables begin at {TABLE_A_FROM_F[0]} °F, and it is {air.temp_f:g} °F"
    if abs(air.above_weather_ft or 0.0) > TABLES_WITHIN_FT:
        return f"the tables hold within {TABLES_WITHIN_FT:,.0f} ft of height from the place of the weather"
    return None


def tables_used_words(air: Air) -> str:
    """Say which part of the tables an air is looked up in: table of the month, hours, shade, and height.

    Height is the ground's beside the place of the weather: ``level``, or 1,000 to 2,000 ft ``below`` or ``above`` it.
    """
    first = FIRST_HOUR + (air.at.hour - FIRST_HOUR) // BLOCK_HOURS * BLOCK_HOURS
    shade = "shaded" if (air.shade_pct or 0.0) > SHADED_ABOVE_PCT else "exposed"
    hours = f"{first:02d}00 to {first + BLOCK_HOURS - 1:02d}59"
    return f"NWCG table {TABLE_OF_MONTH[air.at.month]}, {hours}, {shade}, {_level(air.above_weather_ft)}"


def other_clock(air: Air, *, is_daylight: bool) -> Air:
    """Return the same air an hour apart, as the tables would be read were their hours of the other clock."""
    return replace(air, at=air.at + timedelta(hours=-1 if is_daylight else 1))


def clock_words(pct: float, other_pct: float | None, *, is_daylight: bool) -> str:
    """Say what the guide leaves open of its hours, and what the other reading gives.

    Notes
    -----
    PMS 437 says "time of day" and no more. Its rows for east and west faces mirror each other about 1400, where the
    sun stands highest by a daylight clock in the west of a time zone, so that its hours look like daylight time; nobody
    says so. The clock that the property shows is read, and this sentence says what hangs on it.
    """
    clock = "daylight" if is_daylight else "standard"
    other = "standard" if is_daylight else "daylight"
    reading = "no figure" if other_pct is None else f"{other_pct:g}%" if other_pct != pct else "the same figure"
    return (
        f"The guide does not say whether its hours are daylight or standard time; read by the clock of the day "
        f"({clock} time). Were they {other} time, the driest ground would have {reading}"
    )


def reference_moisture_pct(temp_f: float, rh_pct: float) -> int:
    """Return table A's figure [%]; ``temp_f`` at least 10.

    Fractions belong to the row and column they begin in: 49.6 °F is the row 30–49, 34.9% the column 30–34.
    """
    row = max(i for i, first in enumerate(TABLE_A_FROM_F) if temp_f >= first)
    return TABLE_A[row][int(rh_pct // 5)]


def table_moisture_pct(
    air: Air, *, aspect: Aspect | None, slope_class: SlopeClass | None, is_flat: bool = False
) -> int | None:
    """Return fine dead fuel moisture by the tables [%]; ``None`` outside their hours or range (see `why_no_tables`).

    Parameters
    ----------
    aspect, slope_class
        Of the ground itself. ``None``: not known, and the lowest correction of all is taken, the driest answer.
    is_flat
        Flat ground faces nowhere: it takes the lowest correction of the four aspects at 0–30%.
    """
    if why_no_tables(air) is not None:
        return None
    aspects = ASPECTS if aspect is None or is_flat else (aspect,)
    slopes: tuple[SlopeClass, ...] = SLOPE_CLASSES if slope_class is None else (slope_class,)
    if is_flat:
        slopes = ("0-30",)
    block = (air.at.hour - FIRST_HOUR) // BLOCK_HOURS
    return reference_moisture_pct(air.temp_f, air.rh_pct) + min(
        correction_pct(
            TABLE_OF_MONTH[air.at.month],
            is_shaded=(air.shade_pct or 0.0) > SHADED_ABOVE_PCT,
            aspect=one,
            slope_class=slope,
            block=block,
            level=_level(air.above_weather_ft),
        )
        for one in aspects
        for slope in slopes
    )


def _level(above_weather_ft: float | None) -> Level:
    if above_weather_ft is None or abs(above_weather_ft) < LEVEL_WITHIN_FT:
        return "level"
    return "above" if above_weather_ft > 0 else "below"
