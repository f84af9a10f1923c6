"""The one way to add stages up to cedar acres, for every screen, sheet and file."""

from __future__ import annotations

import math
from collections.abc import Mapping

from habmap.vocabulary import CEDAR_STAGES


def cedar_acres(stage_acres: Mapping[str, float]) -> float:
    """Return cedar ground: treated, remaining and left on purpose together [acre].

    Parameters
    ----------
    stage_acres
        Acres by stage (``vocabulary.STAGES``); a stage left out has none [acre].
    """
    return math.fsum(stage_acres.get(stage, 0.0) for stage in CEDAR_STAGES)
