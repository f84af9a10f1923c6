"""What the public must not learn from drawings: private features, and ground kept standing around them.

A small island of cedars left on purpose says where a nest or a grave is as plainly as its mark would. For the public
such ground is drawn as it stood before it was set aside; its acres stay in the account.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Final

import shapely
from shapely.geometry.base import BaseGeometry

from habmap.jobs.ground import Ground, cut_ground
from habmap.land.grid import LocalGrid
from habmap.place.settings import Settings
from habmap.vocabulary import PRIVATE_FEATURE_KINDS
from habmap.work.records import Feature

#: Ground left on purpose this near a private feature may be there for its sake [m] (no source).
KEPT_FOR_IT_M: Final = 60.0


def is_private(feature: Feature) -> bool:
    """Return whether a feature stays out of everything made for the public."""
    return feature.sensitive or feature.kind in PRIVATE_FEATURE_KINDS


def private_shapes(features: Sequence[Feature], grid: LocalGrid) -> list[BaseGeometry]:
    """Return the outlines of the private features in grid metres."""
    return [grid.to_grid(feature.geometry) for feature in features if is_private(feature)]


def telling_keeps(state: Ground, features: Sequence[Feature]) -> frozenset[str]:
    """Return the ids of the `keep` lines whose ground would tell where a private feature is."""
    private = [] if state.grid is None else private_shapes(features, state.grid)
    return frozenset(
        entry.entry_id
        for entry in state.entries
        if entry.practice == "keep"
        and entry.entry_id in state.patches
        and any(shapely.dwithin(state.patches[entry.entry_id], shape, KEPT_FOR_IT_M) for shape in private)
    )


def ground_without(state: Ground, hidden: Collection[str], *, settings: Settings) -> Ground:
    """Return ground to be drawn as if these lines had never been written; its acres are not for any account.

    It is cut anew without them: where an edge of theirs crosses the edge of other work, not even a corner stays.
    """
    if not hidden:
        return state
    entries = tuple(entry for entry in state.entries if entry.entry_id not in hidden)
    return cut_ground(state.units, entries, grid=state.grid, settings=settings, on=state.on)
