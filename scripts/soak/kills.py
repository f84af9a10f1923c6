"""SIGKILL at random moments: of every command that writes, of the desk in mid-request, of region's workers."""

from __future__ import annotations

import http.client
import os
import re
import shutil
import signal
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from random import Random
from typing import Any
from urllib.parse import parse_qsl, urlsplit

from soak.law import scratch
from soak.property import chance, valid_files
from soak.workers import as_if_alone
from soak.writes import SETTINGS, State, Write, broken, laid_out, prepared, state_of, writes


@dataclass(slots=True)
class Kills:
    """What was counted."""

    kills: Counter[str] = field(default_factory=Counter)
    #: Runs that were over before the kill.
    too_late: int = 0
    acknowledged: int = 0
    faults: list[str] = field(default_factory=list)

    @property
    def total(self) -> int:
        """Processes that were killed at work."""
        return sum(self.kills.values())


def _started(do: Callable[[int], int]) -> tuple[int, int]:
    """Do something in a process of its own; return the end of a pipe to hear it by, and the process."""
    hear, tell = os.pipe()
    process = os.fork()
    if process == 0:
        code = 70
        try:
            os.close(hear)
            code = do(tell)
        finally:
            os._exit(code)
    os.close(tell)
    return hear, process


def _act(place: Path, work: Path, write: Write, tell: int) -> int:
    """Do what writes; say so when it is about to begin, and what it answers."""
    as_if_alone(work.parent.parent)
    act = prepared(place, work, write)
    os.write(tell, b"!")
    answer = act()
    os.write(tell, (answer.out or "done" if answer.code == 0 else answer.err).encode()[:4000])
    return answer.code


def kill_writes(template: Path, *, seed: int, most: int, seconds: float) -> Kills:
    """Kill whatever writes at random moments until there are enough kills or the time is up."""
    found, until, folder = Kills(), time.monotonic() + seconds, scratch("habmap-kills-")
    known: dict[str, tuple[State, State, float]] = {}
    all_writes = writes(template)
    number, pace = 0, 1.0  # so that kills come neither all before the end nor all after it
    try:
        while found.total < most and time.monotonic() < until and not found.faults:
            write, luck = all_writes[number % len(all_writes)], chance(seed, "kill", number)
            number += 1
            if write.name not in known:
                known[write.name] = _whole(template, folder / "disk", write)
            before, after, took_s = known[write.name]
            place, work = laid_out(template, folder / "disk", write)
            hear, process = _started(lambda tell: _act(place, work, write, tell))  # noqa: B023 - ended below
            os.read(hear, 1)
            time.sleep(luck.random() * took_s * pace)
            os.kill(process, signal.SIGKILL)
            _, status = os.waitpid(process, 0)
            is_told = bool(os.read(hear, 1 << 16))
            os.close(hear)
            if os.WIFSIGNALED(status):
                found.kills["at the desk's work" if write.desk else "commands"] += 1
                pace *= 1.03
            else:
                found.too_late += 1
                pace *= 0.9
            found.acknowledged += is_told
            wrong = broken(place, work, write, before=before, after=after, is_told=is_told)
            if wrong:
                found.faults.append(f"kill {number - 1} (seed {seed}), {write.name}: {wrong}")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return found


def _whole(template: Path, folder: Path, write: Write) -> tuple[State, State, float]:
    """Return what a property holds before and after a thing that nobody kills, and how long it takes [s]."""
    place, work = laid_out(template, folder, write)
    before = state_of(place, work, write)
    hear, process = _started(lambda tell: _act(place, work, write, tell))
    os.read(hear, 1)
    began = time.monotonic()
    _, status = os.waitpid(process, 0)
    took_s = time.monotonic() - began
    said = os.read(hear, 1 << 16)
    os.close(hear)
    if os.waitstatus_to_exitcode(status) != 0:
        raise RuntimeError(f"{write.name} cannot be tried: {said.decode()}")
    return before, state_of(place, work, write), took_s


def kill_desks(template: Path, *, seed: int, most: int, seconds: float) -> Kills:
    """Kill a desk, the process that serves it, while a browser sends it one thing after another.

    What the browser was told as saved, loaded or made is there; of what it was not told, at most the one thing that was
    on its way. The next desk is begun on what the killed one left.
    """
    sys.path.append(str(Path(__file__).resolve().parents[2] / "tests"))
    from desk_process import start_desk

    found, until, folder = Kills(), time.monotonic() + seconds, scratch("habmap-kills-")
    number = 0
    try:
        while found.total < most and time.monotonic() < until and not found.faults:
            luck = chance(seed, "kill desk", number)
            if number % _DESKS_EACH == 0:
                place, work = laid_out(template, folder / "disk", Write("desk"))
            number += 1
            before = state_of(place, work, Write("desk"))
            try:
                desk = start_desk([sys.executable, "-m", "habmap"], folder / "home", place=place)
            except AssertionError as error:
                found.faults.append(f"after kill {number - 2} (seed {seed}) the desk does not start: {error}")
                break
            try:
                desk.enter()
                wrong = _killed_at_work(desk, place, luck, before, found)
            finally:
                desk.process.kill()
                desk.process.communicate()
            if wrong:
                found.faults.append(f"kill {number - 1} of the desk (seed {seed}): {wrong}")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return found


#: A property is laid out anew after so many desks.
_DESKS_EACH = 12


class _Browser:
    """Sends a desk whole things of a person, each told as done or not; what breaks off raises what a dead desk does."""

    def __init__(self, desk: Any, place: Path, luck: Random) -> None:
        from habmap.desk.known import Property

        self.desk, self._luck, self._key = desk, luck, Property(place.resolve()).key
        #: What it is at; rows that it was told of; properties that it was told of.
        self.doing, self.rows, self.made = "", 0, 0

    def act(self) -> str | None:
        """Do one thing; return what is wrong with the answer, if anything."""
        acts = {"log": self._log, "correct": self._correct, "load": self._load, "map": self._map, "start": self._start}
        self.doing = self._luck.choice(list(acts))
        return acts[self.doing]()

    def _log(self) -> str | None:
        day = f"2026-04-{self._luck.randrange(1, 29):02d}"
        unit = self._luck.choice("AC")
        seen = self._post("log/preview", {"practice": "other", "date": day, "unit": unit, "whole": "yes"})
        return self._saved("log/save", {"draft": _hidden(seen)["draft"]})

    def _correct(self) -> str | None:
        said = {"line": "1", "why": "x", "yes": "yes"}
        page = _hidden(self.desk.get(f"/{self._key}/history/correct?line=1"))
        fields = {"practice": "cut", "date": "2025-11-02", "ground": "", "killed_pct": str(self._luck.randrange(1, 99))}
        looked = _hidden(self._post("history/look", {**said, **fields, "seen": page["seen"]}))
        return self._saved("history/correct", {**said, "seen": page["seen"], "draft": looked["draft"]})

    def _saved(self, act: str, fields: Mapping[str, str]) -> str | None:
        answer = self._post(act, fields)
        self.rows += answer.status == 303
        return None if answer.status == 303 else f"{act} was answered {answer.status}: {answer.text[:600]}"

    def _load(self) -> str | None:
        table = (
            f"plot_id,unit_id,method,plot_acres,stems,date\nz{self._luck.getrandbits(60)},A,fixed,0.05,12,2026-01-05\n"
        )
        wrong = self._worked("load/bring", {"kind": "plots"}, files={"file": ("p.csv", table.encode())})
        self.rows += wrong is None
        return wrong

    def _map(self) -> str | None:
        return self._worked("papers/make", {"paper": "map", "audience": self._luck.choice(("owner", "public"))})

    def _worked(self, act: str, fields: Mapping[str, str], **more: Any) -> str | None:
        """Begin a command of the desk's and wait for its end."""
        answer = self._post(act, fields, **more)
        at = answer.heads.get("location")
        while at and (answer.status == 303 or "data-work=" in answer.text):
            answer = self.desk.get(at)
        return None if ": done." in answer.text else f"{act} ended {answer.status}: {answer.text[-900:]}"

    def _start(self) -> str | None:
        answer = self.desk.post(
            "/start/make", {"name": f"New {self._luck.getrandbits(60)}", "timezone": "America/Chicago"}
        )
        self.made += answer.status == 303
        return None if answer.status == 303 else f"a new property was answered {answer.status}: {answer.text[:600]}"

    def _post(self, act: str, fields: Mapping[str, str], **more: Any) -> Any:
        return self.desk.post(f"/{self._key}/{act}", fields, **more)


def _hidden(answer: Any) -> dict[str, str]:
    """Return the hidden fields of a page, or what the address says that it leads to."""
    found = dict(re.findall(r'name="(\w+)" value="([^"]*)"', answer.text))
    return found | dict(parse_qsl(urlsplit(answer.heads.get("location", "")).query))


def _killed_at_work(desk: Any, place: Path, luck: Random, before: State, found: Kills) -> str | None:
    made_before, browser = len(_made(desk.home)), _Browser(desk, place, luck)
    timer = threading.Timer(luck.uniform(0.0, 3.0), desk.process.kill)
    timer.start()
    wrong = None
    try:
        while wrong is None:
            wrong = browser.act()
    except (OSError, http.client.HTTPException):
        pass  # it is dead
    timer.join()
    code = desk.process.wait(timeout=60)
    if wrong is not None or code != -signal.SIGKILL:
        return wrong or f"the desk ended by itself with {code}"
    found.kills[f"the desk's process at {browser.doing}"] += 1
    found.acknowledged += browser.rows + browser.made
    for one in _at_work_on(place):  # commands that the desk had begun
        if luck.random() < 0.5:
            with suppress(ProcessLookupError):
                os.kill(one, signal.SIGKILL)
    while _at_work_on(place):
        time.sleep(0.02)
    work, made = place.parent / "work", _made(desk.home)
    whole = [one for one in made if (one / SETTINGS).exists()]
    if not len(whole) <= made_before + browser.made + 1 <= len(whole) + 1:
        return f"{browser.made} properties were told as made, and {len(whole) - made_before} are there"
    for one in made:
        is_whole = one in whole
        after = state_of(one, work, Write("new")) if is_whole else State(0, None)
        if wrong := broken(one, work, Write("new"), before=State(0, None), after=after, is_told=is_whole):
            return f"a new property: {wrong}"
        if not is_whole:
            shutil.rmtree(one, ignore_errors=True)
    told = replace(before, rows=before.rows + browser.rows)
    on_its_way = replace(told, rows=told.rows + 1)
    return broken(place, work, Write("desk"), before=told, after=on_its_way, is_told=False)


def _made(home: Path) -> list[Path]:
    return sorted(home.glob("habmap/*"))


def _at_work_on(place: Path) -> list[int]:
    """Return the processes whose command line names a property."""
    found = []
    for line in Path("/proc").glob("[0-9]*/cmdline"):
        with suppress(OSError):
            if os.fsencode(place) in line.read_bytes():
                found.append(int(line.parent.name))
    return found


def kill_workers(*, seed: int, most: int, seconds: float) -> Kills:
    """Kill a worker of `region terrain`, which must end as if nothing had been, or the command, which goes on anew."""
    found, until, folder = Kills(), time.monotonic() + seconds, scratch("habmap-kills-")
    files = valid_files()["region terrain -o out.csv"]
    for name, content in files.items():
        (folder / name).write_bytes(content)
    words = ["region", "terrain", "u.geojson", "d.tif", "-o", "out.csv", "--part-cells", "200"]
    try:
        began = time.monotonic()
        whole = _region(folder, [*words, "--workers", "2"], kill=None)
        took_s = time.monotonic() - began
        number = 0
        while found.total < most and time.monotonic() < until and not found.faults:
            luck = chance(seed, "kill worker", number)
            number += 1
            is_worker = luck.random() < 0.6
            was_killed = _region(folder, [*words, "--workers", "2"], kill=(is_worker, luck.random() * took_s))
            if was_killed is None:
                found.kills["region's command" if not is_worker else "region's worker"] += 1
                if (folder / "out.csv").exists() and (folder / "out.csv").read_bytes() != whole:
                    found.faults.append(f"kill {number - 1} of region (seed {seed}): the table is there and not whole")
                again = _region(folder, [*words, "--resume", "--overwrite", "--workers", "1"], kill=None, is_anew=False)
                if again != whole:
                    found.faults.append(f"kill {number - 1} of region (seed {seed}): gone on, the table differs")
                continue
            found.kills["region's worker"] += 1
            if was_killed != whole:
                found.faults.append(f"kill {number - 1} of a worker (seed {seed}): the table differs")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return found


def _region(folder: Path, words: list[str], *, kill: tuple[bool, float] | None, is_anew: bool = True) -> bytes | None:
    """Run region; return the table, or ``None`` where the command itself was killed."""
    import subprocess
    import sys

    if is_anew:
        (folder / "out.csv").unlink(missing_ok=True)
        shutil.rmtree(folder / "out.csv.parts", ignore_errors=True)
    command = [sys.executable, "-m", "habmap", *words]
    process = subprocess.Popen(command, cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    if kill is not None:
        is_worker, after_s = kill
        time.sleep(after_s)
        victims = _workers(process.pid) if is_worker else [process.pid]
        if victims:
            with suppress(ProcessLookupError):
                os.kill(victims[-1], signal.SIGKILL)
    _, err = process.communicate(timeout=300)
    if process.returncode == -signal.SIGKILL:
        return None
    if process.returncode != 0:
        return b"ended with " + str(process.returncode).encode() + err
    return (folder / "out.csv").read_bytes()


def _workers(process: int) -> list[int]:
    """Return the processes below a command that have none below them and are Python's own for many processes."""
    try:
        below = [int(one) for one in Path(f"/proc/{process}/task/{process}/children").read_text().split()]
        line = Path(f"/proc/{process}/cmdline").read_bytes()
    except OSError:
        return []
    if not below:
        return [process] if b"multiprocessing" in line and b"resource_tracker" not in line else []
    return [leaf for one in below for leaf in _workers(one)]


def summary(kinds: Mapping[str, Kills]) -> str:
    """Return the counts in one line."""
    said = ", ".join(f"{count:,} {name}" for found in kinds.values() for name, count in sorted(found.kills.items()))
    late = sum(found.too_late for found in kinds.values())
    told = sum(found.acknowledged for found in kinds.values())
    return f"{sum(found.total for found in kinds.values()):,} kills ({said}; {late:,} came too late; {told:,} acknowledged)"
