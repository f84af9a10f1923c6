"""What ``habmap.toml`` says of units by name, read by the names of now: a hold outlives the splitting of its unit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from habmap.place.contents import Contents
from habmap.place.settings import Settings
from habmap.records import Unit
from habmap.work.versions import heirs


def settings_of_now(store: Contents) -> Settings:
    """Return the settings with each unit that is no more in holds, closed days, contracts, reasons to burn and
    shares to leave by its heirs: all units that now have some of its ground.

    A name that some unit carries now stands for that unit alone.
    """
    settings = store.settings
    now = heirs(store.unit_versions())
    if not now:
        return settings

    def by_heirs(names: Iterable[str]) -> tuple[str, ...]:
        return tuple(dict.fromkeys(one for name in names for one in now.get(name, (name,))))

    changed = {
        key: tuple(one.model_copy(update={"units": by_heirs(one.units)}) for one in getattr(settings, key))
        for key in ("closed", "burn_for", "contract")
    }
    holds = (hold.model_copy(update={"unit": one}) for hold in settings.hold for one in by_heirs([hold.unit]))
    named = settings.stages.unit  # days before the split still know the old name
    inherited = {one: own for name, own in named.items() for one in by_heirs([name])}
    stages = settings.stages.model_copy(update={"unit": inherited | named})
    return settings.model_copy(update={**changed, "hold": tuple(holds), "stages": stages})


def where_named(settings: Settings) -> Iterator[tuple[str, str]]:
    """Yield each block of ``habmap.toml`` that names a unit, in words, and that unit's name."""
    for item in settings.contract:
        yield from ((f"[[contract]] {item.program} {item.item}", unit) for unit in item.units)
    yield from ((f"[[hold]] {hold.reason}", hold.unit) for hold in settings.hold)
    for days in settings.closed:
        yield from ((f"[[closed]] {days.reason}", unit) for unit in days.units)
    yield from (("[stages] leave_pct", unit) for unit in settings.stages.unit)
    for rule in settings.burn_for:
        yield from ((f"[[burn_for]] {rule.reason}", unit) for unit in rule.units)


def renaming_notes(settings: Settings, old: Sequence[Unit], new: Sequence[Unit]) -> Iterator[str]:
    """Say which blocks of ``habmap.toml`` name units that a change takes away, or gives only a part of their ground."""
    names = [unit.unit_id for unit in new if not unit.is_retired]
    for unit in old:
        others = [name for name in names if name != unit.unit_id]
        where = ", ".join(dict.fromkeys(where for where, name in where_named(settings) if name == unit.unit_id))
        if not where or not others:
            continue
        if unit.unit_id in names:
            yield (
                f"habmap.toml names {unit.unit_id} in {where}: that does not go for {', '.join(others)}; "
                "name it there if it should"
            )
        else:
            yield (
                f"habmap.toml names {unit.unit_id} in {where}: that goes for all of {', '.join(others)} until you "
                "name other units there"
            )
