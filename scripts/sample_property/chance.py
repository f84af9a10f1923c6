"""Repeatable chance: only ``random.Random.random`` is promised to give the same stream on every Python."""

from __future__ import annotations

import math
import random
from statistics import NormalDist

_NORMAL = NormalDist()


class Chance:
    """A named stream of random numbers, so that changing one file's draws leaves the others as they were."""

    def __init__(self, seed: int, name: str) -> None:
        self._random = random.Random(f"{seed}/{name}")

    def uniform(self, low: float = 0.0, high: float = 1.0) -> float:
        """Return a number between ``low`` and ``high``."""
        return low + (high - low) * self._random.random()

    def normal(self, sigma: float = 1.0) -> float:
        """Return a normal number around zero, by the inverse of the distribution."""
        return sigma * _NORMAL.inv_cdf(min(max(self._random.random(), 1e-12), 1 - 1e-12))

    def poisson(self, mean: float) -> int:
        """Return a Poisson count (Knuth's product of uniforms; for means up to a few hundred)."""
        limit, product, count = math.exp(-mean), 1.0, -1
        while product > limit or count < 0:
            product *= self._random.random()
            count += 1
        return count
