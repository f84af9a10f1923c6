"""Where a compass needle points: the World Magnetic Model at a place on a day.

References
----------
NOAA NCEI and British Geological Survey, The US/UK World Magnetic Model for 2025-2030 (and those of 2020 and 2015):
five years each, coefficients and error model from the library `pygeomag`. Held to the report's own test values.
"""

from __future__ import annotations

import calendar
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any, Final

#: The models that are known, by the January 1 that each begins on, for the modules that hold their coefficients. The
#: one of 2015 is the second, which NOAA put in the place of the first. Older ones have no error model.
_MODELS: Final = {2015: "2015v2", 2020: "2020", 2025: "2025"}
#: Each holds so long.
_YEARS: Final = 5
FIRST_YEAR: Final = min(_MODELS)
LAST_YEAR: Final = max(_MODELS) + _YEARS - 1
#: Where the horizontal field is weaker a needle shows no direction that could be relied on [nT] (the model's "blackout
#: zone", about the magnetic poles).
_LEAST_NT: Final = 2000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Declination:
    """How far magnetic north lies from true north.

    Attributes
    ----------
    east_deg
        Positive where magnetic north lies east of true north [°]: a true bearing is a magnetic one plus this.
    sd_deg
        One standard deviation of it, by the model's error model: local iron and rock are in it, a fence is not [°].
    change_deg_per_year
        How it moves, east positive.
    model
        ``WMM2025``.
    """

    east_deg: float
    sd_deg: float
    change_deg_per_year: float
    model: str


def declination(lon: float, lat: float, day: date) -> Declination | None:
    """Return the magnetic declination [°] of a place on a day, at sea level.

    Parameters
    ----------
    lon, lat
        WGS 84 [°].

    Returns
    -------
    ``None`` outside the years of the models, and about the magnetic poles, where no needle can be relied on.

    Notes
    -----
    A mile of height changes it by less than 0.01° at middle latitudes, so heights are left out.
    """
    begun = day.year // _YEARS * _YEARS
    if begun not in _MODELS:
        return None
    model = _model(begun)
    year = day.year + (day.timetuple().tm_yday - 1) / (366 if calendar.isleap(day.year) else 365)
    here = model.calculate(glat=lat, glon=lon, alt=0.0, time=year)
    if here.h < _LEAST_NT:
        return None
    # The change of a year about the model's middle; it differs little from the first year to the last.
    ends = [model.calculate(glat=lat, glon=lon, alt=0.0, time=one).d for one in (begun + 2.0, begun + 3.0)]
    return Declination(
        east_deg=here.d,
        sd_deg=here.calculate_uncertainty().d,
        change_deg_per_year=(ends[1] - ends[0] + 180) % 360 - 180,
        model=f"WMM{_MODELS[begun]}",
    )


@lru_cache(maxsize=len(_MODELS))
def _model(begun: int) -> Any:
    from importlib import import_module

    from pygeomag import GeoMag

    # From the module, not the library's data file: this room reads none.
    name = _MODELS[begun]
    return GeoMag(coefficients_data=getattr(import_module(f"pygeomag.wmm.wmm_{name}"), f"WMM_{name}"))
