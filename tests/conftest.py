"""What every test shares: the real command in a process, and the outside programs that tests compare with.

Tests marked ``browser``, ``gdaldem`` or ``terra`` need a program that pip does not bring. Where it is missing
they are skipped with the reason; with ``CI=true`` a missing program is a failure, so that no comparison can
quietly stop.
"""

from __future__ import annotations

import fcntl
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

import hypothesis
import pytest
from command_server import CommandServer

# No test is timed: a busy machine is not a fault of the code.
hypothesis.settings.register_profile("untimed", deadline=None, suppress_health_check=[hypothesis.HealthCheck.too_slow])
hypothesis.settings.load_profile("untimed")

REPOSITORY = Path(__file__).resolve().parent.parent
IN_CI = os.environ.get("CI", "").lower() == "true"
HEADER_LIBRARIES = (
    "numpy",
    "shapely",
    "pyproj",
    "rasterio",
    "geopandas",
    "exactextract",
    "folium",
    "pydantic",
    "typer",
)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a run of the command left behind."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """The one JSON object on stdout; anything else there fails the test."""
        return json.loads(self.out)


def habmap_command() -> list[str]:
    """Return the installed console command of the interpreter that runs the tests."""
    name = "habmap.exe" if os.name == "nt" else "habmap"
    script = Path(sys.executable).with_name(name)
    if not script.exists():
        pytest.fail(f"the habmap command is not installed beside {sys.executable}: run `python3 scripts/dev.py test`")
    return [str(script)]


@pytest.fixture(scope="session")
def command_server() -> Iterator[CommandServer]:
    """A process that runs the command without loading its libraries each time."""
    server = CommandServer()
    yield server
    server.close()


@pytest.fixture(scope="session")
def run_habmap(command_server: CommandServer) -> Callable[..., Outcome]:
    """Run ``habmap ARGS…`` in a process of its own, as a person or a script would.

    ``place`` becomes ``--place``; ``cwd``, ``stdin`` and extra ``env`` variables are optional. A run of more
    than ``timeout_s`` seconds fails the test. With ``env`` the installed console script itself is started.
    ``columns`` is the breadth of the terminal [characters].
    """

    def run(
        *arguments: object,
        place: Path | str | None = None,
        cwd: Path | str | None = None,
        env: dict[str, str] | None = None,
        stdin: str = "",
        timeout_s: float = 180,
        columns: int = 120,
    ) -> Outcome:
        words = ["--place", str(place)] if place is not None else []
        words += [str(argument) for argument in arguments]
        whole = {**os.environ, "NO_COLOR": "1", "COLUMNS": str(columns), "PYTHONUTF8": "1", **(env or {})}
        if env is None:
            found = command_server.run(words, cwd=str(cwd or Path.cwd()), env=whole, stdin=stdin, timeout_s=timeout_s)
            return Outcome(*found)
        done = subprocess.run(
            [*habmap_command(), *words],
            cwd=cwd,
            input=stdin,
            env=whole,
            capture_output=True,
            encoding="utf-8",
            timeout=timeout_s,
            check=False,
        )
        return Outcome(code=done.returncode, out=done.stdout, err=done.stderr)

    return run


@pytest.fixture(scope="session")
def demo_place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample property as ``habmap demo`` makes it on 1 August 2026; a test that writes works on a copy.

    Made once for all processes that share a run of the tests, then copied for each of them.
    """
    made = made_once(tmp_path_factory, "demo", _make_demo)
    return Path(shutil.copytree(made, tmp_path_factory.mktemp("demo") / "sample"))


def _make_demo(folder: Path) -> None:
    from habmap.jobs.demo import demo

    demo(folder, now=datetime(2026, 8, 1, 12, tzinfo=UTC), today=date(2026, 8, 1))


def made_once(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], None]) -> Path:
    """Return a folder that the first process to ask makes while the others wait; nobody writes to it afterwards."""
    top = factory.getbasetemp()
    shared = (top.parent if "PYTEST_XDIST_WORKER" in os.environ else top) / "made_once"
    shared.mkdir(exist_ok=True)
    folder, draft = shared / name, shared / f"{name}-draft"
    with (shared / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # let go when the file is closed, or the process ends
        if not folder.exists():
            shutil.rmtree(draft, ignore_errors=True)  # of a process that was stopped at it
            make(draft)
            draft.rename(folder)
    return folder


@pytest.fixture(scope="session")
def repository() -> Path:
    """The top folder of the checkout."""
    return REPOSITORY


@pytest.fixture(scope="session")
def chromium_path() -> str:
    """Where the browser is; tests that ask for it carry the mark ``browser``."""
    found = _chromium()
    assert found, "a test that asks for chromium_path needs the mark `browser`"
    return found


# --- outside programs ---------------------------------------------------------------------------------------


@lru_cache
def _chromium() -> str | None:
    return shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")


@lru_cache
def _why_missing(mark: str) -> str | None:
    """Say why the program behind a mark cannot be used; ``None`` when it can."""
    if mark == "browser":
        return None if _chromium() else "no chromium on PATH (Debian: apt-get install chromium)"
    if mark == "gdaldem":
        return None if shutil.which("gdaldem") else "no gdaldem on PATH (Debian: apt-get install gdal-bin)"
    rscript = shutil.which("Rscript")
    if rscript is None:
        return "no Rscript on PATH (Debian: apt-get install r-cran-terra)"
    probe = subprocess.run(
        [rscript, "--vanilla", "-e", 'quit(status = if (nzchar(system.file(package = "terra"))) 0 else 1)'],
        capture_output=True,
        timeout=60,
        check=False,
    )
    return None if probe.returncode == 0 else "R has no terra package (Debian: apt-get install r-cran-terra)"


def pytest_runtest_setup(item: pytest.Item) -> None:
    for mark in ("browser", "gdaldem", "terra"):
        if item.get_closest_marker(mark) is None:
            continue
        reason = _why_missing(mark)
        if reason is None:
            continue
        if IN_CI:
            pytest.fail(f"CI=true and {reason}: the comparison must not be left out", pytrace=False)
        pytest.skip(reason)


def pytest_report_header(config: pytest.Config) -> list[str]:
    import pyproj
    import rasterio
    import shapely

    libraries = ", ".join(f"{name} {version(name)}" for name in HEADER_LIBRARIES)
    programs = ", ".join(f"{name}: {shutil.which(name) or 'missing'}" for name in ("gdaldem", "Rscript"))
    return [
        f"libraries: {libraries}",
        f"GDAL {rasterio.__gdal_version__}, PROJ {pyproj.proj_version_str}, GEOS {shapely.geos_version_string}",
        f"programs: chromium: {_chromium() or 'missing'}, {programs}; CI={'true' if IN_CI else 'no'}",
    ]
