"""The order of work as it is answered, and what the owner's own dates say of a unit in it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final, Protocol

from habmap.vocabulary import SAW_CAUTION
from habmap.work.closures import Closure, Closures
from habmap.work.priority import Ranked

#: How a hold that is still to come is told.
COMING_HOLD: Final = "on hold from"


class ContractLine(Protocol):
    """A line of a contract: for which units (none: all), and between which days."""

    @property
    def program(self) -> str: ...
    @property
    def item(self) -> str: ...
    @property
    def units(self) -> tuple[str, ...]: ...
    @property
    def not_before(self) -> date | None: ...
    @property
    def due(self) -> date | None: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class RankResult:
    """The order of work on a day, the weights behind it, and what was not known.

    Attributes
    ----------
    closed_on
        The day on which holds and closed days were asked about.
    next_unit_id
        The first unit of the order with ground to treat that is neither on hold nor closed to cutting; ``None`` where
        there is none.
    """

    on: date | None
    closed_on: date
    next_unit_id: str | None
    weights: Mapping[str, float]
    units: tuple[Ranked, ...]
    warnings: tuple[str, ...]
    cautions: tuple[str, ...] = (SAW_CAUTION,)


def owners_remarks(
    unit_id: str, closure: Closure | None, *, closures: Closures, contracts: Sequence[ContractLine], on: date
) -> tuple[str, ...]:
    """Return the holds, closed days and contract dates that are said with a unit."""
    words = [] if closure is None else [closure.words]
    words += [f"{COMING_HOLD} {hold.first}: {hold.reason}" for hold in closures.coming(on, unit_id)]
    for line in contracts:
        if unit_id in line.units or not line.units:
            if line.not_before is not None and on < line.not_before:
                words.append(f"contract {line.program} {line.item}: not before {line.not_before}")
            if line.due is not None:
                words.append(f"contract {line.program} {line.item}: due {line.due}")
    return tuple(words)
