"""What the handout for a meeting shows, as plain records; ``words`` says it, ``pages`` draws it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from habmap.land.grid import LocalGrid
from habmap.show.records import Page, PagePhotoPoint, PageUnit, PrivateOnPublicPageError, refuse_private
from habmap.work.density_records import UnitDensity
from habmap.work.effort_account import EffortResult
from habmap.work.schedule_result import ScheduleResult
from habmap.work.season_account import SeasonAccount
from habmap.work.seasons import What


@dataclass(frozen=True, slots=True, kw_only=True)
class HandoutUnit:
    """One of the units that come next, and what speaks for it.

    Attributes
    ----------
    stand
        How dense it is; ``None`` = not known.
    is_dense_by_crowns
        Whether crown cover, not the count of stems, makes it dense.
    upkeep_acres
        Treated ground that asks for upkeep [acre].
    person_hours_left, remarks
        What it would take, and what holds it up or dates it: in the owner's copy only.
    """

    unit: PageUnit
    stand: UnitDensity | None = None
    is_dense_by_crowns: bool = False
    upkeep_acres: float = 0.0
    person_hours_left: float | None = None
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class HandoutDue:
    """Things of one kind and state that are due; ``words`` are the owner's own, in the owner's copy only."""

    what: What
    state: str
    units: int
    acres: float | None
    from_date: date | None = None
    to_date: date | None = None
    words: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Handout:
    """Everything the four pages show.

    Attributes
    ----------
    page, then
        The ground as of the day, and the same units before any work.
    grid
        The place's grid; ``None`` while it holds no geometry.
    account
        The account by season; in a copy for the public without hours and cost.
    practices
        Practice and the ground it covered, each acre once [acre].
    lying_acres
        Ground that lies cut with its slash and is neither on hold nor closed to cutting [acre].
    next_units
        In the order of work, without those on hold or closed to cutting.
    due, due_on
        What is due, and on which day that was asked.
    effort, contract
        ``None`` and empty where neither hours nor cost are told.
    ask
        Help asked in the steward's own words; empty: it is drawn from the figures.
    season
        The work of the coming half year, for a page of its own; ``None`` in a copy for the public, and where the
        settings don't say how many hours a week has.
    pair
        The same view before and after, the newest there is.
    """

    page: Page
    then: Page
    grid: LocalGrid | None
    account: SeasonAccount
    practices: tuple[tuple[str, float], ...]
    lying_acres: float
    next_units: tuple[HandoutUnit, ...]
    due: tuple[HandoutDue, ...]
    due_on: date
    effort: EffortResult | None
    contract: tuple[str, ...]
    ask: tuple[str, ...]
    season: ScheduleResult | None = None
    pair: PagePhotoPoint | None = None

    @property
    def pages(self) -> int:
        """How many pages it has."""
        return 4 if self.season is None else 5


@dataclass(frozen=True, kw_only=True)
class HandoutFigures:
    """What the drawn handout measures.

    Attributes
    ----------
    now_scale, before_scale, order_scale
        The N of 1:N of the large and the small map on the first page, and of the map on the third; ``None`` where there
        is no ground.
    pages, width_mm, height_mm
        How many pages there are, and the size of the paper as it lies [mm].
    least_room_pt
        Size of the smallest type that the room reads [pt]; sources, scale and cautions are half as large.
    """

    now_scale: int | None
    before_scale: int | None
    order_scale: int | None
    pages: int
    width_mm: float
    height_mm: float
    least_room_pt: float


def refuse_private_handout(handout: Handout) -> None:
    """Raise ``PrivateOnPublicPageError`` if a handout for the public holds what only the owner may see."""
    for page in (handout.page, handout.then):
        refuse_private(page)
    if handout.effort is not None or handout.contract or handout.season is not None:
        raise PrivateOnPublicPageError("a handout for the public tells hours, costs or a contract")
    if any(unit.remarks or unit.person_hours_left is not None for unit in handout.next_units) or any(
        item.words for item in handout.due
    ):
        raise PrivateOnPublicPageError("a handout for the public tells the owner's own words")
    if any(season.person_hours is not None or season.cost is not None for season in handout.account.seasons):
        raise PrivateOnPublicPageError("a handout for the public tells a season's hours or cost")
