"""The log as it counts today: corrections applied, contradictions named."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Final, Literal

from habmap.vocabulary import PRACTICES
from habmap.work.records import Entry

_DAY_ORDER: Final = {practice: place for place, practice in enumerate(PRACTICES)}


@dataclass(frozen=True, slots=True)
class Correction:
    """What became of one line of the log.

    Attributes
    ----------
    root
        The line as first written.
    amends, voids
        The rows that correct or withdraw it, oldest first, an amending row that was itself corrected included.
    content
        The line as it counts now, under the root's ``entry_id``; ``None`` when it is withdrawn.
    """

    root: Entry
    amends: tuple[Entry, ...]
    voids: tuple[Entry, ...]
    content: Entry | None


@dataclass(frozen=True, slots=True)
class Conflict:
    """Rows that contradict each other, for a person to look at.

    ``kind`` is ``two_amendments``, ``amended_and_void``, ``target_missing``, ``target_is_void`` (an amending row names
    a voiding one) or ``circle``.
    """

    kind: Literal["two_amendments", "amended_and_void", "target_missing", "target_is_void", "circle"]
    entry_id: str
    row_ids: tuple[str, ...]
    words: str


def day_order(entry: Entry) -> tuple[date, int, datetime, str]:
    """Return the key that puts work in order: day, practice within the day, moment of writing, id."""
    return (entry.date, _DAY_ORDER.get(entry.practice, len(PRACTICES)), entry.recorded_at, entry.entry_id)


def corrections(rows: Iterable[Entry]) -> tuple[Correction, ...]:
    """Gather each logged line with the rows that correct it, in the order the lines were written.

    Notes
    -----
    A row that voids or amends an amending row speaks of the line at the root. A void beats every amendment. Of several
    amendments the later (``recorded_at``, then ``entry_id``) counts. A voiding row that is itself voided no longer
    counts. Rows whose target is missing touch nothing (see `conflicts`).
    """
    by_id = {row.entry_id: row for row in rows}
    written = sorted(by_id.values(), key=_written)
    amends: dict[str, list[Entry]] = {row.entry_id: [] for row in written if row.action == "log"}
    voids: dict[str, list[Entry]] = {root: [] for root in amends}
    for row in written:
        root = root_of(row, by_id)
        if root is None or row.action == "log":
            continue
        (amends if row.action == "amend" else voids)[root.entry_id].append(row)
    lifted = _lifted_voids(written, by_id)
    found = []
    for root_id, its_amends in amends.items():
        root = by_id[root_id]
        is_void = any(row.entry_id not in lifted for row in voids[root_id])
        content = None if is_void else _amended(root, its_amends[-1]) if its_amends else root
        found.append(Correction(root, tuple(its_amends), tuple(voids[root_id]), content))
    return tuple(found)


def effective_entries(rows: Iterable[Entry]) -> tuple[Entry, ...]:
    """Return the lines that count now, in the order the work was done.

    A corrected line keeps the ``entry_id``, ``recorded_at`` and ``source_id`` of the line first written.
    """
    counting = (line.content for line in corrections(rows))
    return tuple(sorted((entry for entry in counting if entry is not None), key=day_order))


def root_of(row: Entry, by_id: Mapping[str, Entry]) -> Entry | None:
    """Return the logged line that a row speaks of; ``None`` when it leads nowhere or to a voiding row."""
    seen = {row.entry_id}
    while row.action != "log":
        target = by_id.get(row.target or "")
        if target is None or target.entry_id in seen or target.action == "void":
            return None
        seen.add(target.entry_id)
        row = target
    return row


def conflicts(rows: Iterable[Entry]) -> tuple[Conflict, ...]:
    """Return what contradicts itself in the log: it still counts as `corrections` says, but somebody should look."""
    by_id = {row.entry_id: row for row in rows}
    found: list[Conflict] = []
    for row in sorted(by_id.values(), key=_written):
        if row.action == "log":
            continue
        target = by_id.get(row.target or "")
        if target is None:
            found.append(
                Conflict(
                    "target_missing",
                    row.target or "",
                    (row.entry_id,),
                    f"row {row.entry_id} corrects line {row.target}, which is not in this log",
                )
            )
        elif row.action == "amend" and target.action == "void":
            found.append(
                Conflict(
                    "target_is_void",
                    target.entry_id,
                    (row.entry_id,),
                    f"row {row.entry_id} amends {target.entry_id}, which only withdraws another line",
                )
            )
        elif _goes_in_a_circle(row, by_id):
            found.append(Conflict("circle", row.entry_id, (row.entry_id,), f"row {row.entry_id} leads back to itself"))
    for line in corrections(by_id.values()):
        root_id = line.root.entry_id
        row_ids = tuple(row.entry_id for row in line.amends)
        # An amendment that names the one before it was made in full sight of it; only rivals contradict.
        if len(row_ids) - len({row.target for row in line.amends}) > 0:
            found.append(
                Conflict(
                    "two_amendments",
                    root_id,
                    row_ids,
                    f"line {root_id} was corrected twice apart; the later correction, {row_ids[-1]}, counts",
                )
            )
        if line.amends and line.content is None and line.amends[-1].recorded_at > line.voids[0].recorded_at:
            found.append(
                Conflict(
                    "amended_and_void",
                    root_id,
                    (*row_ids, *(row.entry_id for row in line.voids)),
                    f"line {root_id} was corrected after it was withdrawn; it stays withdrawn",
                )
            )
    return tuple(found)


def _written(row: Entry) -> tuple[datetime, str]:
    return (row.recorded_at, row.entry_id)


def _amended(root: Entry, amend: Entry) -> Entry:
    return replace(
        amend,
        entry_id=root.entry_id,
        recorded_at=root.recorded_at,
        source_id=root.source_id,
        action="log",
        target=None,
        why=None,
    )


def _lifted_voids(written: Iterable[Entry], by_id: Mapping[str, Entry]) -> frozenset[str]:
    """Return the voiding rows that no longer count, because a counting row voids them."""
    voided_by: dict[str, list[Entry]] = {}
    for row in written:
        if row.action == "void" and row.target and row.target in by_id and by_id[row.target].action == "void":
            voided_by.setdefault(row.target, []).append(row)
    lifted: set[str] = set()

    def counts(row_id: str, above: frozenset[str]) -> bool:
        if row_id in above:
            return True  # a circle cannot lift itself
        return not any(counts(row.entry_id, above | {row_id}) for row in voided_by.get(row_id, ()))

    for row_id in voided_by:
        if not counts(row_id, frozenset()):
            lifted.add(row_id)
    return frozenset(lifted)


def _goes_in_a_circle(row: Entry, by_id: Mapping[str, Entry]) -> bool:
    seen: set[str] = set()
    at: Entry | None = row
    while at is not None and at.action != "log":
        if at.entry_id in seen:
            return True
        seen.add(at.entry_id)
        at = by_id.get(at.target or "")
    return False
