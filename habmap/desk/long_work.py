"""Work that takes long: a command of habmap in a process of its own, so that no page waits and it can be canceled.

The papers of the desk are the files that the commands write, and what is loaded is loaded by them: nothing can differ.
A canceled one leaves what it had not finished: files appear whole or not at all, rows are written in one transaction.
"""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any, Final

from habmap.errors import HabmapError, InputError, InputErrors
from habmap.progress import PROGRESS_LINES, Share, read_share
from habmap.show.progress_words import left_words, progress_words


def command(program: str, *, is_packed: bool) -> tuple[str, ...]:
    """Return the words before any of habmap's own; in a package the desk's own program stands beside the command's."""
    if not is_packed:
        return (program, "-m", "habmap")
    return (str(Path(program).with_name("habmap").with_suffix(Path(program).suffix)),)


COMMAND: Final = command(sys.executable, is_packed=getattr(sys, "frozen", False))


#: Of more works than these the oldest that are over are let go.
_MOST: Final = 100
#: A paper of a crowded property takes minutes on an old machine; more is taken for stuck [s].
_LONGEST_S: Final = 3600.0
#: One that was asked to stop puts away what it had begun; one that does not listen so long is ended [s].
_PATIENCE_S: Final = 10.0
#: A pace is told from at least so many parts in at least so long [s].
_PACE_PARTS: Final = 3
_PACE_S: Final = 1.0


@dataclass(slots=True)
class Pace:
    """How fast parts that are alike go by, from the first that was told: the only ground for saying how long it takes.

    Moments are seconds of one clock.
    """

    share: Share | None = None
    _told_at: float = 0.0
    _first_done: int = 0
    _first_at: float = 0.0

    def tell(self, share: Share, at: float) -> None:
        """Take in how far the work is at a moment."""
        before, now = self._alike(self.share), self._alike(share)
        if now is None or before is None or (before.what, before.count) != (now.what, now.count):
            self._first_done, self._first_at = 0 if now is None else now.done, at
        self.share, self._told_at = share, at

    def left_s(self, at: float) -> float | None:
        """Return how long the parts that are counted take still [s]; ``None`` where that cannot be told."""
        alike = self._alike(self.share)
        if alike is None:
            return None
        done, took_s = alike.done - self._first_done, self._told_at - self._first_at
        if done < _PACE_PARTS or took_s < _PACE_S or alike.done >= alike.count:
            return None
        left_s = (alike.count - alike.done) * took_s / done - (at - self._told_at)
        return left_s if left_s > 0 else None  # slower than before: the pace is not known

    @staticmethod
    def _alike(share: Share | None) -> Share | None:
        return share.within if share is not None and share.is_step else share


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
    brought, again
        Folders of what was brought for it, put away once it is done, or where it failed once the next is begun:
        elevation is large. Address of the form where what failed is mended with the same files.
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
    again: str = ""
    pace: Pace = field(default_factory=Pace)

    @property
    def is_over(self) -> bool:
        """Whether there is nothing to wait for any more."""
        return self.ended is not None

    @property
    def took_s(self) -> float:
        """How long it has been at work [s]."""
        return (time.monotonic() if self.ended is None else self.ended) - self.began

    @property
    def words(self) -> str:
        """How far it is, as far as it told."""
        if self.is_cancelled:
            return "it is being stopped"
        return "" if self.pace.share is None else progress_words(self.pace.share)

    @property
    def time_words(self) -> str:
        """How long it has been at work, and how long it takes still where that can be told."""
        share, left_s = self.pace.share, self.pace.left_s(time.monotonic())
        left = left_words(left_s, is_step=share is not None and share.is_step)
        return f"{self.took_s:,.0f} seconds so far" + (f", {left}" if left else "")

    def cancel(self) -> None:
        """Stop it; what it did not finish is not there."""
        if not self.is_over:
            self.is_cancelled = True
            self.process.terminate()
            last = threading.Timer(_PATIENCE_S, self.process.kill)
            last.daemon = True
            last.start()


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
        again: str = "",
    ) -> Work:
        """Start a command on a property's folder and return at once.

        Parameters
        ----------
        arguments
            The command and its options, with which it prints JSON where it can.
        files, brought
            What it writes, by the name that people get it under; folders to be put away after it.
        again
            See `Work`.
        """
        process = subprocess.Popen(
            [*COMMAND, "--place", str(folder), *arguments],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            encoding="utf-8",
            errors="replace",
            env={**os.environ, PROGRESS_LINES: "1"},
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
            again=again,
        )
        with self._lock:
            for one in self._known.values():
                if one.place == place and one.is_over:
                    _put_away(folder for folder in one.brought if folder not in brought)
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
    printed: list[str] = []
    said: list[str] = []
    readers = [
        threading.Thread(target=lambda: printed.extend(_lines(work.process.stdout)), daemon=True),
        threading.Thread(target=lambda: said.extend(_listen(work)), daemon=True),
    ]
    for reader in readers:
        reader.start()
    try:
        work.process.wait(timeout=_LONGEST_S)
    except subprocess.TimeoutExpired:
        work.process.kill()
        work.process.wait()
    for reader in readers:
        reader.join()
    out, err = "".join(printed), "".join(said)
    answer: Any = out.strip()
    with contextlib.suppress(ValueError):
        answer = json.loads(out)
    # `check` ends with 1 where it found faults, and prints them; all else that is not 0 is an error
    is_answered = work.process.returncode == 0 or (work.process.returncode == 1 and out.strip())
    if not is_answered or (isinstance(answer, dict) and _is_error(answer)):
        work.error = _error_of(answer if isinstance(answer, dict) else {"what": (err or "it was stopped").strip()})
    work.answer = answer
    if not work.again or work.error is None:
        _put_away(work.brought)
    work.ended = time.monotonic()


def _put_away(folders: Iterable[Path]) -> None:
    for folder in folders:
        shutil.rmtree(folder, ignore_errors=True)


def _lines(pipe: IO[str] | None) -> Iterator[str]:
    """Yield what comes out of a pipe until it is closed."""
    if pipe is not None:
        with pipe:
            yield from pipe


def _listen(work: Work) -> Iterator[str]:
    """Take in how far the command says it is; yield its other words."""
    for line in _lines(work.process.stderr):
        share = read_share(line)
        if share is None:
            yield line
        else:
            work.pace.tell(share, time.monotonic())


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
