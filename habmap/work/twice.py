"""One day's work told twice: two lines of the log, of two people or of two machines, that may well be the same work."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from shapely.geometry.base import BaseGeometry

from habmap.records import Entry
from habmap.vocabulary import EACH_OWN

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
