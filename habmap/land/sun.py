"""When the sun rises and sets on a day.

References
----------
Low-precision solar coordinates of the Astronomical Almanac, as the U.S. Naval Observatory publishes them (from memory):
good to about a minute of time below 60° of latitude.
"""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta
from typing import Final

_J2000: Final = datetime(2000, 1, 1, 12, tzinfo=UTC)
#: Height of the sun's center when its upper rim is on a level horizon: its radius and the usual refraction [°].
RIM_HEIGHT_DEG: Final = -0.833


def sunrise_and_sunset(lat: float, lon: float, day: date) -> tuple[datetime, datetime] | None:
    """Return sunrise and sunset around the noon of a day, on a level horizon; ``None`` where the sun does neither.

    Parameters
    ----------
    lat, lon
        WGS 84 [°], west negative.
    day
        Local calendar day.

    Returns
    -------
    tuple of datetime
        Both in UTC.
    """
    noon = datetime(day.year, day.month, day.day, 12, tzinfo=UTC) - timedelta(hours=lon / 15)
    moments = []
    for side in (-1, 1):
        moment = noon
        for _ in range(3):  # the sun moves on between noon and the moment looked for
            declination_deg, lead_hours = _sun(moment)
            cosine = _cosine_of_half_day(lat, declination_deg)
            if abs(cosine) > 1:
                return None
            moment = noon + timedelta(hours=side * math.degrees(math.acos(cosine)) / 15 - lead_hours)
        moments.append(moment)
    return moments[0], moments[1]


def _cosine_of_half_day(lat: float, declination_deg: float) -> float:
    phi, delta = math.radians(lat), math.radians(declination_deg)
    height = math.sin(math.radians(RIM_HEIGHT_DEG))
    return (height - math.sin(phi) * math.sin(delta)) / max(1e-9, math.cos(phi) * math.cos(delta))


def _sun(moment: datetime) -> tuple[float, float]:
    """Return the sun's declination [°] and how far a sundial is ahead of the clock [h]."""
    days = (moment - _J2000) / timedelta(days=1)
    anomaly = math.radians(357.529 + 0.98560028 * days)
    mean_deg = 280.459 + 0.98564736 * days
    longitude = math.radians(mean_deg + 1.915 * math.sin(anomaly) + 0.020 * math.sin(2 * anomaly))
    tilt = math.radians(23.439 - 0.00000036 * days)
    ascension_deg = math.degrees(math.atan2(math.cos(tilt) * math.sin(longitude), math.cos(longitude)))
    lead_deg = (mean_deg - ascension_deg + 180) % 360 - 180
    return math.degrees(math.asin(math.sin(tilt) * math.sin(longitude))), lead_deg / 15
