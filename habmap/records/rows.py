"""The plain records that every room passes on: units, features and lines of the log.

A record of a kind of which one row counts (a boundary, a block by its name, a correction) carries ``supersedes``: the
ids of the rows that it was written in sight of and stands in place of. Order goes by that first and by the clock last
(`habmap.work.succession`). ``None`` is a row that nobody has stored yet, or that was stored before rows said it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Literal

from shapely import MultiPolygon, Point
from shapely.geometry.base import BaseGeometry

from habmap.records.kept import kept


@kept("units", "versions of the mapped units", changeable=("valid_to",))
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
        ``uuid`` of the versions that this one follows (two or more after a merge), or takes back
        (see `habmap.work.versions`).
    is_retired
        Whether this version says that the unit is no longer one; its outline is the last it had.
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
    is_retired: bool = False


@kept("features", "roads, houses, water, lines and other things on the map")
@dataclass(frozen=True, slots=True, kw_only=True)
class Feature:
    """A road, house, creek, line or other thing on the map (WGS 84 lon/lat, any geometry type).

    Attributes
    ----------
    feature_id
        The owner's own label for it, by which a later file names it again.
    is_void, why
        Whether this row withdraws the feature, and the reason given.
    supersedes
        Rows that this one corrects or withdraws (see `habmap.work.features`).
    """

    uuid: str
    kind: str
    name: str
    geometry: BaseGeometry
    sensitive: bool = False
    extra: dict[str, object] = field(default_factory=dict)
    recorded_at: datetime
    feature_id: str | None = None
    is_void: bool = False
    why: str | None = None
    supersedes: tuple[str, ...] | None = None


@kept("boundary", "outer line of the property; the newest counts", one_per=())
@dataclass(frozen=True, slots=True, kw_only=True)
class Boundary:
    """The property's outer line (WGS 84 lon/lat); the newest row counts."""

    uuid: str
    geometry: MultiPolygon
    recorded_at: datetime
    supersedes: tuple[str, ...] | None = None


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


@kept("entries", "the work log: rows are added, never changed")
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
    source_id
        The line's own id in the file that it came from, where that is no UUID.
    is_sure
        Somebody confirmed ``reported_acres`` though the ground measures far from it.
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
    is_sure: bool = False
    supersedes: tuple[str, ...] | None = None


@kept(
    "plots",
    "density plots and quarter points; of the rows of one plot_id one counts, unless it withdraws the plot",
    is_later=True,
    one_per=("plot_id",),
)
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
    is_void, why
        Whether the row withdraws the plot (it then repeats what is withdrawn), and the reason.
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
    is_void: bool = False
    why: str | None = None
    supersedes: tuple[str, ...] | None = None


@kept("elevation", "where the elevation raster is; the newest counts", one_per=())
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
    supersedes: tuple[str, ...] | None = None


@kept("canopy", "where the raster of canopy heights is; the newest counts", is_later=True, one_per=())
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
    supersedes: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastHour:
    """One row of a forecast; ``None`` = a blank cell.

    Attributes
    ----------
    at
        Local civil time.
    temp_f, rh_pct, wind_mph, gust_mph, wind_from_deg, rain_in
        In these units, whatever the file's.
    """

    at: datetime
    temp_f: float | None = None
    rh_pct: float | None = None
    wind_mph: float | None = None
    gust_mph: float | None = None
    wind_from_deg: float | None = None
    rain_in: float | None = None


@kept(
    "forecast",
    "forecasts as loaded, the hours of each as one JSON list; of those that reach a day the newest counts",
    is_later=True,
    one_per=(),
)
@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """One forecast as it was loaded, all its hours together; later ones stand beside it and none is changed.

    Attributes
    ----------
    file_name
        Name of the file that it came from, without its folder.
    wind_height
        Where its wind is meant: ``20ft`` or ``eye``; ``None`` = nobody said.
    hours
        In the order of time.
    """

    uuid: str
    file_name: str
    wind_height: str | None
    hours: tuple[ForecastHour, ...]
    recorded_at: datetime
    supersedes: tuple[str, ...] | None = None

    def __post_init__(self) -> None:
        if not self.hours:
            raise ValueError("a forecast holds no hours")


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """Somebody told before a burn: who, when (``YYYY-MM-DD HH:MM``, local, or the day alone) and how."""

    who: str
    when: str
    how: str


@kept(
    "burns",
    "weather observed at burns, who was told before, and the plans then in force; each belongs to a row of the log",
    is_later=True,
)
@dataclass(frozen=True, slots=True, kw_only=True)
class BurnRecord:
    """What was observed and done at a burn, beside its row of the log; ``None`` = nobody wrote it.

    Attributes
    ----------
    entry_id
        The logging or amending row that it was written with. An amending row's record carries the whole content.
    ignition
        Local civil time of day, ``HH:MM``; the day is the row's own.
    wind_height
        Where the wind was measured: ``20ft`` or ``eye``.
    plan_kind
        Which written plan: ``grass``, ``down_cedar`` or ``piles``.
    plans
        The written plans as ``habmap.toml`` had them when this was logged, as its ``[plan]`` section says them.
    """

    uuid: str
    entry_id: str
    ignition: str | None = None
    temp_f: float | None = None
    rh_pct: float | None = None
    wind_mph: float | None = None
    wind_from_deg: float | None = None
    gust_mph: float | None = None
    shade_pct: float | None = None
    days_since_rain: float | None = None
    mixing_height_ft: float | None = None
    transport_wind_mph: float | None = None
    weather_elevation_ft: float | None = None
    wind_height: str | None = None
    plan_kind: str | None = None
    plans: dict[str, object] | None = None
    notices: tuple[Notice, ...] = ()
    recorded_at: datetime


@kept("drawn_blocks", "burn blocks drawn and named; the newest of a name counts", is_later=True, one_per=("name",))
@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnBlock:
    """A burn block drawn and saved by name, WGS 84 lon/lat [°]; the newest row of a name counts."""

    uuid: str
    name: str
    geometry: MultiPolygon
    recorded_at: datetime
    supersedes: tuple[str, ...] | None = None


@kept(
    "photos",
    "photos of the ground; the pictures lie in photos/, of rows with one sha256 the newest counts",
    is_later=True,
    one_per=("sha256",),
)
@dataclass(frozen=True, slots=True, kw_only=True)
class Photo:
    """One photo of the ground; of rows with one ``sha256`` one counts, see `habmap.work.succession.newest_photos`.

    Attributes
    ----------
    file_name
        The name that the person's own file had; where it lies is not kept.
    sha256
        Of the person's file, as hexadecimal digits.
    picture
        Name of the smaller copy under the place's ``photos/``.
    taken_at
        The moment; ``taken_on`` is its local civil day at the place.
    geometry
        Where the camera stood, WGS 84 lon/lat.
    direction_deg, direction_ref
        Where it looked, clockwise from north [°]: ``T`` true north, ``M`` magnetic north (nobody gave a declination);
        ``None`` = not known.
    error_m
        The receiver's own horizontal error [m].
    is_private
        Whether it stays out of everything made for the public.
    """

    uuid: str
    file_name: str
    sha256: str
    picture: str
    taken_at: datetime
    taken_on: date
    geometry: Point
    direction_deg: float | None = None
    direction_ref: Literal["T", "M"] | None = None
    error_m: float | None = None
    unit_id: str | None = None
    is_private: bool = False
    recorded_at: datetime
    supersedes: tuple[str, ...] | None = None
