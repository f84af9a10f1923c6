"""The report for the form: every contract item's ground, the work that none names, and what no item can count."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from habmap.measures import acres
from habmap.records import Entry
from habmap.vocabulary import PRACTICE_WORDS
from habmap.work.ground import HAIR_M2, Ground
from habmap.work.paperwork import applied_lines, killing_practices
from habmap.work.paperwork_records import (
    FORM_ROUNDING_ACRES,
    AppliedLine,
    Item,
    ItemGround,
    ItemTotal,
    Range,
    WorkedPiece,
)
from habmap.work.seasons import HeldUnit


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticesResult:
    """The report, ready to be written; ``items`` without a program are work that no contract item names.

    ``practice_acres`` counts the ground in units once for each practice code, however many items name it [acre].
    """

    place: str
    currency: str
    from_date: date
    to_date: date
    practice_acres: float
    lines: tuple[AppliedLine, ...]
    items: tuple[ItemTotal, ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reported:
    """The report with what it rests on: the ground as of its last day, and where each item's pieces stand."""

    result: PracticesResult
    state: Ground
    ground: tuple[ItemGround, ...]


def practice_report(
    state: Ground,
    *,
    contract: Sequence[Item],
    codes: Mapping[str, str],
    span: Range,
    holds: Sequence[HeldUnit],
    place: str,
    currency: str,
) -> Reported:
    """Return planned and applied acres of every contract item, and of work under a code that none names.

    Parameters
    ----------
    state
        The ground as of the report's last day.
    codes
        Practice → paperwork code.
    """
    worked = [entry for entry in state.entries if span.has(entry.date)]
    used = sorted({codes[entry.practice] for entry in worked if entry.practice in codes})
    units = [unit.unit_id for unit in state.units]
    applied = applied_lines(
        [*contract, *(item for code in used if (item := _beside(contract, code, units)))],
        entries=state.entries,
        pieces=[
            WorkedPiece(
                unit_id=piece.unit_id,
                acres=0.0 if is_hair else piece.acres,
                entry_ids=piece.entry_ids,
                state=piece.state,
            )
            for piece, is_hair in zip(state.pieces, _hairs(state), strict=True)
        ],
        units=units,
        codes=codes,
        span=span,
        holds=holds,
    )
    practice_acres, remarks = _worked_ground(state, worked, codes, used)
    result = PracticesResult(
        place=place,
        currency=currency,
        from_date=span.first,
        to_date=span.last,
        practice_acres=practice_acres,
        lines=applied.lines,
        items=tuple(
            one.total
            for one in applied.ground
            if one.item.name or any((one.total.applied_acres, *one.total.apart_acres.values()))
        ),
        remarks=tuple(remarks),
    )
    return Reported(result=result, state=state, ground=applied.ground)


def _hairs(state: Ground) -> list[bool]:
    """Tell of each piece whether a line lies on it by a hair of its unit alone, all the rest of the line elsewhere.

    Two outlines of one edge, drawn or rounded apart, leave such pieces: they are no work in the neighbor's unit, and
    give it no dates, no lines and no remark.
    """
    in_unit: defaultdict[tuple[str, str], float] = defaultdict(float)
    in_all: defaultdict[str, float] = defaultdict(float)
    for piece in state.pieces:
        for entry_id in piece.entry_ids:
            in_unit[piece.unit_id, entry_id] += piece.area_m2
            in_all[entry_id] += piece.area_m2
    return [
        any(in_unit[piece.unit_id, one] < HAIR_M2 <= in_all[one] for one in piece.entry_ids) for piece in state.pieces
    ]


def _worked_ground(
    state: Ground, worked: Sequence[Entry], codes: Mapping[str, str], used: Sequence[str]
) -> tuple[float, list[str]]:
    """Return the ground in units worked under each code, once for each [acre], and what no item can count, in words."""
    remarks = []
    if without_code := sorted({entry.practice for entry in worked} - set(codes)):
        kinds = ", ".join(PRACTICE_WORDS[one] for one in without_code)
        remarks.append(f"work of the kind {kinds} has no practice code and is not in this report")
    practice_acres = 0.0
    for code in used:
        here = {entry.entry_id: entry.practice for entry in worked if codes.get(entry.practice) == code}
        overlays = [overlay for overlay in state.overlays if not here.keys().isdisjoint(overlay.entry_ids)]
        practice_acres += acres(math.fsum(overlay.area_m2 for overlay in overlays if overlay.unit_ids))
        outside_acres = acres(math.fsum(overlay.area_m2 for overlay in overlays if not overlay.unit_ids))
        if outside_acres >= FORM_ROUNDING_ACRES:
            remarks.append(
                f"{outside_acres:.1f} acres of {code} lie outside every unit as now drawn and are not in this report"
            )
        kills = killing_practices(code, codes)
        if kills and (others := sorted(set(here.values()) - kills)):
            remarks.append(
                f"ground {' or '.join(PRACTICE_WORDS[practice] for practice in others)} under {code} is not counted: "
                "that code counts ground brought to its target by killing cedars"
            )
    return practice_acres, remarks


def _beside(contract: Sequence[Item], code: str, unit_ids: Sequence[str]) -> Item | None:
    """Return what takes up a code's work on ground that no contract item names, so that none goes unreported."""
    named = [item for item in contract if item.practice_code == code]
    if not named:
        return Item(program="", item="", practice_code=code, units=())
    if any(not item.units for item in named):
        return None  # that item takes every unit
    left = tuple(unit_id for unit_id in unit_ids if all(unit_id not in item.units for item in named))
    return Item(program="", item="", practice_code=code, units=left) if left else None
