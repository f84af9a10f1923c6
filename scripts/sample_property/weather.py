"""An invented forecast of hours around a burn day: warm and dry from the south, then a front that turns the wind."""

from __future__ import annotations

import math
from datetime import datetime, timedelta

FORECAST_COLUMNS = ("time", "temp_f", "rh_pct", "wind_mph", "gust_mph", "wind_from_deg", "rain_in", "wind_height")
_FIRST = datetime(2027, 3, 6, 6)
_HOURS = 30
#: The front comes through; two hours late at night have no row.
_FRONT = datetime(2027, 3, 6, 19)
_MISSING = {datetime(2027, 3, 7, 1), datetime(2027, 3, 7, 2)}


def forecast_rows() -> list[dict[str, object]]:
    """Return the hours, local civil time, as such tables come: whole degrees, per cent and miles an hour."""
    rows: list[dict[str, object]] = []
    for at in (_FIRST + timedelta(hours=number) for number in range(_HOURS)):
        if at in _MISSING:
            continue
        is_behind = at >= _FRONT
        warmth = math.cos((at.hour - 15) / 24 * 2 * math.pi)  # warmest in the middle of the afternoon
        temp_f = (44 if is_behind else 52) + 14 * warmth
        wind_mph = (13 if is_behind else 7) + 3 * max(0.0, warmth)
        rows.append(
            {
                "time": at.isoformat(timespec="minutes"),
                "temp_f": round(temp_f),
                "rh_pct": round(58 - 22 * warmth + (8 if is_behind else 0)),
                "wind_mph": round(wind_mph),
                "gust_mph": round(1.5 * wind_mph),
                "wind_from_deg": 350 if is_behind else 190 + 10 * round(max(0, at.hour - 12) / 3),
                "rain_in": 0,
                "wind_height": "20ft",
            }
        )
    return rows
