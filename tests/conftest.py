"""What every test shares: the real command in a process, and the outside programs that tests compare with.

Tests that need a program which pip does not bring carry its mark of ``scripts/outside.py``. Where it is missing they
are skipped with the reason; with ``CI=true`` a missing program is a failure, and so is every skip but one that root
cannot show, so that no comparison can quietly stop. A test that starts an outside program without its mark fails.
"""

from __future__ import annotations

import fcntl
import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

import hypothesis
import numpy.testing  # noqa: F401 - before the guard below: an old one starts a program as it loads
import pytest
from command_server import IN_PLACE, CommandServer, CommandsInPlace, preload
from outside import OUTSIDE, in_ci, path_of, why_missing

# Before any test, so that no test alone is said to run what runs as a module is loaded.
if IN_PLACE in os.environ:
    preload()

# A machine on which everything is written at once would hide a line that waits in a buffer.
os.environ.pop("PYTHONUNBUFFERED", None)

# A run that was begun in the background ignores Ctrl-C, and what it starts would as well.
signal.signal(signal.SIGINT, signal.default_int_handler)

# No test is timed: a busy machine is not a fault of the code.
# The machine that guards main tries the same examples each time; every other run looks for new ones.
hypothesis.settings.register_profile(
    "untimed", deadline=None, suppress_health_check=[hypothesis.HealthCheck.too_slow], derandomize=in_ci()
)
hypothesis.settings.load_profile("untimed")

REPOSITORY = Path(__file__).resolve().parent.parent
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
    server = CommandsInPlace() if IN_PLACE in os.environ else CommandServer()
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
    found = path_of(*OUTSIDE["browser"].programs)
    assert found, "a test that asks for chromium_path needs the mark `browser`"
    return found


@pytest.fixture(scope="session")
def browser(chromium_path: str) -> Iterator[Any]:
    """Debian's chromium, one for all tests that drive it."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        running = playwright.chromium.launch(
            executable_path=chromium_path, args=["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]
        )
        yield running
        running.close()


# --- outside programs ---------------------------------------------------------------------------------------


#: The mark of the one test that root cannot show (a folder that may not be written).
ROOT_CANNOT_SHOW = "root_cannot_show"
#: What a test may start without a mark: Python itself, and what pip put beside it.
_OWN_PROGRAMS = Path(sys.executable).parent
#: Marks of the test that runs now in this process.
_marks_now: set[str] = set()


def pytest_configure(config: pytest.Config) -> None:
    for mark, outside in OUTSIDE.items():
        packages = ", ".join(outside.packages)
        config.addinivalue_line("markers", f"{mark}: {outside.what} (Debian: {packages})")
    config.addinivalue_line("markers", "pinned: tells of the versions of scripts/constraints.txt, not of their lowest")
    config.addinivalue_line("markers", f"{ROOT_CANNOT_SHOW}: skipped for root, who may do what it shows to be refused")
    sys.addaudithook(_guard)


def _guard(event: str, arguments: tuple[Any, ...]) -> None:
    """Refuse to start an outside program for a test that does not carry its mark."""
    if event != "subprocess.Popen" or not _marks_now:
        return
    program = Path(os.fsdecode(arguments[0] or arguments[1][0]))
    if program.parent == _OWN_PROGRAMS:
        return
    if "playwright" in program.parts:
        bringers = ["browser"]
    else:
        bringers = [
            mark for mark, outside in OUTSIDE.items() if any(program.name in p.split("|") for p in outside.programs)
        ]
    if not _marks_now & set(bringers):
        needed = f"the mark `{bringers[0]}`" if bringers else "a row in scripts/outside.py, and its mark"
        raise AssertionError(f"a test starts {program.name}: it needs {needed}")


def pytest_runtest_setup(item: pytest.Item) -> None:
    _marks_now.clear()
    _marks_now.update(["any", *(mark.name for mark in item.iter_markers())])
    if ROOT_CANNOT_SHOW in _marks_now and (os.name == "nt" or os.geteuid() == 0):
        pytest.skip("root may write anywhere")
    for mark in OUTSIDE:
        if mark not in _marks_now:
            continue
        reason = why_missing(mark, sys.executable)
        if reason is None:
            continue
        if in_ci():
            pytest.fail(f"CI=true and {reason}: the comparison must not be left out", pytrace=False)
        pytest.skip(reason)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    if report.skipped and in_ci() and item.get_closest_marker(ROOT_CANNOT_SHOW) is None:
        report.outcome = "failed"
        report.longrepr = f"CI=true and this test was skipped: {report.longrepr}"
    return report


def pytest_report_header(config: pytest.Config) -> list[str]:
    import pyproj
    import rasterio
    import shapely

    libraries = ", ".join(f"{name} {version(name)}" for name in HEADER_LIBRARIES)
    programs = ", ".join(
        f"{name}: {path_of(name) or 'missing'}" for outside in OUTSIDE.values() for name in outside.programs
    )
    return [
        f"libraries: {libraries}",
        f"GDAL {rasterio.__gdal_version__}, PROJ {pyproj.proj_version_str}, GEOS {shapely.geos_version_string}",
        f"programs: {programs}; CI={'true' if in_ci() else 'no'}",
    ]
