"""The handout for a meeting without a screen: four pages that say what the account, the order and the log say."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Final

from habmap.jobs.acres import acres
from habmap.jobs.density import density
from habmap.jobs.due import due
from habmap.jobs.effort import effort, slope_outlines
from habmap.jobs.ground import ground
from habmap.jobs.map import PAPER_STEPS, build_page
from habmap.jobs.photos import found_points, page_photos
from habmap.jobs.ports import Store
from habmap.jobs.printing import Written, drawn_into, pdf_path, refuse_money, written
from habmap.jobs.public import public_view
from habmap.jobs.schedule import last_day, schedule
from habmap.jobs.snapshot import snapshot
from habmap.jobs.terrain import remaining_outlines, terrain_sums, unit_outlines
from habmap.place.closed_days import upkeep_due
from habmap.progress import Progress, Steps
from habmap.show.handout.contents import handout_of
from habmap.show.handout.pages import draw_handout
from habmap.show.handout.records import Handout, HandoutFigures
from habmap.show.handout.words import asked
from habmap.show.records import PagePhotoPoint
from habmap.show.sheet.paper import Paper
from habmap.vocabulary import Audience, file_mark
from habmap.work.due_rows import SPOTS, pressing
from habmap.work.schedule_result import ScheduleResult
from habmap.work.season_account import Season

#: Long side [pixels] and quality of the pair of pictures: 200 to the inch at five inches; most both may take [bytes].
_PAIR_SIZES: Final = ((1000, 80),)
_PAIR_BYTES: Final = 4_000_000
#: What it is worked out in after what every paper is.
_HANDOUT_STEPS: Final = ("what is due", "photos", "hours and season")


@dataclass(frozen=True, kw_only=True)
class HandoutResult(Written, HandoutFigures):
    """What was written, its scales, and the figures on its pages.

    Attributes
    ----------
    paper
        The paper.
    seasons
        The account by season; in a copy for the public without hours and cost.
    asks
        The help that is asked, as the last page says it.
    """

    paper: str
    person_hours_left: float | None
    seasons: tuple[Season, ...]
    asks: tuple[str, ...]


def write_handout(
    store: Store,
    *,
    target: Path | None,
    folder: Path,
    now: datetime,
    today: date,
    paper: Paper = "letter",
    audience: Audience = "owner",
    on: date | None = None,
    with_hours: bool = False,
    with_cost: bool = False,
    overwrite: bool = False,
    progress: Progress | None = None,
) -> HandoutResult:
    """Write the four pages as a PDF.

    Parameters
    ----------
    target
        The PDF to write, whole or not at all; ``None``: ``out/handout.pdf`` in ``folder``.
    folder
        The property's folder; its ``out`` is made where the handout goes there.
    now, today
        The moment of drawing (UTC), and the local day from which due dates and the finish count.
    paper
        The paper, which lies; on larger paper everything is larger.
    audience
        ``public`` leaves out hours, costs, contracts, names, notes, the words of holds and private features.
    with_hours, with_cost
        Tell person-hours, and cost with what contracts ask, in the owner's copy.
    on
        As of this day's work, and what was due on it; ``None``: all work so far, and what is due today.
    progress
        Called with how far it is: its named steps.

    Raises
    ------
    UsageError
        The file's name does not end in .pdf.
    InputError
        The ground is wider than any paper.
    PlaceError, InputError
        As for `habmap.jobs.map.draw_map`.
    """
    refuse_money(audience, with_hours=with_hours, with_cost=with_cost)
    path = pdf_path(target, folder=folder, name="handout.pdf", what="handout", audience=audience, overwrite=overwrite)
    store = snapshot(store)
    steps = Steps(progress, *PAPER_STEPS, *_HANDOUT_STEPS, "drawing")
    handout = build_handout(
        store, now=now, today=today, audience=audience, on=on, with_hours=with_hours, with_cost=with_cost, steps=steps
    )
    steps.begin("drawing")
    figures = drawn_into(
        path, lambda file: draw_handout(handout, file, paper=paper), overwrite=overwrite, make_folder=target is None,
        replaces=file_mark("handout", audience),
    )  # fmt: skip
    steps.end()
    return HandoutResult(
        **written(store, handout.page, path),
        **vars(figures),
        paper=paper,
        person_hours_left=(
            handout.effort.person_hours_left if handout.effort is not None and handout.page.with_hours else None
        ),
        seasons=handout.account.seasons,
        asks=tuple(asked(handout)),
    )


def build_handout(
    store: Store,
    *,
    now: datetime,
    today: date,
    audience: Audience,
    on: date | None = None,
    with_hours: bool = False,
    with_cost: bool = False,
    steps: Steps | None = None,
) -> Handout:
    """Return the handout's records: every figure from the job that prints it elsewhere."""
    steps = steps or Steps()
    steps.begin("ground")
    tells_effort = audience == "owner" and (with_hours or with_cost)
    store = public_view(store) if audience == "public" else snapshot(store)
    state = ground(store, on=on)
    steps.begin("terrain")
    if store.elevation() is not None and state.units:  # one pass over the raster for all that is told
        sets = [unit_outlines(store, on=on).values(), remaining_outlines(store, on=on).values()]
        timed = [slope_outlines(store, on=on)] if tells_effort else []
        terrain_sums(store, *sets, *timed, progress=steps.within)
    page = build_page(
        store, now=now, audience=audience, on=on, with_hours=with_hours, with_cost=with_cost, is_paper=True, steps=steps
    )
    steps.begin("what is due")
    due_on = on or today
    parts = (part for row in due(store, on=due_on).items for part in row.parts)
    items = sorted((part for part in parts if part.state != "done" and part.what not in SPOTS), key=pressing)
    steps.begin("photos")
    pair = _newest_pair(store, audience=audience, on=on)
    steps.begin("hours and season")
    season = _season(store, on=on, today=due_on) if audience == "owner" and state.units else None
    return handout_of(
        page,
        state,
        limits=store.settings.stages,
        practices=acres(store, on=on).practices,
        stands={stand.unit_id: stand for stand in density(store, on=on).units} if state.units else {},
        upkeep=upkeep_due(state, store.settings),
        items=items,
        due_on=due_on,
        spent=effort(store, on=on, today=today) if tells_effort else None,
        ask=store.settings.handout.ask,
        dense=store.settings.density.limits,
        pair=pair,
        season=season,
    )


def _newest_pair(store: Store, *, audience: Audience, on: date | None) -> PagePhotoPoint | None:
    """Return the point whose second picture is the newest, with pictures sharp enough for paper."""
    pairs = [(point.after.taken_at, point) for point in found_points(store, on=on) if point.after is not None]
    newest = [point for _, point in sorted(pairs, key=lambda one: one[0])[-1:]]
    shown = page_photos(store, audience=audience, on=on, points=newest, sizes=_PAIR_SIZES, most_bytes=_PAIR_BYTES)
    return next((one for one in shown.points if one.after is not None), None)


def _season(store: Store, *, on: date | None, today: date) -> ScheduleResult | None:
    """Return the half year from a day on, where the settings say how many hours a week has and something an acre."""
    hours_per_week = store.settings.effort.hours_per_week
    if hours_per_week is None or effort(store, on=on, today=today).hours_per_acre is None:
        return None
    return schedule(store, first=today, last=last_day(today, None), hours_per_week=hours_per_week, on=on)
