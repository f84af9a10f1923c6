"""What must be so of units and features, and of the acre account made on their ground."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator
from typing import Final

import shapely

from habmap import measures
from habmap.jobs.acres import acres
from habmap.jobs.checks.facts import Facts, Fault
from habmap.land.acreage import geodesic_area_m2
from habmap.land.neighbors import overlaps
from habmap.records import Unit
from habmap.vocabulary import COVERS, FEATURE_KINDS
from habmap.work.unit_outlines import spot_words

CLOSURE_M2: Final = 1e-6
#: Largest difference between planar and geodesic area, as a share.
AREA_AGREEMENT_FRAC: Final = 1e-6


def covers(facts: Facts) -> Iterator[Fault]:
    """Yield units and features whose cover or kind is not known."""
    for unit in facts.units:
        if unit.cover not in COVERS:
            yield Fault(
                rule="cover",
                where=f"unit {unit.unit_id}",
                what=f"the cover {unit.cover!r} is not known",
                mend=f"load it again with one of {', '.join(COVERS)}",
            )
    for feature in facts.store.features():
        if feature.kind not in FEATURE_KINDS:
            yield Fault(
                rule="cover",
                where=f"feature {feature.name or feature.uuid}",
                what=f"the kind {feature.kind!r} is not known",
                mend=f"load it again with one of {', '.join(FEATURE_KINDS)}",
            )


def labels(facts: Facts) -> Iterator[Fault]:
    """Yield labels that are missing or held twice, and versions that follow none or end before they begin."""
    by_label: defaultdict[str, list[Unit]] = defaultdict(list)
    for unit in facts.units:
        by_label[unit.unit_id].append(unit)
    for label, units in by_label.items():
        if not label.strip():
            yield Fault(rule="unit_id", where="units", what="a unit has no unit_id", mend="load it again with one")
        if len(units) > 1:
            yield Fault(
                rule="unit_id",
                where=f"unit {label}",
                what=f"{len(units)} versions of this unit hold at the same time",
                mend="load the right outline with `habmap load units FILE --overwrite`",
            )
    known = {unit.uuid for unit in facts.versions}
    for unit in facts.versions:
        if not known.issuperset(unit.replaces):
            yield Fault(
                rule="unit_id",
                where=f"unit {unit.unit_id}",
                what="it follows a version that is not here",
                mend="join the copy that holds it",
            )
        if unit.valid_from and unit.valid_to and unit.valid_to < unit.valid_from:
            yield Fault(
                rule="unit_id",
                where=f"unit {unit.unit_id}",
                what=f"a version ends on {unit.valid_to}, before it begins on {unit.valid_from}",
                mend="load the right outline with `habmap load units FILE --overwrite`",
            )


def outlines(facts: Facts) -> Iterator[Fault]:
    """Yield outlines that cross themselves, and those whose planar and geodesic acres differ."""
    for unit in facts.units:
        shape = facts.shapes[unit.uuid]
        if shape.is_empty or not shape.is_valid:
            yield Fault(
                rule="outline",
                where=f"unit {unit.unit_id}",
                what=f"the outline is not usable: {shapely.is_valid_reason(shape)}",
                mend="mend it and load it with --overwrite, or let --repair do it",
            )
            continue
        planar_m2, geodesic_m2 = shape.area, geodesic_area_m2(unit.geometry)
        if abs(planar_m2 - geodesic_m2) > AREA_AGREEMENT_FRAC * geodesic_m2:
            yield Fault(
                rule="area",
                where=f"unit {unit.unit_id}",
                what=f"planar and geodesic acres differ: {measures.acres(planar_m2):,.6f} and "
                f"{measures.acres(geodesic_m2):,.6f}",
                mend="very long edges or ground far from the property do this; give the outline more corners",
            )


def overlapping(facts: Facts) -> Iterator[Fault]:
    """Yield pairs of units that share ground, which would count twice."""
    units = [unit for unit in facts.units if facts.shapes[unit.uuid].is_valid]
    if facts.grid is None:
        return
    for pair in overlaps([facts.shapes[unit.uuid] for unit in units]):
        yield Fault(
            rule="overlap",
            where=f"units {units[pair.first].unit_id} and {units[pair.second].unit_id}",
            what=f"they share {measures.acres(pair.area_m2):,.3f} acres, which would count twice; widest "
            f"({pair.width_m:.2f} m) at {spot_words(pair.spot, facts.grid)}",
            mend="redraw one of them and load it with --overwrite",
        )


def closure(facts: Facts) -> Iterator[Fault]:
    """Yield where the parts of the acre account do not add up to the acres of the units."""
    if any(not shape.is_valid for shape in (*facts.shapes.values(), *facts.patches.values())):
        return  # said already, by outline and patch
    account = acres(facts.store)
    # Beyond a square kilometre the last digits of a double weigh more than this.
    largest_km2 = max((measures.m2(unit.acres) for unit in account.units), default=0.0) / 1e6
    if account.closure_m2 > CLOSURE_M2 * max(1.0, largest_km2):
        yield Fault(
            rule="closure",
            where="acres",
            what=f"a unit's stages do not add up to its acres: {account.closure_m2:.3g} m² apart",
            mend="look for overlapping or damaged outlines above",
        )
    totals = account.totals
    other_acres = totals.stage_acres.other
    parts_acres = totals.treated_acres + totals.remaining_acres + totals.keep_acres + other_acres
    if not math.isclose(parts_acres, totals.acres, rel_tol=1e-12, abs_tol=measures.acres(CLOSURE_M2)):
        yield Fault(
            rule="closure",
            where="acres",
            what=f"treated, remaining, kept and other acres make {parts_acres}, the units {totals.acres}",
            mend="look for overlapping or damaged outlines above",
        )
