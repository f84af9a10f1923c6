"""What must be so of burn records and of blocks drawn and named."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import shapely

from habmap.records import BurnRecord
from habmap.work.burns import burn_of, record_faults
from habmap.work.checks.looked_at import Found, LookedAt
from habmap.work.ledger import corrections


def burns(place: LookedAt) -> Iterator[Found]:
    """Yield burn records that belong to no row of the log, to the same one, or hold what cannot be."""
    records = place.held.all_of(BurnRecord)
    rows = {row.entry_id for row in place.rows}
    counting = {found.uuid for line in corrections(place.rows) if (found := burn_of(line, records)) is not None}
    counts = Counter(record.entry_id for record in records)
    for record in records:
        where, line = f"burn record {record.uuid}", record.entry_id
        if line not in rows:
            yield Found(where, f"its log line {line} is not in this log", "unite with the copy that holds the line")
        if counts[line] > 1:
            words = f"log line {line} has {counts[line]} burn records"
            yield Found(where, words, "see which copy was changed by another program, and restore it")
        for what in record_faults(record) if record.uuid in counting else ():
            yield Found(where, what, f"correct line {line} with `habmap correct`")
        if not place.can_read_plans(record.plans or {}):
            words = "the written plans kept with it cannot be read"
            yield Found(where, words, "restore the folder from a copy")


def blocks(place: LookedAt) -> Iterator[Found]:
    """Yield drawn blocks that cannot be used, or that are called like something else."""
    unit_ids = {unit.unit_id for unit in place.units}
    for block in {block.name: block for block in place.held.drawn_blocks()}.values():
        where = f"drawn block {block.name}"
        if block.geometry.is_empty or not block.geometry.is_valid:
            words = f"the outline is not usable: {shapely.is_valid_reason(block.geometry)}"
            yield Found(where, words, "draw it anew and save it with --overwrite", rule="burn")
        if block.name in unit_ids or block.name in place.blocks:
            other = "a unit" if block.name in unit_ids else "a block of habmap.toml"
            words = f"{other} is called so too, and is the one that is taken"
            yield Found(where, words, "save it again by another name", rule="burn")
