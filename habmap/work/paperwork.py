"""Applied acres for paperwork: ground counted once, and apart from it what cannot be claimed, each with its acres.

In practices that kill, an item's applied acres are the ground that was *first* brought to its unit's target inside the
item's dates: a pass over ground that is below target, or was there before, adds nothing. In other practices it is the
ground worked inside the dates, once.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from habmap.records import Entry
from habmap.vocabulary import FIRE, KILLING, PRACTICE_WORDS
from habmap.work.paperwork_records import (
    APART,
    FORM_ROUNDING_ACRES,
    PAPER_DECIMALS,
    Applied,
    AppliedLine,
    Item,
    ItemGround,
    ItemTotal,
    Range,
    WorkedPiece,
    money,
)
from habmap.work.seasons import HeldUnit

#: Planned acres are written to a hundredth at most, and tenths are no binary numbers.
_HUNDREDTHS: Final = 2
_FORFEIT: Final = "work dated before it can forfeit payment"


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
) -> Applied:
    """Return the lines of a practice report, and each item's total and ground.

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
    ground: list[ItemGround] = []
    for item in items:
        paid = _Paid()
        of_item: list[AppliedLine] = []
        words = [
            f"unit {unit_id} is in the contract but not on the map" for unit_id in item.units if unit_id not in units
        ]
        columns: dict[int, str] = {}
        report = _ItemReport(item, by_id, codes, span, holds, claims, columns)
        for unit_id in item.units or tuple(units):
            here = [(number, piece) for number, piece in enumerate(pieces) if piece.unit_id == unit_id]
            line = report.line(unit_id, here, paid=paid)
            if line is not None:
                of_item.append(line)
                paid = _Paid(paid.acres + line.applied_acres, paid.paper_acres + line.paper_acres)
        lines += of_item
        total = _total(item, of_item, words, span)
        ground.append(ItemGround(item=item, total=total, lines=tuple(of_item), columns=columns))
    return Applied(lines=tuple(lines), ground=tuple(ground))


@dataclass(frozen=True, slots=True)
class _Paid:
    """What an item's lines so far have used of its planned acres, as measured and as it stands on paper [acre]."""

    acres: float = 0.0
    paper_acres: float = 0.0


@dataclass(frozen=True, slots=True)
class _ItemReport:
    item: Item
    by_id: Mapping[str, Entry]
    codes: Mapping[str, str]
    span: Range
    holds: Sequence[HeldUnit]
    claims: _Claims
    columns: dict[int, str]

    def line(self, unit_id: str, here: Sequence[tuple[int, WorkedPiece]], *, paid: _Paid) -> AppliedLine | None:
        """Add up the pieces of one unit, and note where each stands; ``None`` where no work of the item's code lies on
        it within the report.
        """
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
            self.columns[number] = found.column
            remarks[found.column].append(found)
            if found.column != "too_early" and any(self.item.is_early(entry.date) for entry in own):
                also_early_acres += piece.acres
        if not done:
            return None
        counted = [entry for entry in done.values() if self._is_inside(entry.date)] or list(done.values())
        counted.sort(key=lambda entry: (entry.date, entry.entry_id))
        item = self.item
        payable, on_paper = acres["applied"], round(acres["applied"], PAPER_DECIMALS)
        if item.planned_acres is not None:
            payable = min(payable, max(0.0, item.planned_acres - paid.acres))
            on_paper = min(on_paper, max(0.0, round(item.planned_acres - paid.paper_acres, _HUNDREDTHS)))
        return AppliedLine(
            program=item.program,
            item=item.item,
            practice_code=item.practice_code,
            unit_id=unit_id,
            applied_acres=acres["applied"],
            **{f"{column}_acres": acres[column] for column in APART},
            pass_acres=pass_acres,
            payment=None if item.rate is None else item.rate * payable,
            paper_acres=on_paper,
            paper_payment=None if item.rate is None else money(item.rate, on_paper),
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
            if acres[column] > 0:
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
    paper_acres = round(math.fsum(line.paper_acres for line in lines), _HUNDREDTHS)
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
        paper_acres=paper_acres,
        paper_payment=None if item.rate is None else money(item.rate, paper_acres),
        remarks=tuple(remarks),
    )
