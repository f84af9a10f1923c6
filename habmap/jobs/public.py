"""A property as strangers may see it: every copy for the public is made from this, and from nothing else.

It is a store like the property's own, so that map, sheet, handout and exports need no rules about what is private: the
records carry nothing of it, and no figure differs from what is drawn.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from habmap.jobs.acres import acres
from habmap.jobs.ports import Store
from habmap.jobs.snapshot import Snapshot, once
from habmap.place.public_store import PublicStore, public_ground
from habmap.show.copy_words import copy_differs_words

if TYPE_CHECKING:
    from habmap.show.records import Page


def public_view(store: Store) -> Store:
    """Return the property as strangers may see it; what is asked of it that nobody decided about is refused."""
    return store if isinstance(store, _PublicSnapshot) else _seen_by_strangers(store)


@once
def _seen_by_strangers(store: Store) -> Store:
    return cast("Store", _PublicSnapshot(cast("Store", PublicStore(store))))


class _PublicSnapshot(Snapshot):
    """What strangers may see, read once."""


def veil_words(store: Store, page: Page) -> tuple[str, ...]:
    """Tell the owner what a copy for the public has otherwise than the account, and what it cannot hide."""
    if page.audience != "public":
        return ()
    shown = public_view(store).units(page.on)
    outlines = {unit.unit_id: unit.geometry for unit in shown}
    return copy_differs_words(
        acres(store, on=page.on).totals,
        page,
        filled=[unit.unit_id for unit in store.units(page.on) if outlines[unit.unit_id] != unit.geometry],
        telling=() if (ground := public_ground(store)) is None else ground.telling_units(shown),
    )
