"""Applied acres for paperwork: ground counted once per practice within a range, and what must be pointed out."""

from __future__ import annotations

from calendar import isleap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import shapely
from shapely.geometry.base import BaseGeometry

from habmap.measures import acres
from habmap.vocabulary import PRACTICE_WORDS
from habmap.work.records import Entry
from habmap.work.seasons import HeldUnit

#: Acres below which a shortfall is the rounding of the form, not ground left undone [acre].
FORM_ROUNDING_ACRES = 0.05


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
    """One contract line, or one practice code where there is no contract (``program`` empty)."""

    program: str
    item: str
    practice_code: str
    units: tuple[str, ...]
    planned_acres: float | None = None
    not_before: date | None = None
    due: date | None = None
    rate: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class AppliedLine:
    """Acres of one item on one unit (horizontal acres, ground counted once within the range)."""

    program: str
    item: str
    practice_code: str
    unit_id: str
    applied_acres: float
    pass_acres: float
    first_date: date
    last_date: date
    method: str
    crew: str
    entry_ids: tuple[str, ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemTotal:
    """Planned beside applied for one item over all its units."""

    program: str
    item: str
    practice_code: str
    planned_acres: float | None
    applied_acres: float
    short_acres: float | None
    not_before: date | None
    due: date | None
    rate: float | None
    payment: float | None
    remarks: tuple[str, ...]


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


def applied_lines(
    items: Sequence[Item],
    *,
    entries: Sequence[Entry],
    patches: Mapping[str, BaseGeometry],
    units: Mapping[str, BaseGeometry],
    codes: Mapping[str, str],
    span: Range,
    holds: Sequence[HeldUnit],
) -> tuple[tuple[AppliedLine, ...], tuple[ItemTotal, ...]]:
    """Return the lines and totals of a practice report.

    Parameters
    ----------
    patches, units
        Ground of each entry by ``entry_id`` and of each unit by ``unit_id``, in equal-area grid metres.
    codes
        Practice → paperwork code.

    Notes
    -----
    Work dated before an item's ``not_before`` is left out of its applied acres and pointed out: work before approval
    can forfeit payment. Work on a hold is counted and pointed out. Ground is counted once per item within the span.
    """
    lines: list[AppliedLine] = []
    totals: list[ItemTotal] = []
    for item in items:
        own = [entry for entry in entries if codes.get(entry.practice) == item.practice_code and span.has(entry.date)]
        of_item: list[AppliedLine] = []
        early_words: list[str] = []
        for unit_id in item.units or tuple(units):
            if unit_id not in units:
                early_words.append(f"unit {unit_id} is in the contract but not on the map")
                continue
            here = [
                (entry, part)
                for entry in own
                if entry.entry_id in patches
                and (part := shapely.intersection(patches[entry.entry_id], units[unit_id])).area > 0
            ]
            early = [(e, part) for e, part in here if item.not_before is not None and e.date < item.not_before]
            counted = [pair for pair in here if pair not in early]
            if early:
                early_words.append(
                    f"{acres(shapely.union_all([part for _, part in early]).area):.1f} acres on {unit_id} are dated "
                    f"before {item.not_before} and not counted"
                )
            if counted:
                of_item.append(_line(item, unit_id, counted, holds))
        lines += of_item
        totals.append(_total(item, of_item, early_words, span))
    return tuple(lines), tuple(totals)


def _line(
    item: Item, unit_id: str, counted: Sequence[tuple[Entry, BaseGeometry]], holds: Sequence[HeldUnit]
) -> AppliedLine:
    done = [entry for entry, _ in counted]
    held = sorted(
        {
            f"worked on {entry.date} although held" + (f": {hold.reason}" if hold.reason else "")
            for entry in done
            for hold in holds
            if hold.unit_id == unit_id and hold.has(entry.date)
        }
    )
    return AppliedLine(
        program=item.program,
        item=item.item,
        practice_code=item.practice_code,
        unit_id=unit_id,
        applied_acres=acres(shapely.union_all([part for _, part in counted]).area),
        pass_acres=acres(sum(part.area for _, part in counted)),
        first_date=min(entry.date for entry in done),
        last_date=max(entry.date for entry in done),
        method=", ".join(dict.fromkeys(PRACTICE_WORDS[entry.practice] for entry in done)),
        crew=", ".join(sorted({entry.who for entry in done if entry.who})),
        entry_ids=tuple(entry.entry_id for entry in done),
        remarks=tuple(held),
    )


def _total(item: Item, lines: Sequence[AppliedLine], early_words: Sequence[str], span: Range) -> ItemTotal:
    applied = sum(line.applied_acres for line in lines)
    short = None if item.planned_acres is None else max(0.0, item.planned_acres - applied)
    remarks = list(early_words)
    if short is not None and short >= FORM_ROUNDING_ACRES:
        remarks.append(f"{short:.1f} acres short of the plan within {span.first} to {span.last}")
    late = [line for line in lines if item.due is not None and line.last_date > item.due]
    remarks += [f"work on {line.unit_id} is dated after the due date {item.due}" for line in late]
    return ItemTotal(
        program=item.program,
        item=item.item,
        practice_code=item.practice_code,
        planned_acres=item.planned_acres,
        applied_acres=applied,
        short_acres=short,
        not_before=item.not_before,
        due=item.due,
        rate=item.rate,
        payment=None if item.rate is None else item.rate * min(applied, item.planned_acres or applied),
        remarks=tuple(remarks),
    )
