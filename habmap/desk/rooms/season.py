"""Season: the order of work laid into weeks, and what would not fit."""

from __future__ import annotations

from typing import Any, Final

from starlette.responses import Response

from habmap.desk.asked import Asked
from habmap.desk.pages import page, table
from habmap.desk.room import Room
from habmap.errors import HabmapError, UsageError

#: A season where no end is given, and the longest [days].
_HALF_YEAR_DAYS, _LONGEST_DAYS = 182, 5 * 366
_MOST_HOURS: Final = 10_000


def show(asked: Asked) -> Response:
    """Show the season for the hours that are given, or those of the settings."""
    from habmap.measures import days_after

    form: dict[str, Any] = {
        "hours": asked.text("hours") or f"{asked.store.settings.effort.hours_per_week or ''}",
        "most_hours": _MOST_HOURS,
        "first": asked.today,
        "last": days_after(asked.today, _HALF_YEAR_DAYS),
    }
    if not form["hours"]:
        return page(asked, "season.html.j2", **form, result=None)
    try:
        return page(asked, "season.html.j2", **form, **_season(asked, form["hours"]))
    except HabmapError as error:
        return page(asked, "season.html.j2", error=error, **form, result=None)


def _season(asked: Asked, hours: str) -> dict[str, Any]:
    from habmap import api
    from habmap.desk.asked import number_of
    from habmap.measures import days_after
    from habmap.show.schedule_words import UNFIT_HEADS, WEEK_HEADS, season_words, unfit_rows, week_rows

    per_week = number_of(hours, "person-hours in a week")
    first = asked.day("from", "first day") or asked.today
    last = asked.day("to", "last day") or days_after(first, _HALF_YEAR_DAYS)
    if per_week is None or not 0 < per_week <= _MOST_HOURS:
        raise UsageError(
            "these are not hours of a week",
            where="person-hours in a week",
            value=hours,
            mend="write how many hours all people together work in a week, such as 20",
        )
    if not 6 <= (last - first).days <= _LONGEST_DAYS:
        raise UsageError(
            "this is no season",
            where="first and last day",
            value=f"{first} to {last}",
            allowed="at least seven days, at most five years",
            mend="choose another last day",
        )
    result = api.schedule(asked.store, first=first, last=last, hours_per_week=per_week)
    return {
        "result": result,
        "words": season_words(result),
        "weeks": table("Week by week", WEEK_HEADS, week_rows(result)),
        "unfit": table("What would not fit", UNFIT_HEADS, unfit_rows(result)),
    }


ROOM: Final = Room(name="season", title="Season", show=show)
