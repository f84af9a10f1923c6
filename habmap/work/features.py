"""Which rows of the features table count: of one thing on the map the last word, and none where it was withdrawn."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

from habmap.errors import InputError, printable
from habmap.records import Feature
from habmap.work.succession import by_clock, counting

#: Fewer characters than this of a row's id are too easily another's.
MIN_PREFIX: Final = 4


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


def named_feature(features: Sequence[Feature], name: str) -> Feature:
    """Return the one feature of a feature_id, a name, a row's id or the beginning of that.

    Raises
    ------
    InputError
        There is no such feature, or several are called so.
    """
    ways = (
        [one for one in features if one.feature_id == name or one.uuid == name],
        [one for one in features if name and one.name == name],
        [one for one in features if len(name) >= MIN_PREFIX and one.uuid.startswith(name.lower())],
    )
    found = next((way for way in ways if way), [])
    if len(found) == 1:
        return found[0]
    shown = ", ".join(f"{one.kind} {one.uuid[:8]}" for one in found)
    raise InputError(
        "several features are called so" if found else "there is no such feature",
        where="feature void",
        value=printable(name) or "blank",
        allowed=printable(shown, longest=400) or "a feature_id, a name, or the id of its row",
        mend="name one by its row's id; `habmap feature list` shows all",
    )
