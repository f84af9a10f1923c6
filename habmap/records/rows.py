"""The plain records that every room passes on: units, features, plots, photos and where the rasters are.

A record of a kind of which one row counts (a boundary, a block by its name, a correction) carries ``supersedes``: the
ids of the rows that it was written in sight of and stands in place of. Order goes by that first and by the clock last
(`habmap.work.succession`). ``None`` is a row that nobody has stored yet, or that was stored before rows said it.
"""

from __future__ import annotations

from dataclasses import MISSING, dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any, Final, Literal

from habmap.records.facts import fact
from habmap.records.kept import kept
from habmap.vocabulary import COVERS, FEATURE_KINDS

if TYPE_CHECKING:
    from shapely import MultiPolygon, Point
    from shapely.geometry.base import BaseGeometry


#: Longest label that a person gives a thing [characters].
LONGEST_LABEL: Final = 200
#: A share of some ground.
SHARE: Final[dict[str, Any]] = {"unit": "%", "low": 0, "high": 100}


@kept("units", "versions of the mapped units", noun="unit version", changeable=("valid_to",))
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
    unit_id: str = fact("unit_id", default=MISSING, longest=LONGEST_LABEL)
    name: str = fact("name", default=MISSING)
    cover: str = fact("cover", default=MISSING, choices=COVERS)
    geometry: MultiPolygon = fact("outline", default=MISSING)
    stems_per_acre: float | None = fact("stems per acre", low=0)
    canopy_pct: float | None = fact("crown cover", **SHARE)
    target_pct: float | None = fact("target", is_above=True, **SHARE)
    leave_stems_per_acre: float | None = fact("stems per acre that may be left", low=0)
    planned_acres: float | None = fact("planned acres", low=0, is_private=True)
    stratum: str | None = fact("stratum")
    notes: str | None = fact("notes", is_private=True, is_long=True)
    acres_sd: float | None = fact("standard deviation of its acres", low=0)
    extra: dict[str, object] = fact("columns of the owner's own", default_factory=dict, is_private=True)
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
        Rows that this one corrects or withdraws (see `habmap.work.succession`).
    """

    uuid: str
    kind: str = fact("kind", default=MISSING, choices=FEATURE_KINDS)
    name: str = fact("name", default=MISSING, is_private=True)
    geometry: BaseGeometry = fact("shape", default=MISSING)
    sensitive: bool = fact("sensitive", default=False)
    extra: dict[str, object] = fact("columns of the owner's own", default_factory=dict, is_private=True)
    recorded_at: datetime
    feature_id: str | None = fact("feature_id")
    is_void: bool = False
    why: str | None = None
    supersedes: tuple[str, ...] | None = None


@kept("boundary", "outer line of the property; the newest counts", noun="boundary", nouns="boundaries", one_per=())
@dataclass(frozen=True, slots=True, kw_only=True)
class Boundary:
    """The property's outer line (WGS 84 lon/lat); the newest row counts."""

    uuid: str
    geometry: MultiPolygon
    recorded_at: datetime
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
        Center, WGS 84 lon/lat; ``None`` where only ``unit_id`` was given.
    crown_ft, height_ft
        Mean crown width and height of the stems there [ft].
    is_void, why
        Whether the row withdraws the plot (it then repeats what is withdrawn), and the reason.
    """

    uuid: str
    plot_id: str = fact("plot_id", default=MISSING, longest=LONGEST_LABEL)
    method: Literal["fixed", "quarter", "line"] = fact("method", default=MISSING)
    unit_id: str | None = None
    geometry: Point | None = None
    plot_acres: float | None = fact("size", unit="acres", low=0, is_above=True, high=10)
    stems: int | None = fact("stems", low=0, high=100_000)
    distances_m: tuple[float | None, ...] = ()
    line_ft: float | None = fact("length of the line", unit="ft", low=0, is_above=True, high=10_000)
    intercepts_ft: tuple[float, ...] = ()
    crown_ft: float | None = fact("crown width", unit="ft", low=0, is_above=True, high=200)
    height_ft: float | None = fact("height", unit="ft", low=0, is_above=True, high=200)
    stratum: str | None = fact("stratum")
    measured_on: date | None = fact("day", column="date")
    recorded_at: datetime
    is_void: bool = False
    why: str | None = None
    supersedes: tuple[str, ...] | None = None


@kept("elevation", "where the elevation raster is; the newest counts", noun="elevation source", one_per=())
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


@kept(
    "canopy",
    "where the raster of canopy heights is; the newest counts",
    noun="source of canopy heights",
    nouns="sources of canopy heights",
    is_later=True,
    one_per=(),
)
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


@kept(
    "drawn_blocks",
    "burn blocks drawn and named; the newest of a name counts",
    noun="drawn burn block",
    is_later=True,
    one_per=("name",),
)
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
    file_name: str = fact("name of the person's own file", default=MISSING, is_private=True)
    sha256: str
    picture: str
    taken_at: datetime = fact("date", default=MISSING)
    taken_on: date
    geometry: Point = fact("position", default=MISSING)
    direction_deg: float | None = fact("direction", unit="°", low=0, high=360)
    direction_ref: Literal["T", "M"] | None = fact("direction")
    error_m: float | None = None
    unit_id: str | None = fact("unit")
    is_private: bool = fact("privacy", default=False, column="private")
    recorded_at: datetime
    supersedes: tuple[str, ...] | None = None
