"""How much of a piece of ground lies in each unit, and in none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from habmap.errors import no_such_unit
from habmap.land.grid import LocalGrid
from habmap.measures import acres
from habmap.records import Unit

#: Ground smaller than this is not named as a unit's share: a shared border, not work [m²].
TRACE_M2: Final = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitShare:
    """The part of a patch that lies in a unit [acre]."""

    unit_id: str
    acres: float


def shares(patch: MultiPolygon, units: Sequence[Unit], *, grid: LocalGrid) -> tuple[tuple[UnitShare, ...], float]:
    """Return how much of a lon/lat patch lies in each unit, and in none [acre], measured on the grid."""
    ground = grid.to_grid(patch)
    outlines = [valid_outline(grid.to_grid(unit.geometry)) for unit in units]
    tree = shapely.STRtree(outlines)
    near = sorted(int(index) for index in tree.query(ground))
    found = []
    for index in near:
        area_m2 = shapely.intersection(outlines[index], ground).area
        if area_m2 > TRACE_M2:
            found.append(UnitShare(unit_id=units[index].unit_id, acres=acres(area_m2)))
    covered = shapely.union_all([outlines[index] for index in near]) if near else MultiPolygon()
    outside_m2 = shapely.difference(ground, covered).area
    return tuple(found), acres(outside_m2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Covered:
    """Ground of some work: lon/lat patch [°], its day, the units named, a walk's deviation [acre], what is to say."""

    patch: MultiPolygon
    day: date
    unit_ids: tuple[str, ...] = ()
    acres_sd: float | None = None
    notes: tuple[str, ...] = ()


def valid_outline(outline: MultiPolygon) -> BaseGeometry:
    """Return an outline, mended where it crosses itself on the grid."""
    return outline if outline.is_valid else shapely.make_valid(outline)


def whole_ground(unit_ids: Sequence[str], units: Sequence[Unit]) -> MultiPolygon:
    """Return the ground of whole units, lon/lat [°]; of several drawings of one unit the last.

    Raises
    ------
    InputError
        A unit is not known, or none is named.
    """
    known = {unit.unit_id: unit for unit in units}
    unknown = [unit_id for unit_id in unit_ids if unit_id not in known]
    if unknown or not unit_ids:
        raise no_such_unit(", ".join(unknown), known)
    outlines = [known[unit_id].geometry for unit_id in dict.fromkeys(unit_ids)]
    # A single outline is kept vertex for vertex, so that logging all of a unit leaves nothing of it.
    ground = outlines[0] if len(outlines) == 1 else shapely.union_all(outlines)
    return MultiPolygon([part for part in shapely.get_parts(ground) if part.geom_type == "Polygon"])
