"""What must be so of burn records and of blocks drawn and named."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import shapely
from pydantic import ValidationError

from habmap.jobs.checks.facts import Facts, Fault
from habmap.jobs.ports import Store
from habmap.place.settings import PlanSection
from habmap.work.burns import burn_of, record_faults
from habmap.work.ledger import corrections


def burns(facts: Facts) -> Iterator[Fault]:
    """Yield what is wrong with burn records and drawn blocks."""
    yield from _records(facts.store)
    yield from _blocks(facts.store)


def _records(store: Store) -> Iterator[Fault]:
    """Yield burn records that belong to no row of the log, to the same one, or hold what cannot be."""
    entries, records = store.entries(), store.burns()
    rows = {row.entry_id for row in entries}
    counting = {found.uuid for line in corrections(entries) if (found := burn_of(line, records)) is not None}
    counts = Counter(record.entry_id for record in records)
    for record in records:
        where = f"burn record {record.uuid}"
        if record.entry_id not in rows:
            yield _fault(
                where, f"its log line {record.entry_id} is not in this log", "join the copy that holds the line"
            )
        if counts[record.entry_id] > 1:
            yield _fault(
                where,
                f"log line {record.entry_id} has {counts[record.entry_id]} burn records",
                "see which copy was changed by another program, and restore it",
            )
        for what in record_faults(record) if record.uuid in counting else ():
            yield _fault(where, what, f"correct line {record.entry_id} with `habmap correct`")
        try:
            PlanSection.model_validate(record.plans or {})
        except ValidationError:
            yield _fault(where, "the written plans kept with it cannot be read", "restore the folder from a copy")


def _blocks(store: Store) -> Iterator[Fault]:
    """Yield drawn blocks that cannot be used, or that are called like something else."""
    unit_ids = {unit.unit_id for unit in store.units()}
    for block in {block.name: block for block in store.drawn_blocks()}.values():
        where = f"drawn block {block.name}"
        if block.geometry.is_empty or not block.geometry.is_valid:
            yield _fault(
                where,
                f"the outline is not usable: {shapely.is_valid_reason(block.geometry)}",
                "draw it anew and save it with --overwrite",
            )
        if block.name in unit_ids or block.name in store.settings.burn.blocks:
            other = "a unit" if block.name in unit_ids else "a block of habmap.toml"
            yield _fault(
                where, f"{other} is called so too, and is the one that is taken", "save it again by another name"
            )


def _fault(where: str, what: str, mend: str) -> Fault:
    return Fault(rule="burn", where=where, what=what, mend=mend)
