"""What a page shows, as plain records.

Nothing here reads a place: whoever asks fills the records. Text in them may be anything a person typed; whoever shows
it escapes it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Final

import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from habmap.errors import OwnFaultError
from habmap.records import Entry, Feature, Unit
from habmap.show.shares import PageShare
from habmap.vocabulary import DEFAULT_CEDAR, PRIVATE_FEATURE_KINDS, Audience
from habmap.work.acres import TotalAcres, UnitAcres
from habmap.work.photo_pairs import FoundPoint
from habmap.work.priority import Ranked
from habmap.work.public_copy import is_private
from habmap.work.response_records import UnitResponse
from habmap.work.season_account import SeasonAccount
from habmap.work.terrain import DemInfo, UnitTerrain

if TYPE_CHECKING:
    from habmap.show.relief import Relief


@dataclass(frozen=True, slots=True, kw_only=True)
class PageWork:
    """One line of the log, without what its audience may not read, and the ground it covered (lon/lat).

    ``acres`` is of the whole patch, ``unit_acres`` the part of it in each unit it touches.
    """

    entry: Entry
    geometry: BaseGeometry
    acres: float
    unit_acres: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class PageUnit(UnitAcres):
    """One unit's line of the account, its outline (lon/lat), where its number stands, and why it comes when it comes.

    A unit that is on hold or closed to cutting has no ``order``; ``waits`` says so in a word or two, ``waits_why`` with
    all that its audience may read, as ``reasons`` do. ``terrain`` is of the whole unit; ``ranked`` says how the
    remaining ground lies.
    """

    geometry: BaseGeometry
    label_lonlat: tuple[float, float]
    order: int | None = None
    waits: str = ""
    waits_why: str = ""
    terrain: UnitTerrain | None = None
    ranked: Ranked | None = None
    reasons: tuple[str, ...] = ()
    notes: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PagePiece:
    """All ground of one unit in one stage (lon/lat)."""

    unit_id: str
    stage: str
    geometry: BaseGeometry


@dataclass(frozen=True, slots=True, kw_only=True)
class PageFeature:
    """A road, house, creek or other thing (lon/lat)."""

    kind: str
    name: str
    geometry: BaseGeometry
    is_private: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PageBite:
    """Where to cut next: one contiguous piece of a unit (lon/lat), and what it lies beside, in words."""

    unit_id: str
    acres: float
    geometry: BaseGeometry
    beside: tuple[str, ...]


def page_features(features: Iterable[Feature]) -> tuple[PageFeature, ...]:
    """Return features as a page shows them."""
    return tuple(
        PageFeature(kind=one.kind, name=one.name or "", geometry=one.geometry, is_private=is_private(one))
        for one in features
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PagePhoto:
    """One picture: a bare JPEG (pixels, no tags), its size, and the day it was taken."""

    jpeg: bytes
    width_px: int
    height_px: int
    taken_on: date


@dataclass(frozen=True, slots=True, kw_only=True)
class PagePhotoPoint:
    """One photo point with the pictures that are shown of it."""

    point: FoundPoint
    before: PagePhoto
    after: PagePhoto | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PagePhotos:
    """The points to show, and in words what is not shown."""

    points: tuple[PagePhotoPoint, ...]
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PageDone:
    """One practice of one step: its acres in each unit (by ``unit_id``) and outside them, each acre once."""

    practice: str
    unit_acres: Mapping[str, float]
    outside_acres: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PageStep:
    """The ground at the end of one day.

    Attributes
    ----------
    day
        ``None`` before any work.
    season
        Label of the season that ends with this step; ``None`` where steps are days.
    units
        Acres by stage of the units whose figures are not those of the step before, by ``unit_id``, nought left out;
        nothing at all for a unit that is no longer drawn.
    stage_acres
        Of all units.
    done
        What was worked since the step before, in the order of a day's work.
    """

    day: date | None
    season: str | None = None
    units: Mapping[str, Mapping[str, float]]
    stage_acres: Mapping[str, float]
    done: tuple[PageDone, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PageHistoryPiece:
    """Ground (lon/lat) of one unit and one stage at any step: that named for it, from there on; ``None``: not drawn.

    The very same object as long as nothing that decides about it changed.
    """

    unit_id: str
    geometry: Polygon | MultiPolygon
    stages: tuple[tuple[int, str | None], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PageOldUnits:
    """All units as they were drawn from ``first_step`` to ``last_step``, both included, each with its label's place."""

    first_step: int
    last_step: int
    units: tuple[tuple[Unit, tuple[float, float]], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PageHistory:
    """Every step from before any work to the day of the page.

    Attributes
    ----------
    pieces
        Each square meter of a step's units lies in one piece that has a stage then.
    patch_steps
        Of each line of ``Page.work``: the step on which it was done.
    old_units
        Steps whose units are not drawn as the page has them.
    unit_names
        Of every unit that any step has, by ``unit_id``.
    """

    steps: tuple[PageStep, ...]
    pieces: tuple[PageHistoryPiece, ...]
    patch_steps: tuple[int, ...]
    old_units: tuple[PageOldUnits, ...]
    unit_names: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """Everything one page shows.

    ``on`` is the day whose ground it shows, ``None`` before any work; ``grid_latlon`` the center of the property's
    equal-area grid [°], ``None`` while it has none; ``cedar`` its species (a key of ``vocabulary.CEDAR_RESPROUTS``).
    """

    place: str
    audience: Audience
    on: date | None
    drawn_on: date
    currency: str
    totals: TotalAcres | UnitAcres
    units: tuple[PageUnit, ...]
    pieces: tuple[PagePiece, ...]
    work: tuple[PageWork, ...]
    features: tuple[PageFeature, ...]
    boundary: MultiPolygon | None
    relief: Relief | None
    missing: tuple[str, ...]
    method: tuple[str, ...]
    cautions: tuple[str, ...]
    dem: DemInfo | None = None
    history: PageHistory | None = None
    seasons: SeasonAccount | None = None
    with_hours: bool = False
    with_cost: bool = False
    response: tuple[UnitResponse, ...] = ()
    grid_latlon: tuple[float, float] | None = None
    photo_points: tuple[PagePhotoPoint, ...] = ()
    shares: tuple[PageShare, ...] = ()
    bite: PageBite | None = None
    cedar: str = DEFAULT_CEDAR


#: Shown where nothing is drawn yet: some ground to look at in the middle of the continent.
_NOWHERE: Final = (-98.6, 39.8, -98.5, 39.9)


def extent(page: Page) -> tuple[float, float, float, float]:
    """Return west, south, east, north of the units and the boundary, else of the relief [°]."""
    shapes: list[BaseGeometry] = [unit.geometry for unit in page.units]
    if page.boundary is not None:
        shapes.append(page.boundary)
    if not shapes and page.relief is not None:
        return page.relief.extent
    if not shapes:
        return _NOWHERE
    west, south, east, north = shapely.total_bounds(shapes)
    return float(west), float(south), float(east), float(north)


class PrivateOnPublicPageError(OwnFaultError):
    """Something that only the owner may see was about to be drawn for the public."""


def refuse_private(page: Page) -> None:
    """Raise :class:`PrivateOnPublicPageError` if records for the public hold what only the owner may see."""
    for feature in page.features:
        if feature.is_private or feature.kind in PRIVATE_FEATURE_KINDS:
            raise PrivateOnPublicPageError("a private feature is on a page for the public", value=feature.kind)
    for work in page.work:
        if any(
            value is not None for value in (work.entry.who, work.entry.note, work.entry.cost, work.entry.person_hours)
        ):
            raise PrivateOnPublicPageError(
                "a log line on a page for the public tells who, a note, hours or cost", value=work.entry.date
            )
    if page.seasons is not None and any(
        value is not None for season in page.seasons.seasons for value in (season.person_hours, season.cost)
    ):
        raise PrivateOnPublicPageError("a season on a page for the public tells hours or cost")
    for unit in page.units:
        if unit.notes is not None:
            raise PrivateOnPublicPageError("a unit on a page for the public carries notes", value=unit.unit_id)
    if any(one.point.is_private for one in page.photo_points):
        raise PrivateOnPublicPageError("a photo point that only the owner may see is on a page for the public")
