"""What a page shows, as plain records.

Nothing here reads a place: whoever asks fills the records. Text in them may be anything a person typed; whoever shows
it escapes it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal

from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from habmap.errors import HabmapError
from habmap.show.history_records import PageHistory, PageSeasons
from habmap.show.photo_records import PagePhotoPoint
from habmap.show.relief import Relief
from habmap.show.response_records import PageResponse
from habmap.vocabulary import DEFAULT_CEDAR, PRIVATE_FEATURE_KINDS
from habmap.work.account import cedar_acres

Audience = Literal["owner", "public"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PageTerrain:
    """The lie of a unit's ground; ``None`` = not known (off the elevation)."""

    slope_mean_deg: float | None = None
    slope_mean_pct: float | None = None
    slope_p90_pct: float | None = None
    aspect_mean_deg: float | None = None
    facing: str | None = None
    sun_facing_pct: float | None = None
    hand_only_pct: float | None = None
    coverage_pct: float | None = None
    too_coarse: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PageWork:
    """One line of the log and the ground it covered (lon/lat); for the public its private parts are ``None``.

    ``acres`` is of the whole patch, ``unit_acres`` the part of it in each unit it touches.
    """

    day: date
    practice: str
    acres: float
    unit_acres: Mapping[str, float]
    geometry: BaseGeometry
    killed_pct: float | None = None
    person_hours: float | None = None
    cost: float | None = None
    who: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PageUnit:
    """One unit: outline (lon/lat), where its number stands, its acres by stage, and why it comes when it comes.

    A unit that is on hold or closed to cutting has no ``order``; ``waits`` says so in a word or two, ``waits_why`` with
    all that its audience may read. ``terrain`` is of the whole unit; the other two say how the remaining ground lies.
    ``slash_acres`` and ``snag_acres`` are ground with felled cedar not yet gone, and with cedar killed and left
    standing, whatever the stage. ``leave_target_acres`` is the least and most cedar ground to leave on purpose,
    ``None`` without a goal, ``still_to_leave_acres`` what is missing to the least; what is left stands in
    ``stage_acres``.
    """

    unit_id: str
    name: str
    cover: str
    geometry: BaseGeometry
    label_lonlat: tuple[float, float]
    acres: float
    acres_sd: float | None
    stage_acres: Mapping[str, float]
    treated_acres: float
    remaining_acres: float
    slash_acres: float
    snag_acres: float
    leave_target_acres: tuple[float, float] | None = None
    still_to_leave_acres: float | None = None
    order: int | None = None
    waits: str = ""
    waits_why: str = ""
    terrain: PageTerrain = PageTerrain()
    aspect_remaining_deg: float | None = None
    sun_facing_remaining_pct: float | None = None
    reasons: tuple[str, ...] = ()
    notes: str | None = None

    @property
    def cedar_acres(self) -> float:
        """Cedar ground of the unit, whatever became of it [acre]."""
        return cedar_acres(self.stage_acres)


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
class Page:
    """Everything one page shows.

    ``on`` is the day whose ground it shows, ``None`` before any work; ``grid_latlon`` the centre of the property's
    equal-area grid [°], ``None`` while it has none; ``cedar`` its species (a key of ``vocabulary.CEDAR_RESPROUTS``).
    """

    place: str
    audience: Audience
    on: date | None
    drawn_on: date
    currency: str
    acres: float
    treated_acres: float
    remaining_acres: float
    keep_acres: float
    coming_back_acres: float
    units: tuple[PageUnit, ...]
    pieces: tuple[PagePiece, ...]
    work: tuple[PageWork, ...]
    features: tuple[PageFeature, ...]
    boundary: MultiPolygon | None
    relief: Relief | None
    missing: tuple[str, ...]
    method: tuple[str, ...]
    cautions: tuple[str, ...]
    history: PageHistory | None = None
    seasons: PageSeasons | None = None
    response: tuple[PageResponse, ...] = ()
    grid_latlon: tuple[float, float] | None = None
    photo_points: tuple[PagePhotoPoint, ...] = ()
    cedar: str = DEFAULT_CEDAR

    @property
    def cedar_acres(self) -> float:
        """Cedar ground of all units, whatever became of it: treated, remaining and left on purpose [acre]."""
        return self.treated_acres + self.remaining_acres + self.keep_acres


class PrivateOnPublicPageError(HabmapError):
    """Something that only the owner may see was about to be drawn for the public."""


def refuse_private(page: Page) -> None:
    """Raise :class:`PrivateOnPublicPageError` if records for the public hold what only the owner may see."""
    for feature in page.features:
        if feature.is_private or feature.kind in PRIVATE_FEATURE_KINDS:
            raise PrivateOnPublicPageError("a private feature is on a page for the public", value=feature.kind)
    for work in page.work:
        if any(value is not None for value in (work.who, work.note, work.cost, work.person_hours)):
            raise PrivateOnPublicPageError(
                "a log line on a page for the public tells who, a note, hours or cost", value=work.day
            )
    if page.seasons is not None and any(
        value is not None for season in page.seasons.seasons for value in (season.person_hours, season.cost)
    ):
        raise PrivateOnPublicPageError("a season on a page for the public tells hours or cost")
    for unit in page.units:
        if unit.notes is not None:
            raise PrivateOnPublicPageError("a unit on a page for the public carries notes", value=unit.unit_id)
    if any(point.is_private for point in page.photo_points):
        raise PrivateOnPublicPageError("a photo point that only the owner may see is on a page for the public")
