"""Native cover, canopy and species before and after the first work on each unit's ground. It tells when, never why."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import shapely

from habmap.jobs.ground import ground
from habmap.jobs.ports import Store
from habmap.records import CoverFrame, CoverLine, Plot, Sighting, Unit
from habmap.show.response_words import unit_words
from habmap.vocabulary import CEDAR_COVERS
from habmap.work.ground import Ground, GroundPiece
from habmap.work.response import MeanCover, Rarefied, change, is_cedar, mean_cover, rarefied, species_key
from habmap.work.response_canopy import Canopy, canopy_of_side
from habmap.work.response_records import ResponseResult, UnitResponse
from habmap.work.response_regrowth import FirstWork, coming_back, first_work

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

    def rarefied(self, to_frames: int) -> Rarefied | None:
        named = _with_names(self.round)
        return rarefied([_species_of(frame) for frame in named], to_frames=to_frames) if to_frames else None


def response(store: Store, *, on: date | None = None) -> ResponseResult:
    """Set what was read before the first work on each unit's ground beside what was read after it.

    Parameters
    ----------
    on
        As of this day's work, readings and sightings, on the units as they were that day; ``None``: all of now.
    """
    return response_of(store, ground(store, on=on), on=on)


def response_of(store: Store, state: Ground, *, on: date | None = None) -> ResponseResult:
    """Return the same from ground that was cut already."""
    limit = on or date.max
    frames: defaultdict[str, list[CoverFrame]] = defaultdict(list)
    for frame in store.cover_frames():
        if frame.read_on <= limit:
            frames[frame.unit_id].append(frame)
    plots: defaultdict[str, list[Plot]] = defaultdict(list)
    for plot in store.plots():
        if plot.unit_id is not None and plot.measured_on is not None and plot.measured_on <= limit:
            plots[plot.unit_id].append(plot)
    sightings, unsure, outside = _by_unit(state, [seen for seen in store.sightings() if seen.seen_to <= limit])
    versions: defaultdict[str, list[Unit]] = defaultdict(list)
    for version in store.unit_versions():
        if version.is_retired:
            continue
        versions[version.unit_id].append(version)
    pieces: defaultdict[str, list[GroundPiece]] = defaultdict(list)
    for piece in state.pieces:
        pieces[piece.unit_id].append(piece)
    found = []
    for unit in state.units:
        start = first_work(state, pieces[unit.unit_id])
        has_news = frames[unit.unit_id] or sightings[unit.unit_id] or start.on is not None
        if has_news or unit.cover in CEDAR_COVERS:
            found.append(
                _unit_response(
                    unit,
                    state,
                    start,
                    frames=frames[unit.unit_id],
                    sightings=sightings[unit.unit_id],
                    plots=plots[unit.unit_id],
                    pieces=pieces[unit.unit_id],
                    first_drawn=_drawn_before(versions[unit.unit_id], unit, start),
                    unsure=unsure[unit.unit_id],
                )
            )
    days = [entry.date for entry in state.entries]
    days += [frame.read_on for one in frames.values() for frame in one]
    days += [seen.seen_to for one in sightings.values() for seen in one]
    return ResponseResult(
        place=store.settings.place.name,
        on=on or max(days, default=None),
        units=tuple(found),
        sightings_outside=outside,
        method=METHOD,
    )


METHOD = (
    "Before is the last round of frames before the first log line that killed cedars or burned on that ground, after "
    "the newest round since (frames of one reading within a month); what was read that very day counts on neither "
    "side. A sighting over several days counts by all of them: before if the last is before that day, after if the "
    "first is after it.",
    "Cover classes stand for their midpoints (Daubenmire 1959: 2.5, 15, 37.5, 62.5, 85, 97.5 %). A frame without a "
    "plant counts as 0 for it. Plants grow in layers: the cover of the native ones is summed, and may pass 100 %. "
    "Limits are 95 %, Student’s t over frames, kept between 0 and 100 % for each plant summed; the change’s are "
    "Welch’s.",
    "Native is what the reader wrote, never guessed. Cedars count as crowns, not as native cover or species. Counts of "
    "species depend on how long and how well somebody looked; only equally many frames compare (Mao’s tau, Colwell "
    "and others 2004), with the standard deviation after ±.",
    "Before and after tell when something was seen, not what caused it: rain, grazing and season move these figures "
    "too.",
)


def _unit_response(
    unit: Unit,
    state: Ground,
    start: FirstWork,
    *,
    frames: Sequence[CoverFrame],
    sightings: Sequence[Sighting],
    plots: Sequence[Plot],
    pieces: Sequence[GroundPiece],
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
    native_before, native_after = before.native, after.native
    moved = change(native_before, native_after) if native_before and native_after else None
    compared = min(len(_with_names(before.round)), len(_with_names(after.round)))
    rare_before, rare_after = before.rarefied(compared), after.rarefied(compared)
    one, other = before.canopy or Canopy(), after.canopy or Canopy()
    species_before, species_after = before.species, after.species
    found = UnitResponse(
        unit_id=unit.unit_id,
        name=unit.name,
        first_work_on=start.on,
        first_work=start.practice,
        worked_pct=start.worked_pct,
        read_before_on=_day(before),
        read_after_on=_day(after),
        frames_before=len(before.round),
        frames_after=len(after.round),
        native_cover_before_pct=native_before.mean_pct if native_before else None,
        native_cover_before_pct_ci95_low=native_before.ci95_low if native_before else None,
        native_cover_before_pct_ci95_high=native_before.ci95_high if native_before else None,
        native_cover_after_pct=native_after.mean_pct if native_after else None,
        native_cover_after_pct_ci95_low=native_after.ci95_low if native_after else None,
        native_cover_after_pct_ci95_high=native_after.ci95_high if native_after else None,
        native_cover_change_pct=moved.points if moved else None,
        native_cover_change_pct_ci95_low=moved.ci95_low if moved else None,
        native_cover_change_pct_ci95_high=moved.ci95_high if moved else None,
        native_plants_before=before.native_plants,
        native_plants_after=after.native_plants,
        unknown_cover_before_pct=before.unknown_pct,
        unknown_cover_after_pct=after.unknown_pct,
        canopy_before_pct=one.cover_pct,
        canopy_before_pct_ci95_low=one.ci95_low,
        canopy_before_pct_ci95_high=one.ci95_high,
        canopy_before_on=one.on,
        canopy_before_rests_on=one.rests_on,
        canopy_after_pct=other.cover_pct,
        canopy_after_pct_ci95_low=other.ci95_low,
        canopy_after_pct_ci95_high=other.ci95_high,
        canopy_after_on=other.on,
        canopy_after_rests_on=other.rests_on,
        species_before=len(species_before),
        species_after=len(species_after),
        native_species_before=sum(species_before.values()),
        native_species_after=sum(species_after.values()),
        sightings_before=len(before.sightings),
        sightings_after=len(after.sightings),
        sightings_unsure=unsure,
        species_frames_before=len(_with_names(before.frames)),
        species_frames_after=len(_with_names(after.frames)),
        frames_compared=compared or None,
        frame_species_before=rare_before.species if rare_before else None,
        frame_species_before_sd=rare_before.sd if rare_before else None,
        frame_species_after=rare_after.species if rare_after else None,
        frame_species_after_sd=rare_after.sd if rare_after else None,
        left_out=len(frames) + len(sightings) - sum(len(side.frames) + len(side.sightings) for side in (before, after)),
        coming_back=coming_back(state, pieces, since=start.on),
        words="",
    )
    return replace(found, words=unit_words(found))


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


def _day(side: _Side) -> date | None:
    return max((frame.read_on for frame in side.round), default=None)


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
    if state.grid is None or not sightings or not shapes:
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
