"""Applied acres for paperwork: ground counted once, and apart from it what cannot be claimed, each with its acres.

In practices that kill, an item's applied acres are the ground that was *first* brought to its unit's target inside the
item's dates: a pass over ground that is below target, or was there before, adds nothing. In other practices it is the
ground worked inside the dates, once.
"""

from __future__ import annotations

from calendar import isleap
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from habmap.records import Entry
from habmap.vocabulary import FIRE, KILLING, PRACTICE_WORDS
from habmap.work.seasons import HeldUnit
from habmap.work.stages import GroundState

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
        ``None`` without a rate; ground beyond the item's planned acres is not paid.
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
    first_date: date
    last_date: date
    method: str
    crew: str
    entry_ids: tuple[str, ...]
    remarks: tuple[str, ...]


_FORFEIT: Final = "work dated before it can forfeit payment"

#: Columns of worked ground that is not applied, each by its key without ``_acres``.
APART: Final = ("below_target", "treated_before", "too_early", "late", "on_hold", "elsewhere")


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemTotal:
    """Planned beside applied for one item over all its units; ``apart_acres`` by the keys of ``APART``."""

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


@dataclass(frozen=True, slots=True)
class _Found:
    """Where a piece of ground stands for an item: its column, and who claims it or the days on which it was held."""

    column: str
    claimed_by: str = ""
    held_on: tuple[date, ...] = ()


class _Claims:
    """Which item claims which work on which ground: one log line on one piece pays once under one code."""

    def __init__(self) -> None:
        self._by: dict[tuple[str, int, str], str] = {}

    def claim(self, code: str, piece: int, entry_ids: Collection[str], *, name: str) -> str | None:
        """Claim what is free; return who has all of it already, ``None`` where something was free."""
        free = [entry_id for entry_id in entry_ids if (code, piece, entry_id) not in self._by]
        owner = None if free else next(self._by[code, piece, entry_id] for entry_id in entry_ids)
        for entry_id in free:
            self._by[code, piece, entry_id] = name
        return owner


def killing_practices(code: str, codes: Mapping[str, str]) -> frozenset[str]:
    """Return the practices of a code that must bring ground to its target; none for burning, piling and the like."""
    practices = frozenset(practice for practice in KILLING if codes.get(practice) == code)
    return practices if practices - FIRE else frozenset()


def applied_lines(
    items: Sequence[Item],
    *,
    entries: Sequence[Entry],
    pieces: Sequence[WorkedPiece],
    units: Collection[str],
    codes: Mapping[str, str],
    span: Range,
    holds: Sequence[HeldUnit],
) -> tuple[tuple[AppliedLine, ...], tuple[ItemTotal, ...]]:
    """Return the lines and totals of a practice report.

    Parameters
    ----------
    entries, pieces
        Effective lines of the log up to the report's last day, and the ground of the units cut by them.
    units
        ``unit_id`` of every unit on the map.
    codes
        Practice → paperwork code.

    Notes
    -----
    Where two items claim the same work on the same ground under one code, the first has it and the other says so.
    """
    by_id = {entry.entry_id: entry for entry in entries}
    claims = _Claims()
    lines: list[AppliedLine] = []
    totals: list[ItemTotal] = []
    for item in items:
        paid_acres = 0.0
        of_item: list[AppliedLine] = []
        words = [
            f"unit {unit_id} is in the contract but not on the map" for unit_id in item.units if unit_id not in units
        ]
        report = _ItemReport(item, by_id, codes, span, holds, claims)
        for unit_id in item.units or tuple(units):
            here = [(number, piece) for number, piece in enumerate(pieces) if piece.unit_id == unit_id]
            line = report.line(unit_id, here, paid_acres=paid_acres)
            if line is not None:
                of_item.append(line)
                paid_acres += line.applied_acres
        lines += of_item
        totals.append(_total(item, of_item, words, span))
    return tuple(lines), tuple(totals)


@dataclass(frozen=True, slots=True)
class _ItemReport:
    item: Item
    by_id: Mapping[str, Entry]
    codes: Mapping[str, str]
    span: Range
    holds: Sequence[HeldUnit]
    claims: _Claims

    def line(self, unit_id: str, here: Sequence[tuple[int, WorkedPiece]], *, paid_acres: float) -> AppliedLine | None:
        """Add up the pieces of one unit; ``None`` where no work of the item's code lies on it within the report."""
        kills = killing_practices(self.item.practice_code, self.codes)
        acres: defaultdict[str, float] = defaultdict(float)
        remarks: dict[str, list[_Found]] = defaultdict(list)
        done: dict[str, Entry] = {}
        pass_acres = also_early_acres = 0.0
        for number, piece in here:
            own = [
                entry
                for entry_id in piece.entry_ids
                if self.codes.get((entry := self.by_id[entry_id]).practice) == self.item.practice_code
                and self.span.has(entry.date)
                and (not kills or entry.practice in kills)
            ]
            if not own or piece.acres <= 0:
                continue
            done |= {entry.entry_id: entry for entry in own}
            pass_acres += piece.acres * sum(self._is_inside(entry.date) for entry in own)
            found = self._killed(number, piece, own) if kills else self._worked(number, piece, own)
            acres[found.column] += piece.acres
            remarks[found.column].append(found)
            if found.column != "too_early" and any(self.item.is_early(entry.date) for entry in own):
                also_early_acres += piece.acres
        if not done:
            return None
        counted = [entry for entry in done.values() if self._is_inside(entry.date)] or list(done.values())
        counted.sort(key=lambda entry: (entry.date, entry.entry_id))
        item = self.item
        payable = acres["applied"]
        if item.planned_acres is not None:
            payable = min(payable, max(0.0, item.planned_acres - paid_acres))
        return AppliedLine(
            program=item.program,
            item=item.item,
            practice_code=item.practice_code,
            unit_id=unit_id,
            applied_acres=acres["applied"],
            **{f"{column}_acres": acres[column] for column in APART},
            pass_acres=pass_acres,
            payment=None if item.rate is None else item.rate * payable,
            first_date=counted[0].date,
            last_date=counted[-1].date,
            method=", ".join(dict.fromkeys(PRACTICE_WORDS[entry.practice] for entry in counted)),
            crew=", ".join(sorted({entry.who for entry in counted if entry.who})),
            entry_ids=tuple(entry.entry_id for entry in counted),
            remarks=(*self._remarks(unit_id, acres, remarks), *self._early_remarks(also_early_acres)),
        )

    def _is_inside(self, day: date) -> bool:
        return not self.item.is_early(day) and not self.item.is_late(day)

    def _is_held(self, unit_id: str, day: date) -> bool:
        return any(hold.unit_id == unit_id and hold.has(day) for hold in self.holds)

    def _killed(self, number: int, piece: WorkedPiece, own: Sequence[Entry]) -> _Found:
        """Sort ground by the one line that first brought it to its target."""
        first = piece.state.brought_to_target
        if first is None:
            return _Found("below_target")
        if first.entry_id not in {entry.entry_id for entry in own}:
            # another code's work, or work before the report's days: did this code's lines come first, and fall short?
            before = piece.entry_ids[: piece.entry_ids.index(first.entry_id)]
            return _Found("below_target" if any(entry.entry_id in before for entry in own) else "treated_before")
        if self.item.is_early(first.date):
            return _Found("too_early")
        if self.item.is_late(first.date):
            return _Found("late")
        if self._is_held(piece.unit_id, first.date):
            return _Found("on_hold", held_on=(first.date,))
        owner = self.claims.claim(self.item.practice_code, number, [first.entry_id], name=self.item.name)
        return _Found("applied") if owner is None else _Found("elsewhere", claimed_by=owner)

    def _worked(self, number: int, piece: WorkedPiece, own: Sequence[Entry]) -> _Found:
        """Sort ground by the lines that worked it."""
        inside = [entry for entry in own if self._is_inside(entry.date)]
        if not inside:
            return _Found("too_early" if any(self.item.is_early(entry.date) for entry in own) else "late")
        free = [entry.entry_id for entry in inside if not self._is_held(piece.unit_id, entry.date)]
        if not free:
            return _Found("on_hold", held_on=tuple(entry.date for entry in inside))
        owner = self.claims.claim(self.item.practice_code, number, free, name=self.item.name)
        return _Found("applied") if owner is None else _Found("elsewhere", claimed_by=owner)

    def _early_remarks(self, also_early_acres: float) -> Iterator[str]:
        """Say that ground told in other columns, counted or not, had work dated before the item began."""
        if also_early_acres > 0:
            yield f"{acres_words(also_early_acres)} had some work before {self.item.not_before}: {_FORFEIT}"

    def _remarks(
        self, unit_id: str, acres: Mapping[str, float], found: Mapping[str, Sequence[_Found]]
    ) -> Iterator[str]:
        """Say each kind of ground that is not counted, and why."""
        held_on = sorted({day for one in found.get("on_hold", ()) for day in one.held_on})
        reasons = {hold.reason for hold in self.holds if hold.unit_id == unit_id and any(map(hold.has, held_on))} - {""}
        owners = sorted({one.claimed_by for one in found.get("elsewhere", ())})
        words = {
            "below_target": "are below the unit's target share killed",
            "treated_before": "were at target already, by work before this report's days or under another code",
            "too_early": f"were worked before {self.item.not_before}: {_FORFEIT}",
            "late": f"were worked after the due date {self.item.due}",
            "on_hold": f"were worked on {', '.join(map(str, held_on))} although on hold"
            + (f": {', '.join(sorted(reasons))}" if reasons else ""),
            "elsewhere": f"are claimed by {', '.join(owners)} and counted there",
        }
        for column in APART:
            if acres.get(column, 0.0) > 0:
                yield f"{acres_words(acres[column])} {words[column]}; not counted here"


def acres_words(acres: float) -> str:
    """Return acres as a remark has them: to a tenth, and never 0.0 where there is some."""
    return f"{acres:.1f} acres" if acres >= FORM_ROUNDING_ACRES else f"under {FORM_ROUNDING_ACRES:g} acre"


def _total(item: Item, lines: Sequence[AppliedLine], words: Sequence[str], span: Range) -> ItemTotal:
    applied = sum(line.applied_acres for line in lines)
    over = None if item.planned_acres is None else applied - item.planned_acres
    short = None if over is None else max(0.0, -over)
    remarks = list(words)
    if short is not None and short >= FORM_ROUNDING_ACRES:
        remarks.append(f"{short:.1f} acres short of the plan within {span.first} to {span.last}")
    if over is not None and over >= FORM_ROUNDING_ACRES and item.rate is not None:
        remarks.append(f"{over:.1f} acres beyond the planned ones are not paid")
    return ItemTotal(
        program=item.program,
        item=item.item,
        practice_code=item.practice_code,
        planned_acres=item.planned_acres,
        applied_acres=applied,
        apart_acres={column: sum(getattr(line, f"{column}_acres") for line in lines) for column in APART},
        short_acres=short,
        not_before=item.not_before,
        due=item.due,
        rate=item.rate,
        payment=None if item.rate is None else sum(line.payment or 0.0 for line in lines),
        remarks=tuple(remarks),
    )
