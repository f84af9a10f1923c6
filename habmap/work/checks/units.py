"""What must be so of units, features and plots, and of the acre account made on their ground."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator
from typing import Final

import shapely

from habmap import measures
from habmap.land.acreage import geodesic_area_m2
from habmap.land.neighbors import overlaps
from habmap.records import Feature, Plot, Unit, faults
from habmap.work.checks.looked_at import Found, LookedAt
from habmap.work.succession import counting_plots
from habmap.work.unit_outlines import spot_words
from habmap.work.versions import heirs

CLOSURE_M2: Final = 1e-6
#: Largest difference between planar and geodesic area, as a share.
AREA_AGREEMENT_FRAC: Final = 1e-6


def covers(place: LookedAt) -> Iterator[Found]:
    """Yield units, features and plots that say what cannot be: a cover or kind not known, a number out of its range."""
    told: list[tuple[str, Unit | Feature | Plot]] = [
        *((f"unit {unit.unit_id}", unit) for unit in place.units),
        *((f"feature {feature.name or feature.uuid}", feature) for feature in place.held.features()),
        *((f"plot {plot.plot_id}", plot) for plot in counting_plots(place.held.all_of(Plot))),
    ]
    for where, row in told:
        for one, value in faults(row, type(row)):
            if one.choices:
                mend = f"load it again with one of {', '.join(one.choices)}"
                yield Found(where, f"the {one.words} {value!r} is not known", mend)
            else:
                yield Found(where, one.broken(value), "load it again as it is right", rule="number")


def labels(place: LookedAt) -> Iterator[Found]:
    """Yield labels that are missing or held twice, and versions that follow none or end before they begin."""
    by_label: defaultdict[str, list[Unit]] = defaultdict(list)
    for unit in place.units:
        by_label[unit.unit_id].append(unit)
    for label, units in by_label.items():
        if not label.strip():
            yield Found("units", "a unit has no unit_id", "load it again with one")
        if len(units) > 1:
            yield Found(
                f"unit {label}",
                f"{len(units)} versions of this unit hold at the same time",
                "load the right outline with `habmap load units FILE --overwrite`",
            )
    known = {unit.uuid for unit in place.versions}
    for unit in place.versions:
        if not known.issuperset(unit.replaces):
            yield Found(
                f"unit {unit.unit_id}", "it follows a version that is not here", "unite with the copy that holds it"
            )
        if unit.valid_from and unit.valid_to and unit.valid_to < unit.valid_from:
            yield Found(
                f"unit {unit.unit_id}",
                f"a version ends on {unit.valid_to}, before it begins on {unit.valid_from}",
                "load the right outline with `habmap load units FILE --overwrite`",
            )


def outlines(place: LookedAt) -> Iterator[Found]:
    """Yield outlines that cross themselves, and those whose planar and geodesic acres differ."""
    for unit in place.units:
        shape = place.shapes[unit.uuid]
        if shape.is_empty or not shape.is_valid:
            yield Found(
                f"unit {unit.unit_id}",
                f"the outline is not usable: {shapely.is_valid_reason(shape)}",
                "mend it and load it with --overwrite, or let --repair do it",
            )
            continue
        planar_m2, geodesic_m2 = shape.area, geodesic_area_m2(unit.geometry)
        if abs(planar_m2 - geodesic_m2) > AREA_AGREEMENT_FRAC * geodesic_m2:
            yield Found(
                f"unit {unit.unit_id}",
                f"planar and geodesic acres differ: {measures.acres(planar_m2):,.6f} and "
                f"{measures.acres(geodesic_m2):,.6f}",
                "very long edges or ground far from the property do this; give the outline more corners",
                rule="area",
            )


def named_units(place: LookedAt) -> Iterator[Found]:
    """Yield what ``habmap.toml`` says of units that are not here."""
    known, followed = {unit.unit_id for unit in place.units}, heirs(place.versions)
    for where, unit_id in place.named:
        if unit_id not in known:
            words = f"it names the unit {unit_id!r}, which is not here"
            if unit_id in followed:
                words += f"; it goes for {', '.join(followed[unit_id])} now"
            yield Found(f"habmap.toml, {where}", words, "correct the name there, or load the unit")


def overlapping(place: LookedAt) -> Iterator[Found]:
    """Yield pairs of units that share ground, which would count twice."""
    units = [unit for unit in place.units if place.shapes[unit.uuid].is_valid]
    for pair in overlaps([place.shapes[unit.uuid] for unit in units]):
        assert place.grid is not None  # outlines lie in it
        yield Found(
            f"units {units[pair.first].unit_id} and {units[pair.second].unit_id}",
            f"they share {measures.acres(pair.area_m2):,.3f} acres, which would count twice; widest "
            f"({pair.width_m:.2f} m) at {spot_words(pair.spot, place.grid)}",
            "redraw one of them and load it with --overwrite",
        )


def closure(place: LookedAt) -> Iterator[Found]:
    """Yield where the parts of the acre account do not add up to the acres of the units."""
    if any(not shape.is_valid for shape in (*place.shapes.values(), *place.patches.values())):
        return  # said already, by outline and patch
    account = place.account()
    # Beyond a square kilometer the last digits of a double weigh more than this.
    largest_km2 = max((measures.m2(unit.acres) for unit in account.units), default=0.0) / 1e6
    if account.closure_m2 > CLOSURE_M2 * max(1.0, largest_km2):
        yield Found(
            "acres",
            f"a unit's stages do not add up to its acres: {account.closure_m2:.3g} m² apart",
            "look for overlapping or damaged outlines above",
        )
    totals = account.totals
    other_acres = totals.stage_acres.other
    parts_acres = totals.treated_acres + totals.remaining_acres + totals.keep_acres + other_acres
    if not math.isclose(parts_acres, totals.acres, rel_tol=1e-12, abs_tol=measures.acres(CLOSURE_M2)):
        yield Found(
            "acres",
            f"treated, remaining, kept and other acres make {parts_acres}, the units {totals.acres}",
            "look for overlapping or damaged outlines above",
        )
