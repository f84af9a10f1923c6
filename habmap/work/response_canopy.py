"""Crown cover of a unit's cedars on one side of the first work, by the surest reading that has a day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from habmap.land.density import crown_cover_pct
from habmap.land.ratio import ratio_of_totals, t_limits
from habmap.records import CoverFrame, Plot, Unit
from habmap.work.response import mean_cover
from habmap.work.stems import counted, stems_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Canopy:
    """Crown cover [%] with its 95% limits, the day it was measured and by what; ``None`` = not known."""

    cover_pct: float | None = None
    ci95_low: float | None = None
    ci95_high: float | None = None
    on: date | None = None
    rests_on: str | None = None


def canopy_of_side(
    frames: Sequence[CoverFrame], plots: Sequence[Plot], *, outline: Unit | None = None
) -> Canopy | None:
    """Return the canopy by frames, else by lines, else by stems and crowns, else as the unit's outline gives it.

    Parameters
    ----------
    frames
        One round of frames, some with ``canopy_pct``.
    plots
        Plots and lines of this side, each with its day; those of the newest day count.
    outline
        The unit as drawn before the work; its figure has no day and is from before. A raster of canopy heights has no
        day either and is left aside.
    """
    return _by_frames(frames) or _by_lines(plots) or _by_stems(plots) or _by_outline(outline)


def _by_frames(frames: Sequence[CoverFrame]) -> Canopy | None:
    read = [frame.canopy_pct for frame in frames if frame.canopy_pct is not None]
    if not read:
        return None
    mean = mean_cover(read, plants=1)
    return Canopy(
        cover_pct=mean.mean_pct,
        ci95_low=mean.ci95_low,
        ci95_high=mean.ci95_high,
        on=max(frame.read_on for frame in frames),
        rests_on=counted(len(read), "frame"),
    )


def _by_lines(plots: Sequence[Plot]) -> Canopy | None:
    lines = _newest([plot for plot in plots if plot.method == "line" and plot.line_ft])
    if not lines:
        return None
    lengths_ft = [plot.line_ft or 0.0 for plot in lines]
    ratio = ratio_of_totals([sum(plot.intercepts_ft) for plot in lines], lengths_ft)
    limits = (None, None) if ratio.se is None else t_limits(100 * ratio.value, 100 * ratio.se, ratio.pairs - 1)
    return Canopy(
        cover_pct=100 * ratio.value,
        ci95_low=limits[0],
        ci95_high=None if limits[1] is None else min(100.0, limits[1]),
        on=lines[0].measured_on,
        rests_on=f"{counted(len(lines), 'line')}, {sum(lengths_ft):,.0f} ft together",
    )


def _by_stems(plots: Sequence[Plot]) -> Canopy | None:
    stems = stems_of(_newest([plot for plot in plots if plot.method != "line"]))
    if stems is None or stems.crown_ft is None:
        return None
    return Canopy(
        cover_pct=crown_cover_pct(stems.density.stems_per_acre, crown_ft=stems.crown_ft),
        on=stems.plots[0].measured_on,
        rests_on=f"stems of {counted(len(stems.plots), 'plot')} and a crown of {stems.crown_ft:.1f} ft by mean area",
    )


def _by_outline(outline: Unit | None) -> Canopy | None:
    if outline is None or outline.canopy_pct is None:
        return None
    return Canopy(cover_pct=outline.canopy_pct, rests_on="the figure given with the unit’s outline")


def _newest(plots: Sequence[Plot]) -> list[Plot]:
    day = max((plot.measured_on for plot in plots if plot.measured_on is not None), default=None)
    return [plot for plot in plots if plot.measured_on == day]
