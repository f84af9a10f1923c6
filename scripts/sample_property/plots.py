"""Invented sampling plots: counts and distances as a stand of the planned density would give them."""

from __future__ import annotations

import math

from shapely import Point

from sample_property.chance import Chance
from sample_property.frame import lonlat
from sample_property.outlines import Property, UnitPlan

PLOT_COLUMNS = (
    "plot_id", "unit_id", "lon", "lat", "method", "plot_acres", "radius_ft", "stems", "d1", "d2", "d3", "d4",
    "distance_unit", "crown_ft", "height_ft", "stratum", "date",
)  # fmt: skip
#: Units sampled: method, plots and day. Fixed plots are a twentieth of an acre, or circles of 26.3 ft (the same).
_SAMPLED = (
    ("C1", "fixed", 8, "2024-09-14"),
    ("C2", "fixed", 5, "2024-09-14"),
    ("C3", "quarter", 8, "2024-09-15"),
    ("C4", "quarter", 7, "2024-09-15"),
    ("C5", "fixed", 6, "2024-09-21"),
    ("C6", "fixed", 5, "2024-09-21"),
    ("C7", "quarter", 8, "2024-09-22"),
    ("C8", "quarter", 6, "2024-09-22"),
)
_PLOT_ACRES, _SQ_FT_PER_ACRE, _LONGEST_FT = 0.05, 43560.0, 100.0


def plot_rows(place: Property, plans: tuple[UnitPlan, ...], *, seed: int) -> list[dict[str, object]]:
    """Return plots as rows of ``PLOT_COLUMNS``: Poisson counts on patchy ground; quarter distances in feet."""
    density = {plan.unit_id: plan.stems_per_acre or 0.0 for plan in plans}
    rows = []
    for unit_id, method, count, day in _SAMPLED:
        chance = Chance(seed, f"plots {unit_id}")
        for number in range(1, count + 1):
            x, y = _spot(place, unit_id, chance)
            spot = lonlat(Point(x, y), digits=7)
            here = density[unit_id] * math.exp(chance.normal(0.22) - 0.0242)  # patchy, mean kept
            row: dict[str, object] = dict.fromkeys(PLOT_COLUMNS, "")
            row |= {"plot_id": f"{unit_id}-{number:02d}", "unit_id": unit_id, "lon": f"{spot.x:.7f}"}
            row |= {"lat": f"{spot.y:.7f}", "method": method, "date": day}
            row |= _fixed(here, number, chance) if method == "fixed" else _quarter(here, chance)
            row["height_ft"] = f"{max(4.0, 17 + chance.normal(4)):.0f}"
            rows.append(row)
    return rows


def _spot(place: Property, unit_id: str, chance: Chance) -> tuple[float, float]:
    ground = place.units[unit_id].buffer(-8.5)
    west, south, east, north = ground.bounds
    while True:
        x, y = chance.uniform(west, east), chance.uniform(south, north)
        if ground.contains(Point(x, y)):
            return x, y


def _fixed(stems_per_acre: float, number: int, chance: Chance) -> dict[str, object]:
    size: dict[str, object] = {"plot_acres": "0.05"} if number % 2 else {"radius_ft": "26.33"}
    return size | {"stems": chance.poisson(stems_per_acre * _PLOT_ACRES)}


def _quarter(stems_per_acre: float, chance: Chance) -> dict[str, object]:
    row: dict[str, object] = {"distance_unit": "ft", "crown_ft": f"{max(3.0, 8 + chance.normal(2)):.1f}"}
    per_sq_ft = stems_per_acre / _SQ_FT_PER_ACRE
    for name in ("d1", "d2", "d3", "d4"):
        # nearest of Poisson points in a quarter: P(distance > r) = exp(-density * pi * r² / 4)
        distance_ft = math.sqrt(-math.log(1 - chance.uniform()) * 4 / (math.pi * per_sq_ft))
        row[name] = f"{distance_ft:.1f}" if distance_ft <= _LONGEST_FT else ""
    return row
