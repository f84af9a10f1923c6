"""Which features strangers must not learn of; what is done about it lies in `work/public_ground.py`."""

from __future__ import annotations

from collections.abc import Sequence

from shapely.geometry.base import BaseGeometry

from habmap.land.grid import LocalGrid
from habmap.records import Feature
from habmap.vocabulary import PRIVATE_FEATURE_KINDS


def is_private(feature: Feature) -> bool:
    """Return whether a feature stays out of everything made for the public."""
    return feature.sensitive or feature.kind in PRIVATE_FEATURE_KINDS


def private_shapes(features: Sequence[Feature], grid: LocalGrid) -> list[BaseGeometry]:
    """Return the outlines of the private features in grid meters."""
    return [grid.to_grid(feature.geometry) for feature in features if is_private(feature)]
