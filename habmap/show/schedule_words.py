"""A season in sentences: what fits, what its hours rest on, what no plan is signed for; and as days of a calendar.

What is laid into a week stands in the calendar on the first day that is open to it.
"""

from __future__ import annotations

from calendar import month_name
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from datetime import date
from typing import Final

from habmap.measures import acres_words, hours_words
from habmap.show.words import SPOKEN_ACRES
from habmap.work.burn.written_plan import PLAN_KIND_WORDS
from habmap.work.calendar_day import DAY_BEFORE, THAT_MORNING, CalendarDay
from habmap.work.schedule import KIND_WORDS, Kind, ScheduledWeek
from habmap.work.schedule_result import ScheduleResult

#: Said of a fire wherever its day might be taken for leave to light it.
FIRES: Final[frozenset[Kind]] = frozenset({"burn", "pile_burn"})
FIRE_WORDS: Final = ": a question for the burn boss"
#: Units named one by one in a sentence.
_NAMED: Final = 4

#: Heads of the season's table, a row an item; and of what would not fit.
WEEK_HEADS: Final = ("week of", "work", "unit", "acres", "hours", "open from", "to", "what it is")
UNFIT_HEADS: Final = ("work", "unit", "acres", "hours", "why")


def week_rows(season: ScheduleResult) -> list[list[object]]:
    """Return the season's table; a week's day stands with its first item alone."""
    return [
        [
            week.from_date if number == 0 else "", KIND_WORDS[item.what], item.unit_id, item.acres, item.person_hours,
            item.from_date, item.to_date, item.words,
        ]
        for week in season.weeks
        for number, item in enumerate(week.items)
    ]  # fmt: skip


def unfit_rows(season: ScheduleResult) -> list[list[object]]:
    """Return what would not fit, and why."""
    return [[KIND_WORDS[one.what], one.unit_id, one.acres, one.person_hours, one.why] for one in season.unfit]


def season_words(season: ScheduleResult) -> tuple[str, ...]:
    """Return what fits as one sentence that stands alone, then what it rests on and what is not signed."""
    return (_first_words(season), *rests_words(season), *unsigned_words(season))


def _first_words(season: ScheduleResult) -> str:
    """Return the one sentence that stands alone: what fits, and what comes first."""
    begin = next(((week.from_date, week.items[0]) for week in season.weeks if week.items), None)
    if begin is None:
        return f"{fit_words(season)}."
    week, item = begin
    fire = FIRE_WORDS if item.what in FIRES else ""
    what = f"{KIND_WORDS[item.what]}, {item.unit_id}, in the week of {week}{fire}"
    return f"{fit_words(season)}, {hours_words(season.person_hours)} in all; begin with: {what}."


def fit_words(season: ScheduleResult, *, day: Callable[[date], str] = str) -> str:
    """Say how much cutting fits, with no full stop; its days are told as ``day`` tells them."""
    span = f"between {day(season.from_date)} and {day(season.to_date)}"
    if not any(week.items for week in season.weeks):
        return f"Nothing fits {span}"
    return f"{_cut_words(season.acres)} of cutting fit {span}" if season.acres > 0 else f"No cutting fits {span}"


def _cut_words(acres: float) -> str:
    """Return acres of cutting to a tenth; what would read as none to a hundredth."""
    return f"{acres:,.1f} acres" if acres >= SPOKEN_ACRES else acres_words(acres)


def rests_words(season: ScheduleResult) -> tuple[str, ...]:
    """Say what the hours rest on, cutting first."""
    words = [f"Hours of cutting go by {season.cut_rests_on}."] if season.acres > 0 else []
    words += [
        f"Hours to {KIND_WORDS[rate.what]} ({rate.hours_per_acre:.1f} an acre) go by {rate.rests_on}."
        if rate.what in ("burn", "pile", "pile_burn")
        else f"Hours of {KIND_WORDS[rate.what]} ({rate.hours_per_acre:.1f} an acre) go by {rate.rests_on}."
        for rate in season.rates
    ]
    return tuple(words)


def unsigned_words(season: ScheduleResult) -> tuple[str, ...]:
    """Say which fires are laid out although no signed plan is there."""
    if not season.unsigned:
        return ()
    kinds = ", ".join(PLAN_KIND_WORDS[kind] for kind in PLAN_KIND_WORDS if kind in season.unsigned)
    return (
        f"No written plan with author and date is in habmap.toml for: {kinds}. Its days are laid out by the calendar "
        "alone, and nothing can be burned before there is one.",
    )


def month_lines(season: ScheduleResult) -> tuple[str, ...]:
    """Return a sentence a month: what is laid into it, the acres of each kind of work and where they lie."""
    months: defaultdict[tuple[int, int], defaultdict[str, dict[str, float]]] = defaultdict(lambda: defaultdict(dict))
    for item in (item for week in season.weeks for item in week.items):
        units = months[item.from_date.year, item.from_date.month][KIND_WORDS[item.what]]
        # three walks around one fire are one ground
        is_check = item.what == "hand_check"
        before = units.get(item.unit_id, 0.0)
        units[item.unit_id] = max(before, item.acres) if is_check else before + item.acres
    return tuple(
        f"{month_name[month]} {year}: "
        + "; ".join(f"{work} {sum(units.values()):.1f} acres ({_some(units)})" for work, units in kinds.items())
        + "."
        for (year, month), kinds in sorted(months.items())
    )


def unfit_lines(season: ScheduleResult) -> tuple[str, ...]:
    """Return a sentence for each reason why work does not fit, with the acres of each kind."""
    reasons: defaultdict[str, defaultdict[str, float]] = defaultdict(lambda: defaultdict(float))
    for one in season.unfit:
        past = "past the last of these weeks"
        reasons[past if past in one.why else one.why][KIND_WORDS[one.what]] += one.acres
    return tuple(
        f"Does not fit, {why}: " + "; ".join(f"{work} {acres:.1f} acres" for work, acres in kinds.items()) + "."
        for why, kinds in reasons.items()
    )


def _some(units: Iterable[str]) -> str:
    names = list(units)
    return ", ".join(names) if len(names) <= _NAMED else f"{', '.join(names[:_NAMED])} and {len(names) - _NAMED} more"


# --- as days of a calendar ----------------------------------------------------------------------------------


def schedule_calendar(season: ScheduleResult) -> tuple[CalendarDay, ...]:
    """Return one day for each piece of work and week, named by its days of the season, in words that stay true."""
    return tuple(day for week in season.weeks for day in _days_of(week, season.cautions))


def _days_of(week: ScheduledWeek, cautions: Sequence[str]) -> list[CalendarDay]:
    seen: dict[tuple[str, str], int] = {}
    days = []
    for item in week.items:
        number = seen[item.what, item.unit_id] = seen.get((item.what, item.unit_id), 0) + 1
        until = "" if item.to_date == item.from_date else f" to {item.to_date}"
        words = f" {item.words[:1].upper()}{item.words[1:]}." if item.words else ""
        # a title is read without the rest: a day with room for a fire is no leave to light it
        fire = FIRE_WORDS if item.what in FIRES else ""
        is_check = item.what == "hand_check"
        days.append(
            CalendarDay(
                key="\x1f".join(["schedule", item.what, item.unit_id, str(week.from_date), str(number)]),
                summary=f"{item.unit_id}: {KIND_WORDS[item.what]}, {acres_words(item.acres)}{fire}",
                description=(
                    f"Laid out for {item.from_date}{until}: about {hours_words(item.person_hours)}.{words} "
                    + " ".join(cautions)
                ),
                day=item.from_date,
                alarms=(DAY_BEFORE, THAT_MORNING) if is_check else (DAY_BEFORE,),
            )
        )
    return days
