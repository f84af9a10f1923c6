"""The plain records that every room passes on: units, features and lines of the log."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Literal

from shapely import MultiPolygon, Point
from shapely.geometry.base import BaseGeometry


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """One version of one mapped polygon of one baseline cover.

    Attributes
    ----------
    uuid
        Identity of this version; ``unit_id`` is the label people use and stays the same over versions.
    geometry
        Outline, WGS 84 lon/lat degrees, 2-D.
    valid_from, valid_to
        First day of this version and first day it no longer holds; ``None`` = from the beginning, still holds.
    replaces
        ``uuid`` of the versions that this one follows (two or more after a merge).
    """

    uuid: str
    unit_id: str
    name: str
    cover: str
    geometry: MultiPolygon
    stems_per_acre: float | None = None
    canopy_pct: float | None = None
    target_pct: float | None = None
    leave_stems_per_acre: float | None = None
    planned_acres: float | None = None
    stratum: str | None = None
    notes: str | None = None
    acres_sd: float | None = None
    extra: dict[str, object] = field(default_factory=dict)
    valid_from: date | None = None
    valid_to: date | None = None
    replaces: tuple[str, ...] = ()
    recorded_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Feature:
    """A road, house, creek, line or other thing on the map (WGS 84 lon/lat, any geometry type)."""

    uuid: str
    kind: str
    name: str
    geometry: BaseGeometry
    sensitive: bool = False
    extra: dict[str, object] = field(default_factory=dict)
    recorded_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Boundary:
    """The property's outer line (WGS 84 lon/lat); the newest row counts."""

    uuid: str
    geometry: MultiPolygon
    recorded_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What stood on a patch when somebody went to look; ``None`` = not looked at."""

    live_stems_per_acre: float | None = None
    tallest_ft: float | None = None
    seedlings_per_acre: float | None = None
    sprouts: tuple[tuple[str, int], ...] = ()
    needles: Literal["green", "red", "dropped"] | None = None
    fuel_lb_ac: float | None = None
    stump_treated: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One row of the work log, append-only.

    Attributes
    ----------
    entry_id
        UUID of the row.
    action
        ``log`` for work; ``void`` and ``amend`` name the row they touch in ``target`` and say ``why``. An amending row
        carries the whole corrected content, not only the changed fields.
    patch
        Ground really covered, WGS 84 lon/lat. ``None`` only on a voiding row.
    unit_ids
        Units as the person named them (may be empty where the ground came from a walk or a file).
    killed_pct
        Share of the cedars alive there that morning that the work killed, 0–100; ``None`` = the practice's default.
    burned_pct
        Share of the patch's ground that the fire blackened, as the person saw it, 0–100.
    reported_acres, acres_sd
        What the person wrote; the standard deviation of a walked patch's acres.
    product, product_rate
        Spray or stump treatment as the person wrote it.
    """

    entry_id: str
    recorded_at: datetime
    action: Literal["log", "void", "amend"] = "log"
    target: str | None = None
    why: str | None = None
    practice: str = "other"
    date: date
    patch: MultiPolygon | None = None
    unit_ids: tuple[str, ...] = ()
    killed_pct: float | None = None
    burned_pct: float | None = None
    person_hours: float | None = None
    cost: float | None = None
    reported_acres: float | None = None
    acres_sd: float | None = None
    who: str | None = None
    note: str | None = None
    product: str | None = None
    product_rate: str | None = None
    look: Look | None = None
    source_id: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """One density plot or quarter point.

    Attributes
    ----------
    method
        ``fixed``: ``stems`` counted on ``plot_acres``; ``quarter``: ``distances_m`` to the nearest stem of each
        quarter, ``None`` = vacant; ``line``: ``intercepts_ft`` of a line ``line_ft`` long that lie under crowns.
    geometry
        Centre, WGS 84 lon/lat; ``None`` where only ``unit_id`` was given.
    crown_ft, height_ft
        Mean crown width and height of the stems there [ft].
    """

    uuid: str
    plot_id: str
    method: Literal["fixed", "quarter", "line"]
    unit_id: str | None = None
    geometry: Point | None = None
    plot_acres: float | None = None
    stems: int | None = None
    distances_m: tuple[float | None, ...] = ()
    line_ft: float | None = None
    intercepts_ft: tuple[float, ...] = ()
    crown_ft: float | None = None
    height_ft: float | None = None
    stratum: str | None = None
    measured_on: date | None = None
    recorded_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class ElevationSource:
    """Where the elevation raster is and how to read it; the newest row counts.

    ``path`` is relative to the place folder when the file lies in it. ``vertical_unit`` is of the heights.
    """

    uuid: str
    path: str
    crs_wkt: str
    vertical_unit: Literal["m", "ft", "us-ft"]
    recorded_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class CanopySource:
    """Where the raster of canopy heights above the ground is and how to read it; the newest row counts.

    ``path`` is relative to the place folder when the file lies in it. ``vertical_unit`` is of the heights.
    """

    uuid: str
    path: str
    crs_wkt: str
    vertical_unit: Literal["m", "ft", "us-ft"]
    recorded_at: datetime


Row = Unit | Feature | Boundary | Entry | Plot | ElevationSource | CanopySource
