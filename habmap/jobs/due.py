"""What is drying, past its window, due for upkeep or a check-up; holds, closed days and contract dates."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

from habmap.jobs.export_layers import due_again
from habmap.jobs.export_practices import contract_dates
from habmap.jobs.ground import ground
from habmap.jobs.ports import Store
from habmap.jobs.public import public_view
from habmap.jobs.snapshot import once
from habmap.place.closed_days import closures, standing_due
from habmap.place.named_units import settings_of_now
from habmap.show.due_words import due_calendar, due_cautions, row_words
from habmap.show.handheld import due_words
from habmap.vocabulary import Audience
from habmap.work.calendar_day import CalendarDay
from habmap.work.closures import Closures, with_closures
from habmap.work.due_rows import DueRow, coming_within, due_rows, spot_items, told_items
from habmap.work.ground import Ground
from habmap.work.said import has_snags
from habmap.work.seasons import AHEAD_DAYS, DueItem, calendar_due


@dataclass(frozen=True, slots=True, kw_only=True)
class DueResult:
    """What is due on a day; ``next_30`` and ``next_90`` count the rows that begin or end within so many days."""

    on: date
    items: tuple[DueRow, ...]
    next_30: int
    next_90: int
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Found:
    """Everything that is due on a day, not yet marked for what is on hold or closed; and what is."""

    items: tuple[DueItem, ...]
    closures: Closures
    state: Ground


@once
def due(store: Store, *, on: date, audience: Audience = "owner") -> DueResult:
    """Return everything that is due, in force or coming within 90 days of a day, what presses first.

    Things on ground that is on hold, or closed to what they ask for, say so and press nobody.
    """
    found = found_due(store, on=on, audience=audience)
    items = with_closures(found.items, found.closures, on=on, is_public=audience == "public")
    rows = tuple(replace(row, words=row_words(row)) for row in due_rows(items))
    return DueResult(
        on=on,
        items=rows,
        next_30=len(coming_within(rows, on=on, days=30)),
        next_90=len(coming_within(rows, on=on, days=AHEAD_DAYS)),
        cautions=due_cautions(
            rows,
            has_snags=has_snags(piece.state for piece in found.state.pieces),
            drying_days=store.settings.seasons.drying_days,
        ),
    )


def calendar_days(store: Store, *, on: date, audience: Audience = "owner") -> tuple[CalendarDay, ...]:
    """Return what is due as days of a calendar, from a day on."""
    found = found_due(store, on=on, audience=audience)
    return due_calendar(
        found.items,
        closures=found.closures,
        on=on,
        is_public=audience == "public",
        cautions=due(store, on=on, audience=audience).cautions,
    )


@once
def found_due(store: Store, *, on: date, audience: Audience = "owner") -> Found:
    """Return what the ground and the settings ask for around a day, each part by itself."""
    seen = public_view(store) if audience == "public" else store
    settings = settings_of_now(seen)
    state = ground(seen, on=on)
    closed = closures(settings)
    items = (
        *standing_due(state, settings, on),
        *spot_items(
            due_again(store, on=on, within_days=AHEAD_DAYS, audience=audience),
            on=on,
            tell=lambda spot: due_words(spot).rstrip("."),
        ),
        *calendar_due(on=on, bans=closed.bans, holds=closed.holds, contract=contract_dates(seen, settings, on)),
    )
    return Found(told_items(items) if audience == "public" else items, closed, state)
