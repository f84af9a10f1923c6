"""How firm an order of work is, again from the definition in words: by other draws, and in closed form for two parts.

A unit keeps its place in a weighting when as many units of its tier as in the order stand ahead of it, and none stands
within 0.005 of its score. Weightings are Dirichlet about the place's own with a total concentration of 20.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import beta

from habmap.work.priority import PARTS, Candidate, DenseLimits, Ranked, rank_units

LIMITS = DenseLimits(stems_per_acre=250, canopy_pct=50)
DRAWS, PRODUCT_DRAWS = 100_000, 2_000
EVEN, CLOSE_PCT, TOTAL = 0.005, 75.0, 20.0


def tolerance_pct(share: float, draws: float = math.inf) -> float:
    """Return 4.5 standard errors of both counts, and 4 counts more where a share is too near its end for them."""
    return 100 * (4.5 * math.sqrt(share * (1 - share) * (1 / PRODUCT_DRAWS + 1 / draws)) + 4 / PRODUCT_DRAWS)


def check(line: Ranked, share: float, draws: float = math.inf) -> None:
    assert line.firm_pct == pytest.approx(100 * share, abs=tolerance_pct(share, draws)), line.unit_id
    if abs(100 * share - CLOSE_PCT) > tolerance_pct(share, draws):
        assert line.close_call is (100 * share < CLOSE_PCT), line.unit_id


def drawn(rng: np.random.Generator, number: int) -> Candidate:
    """Return a unit at random, with some figures unknown."""

    def maybe(value: float, known: float = 0.8) -> float | None:
        return value if rng.random() < known else None

    sunny = maybe(rng.uniform(20, 100))
    return Candidate(
        unit_id=f"U{number:02d}",
        cover="cedar" if rng.random() < 0.8 else "mixed",
        remaining_acres=rng.uniform(0.2, 40),
        stems_per_acre=maybe(rng.uniform(50, 1200)),
        canopy_pct=maybe(rng.uniform(0, 100), 0.5),
        sun_facing_pct=sunny,
        coverage_pct=0.0 if sunny is None else 100.0,
        heat_load_mean=None if sunny is None else maybe(rng.uniform(0.5, 1.1)),
        near_open_m=maybe(rng.uniform(0, 500)),
        hand_only_pct=None if sunny is None else rng.uniform(0, 100),
    )


def tier(unit: Candidate) -> str:
    dense = (unit.stems_per_acre or 0) >= 250 or (unit.canopy_pct or 0) >= 50
    sunny = (unit.sun_facing_pct or 0) >= 50
    if dense and sunny and unit.cover == "cedar":
        return "first"
    return "next" if dense or sunny else "later"


def figures(unit: Candidate) -> dict[str, float]:
    """Return what counts of a unit, by hand; unknown is 0, but a heat load that only its equation lacks is left out."""
    near = unit.near_open_m
    found = {
        "sun_facing": (unit.sun_facing_pct or 0) / 100,
        "density": min(1.0, max((unit.stems_per_acre or 0) / 1000, (unit.canopy_pct or 0) / 100)),
        "remaining": unit.remaining_acres / (unit.remaining_acres + 5),
        "near_open": 0.0 if near is None else 100 / (100 + near),
        "gentle": 0.0 if unit.hand_only_pct is None else 1 - unit.hand_only_pct / 100,
    }
    if unit.heat_load_mean is not None:
        found["heat_load"] = min(1.0, max(0.0, (unit.heat_load_mean - 0.6) / 0.45))
    elif unit.sun_facing_pct is None:
        found["heat_load"] = 0.0
    return found


@pytest.mark.parametrize(
    ("seed", "weights"),
    [
        (1, {"sun_facing": 1, "heat_load": 1, "density": 1, "remaining": 1, "near_open": 1, "gentle": 1}),
        (2, {"sun_facing": 3, "heat_load": 2, "density": 2, "remaining": 1, "near_open": 1, "gentle": 0.5}),
        (3, {"sun_facing": 0, "heat_load": 5, "density": 1, "remaining": 2, "near_open": 0, "gentle": 1}),
        (4, {"sun_facing": 0.2, "heat_load": 0.1, "density": 0.6, "remaining": 0.2, "near_open": 0.3, "gentle": 0}),
    ],
)
def test_firm_against_other_draws(seed: int, weights: dict[str, float]) -> None:
    rng = np.random.Generator(np.random.MT19937(seed))
    units = {unit.unit_id: unit for unit in (drawn(rng, number) for number in range(16))}
    lines = rank_units(list(units.values()), limits=LIMITS, weights=weights)
    assert len(lines) == len(units)
    # Gamma variates about the place's weights are a Dirichlet draw once divided by their sum, as every mean does.
    shapes = {part: TOTAL * weight / sum(weights.values()) for part, weight in weights.items() if weight}
    weight = {part: rng.standard_gamma(shape, DRAWS) for part, shape in shapes.items()}
    score = {}
    for name, unit in units.items():
        known = {part: value for part, value in figures(unit).items() if part in weight}
        score[name] = sum(value * weight[part] for part, value in known.items()) / sum(weight[part] for part in known)
    shares = []
    for at in ("first", "next", "later"):
        group = [line for line in lines if line.tier == at]
        assert {line.unit_id for line in group} == {name for name, unit in units.items() if tier(unit) == at}
        for place, line in enumerate(group):
            others = np.array([score[other.unit_id] - score[line.unit_id] for other in group if other is not line])
            others = others.reshape(len(group) - 1, DRAWS)
            ahead, behind = (others >= EVEN).sum(axis=0), (others <= -EVEN).sum(axis=0)
            share = float(np.mean((ahead == place) & (behind == len(group) - 1 - place)))
            check(line, share, DRAWS)
            shares.append(share)
    assert min(shares) < 0.5 and sum(0.05 < share < 0.95 for share in shares) >= 5  # the draw tells something


@pytest.mark.parametrize("density_weight", [1.0, 2.0, 5.0])
@pytest.mark.parametrize("stems_behind", [300.0, 500.0, 700.0])
@pytest.mark.parametrize("acres_more", [0.5, 2.0, 4.0, 8.0, 20.0])
def test_firm_of_two_units_and_two_parts_in_closed_form(
    density_weight: float, stems_behind: float, acres_more: float
) -> None:
    """One has more stems and the other more acres: the share of the weights is one beta variate."""
    weights = {**dict.fromkeys(PARTS, 0.0), "density": density_weight, "remaining": 2.0}
    thick = Candidate(unit_id="thick", cover="cedar", remaining_acres=3.0, stems_per_acre=720.0)
    wide = Candidate(unit_id="wide", cover="cedar", remaining_acres=3.0 + acres_more, stems_per_acre=stems_behind)
    lines = rank_units([wide, thick], limits=LIMITS, weights=weights)
    in_density = (720.0 - stems_behind) / 1000
    in_acres = (3 + acres_more) / (8 + acres_more) - 3 / 8
    mean = density_weight / (density_weight + 2)
    # thick leads by w·in_density − (1 − w)·in_acres, which reaches a lead of l at w = (l + in_acres) / (both)
    share_w = beta(TOTAL * mean, TOTAL * (1 - mean))
    thick_leads = float(share_w.sf((EVEN + in_acres) / (in_density + in_acres)))
    wide_leads = float(share_w.cdf((in_acres - EVEN) / (in_density + in_acres)))
    is_thick_first = mean * in_density > (1 - mean) * in_acres
    assert [line.unit_id for line in lines] == (["thick", "wide"] if is_thick_first else ["wide", "thick"])
    for line in lines:
        check(line, thick_leads if is_thick_first else wide_leads)


def test_close_call_begins_below_75_pct() -> None:
    """Acres sought so that the closed form gives 71 and 79%, each 4 standard errors from the limit."""
    for wanted, is_close in ((0.71, True), (0.79, False)):
        # w at which thick leads by 0.005 with that share: in_acres = (w·in_density − 0.005) / (1 − w)
        w = float(beta(10, 10).isf(wanted))
        in_acres = (w * 0.3 - EVEN) / (1 - w)
        part = 3 / 8 + in_acres
        thick = Candidate(unit_id="thick", cover="cedar", remaining_acres=3.0, stems_per_acre=720.0)
        wide = Candidate(unit_id="wide", cover="cedar", remaining_acres=5 * part / (1 - part), stems_per_acre=420.0)
        weights = {**dict.fromkeys(PARTS, 0.0), "density": 1.0, "remaining": 1.0}
        for line in rank_units([wide, thick], limits=LIMITS, weights=weights):
            assert line.firm_pct == pytest.approx(100 * wanted, abs=tolerance_pct(wanted))
            assert line.close_call is is_close


def test_upkeep_is_firm_where_nearness_tells_units_apart() -> None:
    """One part alone: no weighting can turn it, so 100, and 0 where two stand within 0.005."""
    meters = {"a": 0.0, "b": 50.0, "c": 50.4, "d": 300.0}  # 1, 0.6667, 0.6649, 0.25
    units = [
        Candidate(unit_id=name, cover="grass", remaining_acres=0.0, upkeep_acres=1.0, near_seed_m=near_m)
        for name, near_m in meters.items()
    ]
    lines = rank_units(units, limits=LIMITS, weights=dict.fromkeys(PARTS, 1.0))
    assert [(line.unit_id, line.firm_pct, line.close_call) for line in lines] == [
        ("a", 100.0, False), ("b", 0.0, True), ("c", 0.0, True), ("d", 100.0, False),
    ]  # fmt: skip
