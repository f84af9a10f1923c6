"""Unite another copy of this place with it: all rows of both, or nothing at all."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from habmap.errors import InputError, InputErrors, printable
from habmap.jobs.history import described
from habmap.jobs.ports import Store
from habmap.measures import acres, so_many
from habmap.place.settings_file import SettingDifference, setting_differences
from habmap.records import KEPT, CanopySource, ElevationSource, Entry, Photo, Row, key_of
from habmap.work.ledger import conflicts, effective_entries
from habmap.work.log_history import HistoryLine
from habmap.work.union import clash_fault, told_twice, union, unit_faults


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldTwice:
    """Two lines that may tell one day's work, and the ground that both cover [acre]."""

    first: HistoryLine
    second: HistoryLine
    shared_acres: float


@dataclass(frozen=True, slots=True, kw_only=True)
class UniteResult:
    """What uniting did.

    Attributes
    ----------
    added
        Rows that were new here, by what they are.
    known
        Rows that both copies held already.
    entries_before, entries_after
        Lines of the log that count (withdrawn ones left out, corrected ones once).
    told_twice
        Lines of the two copies that may tell one day's work.
    settings_differ
        Keys of the two ``habmap.toml`` that differ; this copy's stay in force.
    warnings
        Corrections that contradict each other, which still count as the rules say, and what is not united.
    """

    place_id: str
    added: dict[str, int]
    known: int
    entries_before: int
    entries_after: int
    told_twice: tuple[ToldTwice, ...]
    settings_differ: tuple[SettingDifference, ...]
    warnings: tuple[str, ...]


def unite(store: Store, other: Store) -> UniteResult:
    """Add the rows of another copy of the same place to this one.

    Parameters
    ----------
    store, other
        Two copies of one place; the other is only read.

    Raises
    ------
    InputError
        They are not copies of one place; a row of one id has other content; or units would contradict each other.
        Every such fault is listed and nothing is added.
    """
    if store.place_id != other.place_id:
        raise InputError(
            "these are two different properties, not copies of one",
            where="OTHER",
            value=other.place_id,
            allowed=store.place_id,
            mend="unite only copies of one property's folder; use `habmap load` for layers of another",
        )
    mine, theirs = store.rows(), other.rows()
    compared = union(mine, theirs)
    together: tuple[Row, ...] = (*mine, *compared.news)
    grid = store.grid or other.grid
    faults = [clash_fault(clash) for clash in compared.clashes] or unit_faults(together, compared.news, grid=grid)
    if faults:
        raise InputErrors(faults, where="unite")
    before, after = ([row for row in rows if isinstance(row, Entry)] for rows in (mine, together))
    # photos, news or not, whose picture this copy lacks
    absent = [row for row in together if isinstance(row, Photo) and store.picture(row.picture) is None]
    fresh = [row for row in compared.news if isinstance(row, Photo)]
    store.append_with_pictures(compared.news, _pictures_of(other, [*fresh, *absent]), is_copied=True)
    brought = Counter(type(row) for row in compared.news)
    return UniteResult(
        place_id=store.place_id,
        added={kept.key: brought[record] for record, kept in KEPT.items()},
        known=compared.known,
        entries_before=len(effective_entries(before)),
        entries_after=len(effective_entries(after)),
        told_twice=_told_twice(store, mine, theirs, after),
        settings_differ=setting_differences(store.settings, other.settings),
        warnings=_warnings(store, other, after, compared.news) + _picture_words(store, absent, compared.news),
    )


def _told_twice(
    store: Store, mine: Sequence[Row], theirs: Sequence[Row], after: Sequence[Entry]
) -> tuple[ToldTwice, ...]:
    """Return the lines of the two copies that may tell one day's work; the store holds both by now."""
    grid = store.grid
    if grid is None:
        return ()
    ours, others = ({key_of(row) for row in rows if isinstance(row, Entry)} for rows in (mine, theirs))
    lines = effective_entries(after)
    grounds = {line.entry_id: grid.to_grid(line.patch) for line in lines if line.patch is not None}
    pairs = told_twice(lines, grounds, only_mine=ours - others, only_theirs=others - ours)
    found = []
    for pair in pairs:
        first, second = described((pair.first, pair.second), store)
        assert first is not None and second is not None  # both count
        found.append(ToldTwice(first=first, second=second, shared_acres=acres(pair.shared_m2)))
    return tuple(found)


def _pictures_of(other: Store, photos: Sequence[Photo]) -> Iterator[tuple[str, bytes]]:
    for photo in photos:
        picture = other.picture(photo.picture)
        if picture is not None:
            yield photo.picture, picture


def _picture_words(store: Store, absent: Sequence[Photo], news: Sequence[Row]) -> tuple[str, ...]:
    """Say which pictures of photos known before came back, and which neither copy holds."""
    words = []
    fresh = {row.uuid for row in news if isinstance(row, Photo)}
    gone = sorted({photo.file_name for photo in absent if store.picture(photo.picture) is None})
    back = {photo.file_name for photo in absent if photo.uuid not in fresh and photo.file_name not in gone}
    if back:
        words.append(
            f"{so_many(len(back), 'picture that was', 'pictures that were')} missing here came from the other copy"
        )
    if gone:
        named = ", ".join(printable(name, longest=60) for name in gone[:5]) + ("…" if len(gone) > 5 else "")
        words.append(f"neither copy holds the picture of {named}; load the photo again with `habmap load photos`")
    return tuple(words)


def _warnings(store: Store, other: Store, entries: Sequence[Entry], news: Sequence[Row]) -> tuple[str, ...]:
    words = [conflict.words for conflict in conflicts(entries)]
    if any(isinstance(row, ElevationSource) for row in news):
        words.append("the other copy names an elevation raster; copy the file itself too")
    if any(isinstance(row, CanopySource) for row in news):
        words.append("the other copy names a raster of canopy heights; copy the file itself too")
    here, there = store.grid, other.grid
    if here is not None and there is not None and here != there:
        words.append("the copies measured on two grids; this copy's stays, and acres may move in the sixth digit")
    return tuple(words)
