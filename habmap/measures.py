"""Exact unit factors and the few formulas every room shares.

References
----------
International foot: 85 Fed. Reg. 62698 (2020). US survey foot (retired 31 December 2022): NIST SP 811, B.6.
International acre: 43,560 square international feet.
"""

from __future__ import annotations

import math
from datetime import date, timedelta
from decimal import Decimal
from typing import Final, Literal

VerticalUnit = Literal["m", "ft", "us-ft"]

M_PER_FT: Final = 0.3048
M_PER_US_FT: Final = 1200 / 3937
FT2_PER_ACRE: Final = 43_560
M2_PER_ACRE: Final = FT2_PER_ACRE * M_PER_FT**2
M_PER_MILE: Final = 5280 * M_PER_FT
MPH_PER_MPS: Final = 3600 / M_PER_MILE
MPH_PER_KNOT: Final = 1852 / M_PER_MILE
MM_PER_IN: Final = 25.4

M_PER_VERTICAL_UNIT: Final[dict[VerticalUnit, float]] = {"m": 1.0, "ft": M_PER_FT, "us-ft": M_PER_US_FT}


def acres(area_m2: float) -> float:
    """Turn square meters into international acres [acre]."""
    return area_m2 / M2_PER_ACRE


def m2(area_acres: float) -> float:
    """Turn international acres into square meters [m²]."""
    return area_acres * M2_PER_ACRE


def ft(length_m: float) -> float:
    """Turn meters into international feet [ft]."""
    return length_m / M_PER_FT


def slope_deg(slope_pct: float) -> float:
    """Turn a slope in percent (100 × rise/run) into degrees [°]."""
    return math.degrees(math.atan(slope_pct / 100))


def slope_pct(slope_deg: float) -> float:
    """Turn a slope in degrees into percent, 100 × rise/run [%]."""
    return 100 * math.tan(math.radians(slope_deg))


def celsius(temp_f: float) -> float:
    """Turn degrees Fahrenheit into degrees Celsius [°C]."""
    return (temp_f - 32) / 1.8


def fahrenheit(temp_c: float) -> float:
    """Turn degrees Celsius into degrees Fahrenheit [°F]."""
    return temp_c * 1.8 + 32


def significant(value: float, digits: int) -> str:
    """Return a number to so many significant digits, never with an exponent.

    Examples
    --------
    >>> significant(1234.0, 2), significant(0.0123, 2), significant(15.71, 3)
    ('1,200', '0.012', '15.7')
    """
    return f"{Decimal(f'{value:.{digits}g}'):,f}"


def acres_words(value_acres: float) -> str:
    """Return ground in words, to a hundredth of an acre; what would read as none is told as little.

    Examples
    --------
    >>> acres_words(1234.5), acres_words(0.004), acres_words(0.0)
    ('1,234.50 acres', 'under 0.01 acre', '0.00 acres')
    """
    return "under 0.01 acre" if 0 < value_acres < 0.005 else f"{value_acres:,.2f} acres"


def hours_words(hours: float) -> str:
    """Return person-hours in words, whole ones from one on.

    Examples
    --------
    >>> hours_words(1234.5), hours_words(0.043)
    ('1,234 person-hours', '0.04 person-hours')
    """
    return f"{f'{hours:,.0f}' if hours >= 1 else significant(hours, 1)} person-hours"


def so_many(number: int, noun: str, many: str | None = None) -> str:
    """Return so many of a thing; ``many`` where more of it are called otherwise.

    Examples
    --------
    >>> so_many(1, "plot"), so_many(1200, "property"), so_many(2, "stratum", "strata")
    ('1 plot', '1,200 properties', '2 strata')
    """
    usual = f"{noun[:-1]}ies" if noun.endswith("y") else f"{noun}s"
    return f"{number:,} {noun if number == 1 else many or usual}"


def days_after(day: date, days: int) -> date:
    """Return the day that lies some days on [d]; the calendar's first or last day where it would run past it."""
    try:
        return day + timedelta(days=days)
    except OverflowError:
        return date.max if days > 0 else date.min


def unit_behind(unit: str | None) -> str:
    """Return a unit as it stands behind a figure: ``°`` and ``%`` close to it, others after a space, none as nothing.

    Examples
    --------
    >>> [f"5{unit_behind(unit)}" for unit in ("%", "mph", "", None)]
    ['5%', '5 mph', '5', '5']
    """
    return "" if not unit else unit if unit in ("°", "%") else f" {unit}"
