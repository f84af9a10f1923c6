"""Work that takes long: a command of habmap in a process of its own, so that no page waits and it can be canceled.

The papers of the desk are the files that the commands write, and what is loaded is loaded by them: nothing can differ.
A canceled one leaves what it had not finished: files appear whole or not at all, rows are written in one transaction.
"""

from __future__ import annotations

import contextlib
import json
import secrets
import shutil
import subprocess
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from habmap.desk.program import COMMAND
from habmap.errors import HabmapError, InputError, InputErrors

#: Of more works than these the oldest that are over are let go.
_MOST: Final = 100
#: A paper of a crowded property takes minutes on an old machine; more is taken for stuck [s].
_LONGEST_S: Final = 3600.0


@dataclass(slots=True, kw_only=True)
class Work:
    """One run of a command for a page that waits for it.

    Attributes
    ----------
    place, title, room
        The property's key, what people read, and the room that it was asked for in.
    files
        What it writes, to be fetched by name.
    answer
        What the command printed: the record of its JSON, or a text.
    error
        What went wrong, in the command's words.
    brought
        Folders of what was brought for it, put away when it is over: elevation is large.
    """

    key: str
    place: str
    title: str
    room: str
    files: dict[str, Path]
    process: subprocess.Popen[str]
    began: float = field(default_factory=time.monotonic)
    ended: float | None = None
    answer: Any = None
    error: HabmapError | None = None
    is_cancelled: bool = False
    brought: Sequence[Path] = ()

    @property
    def is_over(self) -> bool:
        """Whether there is nothing to wait for any more."""
        return self.ended is not None

    @property
    def took_s(self) -> float:
        """How long it has been at work [s]."""
        return (time.monotonic() if self.ended is None else self.ended) - self.began

    def cancel(self) -> None:
        """Stop it; what it did not finish is not there."""
        if not self.is_over:
            self.is_cancelled = True
            self.process.terminate()


class Works:
    """All long works of one run of the desk."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._known: dict[str, Work] = {}

    def begin(
        self,
        arguments: Sequence[str],
        *,
        folder: Path,
        place: str,
        title: str,
        room: str,
        files: dict[str, Path],
        brought: Sequence[Path] = (),
    ) -> Work:
        """Start a command on a property's folder and return at once.

        Parameters
        ----------
        arguments
            The command and its options, with which it prints JSON where it can.
        files, brought
            What it writes, by the name that people get it under; folders to be put away after it.
        """
        process = subprocess.Popen(
            [*COMMAND, "--place", str(folder), *arguments],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            encoding="utf-8",
            errors="replace",
            creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),  # Windows would open one
        )
        work = Work(
            key=secrets.token_urlsafe(12),
            place=place,
            title=title,
            room=room,
            files=files,
            process=process,
            brought=brought,
        )
        with self._lock:
            self._known[work.key] = work
            over = [key for key, one in self._known.items() if one.is_over]
            for key in over[: max(0, len(self._known) - _MOST)]:
                del self._known[key]
        threading.Thread(target=_follow, args=(work,), daemon=True).start()
        return work

    def find(self, key: str, place: str) -> Work | None:
        """Return a work of a property."""
        work = self._known.get(key)
        return work if work is not None and work.place == place else None

    def is_busy(self) -> bool:
        """Tell whether any is still going on."""
        return any(not work.is_over for work in list(self._known.values()))

    def close(self) -> None:
        """Stop all that still goes on."""
        for work in list(self._known.values()):
            work.cancel()


def _follow(work: Work) -> None:
    """Wait for the command and read what it printed."""
    try:
        out, err = work.process.communicate(timeout=_LONGEST_S)
    except subprocess.TimeoutExpired:
        work.process.kill()
        out, err = work.process.communicate()
    answer: Any = out.strip()
    with contextlib.suppress(ValueError):
        answer = json.loads(out)
    # `check` ends with 1 where it found faults, and says them; all else that is not 0 is an error
    if work.process.returncode not in (0, 1) or (isinstance(answer, dict) and _is_error(answer)):
        work.error = _error_of(answer if isinstance(answer, dict) else {"what": (err or "it was stopped").strip()})
    work.answer = answer
    for folder in work.brought:
        shutil.rmtree(folder, ignore_errors=True)
    work.ended = time.monotonic()


def _is_error(answer: dict[str, Any]) -> bool:
    return str(answer.get("schema", "")).startswith("habmap/error/")


def _error_of(record: dict[str, Any]) -> HabmapError:
    faults = [_one(fault) for fault in record.get("faults", ())]
    if faults:
        return InputErrors(faults, where=str(record.get("where") or ""), mend=record.get("mend"))
    return _one(record)


def _one(record: dict[str, Any]) -> HabmapError:
    what = str(record.get("what") or "it could not be done")
    where, mend = str(record.get("where") or "the work"), str(record.get("mend") or "begin it once more")
    return InputError(what, where=where, mend=mend, value=record.get("value"), allowed=record.get("allowed"))
