"""Load the heavy libraries once, beside what else goes on, so that the first page need not wait for them."""

from __future__ import annotations

import threading
from importlib import import_module
from typing import Final

#: What rooms need; each brings its libraries along.
_MODULES: Final = (
    "habmap.place.store",
    "habmap.jobs.acres",
    "habmap.jobs.due",
    "habmap.jobs.rank",
    "habmap.jobs.log",
    "habmap.jobs.map",
)


class Warmth:
    """Whether the libraries are there; asked for once, they load in a thread of their own."""

    def __init__(self) -> None:
        self._done = threading.Event()
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None

    @property
    def is_warm(self) -> bool:
        """Whether everything is loaded."""
        return self._done.is_set()

    def begin(self) -> None:
        """Begin to load, where nobody did."""
        with self._lock:
            if self._thread is None:
                self._thread = threading.Thread(target=self._load, daemon=True)
                self._thread.start()

    def _load(self) -> None:
        for name in _MODULES:
            import_module(name)
        self._done.set()
