"""Which properties the desk may open: those named on the command line, and those that were made at it."""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
import threading
from collections.abc import Callable, Hashable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

from habmap.errors import PlaceError

if TYPE_CHECKING:
    from habmap.jobs.ports import Store

Answer = TypeVar("Answer")

#: The list of folders, in the desk's own folder.
_LIST: Final = "properties.json"
#: What tells that a property changed: its settings and its file, whose header counts every write (SQLite file format,
#: section 1.3.7: the file change counter).
_SETTINGS, _FILE = "habmap.toml", "place.gpkg"
_COUNTER: Final = slice(24, 28)


class Property:
    """One property that the desk has open; what was read and worked out of it is kept until it changes."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.key = hashlib.sha256(os.fsencode(folder)).hexdigest()[:10]
        self.lock = threading.RLock()
        self._stamp: Hashable = None
        self._store: Any = None
        self._kept: dict[Hashable, Any] = {}

    @property
    def is_there(self) -> bool:
        """Whether the folder is still a property's."""
        return (self.folder / _SETTINGS).is_file()

    @property
    def name(self) -> str:
        """What people call it, by its settings; where these cannot be read, the folder's name."""
        import tomllib

        try:
            found = tomllib.loads((self.folder / _SETTINGS).read_text(encoding="utf-8"))["place"]["name"]
        except (OSError, ValueError, KeyError, TypeError):
            return self.folder.name
        return str(found)

    def store(self) -> Any:
        """Return the property as it is now; what jobs worked out of it before still holds where nothing changed.

        Raises
        ------
        PlaceError
            The folder is no property, or its file cannot be opened.
        InputError
            Its settings have faults.
        """
        from habmap.jobs.snapshot import snapshot
        from habmap.place.store import GeoPackageStore

        with self.lock:
            stamp = self.stamp()
            if self._store is None or stamp != self._stamp:
                self._store = snapshot(GeoPackageStore.open(self.folder))
                self._stamp = stamp
                self._kept.clear()
            return self._store

    def kept(self, name: Hashable, make: Callable[[Store], Answer]) -> Answer:
        """Return what is made of the property as it is now; made once, until the property changes.

        Parameters
        ----------
        name
            What tells it from all else that is kept; a day belongs to it where the answer depends on one.
        """
        with self.lock:
            store = self.store()
            if name not in self._kept:
                self._kept[name] = make(store)
            answer: Answer = self._kept[name]
            return answer

    def stamp(self) -> Hashable:
        """Return what differs as soon as anybody wrote to the property or its settings."""
        seen: list[object] = []
        for name in (_SETTINGS, _FILE):
            path = self.folder / name
            try:
                status = path.stat()
                seen += [status.st_mtime_ns, status.st_size, status.st_ino]
                if name == _FILE:
                    with path.open("rb") as file:
                        seen.append(file.read(_COUNTER.stop)[_COUNTER])
            except OSError:
                seen.append(None)
        return tuple(seen)


class Known:
    """All properties that may be opened, kept in a file of the desk's own folder.

    Parameters
    ----------
    home
        The desk's own folder.
    made_in
        Where properties that are made at the desk get their folders.
    """

    def __init__(self, home: Path, made_in: Path) -> None:
        self._path = home / _LIST
        self.made_in = made_in
        self._lock = threading.Lock()
        self._open: dict[str, Property] = {}
        for folder in self._read():
            one = Property(folder)
            self._open[one.key] = one

    def all(self) -> tuple[Property, ...]:
        """Return those that are still there, the one opened last first."""
        return tuple(one for one in reversed(list(self._open.values())) if one.is_there)

    def brought(self) -> tuple[Property, ...]:
        """Return properties that somebody put beside those made at the desk and that were not opened yet, by name."""
        if not self.made_in.is_dir():
            return ()
        there = [Property(one.resolve()) for one in self.made_in.iterdir() if one.is_dir() and not one.is_symlink()]
        fresh = [one for one in there if one.is_there and one.key not in self._open]
        return tuple(sorted(fresh, key=lambda one: (one.name, one.key)))

    def of(self, key: str) -> Property | None:
        """Return the one of a key."""
        return self._open.get(key)

    def add(self, folder: Path) -> Property:
        """Let a folder be opened, from now on and at later starts.

        Raises
        ------
        PlaceError
            It is no property's.
        """
        one = Property(folder.resolve())
        if not one.is_there:
            raise PlaceError(
                "this folder is no property", where=str(folder), mend="name one that `habmap start` or the desk made"
            )
        with self._lock:
            one = self._open.pop(one.key, one)
            self._open[one.key] = one
            write_private(self._path, json.dumps([str(each.folder) for each in self._open.values()]))
        return one

    def _read(self) -> list[Path]:
        try:
            found = json.loads(self._path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return []
        return [Path(one) for one in found if isinstance(one, str)] if isinstance(found, list) else []


def write_private(path: Path, text: str) -> None:
    """Write a file that this user alone can read, whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    handle, draft = tempfile.mkstemp(dir=path.parent)  # mkstemp gives mode 600
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(text)
    Path(draft).replace(path)
