"""This week: what presses, what comes, and what may not be done now."""

from __future__ import annotations

from typing import Final

from starlette.responses import Response

from habmap.desk.asked import Asked
from habmap.desk.pages import page
from habmap.desk.room import Room
from habmap.desk.tables import table


def show(asked: Asked) -> Response:
    """Show what is due on the property's own today."""
    from habmap.jobs.due import due
    from habmap.work.seasons import WHAT_WORDS

    result = due(asked.store, on=asked.today)
    rows = [
        [
            item.unit_id or "all",
            WHAT_WORDS[item.what],
            item.state,
            item.acres,
            item.from_date,
            item.to_date,
            item.words,
        ]
        for item in result.items
    ]
    return page(
        asked,
        "week.html.j2",
        result=result,
        pressing=[item for item in result.items if item.state in ("overdue", "past the window", "due")],
        what_words=WHAT_WORDS,
        due=table("Everything due, one row a unit and kind", HEADS, rows),
    )


HEADS: Final = ("unit", "what", "where it stands", "acres", "from", "to", "why")
ROOM: Final = Room(name="week", title="This week", show=show)
