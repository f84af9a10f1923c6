"""SIGKILL at random moments: of every command that writes, of the desk in mid-request, of region's workers."""

from __future__ import annotations

import os
import re
import shutil
import signal
import time
from collections import Counter
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from soak.law import run_words, scratch
from soak.property import chance, valid_files
from soak.workers import as_if_alone
from soak.writes import SETTINGS, Write, broken, half_written, laid_out, row_count, writes


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


@dataclass(frozen=True, slots=True)
class _Whole:
    """How a command ends that nobody kills: rows before and after, its output, how long it takes [s]."""

    before: int
    after: int
    output: bytes
    took_s: float


def _whole(template: Path, folder: Path, write: Write) -> _Whole:
    place, work = laid_out(template, folder, write)
    before = row_count(place)
    began = time.monotonic()
    hear, process = _started(lambda tell: _command(place, work, write, tell))
    _, status = os.waitpid(process, 0)
    took_s = time.monotonic() - began
    said = os.read(hear, 1 << 16)
    os.close(hear)
    if os.waitstatus_to_exitcode(status) != 0:
        raise RuntimeError(f"{write.name} cannot be tried: {said.decode()}")
    output = b"" if write.output is None else (work / write.output).read_bytes()
    return _Whole(before, row_count(place), output, took_s)


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


def _command(place: Path, work: Path, write: Write, tell: int) -> int:
    """Run a command; what it says on stdout goes into the pipe when it says it."""
    as_if_alone(work.parent)
    answer = run_words(["--place", str(place), *write.words], cwd=work)
    os.write(tell, (answer.out if answer.code == 0 else answer.err).encode()[:4000])
    return answer.code


def kill_commands(template: Path, *, seed: int, most: int, seconds: float) -> Kills:
    """Kill commands at random moments until there are enough kills or the time is up."""
    found, until, folder = Kills(), time.monotonic() + seconds, scratch("habmap-kills-")
    settings = [(template / SETTINGS).read_bytes()]
    known: dict[str, _Whole] = {}
    all_writes = writes()
    number, pace = 0, 1.0  # so that kills come neither all before the end nor all after it
    try:
        while found.total < most and time.monotonic() < until and not found.faults:
            write, luck = all_writes[number % len(all_writes)], chance(seed, "kill", number)
            number += 1
            if write.name not in known:
                known[write.name] = _whole(template, folder, write)
            whole = known[write.name]
            place, work = laid_out(template, folder, write)
            hear, process = _started(lambda tell: _command(place, work, write, tell))  # noqa: B023 - ended below
            time.sleep(luck.random() * whole.took_s * pace)
            os.kill(process, signal.SIGKILL)
            _, status = os.waitpid(process, 0)
            said = os.read(hear, 1 << 16)
            os.close(hear)
            if os.WIFSIGNALED(status):
                found.kills[write.name] += 1
                pace *= 1.03
            else:
                found.too_late += 1
                pace *= 0.9
            found.acknowledged += bool(said)
            wrong = broken(
                place, before=whole.before, after=whole.after, is_told=bool(said), settings=settings
            ) or half_written(work, write, whole.output)
            if wrong:
                found.faults.append(f"kill {number - 1} (seed {seed}), {' '.join(write.words)}: {wrong}")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return found


def kill_desks(template: Path, *, seed: int, most: int, seconds: float) -> Kills:
    """Kill the desk while it saves a line; a page that said so means that the line is there."""
    found, until, folder = Kills(), time.monotonic() + seconds, scratch("habmap-kills-")
    settings = [(template / SETTINGS).read_bytes()]
    write = Write("desk", ())
    took_s, number = 0.4, 0
    try:
        while found.total < most and time.monotonic() < until and not found.faults:
            luck = chance(seed, "kill desk", number)
            number += 1
            place, _ = laid_out(template, folder, write)
            before = row_count(place)
            hear, process = _started(lambda tell: _desk(place, tell))  # noqa: B023 - ended below
            said = b""
            while b"ready\n" not in said:  # its line is looked at, and about to be sent
                piece = os.read(hear, 100)
                if not piece:
                    break
                said += piece
            began = time.monotonic()
            time.sleep(luck.random() * took_s)
            os.kill(process, signal.SIGKILL)
            _, status = os.waitpid(process, 0)
            told = said.partition(b"ready\n")[2] + os.read(hear, 100)
            os.close(hear)
            if os.WIFSIGNALED(status):
                found.kills["the desk"] += 1
            else:
                found.too_late += 1
                took_s = max(0.02, 0.8 * min(took_s, time.monotonic() - began))
            is_told = b"303" in told
            found.acknowledged += is_told
            wrong = broken(place, before=before, after=before + 1, is_told=is_told, settings=settings)
            if b"ready\n" not in said or (told and not is_told):
                wrong = f"the desk answered {said + told!r}"
            if wrong:
                found.faults.append(f"kill {number - 1} of the desk (seed {seed}): {wrong}")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return found


def _desk(place: Path, tell: int) -> int:
    from soak.desk_forms import TestDesk

    as_if_alone(place.parent)
    desk = TestDesk(place)
    fields = [("practice", "cut"), ("date", "2026-04-02"), ("unit", "B"), ("whole", "yes")]
    looked_at = desk.send("/KEY/log/preview", fields, [])
    draft = re.search(r'name="draft" value="([^"]+)"', looked_at.out)
    if draft is None:
        os.write(tell, looked_at.out[-2000:].encode())
        return 1
    os.write(tell, b"ready\n")
    answer = desk.send("/KEY/log/save", [("draft", draft[1])], [])
    os.write(tell, f"{answer.code}\n".encode())
    return 0


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
