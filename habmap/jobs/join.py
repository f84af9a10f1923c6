"""Unite another copy of this place with it: all rows of both, or nothing at all."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence, Set
from dataclasses import dataclass

from habmap.errors import InputError, InputErrors, printable
from habmap.jobs.history import described
from habmap.jobs.ports import Store
from habmap.land.neighbors import overlaps
from habmap.measures import acres
from habmap.place.settings_difference import SettingDifference, setting_differences
from habmap.records import (
    Boundary,
    BurnRecord,
    CanopySource,
    CoverFrame,
    DrawnBlock,
    ElevationSource,
    Entry,
    Feature,
    Forecast,
    Photo,
    Plot,
    Row,
    Sighting,
    Unit,
    key_of,
)
from habmap.work.ledger import conflicts, effective_entries
from habmap.work.log_history import HistoryLine
from habmap.work.twice import told_twice
from habmap.work.union import Clash, rival_units, union

KIND_WORDS = {
    Entry: "log line", Unit: "unit version", Feature: "feature", Boundary: "boundary", Plot: "plot",
    ElevationSource: "elevation source", CanopySource: "source of canopy heights", Forecast: "forecast",
    BurnRecord: "burn record", DrawnBlock: "drawn burn block", Photo: "photo",
    Sighting: "sighting", CoverFrame: "frame read for cover",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Added:
    """How many rows of each kind the other copy brought."""

    entries: int
    units: int
    features: int
    boundaries: int
    plots: int
    elevations: int
    canopies: int
    forecasts: int
    burns: int
    drawn_blocks: int
    photos: int
    sightings: int
    cover_frames: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldTwice:
    """Two lines that may tell one day's work, and the ground that both cover [acre]."""

    first: HistoryLine
    second: HistoryLine
    shared_acres: float


@dataclass(frozen=True, slots=True, kw_only=True)
class JoinResult:
    """What joining did.

    Attributes
    ----------
    added
        Rows that were new here.
    known
        Rows that both copies held already.
    entries_before, entries_after
        Lines of the log that count (withdrawn ones left out, corrected ones once).
    told_twice
        Lines of the two copies that may tell one day's work.
    settings_differ
        Keys of the two ``habmap.toml`` that differ; this copy's stay in force.
    warnings
        Corrections that contradict each other, which still count as the rules say, and what is not joined.
    """

    place_id: str
    added: Added
    known: int
    entries_before: int
    entries_after: int
    told_twice: tuple[ToldTwice, ...]
    settings_differ: tuple[SettingDifference, ...]
    warnings: tuple[str, ...]


def join(store: Store, other: Store) -> JoinResult:
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
            mend="join only copies of one property's folder; use `habmap load` for layers of another",
        )
    mine = store.rows()
    theirs = other.rows()
    compared = union(mine, theirs)
    if compared.clashes:
        raise InputErrors([_clash_fault(clash) for clash in compared.clashes], where="unite")
    together: tuple[Row, ...] = (*mine, *compared.news)
    if any(isinstance(row, Unit) for row in compared.news):
        faults = _unit_faults(store, other, together, {key_of(row) for row in compared.news})
        if faults:
            raise InputErrors(faults, where="unite")
    before = [row for row in mine if isinstance(row, Entry)]
    after = [row for row in together if isinstance(row, Entry)]
    absent = _absent_pictures(store, together)
    fresh = [row for row in compared.news if isinstance(row, Photo)]
    store.append_with_pictures(compared.news, _pictures_of(other, [*fresh, *absent]), is_copied=True)
    brought = Counter(type(row) for row in compared.news)
    return JoinResult(
        place_id=store.place_id,
        added=Added(
            entries=brought[Entry],
            units=brought[Unit],
            features=brought[Feature],
            boundaries=brought[Boundary],
            plots=brought[Plot],
            elevations=brought[ElevationSource],
            canopies=brought[CanopySource],
            forecasts=brought[Forecast],
            burns=brought[BurnRecord],
            drawn_blocks=brought[DrawnBlock],
            photos=brought[Photo],
            sightings=brought[Sighting],
            cover_frames=brought[CoverFrame],
        ),
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


def _absent_pictures(store: Store, rows: Sequence[Row]) -> list[Photo]:
    """Return the photos, news or not, whose picture this copy lacks."""
    return [row for row in rows if isinstance(row, Photo) and store.picture(row.picture) is None]


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
            f"{len(back)} {'picture that was' if len(back) == 1 else 'pictures that were'} missing here came from the "
            "other copy"
        )
    if gone:
        named = ", ".join(printable(name, longest=60) for name in gone[:5]) + ("…" if len(gone) > 5 else "")
        words.append(f"neither copy holds the picture of {named}; load the photo again with `habmap load photos`")
    return tuple(words)


def _clash_fault(clash: Clash) -> InputError:
    kind = KIND_WORDS[type(clash.mine)]
    return InputError(
        f"one {kind} has two contents",
        where=printable(key_of(clash.mine)),
        value="; ".join(one.beside for one in clash.differences),
        allowed="the same content in both copies",
        mend="rows are never rewritten: see which copy was changed by another program, and restore it",
    )


def _unit_faults(store: Store, other: Store, together: Sequence[Row], new_ids: Set[str]) -> list[InputError]:
    """List what the other copy's units would contradict; faults that this copy has by itself are not its doing."""
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
    grid = store.grid or other.grid
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
                mend="redraw one of them in its own copy (`habmap load units FILE --overwrite`), then join again",
            )
        )
    return faults


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
