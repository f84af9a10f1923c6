"""Two copies of a place's rows become one: a plain union, in which nobody's word is lost and none is overwritten."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from habmap.records import Difference, Row, Unit, differences, key_of


@dataclass(frozen=True, slots=True)
class Clash:
    """One id with two contents, and what they say differently."""

    mine: Row
    differences: tuple[Difference, ...]


@dataclass(frozen=True, slots=True)
class Union:
    """What the other copy holds that this one does not, what both hold, and what contradicts.

    Attributes
    ----------
    news
        Rows to add, in the other copy's order.
    known
        Number of rows that both hold.
    clashes
        Rows of one id with other content; where there are any, nothing should be added.
    """

    news: tuple[Row, ...]
    known: int
    clashes: tuple[Clash, ...]


def union(mine: Iterable[Row], theirs: Iterable[Row]) -> Union:
    """Compare the rows of two copies of one place.

    Notes
    -----
    The union of rows is commutative, associative and idempotent: rows are told apart by kind and id alone, and a row
    that both hold must say the same in both.
    """
    by_id = {_key(row): row for row in mine}
    news: dict[tuple[str, str], Row] = {}
    clashes: list[Clash] = []
    known = 0
    for row in theirs:
        key = _key(row)
        there = by_id.get(key) or news.get(key)
        if there is None:
            news[key] = row
            continue
        known += 1
        if told_apart := differences(there, row):
            clashes.append(Clash(there, told_apart))
    return Union(tuple(news.values()), known, tuple(clashes))


def rival_units(rows: Iterable[Row]) -> tuple[tuple[Unit, Unit], ...]:
    """Return pairs of unit versions that would both hold now though only one can.

    Two versions are rivals where they carry one label, or follow the same version without having been drawn together
    (the parts of one split share the moment they were recorded).
    """
    versions = sorted((row for row in rows if isinstance(row, Unit)), key=lambda unit: (unit.recorded_at, unit.uuid))
    followed = {uuid for unit in versions for uuid in unit.replaces}
    current = [unit for unit in versions if unit.uuid not in followed]
    found = []
    for i, one in enumerate(current):
        for other in current[i + 1 :]:
            is_split = one.recorded_at == other.recorded_at
            shares_past = bool(set(one.replaces) & set(other.replaces)) and not is_split
            if one.unit_id == other.unit_id or shares_past:
                found.append((one, other))
    return tuple(found)


def _key(row: Row) -> tuple[str, str]:
    return (type(row).__name__, key_of(row))
