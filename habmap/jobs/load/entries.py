"""Load log lines from a person's table or layer: all of it, or none."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from habmap.jobs.load.result import LoadResult, read_and_written, result_of
from habmap.jobs.ports import Store
from habmap.place.load.ledger import bring_entries
from habmap.progress import Progress


def load_entries(store: Store, *, path: Path, progress: Progress | None = None, **how: Any) -> LoadResult:
    """Load log lines; ``how``, and what is refused, as in `bring_entries`. What is known already adds nothing."""
    brought = read_and_written(
        store,
        lambda told: bring_entries(store, path=path, progress=told, **how),
        lambda new: [*new.fresh, *new.burns],
        progress=progress,
    )
    return result_of("entries", brought, acres=brought.acres)
