"""The forecast on the burn sheet: a chart of its hours, what its marks mean, and the hours that stand out."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from habmap.jobs.burn_hours import WIND_SHIFT_DEG
from habmap.jobs.burnday import BurnDayResult
from habmap.land.grid import LocalGrid
from habmap.land.sun import sunrise_and_sunset
from habmap.show.burn_chart import ChartHour, HoursChart
from habmap.show.burn_sheet import Section
from habmap.work.burnday import ITEMS


def hours_chart(result: BurnDayResult, *, grid: LocalGrid, zone: ZoneInfo) -> HoursChart | None:
    """Return the hours of a burn day as they are drawn; ``None`` where there is no forecast."""
    if not result.hours:
        return None
    limits: defaultdict[str, list[tuple[float, float]]] = defaultdict(list)
    for line in result.prescription:
        if line.verdict != "no plan" and line.low is not None and line.high is not None:
            limits[line.item].append((line.low, line.high))
    ignition = datetime.fromisoformat(result.time)
    return HoursChart(
        hours=tuple(
            ChartHour(
                at=datetime.fromisoformat(hour.time),
                temp_f=hour.temp_f,
                rh_pct=hour.rh_pct,
                wind_mph=hour.wind_mph,
                gust_mph=hour.gust_mph,
                wind_from_deg=hour.wind_from_deg,
                fine_fuel_pct=hour.fine_fuel_pct,
                is_gap=hour.is_gap,
                is_turned=hour.wind_shift,
                is_off_plan_direction="wind_from_deg" in hour.not_met,
            )
            for hour in result.hours
        ),
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


def chart_words(result: BurnDayResult, chart: HoursChart) -> str:
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
    if any(hour.is_turned for hour in chart.hours):
        words.append(f"bar under an arrow: turned more than {WIND_SHIFT_DEG:g}° since ignition")
    if any(hour.is_off_plan_direction for hour in chart.hours):
        words.append("ring under it: from outside the plan’s directions")
    if any(hour.is_gap for hour in chart.hours):
        words.append("ruled slantwise: no forecast")
    if any(hour.fine_fuel_pct is None and not hour.is_gap for hour in chart.hours):
        words.append("fuel: driest ground; no figure outside the tables’ hours (08 to 20) and range")
    else:
        words.append("fuel: driest ground")
    return f"{source}A forecast is not the weather on site. {'; '.join(words)}."


def hours_sections(result: BurnDayResult, most: int) -> tuple[Section, ...]:
    """Return the forecast's hours that stand out: something not met, a turn of the wind, or nothing known."""
    spans: list[tuple[str, str, str]] = []
    last = ""
    for hour in result.hours:
        marks = ["wind shift"] if hour.wind_shift else []
        marks += [ITEMS[item][0] for item in hour.not_met]
        what = "no forecast" if hour.is_gap else ", ".join(marks)
        time = hour.time.replace("T", " ")[5:]
        if what and what == last:  # hours that say the same stand in one row
            spans[-1] = (spans[-1][0], time, what)
        elif what:
            spans.append((time, time, what))
        last = what
    # With little room the turns of the wind stay longest, and what is not known goes first.
    told = sorted(spans, key=lambda span: (not span[2].startswith("wind shift"), span[2] == "no forecast"))[:most]
    rows = [
        (first if first == end else f"{first} to {end}", what)
        for first, end, what in spans
        if (first, end, what) in told
    ]
    if not rows:
        return ()
    left_out = len(spans) - len(rows)
    return (
        Section(
            title="Forecast hours: not met, shifts and gaps",
            header=("hour", "what"),
            rows=tuple(rows),
            shares=(0.42, 0.58),
            after=(f"Left out for room: {left_out} of the times; `habmap burnday` prints them all.",)
            if left_out
            else (),
        ),
    )
