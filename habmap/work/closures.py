"""What keeps a unit from work on a day: holds, closed days, a contract's first day. None is ever recommended."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final, Literal

from habmap.measures import days_after
from habmap.work.seasons import Ban, DueItem, HeldUnit, What

#: What a closed day can be closed to.
Work = Literal["cut", "burn"]
_BAN_OF: Final[dict[Work, What]] = {"cut": "closed_cut", "burn": "closed_burn"}
_WORK_WORDS: Final[dict[Work, str]] = {"cut": "cutting", "burn": "burning"}
#: Said for the public, who learns that ground rests and never why.
PUBLIC_HOLD_WORDS: Final = "on hold"
PUBLIC_WAITING_WORDS: Final = "waiting"


@dataclass(frozen=True, slots=True, kw_only=True)
class Closure:
    """A unit is on hold (``work`` is ``None``), or closed to some work; ``last`` is its last day, ``None`` = open.

    ``contract``: cutting waits for the first day of the contract item that ``reason`` names.
    """

    work: Work | Literal["contract"] | None
    reason: str
    last: date | None

    @property
    def is_hold(self) -> bool:
        """Whether it is a hold: nothing at all is to be done there."""
        return self.work is None

    @property
    def is_contract(self) -> bool:
        """Whether only a contract's first day is waited for: earlier work is no harm to the ground, but to the pay."""
        return self.work == "contract"

    @property
    def words(self) -> str:
        """What the owner reads: what it is, until when, and why."""
        until = f" until {self.last}" if self.last else ", no end is written" if self.is_hold else ""
        begun = " has not begun" if self.is_contract else ""
        return f"{self.public_words}{until}" + (f": {self.reason}{begun}" if self.reason else "")

    @property
    def public_words(self) -> str:
        """What anybody may read."""
        if self.work == "contract":
            return PUBLIC_WAITING_WORDS
        return PUBLIC_HOLD_WORDS if self.work is None else f"closed to {_WORK_WORDS[self.work]}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Closures:
    """The holds and closed days of a property."""

    bans: Sequence[Ban]
    holds: Sequence[HeldUnit]

    def on(self, day: date, unit_id: str, *, work: Iterable[Work] = ()) -> Closure | None:
        """Return what keeps a unit from work on a day, holds before closed days, of several the one that lasts longest.

        Parameters
        ----------
        work
            Kinds of work whose closed days count; without any only holds do.
        """
        held = [
            Closure(work=None, reason=hold.reason, last=hold.last)
            for hold in self.holds
            if hold.unit_id == unit_id and hold.has(day)
        ]
        kinds = {_BAN_OF[one]: one for one in work}
        closed = [
            Closure(work=kinds[ban.what], reason=ban.reason, last=span[1])
            for ban in self.bans
            if ban.what in kinds and _is_of(ban, unit_id) and ban.has(day) and (span := ban.next_span(day)) is not None
        ]
        return max(held or closed, key=lambda one: one.last or date.max, default=None)

    def on_upkeep(self, day: date, unit_id: str) -> Closure | None:
        """Return what keeps a unit from upkeep, which is done with fire or without: a hold, or days closed to both."""
        to_cut, to_burn = (self.on(day, unit_id, work=(one,)) for one in _BAN_OF)
        return to_burn if to_cut else None

    def last_open_day(self, day: date, unit_id: str, *, work: Iterable[Work] = ()) -> date | None:
        """Return the last day before the next hold or closed days of a unit; ``None`` where none is written."""
        kinds = {_BAN_OF[one] for one in work}
        starts = [hold.first for hold in self.coming(day, unit_id) if hold.first is not None]
        for ban in self.bans:
            if ban.what in kinds and _is_of(ban, unit_id) and (span := ban.next_span(day)) is not None:
                starts += [span[0]] if span[0] > day else []
        return days_after(min(starts), -1) if starts else None

    def coming(self, day: date, unit_id: str) -> tuple[HeldUnit, ...]:
        """Return the holds of a unit that begin after a day."""
        return tuple(
            hold for hold in self.holds if hold.unit_id == unit_id and hold.first is not None and hold.first > day
        )


def _is_of(ban: Ban, unit_id: str) -> bool:
    return not ban.units or unit_id in ban.units


#: Things that the ground asks for with fire in them.
_BY_FIRE: Final[frozenset[What]] = frozenset({"drying", "piles"})
#: Things that must be done whatever is on hold (fire wakes in piles and dead trees for days), and the calendar's own.
_ALWAYS: Final[frozenset[What]] = frozenset({"hand_check", "snag_check", "hold", "closed_cut", "closed_burn"})


def with_closures(
    items: Iterable[DueItem], closures: Closures, *, on: date, is_public: bool = False
) -> tuple[DueItem, ...]:
    """Return due things with those on held or closed ground marked so: they stand there, and nothing asks for them.

    Their ``state`` becomes ``on hold`` or ``closed``, and ``words`` say until when and why; to the public neither.
    """
    return tuple(_marked(item, closures, on, is_public) for item in items)


def closure_of(item: DueItem, closures: Closures, *, on: date) -> Closure | None:
    """Return what keeps the one unit of a due thing from it on a day; nothing keeps anybody from looking after fire."""
    if item.unit_id is None or item.what in _ALWAYS:
        return None
    if item.what == "upkeep":
        return closures.on_upkeep(on, item.unit_id)
    return closures.on(on, item.unit_id, work=("burn",) if item.what in _BY_FIRE else ())


def _marked(item: DueItem, closures: Closures, on: date, is_public: bool) -> DueItem:
    if item.what == "contract" and item.unit_id is not None and item.state != "done":
        return _marked_contract(item, closures, on)
    found = None if item.state == "done" else closure_of(item, closures, on=on)
    if found is None:
        return item
    why = found.public_words if is_public else found.words
    words = f"{item.words}; {why}" if item.words else why
    return replace(item, state="on hold" if found.is_hold else "closed", words=words)


def _marked_contract(item: DueItem, closures: Closures, on: date) -> DueItem:
    """Say which of an item's units are on hold; only where all of them are does the item itself wait."""
    units = (item.unit_id or "").split(";")
    held = [f"{unit_id} {found.words}" for unit_id in units if (found := closures.on(on, unit_id)) is not None]
    words = "; ".join([item.words, *held])
    return (
        replace(item, words=words)
        if len(held) < len(units)
        else replace(item, state="on hold", words=words if item.state == "open" else f"{item.state}; {words}")
    )
