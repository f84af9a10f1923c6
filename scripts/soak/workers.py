"""Forked workers that take inputs one after another, watched from outside: for their time, their memory and their end."""

from __future__ import annotations

import json
import os
import resource
import select
import shutil
import signal
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from soak.desk_forms import TestDesk, judge_form
from soak.law import LONGEST_S, Answer, Case, Fault, contents, judge, run_words, scratch, settle

#: A worker is made anew after so many inputs: what libraries keep must not add up.
_INPUTS_EACH = 800
#: Memory that one worker may take beside what it began with [bytes].
_MOST_BYTES = 2 << 30
#: A worker that neither works nor answers for so long sleeps for good [s of the wall].
_ASLEEP_S = 90.0
_TICKS = os.sysconf("SC_CLK_TCK")


class Sandbox:
    """A copy of the property that is put right after each input, and a folder for the files beside it."""

    def __init__(self, template: Path) -> None:
        self._template = template
        self.folder = scratch()
        self.place, self.work, self.passing = self.folder / "place", self.folder / "work", self.folder / "tmp"
        shutil.copytree(template, self.place)
        self.work.mkdir()
        self.passing.mkdir()
        self._whole = contents(self.folder)
        self._desk: TestDesk | None = None
        self._shelves = scratch("habmap-shelves-")

    def run(self, case: Case) -> tuple[Answer, Fault | None]:
        """Run one input on the property and judge it; the property is whole again afterwards."""
        for name, content in case.files.items():
            path = self.work / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
        for name, content in case.place.items():
            path = self.place / name
            path.unlink(missing_ok=True)
            if content is not None:
                path.write_bytes(content)
        before = after = contents(self.folder)
        try:
            if case.form is not None:
                answer = self._desk_there().send(*case.form)
                after = contents(self.folder)
                fault = judge_form(answer, before, after)
            else:
                answer = run_words(["--place", str(self.place), *case.words], cwd=self.work)
                after = contents(self.folder)
                fault = judge(case.words, answer, before, after) or self._left(after)
        except BaseException:
            after = contents(self.folder)
            raise
        finally:
            self._mend(after)
        return answer, fault

    def _desk_there(self) -> TestDesk:
        if self._desk is None:
            tempfile.tempdir = str(self._shelves)  # what a desk was brought stays while it is open
            self._desk = TestDesk(self.place)
            tempfile.tempdir = None
        return self._desk

    def _left(self, after: Mapping[str, bytes]) -> Fault | None:
        left = sorted(name for name in after if name.startswith(f"{self.passing.name}/") and name not in self._whole)
        return Fault("something is left in the temporary folder", f"{left[:20]}") if left else None

    def _mend(self, now: Mapping[str, bytes]) -> None:
        """Put right what an input changed, and see that it is."""
        changed = [name for name in {*now, *self._whole} if now.get(name) != self._whole.get(name)]
        if not changed:
            return
        for name in changed:
            path = self.folder / name
            if path.is_dir() and not path.is_symlink():
                shutil.rmtree(path)
            else:
                path.unlink(missing_ok=True)
            if name in self._whole and not name.endswith("/"):
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(self._whole[name])
        for folder in (self.work, self.passing):
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir()
        if any(name.startswith("home/") for name in now):
            shutil.rmtree(self.folder / "home", ignore_errors=True)
        if contents(self.place, "place/") != {
            name: content for name, content in self._whole.items() if name.startswith("place/")
        }:
            shutil.rmtree(self.place, ignore_errors=True)
            shutil.copytree(self._template, self.place)

    def close(self) -> None:
        """Put it away."""
        shutil.rmtree(self.folder, ignore_errors=True)
        shutil.rmtree(self._shelves, ignore_errors=True)


@dataclass(slots=True)
class Tally:
    """What was counted: inputs by kind and answer, and the first input of each fault."""

    inputs: int = 0
    kinds: Counter[str] = field(default_factory=Counter)
    codes: Counter[str] = field(default_factory=Counter)
    slowest_s: float = 0.0
    worked_s: float = 0.0
    faults: dict[str, tuple[int, Fault]] = field(default_factory=dict)

    def add(self, number: int, kind: str, code: int, took_s: float, fault: Fault | None) -> None:
        """Count one input."""
        self.inputs += 1
        self.kinds[kind.split("/")[0]] += 1
        self.codes[str(code)] += 1
        self.slowest_s = max(self.slowest_s, took_s)
        self.worked_s += took_s
        if fault is not None:
            self.faults.setdefault(fault.law, (number, fault))


@dataclass(slots=True)
class _Worker:
    process: int
    pipe: int
    #: Number of the input that it is at, the next of its own, and when it began it (processor, wall).
    at: int | None
    following: int
    began: tuple[float, float] = (0.0, 0.0)
    text: bytes = b""


def attack(
    make: Callable[[int], Case],
    template: Path,
    *,
    most: int,
    seconds: float,
    workers: int = 2,
    is_stopping: bool = True,
) -> Tally:
    """Run inputs 0, 1, 2 … until there are enough, or the time is up, or (``is_stopping``) one broke a law."""
    tally = Tally()
    until = time.monotonic() + seconds
    running = {w: _begin(make, template, w, workers, most) for w in range(workers)}
    try:
        while running:
            ready, _, _ = select.select([one.pipe for one in running.values()], [], [], 0.5)
            for key, worker in list(running.items()):
                over = worker.pipe in ready and not _hear(worker, tally, workers)
                fault = None if over else _overdue(worker)
                if fault is not None:
                    os.kill(worker.process, signal.SIGKILL)
                if not over and fault is None:
                    continue
                _, status = os.waitpid(worker.process, 0)
                os.close(worker.pipe)
                if worker.at is not None:
                    code = os.waitstatus_to_exitcode(status)
                    fault = fault or Fault(f"the process ended with {code}", "see the input")
                    tally.add(worker.at, make(worker.at).kind, code, 0.0, fault)
                if worker.following >= most or time.monotonic() > until:
                    del running[key]
                else:
                    running[key] = _begin(make, template, worker.following, workers, most)
            if time.monotonic() > until or (is_stopping and tally.faults):
                break
    finally:
        for worker in running.values():
            with suppress(OSError):
                os.kill(worker.process, signal.SIGKILL)
                os.waitpid(worker.process, 0)
                os.close(worker.pipe)
    return tally


def _begin(make: Callable[[int], Case], template: Path, first: int, step: int, most: int) -> _Worker:
    hear, tell = os.pipe()
    process = os.fork()
    if process == 0:
        os.close(hear)
        _work(make, template, first, step, most, tell)
    os.close(tell)
    return _Worker(process=process, pipe=hear, at=None, following=first)


def _work(make: Callable[[int], Case], template: Path, first: int, step: int, most: int, tell: int) -> None:
    """Take inputs in this process, and end it."""
    code = 1
    sandbox = Sandbox(template)
    try:
        as_if_alone(sandbox.folder, sandbox.passing)
        settle()
        for number in range(first, min(most, first + step * _INPUTS_EACH), step):
            os.write(tell, f"{number}\n".encode())
            began = time.process_time()
            case = make(number)
            answer, fault = sandbox.run(case)
            told = {"kind": case.kind, "code": answer.code, "s": time.process_time() - began}
            if fault is not None:
                told["fault"] = [fault.law, fault.words[:3000]]
            os.write(tell, (json.dumps(told) + "\n").encode())
        code = 0
    finally:
        sandbox.close()
        os._exit(code)


def as_if_alone(folder: Path, passing: Path | None = None) -> None:
    """Give this process a home, a folder for what passes, a limit of memory and silent libraries."""
    silent = os.open(os.devnull, os.O_RDWR)
    for stream in (1, 2):
        os.dup2(silent, stream)
    os.environ.update(HOME=str(folder / "home"), XDG_CONFIG_HOME=str(folder / "home"), COLUMNS="120", NO_COLOR="1")
    if passing is not None:
        os.environ.update(TMPDIR=str(passing), CPL_TMPDIR=str(passing))
        tempfile.tempdir = None  # asked for anew
    with Path("/proc/self/statm").open() as file:
        size = int(file.read().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (size + _MOST_BYTES, size + _MOST_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _hear(worker: _Worker, tally: Tally, step: int) -> bool:
    """Take in what a worker says; false when it has ended."""
    piece = os.read(worker.pipe, 1 << 16)
    if not piece:
        return False
    *lines, worker.text = (worker.text + piece).split(b"\n")
    for line in lines:
        if line.startswith(b"{"):
            told = json.loads(line)
            fault = Fault(*told["fault"]) if "fault" in told else None
            tally.add(worker.at or 0, told["kind"], told["code"], told["s"], fault)
            worker.at = None
        else:
            worker.at = int(line)
            worker.following = worker.at + step
            worker.began = (_at_work(worker.process)[1], time.monotonic())
    return True


def _overdue(worker: _Worker) -> Fault | None:
    if worker.at is None:
        return None
    is_ready, worked_s = _at_work(worker.process)
    worked_s -= worker.began[0]
    if worked_s > LONGEST_S:
        return Fault("over 10 s at work", f"{worked_s:.0f} s")
    if is_ready:  # it would work, if a crowded machine let it
        worker.began = (worker.began[0], time.monotonic())
    if time.monotonic() - worker.began[1] > _ASLEEP_S:
        return Fault("asleep for good", f"{worked_s:.1f} s of work, then {_ASLEEP_S:.0f} s of sleep")
    return None


def _at_work(process: int) -> tuple[bool, float]:
    """Return whether a process works or waits for a processor, and how long it has worked [s]."""
    try:
        fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return False, 0.0
    return fields[0] == "R", (int(fields[11]) + int(fields[12])) / _TICKS


def alone(case: Case, template: Path, *, longest_s: float = 60.0) -> tuple[int, Fault | None]:
    """Run one input in a process of its own; return its exit code and the law that it broke."""
    tally = attack(lambda number: case, template, most=1, seconds=longest_s, workers=1)
    code = int(next(iter(tally.codes), "0"))
    return code, next((fault for _, fault in tally.faults.values()), None)
