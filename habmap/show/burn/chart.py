"""The forecast's hours as a drawn chart: curves, the plan's limits as lines, the night shaded, gaps left open.

Black ink on paper. What is drawn compares; no color, mark or word of it allows anything.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import groupby
from typing import Final

from habmap.show.sheet.outline import Outline
from habmap.show.sheet.pen import LEAST_PT, Pen, text_width_pt
from habmap.work.burn.hours import BurnHour

#: Room on the left of a column for names and figures, and on the right for the limits' figures [pt].
_LEFT_PT: Final = 53.0
_RIGHT_PT: Final = 27.0
_HEAD_PT: Final = 11.0
_HOURS_PT: Final = 11.0
_ARROWS_PT: Final = 19.0
_BETWEEN_PT: Final = 5.0
_GUTTER_PT: Final = 12.0
_ARROW_PT: Final = 7.5
_ARROWS_APART_PT: Final = 6.0
#: How far two figures at one edge are kept apart [pt].
_FIGURES_PT: Final = 8.6
_NIGHT: Final = "0.86"
_GAP_STEP_PT: Final = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class HoursChart:
    """What the chart shows.

    Attributes
    ----------
    ignition
        Local civil time.
    nights
        From sunset to sunrise, local civil time; clipped to the hours when drawn.
    limits
        Low and high of the written plan by quantity, several where units differ; empty without a plan in force.
    """

    hours: tuple[BurnHour, ...]
    ignition: datetime
    nights: tuple[tuple[datetime, datetime], ...] = ()
    limits: dict[str, tuple[tuple[float, float], ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class _Panel:
    """One strip of the chart: the quantities that share its scale, its name and unit, height [pt] and step of it."""

    items: tuple[str, ...]
    name: str
    unit: str
    height_pt: float
    step: float
    is_from_zero: bool = False


#: The strips of the left column and of the right one, which holds the arrows too; both are equally high.
_COLUMNS: Final = (
    (_Panel(("temp_f",), "Air", "°F", 34.0, 10.0), _Panel(("rh_pct",), "RH", "%", 42.0, 10.0)),
    (
        _Panel(("wind_mph", "gust_mph"), "Wind", "mph", 31.0, 5.0, is_from_zero=True),
        _Panel(("fine_fuel_pct",), "Fuel", "%", 26.0, 2.0, is_from_zero=True),
    ),
)
#: Line and gap of a limit [pt]: those of gusts share the wind's strip.
_LIMIT_DASHES: Final = {"gust_mph": (1.1, 2.0)}
_PLAN_DASHES: Final = (4.5, 2.25)
_GUST_DASHES: Final = (1.75, 1.3)


def chart_height_pt() -> float:
    """Return how high the chart is [pt]."""
    return _HEAD_PT + sum(panel.height_pt + _BETWEEN_PT for panel in _COLUMNS[0]) + _HOURS_PT


def draw_chart(pen: Pen, chart: HoursChart, *, left: float, top: float, width: float) -> float:
    """Draw the chart downward from ``top``, two strips beside two, and return where it ends, all in points."""
    room = (width - _GUTTER_PT) / 2
    for number, panels in enumerate(_COLUMNS):
        _column(pen, chart, panels, left + number * (room + _GUTTER_PT), top, room)
    return top - chart_height_pt()


def _column(pen: Pen, chart: HoursChart, panels: Sequence[_Panel], left: float, top: float, width: float) -> None:
    first, last = _span(chart)
    x_left, x_right = left + _LEFT_PT, left + width - _RIGHT_PT
    bottom = top - chart_height_pt() + _HOURS_PT

    def x(at: datetime) -> float:
        share = (at - first) / (last - first)
        return x_left + min(1.0, max(0.0, share)) * (x_right - x_left)

    _night(pen, chart, x, bottom, top - _HEAD_PT)
    _gaps(pen, chart, x, bottom, top - _HEAD_PT)
    y = top - _HEAD_PT
    for panel in panels:
        _panel(pen, chart, panel, x, left, x_left, x_right, y)
        y -= panel.height_pt + _BETWEEN_PT
        if "wind_mph" in panel.items:
            _arrows(pen, chart, x, left, y + _BETWEEN_PT - 1)
            y -= _ARROWS_PT
    _ignition(pen, chart, x, bottom, top, x_left, x_right)
    _hours(pen, first, last, x, left, bottom)


def _span(chart: HoursChart) -> tuple[datetime, datetime]:
    """Return the chart's two ends: half an hour beyond the first and the last hour."""
    half = timedelta(minutes=30)
    return chart.hours[0].at - half, chart.hours[-1].at + half


# --- what lies behind ---------------------------------------------------------------------------------------


def _night(pen: Pen, chart: HoursChart, x: Callable[[datetime], float], bottom: float, top: float) -> None:
    first, last = _span(chart)
    for sets, rises in chart.nights:
        if sets >= last or rises <= first:
            continue
        start, end = x(max(sets, first)), x(min(rises, last))
        pen.box(start, bottom, end - start, top - bottom, facecolor=_NIGHT)
        if end - start > 30:
            pen.text((start + end) / 2, top + 2, "night", align="center", is_serif=True)


def _gaps(pen: Pen, chart: HoursChart, x: Callable[[datetime], float], bottom: float, top: float) -> None:
    """Hatch the hours without a row, each run of them as one field."""
    half = timedelta(minutes=30)
    for run in gap_runs(chart.hours):
        start, end = x(run[0].at - half), x(run[-1].at + half)
        field = Outline.through([(start, bottom), (end, bottom), (end, top), (start, top), (start, bottom)])
        pen.path(field, facecolor="white")
        reach = end - start + top - bottom
        for number in range(1, math.ceil(reach / _GAP_STEP_PT)):
            foot = start - (top - bottom) + number * _GAP_STEP_PT
            pen.path(
                Outline.through([(foot, bottom), (foot + top - bottom, top)]),
                clip=field,
                edgecolor="0.45",
                linewidth=0.4,
            )


def gap_runs(hours: Sequence[BurnHour]) -> list[list[BurnHour]]:
    """Return the runs of neighboring hours that the forecast has no row for."""
    return [list(run) for is_gap, run in groupby(hours, key=lambda hour: hour.is_gap) if is_gap]


# --- the strips ---------------------------------------------------------------------------------------------


def _panel(
    pen: Pen,
    chart: HoursChart,
    panel: _Panel,
    x: Callable[[datetime], float],
    left: float,
    x_left: float,
    x_right: float,
    top: float,
) -> None:
    bottom = top - panel.height_pt
    low, high = _scale(chart, panel)

    def y(value: float) -> float:
        return bottom + (value - low) / (high - low) * (top - bottom)

    for edge in (bottom, top):
        pen.rule([(x_left, edge), (x_right, edge)], 0.3)
    pen.rule([(x_left, bottom), (x_left, top)], 0.6)
    pen.text(left, (top + bottom) / 2 + 1, panel.name, is_serif=True, is_bold=True)
    pen.text(left, (top + bottom) / 2 - 8.5, panel.unit, is_serif=True)
    # The scale's two ends stand inside the strip, so that those of two strips never touch.
    for value, height in ((low, bottom), (high, top - 6.6)):
        pen.rule([(x_left - 2.5, y(value)), (x_left, y(value))], 0.6)
        pen.text(x_left - 4, height, f"{value:g}", align="right")
    _limits(pen, chart, panel, y, x_left, x_right)
    for item in panel.items:
        is_gust = item == "gust_mph"
        for run in known_runs(chart.hours, item):
            points = [(x(at), y(value)) for at, value in run]
            if len(points) > 1:
                pen.rule(points, 0.8 if is_gust else 1.2, edgecolor="black", dash=_GUST_DASHES if is_gust else ())
            for point in points:
                pen.path(
                    Outline.circle(point, 1.5 if is_gust else 1.3),
                    facecolor="white" if is_gust else "black", edgecolor="black", linewidth=0.6,
                )  # fmt: skip


def known_runs(hours: Sequence[BurnHour], item: str) -> list[list[tuple[datetime, float]]]:
    """Return the runs of neighboring hours whose figure is known: no line is drawn from one run to the next."""
    points = [(hour.at, getattr(hour, item)) for hour in hours]
    return [list(run) for is_known, run in groupby(points, key=lambda point: point[1] is not None) if is_known]


def _scale(chart: HoursChart, panel: _Panel) -> tuple[float, float]:
    """Return the strip's two ends: round figures around all values and limits that it shows."""
    values = [value for item in panel.items for hour in chart.hours if (value := getattr(hour, item)) is not None] + [
        edge for item in panel.items for limits in chart.limits.get(item, ()) for edge in limits
    ]
    if not values:
        return 0.0, panel.step
    low = 0.0 if panel.is_from_zero else math.floor(min(values) / panel.step) * panel.step
    high = math.ceil(max(values) / panel.step) * panel.step
    if any(high in limits for item in panel.items for limits in chart.limits.get(item, ())):
        high += panel.step  # a limit on the strip's own edge would not be seen
    return low, max(high, low + panel.step)


def _limits(
    pen: Pen, chart: HoursChart, panel: _Panel, y: Callable[[float], float], x_left: float, x_right: float
) -> None:
    figures: dict[float, str] = {}
    for item in panel.items:
        mark = "g" if item == "gust_mph" else ""
        for edge in sorted({edge for limits in chart.limits.get(item, ()) for edge in limits}):
            if edge == 0 and panel.is_from_zero:
                continue  # the strip's own foot
            pen.rule(
                [(x_left, y(edge)), (x_right, y(edge))], 0.9, edgecolor="black",
                dash=_LIMIT_DASHES.get(item, _PLAN_DASHES),
            )  # fmt: skip
            height = y(edge)
            figures[height] = "/".join(filter(None, (figures.get(height), f"{edge:g}{mark}")))
    for height, place in zip(sorted(figures), spread(sorted(figures), _FIGURES_PT), strict=True):
        if text_width_pt(figures[height], size_pt=LEAST_PT) <= _RIGHT_PT - 3:
            pen.text(x_right + 3, place - 3.2, figures[height])


def spread(heights: Sequence[float], apart: float) -> list[float]:
    """Return heights moved as little as needed to stand ``apart``, their middle kept; ``heights`` ascending."""
    groups: list[list[float]] = []
    for height in heights:
        groups.append([height])
        while len(groups) > 1 and _ends(groups[-2], apart)[1] + apart > _ends(groups[-1], apart)[0]:
            groups[-2:] = [groups[-2] + groups[-1]]
    return [_ends(group, apart)[0] + number * apart for group in groups for number in range(len(group))]


def _ends(group: Sequence[float], apart: float) -> tuple[float, float]:
    middle, half = sum(group) / len(group), (len(group) - 1) * apart / 2
    return middle - half, middle + half


# --- wind, ignition, hours ----------------------------------------------------------------------------------


def _arrows(pen: Pen, chart: HoursChart, x: Callable[[datetime], float], left: float, top: float) -> None:
    """Draw the way the wind blows at each hour, north up; below it what is marked."""
    middle = top - _ARROW_PT / 2 - 1
    pen.text(left, middle - 3, "blows to", is_serif=True)
    before = -math.inf
    for hour in chart.hours:
        if hour.wind_from_deg is None:
            continue
        at = x(hour.at)
        if at - before >= _ARROWS_APART_PT:  # rows closer than an hour would lie over one another
            before = at
            if hour.wind_mph == 0:
                pen.path(Outline.circle((at, middle), 1.2), edgecolor="black", linewidth=0.7)
            else:
                _arrow(pen, at, middle, hour.wind_from_deg)
        if hour.wind_shift:
            pen.box(at - 3.2, top - _ARROW_PT - 4.6, 6.4, 1.9, facecolor="black")
        if "wind_from_deg" in hour.not_met:
            pen.path(
                Outline.circle((at, top - _ARROW_PT - 7.8), 2.0), facecolor="white", edgecolor="black", linewidth=0.8
            )


def _arrow(pen: Pen, x: float, y: float, wind_from_deg: float) -> None:
    toward = math.radians(wind_from_deg + 180)
    east, north, half = math.sin(toward), math.cos(toward), _ARROW_PT / 2
    tip, tail = (x + east * half, y + north * half), (x - east * half, y - north * half)
    pen.rule([tail, (x + east * half * 0.4, y + north * half * 0.4)], 0.9, edgecolor="black")
    base = (tip[0] - east * 3.6, tip[1] - north * 3.6)
    wing = (north * 1.9, -east * 1.9)
    head = [tip, (base[0] + wing[0], base[1] + wing[1]), (base[0] - wing[0], base[1] - wing[1]), tip]
    pen.path(Outline.through(head), facecolor="black")


def _ignition(
    pen: Pen,
    chart: HoursChart,
    x: Callable[[datetime], float],
    bottom: float,
    top: float,
    x_left: float,
    x_right: float,
) -> None:
    at, words = x(chart.ignition), f"ignition {chart.ignition:%H:%M}"
    pen.rule([(at, bottom), (at, top - _HEAD_PT + 1)], 1.5, edgecolor="black")
    half = text_width_pt(words, size_pt=LEAST_PT, is_serif=True, is_bold=True) / 2
    pen.text(min(max(at, x_left + half), x_right - half), top - _HEAD_PT + 2, words, align="center", is_serif=True,
             is_bold=True)  # fmt: skip


def _hours(
    pen: Pen, first: datetime, last: datetime, x: Callable[[datetime], float], left: float, bottom: float
) -> None:
    pen.text(left, bottom - 9, "hour", is_serif=True)
    at = first.replace(minute=0, second=0, microsecond=0) + timedelta(hours=1)
    while at <= last:
        is_named = at.hour % 3 == 0
        pen.rule([(x(at), bottom), (x(at), bottom - (3 if is_named else 1.6))], 0.5)
        if is_named:
            pen.text(x(at), bottom - 10, f"{at.hour}", align="center")
        at += timedelta(hours=1)
