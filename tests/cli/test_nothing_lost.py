"""Nothing that was acknowledged is ever lost, whatever happens to the process, the disk or the neighbors.

A child process writes batches of two rows through the store and acknowledges each on a pipe; it is killed at random
moments. The independent reader is GDAL, in a process of its own.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from shapely import MultiPolygon, box

from habmap.errors import PlaceBusyError, PlaceError
from habmap.place import connection as connection_module
from habmap.place.connection import connect
from habmap.place.store import GeoPackageStore
from habmap.records import Entry, Unit

pytestmark = pytest.mark.skipif(os.name != "posix", reason="kills and mounts as POSIX knows them")

NOBODY = 65534
SEED = 20260301
WRITES = 180
KILLS = 6  # a thousand and more are the soak's


def batch(number: int) -> tuple[Entry, Entry]:
    """Two rows that belong together: a line with many corners and its amendment."""
    moment = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(seconds=number)
    corner = -97 + number / 1000
    ground = MultiPolygon([box(corner + k / 1e5, 36, corner + (k + 0.5) / 1e5, 36.001) for k in range(20)])
    line = Entry(
        entry_id=f"line-{number:05d}",
        recorded_at=moment,
        practice="cut",
        date=date(2026, 1, 1),
        patch=ground,
        note=f"{number} " + "é" * 2000,
        cost=number / 7,
    )
    amend = Entry(
        entry_id=f"amend-{number:05d}",
        recorded_at=moment,
        action="amend",
        target=line.entry_id,
        why="test",
        practice="mulch",
        date=date(2026, 1, 2),
        patch=ground,
    )
    return line, amend


#: The child: append batches from a number on, acknowledge each when the store has returned.
WRITER = """
import importlib.util, sys
from pathlib import Path
spec = importlib.util.spec_from_file_location("nothing_lost", sys.argv[1])
module = importlib.util.module_from_spec(spec)
spec.loader.exec_module(module)
module.write(Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]))
"""


def write(folder: Path, first: int, count: int) -> None:
    """Be the child."""
    store = GeoPackageStore.open(folder)
    for number in range(first, first + count):
        store.append(batch(number))
        os.write(1, f"{number}\n".encode())


def child(folder: Path, first: int, count: int) -> subprocess.Popen[str]:
    arguments = [sys.executable, "-c", WRITER, __file__, str(folder), str(first), str(count)]
    return subprocess.Popen(arguments, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def read_by_gdal(path: Path) -> set[str]:
    code = (
        "import sys, json, pyogrio\n"
        "frame = pyogrio.read_dataframe(sys.argv[1], layer='entries')\n"
        "assert frame.geometry.is_valid.all() and not frame.geometry.is_empty.any()\n"
        "print(json.dumps(list(frame['entry_id'])))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr
    return set(json.loads(done.stdout))


def assert_whole(store: GeoPackageStore, acknowledged: set[int]) -> set[int]:
    """Every acknowledged batch is there, every batch is whole and as it was written; return the batches there."""
    by_id = {entry.entry_id: entry for entry in store.entries()}
    there = {int(entry_id.split("-")[1]) for entry_id in by_id}
    assert acknowledged <= there
    expected = {row.entry_id: row for number in there for row in batch(number)}
    assert by_id == expected
    assert store.storage_faults() == []
    return there


@pytest.fixture
def store(tmp_path: Path) -> GeoPackageStore:
    return GeoPackageStore.create(tmp_path / "place", "Test place")


def test_kills_at_random_moments_lose_nothing(store: GeoPackageStore) -> None:
    chance = random.Random(SEED)
    acknowledged: set[int] = set()
    first = 0
    for kill in range(KILLS):
        is_last = kill == KILLS - 1
        wanted = WRITES - len(acknowledged) if is_last else WRITES // KILLS
        process = child(store.folder, first, 10**6)
        assert process.stdout is not None and process.stderr is not None
        for _ in range(wanted):
            line = process.stdout.readline()
            assert line, process.stderr.read()
            acknowledged.add(int(line))
        time.sleep(chance.uniform(0, 0.02))
        process.send_signal(signal.SIGKILL)
        # Not communicate(): it passes over what readline has read ahead.
        late = process.stdout.read()
        process.wait(timeout=30)
        process.stdout.close()
        process.stderr.close()
        # What reached the pipe before the kill was acknowledged too; a line cut short was not.
        acknowledged |= {int(line) for line in late.splitlines(keepends=True) if line.endswith("\n")}
        assert process.returncode == -signal.SIGKILL
        there = assert_whole(GeoPackageStore.open(store.folder), acknowledged)
        assert len(there - acknowledged) <= kill + 1, "at most the one batch in flight per kill"
        if kill % 3 == 2:
            assert read_by_gdal(store.path) == {row.entry_id for number in there for row in batch(number)}
        first = max(there) + 1
    assert len(acknowledged) >= WRITES


@pytest.mark.parametrize("step", ["end_replaced_versions", "note_contents", "fix_grid"])
def test_killed_inside_a_transaction(store: GeoPackageStore, step: str) -> None:
    """So many rows that SQLite has begun to write the file when the kill comes: the journal left behind undoes it."""
    store.append(batch(0))
    code = f"""
import importlib.util, os, signal, sys
from dataclasses import replace
from pathlib import Path
from habmap.place import writing
from habmap.place.store import GeoPackageStore
from habmap.records import Unit
spec = importlib.util.spec_from_file_location("nothing_lost", sys.argv[1])
module = importlib.util.module_from_spec(spec)
spec.loader.exec_module(module)
writing.{step} = lambda *arguments: os.kill(os.getpid(), signal.SIGKILL)
line = module.batch(1)[0]
rows = [replace(line, entry_id=f"more-{{number}}") for number in range(1500)]
rows.append(Unit(uuid="u", unit_id="U", name="", cover="cedar", geometry=line.patch, recorded_at=line.recorded_at))
GeoPackageStore.open(Path(sys.argv[2])).append(rows)
"""
    done = subprocess.run([sys.executable, "-c", code, __file__, str(store.folder)], timeout=60, check=False)
    assert done.returncode == -signal.SIGKILL
    journal = store.path.with_name(store.path.name + "-journal")
    assert journal.stat().st_size > 0, "the kill was meant to leave a hot journal"
    again = GeoPackageStore.open(store.folder)
    assert assert_whole(again, {0}) == {0}
    assert again.unit_versions() == ()
    again.append(batch(2))
    assert read_by_gdal(store.path) == {row.entry_id for number in (0, 2) for row in batch(number)}


# --- the disk -----------------------------------------------------------------------------------------------


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 600 KB in memory; its tests carry the mark ``mount``."""
    where = tmp_path / "small"
    where.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=600k", "tmpfs", str(where)], capture_output=True, text=True, check=False
    )
    assert mounted.returncode == 0, mounted.stderr
    yield where
    subprocess.run(["umount", str(where)], check=True)


def fill(store: GeoPackageStore) -> tuple[set[int], PlaceError]:
    acknowledged: set[int] = set()
    for number in range(1000):
        try:
            store.append(batch(number))
        except PlaceError as error:
            return acknowledged, error
        acknowledged.add(number)
    raise AssertionError("the disk never filled up")


@pytest.mark.mount
def test_full_disk(small_disk: Path) -> None:
    store = GeoPackageStore.create(small_disk / "place", "Test place")
    acknowledged, error = fill(store)
    assert "disk is full" in error.what
    assert len(acknowledged) > 3
    assert assert_whole(GeoPackageStore.open(store.folder), acknowledged) == acknowledged
    assert read_by_gdal(store.path) == {row.entry_id for number in acknowledged for row in batch(number)}


def test_injected_limit(store: GeoPackageStore, monkeypatch: pytest.MonkeyPatch) -> None:
    """Not a full disk: SQLite is told to let the file grow no further, which ends in the same error (SQLITE_FULL)."""

    def limited(path: Path, busy_timeout_s: float, *, mode: str = "rw") -> sqlite3.Connection:
        connection = connect(path, busy_timeout_s, mode=mode)
        connection.execute("PRAGMA max_page_count = 80")
        return connection

    with monkeypatch.context() as patch:
        patch.setattr(connection_module, "connect", limited)
        acknowledged, error = fill(store)
    assert "disk is full" in error.what
    assert len(acknowledged) > 3
    assert assert_whole(GeoPackageStore.open(store.folder), acknowledged) == acknowledged
    store.append(batch(999))
    assert assert_whole(store, acknowledged | {999}) == acknowledged | {999}


@pytest.mark.parametrize(("file_mode", "folder_mode"), [(0o444, 0o755), (0o444, 0o555), (0o666, 0o555)])
def test_read_only_file_or_folder(file_mode: int, folder_mode: int) -> None:
    """Read as before; a write is refused in words and changes nothing. Root gives up its rights for this."""
    with tempfile.TemporaryDirectory() as top:
        Path(top).chmod(0o755)
        store = GeoPackageStore.create(Path(top) / "place", "Test place")
        store.append(batch(0))
        before = store.path.read_bytes()
        store.path.chmod(file_mode)
        store.folder.chmod(folder_mode)
        code = f"""
import importlib.util, os, sys
from pathlib import Path
from habmap.errors import PlaceError
spec = importlib.util.spec_from_file_location("nothing_lost", sys.argv[1])
module = importlib.util.module_from_spec(spec)
spec.loader.exec_module(module)
# Python's own folder may be root's alone: what is loaded late must be loaded before the rights are given up
module.GeoPackageStore.open(Path(sys.argv[2])).entries()
if os.geteuid() == 0:
    os.setgid({NOBODY})
    os.setuid({NOBODY})
store = module.GeoPackageStore.open(Path(sys.argv[2]))
assert len(store.entries()) == 2
try:
    store.append(module.batch(1))
except PlaceError as error:
    print(error.what)
"""
        done = subprocess.run(
            [sys.executable, "-c", code, __file__, str(store.folder)],
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        store.folder.chmod(0o755)
        assert done.returncode == 0, done.stderr
        assert "cannot be" in done.stdout and "nothing was changed" in done.stdout
        assert store.path.read_bytes() == before
        assert sorted(path.name for path in store.folder.iterdir()) == [
            "habmap.toml", "out", "photos", "place.gpkg", "tracks",
        ]  # fmt: skip


# --- the neighbors -----------------------------------------------------------------------------------------

HOLDER = """
import sqlite3, sys
connection = sqlite3.connect(sys.argv[1], isolation_level=None)
connection.execute("BEGIN IMMEDIATE")
print("held", flush=True)
sys.stdin.readline()
connection.execute("ROLLBACK")
"""


def holder(store: GeoPackageStore) -> subprocess.Popen[str]:
    """Start another program that holds the file until it is told to let go."""
    arguments = [sys.executable, "-c", HOLDER, str(store.path)]
    process = subprocess.Popen(arguments, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None and process.stdout.readline() == "held\n"
    return process


def test_a_locked_file_is_waited_for(store: GeoPackageStore) -> None:
    with holder(store) as process, ThreadPoolExecutor() as pool:
        written = pool.submit(store.append, batch(0))
        with pytest.raises(TimeoutError):
            written.result(timeout=0.3)
        process.communicate("let go\n")
        written.result()
    assert assert_whole(store, {0}) == {0}


def test_a_lock_that_stays_is_said(store: GeoPackageStore) -> None:
    store.append(batch(0))
    impatient = GeoPackageStore.open(store.folder, busy_timeout_s=0.3)
    with holder(store) as process:
        start = time.monotonic()
        with pytest.raises(PlaceBusyError, match="another program is writing"):
            impatient.append(batch(1))
        assert time.monotonic() - start > 0.2
        assert assert_whole(impatient, {0}) == {0}, "reading goes on meanwhile"
        process.kill()
    assert assert_whole(store, {0}) == {0}


def test_eight_processes_logging_at_once_all_arrive(store: GeoPackageStore, run_habmap: Callable[..., Any]) -> None:
    ground = MultiPolygon([box(-97.01, 36, -97, 36.01)])
    moment = datetime(2026, 1, 1, tzinfo=UTC)
    store.append([Unit(uuid="u", unit_id="C1", name="", cover="cedar", geometry=ground, recorded_at=moment)])
    script = Path(sys.executable).with_name("habmap")
    processes = []
    for number in range(8):
        arguments = ["--place", store.folder, "log", "cut", "--date", "2026-01-01", "--unit", "C1", "--whole", "--json"]
        arguments += ["--person-hours", str(number)]
        processes.append(
            subprocess.Popen(
                [str(word) for word in [script, *arguments]],
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                text=True,
            )
        )
    entry_ids = set()
    for process in processes:
        out, err = process.communicate(timeout=120)
        assert process.returncode == 0, out + err
        entry_ids.add(json.loads(out)["entry_id"])
    found = GeoPackageStore.open(store.folder).entries()
    assert {entry.entry_id for entry in found} == entry_ids
    assert sorted(entry.person_hours or 0 for entry in found) == list(range(8))
    account = run_habmap("acres", "--json", place=store.folder)
    assert account.code == 0, account.err
    assert account.json["practices"][0]["entries"] == 8
