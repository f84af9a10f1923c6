"""Which stand comes next, and why: tiers, a weighted score with every part shown, and how firm the order is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from habmap.measures import acres_words
from habmap.vocabulary import CEDAR_COVERS, WIND_WORDS, wind_16
from habmap.work.closures import Closure

Tier = Literal["first", "upkeep", "next", "later", "none"]

#: In the order of work. Upkeep stands beside the first tier: its acres are the cheapest there are.
TIERS: Final[tuple[Tier, ...]] = ("first", "upkeep", "next", "later", "none")
#: Parts of the score of ground to be cleared.
PARTS: Final = ("sun_facing", "heat_load", "density", "remaining", "near_open", "gentle")
#: The one part of the score of ground to be kept up: how near the trees stand that would seed it.
SEED_PART: Final = "near_seed"

#: A unit is sun-facing when at least this share of its covered ground is [%].
SUN_FACING_UNIT_PCT: Final = 50.0
#: Said where ground is known but not its heat load.
NO_HEAT_LOAD: Final = (
    "Heat load is not known here: its equation (McCune & Keon 2002) was fitted for 30 to 60° north and slopes up to "
    "60°. The order of work leaves it out, and the other parts of a score weigh that much more."
)
#: Heat load (McCune & Keon 2002, eq. 3) at which its part is 0 and 1. At 40° N a 30° slope facing north has 0.64 and
#: one facing south 0.98, so ordinary ground falls between. Chosen scale, no source.
HEAT_LOAD_SCALE: Final = (0.6, 1.05)
#: Density at which its part is full, as a multiple of the place's own limit for dense. Chosen scale, no source.
FULL_DENSITY_MULTIPLE: Final = 4.0
#: Remaining ground at which its part is one half [acre]: a few days of hand work. Chosen scale, no source.
HALF_REMAINING_ACRES: Final = 5.0
#: Distance to open ground at which its part is one half [m]. Chosen scale, no source.
HALF_NEARNESS_M: Final = 100.0
#: Ground smaller than this is a sliver of the mapping, not work left [acre] (about 4 m²).
SLIVER_ACRES: Final = 0.001

RANDOM_WEIGHTINGS: Final = 2_000
RANDOM_SEED: Final = 20_020_603
#: How tightly the random weightings keep to the place's own weights (Dirichlet with this total concentration).
DIRICHLET_TOTAL: Final = 20.0
#: An order kept by fewer of the random weightings than this is a close call [%].
CLOSE_CALL_BELOW_PCT: Final = 75.0
#: Scores nearer to one another than this are even: tables tell them to 0.01.
EVEN_SCORES_WITHIN: Final = 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """What is known of one unit when the order of work is made; ``None`` = unknown.

    Terrain and density are of the ground that remains; where none does, of the whole unit.

    Attributes
    ----------
    canopy_coverage_pct
        Share of the unit that ``canopy_pct`` is of; ``None`` = all of it [%].
    sun_facing_pct, coverage_pct
        Share of the covered ground that is sun-facing; share of the unit that the elevation covers [%].
    aspect_mean_deg, facing
        Direction of the mean gradient, true north [°], and its octant, or ``flat``.
    too_coarse
        Whether the elevation's cells are too coarse for the unit, so that its terrain figures are rough.
    heat_load_mean
        McCune & Keon (2002) eq. 3, unitless.
    near_open_m
        Shortest distance from the remaining ground to treated ground or native grass [m].
    hand_only_pct
        Share of the covered ground steeper than the place's machine limit [%].
    upkeep_acres, upkeep_why, near_seed_m
        Treated or grass ground that the last look or the calendar asks to keep up [acre], why, and its shortest
        distance to standing cedars [m].
    closure
        What keeps it from being worked now; ``None`` = nothing.
    remarks
        The owner's own phrases, said with the unit whatever its tier: holds, closed days, contract dates.
    pressing, contract_due
        The contract item there that is due soon or overdue, in words, and its day; one of ``remarks``.
    """

    unit_id: str
    cover: str
    remaining_acres: float
    name: str = ""
    stems_per_acre: float | None = None
    canopy_pct: float | None = None
    canopy_coverage_pct: float | None = None
    sun_facing_pct: float | None = None
    coverage_pct: float | None = None
    aspect_mean_deg: float | None = None
    facing: str | None = None
    too_coarse: bool = False
    heat_load_mean: float | None = None
    near_open_m: float | None = None
    hand_only_pct: float | None = None
    upkeep_acres: float = 0.0
    upkeep_why: str = ""
    near_seed_m: float | None = None
    closure: Closure | None = None
    remarks: tuple[str, ...] = ()
    pressing: str | None = None
    contract_due: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DenseLimits:
    """At and above either of these a stand is dense."""

    stems_per_acre: float
    canopy_pct: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranked:
    """One unit's place in the order of work.

    Attributes
    ----------
    score
        Weighted mean of the parts, 0–1; ``None`` where nothing is left to do.
    parts
        Each part 0–1; ``None`` = unknown: it counts as 0 in the score, but a heat load that the equation does not give
        where the ground's face is known is left out, and the other parts make up the whole.
    firm_pct
        Share of the random weightings in which the unit keeps its place within its tier, and not by a hair [%].
    facing_remaining, aspect_remaining_deg, sun_facing_remaining_pct
        Which way the remaining ground faces: octant or ``flat``, true bearing [°], and its sun-facing share [%];
        ``None`` where none remains or no elevation covers it.
    on_hold, closure
        Whether it is on hold; what keeps it from being worked now, ``None`` = nothing. It keeps its place in the order
        and is never what comes next.
    remarks
        Those of the reasons that are the owner's own: holds, closed days, contract dates.
    pressing, contract_due
        The contract item there that is due soon (within `habmap.work.seasons.AHEAD_DAYS`) or overdue, in words, and its
        day; ``None`` = none. It moves nothing in the order, which goes by the ground alone.
    """

    order: int
    unit_id: str
    name: str
    cover: str
    tier: Tier
    score: float | None
    reasons: tuple[str, ...]
    parts: Mapping[str, float | None]
    firm_pct: float | None
    close_call: bool
    remaining_acres: float
    facing_remaining: str | None = None
    aspect_remaining_deg: float | None = None
    sun_facing_remaining_pct: float | None = None
    on_hold: bool = False
    closure: Closure | None = None
    remarks: tuple[str, ...] = ()
    pressing: str | None = None
    contract_due: date | None = None

    @property
    def has_cutting(self) -> bool:
        """Whether cedar ground is left to treat."""
        return self.tier not in ("upkeep", "none")


def is_dense_stand(
    *,
    stems_per_acre: float | None,
    canopy_pct: float | None,
    limits: DenseLimits,
    canopy_coverage_pct: float | None = None,
) -> bool | None:
    """Tell whether a stand is dense: stems or canopy at or above the limit; ``None`` where neither is known.

    Parameters
    ----------
    canopy_coverage_pct
        Share of the unit that ``canopy_pct`` is of; the rest could hold any canopy. ``None``: all of it [%].
    """
    known = [
        answer
        for answer in (
            None if stems_per_acre is None else stems_per_acre >= limits.stems_per_acre,
            _reaches(canopy_pct, limits.canopy_pct, coverage_pct=canopy_coverage_pct),
        )
        if answer is not None
    ]
    return any(known) if known else None


def _reaches(share_pct: float | None, limit_pct: float, *, coverage_pct: float | None) -> bool | None:
    """Tell whether a share of the whole reaches a limit; ``None`` where the part that is not known could turn it."""
    if share_pct is None:
        return None
    covered = 1.0 if coverage_pct is None or coverage_pct > 99.9 else coverage_pct / 100
    at_least_pct = share_pct * covered
    if at_least_pct >= limit_pct:
        return True
    return False if at_least_pct + 100 * (1 - covered) < limit_pct else None


def is_dense(candidate: Candidate, *, limits: DenseLimits) -> bool | None:
    """Tell whether a candidate's stand is dense (see `is_dense_stand`)."""
    return is_dense_stand(
        stems_per_acre=candidate.stems_per_acre,
        canopy_pct=candidate.canopy_pct,
        canopy_coverage_pct=candidate.canopy_coverage_pct,
        limits=limits,
    )


def is_sun_facing(candidate: Candidate) -> bool | None:
    """Tell whether a unit is sun-facing; ``None`` where the elevation that is missing could turn the answer."""
    if candidate.sun_facing_pct is None or not candidate.coverage_pct:
        return None
    return _reaches(candidate.sun_facing_pct, SUN_FACING_UNIT_PCT, coverage_pct=candidate.coverage_pct)


def tier_of(candidate: Candidate, *, limits: DenseLimits) -> Tier:
    """Sort a unit into its tier.

    ``first`` = cedar, known to be dense, known to be sun-facing, with acres remaining; ``next`` = cedar or mixed
    ground with acres remaining that is known to be one of the two; ``later`` = the rest with acres remaining;
    ``upkeep`` = nothing left to clear, but treated or grass ground asks for upkeep; ``none`` = neither. What is
    unknown never lifts a unit to ``first``.
    """
    if not _has_work(candidate):
        return "upkeep" if candidate.upkeep_acres >= SLIVER_ACRES else "none"
    dense, sunny = is_dense(candidate, limits=limits) is True, is_sun_facing(candidate) is True
    if dense and sunny and candidate.cover == "cedar":
        return "first"
    return "next" if dense or sunny else "later"


def parts_of(candidate: Candidate, *, limits: DenseLimits) -> dict[str, float | None]:
    """Return the parts of a unit's score, each 0–1, ``None`` where it is not known."""
    stems, canopy, heat = candidate.stems_per_acre, candidate.canopy_pct, candidate.heat_load_mean
    density = [
        share
        for share in (
            None if stems is None else stems / (FULL_DENSITY_MULTIPLE * limits.stems_per_acre),
            None if canopy is None else canopy / 100,
        )
        if share is not None
    ]
    low, high = HEAT_LOAD_SCALE
    return {
        "sun_facing": None if candidate.sun_facing_pct is None else candidate.sun_facing_pct / 100,
        "heat_load": None if heat is None else _clipped((heat - low) / (high - low)),
        "density": _clipped(max(density)) if density else None,
        "remaining": candidate.remaining_acres / (candidate.remaining_acres + HALF_REMAINING_ACRES),
        "near_open": _nearness(candidate.near_open_m),
        "gentle": None if candidate.hand_only_pct is None else 1 - candidate.hand_only_pct / 100,
        SEED_PART: _nearness(candidate.near_seed_m),
    }


def rank_units(
    candidates: Sequence[Candidate], *, limits: DenseLimits, weights: Mapping[str, float]
) -> tuple[Ranked, ...]:
    """Put units into the order of work: by tier, then score, then remaining acres, then id.

    Parameters
    ----------
    weights
        A weight ≥ 0 for each of ``PARTS``, not all zero; only their proportions matter.

    Notes
    -----
    ``firm_pct`` draws ``RANDOM_WEIGHTINGS`` weightings from a Dirichlet distribution whose mean is the place's own
    weighting (fixed seed), and counts how often the unit keeps its place within its tier, with a score that differs
    from its neighbors' by `EVEN_SCORES_WITHIN` or more.
    """
    ranked: list[Ranked] = []
    for tier in TIERS:
        names: Sequence[str] = (SEED_PART,) if tier == "upkeep" else PARTS
        mean = np.array([1.0 if tier == "upkeep" else weights[part] for part in names], dtype=np.float64)
        mean = mean / mean.sum()
        group = [unit for unit in candidates if tier_of(unit, limits=limits) == tier]
        parts = [parts_of(unit, limits=limits) for unit in group]
        values = np.array([[part[name] or 0.0 for name in names] for part in parts]).reshape(len(group), len(names))
        applies = np.array([[_applies(name, part) for name in names] for part in parts], dtype=np.float64)
        applies = applies.reshape(values.shape)
        scores = _weighted(values, applies, mean)
        order = _ordered(group, scores)
        firm = _firm_pct(group, values, applies, order, mean) if tier != "none" else [None] * len(group)
        for place, index in enumerate(order):
            unit, firm_pct = group[index], firm[place]
            ranked.append(
                Ranked(
                    order=len(ranked) + 1,
                    unit_id=unit.unit_id,
                    name=unit.name,
                    cover=unit.cover,
                    tier=tier,
                    score=float(scores[index]) if tier != "none" else None,
                    reasons=reasons_of(unit, limits=limits),
                    parts=parts[index],
                    firm_pct=firm_pct,
                    close_call=firm_pct is not None and firm_pct < CLOSE_CALL_BELOW_PCT,
                    remaining_acres=unit.remaining_acres,
                    facing_remaining=unit.facing if _has_work(unit) else None,
                    aspect_remaining_deg=unit.aspect_mean_deg if _has_work(unit) else None,
                    sun_facing_remaining_pct=unit.sun_facing_pct if _has_work(unit) else None,
                    on_hold=unit.closure is not None and unit.closure.is_hold,
                    closure=unit.closure,
                    remarks=unit.remarks,
                    pressing=unit.pressing,
                    contract_due=unit.contract_due,
                )
            )
    return tuple(ranked)


def next_unit(ranked: Sequence[Ranked]) -> Ranked | None:
    """Return the first unit of the order with ground to treat that is neither on hold nor closed to cutting."""
    return next((unit for unit in ranked if unit.has_cutting and unit.closure is None), None)


def passed_over(ranked: Sequence[Ranked]) -> tuple[Ranked, ...]:
    """Return the units with ground to treat that would come before the next one but are on hold or closed."""
    following = next_unit(ranked)
    return tuple(
        unit
        for unit in ranked
        if unit.has_cutting and unit.closure is not None and (following is None or unit.order < following.order)
    )


def reasons_of(candidate: Candidate, *, limits: DenseLimits) -> tuple[str, ...]:
    """Say in plain words what puts a unit where it is, one short phrase each, unknowns included."""
    upkeep: tuple[str, ...] = ()
    if candidate.upkeep_acres >= SLIVER_ACRES:
        upkeep = (f"{candidate.upkeep_acres:.1f} acres ask for upkeep: {candidate.upkeep_why}",)
    if not _has_work(candidate):
        plain: tuple[str, ...] = (candidate.cover, "no acres remain")
        if candidate.cover not in CEDAR_COVERS:
            plain = (candidate.cover,) if upkeep else (f"{candidate.cover}: not cedar ground",)
        return (*plain, *upkeep, *candidate.remarks)
    phrases = ["mixed cedar and hardwood" if candidate.cover == "mixed" else candidate.cover]
    if candidate.sun_facing_pct is None:
        phrases.append("which way it faces is not known: no elevation here")
    else:
        share = f"{candidate.sun_facing_pct:.0f}% of what remains is sun-facing"
        if candidate.too_coarse:
            tens = round(candidate.sun_facing_pct, -1)
            share = f"roughly {tens:.0f}% of what remains is sun-facing (the elevation's cells are too coarse for it)"
        if candidate.aspect_mean_deg is None:
            phrases.append(f"level ground, {share}")
        else:
            phrases.append(f"faces {WIND_WORDS[wind_16(candidate.aspect_mean_deg)]}, {share}")
        if candidate.coverage_pct is not None and candidate.coverage_pct < 99:
            phrases.append(f"elevation covers only {candidate.coverage_pct:.0f}% of it")
    if candidate.stems_per_acre is not None:
        phrases.append(f"about {candidate.stems_per_acre:,.0f} stems per acre")
    if candidate.canopy_pct is not None:
        phrases.append(f"crowns cover {candidate.canopy_pct:.0f}%")
    dense = is_dense(candidate, limits=limits)
    phrases.append({True: "dense", False: "not dense", None: "how dense it is now has not been measured"}[dense])
    left = candidate.remaining_acres
    phrases.append(f"{left:.1f} acres remain" if left >= 0.05 else f"{acres_words(left)} remain")
    return (*phrases, *upkeep, *candidate.remarks)


def _has_work(candidate: Candidate) -> bool:
    return candidate.cover in CEDAR_COVERS and candidate.remaining_acres >= SLIVER_ACRES


def _nearness(distance_m: float | None) -> float | None:
    return None if distance_m is None else HALF_NEARNESS_M / (HALF_NEARNESS_M + distance_m)


def _applies(name: str, parts: Mapping[str, float | None]) -> bool:
    """Tell whether a part belongs in a unit's score: heat load does not where only its equation is missing."""
    return not (name == "heat_load" and parts[name] is None and parts["sun_facing"] is not None)


def _weighted(
    values: NDArray[np.float64], applies: NDArray[np.float64], weights: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the mean of each unit's parts that apply: (units,), or (units, draws) for weights (parts, draws)."""
    weight = applies @ weights
    return np.divide(values @ weights, weight, out=np.zeros_like(weight), where=weight > 0)


def _ordered(group: Sequence[Candidate], scores: NDArray[np.float64]) -> list[int]:
    return sorted(
        range(len(group)),
        key=lambda i: (-round(float(scores[i]), 9), -group[i].remaining_acres, group[i].unit_id),
    )


def _firm_pct(
    group: Sequence[Candidate],
    values: NDArray[np.float64],
    applies: NDArray[np.float64],
    order: Sequence[int],
    mean: NDArray[np.float64],
) -> list[float | None]:
    used = mean > 0  # a part that the place weighs zero stays out of the draw: Dirichlet needs positive shapes
    draws = np.random.default_rng(RANDOM_SEED).dirichlet(DIRICHLET_TOTAL * mean[used], size=RANDOM_WEIGHTINGS)
    placed = list(order)
    scores = _weighted(values[placed][:, used], applies[placed][:, used], draws.T).T
    drawn = np.argsort(-scores, axis=1)
    keeps = drawn == np.arange(len(group))
    # Units whose scores are as good as equal hold no place before one another, whoever stands first.
    is_even = -np.diff(np.take_along_axis(scores, drawn, axis=1), axis=1) < EVEN_SCORES_WITHIN
    keeps[:, 1:] &= ~is_even
    keeps[:, :-1] &= ~is_even
    return [float(100 * np.mean(keeps[:, place])) for place in range(len(group))]


def _clipped(value: float) -> float:
    return min(1.0, max(0.0, value))
