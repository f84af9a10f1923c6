"""The page of the season: month by month what is laid out, and what does not fit."""

from __future__ import annotations

from typing import Final

from habmap.show.handout.large_type import HandoutPage
from habmap.show.handout.records import Handout
from habmap.show.schedule_words import fit_words, month_lines, rests_words, unfit_lines, unsigned_words
from habmap.show.sheet.pen import LEADING, wrapped
from habmap.show.words import short_day
from habmap.work.schedule_result import ScheduleResult

#: How small the months may be set, of the room's own size, before some are only counted.
_SMALLEST: Final = 0.7


def draw_season(leaf: HandoutPage, handout: Handout, season: ScheduleResult) -> None:
    """Set the season's months, all of them where the page has room.

    What does not fit stands whole under them, in the size of those who come close. At the foot stand in a box, as
    cautions do, what no plan is signed for, and beside it what the hours rest on.
    """
    top = leaf.head(handout, f"{fit_words(season, day=short_day)}, at {season.hours_per_week:g} hours a week.")
    floor = leaf.stand(leaf.foot(handout, 5, boxed=unsigned_words(season), more=rests_words(season)))
    if lines := [line for text in unfit_lines(season) for line in wrapped(text, leaf.width, size_pt=leaf.near_pt)]:
        floor += len(lines) * leaf.near_pt * LEADING
        leaf.pen.block(leaf.left, floor, lines, size_pt=leaf.near_pt)
        floor += leaf.gap
    months = month_lines(season)
    leaf.tell(months, leaf.left, top, leaf.width, floor, size_pt=_size_pt(leaf, months, top - floor))


def _size_pt(leaf: HandoutPage, texts: tuple[str, ...], height: float) -> float:
    """Return the largest size in which all of it has room, the smallest if none is small enough [pt]."""
    for size_pt in (leaf.room_pt * share / 20 for share in range(20, round(20 * _SMALLEST), -1)):
        lines = sum(len(wrapped(text, leaf.width, size_pt=size_pt)) for text in texts)
        if lines * size_pt * LEADING + 5 * leaf.k * len(texts) <= height:
            return size_pt
    return leaf.room_pt * _SMALLEST
