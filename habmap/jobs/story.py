"""The story for a meeting without a screen: four pages that say what the account, the order and the log say."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

from habmap.jobs.acres import acres
from habmap.jobs.density import density
from habmap.jobs.due import due, upkeep_due
from habmap.jobs.effort import effort, slope_outlines
from habmap.jobs.ground import ground
from habmap.jobs.map import build_page
from habmap.jobs.page.missing import for_the_owner
from habmap.jobs.ports import Store
from habmap.jobs.printing import elevation_words, pdf_path
from habmap.jobs.public import public_view, veil_words
from habmap.jobs.snapshot import snapshot
from habmap.jobs.terrain import remaining_outlines, terrain_sums, unit_outlines
from habmap.place.writers import write_whole
from habmap.show.records import Audience, Page, PagePiece, PageUnit
from habmap.show.sheet.paper import Paper
from habmap.show.story.pages import draw_story
from habmap.show.story.story import Story, StoryDue, StoryEffort, StoryFigures, StoryUnit
from habmap.show.story.words import asked
from habmap.show.words import short_day, unit_title, with_article
from habmap.vocabulary import CEDAR_COVERS, file_mark
from habmap.work.due_rows import pressing
from habmap.work.effort import TOO_FEW_LINES, TOO_FEW_WORDS
from habmap.work.effort_account import EffortResult
from habmap.work.ground import Ground
from habmap.work.order_of_work import COMING_HOLD
from habmap.work.season_account import Season, season_account
from habmap.work.seasons import DueItem
from habmap.work.stages import stage_before_work

#: Due things that are the owner's own affair: money, and words that may name a nest.
_OWNERS: frozenset[str] = frozenset({"hold", "contract"})
#: Due things that are told one by one, in the owner's words; the rest is added up by kind.
_TOLD_SINGLY: frozenset[str] = frozenset({"hold", "contract", "closed_cut", "closed_burn"})


@dataclass(frozen=True, slots=True, kw_only=True)
class StoryResult:
    """What was written, its scales, and the figures on its pages.

    Attributes
    ----------
    path, bytes, pages
        The PDF, its size and how many pages it has.
    paper, width_mm, height_mm
        The paper and its size as it lies [mm].
    then_and_now_scale, order_scale
        The N of 1:N of both maps on the first page, and of the map on the third; ``None`` where there is no ground.
    least_room_pt
        Size of the smallest type that the room reads [pt]; sources, scale and cautions are half as large.
    seasons
        The account by season; in a copy for the public without hours and cost.
    asks
        The help that is asked, as the last page says it.
    warnings
        What it could not show, in words (the pages say so too).
    """

    place: str
    path: str
    bytes: int
    pages: int
    paper: str
    width_mm: float
    height_mm: float
    then_and_now_scale: int | None
    order_scale: int | None
    least_room_pt: float
    audience: Audience
    on: date | None
    acres: float
    treated_acres: float
    remaining_acres: float
    person_hours_left: float | None
    seasons: tuple[Season, ...]
    asks: tuple[str, ...]
    warnings: tuple[str, ...]


def write_story(
    store: Store,
    *,
    target: Path | None,
    folder: Path,
    now: datetime,
    today: date,
    paper: Paper = "letter",
    audience: Audience = "owner",
    on: date | None = None,
    overwrite: bool = False,
) -> StoryResult:
    """Write the four pages as a PDF.

    Parameters
    ----------
    store
        The place.
    target
        The PDF to write, whole or not at all; ``None``: ``out/handout.pdf`` in ``folder``.
    folder
        The property's folder; its ``out`` is made where the story goes there.
    now, today
        The moment of drawing (UTC), and the local day from which due dates and the finish count.
    paper
        The paper, which lies; on larger paper everything is larger.
    audience
        ``public`` leaves out hours, costs, contracts, names, notes, the words of holds and private features.
    on
        As of this day's work, and what was due on it; ``None``: all work so far, and what is due today.

    Raises
    ------
    UsageError
        The file's name does not end in .pdf.
    InputError
        The file is there and ``overwrite`` is false, or the ground is wider than any paper.
    PlaceError
        The disk refused.
    """
    path = pdf_path(target, folder=folder, name="handout.pdf", what="handout", audience=audience, overwrite=overwrite)
    store = snapshot(store)
    story = build_story(store, now=now, today=today, audience=audience, on=on)
    drawn: list[StoryFigures] = []
    write_whole(
        path,
        lambda file: drawn.append(draw_story(story, file, paper=paper)),
        overwrite=overwrite,
        make_folder=target is None,
        replaces=file_mark("handout", audience),
    )
    figures, page = drawn[0], story.page
    return StoryResult(
        place=page.place,
        path=str(path),
        bytes=path.stat().st_size,
        pages=figures.pages,
        paper=paper,
        width_mm=figures.width_mm,
        height_mm=figures.height_mm,
        then_and_now_scale=figures.then_and_now_scale,
        order_scale=figures.order_scale,
        least_room_pt=figures.least_room_pt,
        audience=audience,
        on=page.on,
        acres=page.acres,
        treated_acres=page.treated_acres,
        remaining_acres=page.remaining_acres,
        person_hours_left=None if story.effort is None else story.effort.hours_left,
        seasons=story.seasons,
        asks=tuple(asked(story)),
        warnings=for_the_owner(page.missing) + veil_words(store, page),
    )


def build_story(store: Store, *, now: datetime, today: date, audience: Audience, on: date | None = None) -> Story:
    """Return the story's records: every figure from the job that prints it elsewhere."""
    store = public_view(store) if audience == "public" else snapshot(store)
    settings = store.settings
    state = ground(store, on=on)
    if store.elevation() is not None and state.units:  # one pass over the raster for all that is told
        sets = [unit_outlines(store, on=on).values(), remaining_outlines(store, on=on).values()]
        timed = [slope_outlines(store, on=on)] if audience == "owner" else []
        terrain_sums(store, *sets, *timed)
    account = acres(store, on=on)
    by_season = season_account(state, limits=settings.stages)
    page = build_page(store, now=now, audience=audience, on=on)
    spent = effort(store, on=on, today=today) if audience == "owner" else None
    due_on = on or today
    waiting = {unit.unit_id for unit in page.units if unit.waits}
    parts = (part for row in due(store, on=due_on).items for part in row.parts)
    items = sorted((part for part in parts if part.state != "done"), key=pressing)
    return Story(
        page=page,
        then=_before(page, state),
        grid=state.grid,
        elevation=elevation_words(store, audience),
        start_acres=by_season.start_remaining_acres,
        seasons=by_season.seasons
        if spent
        else tuple(replace(season, person_hours=None, cost=None) for season in by_season.seasons),
        practices=tuple((line.practice, line.acres) for line in account.practices),
        lying_acres=math.fsum(
            piece.acres for piece in state.pieces if piece.state.lying_frac > 0 and piece.unit_id not in waiting
        ),
        next_units=_next_units(store, state, page, spent, on=on),
        due=_due(items, audience),
        due_on=due_on,
        effort=None if spent is None else _effort(spent),
        contract=() if spent is None else _contract(items),
        ask=settings.handout.ask,
    )


def _before(page: Page, state: Ground) -> Page:
    """Return the same units as they lay before any work."""
    untouched = tuple(
        PagePiece(
            unit_id=unit.unit_id, stage=stage_before_work(is_cedar=unit.cover in CEDAR_COVERS), geometry=unit.geometry
        )
        for unit in state.units
    )
    return replace(page, on=None, pieces=untouched, work=())


def _next_units(
    store: Store, state: Ground, page: Page, spent: EffortResult | None, *, on: date | None
) -> tuple[StoryUnit, ...]:
    if not page.units:
        return ()
    stands = {stand.unit_id: stand for stand in density(store, on=on).units}
    hours = {} if spent is None else {unit.unit_id: unit.person_hours_left for unit in spent.units}
    upkeep = upkeep_due(state, store.settings)
    found = []
    for unit in sorted(page.units, key=lambda unit: unit.order or 0):
        if unit.order is None:
            continue
        stand = stands.get(unit.unit_id)
        found.append(
            StoryUnit(
                order=unit.order,
                title=unit_title(unit),
                said=with_article(unit.name, unit.unit_id),
                cover=unit.cover,
                remaining_acres=unit.remaining_acres,
                upkeep_acres=sum(item.acres or 0.0 for item in upkeep.get(unit.unit_id, ())),
                aspect_mean_deg=unit.aspect_remaining_deg,
                sun_facing_pct=unit.sun_facing_remaining_pct,
                stems_per_acre=stand.stems_per_acre if stand else None,
                is_dense=stand.dense if stand else None,
                person_hours_left=hours.get(unit.unit_id),
                remarks=_remarks(unit) if spent is not None else (),
            )
        )
    return tuple(found)


def _remarks(unit: PageUnit) -> tuple[str, ...]:
    """Return what will hold a unit up; its contract lines stand with the money."""
    return tuple(reason for reason in unit.reasons if reason.startswith(COMING_HOLD))


def _due(items: Sequence[DueItem], audience: Audience) -> tuple[StoryDue, ...]:
    """Add up what is due by kind and state, in the order in which it presses; contract lines stand with the money."""
    together: defaultdict[tuple[str, str], list[DueItem]] = defaultdict(list)
    found: dict[tuple[str, str, int], StoryDue] = {}
    for number, item in enumerate(items):
        if item.what == "contract" or (audience == "public" and item.what in _OWNERS):
            continue
        if item.what in _TOLD_SINGLY:
            unit = "" if item.unit_id is None else f"{item.unit_id}, "
            found[item.what, item.state, number] = StoryDue(
                what=item.what,
                state=item.state,
                units=0,
                acres=None,
                from_date=item.from_date,
                to_date=item.to_date,
                words=f"{unit}{item.words}".rstrip(", ") if audience == "owner" else "",
            )
            continue
        # Whether slash is in its window of days is for the burn boss, not for a wall: only what is past it is said.
        state = "drying" if item.state == "in the window" else item.state
        together[item.what, state].append(item)
        mine = together[item.what, state]
        acres = [one.acres for one in mine if one.acres is not None]
        found[item.what, state, -1] = StoryDue(
            what=item.what,
            state=state,
            units=len({one.unit_id for one in mine}),
            acres=sum(acres) if acres else None,
        )
    # What is closed or held stands before what is due: a room must not miss it.
    return tuple(sorted(found.values(), key=lambda item: not (item.what in _TOLD_SINGLY and item.state == "in force")))


def _contract(items: Sequence[DueItem]) -> tuple[str, ...]:
    lines = []
    for item in items:
        if item.what == "contract":
            until = "" if item.to_date is None else f", due {short_day(item.to_date)}"
            state = f" ({item.state})" if item.state in ("overdue", "not yet allowed") else ""
            lines.append(f"{item.words}{until}{state}.")
    return tuple(lines)


def _effort(spent: EffortResult) -> StoryEffort:
    is_few = spent.lines < TOO_FEW_LINES
    if is_few:  # limits of so few lines say nothing to a room
        spent = replace(
            spent, person_hours_left_low=None, person_hours_left_high=None, cost_left_low=None, cost_left_high=None,
            finish_low=None, finish_high=None,
        )  # fmt: skip
    return StoryEffort(
        person_hours=spent.person_hours,
        cost=spent.cost,
        currency=spent.currency,
        hours_left_low=spent.person_hours_left_low,
        hours_left=spent.person_hours_left,
        hours_left_high=spent.person_hours_left_high,
        days_left=spent.person_days_left,
        cost_left_low=spent.cost_left_low,
        cost_left=spent.cost_left,
        cost_left_high=spent.cost_left_high,
        hours_per_week=spent.hours_per_week,
        finish_low=spent.finish_low,
        finish=spent.finish,
        finish_high=spent.finish_high,
        is_finish_without_held=bool(spent.finish_without),
        follow_up_left=spent.follow_up.person_hours_left,
        rests_on=spent.rests_on + (f" ({TOO_FEW_WORDS})" if is_few and spent.lines else ""),
        cost_rests_on=spent.cost_rests_on,
    )
