"""What a power cut right after "Logged" can take: nothing, since the journal's end is on the disk before it is said.

A rollback journal that comes back after a power cut undoes the transaction that it belongs to. So the folder, which
holds the journal's name, must be put on the disk after the journal is taken away and before a person is told (SQLite,
"PRAGMA synchronous", EXTRA). The kernel's own view of the command shows it.
"""

from __future__ import annotations

import re
import subprocess
import sys
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from shapely import MultiPolygon, box

from habmap.place.store import GeoPackageStore
from habmap.records import Unit

COMMAND = "from habmap.cli.main import run; run()"


@pytest.fixture
def place(tmp_path: Path) -> Path:
    store = GeoPackageStore.create(tmp_path / "place", "Small")
    ground = MultiPolygon([box(-98, 38, -97.999, 38.001)])
    moment = datetime(2026, 1, 1, tzinfo=UTC)
    store.append([Unit(uuid="a", unit_id="A", name="A", cover="cedar", geometry=ground, recorded_at=moment)])
    return store.folder


@pytest.mark.strace
def test_the_folder_is_on_the_disk_before_a_line_is_acknowledged(place: Path, tmp_path: Path) -> None:
    trace = tmp_path / "trace"
    calls = "unlink,unlinkat,fsync,fdatasync,write"
    command = [sys.executable, "-c", COMMAND, "--place", str(place), "log", "cut", "--date", "2026-01-02"]
    words = ["strace", "-f", "-y", "-s", "200", "-o", str(trace), "-e", f"trace={calls}", *command]
    done = subprocess.run([*words, "--unit", "A", "--whole"], capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stderr
    lines = trace.read_text(encoding="utf-8", errors="replace").splitlines()
    gone = [at for at, text in enumerate(lines) if re.search(r'unlink(at)?\(.*place\.gpkg-journal".*= 0', text)]
    told = [at for at, text in enumerate(lines) if "write(1<" in text and "Logged" in text]
    folder = re.escape(str(place.resolve()))
    synced = [at for at, text in enumerate(lines) if re.search(rf"f(data)?sync\(\d+<{folder}>\) += 0", text)]
    assert gone and told, lines[-20:]
    assert any(gone[-1] < at < told[0] for at in synced), lines[-20:]
    assert [line.date for line in GeoPackageStore.open(place).entries()] == [date(2026, 1, 2)]
