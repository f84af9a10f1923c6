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
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path

from soak.law import scratch
from soak.workers import as_if_alone
from soak.writes import READS, Write, broken, laid_out, prepared, state_of, writes

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
class Call:
    kind: str
    path: str
    at: int
    data: bytes


def _calls(text: bytes) -> Iterator[Call]:
    at = 0
    while at < len(text):
        end = text.index(b"\n", at)
        kind, path, offset, size = text[at:end].decode("utf-8", "surrogateescape").split("\t")
        at = end + 1 + int(size)
        yield Call(kind, path, int(offset), text[end + 1 : at])


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
            as_if_alone(work.parent.parent)
            act = prepared(place, work, write)
            names = -1 if list_to is None else os.open(list_to, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            at, number, is_lasting = fail or (-1, 0, False)
            library.watched_begin(os.fsencode(work.parent), names, ctypes.c_long(at), number, int(is_lasting))
            answer = act()
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
        self.folders = {str(path) for path in (folder, *folder.rglob("*")) if path.is_dir()}
        self.named_folders = set(self.folders)
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

    def take(self, call: Call) -> None:
        """Do what a call did."""
        path = os.path.normpath(call.path)
        if call.kind == "create":
            self._new(path)
        elif call.kind == "mkdir":
            self.folders.add(path)
        elif call.kind == "unlink":
            self.seen.pop(path, None)
        elif call.kind == "move":
            self._move(path, os.path.normpath(call.data.decode()))
        elif call.kind == "syncdir":
            for name in {name for name in {*self.seen, *self.named} if os.path.dirname(name) == path}:  # noqa: PTH120
                self.named.pop(name, None)
                if name in self.seen:
                    self.named[name] = self.seen[name]
            inside = {name for name in self.folders | self.named_folders if os.path.dirname(name) == path}  # noqa: PTH120
            self.named_folders = (self.named_folders - inside) | (inside & self.folders)
        elif path in self.seen and call.kind in ("write", "cut", "sync"):
            self._change(self.seen[path], call)

    def _move(self, path: str, to: str) -> None:
        if path not in self.folders:
            self.seen[to] = self.seen.pop(path)
            return
        if any(name.startswith(f"{path}/") for name in self.seen):
            raise NotImplementedError(f"a folder with files in it is moved: {path}")
        self.folders = (self.folders - {path}) | {to}

    def _change(self, number: int, call: Call) -> None:
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

    def _is_reached(self, path: str, folders: set[str]) -> bool:
        """Tell whether all folders above a name are on the disk."""
        above = os.path.dirname(path)  # noqa: PTH120
        return above == str(self.root) or (above in folders and self._is_reached(above, folders))

    def states(self) -> Iterator[dict[str, bytes | None]]:
        """Return what a power cut now could leave: names and contents; ``None`` is a folder."""
        for names, folders in ((self.seen, self.folders), (self.named, self.named_folders)):
            for is_written in (True, False):
                there: dict[str, bytes | None] = dict.fromkeys(folders)
                there |= {
                    path: bytes(self.data[number][0]) if is_written else self.data[number][1]
                    for path, number in names.items()
                }
                yield {
                    os.path.relpath(path, self.root): content
                    for path, content in there.items()
                    if path != str(self.root) and self._is_reached(path, folders)
                }


def power_cuts(template: Path, *, only: Callable[[Write], bool] = lambda write: True, is_stopping: bool = True) -> Cuts:
    """Cut the power at every call of all that writes, and look at each state that is left."""
    found, folder = Cuts(), scratch("habmap-power-")
    try:
        for write in filter(only, writes(template)):
            if wrong := _power_cuts(template, folder / "disk", write, found):
                found.faults.append(f"{write.name}: {wrong}")
                if is_stopping:
                    return found
        for words in READS if only(Write("what only reads")) else ():
            write = Write("a question", words)
            place, work = laid_out(template, folder / "disk", write)
            code, said, _ = _run(place, work, write, list_to=folder / "calls")
            changed = [call.path for call in _calls((folder / "calls").read_bytes()) if call.kind != "told"]
            if code not in (0, 1) or changed:
                found.faults.append(
                    f"`{' '.join(words)}` is said to write nothing, and wrote {changed} ({code}: {said})"
                )
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return found


def _power_cuts(template: Path, disk_folder: Path, write: Write, found: Cuts) -> str | None:
    place, work = laid_out(template, disk_folder, write)
    before, disk, list_to = state_of(place, work, write), _Disk(disk_folder), disk_folder.with_name("calls")
    code, said, _ = _run(place, work, write, list_to=list_to)
    if code != 0:
        return f"it cannot be tried: {said}"
    after, is_told, seen = state_of(place, work, write), False, set()
    found.commands += 1
    if after == before:
        return "it wrote nothing"
    for number, call in enumerate(_calls(list_to.read_bytes())):
        is_told = is_told or call.kind == "told"
        disk.take(call)
        found.calls += 1
        for state in disk.states():
            digest = sha256(repr((is_told, sorted(state.items()))).encode()).digest()
            if digest in seen:
                continue
            seen.add(digest)
            found.states += 1
            _lay(disk_folder, state)
            wrong = broken(place, work, write, before=before, after=after, is_told=is_told, is_exact=True)
            if wrong:
                done = f"{call.kind} {os.path.relpath(call.path, disk_folder)}" if call.kind != "told" else "the answer"
                return f"power cut after call {number} ({done}): {wrong}"
    return None if is_told else "nobody was told"


def _lay(folder: Path, state: Mapping[str, bytes | None]) -> None:
    shutil.rmtree(folder)
    folder.mkdir()
    for name, content in sorted(state.items()):
        path = folder / name
        if content is None:
            path.mkdir(parents=True, exist_ok=True)
        else:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)


# --- a failing disk -----------------------------------------------------------------------------------------


def failing(template: Path, *, only: Callable[[Write], bool] = lambda write: True, is_stopping: bool = True) -> Cuts:
    """Let each call of each command fail in turn, once and from then on: an error of the disk, and no room left."""
    found, folder = Cuts(), scratch("habmap-disk-")
    try:
        for write in filter(only, writes(template)):
            if wrong := _failing(template, folder / "disk", write, found):
                found.faults.append(f"{write.name}: {wrong}")
                if is_stopping:
                    return found
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return found


def _failing(template: Path, folder: Path, write: Write, found: Cuts) -> str | None:
    place, work = laid_out(template, folder, write)
    before = state_of(place, work, write)
    code, said, calls = _run(place, work, write)
    after = state_of(place, work, write)
    if code != 0:
        return f"it cannot be tried: {said}"
    found.commands += 1
    found.calls += calls
    for at in range(calls):
        for number in (errno.EIO, errno.ENOSPC):
            for is_lasting in (False, True):
                place, work = laid_out(template, folder, write)
                code, said, _ = _run(place, work, write, fail=(at, number, is_lasting))
                found.states += 1
                is_nothing = code != 0 and "nothing was" in said  # else the disk's last word is open, and it says so
                wrong = _wrong(code, said) or broken(
                    place, work, write, before=before, after=before if is_nothing else after, is_told=code == 0
                )
                if wrong:
                    how = f"{errno.errorcode[number]}{' from then on' if is_lasting else ''}"
                    return f"{how} at call {at}: {wrong}"
    return None


def _wrong(code: int, said: str) -> str | None:
    if "fault of the program" in said or "Traceback" in said:
        return f"called a fault of the program: {said[:600]}"
    return None if code in (0, 3) else f"exit code {code}: {said[:600]}"
