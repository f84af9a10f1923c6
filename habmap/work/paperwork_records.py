"""What a practice report is made of: days, contract items, worked ground, and the lines and totals of the form."""

from __future__ import annotations

from calendar import isleap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal
from typing import Final

from habmap.errors import InputError
from habmap.work.stages import GroundState

#: Acres below which a shortfall is the rounding of the form, not ground left undone [acre].
FORM_ROUNDING_ACRES: Final = 0.05
#: Decimals of acres on paper; what is paid is paid for the acres that stand there.
PAPER_DECIMALS: Final = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """A span of days, both ends included."""

    first: date
    last: date

    def has(self, day: date) -> bool:
        """Tell whether a day lies in the span."""
        return self.first <= day <= self.last


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One contract line, or one practice code where there is no contract (``program`` empty).

    ``units`` empty: all of them. ``rate`` is money per applied acre.
    """

    program: str
    item: str
    practice_code: str
    units: tuple[str, ...]
    planned_acres: float | None = None
    not_before: date | None = None
    due: date | None = None
    rate: float | None = None

    @property
    def name(self) -> str:
        """What people call it."""
        return f"{self.program} {self.item}".strip()

    def is_early(self, day: date) -> bool:
        """Tell whether work of a day lies before the item lets it begin."""
        return self.not_before is not None and day < self.not_before

    def is_late(self, day: date) -> bool:
        """Tell whether work of a day lies after the item's due date."""
        return self.due is not None and day > self.due


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkedPiece:
    """Ground of one unit under the same lines of the log; ``entry_ids`` in the order of work, ``state`` after them."""

    unit_id: str
    acres: float
    entry_ids: tuple[str, ...]
    state: GroundState


@dataclass(frozen=True, slots=True, kw_only=True)
class AppliedLine:
    """Acres of one item on one unit (horizontal acres); each piece of worked ground stands in one of the columns.

    Attributes
    ----------
    applied_acres
        What may be claimed: in killing practices first brought to its target inside the item's dates, in others worked
        inside them; once, and not while on hold.
    below_target_acres, treated_before_acres
        Worked ground whose share killed is below its unit's target; and that was at target already, by work before the
        report's days or of another practice code.
    too_early_acres, late_acres, on_hold_acres
        Brought to target (else: worked) before the item's first day, after its due date, and while on hold. A remark
        tells of ground in the other columns that had work before the first day too.
    elsewhere_acres
        Claimed by an item that comes first in ``habmap.toml``.
    pass_acres
        Plain sum of the item's log lines inside its dates on this unit, ground worked twice counted twice.
    payment
        The rate times the measured acres; ``None`` without a rate; ground beyond the item's planned acres is not paid.
    paper_acres, paper_payment
        What is paid for as it stands on paper: acres to a tenth, within the planned ones, and the rate times these, so
        that whoever multiplies the printed figures gets the printed sum.
    first_date, last_date, entry_ids
        The log lines inside the item's dates; where there are none, those of the report's days.
    """

    program: str
    item: str
    practice_code: str
    unit_id: str
    applied_acres: float
    below_target_acres: float
    treated_before_acres: float
    too_early_acres: float
    late_acres: float
    on_hold_acres: float
    elsewhere_acres: float
    pass_acres: float
    payment: float | None
    paper_acres: float
    paper_payment: float | None
    first_date: date
    last_date: date
    method: str
    crew: str
    entry_ids: tuple[str, ...]
    remarks: tuple[str, ...]


#: Columns of worked ground that is not applied, each by its key without ``_acres``.
APART: Final = ("below_target", "treated_before", "too_early", "late", "on_hold", "elsewhere")


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemTotal:
    """Planned beside applied for one item over all its units; ``apart_acres`` by the keys of ``APART``.

    ``paper_acres`` adds up what stands on paper in its lines; ``paper_payment`` is the rate times that.
    """

    program: str
    item: str
    practice_code: str
    planned_acres: float | None
    applied_acres: float
    apart_acres: Mapping[str, float]
    short_acres: float | None
    not_before: date | None
    due: date | None
    rate: float | None
    payment: float | None
    paper_acres: float
    paper_payment: float | None
    remarks: tuple[str, ...]


def money(rate: float, acres: float) -> float:
    """Return the rate times acres, to the cent as people reckon it on paper: half a cent goes up.

    Examples
    --------
    >>> money(400.05, 0.5)  # 200.025, which no binary number is
    200.03
    """
    product = Decimal(str(rate)) * Decimal(str(acres))
    return float(product.quantize(Decimal("0.01"), rounding=ROUND_HALF_UP))


def without_names(items: Sequence[Item]) -> list[Item]:
    """Return contract items as strangers may read them: a number for program and item, and no rate."""
    return [replace(one, program="", item=f"contract item {number}", rate=None) for number, one in enumerate(items, 1)]


def chosen_item(name: str, items: Sequence[Item]) -> int:
    """Return the place of the one contract item that is called so: by its item, or by program and item.

    Raises
    ------
    InputError
        None is, or several are.
    """
    found = [n for n, one in enumerate(items) if name.casefold() in (one.item.casefold(), one.name.casefold())]
    if len(found) != 1:
        raise InputError(
            "several contract items are called so" if found else "there is no such contract item",
            where="--item",
            value=name,
            allowed=", ".join(one.name for one in items) or None,
            mend="name program and item, as [[contract]] in habmap.toml has them",
        )
    return found[0]


def program_year(year: int, *, starts: str) -> Range:
    """Return the span of a program year named after the calendar year in which it ends.

    Parameters
    ----------
    starts
        First day as ``MM-DD``; ``10-01`` makes program year 2026 run from 2025-10-01 to 2026-09-30.
    """
    month, day = (int(part) for part in starts.split("-"))
    first_year = year if (month, day) == (1, 1) else year - 1
    return Range(first=_start(first_year, month, day), last=_start(first_year + 1, month, day) - timedelta(days=1))


def _start(year: int, month: int, day: int) -> date:
    # 29 February is 1 March in a common year: the span of the year before still ends on 28 February.
    is_leap_day = (month, day) == (2, 29)
    return date(year, 3, 1) if is_leap_day and not isleap(year) else date(year, month, day)


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemGround:
    """One item with its lines, and where each piece of worked ground stands: ``applied`` or a key of ``APART``."""

    item: Item
    total: ItemTotal
    lines: tuple[AppliedLine, ...]
    columns: Mapping[int, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Applied:
    """The lines of the form over all items, and each item with its ground in the order in which they were asked."""

    lines: tuple[AppliedLine, ...]
    ground: tuple[ItemGround, ...]
