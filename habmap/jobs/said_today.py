"""Which cautions a person has read in full today already, with a line of the log."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from zoneinfo import ZoneInfo

from habmap.jobs.ports import Store
from habmap.work.logged import SaidToday, said_today


def cautions_said_today(store: Store, cautions: Iterable[str], *, today: date) -> tuple[SaidToday, ...]:
    """Return those of the cautions that went with a line which was typed in on a day, with its number."""
    return said_today(cautions, store.entries(), today=today, zone=ZoneInfo(store.settings.place.timezone))
