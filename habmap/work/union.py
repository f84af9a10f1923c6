"""Two copies of a place's rows become one: a plain union, in which nobody's word is lost and none is overwritten.

Two lines of one day, of two people or of two machines, that may well be the same work are told.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError, printable
from habmap.land.grid import LocalGrid
from habmap.land.neighbors import overlaps
from habmap.measures import acres
from habmap.records import KEPT, Difference, Entry, Row, Unit, differences, key_of
from habmap.vocabulary import EACH_OWN


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


def clash_fault(clash: Clash) -> InputError:
    """Return the fault of one id with two contents."""
    return InputError(
        f"one {KEPT[type(clash.mine)].noun} has two contents",
        where=printable(key_of(clash.mine)),
        value="; ".join(one.beside for one in clash.differences),
        allowed="the same content in both copies",
        mend="rows are never rewritten: see which copy was changed by another program, and restore it",
    )


def unit_faults(together: Sequence[Row], news: Sequence[Row], *, grid: LocalGrid | None) -> list[InputError]:
    """List what the other copy's units would contradict; faults that this copy has by itself are not its doing."""
    new_ids = {key_of(row) for row in news if isinstance(row, Unit)}
    if not new_ids:
        return []
    faults = [
        InputError(
            f"the copies hold two versions of unit {printable(one.unit_id)} that cannot both be"
            if one.unit_id == rival.unit_id
            else f"the copies redrew one unit as {printable(one.unit_id)} and as {printable(rival.unit_id)}",
            where=f"{one.uuid}, {rival.uuid}",
            value=f"recorded {one.recorded_at.isoformat()} and {rival.recorded_at.isoformat()}",
            allowed="one outline for each unit",
            mend="take a fresh copy of the place whose outline is right, and load the other's log into it: "
            "`habmap export ledger`, then `habmap load entries`",
        )
        for one, rival in rival_units(together)
        if {one.uuid, rival.uuid} & new_ids
    ]
    if faults or grid is None:
        return faults
    followed = {uuid for row in together if isinstance(row, Unit) for uuid in row.replaces}
    current = [row for row in together if isinstance(row, Unit) and row.uuid not in followed and not row.is_retired]
    for pair in overlaps([grid.to_grid(unit.geometry) for unit in current]):
        first, second = current[pair.first], current[pair.second]
        if not {first.uuid, second.uuid} & new_ids:
            continue
        faults.append(
            InputError(
                f"units {printable(first.unit_id)} and {printable(second.unit_id)} of the two copies overlap",
                where=f"{first.uuid}, {second.uuid}",
                value=f"{acres(pair.area_m2):.2f} acres",
                allowed="ground in one unit only",
                mend="redraw one of them in its own copy (`habmap load units FILE --overwrite`), then unite again",
            )
        )
    return faults


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


# --- one day told twice -------------------------------------------------------------------------------------


#: Days between two lines that may be one day's work: a day written the evening it was done, or the morning after.
NEAR_DAYS: Final = 1
#: Share of the smaller ground that the other must cover (no source).
MUCH_FRAC: Final = 0.5
#: Hours that differ by no more than this share are alike; then some common ground, or a unit both name, is enough.
HOURS_ALIKE_FRAC: Final = 0.1
#: Less common ground than this share of the smaller is a shared edge, not shared ground.
EDGE_FRAC: Final = 0.02


@dataclass(frozen=True, slots=True)
class Twins:
    """Two lines that may tell one day's work, by day and id, and the ground that both cover [m²]."""

    first: Entry
    second: Entry
    shared_m2: float


def told_twice(
    entries: Iterable[Entry],
    grounds: Mapping[str, BaseGeometry],
    *,
    only_mine: Collection[str],
    only_theirs: Collection[str],
) -> tuple[Twins, ...]:
    """Return lines of two copies of a log that may tell one day's work.

    Parameters
    ----------
    entries
        The lines that count once the copies are united.
    grounds
        Ground by ``entry_id``, planar [m].
    only_mine, only_theirs
        Ids of the lines that one copy alone held; only a line of each can be a pair, so that it does not matter which
        copy is whose.

    Notes
    -----
    A pair is of one practice, its days are `NEAR_DAYS` apart at most, and either the ground of the smaller lies for
    `MUCH_FRAC` or more in the other, or the person-hours are alike and some ground, or a unit named, is common.
    """
    there = [entry for entry in entries if entry.practice not in EACH_OWN and entry.entry_id in grounds]
    mine = [entry for entry in there if entry.entry_id in only_mine]
    theirs = [entry for entry in there if entry.entry_id in only_theirs]
    found = []
    for one in mine:
        for other in theirs:
            if one.practice != other.practice or abs((one.date - other.date).days) > NEAR_DAYS:
                continue
            ground, beside = grounds[one.entry_id], grounds[other.entry_id]
            shared_m2 = ground.intersection(beside).area
            shared_frac = shared_m2 / min(ground.area, beside.area)
            has_common = shared_frac > EDGE_FRAC or bool(set(one.unit_ids) & set(other.unit_ids))
            if shared_frac >= MUCH_FRAC or (has_common and _hours_alike(one, other)):
                first, second = sorted((one, other), key=lambda entry: (entry.date, entry.entry_id))
                found.append(Twins(first, second, shared_m2))
    return tuple(sorted(found, key=lambda pair: (pair.first.date, pair.first.entry_id, pair.second.entry_id)))


def _hours_alike(one: Entry, other: Entry) -> bool:
    if not one.person_hours or not other.person_hours:
        return False
    return abs(one.person_hours - other.person_hours) <= HOURS_ALIKE_FRAC * max(one.person_hours, other.person_hours)
