"""Many properties in one account: a row each, and one for all of them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Final

from habmap.vocabulary import STAGES

#: What stands as the place of the row for all.
ALL_PLACES: Final = "all"


@dataclass(frozen=True, slots=True, kw_only=True)
class RegionFault:
    """A stand or a property that something is wrong with, and what."""

    place: str
    what: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PropertyAccount:
    """One property of a region, or all of them together.

    Attributes
    ----------
    place, folder
        Its name and folder; of all together the name is ``all``, and for the public no folder is told.
    on
        The day of the account: the newest line's, or the one that was asked for; ``None``: nothing was ever logged.
    stage_acres
        Acres by stage.
    week
        What this week asks, in words, by list: what is forbidden or closed now, what closes, may be considered for
        burning, is cut, is checked.
    week_items
        How many things it asks, what is forbidden left out.
    person_hours, cost
        Of the whole log; ``None`` for the public, and the cost of all where currencies differ.
    """

    place: str
    folder: str = ""
    on: date | None = None
    acres: float = 0.0
    treated_acres: float = 0.0
    remaining_acres: float = 0.0
    keep_acres: float = 0.0
    coming_back_acres: float = 0.0
    stage_acres: dict[str, float] = field(default_factory=dict)
    week: dict[str, tuple[str, ...]] = field(default_factory=dict)
    week_items: int = 0
    person_hours: float | None = None
    cost: float | None = None
    currency: str | None = None


def all_together(rows: Sequence[PropertyAccount], *, on: date) -> PropertyAccount:
    """Return the row of all properties; their acres, hours and money added up in the order given."""
    stages: defaultdict[str, float] = defaultdict(float)
    for row in rows:
        for stage, acres in row.stage_acres.items():
            stages[stage] += acres
    currencies = {row.currency for row in rows}
    return PropertyAccount(
        place=ALL_PLACES,
        on=on,
        acres=_total(row.acres for row in rows),
        treated_acres=_total(row.treated_acres for row in rows),
        remaining_acres=_total(row.remaining_acres for row in rows),
        keep_acres=_total(row.keep_acres for row in rows),
        coming_back_acres=_total(row.coming_back_acres for row in rows),
        stage_acres={stage: stages[stage] for stage in STAGES},
        week_items=sum(row.week_items for row in rows),
        person_hours=_known(row.person_hours for row in rows),
        cost=_known(row.cost for row in rows) if len(currencies) <= 1 else None,
        currency=currencies.pop() if len(currencies) == 1 else None,
    )


def _total(values: Iterable[float]) -> float:
    return float(sum(values))


def _known(values: Iterable[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return float(sum(known)) if known else None
