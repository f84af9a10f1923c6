"""Ground as strangers may read it: outlines without holes about private places, work without edges round them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from habmap.land.grid import LocalGrid
from habmap.land.veil import RADIUS_M, Veil, ends_there, runs_round, veil, veiled
from habmap.records import Entry, Feature, Unit
from habmap.work.public_copy import is_private, private_shapes, public_copy

#: Less ground than this in a hole is what two outlines of one edge differ by [m²].
_CRUMB_M2: Final = 1.0
#: Kinds of feature that lie where they do for no private place's sake, and those that only lead somewhere.
_NATURAL: Final = frozenset({"creek", "pond"})
_WAYS: Final = frozenset({"road", "lane", "power_line", "gas_line"})


@dataclass(frozen=True, slots=True)
class PublicGround:
    """What of a property's ground may be told; ``private`` are the outlines of its private places in grid meters."""

    grid: LocalGrid
    private: list[BaseGeometry]
    veil: Veil

    @classmethod
    def of(cls, features: Sequence[Feature], grid: LocalGrid, *, key: str) -> PublicGround:
        """Return that of a property by its features; ``key`` is a text that strangers don't know."""
        private = private_shapes(features, grid)
        return cls(grid, private, veil(private, key=key))

    def features(self, features: Sequence[Feature]) -> tuple[Feature, ...]:
        """Leave out what is private, and what leads there, runs round it or stands so near: a lane, a fence, a sign."""
        return tuple(public_copy(one) for one in features if not is_private(one) and not self._is_telling(one))

    def _is_telling(self, feature: Feature) -> bool:
        """Tell whether a feature stands where something private is, leads there or was drawn round it.

        Water lies where it lies, and ways bend for many reasons.
        """
        shape = self.grid.to_grid(feature.geometry)
        if shapely.covered_by(shape, self.veil.discs):
            return True
        if feature.kind in _NATURAL:
            return False
        return ends_there(shape, self.veil) or (feature.kind not in _WAYS and runs_round(shape, self.veil))

    def unit(self, unit: Unit, versions: Sequence[Unit]) -> Unit:
        """Return a version of a unit, its holes closed but for the ground of what lies beside it (lon/lat [°])."""
        beside = [other.geometry for other in versions if _hold_together(unit, other)]
        return replace(public_copy(unit), geometry=self.filled(unit.geometry, beside))

    def filled(self, shape: MultiPolygon, beside: Sequence[MultiPolygon] = ()) -> MultiPolygon:
        """Close the holes about private places, but for the ground of what lies beside: such a hole tells the place."""
        holes = []
        for ring in (ring for part in shape.geoms for ring in part.interiors):
            hole = self.grid.to_grid(shapely.Polygon(ring))
            if self.veil.reach.covers(hole) and any(shapely.intersects(hole, one) for one in self.private):
                holes.append(shapely.Polygon(ring))
        if not holes:
            return shape
        closing = shapely.difference(shapely.union_all(holes), shapely.union_all(list(beside)))
        if self.grid.to_grid(closing).area < _CRUMB_M2:
            return shape
        whole = shapely.union(shape, closing)
        return MultiPolygon([part for part in shapely.get_parts(whole) if part.geom_type == "Polygon"])

    def entries(self, entries: Sequence[Entry], *, units: Sequence[Unit], former: Sequence[Unit]) -> tuple[Entry, ...]:
        """Return lines that count with ground that tells of no private place; those without ground are left out.

        Parameters
        ----------
        units, former
            As drawn now, and all other versions, as strangers see them.
        """
        placed = [entry for entry in entries if entry.patch is not None]
        redrawn = veiled(
            [self.grid.to_grid(entry.patch) for entry in placed if entry.patch is not None],
            outlines=[self.grid.to_grid(unit.geometry) for unit in (*units, *former)],
            current=len(units),
            over=self.veil,
            never={index for index, entry in enumerate(placed) if entry.practice == "keep"},
        )
        drawn = [
            replace(entry, patch=self.grid.to_lonlat(redrawn[index])) if index in redrawn else entry
            for index, entry in enumerate(placed)
        ]
        return tuple(public_copy(entry) for entry in drawn if entry.patch is not None and not entry.patch.is_empty)

    def telling_units(self, units: Sequence[Unit]) -> tuple[str, ...]:
        """Return which units tell a private place still: a hole or bay about it that stays, or a part little else."""
        found = []
        for unit in units:
            parts = shapely.get_parts(self.grid.to_grid(unit.geometry))
            rings = [shapely.Polygon(ring) for part in parts for ring in part.interiors]
            little = [part for part in parts if shapely.area(part) <= math.pi * RADIUS_M**2]
            shapes = np.array([*rings, *little, *self._bays(parts)], dtype=object)
            if any(bool(shapely.intersects(shapes, one).any()) for one in self.private):
                found.append(unit.unit_id)
        return tuple(found)

    def _bays(self, parts: np.ndarray[Any, Any]) -> list[BaseGeometry]:
        """Return the ground that an outline was drawn back from in bays narrower than the circles, near such places."""
        near = parts[shapely.dwithin(parts, shapely.union_all(self.private), RADIUS_M)]
        closed = shapely.buffer(shapely.buffer(near, RADIUS_M), -RADIUS_M)
        bays = shapely.get_parts(shapely.difference(closed, near))
        return [bay.convex_hull for bay in bays if _CRUMB_M2 < shapely.area(bay) <= math.pi * RADIUS_M**2]


def _hold_together(unit: Unit, other: Unit) -> bool:
    """Return whether another unit holds on some day of this version's."""
    starts = [day for day in (unit.valid_from, other.valid_from) if day is not None]
    ends = [day for day in (unit.valid_to, other.valid_to) if day is not None]
    is_other = other.unit_id != unit.unit_id and not other.is_retired
    return is_other and (not starts or not ends or max(starts) < min(ends))
