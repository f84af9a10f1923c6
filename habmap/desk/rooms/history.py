"""History: every line ever written; withdraw one, correct one, each after a look at what it would change."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

from starlette.responses import Response

from habmap.desk.asked import Asked
from habmap.desk.forms import field_of, read_facts
from habmap.desk.ground import ground_fields, ground_of, saved
from habmap.desk.pages import page
from habmap.desk.room import Room
from habmap.desk.rooms.log import facts_for, told_of
from habmap.errors import HabmapError, InputError

if TYPE_CHECKING:
    from shapely import MultiPolygon

    from habmap.jobs.ports import Store
    from habmap.records import BurnRecord, Entry, Fact
    from habmap.work.logged import Logged
    from habmap.work.unit_shares import Covered
    from habmap.work.withdrawal import Voided


class _SeenError(Exception):
    """Carries what a withdrawal would do out of it, before anything is written."""

    def __init__(self, voided: Voided) -> None:
        super().__init__()
        self.voided = voided


def show(asked: Asked) -> Response:
    """Show every line, the newest first."""
    from habmap import api
    from habmap.show.ledger_words import STATE_WORDS, change_words, line_words

    store = asked.store
    unit = asked.text("unit") or None
    result = asked.at.kept(("history", unit), lambda store: api.history(store, unit_id=unit))
    zone = ZoneInfo(store.settings.place.timezone)
    kinds = {line.entry_id: line.action for line in result.entries}
    rows = [
        (
            line,
            line_words(line, zone, kinds),
            STATE_WORDS.get((line.action, line.state), "").removeprefix("; "),
        )
        for line in reversed(result.entries)
    ]
    counting = [line for line in result.entries if line.action == "log" and line.state in ("counts", "corrected")]
    return page(
        asked,
        "history.html.j2",
        rows=rows,
        unit=unit,
        last=counting[-1] if counting else None,
        saved=next((words for line, words, _ in rows if asked.text("saved") == str(line.number)), None),
        done=asked.text("done"),
        changes=[change_words(change) for change in result.changes],
    )


def ask_void(asked: Asked, *, error: HabmapError | None = None) -> Response:
    """Say what a withdrawal would do, and ask for its reason."""
    from habmap.show.ledger_words import content_words

    line = asked.text("line")
    voided, doubts = _looked_at(asked, line)
    words = {
        "what": f"This withdraws line {voided.number} itself, with all its corrections."
        if voided.withdraws == "line"
        else f"This takes back the {voided.withdraws} of line {voided.number}, not the line itself.",
        "before": "withdrawn" if voided.before is None else content_words(voided.before),
        "after": "withdrawn: it no longer counts" if voided.after is None else content_words(voided.after),
    }
    return page(
        asked,
        "history_void.html.j2",
        error=error,
        line=line,
        words=words,
        doubts=doubts,
        seen=_seen(asked, line),
    )


def void(asked: Asked) -> Response:
    """Withdraw it."""
    from habmap.jobs.withdraw import void as withdraw

    line = asked.text("line")
    try:
        _refuse_changed(asked, line)
        voided = withdraw(asked.store, line, why=asked.text("why"), now=asked.now, agree=lambda words: asked.has("yes"))
    except HabmapError as error:
        return ask_void(asked, error=error)
    return asked.goto("history", done=f"line {voided.number}: withdrawn")


def ask_correct(asked: Asked, *, error: HabmapError | None = None) -> Response:
    """Show a line as it counts now, to be corrected."""
    from habmap.records import value_of
    from habmap.vocabulary import PRACTICE_WORDS

    asked, draft = asked.desk.drafts.begun(asked, error)
    line = asked.text("line")
    content, row_of = _as_it_counts(asked.store, line)
    fields = [
        # one that was emptied stays empty when the form is shown again
        field_of(one, value=None if one.name in asked.said else value_of(row_of(one), one))
        for one in facts_for(content.practice)
    ]
    return page(
        asked,
        "history_correct.html.j2",
        error=error,
        line=line,
        words=PRACTICE_WORDS.get(content.practice, content.practice),
        content=content,
        practices=PRACTICE_WORDS.items(),
        fields=fields,
        draft=draft,
        acres=_acres(asked.store, content.patch),
        **ground_fields(asked, content.practice),
        seen=asked.text("seen") or _seen(asked, line),
    )


def look_at_correction(asked: Asked) -> Response:
    """Show what a correction would change; nothing is written."""
    asked, draft = asked.desk.drafts.looked_at(asked)
    try:
        logged, found = _corrected(asked, is_preview=True)
    except HabmapError as error:
        return ask_correct(asked, error=error)
    return page(asked, "history_look.html.j2", **told_of(asked, logged, found), draft=draft, line=asked.text("line"))


def correct(asked: Asked) -> Response:
    """Write the correction that was looked at."""
    asked = asked.desk.drafts.taken_up(asked)
    logged, _ = _corrected(asked, is_preview=False)
    return saved(asked, logged)


def ground(asked: Asked) -> Response:
    """Take an outline that was drawn on the map as the right ground of a line into its form."""
    draft = asked.desk.drafts.keep(asked)
    return asked.goto("history", "correct", line=asked.text("line"), draft=draft.key)


def _corrected(asked: Asked, *, is_preview: bool) -> tuple[Logged, Covered | None]:
    from habmap.jobs.correct import amend
    from habmap.records import BurnRecord, Entry, value_of
    from habmap.records.said import BurnSaid, Said, assembled, is_said

    line = asked.text("line")
    _refuse_changed(asked, line)
    content, row_of = _as_it_counts(asked.store, line)
    told, gone = {}, []
    for one in facts_for(content.practice):
        now: Any = read_facts(asked, (one,))[one.name]
        row = row_of(one)
        if one.name in asked.said and now in (None, ()) and is_said(row, one):
            gone.append(one.name)
        elif now != value_of(row, one):
            told[one.name] = now
    day: dt.date | None = asked.day("date", "day of the work")
    covered = ground_of(asked, day or content.date)
    logged = amend(
        asked.store,
        line,
        why=asked.text("why"),
        said=Said(**assembled(Entry, told)),
        now=asked.now,
        today=asked.today,
        practice=asked.text("practice") if asked.text("practice") != content.practice else None,
        date=day if day != content.date else None,
        ground=None if covered is None else lambda day: covered,
        burn=BurnSaid(**assembled(BurnRecord, told)),
        clear=gone,
        agree=lambda words: asked.has("yes"),
        is_preview=is_preview,
    )
    return logged, covered


def _as_it_counts(store: Store, line: str) -> tuple[Entry, Callable[[Fact], Entry | BurnRecord | None]]:
    """Return a line as it counts now, and what gives the record that a fact of it stands in: the line, or its burn."""
    from habmap.records import Entry, facts
    from habmap.work.burns import burn_of
    from habmap.work.lines import find_line

    found = find_line(store.entries(), line)
    content, burn, own = found.content, burn_of(found, store.burns()), facts(Entry)
    assert content is not None  # find_line refuses a withdrawn one
    return content, lambda one: content if one.name in own else burn


def _acres(store: Store, patch: MultiPolygon | None) -> float | None:
    from habmap.measures import acres

    return None if patch is None or store.grid is None else acres(store.grid.to_grid(patch).area)


def _looked_at(asked: Asked, line: str) -> tuple[Voided, list[str]]:
    """Return what withdrawing a line would do and what would be asked; nothing is written."""
    from habmap.jobs.withdraw import void as withdraw

    doubts: list[str] = []

    def agree(words: str) -> bool:
        doubts.append(words)
        return True

    def tell(voided: Voided) -> None:
        raise _SeenError(voided)

    try:
        withdraw(asked.store, line, why="looked at", now=asked.now, agree=agree, tell=tell)
    except _SeenError as seen:
        return seen.voided, doubts
    raise AssertionError("a withdrawal tells what it does before it is written")


def _seen(asked: Asked, line: str) -> str:
    """Return what of a line a page has seen: its newest row. Another page or a command may write one meanwhile."""
    from habmap.work.lines import find_row

    found, _ = find_row(asked.store.entries(), line)
    return max(found.rows, key=lambda row: (row.recorded_at, row.entry_id)).entry_id


def _refuse_changed(asked: Asked, line: str) -> None:
    if asked.text("seen") != _seen(asked, line):
        raise InputError(
            "this line was corrected or withdrawn since the page was opened; nothing was written",
            where=f"line {line}",
            mend="look at it again in the history, and begin from what it says now",
        )


ROOM: Final = Room(
    name="history",
    title="History",
    show=show,
    parts={"void": ask_void, "correct": ask_correct},
    acts={"void": void, "look": look_at_correction, "ground": ground, "correct": correct},
)
