"""Planned and applied acres per practice and contract item, for the agency's form."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from habmap.errors import InputError
from habmap.jobs.ports import Store
from habmap.jobs.public import public_view
from habmap.jobs.snapshot import once
from habmap.place.closed_days import contract_items, holds
from habmap.place.named_units import settings_of_now
from habmap.place.settings import Settings
from habmap.records import Entry
from habmap.vocabulary import PRACTICES, Audience
from habmap.work.ground import cut_ground
from habmap.work.ledger import effective_entries
from habmap.work.paperwork_records import Range, program_year, without_names
from habmap.work.practice_report import PracticesResult, Reported, practice_report
from habmap.work.seasons import ContractDate


def export_practices(
    store: Store,
    *,
    year: int | None = None,
    first: date | None = None,
    last: date | None = None,
    audience: Audience = "owner",
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
    return reported(store, year=year, first=first, last=last, audience=audience).result


@once
def reported(
    store: Store,
    *,
    year: int | None = None,
    first: date | None = None,
    last: date | None = None,
    audience: Audience = "owner",
) -> Reported:
    """Return what `export_practices` does, with the ground that it rests on."""
    store = public_view(store) if audience == "public" else store
    settings, is_public = settings_of_now(store), audience == "public"
    entries = _work(store)
    if not entries or store.grid is None:
        raise InputError(
            "there is no work in the log to report", mend="add work with `habmap log` first", where="the log"
        )
    days = [entry.date for entry in entries]
    span = Range(first=first or min(days), last=last or max(days))
    if year is not None:
        span = program_year(year, starts=settings.paperwork.program_year_starts)
    if span.last < span.first:
        raise InputError(
            "the range of days runs backwards",
            value=f"{span.first} to {span.last}",
            where="--from, --to",
            mend="give the earlier day first",
        )
    contract = without_names(contract_items(settings)) if is_public else contract_items(settings)
    done = tuple(entry for entry in entries if entry.date <= span.last)
    return practice_report(
        cut_ground(store.units(), done, grid=store.grid, limits=settings.stages, on=span.last),
        contract=contract,
        codes=practice_codes(settings),
        span=span,
        holds=[replace(hold, reason="") if is_public else hold for hold in holds(settings)],
        place=settings.place.name,
        currency=settings.place.currency,
    )


def _work(store: Store) -> list[Entry]:
    """Return the lines that count and have ground."""
    return [entry for entry in effective_entries(store.entries()) if entry.patch is not None]


def practice_codes(settings: Settings) -> dict[str, str]:
    """Return the paperwork code of every practice that has one."""
    return {practice: code for practice in PRACTICES if (code := settings.practice_code(practice))}


def contract_dates(store: Store, settings: Settings, on: date) -> Sequence[ContractDate]:
    """Return the contract items of the settings, in their order, with the acres applied up to a day."""
    applied: dict[tuple[str, str, str], float] = {}
    if settings.contract and _work(store) and store.grid is not None:
        for item in export_practices(store, first=date.min, last=on).items:
            applied[(item.program, item.item, item.practice_code)] = item.applied_acres
    codes = practice_codes(settings)
    return [
        ContractDate(
            item=item,
            applied_acres=applied.get((item.program, item.item, item.practice_code), 0.0),
            practices=frozenset(practice for practice, code in codes.items() if code == item.practice_code),
        )
        for item in contract_items(settings)
    ]
