"""What is due, one row for each unit and kind, what presses first; and as much of it as strangers may read."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

from habmap.measures import days_after
from habmap.work.revisits import Revisit
from habmap.work.seasons import DueItem, What

#: What the ground asks for: added up for a unit. What a person wrote (a hold, a contract item) stands one by one.
GROUND_KINDS: Final[frozenset[What]] = frozenset(
    {"drying", "piles", "hand_check", "snag_check", "upkeep", "checkup", "photo", "plot", "frame"}
)
#: Spots that are looked at again, each by its name.
SPOTS: Final[frozenset[What]] = frozenset({"photo", "plot", "frame"})
#: What is looked at on several days for one and the same ground.
SAME_GROUND: Final[frozenset[What]] = frozenset({"hand_check", "snag_check"})
#: States in the order in which they press; the rest comes after.
_PRESSING: Final = {"overdue": 0, "past its drying days": 1, "due": 2, "in force": 3, "in its drying days": 4}
#: What belongs to the owner's paperwork, and is no stranger's business.
_OWNERS: Final[frozenset[What]] = frozenset({"contract"})


@dataclass(frozen=True, slots=True, kw_only=True)
class DueRow:
    """All that is due of one kind in one unit.

    Attributes
    ----------
    unit_id, what
        As `DueItem` has them.
    state, from_date, to_date
        Those of the part that presses most.
    acres, state_acres
        All parts together, each acre once; of them those that stand where the row says (overdue, say) [acre].
    felled_pct, snag_pct
        Shares of the cedars that once stood on all of it which lie felled, and which were killed and still stand [%].
    since_date
        The earliest of its parts'.
    parts
        Ground of one set of dates each, or the one thing that was written; what presses first.
    """

    unit_id: str | None
    what: What
    state: str
    acres: float | None
    state_acres: float | None
    felled_pct: float | None
    snag_pct: float | None
    since_date: date | None
    from_date: date | None
    to_date: date | None
    words: str
    parts: tuple[DueItem, ...]


def due_rows(items: Iterable[DueItem]) -> tuple[DueRow, ...]:
    """Add things up by unit and kind, what presses first; ``words`` are those of the first part."""
    together: defaultdict[tuple[object, ...], list[DueItem]] = defaultdict(list)
    for item in items:
        own = () if item.what in GROUND_KINDS else (item.name, item.from_date, item.words)
        together[(item.unit_id, item.what, *own)].append(item)
    rows = [_row(sorted(parts, key=pressing)) for parts in together.values()]
    return tuple(sorted(rows, key=lambda row: pressing(row.parts[0])))


def pressing(item: DueItem) -> tuple[object, ...]:
    """Return what sorts things by how they press: past and due first, then by the day they begin."""
    return (
        _PRESSING.get(item.state, len(_PRESSING)),
        item.from_date or item.to_date or date.max,
        item.to_date or date.max,
        item.unit_id or "",
        item.what,
        item.name,
    )


def spot_items(spots: Iterable[Revisit], *, on: date, tell: Callable[[Revisit], str]) -> tuple[DueItem, ...]:
    """Return spots that are due again, or soon will be, as due things of no acres; ``tell`` gives their words."""
    return tuple(
        DueItem(
            unit_id=spot.unit_id,
            what=spot.kind,
            state="due" if spot.is_due(on) else "coming",
            acres=None,
            since_date=spot.last_on,
            from_date=spot.due_on,
            to_date=None,
            words=tell(spot),
            name=spot.label,
        )
        for spot in spots
    )


def acres_of(parts: Sequence[DueItem]) -> float | None:
    """Return the ground of things of one kind together, each acre once [acre]; ``None`` where none has ground."""
    known = [part for part in parts if part.acres is not None]
    if not known:
        return None
    if known[0].what not in SAME_GROUND:
        return math.fsum(part.acres or 0.0 for part in known)
    by_fire: defaultdict[date | None, float] = defaultdict(float)
    for part in known:
        by_fire[part.since_date] = max(by_fire[part.since_date], part.acres or 0.0)
    return math.fsum(by_fire.values())


def share_of(parts: Sequence[DueItem], name: str) -> float | None:
    """Return the mean of a share over the ground of things, by its acres [%]; ``None`` where it is not known."""
    known = [(part.acres or 0.0, getattr(part, name)) for part in parts if getattr(part, name) is not None]
    size = math.fsum(acres for acres, _ in known)
    return math.fsum(acres * share for acres, share in known) / size if size > 0 else None


def coming_within(rows: Iterable[DueRow], *, on: date, days: int) -> tuple[DueRow, ...]:
    """Return the rows of which something begins or ends within so many days of a day; what is done is left out."""
    last = days_after(on, days)
    return tuple(
        row
        for row in rows
        if any(
            part.state != "done" and any(day and on <= day <= last for day in (part.from_date, part.to_date))
            for part in row.parts
        )
    )


def told_items(items: Iterable[DueItem]) -> tuple[DueItem, ...]:
    """Return what strangers may read: no contract, no reasons, and of a hold nothing but that it stands."""
    found = []
    for item in items:
        if item.what in _OWNERS:
            continue
        if item.what == "hold":
            item = replace(item, words="", name="hold", since_date=None, from_date=None, to_date=None)
        elif item.what not in GROUND_KINDS:
            item = replace(item, words="", name=f"{item.what} {item.from_date}")
        found.append(item)
    return tuple(dict.fromkeys(found))


def _row(parts: Sequence[DueItem]) -> DueRow:
    first = parts[0]
    return DueRow(
        unit_id=first.unit_id,
        what=first.what,
        state=first.state,
        acres=acres_of(parts),
        state_acres=acres_of([part for part in parts if part.state == first.state]),
        felled_pct=share_of(parts, "felled_pct"),
        snag_pct=share_of(parts, "snag_pct"),
        since_date=min((part.since_date for part in parts if part.since_date is not None), default=None),
        from_date=first.from_date,
        to_date=first.to_date,
        words=first.words,
        parts=tuple(parts),
    )
