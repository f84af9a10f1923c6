"""Readings set on either side of the first work on each unit's ground: cover, canopy and species before and after."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import shapely

from habmap.land.density import crown_cover_pct
from habmap.land.ratio import ratio_of_totals, t_limits
from habmap.measures import so_many
from habmap.records import CoverFrame, CoverLine, Plot, Sighting, Unit
from habmap.vocabulary import CEDAR_COVERS
from habmap.work.ground import CutUnit, Ground
from habmap.work.response import MeanCover, change, is_cedar, mean_cover, rarefied, species_key
from habmap.work.response_records import ResponseResult, UnitResponse
from habmap.work.response_regrowth import FirstWork, coming_back, first_work
from habmap.work.stems import stems_of

#: One round of reading takes no longer than this; plants move on (common practice, no source).
ROUND_DAYS = 31
#: Values of ``establishmentMeans`` that say a species belongs here.
_NATIVE_MEANS = frozenset({"native", "nativeReintroduced"})


@dataclass(frozen=True, slots=True)
class _Side:
    """What was read on one side of the first work: the round of frames that is compared, and everything seen."""

    round: tuple[CoverFrame, ...]
    frames: tuple[CoverFrame, ...]
    sightings: tuple[Sighting, ...]
    canopy: Canopy | None

    def figures(self, name: str, compared: int) -> dict[str, Any]:
        """Return the fields of `UnitResponse` that tell of this side; ``name`` is ``before`` or ``after``."""
        native, canopy, species = self.native, self.canopy or Canopy(), self.species
        named = _with_names(self.round)
        few = rarefied([_species_of(frame) for frame in named], to_frames=compared) if compared else None
        return {
            f"read_{name}_on": max((frame.read_on for frame in self.round), default=None),
            f"frames_{name}": len(self.round),
            f"native_cover_{name}_pct": native.mean_pct if native else None,
            f"native_cover_{name}_pct_ci95_low": native.ci95_low if native else None,
            f"native_cover_{name}_pct_ci95_high": native.ci95_high if native else None,
            f"native_plants_{name}": self.native_plants,
            f"unknown_cover_{name}_pct": self.unknown_pct,
            f"canopy_{name}_pct": canopy.cover_pct,
            f"canopy_{name}_pct_ci95_low": canopy.ci95_low,
            f"canopy_{name}_pct_ci95_high": canopy.ci95_high,
            f"canopy_{name}_on": canopy.on,
            f"canopy_{name}_rests_on": canopy.rests_on,
            f"species_{name}": len(species),
            f"native_species_{name}": sum(species.values()),
            f"sightings_{name}": len(self.sightings),
            f"species_frames_{name}": len(_with_names(self.frames)),
            f"frame_species_{name}": few.species if few else None,
            f"frame_species_{name}_sd": few.sd if few else None,
        }

    @property
    def native(self) -> MeanCover | None:
        sums = [_sum_pct(frame, native=True) for frame in self.round]
        return mean_cover(sums, plants=self.native_plants) if sums else None

    @property
    def native_plants(self) -> int:
        """How many different native plants, or groups of them, were read: their layers are summed."""
        lines = [line for frame in self.round for line in _counting(frame, native=True)]
        return len({species_key(line.species or line.group or "") for line in lines})

    @property
    def unknown_pct(self) -> float | None:
        return mean_cover([_sum_pct(frame, native=None) for frame in self.round]).mean_pct if self.round else None

    @property
    def species(self) -> dict[str, bool]:
        """Species seen, and whether anybody wrote that it is native."""
        seen: defaultdict[str, bool] = defaultdict(bool)
        for sighting in self.sightings:
            if sighting.is_present and not is_cedar(sighting.scientific_name):
                seen[species_key(sighting.scientific_name)] |= sighting.establishment_means in _NATIVE_MEANS
        for frame in self.frames:
            for line in frame.lines:
                if line.species is not None and not is_cedar(line.species):
                    seen[species_key(line.species)] |= line.native is True
        return dict(seen)


def response_account(
    state: Ground,
    *,
    place: str,
    on: date | None,
    frames: Sequence[CoverFrame],
    plots: Sequence[Plot],
    sightings: Sequence[Sighting],
    versions: Sequence[Unit],
) -> ResponseResult:
    """Set what was read before the first work on each unit's ground beside what was read after it, without words.

    Parameters
    ----------
    state
        The ground as of the day.
    on
        Readings and sightings up to this day; ``None``: all.
    versions
        Every version of every unit.
    """
    limit = on or date.max
    frames_in: defaultdict[str, list[CoverFrame]] = defaultdict(list)
    for frame in frames:
        if frame.read_on <= limit:
            frames_in[frame.unit_id].append(frame)
    plots_in: defaultdict[str, list[Plot]] = defaultdict(list)
    for plot in plots:
        if plot.unit_id is not None and plot.measured_on is not None and plot.measured_on <= limit:
            plots_in[plot.unit_id].append(plot)
    seen_in, unsure, outside = _by_unit(state, [seen for seen in sightings if seen.seen_to <= limit])
    drawn: defaultdict[str, list[Unit]] = defaultdict(list)
    for version in versions:
        if not version.is_retired:
            drawn[version.unit_id].append(version)
    found = []
    for unit, cut in zip(state.units, state.by_unit, strict=True):
        name = unit.unit_id
        start = first_work(cut)
        has_news = frames_in[name] or seen_in[name] or start.on is not None
        if has_news or unit.cover in CEDAR_COVERS:
            found.append(
                _unit_response(
                    unit,
                    cut,
                    start,
                    frames=frames_in[name],
                    sightings=seen_in[name],
                    plots=plots_in[name],
                    first_drawn=_drawn_before(drawn[name], unit, start),
                    unsure=unsure[name],
                )
            )
    days = [entry.date for entry in state.entries]
    days += [frame.read_on for one in frames_in.values() for frame in one]
    days += [seen.seen_to for one in seen_in.values() for seen in one]
    return ResponseResult(
        place=place, on=on or max(days, default=None), units=tuple(found), sightings_outside=outside, method=()
    )


def _unit_response(
    unit: Unit,
    cut: CutUnit,
    start: FirstWork,
    *,
    frames: Sequence[CoverFrame],
    sightings: Sequence[Sighting],
    plots: Sequence[Plot],
    first_drawn: Unit,
    unsure: int,
) -> UnitResponse:
    turn = start.on or date.max
    before = _side(
        [frame for frame in frames if frame.read_on < turn],
        [seen for seen in sightings if seen.seen_to < turn],
        [plot for plot in plots if plot.measured_on is not None and plot.measured_on < turn],
        outline=first_drawn,
    )
    after = _side(
        [frame for frame in frames if frame.read_on > turn],
        [seen for seen in sightings if seen.seen_from > turn],
        [plot for plot in plots if plot.measured_on is not None and plot.measured_on > turn],
    )
    moved = change(before.native, after.native) if before.native and after.native else None
    compared = min(len(_with_names(before.round)), len(_with_names(after.round)))
    return UnitResponse(
        unit_id=unit.unit_id,
        name=unit.name,
        first_work_on=start.on,
        first_work=start.practice,
        worked_pct=start.worked_pct,
        **before.figures("before", compared),
        **after.figures("after", compared),
        native_cover_change_pct=moved.points if moved else None,
        native_cover_change_pct_ci95_low=moved.ci95_low if moved else None,
        native_cover_change_pct_ci95_high=moved.ci95_high if moved else None,
        sightings_unsure=unsure,
        frames_compared=compared or None,
        left_out=len(frames) + len(sightings) - sum(len(side.frames) + len(side.sightings) for side in (before, after)),
        coming_back=coming_back(cut, since=start.on),
        words="",
    )


def _side(
    frames: Sequence[CoverFrame], sightings: Sequence[Sighting], plots: Sequence[Plot], *, outline: Unit | None = None
) -> _Side:
    last_round = _last_round(frames)
    return _Side(last_round, tuple(frames), tuple(sightings), canopy_of_side(last_round, plots, outline=outline))


def _last_round(frames: Sequence[CoverFrame]) -> tuple[CoverFrame, ...]:
    """Return the frames of the newest day, and those that the same readings took in the weeks up to it."""
    if not frames:
        return ()
    newest = max(frame.read_on for frame in frames)
    readings = {frame.reading_id for frame in frames if frame.read_on == newest}
    return tuple(
        frame
        for frame in frames
        if frame.read_on == newest or (frame.reading_id in readings and (newest - frame.read_on).days <= ROUND_DAYS)
    )


def _sum_pct(frame: CoverFrame, *, native: bool | None) -> float:
    """Return the cover of a frame's plants that are native (``None``: of unknown origin), cedars left out [%]."""
    return sum(line.cover_pct for line in _counting(frame, native=native))


def _counting(frame: CoverFrame, *, native: bool | None) -> list[CoverLine]:
    return [
        line
        for line in frame.lines
        if line.native is native
        # a group without a word on its origin is no plant: bare ground, litter, rock
        and (line.species is not None or line.native is not None)
        and not is_cedar(line.species or line.group or "")
    ]


def _species_of(frame: CoverFrame) -> set[str]:
    return {species_key(line.species) for line in frame.lines if line.species and not is_cedar(line.species)}


def _with_names(frames: Sequence[CoverFrame]) -> tuple[CoverFrame, ...]:
    """Return the frames that can tell of species: one read by groups of plants alone says nothing of how many."""
    return tuple(
        frame
        for frame in frames
        if any(line.species for line in frame.lines) or all(line.native is None for line in frame.lines)
    )


def _drawn_before(versions: Sequence[Unit], unit: Unit, start: FirstWork) -> Unit:
    """Return the unit as it was drawn before the first work, whose outline may say what canopy it had then."""
    if start.on is None:
        return unit
    held = [
        one
        for one in versions
        if (one.valid_from or date.min) < start.on and (one.valid_to is None or one.valid_to >= start.on)
    ]
    return held[-1] if held else unit


def _by_unit(
    state: Ground, sightings: Sequence[Sighting]
) -> tuple[defaultdict[str, list[Sighting]], defaultdict[str, int], int]:
    """Return the sightings inside each unit, how many of them may lie beyond it, and how many lie in none."""
    inside: defaultdict[str, list[Sighting]] = defaultdict(list)
    unsure: defaultdict[str, int] = defaultdict(int)
    labels, shapes = list(state.unit_shapes), list(state.unit_shapes.values())
    if state.grid is None:
        return inside, unsure, len(sightings)
    points = shapely.get_parts(state.grid.to_grid(shapely.MultiPoint([seen.geometry for seen in sightings])))
    point_numbers, unit_numbers = shapely.STRtree(shapes).query(points, predicate="intersects")
    home = {
        int(point): int(unit) for point, unit in sorted(zip(point_numbers, unit_numbers, strict=True), reverse=True)
    }
    edges = [shape.boundary for shape in shapes]
    for number, unit in sorted(home.items()):
        seen = sightings[number]
        inside[labels[unit]].append(seen)
        distance_m = float(np.asarray(shapely.distance(points[number], edges[unit])))
        unsure[labels[unit]] += seen.uncertainty_m is not None and seen.uncertainty_m > distance_m
    return inside, unsure, len(sightings) - len(home)


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
        rests_on=so_many(len(read), "frame"),
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
        rests_on=f"{so_many(len(lines), 'line')}, {sum(lengths_ft):,.0f} ft together",
    )


def _by_stems(plots: Sequence[Plot]) -> Canopy | None:
    stems = stems_of(_newest([plot for plot in plots if plot.method != "line"]))
    if stems is None or stems.crown_ft is None:
        return None
    return Canopy(
        cover_pct=crown_cover_pct(stems.density.stems_per_acre, crown_ft=stems.crown_ft),
        on=stems.plots[0].measured_on,
        rests_on=f"stems of {so_many(len(stems.plots), 'plot')} and a crown of {stems.crown_ft:.1f} ft by mean area",
    )


def _by_outline(outline: Unit | None) -> Canopy | None:
    if outline is None or outline.canopy_pct is None:
        return None
    return Canopy(cover_pct=outline.canopy_pct, rests_on="the figure given with the unit’s outline")


def _newest(plots: Sequence[Plot]) -> list[Plot]:
    day = max((plot.measured_on for plot in plots if plot.measured_on is not None), default=None)
    return [plot for plot in plots if plot.measured_on == day]
