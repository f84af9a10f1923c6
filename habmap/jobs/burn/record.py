"""What a person says of a burn beside its line of the log: the weather observed, and who was told before."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import shapely
from shapely import MultiPolygon, Polygon

from habmap.jobs.ports import Store
from habmap.land.grid import LocalGrid
from habmap.records import BurnRecord, Notice, facts, value_of
from habmap.records.said import BurnSaid
from habmap.work.burns import burn_of, record_id
from habmap.work.ledger import corrections

#: Said after a burn is logged.
LOOK_NEXT_SEASON: Final = (
    "What the fire killed shows in the next growing season: look at it then, log that with `habmap log checkup`, and "
    "correct the share killed of this line with `habmap correct --killed-pct`"
)
WIND_HEIGHT_WORDS: Final = {"20ft": "at 20 ft", "eye": "at eye level"}
#: Ground shared by less than this is a common edge [m²].
LEAST_SHARED_M2: Final = 1.0
_FACTS: Final = facts(BurnRecord)


def burn_record(
    store: Store, said: BurnSaid, *, entry_id: str, now: dt.datetime, before: BurnRecord | None = None
) -> BurnRecord | None:
    """Return the record of a burn, or ``None`` where there is nothing to keep.

    The written plans are kept as ``habmap.toml`` has them at this moment; a correction keeps those that the record
    ``before`` it holds.
    """
    if not said.given():
        return None
    plans = store.settings.burn_plan.model_dump(mode="json", exclude_defaults=True) if before is None else before.plans
    return BurnRecord(
        uuid=record_id(entry_id),
        entry_id=entry_id,
        plans=plans,
        recorded_at=now,
        **said.given(),
    )


def late_notices(notices: Sequence[Notice], day: dt.date) -> tuple[str, ...]:
    """Point out notices that were given after the day of the burn."""
    return tuple(
        f"{told.who} was told on {told.when}, after the burn of {day}" for told in notices if told.when[:10] > str(day)
    )


def observed_words(record: BurnRecord) -> list[str]:
    """Say the weather as it was observed, in one sentence without its stop; nothing where nobody wrote any."""
    numbers = [(one, value_of(record, one)) for one in _FACTS.values() if one.is_number]
    parts = [f"{one.words} {one.said(value)}" for one, value in numbers if value is not None]
    parts += (
        [f"wind measured {WIND_HEIGHT_WORDS[record.wind_height]}"] if record.wind_height in WIND_HEIGHT_WORDS else []
    )
    if record.ignition is None and not parts:
        return []
    return [", ".join([f"Observed at {record.ignition or 'an hour not given'}", *parts])]


def notice_words(told: Notice) -> str:
    """Say who was told, when and how, without the final stop."""
    return f"Told before: {told.who}, {told.when}, {told.how}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Again:
    """A past burn as logged, made again from the ledger.

    Attributes
    ----------
    entry_id, number, date
        The line of the log, what people call it by, and its day.
    made_on
        Local civil day on which it was made again.
    block
        The ground as people call it.
    burned_pct
        Share of the ground that the fire blackened [%]; ``None`` = nobody wrote it.
    ground_on
        Day whose evening the ground's stages are of: the last before the burn.
    plans_kept
        Whether the plans are those that were in force when the burn was logged; else they are today's.
    title
        What stands on every page.
    words
        All that in plain sentences, without the final stop.
    """

    entry_id: str
    number: int
    date: dt.date
    made_on: dt.date
    block: str
    burned_pct: float | None
    ground_on: dt.date
    plans_kept: bool
    title: str
    words: tuple[str, ...]


def logged_notices(store: Store, block: Polygon | MultiPolygon, *, grid: LocalGrid, day: dt.date) -> tuple[Notice, ...]:
    """Return who was told before the burns that the log has on this ground and day.

    Parameters
    ----------
    block
        Ground in grid metres.
    """
    records = store.burns()
    if not records:
        return ()
    found: list[Notice] = []
    for line in corrections(store.entries()):
        record, content = burn_of(line, records), line.content
        if record is None or content is None or content.date != day or content.patch is None:
            continue
        shared_m2 = shapely.intersection(grid.to_grid(content.patch), block).area
        if shared_m2 > LEAST_SHARED_M2:
            found += record.notices
    return tuple(dict.fromkeys(found))
