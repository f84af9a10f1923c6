"""A power cut at every write of a command, and a disk that fails at every call: seen through `watched.c`.

A disk holds what was synced, and of the rest any part. So each prefix of a command's calls is laid out four times: with
and without the data that no sync had followed, and with and without the names (made, moved, taken away) of folders that no
sync had followed. Each is a state that a real disk could be left in.
"""

from __future__ import annotations

import ctypes
import errno
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path

from soak.law import run_words, scratch
from soak.workers import as_if_alone
from soak.writes import SETTINGS, Write, broken, laid_out, row_count, writes

_LIBRARY = "HABMAP_SOAK_WATCHED"


def watch(words: Sequence[str]) -> int:
    """Run this program anew with the watching library before all others; return its exit code."""
    folder = scratch("habmap-watched-")
    library = folder / "watched.so"
    source = Path(__file__).with_name("watched.c")
    try:
        subprocess.run(["gcc", "-shared", "-fPIC", "-O1", "-o", str(library), str(source), "-ldl"], check=True)
        around = {**os.environ, "LD_PRELOAD": str(library), _LIBRARY: str(library)}
        return subprocess.run([sys.executable, "-m", "soak", *words], env=around, check=False).returncode
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def is_watched() -> bool:
    """Tell whether the watching library is there in this process."""
    return _LIBRARY in os.environ


@dataclass(slots=True)
class Cuts:
    """What was counted."""

    commands: int = 0
    calls: int = 0
    states: int = 0
    faults: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Call:
    kind: str
    path: str
    at: int
    data: bytes


def _calls(text: bytes) -> Iterator[_Call]:
    at = 0
    while at < len(text):
        end = text.index(b"\n", at)
        kind, path, offset, size = text[at:end].decode("utf-8", "surrogateescape").split("\t")
        at = end + 1 + int(size)
        yield _Call(kind, path, int(offset), text[end + 1 : at])


def _run(
    place: Path, work: Path, write: Write, *, list_to: Path | None = None, fail: tuple[int, int, bool] | None = None
) -> tuple[int, str, int]:
    """Run a command in a process of its own under watch; return exit code, what it said, how many calls it made."""
    library = ctypes.CDLL(os.environ[_LIBRARY])
    hear, tell = os.pipe()
    process = os.fork()
    if process == 0:
        try:
            os.close(hear)
            as_if_alone(work.parent)
            names = -1 if list_to is None else os.open(list_to, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            at, number, is_lasting = fail or (-1, 0, False)
            library.watched_begin(os.fsencode(place), names, ctypes.c_long(at), number, int(is_lasting))
            answer = run_words(["--place", str(place), *write.words], cwd=work)
            library.watched_mark()
            calls = library.watched_count()
            library.watched_begin(b"", -1, ctypes.c_long(-1), 0, 0)
            os.write(tell, f"{answer.code}\n{calls}\n{(answer.out + answer.err)[:3000]}".encode("utf-8", "replace"))
        finally:
            os._exit(0)
    os.close(tell)
    with os.fdopen(hear, encoding="utf-8") as stream:
        code, _, rest = stream.read().partition("\n")
    os.waitpid(process, 0)
    calls, _, said = rest.partition("\n")
    return int(code or 70), said, int(calls or 0)


# --- a power cut --------------------------------------------------------------------------------------------


class _Disk:
    """A folder's files twice: as programs see them, and as a sync has put them on the disk."""

    def __init__(self, folder: Path) -> None:
        self.root = folder
        self.data: dict[int, tuple[bytearray, bytes]] = {}  # number of a file → as seen, as synced
        self.seen: dict[str, int] = {}
        self.named: dict[str, int] = {}  # names as their folder's sync has put them
        for path in folder.rglob("*"):
            if path.is_file():
                content = path.read_bytes()
                self._new(str(path), content)
        self.named = dict(self.seen)
        for number, (content, _) in list(self.data.items()):
            self.data[number] = (content, bytes(content))

    def _new(self, path: str, content: bytes = b"") -> None:
        number = len(self.data)
        self.data[number] = (bytearray(content), b"")
        self.seen[path] = number

    def take(self, call: _Call) -> None:
        """Do what a call did."""
        if call.kind == "create":
            self._new(call.path)
        elif call.kind == "unlink":
            self.seen.pop(call.path, None)
        elif call.kind == "move":
            self.seen[call.data.decode()] = self.seen.pop(call.path)
        elif call.kind == "syncdir":
            folder = os.path.normpath(call.path) + "/"
            inside = {
                name for name in {*self.seen, *self.named} if name.startswith(folder) and "/" not in name[len(folder) :]
            }
            for name in inside:
                self.named.pop(name, None)
                if name in self.seen:
                    self.named[name] = self.seen[name]
        elif call.path in self.seen and call.kind in ("write", "cut", "sync"):
            self._change(self.seen[call.path], call)

    def _change(self, number: int, call: _Call) -> None:
        content, synced = self.data[number]
        if call.kind == "write":
            if len(content) < call.at:
                content.extend(bytes(call.at - len(content)))
            content[call.at : call.at + len(call.data)] = call.data
        elif call.kind == "cut":
            del content[call.at :]
            content.extend(bytes(call.at - len(content)))
        else:
            content[:], synced = call.data, call.data
        self.data[number] = (content, synced)

    def states(self) -> Iterator[dict[str, bytes]]:
        """Return what a power cut now could leave: names and contents."""
        for names in (self.seen, self.named):
            for is_written in (True, False):
                yield {
                    os.path.relpath(path, self.root): bytes(self.data[number][0])
                    if is_written
                    else self.data[number][1]
                    for path, number in names.items()
                }


def power_cuts(template: Path, *, only: Callable[[Write], bool] = lambda write: True) -> Cuts:
    """Cut the power at every call of every command that writes to the property, and look at each state that is left."""
    found, folder, seen = Cuts(), scratch("habmap-power-"), set()
    settings = [(template / SETTINGS).read_bytes()]
    try:
        for write in writes():
            if write.output is not None or not only(write):
                continue
            place, work = laid_out(template, folder, write)
            before, disk = row_count(place), _Disk(place)
            code, said, _ = _run(place, work, write, list_to=folder / "calls")
            if code != 0:
                found.faults.append(f"{write.name} cannot be tried: {said}")
                continue
            after, is_told = row_count(place), False
            found.commands += 1
            calls = list(_calls((folder / "calls").read_bytes()))
            if not any(call.kind == "write" for call in calls):
                found.faults.append(f"{write.name}: no write was seen")
            for number, call in enumerate(calls):
                is_told = is_told or call.kind == "told"
                disk.take(call)
                found.calls += 1
                for state in disk.states():
                    digest = sha256(repr((is_told, before, after, sorted(state.items()))).encode()).digest()
                    if digest in seen:
                        continue
                    seen.add(digest)
                    found.states += 1
                    _lay(place, state)
                    wrong = broken(place, before=before, after=after, is_told=is_told, settings=settings)
                    if wrong:
                        done = (
                            f"{call.kind} {os.path.relpath(call.path, place)}" if call.kind != "told" else "the answer"
                        )
                        found.faults.append(
                            f"power cut after call {number} ({done}) of `{' '.join(write.words)}`: {wrong}"
                        )
                        break
                if found.faults:
                    return found
            if after == before and write.name != "load dem":
                found.faults.append(f"{write.name} wrote no row")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return found


def _lay(place: Path, state: dict[str, bytes]) -> None:
    shutil.rmtree(place)
    for child in ("photos", "tracks", "out", "elevation"):
        (place / child).mkdir(parents=True, exist_ok=True)
    for name, content in state.items():
        (place / name).parent.mkdir(parents=True, exist_ok=True)
        (place / name).write_bytes(content)


# --- a failing disk -----------------------------------------------------------------------------------------


def failing(template: Path, *, only: Callable[[Write], bool] = lambda write: True) -> Cuts:
    """Let each call of each command fail in turn, once and from then on: an error of the disk, and no room left."""
    found, folder = Cuts(), scratch("habmap-disk-")
    settings = [(template / SETTINGS).read_bytes()]
    try:
        for write in writes():
            if not only(write):
                continue
            place, work = laid_out(template, folder, write)
            before = row_count(place)
            code, said, calls = _run(place, work, write)
            after = row_count(place)
            if code != 0:
                found.faults.append(f"{write.name} cannot be tried: {said}")
                continue
            found.commands += 1
            for at in range(calls):
                for number in (errno.EIO, errno.ENOSPC):
                    for is_lasting in (False, True):
                        place, work = laid_out(template, folder, write)
                        code, said, _ = _run(place, work, write, fail=(at, number, is_lasting))
                        found.states += 1
                        is_nothing = "nothing was" in said  # else the disk's last word is open, and it says so
                        wrong = _wrong(code, said) or broken(
                            place,
                            before=before,
                            after=before if code != 0 and is_nothing else after,
                            is_told=code == 0,
                            settings=settings,
                        )
                        if wrong:
                            how = f"{errno.errorcode[number]}{' from then on' if is_lasting else ''}"
                            found.faults.append(f"{how} at call {at} of `{' '.join(write.words)}`: {wrong}")
                            return found
            found.calls += calls
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return found


def _wrong(code: int, said: str) -> str | None:
    if "fault of the program" in said or "Traceback" in said:
        return f"called a fault of the program: {said[:600]}"
    return None if code in (0, 3) else f"exit code {code}: {said[:600]}"
