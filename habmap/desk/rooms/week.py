"""This week: what is forbidden or closed, what closes, what may be considered for burning, what to cut and to check."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from starlette.responses import Response

from habmap.desk.asked import Asked
from habmap.desk.pages import page
from habmap.desk.room import Room

if TYPE_CHECKING:
    from habmap.work.week import WeekResult


def show(asked: Asked) -> Response:
    """Show the week that begins on the property's own today."""
    from habmap import api
    from habmap.show.week_words import HEADS, NOTHING, SECTIONS, item_words

    store = asked.store
    if not store.units():
        return asked.goto("lead")
    result = api.week(store, on=asked.today)
    lists = [
        (
            HEADS[name],
            NOTHING[name],
            [
                (item.unit_id or "all", item_words(item), _does(asked, name, item.unit_id))
                for item in getattr(result, name)
            ],
        )
        for name in SECTIONS
    ]
    return page(asked, "week.html.j2", result=result, lists=lists, first=_first(result))


def _first(result: WeekResult) -> str:
    """Return the week in one sentence: what comes first."""
    for words, items in (("To cut next", result.cut), ("To check first", result.check)):
        for one in items:
            if one.unit_id is not None:
                size = "" if one.acres is None else f", {one.acres:,.1f} acres"
                return f"{words}: {one.unit_id}{size}."
    return "Nothing is to be cut or checked this week."


def _does(asked: Asked, name: str, unit_id: str | None) -> tuple[str, str] | None:
    """Return the address and the words of what is done about a line at the desk."""
    if unit_id is None:
        return None
    ways = {
        "cut": (asked.address("log", practice="cut", unit=unit_id), "log the cutting"),
        "check": (asked.address("log", practice="checkup", unit=unit_id), "log a check-up"),
        "burn": (asked.address("burn", ground=unit_id), "prepare a burn sheet"),
    }
    return ways.get(name)


ROOM: Final = Room(name="week", title="This week", show=show)
