"""The burn sheet of a past burn, made again from the ledger: its ground, weather and notices as logged."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import cast
from zoneinfo import ZoneInfo

from habmap.jobs.burnsheet import Burnsheet, worked_out
from habmap.jobs.ports import Store
from habmap.place.past_store import PastStore
from habmap.show.burn.words import past_burn_words
from habmap.work.burn.past import logged_burn


def past_burn(store: Store, entry: str, *, today: dt.date) -> Burnsheet:
    """Make the burn sheet of a logged burn again.

    Parameters
    ----------
    store
        The place.
    entry
        The line of the log: its id, the beginning of it, or the id it was imported with.
    today
        The local civil day at the place.

    Raises
    ------
    InputError
        There is no such line or it is withdrawn, it is no burn, or its hour or the direction of its wind were not
        logged. No other weather is asked for: what is missing is said to be not given.
    """
    burn = logged_burn(store.entries(), store.burns(), entry)
    record = burn.record
    then = PastStore(store, before=burn.line.date, plans=record.plans, where=burn.where)
    sheet = worked_out(cast("Store", then), burn.request)
    past = burn.told(units=sheet.result.units, drawn=store.drawn_blocks(), today=today)
    logged_on = record.recorded_at.astimezone(ZoneInfo(store.settings.place.timezone)).date()
    past = replace(past, words=past_burn_words(past, logged_on if past.plans_kept else None))
    return replace(sheet, result=replace(sheet.result, block=past.block, notices=record.notices, again=past))
