"""Save a burn block drawn in a file by a name of its own."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from habmap.jobs.ports import Store
from habmap.place.load.block import BlockSaved, bring_block


def load_block(store: Store, *, name: str, path: Path, **how: Any) -> BlockSaved:
    """Save a drawn burn block by name; ``how``, and what is refused, as in `bring_block`."""
    brought, saved = bring_block(store, name=name, path=path, **how)
    store.append(brought.fresh)
    return saved
