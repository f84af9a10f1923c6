"""Log work: what was done, when, on which ground; a look at what it changes; then saved."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from starlette.responses import Response

from habmap.desk.asked import Asked
from habmap.desk.forms import field_of, read_facts
from habmap.desk.ground import ground_fields, needed_ground, picture_of, saved
from habmap.desk.pages import page
from habmap.desk.room import Room
from habmap.errors import HabmapError

if TYPE_CHECKING:
    from habmap.records import Fact
    from habmap.work.logged import Logged
    from habmap.work.unit_shares import Covered


def show(asked: Asked, *, error: HabmapError | None = None) -> Response:
    """Show the form for one kind of work; which one is chosen first."""
    from habmap.vocabulary import KILLING, PRACTICE_ROWS, PRACTICES, default_killed_pct

    asked, draft = asked.desk.drafts.begun(asked, error)
    practice = asked.text("practice")
    if practice not in PRACTICES:
        return page(asked, "log_practice.html.j2", practices=PRACTICE_ROWS, more=_kept(asked), error=error)
    store = asked.store
    cedar = store.settings.place.cedar
    is_needed = practice in KILLING and default_killed_pct(practice, cedar=cedar) is None
    fields = [field_of(one, is_needed=is_needed and one.name == "killed_pct") for one in facts_for(practice)]
    return page(
        asked,
        "log.html.j2",
        error=error,
        practice=practice,
        words=next(row.words for row in PRACTICE_ROWS if row.key == practice),
        **ground_fields(asked, practice),
        fields=fields,
        draft=draft,
        cautions=_cautions(practice),
    )


def facts_for(practice: str) -> tuple[Fact, ...]:
    """Return what may be said of a kind of work, in the order of the record."""
    from habmap.records import BurnRecord, Entry, said_facts

    every = (*said_facts(Entry), *said_facts(BurnRecord))
    return tuple(one for one in every if one.practices is None or practice in one.practices)


def preview(asked: Asked) -> Response:
    """Show what the line would be and change; nothing is written."""
    asked, draft = asked.desk.drafts.looked_at(asked)
    try:
        logged, found = _logged(asked, is_preview=True)
    except HabmapError as error:
        return show(asked, error=error)
    from habmap.show.burn.words import burn_words

    return page(
        asked, "log_preview.html.j2", **told_of(asked, logged, found), burn=burn_words(logged.burn), draft=draft
    )


def told_of(asked: Asked, logged: Logged, found: Covered | None) -> dict[str, Any]:
    """Return what a page says of a line that is looked at before it is saved, and of its ground where that is given."""
    from habmap.show.logged_words import caution_lines, changes_sentences, logged_sentence

    return {
        "logged": logged,
        "sentence": logged_sentence(logged),
        "changes": changes_sentences(logged),
        "picture": picture_of(asked, found) if found else None,
        "notes": (*logged.warnings, *(found.notes if found else ())),
        "cautions": caution_lines(logged),
    }


def save(asked: Asked) -> Response:
    """Add the line that was looked at."""
    asked = asked.desk.drafts.taken_up(asked)
    logged, _ = _logged(asked, is_preview=False)
    return saved(asked, logged)


def ground(asked: Asked) -> Response:
    """Take an outline that was drawn on the map into the form."""
    draft = asked.desk.drafts.keep(asked)
    return asked.goto("log", draft=draft.key)


def _logged(asked: Asked, *, is_preview: bool) -> tuple[Logged, Covered]:
    from habmap.jobs.log import log
    from habmap.records import BurnRecord, Entry
    from habmap.records.said import BurnSaid, Said, assembled
    from habmap.work.burn.observed import check_burn_said
    from habmap.work.said import check_practice, check_said

    practice = check_practice(asked.text("practice"))
    told = read_facts(asked, facts_for(practice))
    said, burn = Said(**assembled(Entry, told)), BurnSaid(**assembled(BurnRecord, told))
    check_said(said, practice=practice)
    day = asked.day("date", "day of the work")
    check_burn_said(burn, practice=practice, month=day.month if day else None, is_sure=asked.has("yes"))
    found = needed_ground(asked, day)
    logged = log(
        asked.store,
        practice=practice,
        date=found.day,
        patch=found.patch,
        said=said,
        now=asked.now,
        today=asked.today,
        unit_ids=found.unit_ids,
        acres_sd=found.acres_sd,
        burn=burn,
        agree=lambda words: asked.has("yes"),
        is_preview=is_preview,
    )
    return logged, found


def _cautions(practice: str) -> tuple[str, ...]:
    from habmap.records.said import Said
    from habmap.work.said import cautions_for

    return cautions_for(practice, Said())


def _kept(asked: Asked) -> dict[str, str]:
    """Return what was chosen before the kind of work: an outline that was drawn, a unit that was picked."""
    return {name: asked.text(name) for name in ("draft", "unit") if asked.has(name)}


ROOM: Final = Room(
    name="log",
    title="Log work",
    show=show,
    acts={"preview": preview, "save": save, "ground": ground},
)
