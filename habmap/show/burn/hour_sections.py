"""The forecast on the burn sheet: a chart of its hours, what its marks mean, and the hours that stand out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import partial
from itertools import groupby, pairwise
from zoneinfo import ZoneInfo

from habmap.land.grid import LocalGrid
from habmap.land.sun import sunrise_and_sunset
from habmap.show.burn.chart import HoursChart
from habmap.show.burn.sheet import Section
from habmap.show.burn.words import span_words
from habmap.work.burn.hours import WIND_SHIFT_DEG, BurnHour
from habmap.work.burn.result import BurnsheetResult
from habmap.work.burn.written_plan import ITEMS, short_name


def hours_chart(result: BurnsheetResult, *, grid: LocalGrid, zone: ZoneInfo) -> HoursChart | None:
    """Return the hours of a burn sheet as they are drawn; ``None`` where there is no forecast."""
    if not result.hours:
        return None
    limits: defaultdict[str, list[tuple[float, float]]] = defaultdict(list)
    # A limit that the forecast's hours were not held against, of a wind at another height, is not drawn beside them.
    apart = {item for hour in result.hours for item in hour.not_given if getattr(hour, item, None) is not None}
    for line in result.prescription:
        if line.comparison != "no plan" and line.item not in apart and line.low is not None and line.high is not None:
            limits[line.item].append((line.low, line.high))
    ignition = datetime.fromisoformat(result.time)
    return HoursChart(
        hours=result.hours,
        ignition=ignition,
        nights=_nights(ignition, grid, zone),
        limits={item: tuple(dict.fromkeys(pairs)) for item, pairs in limits.items()},
    )


def _nights(ignition: datetime, grid: LocalGrid, zone: ZoneInfo) -> tuple[tuple[datetime, datetime], ...]:
    """Return the nights before, after and following the day of ignition, in local civil time."""
    days = [ignition.date() + timedelta(days=number) for number in (-1, 0, 1, 2)]
    suns = [sunrise_and_sunset(grid.lat, grid.lon, day) for day in days]
    found = []
    for day, next_day in pairwise(suns):
        if day is not None and next_day is not None:
            sets, rises = (moment.astimezone(zone).replace(tzinfo=None) for moment in (day[1], next_day[0]))
            found.append((sets, rises))
    return tuple(found)


def chart_words(result: BurnsheetResult, chart: HoursChart) -> str:
    """Return where the hours come from, what the marks mean that the chart holds, and what is not in it."""
    source = f"{result.forecast.words}. " if result.forecast else ""
    words = []
    if chart.limits:
        gusts = " (g, dotted: gusts)" if "gust_mph" in chart.limits else ""
        words.append(f"Dashed: the written plan’s limits{gusts}; a curve between them decides nothing")
        if any(len(pairs) > 1 for pairs in chart.limits.values()):
            words.append("the units’ limits differ, all are drawn")
    else:
        words.append("No written plan is in force here, so no limits are drawn")
    if any(hour.gust_mph is not None for hour in chart.hours):
        words.append("open dots: gusts")
    if any(hour.wind_from_deg is not None for hour in chart.hours):
        words.append("arrows: the way the wind blows, north up")
    if any(hour.wind_shift for hour in chart.hours):
        words.append(f"bar under an arrow: turned more than {WIND_SHIFT_DEG:g}° since ignition")
    if any("wind_from_deg" in hour.not_met for hour in chart.hours):
        words.append("ring under it: from outside the plan’s directions")
    if any(hour.is_gap for hour in chart.hours):
        words.append("diagonal hatching: no forecast")
    if any(hour.fine_fuel_pct is None and not hour.is_gap for hour in chart.hours):
        if result.fine_fuel_moisture_pct is None and all(hour.fine_fuel_pct is None for hour in chart.hours):
            words.append(f"fuel: no figure, {result.fine_fuel_words}")
        else:
            words.append("fuel: driest ground; no figure outside the tables’ hours (08 to 20) and range")
    else:
        words.append("fuel: driest ground")
    return f"{source}A forecast is not the weather on site. {'; '.join(words)}."


def hours_sections(result: BurnsheetResult, most: int) -> tuple[Section, ...]:
    """Return when the forecast has something not met, turns far, or is silent: a row for each, all hours in it.

    Parameters
    ----------
    most
        Longest list of times in a row; what is left out there is counted in it.
    """
    marks: list[tuple[str, Callable[[BurnHour], bool]]] = [("wind shift", lambda hour: hour.wind_shift)]
    marks += [(short_name(item), partial(_is_not_met, item)) for item in ITEMS]
    marks.append(("no forecast", lambda hour: hour.is_gap))
    rows = []
    for name, is_so in marks:
        spans = [list(run) for so, run in groupby(result.hours, key=is_so) if so]
        if spans:
            rows.append((name, span_words([(run[0].time, run[-1].time) for run in spans], most)))
    silent = [short_name(item) for item in ITEMS if any(item in hour.not_given for hour in result.hours)]
    if silent:
        rows.append(("not given", f"some hours or all: {', '.join(silent)}"))
    if not rows:
        return ()
    return (
        Section(
            title="Forecast hours: not met, shifts and gaps",
            header=("what", "when"),
            rows=tuple(rows),
            shares=(0.32, 0.68),
            may_move=True,
        ),
    )


def _is_not_met(item: str, hour: BurnHour) -> bool:
    return item in hour.not_met
