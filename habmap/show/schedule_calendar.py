"""A season's work as days of a calendar: what is laid into a week on the first day that is open to it."""

from __future__ import annotations

from collections.abc import Sequence

from habmap.measures import acres_words, hours_words
from habmap.show.schedule_words import FIRE_WORDS, FIRES
from habmap.work.calendar_day import DAY_BEFORE, THAT_MORNING, CalendarDay
from habmap.work.schedule import KIND_WORDS, ScheduledWeek
from habmap.work.schedule_result import ScheduleResult


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
