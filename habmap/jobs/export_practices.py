"""Planned and applied acres per practice and contract item, for the agency's form."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from habmap.errors import InputError
from habmap.jobs.named_units import settings_of_now
from habmap.jobs.ports import Store
from habmap.jobs.public import public_view
from habmap.measures import acres
from habmap.place.closed_days import holds
from habmap.records import Entry
from habmap.vocabulary import PRACTICE_WORDS, PRACTICES
from habmap.work.ground import Ground, cut_ground
from habmap.work.ledger import effective_entries
from habmap.work.paperwork import (
    FORM_ROUNDING_ACRES,
    AppliedLine,
    Item,
    ItemTotal,
    Range,
    WorkedPiece,
    applied_lines,
    killing_practices,
    program_year,
)


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


def export_practices(
    store: Store,
    *,
    year: int | None = None,
    first: date | None = None,
    last: date | None = None,
    audience: Literal["owner", "public"] = "owner",
) -> PracticesResult:
    """Return applied acres within a program year, or from one day to another, or over all work.

    Units are taken as they are drawn now, and the share killed on their ground as of the report's last day.

    For the public without crew, rates, payments and the reasons of holds; contract items carry a number instead of
    their program.

    Raises
    ------
    InputError
        There is no work to report, or the range runs backwards.
    """
    if audience == "public":
        store = public_view(store)
    settings = settings_of_now(store)
    entries = [entry for entry in effective_entries(store.entries()) if entry.patch is not None]
    if not entries or store.grid is None:
        raise InputError("there is no work in the log to report", mend="add work with `habmap log` first")
    if year is not None:
        span = program_year(year, starts=settings.paperwork.program_year_starts)
    else:
        span = Range(
            first=first or min(entry.date for entry in entries), last=last or max(entry.date for entry in entries)
        )
    if span.last < span.first:
        raise InputError("the range of days runs backwards", value=f"{span.first} to {span.last}")
    codes = {practice: code for practice in PRACTICES if (code := settings.practice_code(practice))}
    contract = [
        Item(
            program=line.program,
            item=line.item,
            practice_code=line.practice_code,
            units=line.units,
            planned_acres=line.planned_acres,
            not_before=line.not_before,
            due=line.due,
            rate=line.rate,
        )
        for line in settings.contract
    ]
    is_public = audience == "public"
    if is_public:
        contract = [
            replace(line, program="", item=f"contract item {number}", rate=None)
            for number, line in enumerate(contract, 1)
        ]
    worked = [entry for entry in entries if span.has(entry.date)]
    used = sorted({codes[entry.practice] for entry in worked if entry.practice in codes})
    state = cut_ground(
        store.units(),
        tuple(e for e in entries if e.date <= span.last),
        grid=store.grid,
        limits=settings.stages,
        on=span.last,
    )
    units = [unit.unit_id for unit in state.units]
    lines, items = applied_lines(
        [*contract, *(item for code in used if (item := _beside(contract, code, units)))],
        entries=state.entries,
        pieces=[
            WorkedPiece(unit_id=piece.unit_id, acres=piece.acres, entry_ids=piece.entry_ids, state=piece.state)
            for piece in state.pieces
        ],
        units=units,
        codes=codes,
        span=span,
        holds=[replace(hold, reason="") if is_public else hold for hold in holds(settings)],
    )
    practice_acres, remarks = _worked_ground(state, worked, codes, used)
    return PracticesResult(
        place=settings.place.name,
        currency=settings.place.currency,
        from_date=span.first,
        to_date=span.last,
        practice_acres=practice_acres,
        lines=lines,
        items=tuple(
            item for item in items if item.program or item.item or any((item.applied_acres, *item.apart_acres.values()))
        ),
        remarks=tuple(remarks),
    )


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


def _beside(contract: list[Item], code: str, unit_ids: list[str]) -> Item | None:
    """Return what takes up a code's work on ground that no contract item names, so that none goes unreported."""
    named = [item for item in contract if item.practice_code == code]
    if not named:
        return Item(program="", item="", practice_code=code, units=())
    if any(not item.units for item in named):
        return None  # that item takes every unit
    left = tuple(unit_id for unit_id in unit_ids if all(unit_id not in item.units for item in named))
    return Item(program="", item="", practice_code=code, units=left) if left else None
