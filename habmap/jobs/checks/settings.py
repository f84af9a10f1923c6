"""What must be so of ``habmap.toml`` beside the rows: the units it names are here."""

from __future__ import annotations

from collections.abc import Iterator

from habmap.jobs.checks.facts import Facts, Fault
from habmap.jobs.named_units import where_named
from habmap.work.versions import heirs


def named_units(facts: Facts) -> Iterator[Fault]:
    """Yield what ``habmap.toml`` says of units that are not here."""
    known, followed = {unit.unit_id for unit in facts.units}, heirs(facts.versions)
    for where, unit_id in where_named(facts.store.settings):
        if unit_id not in known:
            yield Fault(
                rule="settings",
                where=f"habmap.toml, {where}",
                what=f"it names the unit {unit_id!r}, which is not here"
                + (f"; it goes for {', '.join(followed[unit_id])} now" if unit_id in followed else ""),
                mend="correct the name there, or load the unit",
            )
