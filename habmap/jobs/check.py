"""Every rule that a place must obey, looked at one after the other."""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Final, Protocol, runtime_checkable

import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from habmap import measures
from habmap.errors import HabmapError
from habmap.jobs.acres import acres
from habmap.jobs.check_burns import block_rule, record_rule
from habmap.jobs.ports import Store
from habmap.land.acreage import geodesic_area_m2, overlaps
from habmap.land.grid import LocalGrid
from habmap.vocabulary import COVERS, DEFAULT_KILLED_PCT, FEATURE_KINDS, KILLING, PRACTICES
from habmap.work.ledger import conflicts, effective_entries
from habmap.work.records import CanopySource, ElevationSource, Entry, Unit

if TYPE_CHECKING:
    from habmap.place.groundraster import GroundRaster

CLOSURE_M2: Final = 1e-6
#: Largest difference between planar and geodesic area, as a share.
AREA_AGREEMENT_FRAC: Final = 1e-6
#: Practices that say nothing about what was done to standing cedars.
_NO_WORK: Final = frozenset({"keep", "look", "seed", "other"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that is not as it must be: the rule, where, what was found and how to mend it."""

    rule: str
    where: str
    what: str
    mend: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What was looked at and what was found; ``on`` is the day taken as today."""

    place: str
    on: dt.date
    rules: tuple[str, ...]
    faults: tuple[Fault, ...]


@runtime_checkable
class SelfChecking(Protocol):
    """A store that can tell what is wrong with its own file."""

    def storage_faults(self) -> list[str]:
        """Return faults of the file in words."""


@dataclass(frozen=True, slots=True)
class _Rows:
    """All that the rules look at, read once."""

    store: Store
    today: dt.date
    grid: LocalGrid | None
    versions: tuple[Unit, ...]
    units: tuple[Unit, ...]
    rows: tuple[Entry, ...]
    entries: tuple[Entry, ...]
    shapes: dict[str, BaseGeometry] = field(default_factory=dict)
    patches: dict[str, BaseGeometry] = field(default_factory=dict)


def check(store: Store, *, today: dt.date) -> Checked:
    """Look at every rule and return what is not as it must be.

    Parameters
    ----------
    store
        The place.
    today
        The local civil day at the place; rows dated later are faults.
    """
    faults: list[Fault] = []
    if isinstance(store, SelfChecking):
        faults += [
            Fault(rule="file", where="place.gpkg", what=words, mend="restore the property's folder from a copy")
            for words in store.storage_faults()
        ]
    looked_at = ["file"]
    try:
        rows = _read(store, today)
    except HabmapError as error:
        faults.append(_from_error("file", error))
    else:
        for rule, find in _RULES.items():
            looked_at.append(rule)
            try:
                faults += find(rows)
            except (HabmapError, shapely.errors.ShapelyError) as error:
                faults.append(_from_error(rule, error))
    return Checked(place=store.settings.place.name, on=today, rules=tuple(looked_at), faults=tuple(faults))


def _read(store: Store, today: dt.date) -> _Rows:
    grid, entries, units = store.grid, effective_entries(store.entries()), store.units()
    found = _Rows(store, today, grid, store.unit_versions(), units, store.entries(), entries)
    if grid is not None:
        found.shapes.update({unit.uuid: grid.to_grid(unit.geometry) for unit in units})
        drawn = {entry.entry_id: entry.patch for entry in entries if entry.patch is not None}
        found.patches.update({entry_id: grid.to_grid(patch) for entry_id, patch in drawn.items()})
    return found


# --- units --------------------------------------------------------------------------------------------------


def _covers(rows: _Rows) -> Iterator[Fault]:
    for unit in rows.units:
        if unit.cover not in COVERS:
            yield Fault(
                rule="cover",
                where=f"unit {unit.unit_id}",
                what=f"the cover {unit.cover!r} is not known",
                mend=f"load it again with one of {', '.join(COVERS)}",
            )
    for feature in rows.store.features():
        if feature.kind not in FEATURE_KINDS:
            yield Fault(
                rule="cover",
                where=f"feature {feature.name or feature.uuid}",
                what=f"the kind {feature.kind!r} is not known",
                mend=f"load it again with one of {', '.join(FEATURE_KINDS)}",
            )


def _labels(rows: _Rows) -> Iterator[Fault]:
    by_label: defaultdict[str, list[Unit]] = defaultdict(list)
    for unit in rows.units:
        by_label[unit.unit_id].append(unit)
    for label, units in by_label.items():
        if not label.strip():
            yield Fault(rule="unit_id", where="units", what="a unit has no unit_id", mend="load it again with one")
        if len(units) > 1:
            yield Fault(
                rule="unit_id",
                where=f"unit {label}",
                what=f"{len(units)} versions of this unit hold at the same time",
                mend="load the right outline with `habmap add units FILE --overwrite`",
            )
    known = {unit.uuid for unit in rows.versions}
    for unit in rows.versions:
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
                mend="load the right outline with `habmap add units FILE --overwrite`",
            )


def _outlines(rows: _Rows) -> Iterator[Fault]:
    for unit in rows.units:
        shape = rows.shapes[unit.uuid]
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


def _overlaps(rows: _Rows) -> Iterator[Fault]:
    units = [unit for unit in rows.units if rows.shapes[unit.uuid].is_valid]
    for pair in overlaps([rows.shapes[unit.uuid] for unit in units]):
        yield Fault(
            rule="overlap",
            where=f"units {units[pair.first].unit_id} and {units[pair.second].unit_id}",
            what=f"they share {measures.acres(pair.area_m2):,.3f} acres, which would count twice",
            mend="redraw one of them and load it with --overwrite",
        )


def _closure(rows: _Rows) -> Iterator[Fault]:
    if any(not shape.is_valid for shape in (*rows.shapes.values(), *rows.patches.values())):
        return  # said already, by outline and patch
    account = acres(rows.store)
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


# --- the log ------------------------------------------------------------------------------------------------


def _practices(rows: _Rows) -> Iterator[Fault]:
    for entry in rows.entries:
        where, mend = f"line {entry.entry_id}", "correct it with `habmap amend`"
        if entry.practice not in PRACTICES:
            what = f"the practice {entry.practice!r} is not known"
            yield Fault(rule="practice", where=where, what=what, mend=f"{mend}; known: {', '.join(PRACTICES)}")
        elif entry.practice in KILLING and entry.practice not in DEFAULT_KILLED_PCT and entry.killed_pct is None:
            what = f"`{entry.practice}` does not say what share it killed"
            yield Fault(rule="practice", where=where, what=what, mend=f"{mend} --killed-pct")


def _numbers(rows: _Rows) -> Iterator[Fault]:
    limits = {
        "killed_pct": 100,
        "burned_pct": 100,
        "person_hours": math.inf,
        "cost": math.inf,
        "reported_acres": math.inf,
    }
    for entry in rows.entries:
        for name, high in limits.items():
            value = getattr(entry, name)
            if value is not None and not (math.isfinite(value) and 0 <= value <= high):
                yield Fault(
                    rule="number",
                    where=f"line {entry.entry_id}",
                    what=f"{name} is {value:g}",
                    mend="correct it with `habmap amend`",
                )


def _corrections(rows: _Rows) -> Iterator[Fault]:
    for conflict in conflicts(rows.rows):
        yield Fault(
            rule="correction",
            where=f"line {conflict.entry_id}",
            what=conflict.words,
            mend="look at it with `habmap history` and settle it with `habmap amend` or `habmap void`",
        )


def _patches(rows: _Rows) -> Iterator[Fault]:
    sound = [shape for shape in rows.shapes.values() if shape.is_valid]
    tree = shapely.STRtree(sound)
    for entry in rows.entries:
        where, shape = f"line {entry.entry_id}", rows.patches.get(entry.entry_id)
        if shape is None or shape.is_empty or not shape.is_valid:
            yield Fault(
                rule="patch",
                where=where,
                what="its ground is missing or crosses itself",
                mend="give the right ground with `habmap amend --patch`",
            )
        elif not any(shapely.intersection(sound[i], shape).area > 0 for i in tree.query(shape)):
            yield Fault(
                rule="patch",
                where=where,
                what=f"all {measures.acres(shape.area):,.2f} acres of it lie outside every unit",
                mend="load the unit it belongs to, or correct the ground with `habmap amend --patch`",
            )


def _kept_ground(rows: _Rows) -> Iterator[Fault]:
    kept: BaseGeometry = MultiPolygon()
    for entry in rows.entries:  # in the order of work, keep before all else of its day
        patch = rows.patches.get(entry.entry_id)
        if patch is None or not patch.is_valid:
            continue
        if entry.practice == "keep":
            kept = kept.union(patch)
        elif entry.practice not in _NO_WORK:
            for shared in overlaps([kept, patch]):
                kept_acres = measures.acres(shared.area_m2)
                yield Fault(
                    rule="keep",
                    where=f"line {entry.entry_id}",
                    what=f"`{entry.practice}` on {entry.date} covers {kept_acres:,.2f} acres left on purpose",
                    mend="void the keep if it no longer holds, or correct the ground of the work",
                )


def _dates(rows: _Rows) -> Iterator[Fault]:
    for entry in rows.entries:
        if entry.date > rows.today:
            yield Fault(
                rule="date",
                where=f"line {entry.entry_id}",
                what=f"{entry.date} is after today, {rows.today}",
                mend="correct it with `habmap amend --date`",
            )


# --- elevation and settings ---------------------------------------------------------------------------------


def _elevation(rows: _Rows) -> Iterator[Fault]:
    from habmap.place.elevation import open_elevation

    source = rows.store.elevation()
    if source is not None:
        opened = open_elevation(Path(source.path), vertical_unit=source.vertical_unit)
        yield from _raster("elevation", source, opened, mend="point at it again with `habmap add dem FILE`")


def _canopy(rows: _Rows) -> Iterator[Fault]:
    from habmap.place.canopy import open_canopy

    source = rows.store.canopy()
    if source is not None:
        opened = open_canopy(Path(source.path), vertical_unit=source.vertical_unit)
        yield from _raster("canopy", source, opened, mend="point at it again with `habmap add canopy FILE`")


def _raster(
    rule: str, source: ElevationSource | CanopySource, opened: AbstractContextManager[GroundRaster], *, mend: str
) -> Iterator[Fault]:
    from pyproj import CRS

    from habmap.land.datum import horizontal_crs

    try:
        with opened as raster:
            found = raster.crs
    except HabmapError as error:
        yield Fault(rule=rule, where=source.path, what=error.what, mend=error.mend or mend)
        return
    if not found.equals(horizontal_crs(CRS.from_wkt(source.crs_wkt)), ignore_axis_order=True):
        yield Fault(
            rule=rule,
            where=source.path,
            what=f"its coordinate system is now {found.name}, not what it was when it was added",
            mend=mend,
        )


def _photos(rows: _Rows) -> Iterator[Fault]:
    for photo in rows.store.photos():
        if rows.store.picture(photo.picture) is None:
            yield Fault(
                rule="photos",
                where=f"photo {photo.file_name}",
                what=f"its picture is gone from photos/, or spoiled: {photo.picture}",
                mend="load the photo again with `habmap add photos DIR`, or join a copy that has it",
            )


def _settings(rows: _Rows) -> Iterator[Fault]:
    known = {unit.unit_id for unit in rows.units}
    settings = rows.store.settings
    named = [(f"[[contract]] {item.program} {item.item}", unit) for item in settings.contract for unit in item.units]
    named += [(f"[[hold]] {hold.reason}", hold.unit) for hold in settings.hold]
    for kind, closed in (("no_cut", settings.no_cut), ("no_burn", settings.no_burn)):
        named += [(f"[[{kind}]] {days.reason}", unit) for days in closed for unit in days.units]
    named += [(f"[[burn_for]] {rule.reason}", unit) for rule in settings.burn_for for unit in rule.units]
    for where, unit_id in named:
        if unit_id not in known:
            yield Fault(
                rule="settings",
                where=f"habmap.toml, {where}",
                what=f"it names the unit {unit_id!r}, which is not here",
                mend="correct the name there, or load the unit",
            )


def _burns(rows: _Rows) -> Iterator[Fault]:
    for found in (*record_rule(rows.store), *block_rule(rows.store)):
        yield Fault(rule="burn", where=found.where, what=found.what, mend=found.mend)


def _seen(rows: _Rows) -> Iterator[Fault]:
    from habmap.jobs.check_seen import seen_faults

    for where, what, mend in seen_faults(rows.store, today=rows.today):
        yield Fault(rule="seen", where=where, what=what, mend=mend)


def _from_error(rule: str, error: Exception) -> Fault:
    if isinstance(error, HabmapError):
        return Fault(rule=rule, where=error.where or "", what=str(error.what), mend=error.mend or "see what is said")
    return Fault(rule=rule, where="outlines", what=str(error), mend="mend the outlines named above")


_RULES: Final[dict[str, Callable[[_Rows], Iterator[Fault]]]] = {
    "cover": _covers,
    "unit_id": _labels,
    "outline": _outlines,
    "overlap": _overlaps,
    "practice": _practices,
    "number": _numbers,
    "correction": _corrections,
    "patch": _patches,
    "keep": _kept_ground,
    "date": _dates,
    "elevation": _elevation,
    "canopy": _canopy,
    "photos": _photos,
    "settings": _settings,
    "burn": _burns,
    "seen": _seen,
    "closure": _closure,
}
