"""What ``response`` answers: each unit before and after the first work on its ground."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from habmap.work.response_regrowth import ComingBack


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitResponse:
    """One unit before and after the first work on its ground; ``None`` = not read, or not to be had from what was.

    Attributes
    ----------
    first_work_on, first_work
        Day and practice of the first log line that killed cedars or burned there; ``None`` = none yet, and then all
        readings are from before.
    worked_pct
        Share of the unit's ground that such work has covered by the day asked for [%]; frames may lie on the rest.
    read_before_on, read_after_on, frames_before, frames_after
        The last round of frames read before that day, and the newest read after it, with its last day. A round is what
        one reading took within ``ROUND_DAYS``, and all that was read on its last day.
    native_cover_…_pct
        Mean over those frames of the cover of native plants, cedars left out; the plants of a frame are summed, so
        layers may pass 100. Limits: 95%, Student's t over frames, within 0 and 100 for each plant summed.
    native_plants_…
        How many native plants, or groups of them, are summed so.
    native_cover_change_pct
        Percentage points gained; limits: 95%, Welch.
    unknown_cover_…_pct
        Cover of plants that the reader marked as of unknown origin.
    canopy_…_pct, canopy_…_rests_on
        Crown cover of cedars and what it was measured by.
    species_…, native_species_…
        Different species noted in sightings and frames, cedars left out: counts of what was seen, no census.
    sightings_…, species_frames_…
        The effort behind them: sightings, and all frames read on that side in which plants were named by species.
    frames_compared, frame_species_…, frame_species_…_sd
        Species expected in equally many frames (Mao's tau) with their standard deviation.
    sightings_unsure
        Sightings whose stated uncertainty reaches beyond the unit.
    left_out
        Sightings and frames of the very day of the first work, or whose interval spans it: they count on no side.
    """

    unit_id: str
    name: str
    first_work_on: date | None
    first_work: str | None
    worked_pct: float
    read_before_on: date | None
    read_after_on: date | None
    frames_before: int
    frames_after: int
    native_cover_before_pct: float | None
    native_cover_before_pct_ci95_low: float | None
    native_cover_before_pct_ci95_high: float | None
    native_cover_after_pct: float | None
    native_cover_after_pct_ci95_low: float | None
    native_cover_after_pct_ci95_high: float | None
    native_cover_change_pct: float | None
    native_cover_change_pct_ci95_low: float | None
    native_cover_change_pct_ci95_high: float | None
    native_plants_before: int
    native_plants_after: int
    unknown_cover_before_pct: float | None
    unknown_cover_after_pct: float | None
    canopy_before_pct: float | None
    canopy_before_pct_ci95_low: float | None
    canopy_before_pct_ci95_high: float | None
    canopy_before_on: date | None
    canopy_before_rests_on: str | None
    canopy_after_pct: float | None
    canopy_after_pct_ci95_low: float | None
    canopy_after_pct_ci95_high: float | None
    canopy_after_on: date | None
    canopy_after_rests_on: str | None
    species_before: int
    species_after: int
    native_species_before: int
    native_species_after: int
    sightings_before: int
    sightings_after: int
    sightings_unsure: int
    species_frames_before: int
    species_frames_after: int
    frames_compared: int | None
    frame_species_before: float | None
    frame_species_before_sd: float | None
    frame_species_after: float | None
    frame_species_after_sd: float | None
    left_out: int
    coming_back: ComingBack
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ResponseResult:
    """Every unit of cedar ground, and any other that was read or worked; ``on`` is the newest day that counts."""

    place: str
    on: date | None
    units: tuple[UnitResponse, ...]
    sightings_outside: int
    method: tuple[str, ...]
