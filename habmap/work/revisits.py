"""What was looked at on a spot and should be looked at again: photo points, plots, frames of plant cover.

A spot is due again once so many days have passed since it was last seen (the place's own figures: common practice, no
source), and at once where work changed what it shows: a photo point when work lies in its view, a plot when killing
work came over its ground (see `habmap.work.plot_age`). Only what was seen and done up to the day counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

import shapely
from shapely import Point

from habmap.land.grid import LocalGrid
from habmap.measures import days_after
from habmap.records import CoverFrame, Photo, Plot
from habmap.vocabulary import STATEMENTS
from habmap.work.ground import Ground
from habmap.work.photo_points import SEEN_AREA_M2, seen_ground
from habmap.work.plot_age import UnitGround

Spot = Literal["photo", "plot", "frame"]
Why = Literal["work", "days", "no day"]


@dataclass(frozen=True, slots=True, kw_only=True)
class AgainDays:
    """Days after which a spot of each kind is looked at again."""

    photo: int
    plot: int
    frame: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Revisit:
    """One spot, and from which day it is due again.

    Attributes
    ----------
    label
        What the spot is called: the photo point's number in the list of them, the plot's or the frame's own name.
    unit_id
        The unit it lies in; ``None`` = in none.
    lonlat
        WGS 84 [°]; ``None``: only the unit is known.
    direction_deg, direction_ref
        Where a photo looks, clockwise from true (``T``) or magnetic (``M``) north [°]; ``None``: not known, no photo.
    last_on, due_on
        When it was last seen, and the first day on which it is due again; ``None``: nobody wrote down the day, so that
        it is due.
    why, work_on
        ``work``: work on its ground on ``work_on`` came after it was last seen; ``days``: so many have passed, or will
        have on ``due_on``; ``no day``: when it was last seen is not known.
    """

    kind: Spot
    label: str
    unit_id: str | None
    lonlat: tuple[float, float] | None
    direction_deg: float | None = None
    direction_ref: Literal["T", "M"] | None = None
    last_on: date | None
    due_on: date | None
    why: Why
    work_on: date | None = None

    def is_due(self, on: date) -> bool:
        """Tell whether it is due on a day."""
        return self.due_on is None or self.due_on <= on


def photo_revisits(
    points: Sequence[tuple[str | None, Sequence[Photo]]], *, state: Ground, days: int, on: date
) -> tuple[Revisit, ...]:
    """Return every photo point with the day on which it is due again.

    Parameters
    ----------
    points
        The unit and the photos of each, in the order in which points are numbered.
    """
    work = [
        (entry.date, state.patches[entry.entry_id])
        for entry in state.entries
        if entry.entry_id in state.patches and entry.practice not in STATEMENTS and entry.date <= on
    ]
    found = []
    for number, (unit_id, photos) in enumerate(points, start=1):
        first, last_on = photos[0], max(photo.taken_on for photo in photos)
        changed: date | None = None
        if state.grid is not None:
            spot = state.grid.to_grid(first.geometry)
            view = seen_ground(spot.x, spot.y, first.direction_deg)
            changed = min(
                (day for day, patch in work if day > last_on and _share_m2(patch, view) >= SEEN_AREA_M2), default=None
            )
        found.append(
            _revisit(
                "photo", str(number), unit_id, first.geometry, last_on, changed, days,
                direction=(first.direction_deg, first.direction_ref),
            )
        )  # fmt: skip
    return tuple(found)


def plot_revisits(plots: Iterable[Plot], *, state: Ground, days: int, on: date) -> tuple[Revisit, ...]:
    """Return every plot, one row each, with the day on which it is due again; one measured after ``on`` is left out."""
    found, cuts = [], state.cuts
    for plot in plots:
        if plot.measured_on is not None and plot.measured_on > on:
            continue
        unit_id = plot.unit_id or _unit_under(plot.geometry, state)
        changed: date | None = None
        cut = None if unit_id is None else cuts.get(unit_id)
        ground = None if cut is None else UnitGround(cut, state.grid)
        if plot.measured_on is not None and ground is not None and ground.pieces and ground.is_old(plot):
            kills = (kill.date for piece in ground.under(plot) or ground.pieces for kill in piece.state.kills)
            changed = min((day for day in kills if day >= plot.measured_on), default=None)
        found.append(_revisit("plot", plot.plot_id, unit_id, plot.geometry, plot.measured_on, changed, days))
    return tuple(found)


def frame_revisits(frames: Iterable[CoverFrame], *, days: int, on: date) -> tuple[Revisit, ...]:
    """Return every spot where a frame was read, by unit and the frame's name, with the day it is due again."""
    newest: dict[tuple[str, str], CoverFrame] = {}
    for frame in frames:
        key = (frame.unit_id, frame.frame)
        if frame.read_on <= on and (key not in newest or frame.read_on >= newest[key].read_on):
            newest[key] = frame
    return tuple(
        _revisit("frame", frame.frame, frame.unit_id, frame.geometry, frame.read_on, None, days)
        for frame in newest.values()
    )


def away_from(
    spots: Iterable[Revisit], shapes: Sequence[shapely.Geometry], *, grid: LocalGrid, least_m: float
) -> tuple[Revisit, ...]:
    """Return the spots no nearer than that to any of these shapes (grid meters), and those without a place."""
    near = shapely.union_all(list(shapes))
    return tuple(
        one
        for one in spots
        if one.lonlat is None or not shapely.dwithin(grid.to_grid(Point(one.lonlat)), near, least_m)
    )


def _revisit(
    kind: Spot,
    label: str,
    unit_id: str | None,
    spot: Point | None,
    last_on: date | None,
    work_on: date | None,
    days: int,
    *,
    direction: tuple[float | None, Literal["T", "M"] | None] = (None, None),
) -> Revisit:
    by_days = None if last_on is None else days_after(last_on, days)
    is_worked = work_on is not None and (by_days is None or work_on < by_days)
    return Revisit(
        kind=kind,
        label=label,
        unit_id=unit_id,
        lonlat=None if spot is None else (spot.x, spot.y),
        direction_deg=direction[0],
        direction_ref=direction[1],
        last_on=last_on,
        due_on=work_on if is_worked else by_days,
        why="work" if is_worked else "no day" if last_on is None else "days",
        work_on=work_on if is_worked else None,
    )


def _share_m2(patch: shapely.Geometry, view: shapely.Geometry) -> float:
    return float(shapely.intersection(patch, view).area)


def _unit_under(spot: Point | None, state: Ground) -> str | None:
    if spot is None or state.grid is None:
        return None
    point = state.grid.to_grid(spot)
    return next((unit_id for unit_id, shape in state.unit_shapes.items() if shape.covers(point)), None)
