"""Ask before a change takes the ground away that other people's work rests on."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from habmap.errors import InputError
from habmap.jobs.ports import Store
from habmap.records import Entry
from habmap.work.dependents import dependent_lines


def ask_dependents(
    store: Store, rows: Sequence[Entry], then: Sequence[Entry], *, entry_id: str, agree: Callable[[str], bool]
) -> None:
    """Ask before other people's work loses the ground it rests on: see `habmap.work.dependents.dependent_lines`.

    Raises
    ------
    InputError
        Nobody agreed.
    """
    found = dependent_lines(
        rows, then, entry_id=entry_id, units=store.units(), grid=store.grid, limits=store.settings.stages
    )
    if not found:
        return
    told = "; ".join(one.words for one in found)
    question = f"other people's work rests on this: {told}; it would count for nothing there"
    if not agree(question):
        raise InputError(question, where="LINE", mend="talk to them, or confirm with --yes; nothing was written")
