"""What must be so of ``habmap.toml`` beside the rows: the units it names are here."""

from __future__ import annotations

from collections.abc import Iterator

from habmap.jobs.checks.facts import Facts, Fault


def named_units(facts: Facts) -> Iterator[Fault]:
    """Yield what ``habmap.toml`` says of units that are not here."""
    known = {unit.unit_id for unit in facts.units}
    settings = facts.store.settings
    named = [(f"[[contract]] {item.program} {item.item}", unit) for item in settings.contract for unit in item.units]
    named += [(f"[[hold]] {hold.reason}", hold.unit) for hold in settings.hold]
    named += [(f"[[closed]] {days.reason}", unit) for days in settings.closed for unit in days.units]
    named += [(f"[[burn_for]] {rule.reason}", unit) for rule in settings.burn_for for unit in rule.units]
    for where, unit_id in named:
        if unit_id not in known:
            yield Fault(
                rule="settings",
                where=f"habmap.toml, {where}",
                what=f"it names the unit {unit_id!r}, which is not here",
                mend="correct the name there, or load the unit",
            )
