"""A season in sentences: what fits, what its hours rest on, what no plan is signed for."""

from __future__ import annotations

from datetime import date
from typing import Protocol

from habmap.work.burn.written_plan import PLAN_KIND_WORDS
from habmap.work.schedule import KIND_WORDS, ScheduledWeek, Unfit
from habmap.work.schedule_tasks import KindRate


class Season(Protocol):
    """What is said of a season."""

    @property
    def from_date(self) -> date: ...

    @property
    def to_date(self) -> date: ...

    @property
    def weeks(self) -> tuple[ScheduledWeek, ...]: ...

    @property
    def unfit(self) -> tuple[Unfit, ...]: ...

    @property
    def acres(self) -> float: ...

    @property
    def person_hours(self) -> float: ...

    @property
    def cut_rests_on(self) -> str: ...

    @property
    def rates(self) -> tuple[KindRate, ...]: ...

    @property
    def unsigned(self) -> tuple[str, ...]: ...


def season_words(season: Season) -> tuple[str, ...]:
    """Return what fits as one sentence that stands alone, then what it rests on and what is not signed."""
    return (_first_words(season), *_rests_words(season), *_unsigned_words(season))


def _first_words(season: Season) -> str:
    """Return the one sentence that stands alone."""
    laid = [item for week in season.weeks for item in week.items]
    if not laid:
        return f"Nothing fits between {season.from_date} and {season.to_date}."
    span = f"between {season.from_date} and {season.to_date}, {season.person_hours:,.0f} person-hours in all"
    begin = laid[0]
    week = next(week.from_date for week in season.weeks if week.items)
    what = f"{KIND_WORDS[begin.what]}, {begin.unit_id}, in the week of {week}"
    if season.acres > 0:
        return f"{season.acres:.1f} acres of cutting fit {span}; begin with: {what}."
    return f"No cutting fits {span}; begin with: {what}."


def _rests_words(season: Season) -> tuple[str, ...]:
    """Say what the hours rest on, cutting first."""
    words = [f"Hours of cutting go by {season.cut_rests_on}."] if season.acres > 0 else []
    words += [
        f"Hours to {KIND_WORDS[rate.what]} ({rate.hours_per_acre:.1f} an acre) go by {rate.rests_on}."
        if rate.what in ("burn", "pile", "pile_burn")
        else f"Hours of {KIND_WORDS[rate.what]} ({rate.hours_per_acre:.1f} an acre) go by {rate.rests_on}."
        for rate in season.rates
    ]
    return tuple(words)


def _unsigned_words(season: Season) -> tuple[str, ...]:
    """Say which fires are laid out although no signed plan is there."""
    if not season.unsigned:
        return ()
    kinds = ", ".join(PLAN_KIND_WORDS[kind] for kind in PLAN_KIND_WORDS if kind in season.unsigned)
    return (
        f"No written plan with author and date is in habmap.toml for: {kinds}. Its days are laid out by the calendar "
        "alone, and nothing can be burned before there is one.",
    )
