"""When each version of a unit holds, worked out from the versions alone, so that united copies agree.

A version names those that it replaces and the first day on which it holds. One that names a version *and* all that
this one had replaced takes it back: the version in between never held, and the older one holds until the new one
begins. So a change is undone, and a change with a wrong day is given the right one, by adding versions.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Protocol

from habmap.records import Unit


class Version(Protocol):
    """What of a unit's version tells when it holds."""

    @property
    def uuid(self) -> str:
        """Id of the version."""

    @property
    def valid_from(self) -> date | None:
        """First day; ``None``: from the beginning."""

    @property
    def replaces(self) -> tuple[str, ...]:
        """Ids of the versions that it follows."""


@dataclass(frozen=True, slots=True)
class Held:
    """A version as it is stored; see `Version`."""

    uuid: str
    valid_from: date | None
    replaces: tuple[str, ...]


def taken_back(versions: Iterable[Version]) -> frozenset[str]:
    """Return the ids of versions that a later one took back: they never held."""
    by_id = {version.uuid: version for version in versions}
    return frozenset(
        name
        for later in by_id.values()
        for name in later.replaces
        if name in by_id and by_id[name].replaces and set(by_id[name].replaces) <= set(later.replaces)
    )


def ends(versions: Sequence[Version]) -> dict[str, date | None]:
    """Return the first day on which each version no longer holds, by id; ``None``: it still holds.

    Of several versions that follow one the earliest counts. A version that was taken back ends as it begins.
    """
    gone = taken_back(versions)
    found: dict[str, date | None] = {version.uuid: None for version in versions}
    for later in versions:
        for name in later.replaces:
            if later.uuid in gone or later.valid_from is None or name not in found:
                continue
            end = found[name]
            found[name] = later.valid_from if end is None else min(end, later.valid_from)
    for version in versions:
        if version.uuid in gone:
            found[version.uuid] = version.valid_from
    return found


def heirs(versions: Sequence[Unit]) -> dict[str, tuple[str, ...]]:
    """Return, by each ``unit_id`` that no unit carries now, the units that follow it and so have its ground.

    Versions that were taken back hand nothing on.
    """
    gone, by_id = taken_back(versions), {version.uuid: version for version in versions}
    present = sorted(
        (one for one in versions if one.valid_to is None and not one.is_retired), key=lambda one: one.unit_id
    )
    carried = {one.unit_id for one in present}
    found: dict[str, list[str]] = {}
    for unit in present:
        seen: set[str] = set()
        waiting = list(unit.replaces)
        while waiting:
            name = waiting.pop()
            if name in by_id and name not in gone and name not in seen:
                seen.add(name)
                waiting += by_id[name].replaces
        for former in sorted({by_id[name].unit_id for name in seen} - carried):
            found.setdefault(former, []).append(unit.unit_id)
    return {former: tuple(dict.fromkeys(units)) for former, units in found.items()}


def made_together(unit: Unit, versions: Iterable[Unit]) -> tuple[Unit, ...]:
    """Return the versions of one change: those written with a unit that follow one of the versions it follows."""
    together = [unit]
    others = [one for one in versions if one.recorded_at == unit.recorded_at and one.uuid != unit.uuid]
    shared = set(unit.replaces)
    while joining := [one for one in others if shared & set(one.replaces)]:
        together += joining
        shared |= {name for one in joining for name in one.replaces}
        others = [one for one in others if one not in joining]
    return tuple(together)
