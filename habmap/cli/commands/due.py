"""``habmap due``: what is drying, past its window, due for upkeep or a look; holds and contract dates."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from habmap.cli.context import JsonOption, OnOption, OverwriteOption, Session
from habmap.cli.output import print_json, print_table, say

if TYPE_CHECKING:
    from habmap.jobs.due import DueResult
    from habmap.place.calendar import CalendarDay
    from habmap.work.seasons import DueItem


def register(app: typer.Typer) -> None:
    """Hang the command on the app."""

    @app.command("due")
    def due_command(
        context: typer.Context,
        on: OnOption = None,
        ics: Annotated[Path | None, typer.Option("--ics", metavar="FILE", help="Also write a calendar file.")] = None,
        overwrite: OverwriteOption = False,
        as_json: JsonOption = False,
    ) -> None:
        """Show what is due. What dries or is past its window, upkeep, looks, holds and contract dates."""
        from habmap.jobs.due import due
        from habmap.work.seasons import WHAT_WORDS

        session: Session = context.obj
        store = session.store()
        result = due(store, on=on or session.today(store.settings.place.timezone))
        if ics is not None:
            from habmap.place.calendar import calendar_bytes
            from habmap.place.writers import write_whole

            name = store.settings.place.name
            data = calendar_bytes(_days(result), name=name, place_id=store.place_id, stamp=result.on)
            write_whole(ics, lambda path: path.write_bytes(data), overwrite=overwrite)
        if as_json:
            print_json("due", result)
            return
        _first_words(result)
        print_table(
            ["unit", "what", "where it stands", "acres", "since", "from", "to", "why"],
            [
                [
                    item.unit_id or "all",
                    WHAT_WORDS[item.what],
                    item.state,
                    item.acres,
                    item.since_date,
                    item.from_date,
                    item.to_date,
                    item.words,
                ]
                for item in result.items
            ],
        )
        say("")
        for caution in result.cautions:
            say(caution)
        if ics is not None:
            say(f"The dates were written to {ics}; loading a newer file later updates them.")


def _first_words(result: DueResult) -> None:
    from habmap.work.seasons import WHAT_WORDS

    late = [item for item in result.items if item.state in ("overdue", "past the window", "due")]
    if late:
        top = late[0]
        number = "1 thing presses" if len(late) == 1 else f"{len(late)} things press"
        which = f"{top.unit_id or 'all units'}, {WHAT_WORDS[top.what]}, {top.state}"
        say(f"{number} on {result.on}; the first: {which}{f' ({top.words})' if top.words else ''}.")
    else:
        say(f"Nothing presses on {result.on}.")
    say(f"Beginning or ending within 30 days: {_glance(result, 30)}; within 90: {_glance(result, 90)}.")


def _glance(result: DueResult, days: int) -> str:
    """Return what begins or ends within so many days, and how often each."""
    from collections import Counter

    from habmap.work.seasons import WHAT_WORDS, coming_within

    counts = Counter(WHAT_WORDS[item.what] for item in coming_within(result.items, on=result.on, days=days))
    return ", ".join(what if number == 1 else f"{what} ×{number}" for what, number in counts.items()) or "nothing"


def _days(result: DueResult) -> list[CalendarDay]:
    """Turn items into calendar days; items that are one thing, as pieces of one unit are, become one day."""
    from habmap.place.calendar import CalendarDay
    from habmap.work.seasons import WHAT_WORDS

    together: dict[str, list[DueItem]] = {}
    for item in result.items:
        if item.state != "done" and (item.from_date or item.to_date):
            # what it counts from names the thing; its days and words may change and must not make a new one
            parts = [item.what, item.unit_id or "", item.name, str(item.since_date or "")]
            if item.what == "hand_check":
                parts.append(str(item.from_date))
            together.setdefault("\x1f".join(parts), []).append(item)
    days = []
    for key, items in together.items():
        firsts = [day for item in items if (day := item.from_date or item.to_date)]
        lasts = [day for item in items if (day := item.to_date or item.from_date)]
        words = "; ".join(dict.fromkeys(item.words for item in items if item.words))
        title = WHAT_WORDS[items[0].what]
        waits = next((item.state for item in items if item.state in ("on hold", "closed")), None)
        if waits is not None:
            title += f" ({waits})"
        days.append(
            CalendarDay(
                key=key,
                summary=f"{items[0].unit_id or 'All units'}: {title}",
                description=" ".join([f"{words or title}.", *result.cautions]),
                first=min(firsts),
                last=max(lasts),
            )
        )
    return days
