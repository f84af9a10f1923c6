"""The forecast's chart: curves where the figures say, gaps open, limits as lines, marks at the hours that have them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest
from matplotlib.artist import Artist
from matplotlib.patches import PathPatch, Rectangle

from habmap.show.burn.chart import HoursChart, chart_height_pt, draw_chart, gap_runs, known_runs, spread
from habmap.show.sheet.pen import Pen
from habmap.work.burn.hours import BurnHour

FIRST = datetime(2026, 3, 5, 10)
WIDTH, TOP = 562.0, 200.0


def chart(*hours: BurnHour, **changed: Any) -> HoursChart:
    return HoursChart(**{"hours": hours, "ignition": FIRST + timedelta(hours=3), **changed})


def hour(number: int, **figures: Any) -> BurnHour:
    return BurnHour(**{"time": (FIRST + timedelta(hours=number)).isoformat(), "is_gap": False, **figures})


def drawn(told: HoursChart) -> Pen:
    pen = Pen((WIDTH, TOP))
    end = draw_chart(pen, told, left=0, top=TOP, width=WIDTH)
    assert end == pytest.approx(TOP - chart_height_pt())
    return pen


def artists(pen: Pen, kind: type) -> list[Any]:
    return [child for child in pen.figure.axes[0].get_children() if isinstance(child, kind)]


def curves(pen: Pen, count: int) -> list[np.ndarray]:
    """Return the lines through this many points, as they lie on the paper; no other line of the chart has so many."""
    found = [patch.get_path().vertices for patch in artists(pen, PathPatch) if patch.get_path().codes is None]
    return [vertices for vertices in found if len(vertices) == count]


def text_at(pen: Pen, words: str) -> list[tuple[float, float]]:
    return [line.at for line in artists(pen, Artist) if getattr(line, "words", None) == words]


def level_lines(pen: Pen) -> Sequence[Any]:
    return [
        patch for patch in artists(pen, PathPatch)
        if len(patch.get_path().vertices) == 2 and np.ptp(patch.get_path().vertices[:, 1]) == 0
        and np.ptp(patch.get_path().vertices[:, 0]) > 100
    ]  # fmt: skip


def test_the_curve_lies_where_the_figures_say() -> None:
    figures = [20.0, 35.0, 28.0, 60.0, 41.0, 22.0, 50.0]
    pen = drawn(chart(*(hour(n, rh_pct=value) for n, value in enumerate(figures)), limits={"rh_pct": ((25.0, 55.0),)}))
    (curve,) = curves(pen, len(figures))
    # Equal hours lie equally far apart, and heights follow the figures in one straight proportion …
    assert np.allclose(np.diff(curve[:, 0]), np.diff(curve[:, 0])[0])
    slope, foot = np.polyfit(figures, curve[:, 1], 1)
    assert slope > 0
    assert np.allclose(curve[:, 1], slope * np.array(figures) + foot)
    # … and the plan's limits lie on the same scale, dashed, their figures beside them.
    dashed = {round(line.get_path().vertices[0, 1], 6) for line in level_lines(pen) if line.get_linestyle() != "solid"}
    assert dashed == {round(slope * limit + foot, 6) for limit in (25, 55)}
    for limit in (25, 55):
        (place,) = text_at(pen, str(limit))
        assert place[1] + 3.2 == pytest.approx(slope * limit + foot)
        assert place[0] > curve[-1, 0]


def test_no_line_is_drawn_over_a_gap() -> None:
    hours = [hour(n, temp_f=50 + n) for n in range(9)]
    hours[3] = hour(3, is_gap=True)
    hours[6] = hour(6)  # a row whose temperature is blank
    told = chart(*hours)
    assert [len(run) for run in known_runs(told.hours, "temp_f")] == [3, 2, 2]
    pen = drawn(told)
    assert [len(curves(pen, 3)), len(curves(pen, 9))] == [1, 0]
    assert [[one.at for one in run] for run in gap_runs(told.hours)] == [[FIRST + timedelta(hours=3)]]


def test_without_a_plan_no_limits_are_drawn() -> None:
    pen = drawn(chart(*(hour(n, temp_f=50 + n, rh_pct=40 - n, wind_mph=5, gust_mph=9) for n in range(5))))
    assert all(line.get_linestyle() == "solid" for line in level_lines(pen))


def test_ignition_and_night_stand_at_their_hours() -> None:
    hours = [hour(n, temp_f=50 + n) for n in range(23)]
    sets, rises = datetime(2026, 3, 5, 18, 30), datetime(2026, 3, 6, 6, 45)
    pen = drawn(chart(*hours, ignition=datetime(2026, 3, 5, 13, 30), nights=((sets, rises),)))
    (curve,) = curves(pen, 23)
    step = curve[1, 0] - curve[0, 0]
    upright = [
        patch.get_path().vertices[0, 0] for patch in artists(pen, PathPatch)
        if len(patch.get_path().vertices) == 2 and np.ptp(patch.get_path().vertices[:, 0]) == 0
        and patch.get_linewidth() == 1.5
    ]  # fmt: skip
    assert min(upright) == pytest.approx(curve[0, 0] + 3.5 * step)  # 13:30 is three and a half hours after 10:00
    assert len(text_at(pen, "ignition 13:30")) == 2  # once over each column
    night = min((box for box in artists(pen, Rectangle) if box.get_facecolor()[0] == 0.86), key=lambda box: box.get_x())
    assert night.get_x() == pytest.approx(curve[0, 0] + 8.5 * step)
    assert night.get_width() == pytest.approx(12.25 * step)


@pytest.mark.parametrize(("wind_from_deg", "toward"), [(0, (0, -1)), (90, (-1, 0)), (180, (0, 1)), (225, (1, 1))])
def test_arrows_point_the_way_the_wind_blows(wind_from_deg: float, toward: tuple[int, int]) -> None:
    pen = drawn(chart(hour(0, wind_mph=5, wind_from_deg=wind_from_deg), hour(1, wind_mph=5)))
    heads = [
        patch.get_path().vertices for patch in artists(pen, PathPatch)
        if len(patch.get_path().vertices) == 4 and patch.get_facecolor()[3] == 1 and patch.get_path().codes is None
    ]  # fmt: skip
    (head,) = heads
    way = head[0] - (head[1] + head[2]) / 2
    assert np.allclose(np.sign(np.round(way, 9)), toward)


def test_turns_and_directions_outside_the_plan_are_marked_where_they_are() -> None:
    plain = [hour(n, wind_mph=5, wind_from_deg=180) for n in range(4)]
    turned = [*plain[:3], hour(3, wind_mph=5, wind_from_deg=10, wind_shift=True)]
    before, after = (len(artists(drawn(chart(*hours)), Rectangle)) for hours in (plain, turned))
    assert after - before == 1
    outside = [*plain[:3], hour(3, wind_mph=5, wind_from_deg=10, not_met=("wind_from_deg",))]
    before, after = (len(artists(drawn(chart(*hours)), PathPatch)) for hours in (plain, outside))
    assert after - before == 1


def test_all_ink_is_black_grey_or_the_pages_own() -> None:
    hours = [
        hour(n, temp_f=50, rh_pct=40 - n, wind_mph=5, wind_from_deg=90, gust_mph=9, wind_shift=n > 3) for n in range(8)
    ]
    limits = {"rh_pct": ((35.0, 60.0),), "gust_mph": ((0.0, 8.0),)}
    for patch in artists(drawn(chart(*hours, limits=limits)), PathPatch):
        for red, green, blue, opacity in (patch.get_edgecolor(), patch.get_facecolor()):
            assert opacity == 0 or max(red, green, blue) - min(red, green, blue) < 0.03


def test_figures_at_one_edge_are_kept_apart() -> None:
    assert spread([0, 1, 30], 8) == [-3.5, 4.5, 30]
    assert spread([], 8) == []
