"""Which rows of the features table count: of one thing on the map the last word, and none where it was withdrawn."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace

from habmap.records import Feature
from habmap.work.succession import by_clock, counting


def counting_features(rows: Iterable[Feature]) -> tuple[Feature, ...]:
    """Return the features that count, oldest first.

    Notes
    -----
    A row that corrects or withdraws others names them (``supersedes``). Of rows that no other names, written apart by
    two copies, a withdrawing one wins, else the later; and a thing that any of them calls sensitive is, until a row
    written in sight of that one says otherwise.
    """
    by_id = {row.uuid: row for row in rows}
    leader = {name: name for name in by_id}

    def head(name: str) -> str:
        while leader[name] != name:
            leader[name] = leader[leader[name]]
            name = leader[name]
        return name

    named = {before for row in by_id.values() for before in row.supersedes or () if before in by_id}
    for row in by_id.values():
        for before in row.supersedes or ():
            if before in by_id:
                leader[head(row.uuid)] = head(before)
    families: defaultdict[str, list[Feature]] = defaultdict(list)
    for row in by_id.values():
        families[head(row.uuid)].append(row)
    found = []
    for family in families.values():
        # A row that names none was told by itself, whatever the clock says.
        last = counting(replace(row, supersedes=row.supersedes or ()) for row in family)
        if last is not None:
            is_sensitive = any(row.sensitive for row in family if row.uuid not in named)
            found.append(
                replace(last, sensitive=last.sensitive or is_sensitive, supersedes=by_id[last.uuid].supersedes)
            )
    return tuple(sorted(found, key=by_clock))
