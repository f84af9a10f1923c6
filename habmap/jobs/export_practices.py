"""Planned and applied acres per practice and contract item, for the agency's form."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

import shapely

from habmap.errors import InputError
from habmap.jobs.ports import Store
from habmap.measures import acres
from habmap.vocabulary import PRACTICES
from habmap.work.ledger import effective_entries
from habmap.work.paperwork import (
    FORM_ROUNDING_ACRES,
    AppliedLine,
    Item,
    ItemTotal,
    Range,
    applied_lines,
    program_year,
)
from habmap.work.seasons import HeldUnit


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticesResult:
    """The report, ready to be written; ``items`` without a program are work that no contract item names.

    ``practice_acres`` counts the ground in units once for each practice code, however many items name it [acre].
    """

    place: str
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

    For the public without crew, rates, payments and the reasons of holds; contract items carry a number instead of
    their program.

    Raises
    ------
    InputError
        There is no work to report, or the range runs backwards.
    """
    settings = store.settings
    entries = [entry for entry in effective_entries(store.entries()) if entry.patch is not None]
    grid = store.grid
    if not entries or grid is None:
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
    used = sorted({codes[e.practice] for e in entries if e.practice in codes and span.has(e.date)})
    patches = {entry.entry_id: grid.to_grid(entry.patch) for entry in entries if entry.patch is not None}
    units = {unit.unit_id: grid.to_grid(unit.geometry) for unit in store.units()}
    lines, items = applied_lines(
        [*contract, *(item for code in used if (item := _beside(contract, code, list(units))))],
        entries=[replace(entry, who=None) for entry in entries] if is_public else entries,
        patches=patches,
        units=units,
        codes=codes,
        span=span,
        holds=[
            HeldUnit(unit_id=hold.unit, reason="" if is_public else hold.reason, first=hold.from_, last=hold.to)
            for hold in settings.hold
        ],
    )
    without_code = sorted({e.practice for e in entries if span.has(e.date)} - set(codes))
    remarks = [f"work of the kind {', '.join(without_code)} has no practice code and is not in this report"]
    if not without_code:
        remarks = []
    mapped = shapely.union_all(list(units.values()))
    practice_acres = 0.0
    for code in used:
        worked = shapely.union_all(
            [patches[e.entry_id] for e in entries if codes.get(e.practice) == code and span.has(e.date)]
        )
        practice_acres += acres(shapely.intersection(worked, mapped).area)
        outside_acres = acres(shapely.difference(worked, mapped).area)
        if outside_acres >= FORM_ROUNDING_ACRES:
            remarks.append(
                f"{outside_acres:.1f} acres of {code} lie outside every unit as now drawn and are not in this report"
            )
    return PracticesResult(
        place=settings.place.name,
        from_date=span.first,
        to_date=span.last,
        practice_acres=practice_acres,
        lines=lines,
        items=tuple(item for item in items if item.program or item.item or item.applied_acres > 0),
        remarks=tuple(remarks),
    )


def _beside(contract: list[Item], code: str, unit_ids: list[str]) -> Item | None:
    """Return what takes up a code's work on ground that no contract item names, so that none goes unreported."""
    named = [item for item in contract if item.practice_code == code]
    if not named:
        return Item(program="", item="", practice_code=code, units=())
    if any(not item.units for item in named):
        return None  # that item takes every unit
    left = tuple(unit_id for unit_id in unit_ids if all(unit_id not in item.units for item in named))
    return Item(program="", item="", practice_code=code, units=left) if left else None
