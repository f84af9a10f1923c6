"""The page of the season: month by month what is laid out, and what does not fit."""

from __future__ import annotations

from habmap.show.handout.large_type import HandoutPage
from habmap.show.handout.records import Handout
from habmap.show.schedule_words import month_lines, season_words, unfit_lines
from habmap.work.schedule_result import ScheduleResult


def draw_season(leaf: HandoutPage, handout: Handout, season: ScheduleResult) -> None:
    """Set the season, whole sentences as far as the page has room; what its hours rest on stands at the foot."""
    first, *rests = season_words(season)
    top = leaf.head(handout, f"{first.removesuffix('.')}, at {season.hours_per_week:g} hours a week.")
    floor = leaf.stand(leaf.foot(handout, 5, more=rests))
    leaf.tell((*month_lines(season), *unfit_lines(season)), leaf.left, top, leaf.width, floor)
