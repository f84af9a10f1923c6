"""The log as it counts today: corrections applied, contradictions named."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Final, Literal

from habmap.records import Entry
from habmap.vocabulary import PRACTICES
from habmap.work.succession import by_clock, in_order, standing

_DAY_ORDER: Final = {practice: place for place, practice in enumerate(PRACTICES)}


@dataclass(frozen=True, slots=True)
class Correction:
    """What became of one line of the log.

    Attributes
    ----------
    root
        The line as first written.
    amends, voids
        The rows that correct it, each after those it was made in sight of; the rows that withdraw it, one of its
        corrections, or such a withdrawal, by the clock. Rows that no longer count are among them.
    basis
        The rows that its content today rests on: the line, then each correction made upon the one before; the last says
        what counts. Empty when the line is withdrawn.
    rivals
        Corrections made apart that nobody has settled since, the one that counts last; empty where they are not two.
    withdrawn
        Ids of the rows (the line, corrections, withdrawals) that a counting row withdraws.
    content
        The line as it counts now, under the root's ``entry_id``; ``None`` when it is withdrawn.
    """

    root: Entry
    amends: tuple[Entry, ...]
    voids: tuple[Entry, ...]
    basis: tuple[Entry, ...]
    rivals: tuple[Entry, ...]
    withdrawn: frozenset[str]
    content: Entry | None

    @property
    def rows(self) -> tuple[Entry, ...]:
        """Every row that speaks of the line."""
        return (self.root, *self.amends, *self.voids)


@dataclass(frozen=True, slots=True)
class Conflict:
    """Rows that contradict each other, for a person to look at.

    ``kind`` is ``two_amendments``, ``amended_and_void`` (corrected apart from its withdrawal), ``withdrawn_below``
    (what counts was made upon a correction that was withdrawn apart from it), ``target_missing``, ``target_is_void``
    (an amending row names a voiding one) or ``circle``.
    """

    kind: Literal["two_amendments", "amended_and_void", "withdrawn_below", "target_missing", "target_is_void", "circle"]
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
    - A row that voids a line withdraws it, whatever corrections there are. One that voids a correction takes that away:
      the line stands as it did before. One that voids a voiding row brings back what that had withdrawn.
    - Of the corrections that count, one made in sight of others beats them, whatever the clocks said. Of those made
      apart the later (``recorded_at``, then ``entry_id``) counts (see `conflicts`).
    - Rows whose target is missing touch nothing.
    """
    by_id = {row.entry_id: row for row in rows}
    written = sorted(by_id.values(), key=by_clock)
    amends: dict[str, list[Entry]] = {row.entry_id: [] for row in written if row.action == "log"}
    voids: dict[str, list[Entry]] = {root: [] for root in amends}
    for row in written:
        root = root_of(row, by_id)
        if root is None or row.action == "log":
            continue
        (amends if row.action == "amend" else voids)[root.entry_id].append(row)
    withdrawn = _withdrawn(written)
    return tuple(_correction(by_id[root], amends[root], voids[root], withdrawn) for root in amends)


def line_numbers(rows: Iterable[Entry]) -> dict[str, int]:
    """Return the number that people call each logged line by, by ``entry_id``: 1, 2, 3 … in the order of recording.

    Lines of one moment, loaded from one file, are numbered in the order of the work as first written. A line keeps its
    number when it is corrected or withdrawn, for all rows stay. Two copies that are united number alike afterwards,
    whichever took the other's rows, but a line may then bear another number than before: rows written earlier elsewhere
    come before it. The ``entry_id`` never changes.
    """
    logged = sorted((row for row in rows if row.action == "log"), key=lambda row: (row.recorded_at, *day_order(row)))
    return {row.entry_id: number for number, row in enumerate(logged, 1)}


def line_number(row: Entry, rows: Iterable[Entry]) -> int | None:
    """Return the number of the line that a row of the log speaks of; ``None`` where its line is not there."""
    by_id = {one.entry_id: one for one in rows}
    root = root_of(row, by_id)
    return None if root is None else line_numbers(by_id.values()).get(root.entry_id)


def sight(line: Correction) -> tuple[str, ...]:
    """Return the ids of the rows that a new correction of a line is made in sight of: the latest, counting or not."""
    return tuple(sorted(row.entry_id for row in standing(line.amends, under=_made_upon(line.amends))))


def told_in_order(rows: Iterable[Entry]) -> tuple[Entry, ...]:
    """Return the rows of the log in the order in which they were written, none before what it was made in sight of.

    The clock tells the order but where it stood behind: then a row comes right after what it speaks of. Lines of one
    moment, loaded from one file, come in the order of the work.
    """
    rows = tuple(rows)
    moments = {row.entry_id: (row.recorded_at, 0) for row in rows}
    for line in corrections(rows):
        voids: dict[str, list[Entry]] = {}
        for row in line.voids:
            voids.setdefault(row.target or "", []).append(row)
        left = [line.root, *line.amends]
        while left:
            row = left.pop(0)
            below = [moments[name] for name in (row.target, *(row.supersedes or ())) if name in moments]
            behind = [(moment, depth + 1) for moment, depth in below if moment >= row.recorded_at]
            moments[row.entry_id] = max(behind, default=(row.recorded_at, 0))
            left += voids.pop(row.entry_id, [])
    return tuple(sorted(rows, key=lambda row: (*moments[row.entry_id], *day_order(row))))


def effective_entries(rows: Iterable[Entry]) -> tuple[Entry, ...]:
    """Return the lines that count now, in the order the work was done.

    A corrected line keeps the ``entry_id``, ``recorded_at`` and ``source_id`` of the line first written.
    """
    by_id = {row.entry_id: row for row in rows}
    roots = (root_of(row, by_id) for row in by_id.values() if row.action != "log")
    corrected = {root.entry_id for root in roots if root is not None}
    plain = [row for row in by_id.values() if row.action == "log" and row.entry_id not in corrected]
    others = (row for row in by_id.values() if row.action != "log" or row.entry_id in corrected)
    counting = (line.content for line in corrections(others))
    return tuple(sorted((*plain, *(entry for entry in counting if entry is not None)), key=day_order))


def root_of(row: Entry, by_id: Mapping[str, Entry]) -> Entry | None:
    """Return the logged line that a row speaks of; ``None`` when it leads nowhere or corrects a voiding row."""
    seen = {row.entry_id}
    while row.action != "log":
        target = by_id.get(row.target or "")
        if target is None or target.entry_id in seen or (row.action, target.action) == ("amend", "void"):
            return None
        seen.add(target.entry_id)
        row = target
    return row


def conflicts(rows: Iterable[Entry]) -> tuple[Conflict, ...]:
    """Return what contradicts itself in the log: it still counts as `corrections` says, but somebody should look."""
    by_id = {row.entry_id: row for row in rows}
    found: list[Conflict] = []
    for row in sorted(by_id.values(), key=by_clock):
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
        found += _line_conflicts(line)
    return tuple(found)


def _line_conflicts(line: Correction) -> list[Conflict]:
    root_id = line.root.entry_id
    if line.content is None:
        unseen = _unseen_by_voids(line)
        if not unseen:
            return []
        ids = (*(row.entry_id for row in unseen), *(row.entry_id for row in line.voids))
        words = f"line {root_id} was withdrawn by somebody who had not seen its correction {unseen[-1].entry_id}"
        return [Conflict("amended_and_void", root_id, ids, f"{words}; it stays withdrawn")]
    found = []
    if line.rivals:
        row_ids = tuple(row.entry_id for row in line.rivals)
        words = f"line {root_id} was corrected twice apart; the later correction by its clock, {row_ids[-1]}, counts"
        found.append(Conflict("two_amendments", root_id, row_ids, words))
    below = [row.entry_id for row in line.basis[:-1] if row.entry_id in line.withdrawn]
    if below:
        words = f"line {root_id} counts as {line.basis[-1].entry_id} has it, made upon {below[-1]}, which is withdrawn"
        found.append(Conflict("withdrawn_below", root_id, (*below, line.basis[-1].entry_id), words))
    return found


def _unseen_by_voids(line: Correction) -> list[Entry]:
    """Return the corrections that no row withdrawing the line was written in sight of."""
    upon = _made_upon(line.amends)
    unseen = [row for row in line.amends if row.entry_id not in line.withdrawn]
    for void in line.voids:
        if void.target != line.root.entry_id or void.entry_id in line.withdrawn:
            continue
        if void.supersedes is None:  # from before rows said it
            unseen = [row for row in unseen if row.recorded_at > void.recorded_at]
        else:
            known = set(void.supersedes).union(*(_all_below(name, upon) for name in void.supersedes))
            unseen = [row for row in unseen if row.entry_id not in known]
    return unseen


def _correction(root: Entry, amends: Sequence[Entry], voids: Sequence[Entry], withdrawn: frozenset[str]) -> Correction:
    upon = _made_upon(amends)
    counting = [row for row in amends if row.entry_id not in withdrawn]
    stands = standing(counting, under={row.entry_id: _all_below(row.entry_id, upon) for row in counting})
    last = stands[-1] if stands else root
    is_void = root.entry_id in withdrawn
    ids = {row.entry_id for row in (root, *amends, *voids)}
    return Correction(
        root=root,
        amends=in_order(amends, under=upon),
        voids=tuple(voids),
        basis=() if is_void else _basis(last, {row.entry_id: row for row in (root, *amends)}),
        rivals=stands if len(stands) > 1 and not is_void else (),
        withdrawn=withdrawn & ids,
        content=None if is_void else root if last is root else _amended(root, last),
    )


def _basis(row: Entry, by_id: Mapping[str, Entry]) -> tuple[Entry, ...]:
    found = [row]
    while row.action != "log":
        row = by_id[row.target or ""]
        found.append(row)
    return tuple(reversed(found))


def _made_upon(amends: Iterable[Entry]) -> dict[str, tuple[str, ...]]:
    """Return what each correction was made in sight of: the row that it names, and those it says it had seen."""
    return {row.entry_id: (*(row.supersedes or ()), row.target or "") for row in amends}


def _all_below(row_id: str, upon: Mapping[str, Collection[str]]) -> frozenset[str]:
    """Return all that a correction was made in sight of, and what those had been."""
    found: set[str] = set()
    left = list(upon.get(row_id, ()))
    while left:
        name = left.pop()
        if name not in found:
            found.add(name)
            left += upon.get(name, ())
    return frozenset(found)


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


def _withdrawn(written: Iterable[Entry]) -> frozenset[str]:
    """Return the ids of the rows that a counting row voids; a voiding row counts unless one that counts voids it."""
    voids = {row.entry_id: row.target or "" for row in written if row.action == "void"}
    undecided = Counter(voids.values())  # how many rows that void it are still to be looked at
    withdrawn: set[str] = set()
    ready = [void for void in voids if not undecided[void]]
    while ready:  # voids that void each other in a circle never are: no such circle lifts itself
        void = ready.pop()
        target = voids[void]
        if void not in withdrawn:
            withdrawn.add(target)
        undecided[target] -= 1
        if target in voids and not undecided[target]:
            ready.append(target)
    return frozenset(withdrawn)


def _goes_in_a_circle(row: Entry, by_id: Mapping[str, Entry]) -> bool:
    seen: set[str] = set()
    at: Entry | None = row
    while at is not None and at.action != "log":
        if at.entry_id in seen:
            return True
        seen.add(at.entry_id)
        at = by_id.get(at.target or "")
    return False
