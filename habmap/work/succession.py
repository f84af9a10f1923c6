"""Which of several rows about one thing counts: the one written in sight of the others, whatever the clocks said.

A row names those that it stands in place of (``supersedes``). What nobody stands in place of is *standing*; of several
standing rows, which copies of a place wrote apart, the later by (``recorded_at``, id) counts, and `habmap check` says
so. Rows from before rows said this (``supersedes`` is ``None``) follow each other by the clock. All of it is worked out
from the set of rows alone, so the order in which copies are united does not matter.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Final, Protocol, TypeVar

from habmap.errors import InputError, printable
from habmap.records import Feature, Photo, Plot, key_of


class Successive(Protocol):
    """A row that may stand in place of others."""

    @property
    def recorded_at(self) -> datetime:
        """Moment of writing by the clock of the machine that wrote it."""

    @property
    def supersedes(self) -> tuple[str, ...] | None:
        """Ids of the rows that it was written in sight of."""


class Withdrawable(Successive, Protocol):
    """A row of a thing that can be withdrawn by a further row."""

    @property
    def is_void(self) -> bool:
        """Whether the row withdraws the thing."""


Kind = TypeVar("Kind", bound=Successive)
Thing = TypeVar("Thing", bound=Withdrawable)


def by_clock(row: Successive) -> tuple[datetime, str]:
    """Return the key that orders rows written apart: moment of writing, id."""
    return (row.recorded_at, key_of(row))


def standing(rows: Iterable[Kind], *, under: Mapping[str, Collection[str]] | None = None) -> tuple[Kind, ...]:
    """Return the rows that no other row stands in place of, the one that counts last.

    Parameters
    ----------
    rows
        Rows that speak of one thing.
    under
        What each stands in place of, by id, where that is known otherwise than from ``supersedes``.
    """
    by_id = {key_of(row): row for row in rows}
    below = _superseded(by_id.values()) if under is None else under
    gone = {name for row in by_id for name in below[row]}
    # Rows that name each other in a circle can only be another program's work; then all of them stand.
    found = [row for name, row in by_id.items() if name not in gone] or list(by_id.values())
    return tuple(sorted(found, key=by_clock))


def newest(rows: Iterable[Kind]) -> Kind | None:
    """Return the row that counts of those that speak of one thing; ``None`` where there is none."""
    found = standing(rows)
    return found[-1] if found else None


def counting(rows: Iterable[Thing]) -> Thing | None:
    """Return the row that counts of those that speak of one thing; ``None`` where it is withdrawn.

    Of rows that copies wrote apart a withdrawal beats a correction: what somebody took back counts again only when it
    is told anew in sight of that.
    """
    found = standing(rows)
    return None if not found or any(row.is_void for row in found) else found[-1]


def counting_plots(rows: Iterable[Plot]) -> tuple[Plot, ...]:
    """Return one row of each plot that is not withdrawn, oldest first."""
    by_plot: defaultdict[str, list[Plot]] = defaultdict(list)
    for row in rows:
        by_plot[row.plot_id].append(row)
    found = [counting(told) for told in by_plot.values()]
    return tuple(sorted((row for row in found if row is not None), key=by_clock))


def in_order(rows: Iterable[Kind], *, under: Mapping[str, Collection[str]] | None = None) -> tuple[Kind, ...]:
    """Return rows that speak of one thing, each after all that it stands in place of, the one that counts last."""
    left = {key_of(row): row for row in rows}
    below = _superseded(left.values()) if under is None else under
    told: list[Kind] = []
    while left:
        last = standing(left.values(), under=below)[-1]
        told.append(last)
        del left[key_of(last)]
    return tuple(reversed(told))


def in_sight(rows: Iterable[Kind]) -> tuple[str, ...]:
    """Return what a row written now stands in place of: all that stands, and all whose order only the clock tells."""
    rows = tuple(rows)
    ids = {key_of(row) for row in standing(rows)} | {key_of(row) for row in rows if row.supersedes is None}
    return tuple(sorted(ids))


def newest_photos(rows: Iterable[Photo]) -> tuple[Photo, ...]:
    """Return one row of each photo, in the order in which they were taken.

    Notes
    -----
    A photo's first row has an id made of what it says (UUID version 5): each copy of a place that loads the photo
    writes one, at its own moment. A row that tells a photo anew has an id of chance (version 4) and counts before any
    first row written apart from it. Whatever counts, a photo that any row calls private is private until a row written
    in sight of that one says otherwise: no clock opens it to the public.
    """
    by_photo: defaultdict[str, list[Photo]] = defaultdict(list)
    for row in rows:
        by_photo[row.sha256].append(replace(row, supersedes=()) if _is_first(row) else row)
    counting = [_photo(told) for told in by_photo.values()]
    return tuple(sorted(counting, key=lambda row: (row.taken_at, row.uuid)))


def _photo(rows: Sequence[Photo]) -> Photo:
    row = max(standing(rows), key=lambda one: (not _is_first(one), not _is_first(one) and one.recorded_at, one.uuid))
    answered = {name for one in rows for name in one.supersedes or ()}
    # of rows that name each other in a circle none is answered
    said = [one for one in rows if one.uuid not in answered] or rows
    return replace(row, is_private=any(one.is_private for one in said))


def _is_first(row: Photo) -> bool:
    return row.uuid[14:15] == "5"  # where an id's text shows its version (RFC 9562, 4.1)


def _superseded(rows: Iterable[Kind]) -> dict[str, tuple[str, ...]]:
    """Return what each row stands in place of, by id; of rows that do not say it the one before by the clock."""
    found: dict[str, tuple[str, ...]] = {}
    before: tuple[str, ...] = ()
    for row in sorted(rows, key=by_clock):
        if row.supersedes is None:
            found[key_of(row)] = before
            before = (key_of(row),)
        else:
            found[key_of(row)] = row.supersedes
    return found


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

    for row in by_id.values():
        for before in row.supersedes or ():
            if before in by_id:
                leader[head(row.uuid)] = head(before)
    families: defaultdict[str, list[Feature]] = defaultdict(list)
    for row in by_id.values():
        families[head(row.uuid)].append(row)
    found = []
    for family in families.values():
        told = standing(family)
        last = counting(told)
        if last is not None:
            found.append(replace(last, sensitive=any(row.sensitive for row in told)))
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
