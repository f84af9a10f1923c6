"""Arithmetic of what came up: cover classes, means over frames with their limits, species in equally many frames.

References
----------
Daubenmire, R. 1959. A canopy-coverage method of vegetational analysis. Northwest Science 33:43-64; as laid out in
Sampling Vegetation Attributes, Interagency Technical Reference 1734-4 (BLM 1996).
Colwell, R. K., Mao, C. X. & Chang, J. 2004. Interpolating, extrapolating, and comparing incidence-based species
accumulation curves. Ecology 85:2717-2727 (equations 5-7). Chao, A. 1987. Biometrics 43:783-791 (Chao2).
Welch, B. L. 1947. Biometrika 34:28-35.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final

from habmap.land.quantiles import t_quantile
from habmap.land.ratio import CONFIDENCE
from habmap.records.observations import CLASS_LIMITS_PCT

#: The trees that the work takes away count as canopy, never as what came back.
_CEDAR_GENUS: Final = "juniperus"
_CEDAR_NAMES: Final = frozenset(
    {"cedar", "cedars", "redcedar", "red cedar", "eastern redcedar", "eastern red cedar", "juniper", "ashe juniper"}
)


@dataclass(frozen=True, slots=True)
class MeanCover:
    """Mean cover over frames [%] with 95% limits; ``None`` where one frame cannot give any.

    Attributes
    ----------
    highest_pct
        The most that the cover can be: 100 for each plant whose layers are summed [%].
    """

    mean_pct: float
    ci95_low: float | None
    ci95_high: float | None
    se: float | None
    frames: int
    highest_pct: float


@dataclass(frozen=True, slots=True)
class Change:
    """Difference of two means [percentage points] with 95% limits; ``None`` where a side has one frame only."""

    points: float
    ci95_low: float | None
    ci95_high: float | None


@dataclass(frozen=True, slots=True)
class Rarefied:
    """Species expected in a smaller number of frames, and the standard deviation of that number."""

    species: float
    sd: float
    frames: int


def class_midpoint_pct(cover_class: int) -> float:
    """Return the cover that a class stands for, the middle of its limits [%].

    Raises
    ------
    KeyError
        There is no such class.
    """
    low, high = CLASS_LIMITS_PCT[cover_class]
    return (low + high) / 2


def is_cedar(name: str) -> bool:
    """Tell whether a scientific or plain name is that of a cedar (any *Juniperus*)."""
    words = name.casefold().split()
    return bool(words) and (words[0] == _CEDAR_GENUS or " ".join(words) in _CEDAR_NAMES)


def species_key(name: str) -> str:
    """Return a name as it is compared: case and spaces do not make another species."""
    return " ".join(name.casefold().split())


def mean_cover(cover_pct: Sequence[float], *, plants: int | None = None) -> MeanCover:
    """Return the mean cover over all frames read, those without the plant among them as 0.

    Parameters
    ----------
    cover_pct
        Shape (n,), n ≥ 1: cover in each frame [%]. Layers of plants overlap, so a sum over species may pass 100.
    plants
        How many different plants the sums are over, or 1 for what is no sum; ``None``: not known, no upper bound.

    Notes
    -----
    Limits by Student's t with n − 1 degrees of freedom, kept within what can be: 0 to 100% for each plant. Frames are
    taken as independent.
    """
    highest_pct = math.inf if plants is None else 100.0 * max(1, plants)
    n = len(cover_pct)
    mean = math.fsum(cover_pct) / n
    if n < 2:
        return MeanCover(mean, None, None, None, n, highest_pct)
    se = math.sqrt(math.fsum((value - mean) ** 2 for value in cover_pct) / (n - 1) / n)
    half = _t(n - 1) * se
    return MeanCover(mean, max(0.0, mean - half), min(highest_pct, mean + half), se, n, highest_pct)


def change(before: MeanCover, after: MeanCover) -> Change:
    """Return how far a mean moved, with Welch's limits.

    Notes
    -----
    Two independent sets of frames are taken, also where the same spots were read again: then the true interval is
    narrower. Degrees of freedom by Welch and Satterthwaite; two sets without any spread give no interval but the
    difference itself. No cover can fall by more than the most it can have been, nor rise to more than it can be.
    """
    points = after.mean_pct - before.mean_pct
    if before.se is None or after.se is None:
        return Change(points, None, None)
    parts = [(before.se**2, before.frames - 1), (after.se**2, after.frames - 1)]
    variance = sum(part for part, _ in parts)
    if variance == 0:
        return Change(points, points, points)
    df = variance**2 / sum(part**2 / df for part, df in parts)
    half = _t(df) * math.sqrt(variance)
    return Change(points, max(-before.highest_pct, points - half), min(after.highest_pct, points + half))


def rarefied(frames: Sequence[Collection[str]], *, to_frames: int) -> Rarefied:
    """Return the species expected in ``to_frames`` of these frames drawn by chance, and its standard deviation.

    Parameters
    ----------
    frames
        Species of each frame read, an empty one among them.
    to_frames
        1 ≤ h ≤ the number of frames H.

    Notes
    -----
    Mao's τ(h) = S − Σ s_j·α_jh, where s_j is the number of species found in j of H frames and α_jh =
    C(H−j, h)/C(H, h) (Colwell et al. 2004, equation 5). σ²(h) = Σ s_j(1 − α_jh)² − τ(h)²/S̃ (equation 6) with S̃ the
    bias-corrected Chao2 estimate, S + (H−1)/H · Q₁(Q₁−1)/(2(Q₂+1)), which stands where no species is in two frames.

    Raises
    ------
    ValueError
        ``to_frames`` is not between 1 and the number of frames.
    """
    whole = len(frames)
    if not 1 <= to_frames <= whole:
        raise ValueError(f"{to_frames} of {whole} frames cannot be drawn")
    found_in = Counter(name for frame in frames for name in set(frame))
    species_in = Counter(found_in.values())
    observed = len(found_in)
    if observed == 0:
        return Rarefied(0.0, 0.0, to_frames)
    missed = {j: math.comb(whole - j, to_frames) / math.comb(whole, to_frames) for j in species_in}
    tau = observed - math.fsum(count * missed[j] for j, count in species_in.items())
    once, twice = species_in[1], species_in[2]
    estimate = observed + (whole - 1) / whole * once * (once - 1) / (2 * (twice + 1))
    variance = math.fsum(count * (1 - missed[j]) ** 2 for j, count in species_in.items()) - tau**2 / estimate
    return Rarefied(tau, math.sqrt(max(0.0, variance)), to_frames)


def _t(df: float) -> float:
    return t_quantile((1 + CONFIDENCE) / 2, df)
