"""Load log lines from a person's table or layer: all of it, or none."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from habmap.jobs.load.result import LoadResult, result_of
from habmap.jobs.ports import Store
from habmap.place.load.ledger import bring_entries


def load_entries(store: Store, *, path: Path, **how: Any) -> LoadResult:
    """Load log lines; ``how``, and what is refused, as in `bring_entries`. What is known already adds nothing."""
    brought = bring_entries(store, path=path, **how)
    store.append([*brought.fresh, *brought.burns])
    return result_of("entries", brought, acres=brought.acres)
