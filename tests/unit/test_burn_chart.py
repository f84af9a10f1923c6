"""The forecast's chart: curves where the figures say, gaps open, limits as lines, marks at the hours that have them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pdf_reading import DrawnPath, drawn_paths, word_boxes

from habmap.show.burn.chart import HoursChart, chart_height_pt, draw_chart, gap_runs, known_runs, spread
from habmap.show.sheet.pdf import pdf_of
from habmap.show.sheet.pen import Pen
from habmap.work.burn.hours import BurnHour

FIRST = datetime(2026, 3, 5, 10)
WIDTH, TOP = 562.0, 200.0


def chart(*hours: BurnHour, **changed: Any) -> HoursChart:
    return HoursChart(**{"hours": hours, "ignition": FIRST + timedelta(hours=3), **changed})


def hour(number: int, **figures: Any) -> BurnHour:
    return BurnHour(**{"time": (FIRST + timedelta(hours=number)).isoformat(), "is_gap": False, **figures})


class Paper:
    """A chart on paper, read back by poppler."""

    def __init__(self, told: HoursChart, path: Path) -> None:
        pen = Pen((WIDTH, TOP))
        end = draw_chart(pen, told, left=0, top=TOP, width=WIDTH)
        assert end == pytest.approx(TOP - chart_height_pt())
        path.write_bytes(pdf_of([pen], title="chart"))
        self.paths = drawn_paths(path)
        ((_, self.words),) = word_boxes(path)

    def lines(self, count: int) -> list[np.ndarray]:
        """Return the lines through this many points; no other line of the chart has so many as a curve."""
        return [one.points for one in self.paths if not one.fill and not one.is_curved and len(one.points) == count]

    @property
    def level(self) -> list[DrawnPath]:
        return [one for one in self.paths if len(one.points) == 2 and one.size[1] == 0 and one.size[0] > 100]

    @property
    def boxes(self) -> list[DrawnPath]:
        return [one for one in self.paths if one.is_box]

    def places(self, *words: str) -> list[tuple[float, float]]:
        """Return the left end and the middle height of words that follow one another."""
        told = [text for text, _ in self.words]
        starts = [n for n in range(len(told)) if told[n : n + len(words)] == list(words)]
        return [(self.words[n][1][0], TOP - (self.words[n][1][1] + self.words[n][1][3]) / 2) for n in starts]


@pytest.fixture
def drawn(tmp_path: Path) -> Callable[[HoursChart], Paper]:
    return lambda told: Paper(told, tmp_path / "chart.pdf")


Draw = Callable[[HoursChart], Paper]
#: What ``pdftocairo`` rounds to [pt].
NEAR: Any = {"abs": 0.01}


@pytest.mark.poppler
def test_the_curve_lies_where_the_figures_say(drawn: Draw) -> None:
    figures = [20.0, 35.0, 28.0, 60.0, 41.0, 22.0, 50.0]
    told = chart(*(hour(n, rh_pct=value) for n, value in enumerate(figures)), limits={"rh_pct": ((25.0, 55.0),)})
    paper = drawn(told)
    (curve,) = paper.lines(len(figures))
    # Equal hours lie equally far apart, and heights follow the figures in one straight proportion …
    assert np.diff(curve[:, 0]) == pytest.approx(np.diff(curve[:, 0])[0], **NEAR)
    slope, foot = np.polyfit(figures, curve[:, 1], 1)
    assert slope > 0
    assert curve[:, 1] == pytest.approx(slope * np.array(figures) + foot, **NEAR)
    # … and the plan's limits lie on the same scale, dashed, their figures beside them.
    dashed = sorted(line.points[0, 1] for line in paper.level if line.is_dashed)
    assert dashed == pytest.approx([slope * limit + foot for limit in (25, 55)], **NEAR)
    for limit in (25, 55):
        (place,) = paper.places(str(limit))
        assert place[1] == pytest.approx(slope * limit + foot, abs=1.0)
        assert place[0] > curve[-1, 0]


@pytest.mark.poppler
def test_no_line_is_drawn_over_a_gap(drawn: Draw) -> None:
    hours = [hour(n, temp_f=50 + n % 2) for n in range(9)]  # never in one line, which would be read as two points
    hours[3] = hour(3, is_gap=True)
    hours[6] = hour(6)  # a row whose temperature is blank
    told = chart(*hours)
    assert [len(run) for run in known_runs(told.hours, "temp_f")] == [3, 2, 2]
    paper = drawn(told)
    assert [len(paper.lines(3)), len(paper.lines(9))] == [1, 0]
    assert [[one.at for one in run] for run in gap_runs(told.hours)] == [[FIRST + timedelta(hours=3)]]


@pytest.mark.poppler
def test_without_a_plan_no_limits_are_drawn(drawn: Draw) -> None:
    paper = drawn(chart(*(hour(n, temp_f=50 + n, rh_pct=40 - n, wind_mph=5, gust_mph=9 + n % 2) for n in range(5))))
    assert len(paper.level) > 4
    assert not any(line.is_dashed for line in paper.level)


@pytest.mark.poppler
def test_ignition_and_night_stand_at_their_hours(drawn: Draw) -> None:
    hours = [hour(n, temp_f=50 + n % 2) for n in range(23)]
    sets, rises = datetime(2026, 3, 5, 18, 30), datetime(2026, 3, 6, 6, 45)
    paper = drawn(chart(*hours, ignition=datetime(2026, 3, 5, 13, 30), nights=((sets, rises),)))
    (curve,) = paper.lines(23)
    step = (curve[-1, 0] - curve[0, 0]) / 22
    upright = [
        one.points[0, 0] for one in paper.paths if len(one.points) == 2 and one.size[0] == 0 and one.width_pt == 1.5
    ]
    # 13:30 is three and a half hours after 10:00
    assert min(upright) == pytest.approx(curve[0, 0] + 3.5 * step, **NEAR)
    assert len(paper.places("ignition", "13:30")) == 2  # once over each column
    shaded = [box for box in paper.boxes if box.fill == pytest.approx((0.86,) * 3, abs=0.01)]
    night = min(shaded, key=lambda box: box.points[:, 0].min())
    assert night.points[:, 0].min() == pytest.approx(curve[0, 0] + 8.5 * step, **NEAR)
    assert night.size[0] == pytest.approx(12.25 * step, **NEAR)


@pytest.mark.poppler
@pytest.mark.parametrize(("wind_from_deg", "toward"), [(0, (0, -1)), (90, (-1, 0)), (180, (0, 1)), (225, (1, 1))])
def test_arrows_point_the_way_the_wind_blows(wind_from_deg: float, toward: tuple[int, int], drawn: Draw) -> None:
    paper = drawn(chart(hour(0, wind_mph=5, wind_from_deg=wind_from_deg), hour(1, wind_mph=5)))
    heads = [one.points for one in paper.paths if one.fill == (0, 0, 0) and not one.is_curved and not one.is_box]
    (head,) = heads
    way = head[0] - (head[1] + head[2]) / 2
    assert np.allclose(np.sign(np.round(way, 1)), toward)


@pytest.mark.poppler
def test_turns_and_directions_outside_the_plan_are_marked_where_they_are(drawn: Draw) -> None:
    plain = [hour(n, wind_mph=5, wind_from_deg=180) for n in range(4)]
    turned = [*plain[:3], hour(3, wind_mph=5, wind_from_deg=10, wind_shift=True)]
    before, after = (len(drawn(chart(*hours)).boxes) for hours in (plain, turned))
    assert after - before == 1
    outside = [*plain[:3], hour(3, wind_mph=5, wind_from_deg=10, not_met=("wind_from_deg",))]
    before, after = (sum(one.is_curved for one in drawn(chart(*hours)).paths) for hours in (plain, outside))
    assert after - before == 1


@pytest.mark.poppler
def test_all_ink_is_black_grey_or_the_pages_own(drawn: Draw) -> None:
    hours = [
        hour(n, temp_f=50, rh_pct=40 - n, wind_mph=5, wind_from_deg=90, gust_mph=9, wind_shift=n > 3) for n in range(8)
    ]
    limits = {"rh_pct": ((35.0, 60.0),), "gust_mph": ((0.0, 8.0),)}
    inks = [ink for one in drawn(chart(*hours, limits=limits)).paths for ink in (one.fill, one.ink) if ink is not None]
    assert len(inks) > 40
    assert max(max(ink) - min(ink) for ink in inks) < 0.03


def test_figures_at_one_edge_are_kept_apart() -> None:
    assert spread([0, 1, 30], 8) == [-3.5, 4.5, 30]
    assert spread([], 8) == []
