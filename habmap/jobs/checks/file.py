"""What must be so of the place's file itself, where its store can tell."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Protocol, runtime_checkable

from habmap.jobs.checks.facts import Fault
from habmap.jobs.ports import Store


@runtime_checkable
class SelfChecking(Protocol):
    """A store that can tell what is wrong with its own file."""

    def storage_faults(self) -> list[str]:
        """Return faults of the file in words."""


def file_faults(store: Store) -> Iterator[Fault]:
    """Yield what the store finds wrong with its own file."""
    if isinstance(store, SelfChecking):
        for words in store.storage_faults():
            yield Fault(rule="file", where="place.gpkg", what=words, mend="restore the property's folder from a copy")
