"""A property read once: what several jobs work out of it for one answer is worked out once too.

Jobs take a store, and a snapshot is one. A job that carries `once` asked of a snapshot again, with the same arguments,
gives the record that it gave before; asked of any other store it works on a snapshot of its own, so that the jobs
which it calls in turn share one reading.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Hashable, Iterable, Sequence
from functools import wraps
from typing import Any, Concatenate, Final, ParamSpec, TypeVar, cast

from habmap.jobs.ports import Store
from habmap.place.contents import Contents
from habmap.records import Row

Rest = ParamSpec("Rest")
Answer = TypeVar("Answer")

#: Read each time: pictures are large, and the file itself is looked at as it is.
_NOT_KEPT: Final = frozenset({"picture", "storage_faults", "schema_version"})


class Snapshot:
    """A property as it was when it was first asked; a write through it drops what it kept.

    What a store reads, a snapshot reads once; ``worked_out`` holds what jobs made of it, by whatever tells it apart.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._held: Contents | None = None
        self._read: dict[Hashable, Any] = {}
        self.worked_out: dict[Hashable, Any] = {}

    def __getattr__(self, name: str) -> Any:
        """Return what the store gives; what it reads is kept."""
        if name.startswith("__"):
            raise AttributeError(name)
        if name in _NOT_KEPT:
            return getattr(self._store, name)
        if self._held is None:
            self._held = self._store.held()
        found = getattr(self._held, name)
        return self._keeping(found, name) if callable(found) else found

    def held(self) -> Contents:
        """Return itself: it holds what it read."""
        return cast("Store", self)

    def append(self, rows: Sequence[Row], *, is_copied: bool = False) -> None:
        """Write as the store does, and read anew after."""
        self._forget()
        self._store.append(rows, is_copied=is_copied)

    def append_with_pictures(
        self, rows: Sequence[Row], pictures: Iterable[tuple[str, bytes]], *, is_copied: bool = False
    ) -> None:
        """Write as the store does, and read anew after."""
        self._forget()
        self._store.append_with_pictures(rows, pictures, is_copied=is_copied)

    def _keeping(self, read: Callable[..., Any], name: str) -> Callable[..., Any]:
        def kept(*asked: Any) -> Any:
            key = (name, *asked)
            if key not in self._read:
                self._read[key] = read(*asked)
            return self._read[key]

        return kept

    def _forget(self) -> None:
        self._held = None
        self._read.clear()
        self.worked_out.clear()


def snapshot(store: Store) -> Store:
    """Return the store as a snapshot; one that is one already as it is."""
    return store if isinstance(store, Snapshot) else cast("Store", Snapshot(store))


def worked_out(store: Store) -> dict[Hashable, Any]:
    """Return what was worked out of a snapshot so far, to be added to; of any other store nothing is kept."""
    return store.worked_out if isinstance(store, Snapshot) else {}


def once(job: Callable[Concatenate[Store, Rest], Answer]) -> Callable[Concatenate[Store, Rest], Answer]:
    """Make a job answer from a snapshot, once for the same arguments; these must be hashable."""
    signature = inspect.signature(job)

    @wraps(job)
    def asked(store: Store, /, *args: Rest.args, **kwargs: Rest.kwargs) -> Answer:
        store = snapshot(store)
        bound = signature.bind(store, *args, **kwargs)
        bound.apply_defaults()
        _, *arguments = bound.arguments.items()
        key, kept = (job, *arguments), worked_out(store)
        if key not in kept:
            kept[key] = job(store, *args, **kwargs)
        return cast("Answer", kept[key])

    return asked
