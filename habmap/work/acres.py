"""The acre account: what is done, what remains, per unit and per practice."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date

from habmap import measures
from habmap.land.acreage import area_of_record_m2
from habmap.memory import remembered
from habmap.records import Entry, Unit
from habmap.vocabulary import CEDAR_STAGES, PRACTICES, REMAINING, STAGES, TREATED
from habmap.work.ground import CutUnit, Ground, Overlay
from habmap.work.leave import LeaveRule, missing_acres


def cedar_acres(stage_acres: Mapping[str, float]) -> float:
    """Return cedar ground: treated, remaining and left on purpose together [acre].

    Parameters
    ----------
    stage_acres
        Acres by stage (``vocabulary.STAGES``); a stage left out has none [acre].
    """
    return math.fsum(stage_acres.get(stage, 0.0) for stage in CEDAR_STAGES)


@dataclass(frozen=True, slots=True)
class Paper:
    """What the account says that no ground tells: the place's name, what is to be left, practices' codes by key."""

    place: str = ""
    leave: LeaveRule = field(default_factory=LeaveRule)
    codes: Mapping[str, str | None] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class StageAcres:
    """Acres in each stage [acre]."""

    standing: float = 0.0
    part_cut: float = 0.0
    dead_standing: float = 0.0
    down: float = 0.0
    piled: float = 0.0
    burned: float = 0.0
    slash_gone: float = 0.0
    kept_up: float = 0.0
    coming_back: float = 0.0
    keep: float = 0.0
    other: float = 0.0

    def get(self, stage: str, default: float = 0.0) -> float:
        """Return the acres in a stage [acre]."""
        return float(getattr(self, stage, default))


@dataclass(frozen=True, slots=True)
class GroundAcres:
    """The account of any ground [acre]: treated, remaining and left on purpose together are ``cedar_acres``.

    ``slash_acres`` is ground of any stage with felled cedar not yet gone, in piles or not; ``snag_acres`` ground with
    cedar killed standing and still up. ``leave_target_acres`` is the least and most cedar ground to leave on purpose by
    ``leave_pct``, ``None`` where that is not set; ``left_acres`` what is left, ``still_to_leave_acres`` what of the
    ground missing to the least still can be, ``too_late_to_leave_acres`` what no longer can: the cedars there were
    killed.
    """

    acres: float
    stage_acres: StageAcres
    cedar_acres: float
    treated_acres: float
    remaining_acres: float
    keep_acres: float
    coming_back_acres: float
    slash_acres: float
    snag_acres: float
    leave_target_acres: tuple[float, float] | None
    left_acres: float
    still_to_leave_acres: float | None
    too_late_to_leave_acres: float | None


@dataclass(frozen=True, slots=True)
class UnitAcres(GroundAcres):
    """One unit's line of the account.

    ``acres`` is the unit's area of record; ``acres_sd`` the standard deviation of a walked outline, else ``None``;
    ``treated_pct`` is of the unit's acres.
    """

    unit_id: str
    name: str
    cover: str
    acres_sd: float | None
    treated_pct: float


@dataclass(frozen=True, slots=True)
class TotalAcres(GroundAcres):
    """Sums over the units; ground that is coming back is among the treated too.

    The goals of leaving and what is missing to them add up those of the units that have one.
    """


@dataclass(frozen=True, slots=True)
class PracticeAcres:
    """One practice's line of the account.

    ``acres`` is the ground that its patches cover, each acre once; ``pass_acres`` their plain sum.
    """

    practice: str
    practice_code: str | None
    acres: float
    pass_acres: float
    inside_acres: float
    outside_acres: float
    entries: int
    first_date: date
    last_date: date


@dataclass(frozen=True, slots=True)
class AcresResult:
    """The account (``habmap/acres/1``).

    Attributes
    ----------
    on
        Day of the account; ``None`` when nothing was ever logged and no day was asked for.
    acre_m2
        The acre used [m²].
    outside_acres
        Worked ground that lies in no unit, each acre once.
    counted_twice_acres
        Ground that two neighbors hold because their outlines overlap by a hair; it is in the acres of both.
    closure_m2
        Largest difference between a unit's area and the sum of its pieces [m²].
    """

    place: str
    on: date | None
    acre_m2: float
    totals: TotalAcres
    units: tuple[UnitAcres, ...]
    practices: tuple[PracticeAcres, ...]
    outside_acres: float
    counted_twice_acres: float
    closure_m2: float


def acre_account(place_ground: Ground, *, paper: Paper) -> AcresResult:
    """Add up ground that is already cut into pieces, with what only paper knows of it.

    Notes
    -----
    Treated + remaining + left on purpose + other cover = acres, for every unit and in total.
    """
    units = []
    closure_m2 = 0.0
    twice_m2: list[float] = []
    for unit, cut in zip(place_ground.units, place_ground.by_unit, strict=True):
        own = _sums(cut)
        twice_m2 += own.twice_m2
        unit_m2 = area_of_record_m2(unit.geometry, grid=place_ground.grid) if place_ground.grid else 0.0
        closure_m2 = max(closure_m2, abs(own.all_m2 - unit_m2))
        units.append(_unit_acres(unit, unit_m2, own, paper))
    outside_m2 = math.fsum(
        overlay.area_m2 for overlay in place_ground.overlays if overlay.entry_ids and not overlay.unit_ids
    )
    return AcresResult(
        place=paper.place,
        on=place_ground.on,
        acre_m2=measures.M2_PER_ACRE,
        totals=_totals(units, paper),
        units=tuple(units),
        practices=_practices(place_ground, paper),
        outside_acres=measures.acres(outside_m2),
        counted_twice_acres=measures.acres(math.fsum(twice_m2)),
        closure_m2=closure_m2,
    )


@dataclass(frozen=True, slots=True)
class _Sums:
    """One unit's ground added up [m²].

    Attributes
    ----------
    stage_m2, practice_m2
        By stage; by practice, each square meter once in the first of its units.
    felled_m2, snag_m2
        On which cedars lie felled, or stand killed.
    twice_m2
        Parts that lie in several units, each as often as it is counted too much.
    """

    all_m2: float
    stage_m2: Mapping[str, float]
    practice_m2: Mapping[str, float]
    felled_m2: float
    snag_m2: float
    twice_m2: tuple[float, ...]


@remembered
def _sums(cut: CutUnit) -> _Sums:
    pieces = cut.pieces
    by_stage: defaultdict[str, list[float]] = defaultdict(list)
    for piece in pieces:
        by_stage[piece.stage].append(piece.area_m2)
    return _Sums(
        all_m2=math.fsum(piece.area_m2 for piece in pieces),
        stage_m2={stage: math.fsum(parts) for stage, parts in by_stage.items()},
        practice_m2=_practice_m2(cut.overlays, {line.entry_id: line.practice for line in cut.lines}),
        felled_m2=math.fsum(piece.area_m2 for piece in pieces if piece.state.felled_frac > 0),
        snag_m2=math.fsum(piece.area_m2 for piece in pieces if piece.state.snag_frac > 0),
        twice_m2=tuple(one.area_m2 * extra for one in cut.overlays if (extra := len(one.unit_ids) - 1)),
    )


def _practice_m2(overlays: Iterable[Overlay], practice_of: Mapping[str, str]) -> dict[str, float]:
    """Return the ground of each practice [m²]: every square meter is in one overlay only."""
    found: defaultdict[str, list[float]] = defaultdict(list)
    for overlay in overlays:
        for practice in {practice_of[entry_id] for entry_id in overlay.entry_ids}:
            found[practice].append(overlay.area_m2)
    return {practice: math.fsum(parts) for practice, parts in found.items()}


def _unit_acres(unit: Unit, unit_m2: float, own: _Sums, paper: Paper) -> UnitAcres:
    by_stage = {stage: measures.acres(own.stage_m2.get(stage, 0.0)) for stage in STAGES}
    treated = math.fsum(by_stage[stage] for stage in TREATED)
    unit_acres = measures.acres(unit_m2)
    cedar = cedar_acres(by_stage)
    remaining = math.fsum(by_stage[stage] for stage in REMAINING)
    target = paper.leave.target_acres(unit.unit_id, cedar)
    still, too_late = missing_acres(target, left_acres=by_stage["keep"], remaining_acres=remaining)
    return UnitAcres(
        unit_id=unit.unit_id,
        name=unit.name,
        cover=unit.cover,
        acres=unit_acres,
        acres_sd=unit.acres_sd,
        stage_acres=StageAcres(**by_stage),
        cedar_acres=cedar,
        treated_acres=treated,
        remaining_acres=remaining,
        keep_acres=by_stage["keep"],
        coming_back_acres=by_stage["coming_back"],
        slash_acres=measures.acres(own.felled_m2),
        snag_acres=measures.acres(own.snag_m2),
        leave_target_acres=target,
        left_acres=by_stage["keep"],
        still_to_leave_acres=still,
        too_late_to_leave_acres=too_late,
        # Pieces close within 1e-6 m², not to the last digit: all of a unit is 100, never a hair above.
        treated_pct=min(100.0, 100 * treated / unit_acres) if unit_acres else 0.0,
    )


def _totals(units: list[UnitAcres], paper: Paper) -> TotalAcres:
    def total(name: str) -> float:
        return math.fsum(getattr(unit, name) for unit in units)

    targets = [unit.leave_target_acres for unit in units if unit.leave_target_acres is not None]
    is_set = paper.leave.place_pct is not None or bool(targets)
    still = math.fsum(unit.still_to_leave_acres or 0.0 for unit in units)
    too_late = math.fsum(unit.too_late_to_leave_acres or 0.0 for unit in units)

    return TotalAcres(
        acres=total("acres"),
        cedar_acres=total("cedar_acres"),
        treated_acres=total("treated_acres"),
        remaining_acres=total("remaining_acres"),
        keep_acres=total("keep_acres"),
        coming_back_acres=total("coming_back_acres"),
        slash_acres=total("slash_acres"),
        snag_acres=total("snag_acres"),
        leave_target_acres=(math.fsum(one[0] for one in targets), math.fsum(one[1] for one in targets))
        if is_set
        else None,
        left_acres=total("left_acres"),
        still_to_leave_acres=still if is_set else None,
        too_late_to_leave_acres=too_late if is_set else None,
        stage_acres=StageAcres(
            **{stage: math.fsum(getattr(unit.stage_acres, stage) for unit in units) for stage in STAGES}
        ),
    )


def _practices(place_ground: Ground, paper: Paper) -> tuple[PracticeAcres, ...]:
    by_unit = [_sums(cut).practice_m2 for cut in place_ground.by_unit]
    outside_m2 = _practice_m2(
        (overlay for overlay in place_ground.overlays if not overlay.unit_ids),
        {entry.entry_id: entry.practice for entry in place_ground.entries},
    )
    entries_of: defaultdict[str, list[Entry]] = defaultdict(list)
    for entry in place_ground.entries:
        entries_of[entry.practice].append(entry)
    found = []
    for practice in PRACTICES:
        entries = entries_of[practice]
        if not entries:
            continue
        inside = math.fsum(own.get(practice, 0.0) for own in by_unit)
        outside = outside_m2.get(practice, 0.0)
        patches = [place_ground.patches[e.entry_id] for e in entries if e.entry_id in place_ground.patches]
        found.append(
            PracticeAcres(
                practice=practice,
                practice_code=paper.codes.get(practice),
                acres=measures.acres(inside + outside),
                pass_acres=measures.acres(math.fsum(patch.area for patch in patches)),
                inside_acres=measures.acres(inside),
                outside_acres=measures.acres(outside),
                entries=len(entries),
                first_date=min(entry.date for entry in entries),
                last_date=max(entry.date for entry in entries),
            )
        )
    return tuple(found)
