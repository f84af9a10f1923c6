"""What the story for a meeting shows, as plain records; ``story_words`` says it, ``story_pages`` draws it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from habmap.land.grid import LocalGrid
from habmap.show.records import Page, PrivateOnPublicPageError, refuse_private
from habmap.work.season_account import Season
from habmap.work.seasons import What


@dataclass(frozen=True, slots=True, kw_only=True)
class StoryUnit:
    """One of the units that come next, and what speaks for it; ``None`` = not known.

    Attributes
    ----------
    order
        Its numeral on the map.
    said
        Its name as it is said in a sentence.
    remaining_acres, upkeep_acres
        Cedar left to treat, and treated ground that asks for upkeep [acre].
    aspect_mean_deg
        Where the ground that remains faces [° from true north]; ``None`` also on level ground.
    sun_facing_pct
        Share of that ground that faces the sun [%]; ``None`` off the elevation.
    person_hours_left, remarks
        What it would take, and what holds it up or dates it: in the owner's copy only.
    """

    order: int
    title: str
    said: str
    cover: str
    remaining_acres: float
    upkeep_acres: float = 0.0
    aspect_mean_deg: float | None = None
    sun_facing_pct: float | None = None
    stems_per_acre: float | None = None
    is_dense: bool | None = None
    person_hours_left: float | None = None
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class StoryDue:
    """Things of one kind and state that are due; ``words`` are the owner's own, in the owner's copy only."""

    what: What
    state: str
    units: int
    acres: float | None
    from_date: date | None = None
    to_date: date | None = None
    words: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StoryEffort:
    """Hours and money so far and left, as the account of effort has them; ``None`` = not known."""

    person_hours: float
    cost: float
    currency: str
    hours_left_low: float | None
    hours_left: float | None
    hours_left_high: float | None
    days_left: float | None
    cost_left_low: float | None
    cost_left: float | None
    cost_left_high: float | None
    hours_per_week: float | None
    finish_low: date | None
    finish: date | None
    finish_high: date | None
    is_finish_without_held: bool = False
    follow_up_left: float | None = None
    rests_on: str = ""
    cost_rests_on: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """Everything the four pages show.

    Attributes
    ----------
    page, then
        The ground as of the day, and the same units before any work.
    grid
        The place's grid; ``None`` while it holds no geometry.
    start_acres
        Cedar ground before any work [acre].
    practices
        Practice and the ground it covered, each acre once [acre].
    lying_acres
        Ground that lies cut with its slash and is neither on hold nor closed to cutting [acre].
    next_units
        In the order of work, without those on hold or closed to cutting.
    due, due_on
        What is due, and on which day that was asked.
    effort, contract
        ``None`` and empty in a copy for the public.
    ask
        Help asked in the steward's own words; empty: it is drawn from the figures.
    """

    page: Page
    then: Page
    grid: LocalGrid | None
    elevation: str | None
    start_acres: float
    seasons: tuple[Season, ...]
    practices: tuple[tuple[str, float], ...]
    lying_acres: float
    next_units: tuple[StoryUnit, ...]
    due: tuple[StoryDue, ...]
    due_on: date
    effort: StoryEffort | None
    contract: tuple[str, ...]
    ask: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StoryFigures:
    """What the drawn story measures: the N of 1:N of its maps (``None``: none drawn), pages and paper."""

    then_and_now_scale: int | None
    order_scale: int | None
    pages: int
    width_mm: float
    height_mm: float
    least_room_pt: float


def refuse_private_story(story: Story) -> None:
    """Raise ``PrivateOnPublicPageError`` if a story for the public holds what only the owner may see."""
    for page in (story.page, story.then):
        refuse_private(page)
    if story.effort is not None or story.contract:
        raise PrivateOnPublicPageError("a story for the public tells hours, costs or a contract")
    if any(unit.remarks or unit.person_hours_left is not None for unit in story.next_units) or any(
        item.words for item in story.due
    ):
        raise PrivateOnPublicPageError("a story for the public tells the owner's own words")
    if any(season.person_hours is not None or season.cost is not None for season in story.seasons):
        raise PrivateOnPublicPageError("a story for the public tells a season's hours or cost")
