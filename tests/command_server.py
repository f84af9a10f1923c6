"""Run the real command many times without loading its libraries many times.

``serve`` is a process that has imported habmap and the heavy libraries and does nothing else. For each request it
forks: the child takes the given folder, environment and streams, runs the command line as the console script does, and
ends with its exit code. So every run is still a process of its own, with nothing left over from the run before.

While wrong rules are tried (scripts/mutants.py sets ``IN_PLACE``) there is no server: each command is a copy of the
test's own process, which holds the change. Where lines are noted, those of the command are too, by its test's name.
"""

from __future__ import annotations

import contextlib
import gc
import json
import os
import pkgutil
import resource
import select
import signal
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

#: Imported once, before the first request. Only imported: nothing is opened, so no child shares a file with another.
PRELOADED = (
    "numpy", "scipy.stats", "scipy.special", "pandas", "shapely", "shapely.geometry", "pyproj", "rasterio",
    "rasterio.warp", "geopandas", "pyogrio", "exactextract", "pydantic", "jinja2", "folium", "gpxpy", "icalendar",
    "xlsxwriter", "reportlab.pdfgen.canvas", "reportlab.pdfbase.ttfonts", "contourpy",
)  # fmt: skip


#: Set in the environment where commands are copies of the test's own process.
IN_PLACE = "HABMAP_TESTS_COMMANDS_IN_PLACE"


class CommandServer:
    """The server's other end, for one test session."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, __file__], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, encoding="utf-8"
        )

    def run(
        self, arguments: list[str], *, cwd: str, env: dict[str, str], stdin: str, timeout_s: float
    ) -> tuple[int, str, str]:
        """Run one command line; return exit code, stdout and stderr."""
        with tempfile.TemporaryDirectory() as folder:
            given, out, err = (Path(folder, name) for name in ("in", "out", "err"))
            given.write_text(stdin, encoding="utf-8")
            request = {
                "arguments": arguments,
                "cwd": cwd,
                "env": env,
                "streams": [str(given), str(out), str(err)],
            }
            code = self._answer(request, timeout_s)
            if code is None:
                self.close()
                raise subprocess.TimeoutExpired(arguments, timeout_s)
            return code, out.read_text(encoding="utf-8"), err.read_text(encoding="utf-8")

    def _answer(self, request: dict[str, Any], timeout_s: float) -> int | None:
        assert self._process.stdin is not None and self._process.stdout is not None
        self._process.stdin.write(json.dumps(request) + "\n")
        self._process.stdin.flush()
        answered, _, _ = select.select([self._process.stdout], [], [], timeout_s)
        return int(self._process.stdout.readline()) if answered else None

    def close(self) -> None:
        """End the server."""
        self._process.kill()
        self._process.wait()
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                with contextlib.suppress(BrokenPipeError):
                    stream.close()


class CommandsInPlace(CommandServer):
    """The same by copies of the process that asks, as it stands."""

    def __init__(self) -> None:
        pass

    def _answer(self, request: dict[str, Any], timeout_s: float) -> int | None:
        spent_s = sum(os.times()[:4])  # by the processor, children's included
        child = os.fork()
        if child == 0:
            try:
                limit_s, hard_s = resource.getrlimit(resource.RLIMIT_CPU)
                if limit_s != resource.RLIM_INFINITY:
                    resource.setrlimit(resource.RLIMIT_CPU, (max(1, int(limit_s - spent_s)), hard_s))
                warnings.resetwarnings()  # the test's are errors, which is not the command's affair
                warnings.simplefilter("ignore")
                _become(request, _noting())
            finally:
                os._exit(70)
        watched = os.pidfd_open(child)
        answered, _, _ = select.select([watched], [], [], timeout_s)
        os.close(watched)
        if not answered:
            os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        return os.waitstatus_to_exitcode(status) if answered else None

    def close(self) -> None:
        """Nothing to end."""


def _noting() -> Callable[[], None]:
    """Note this process's lines, apart, under the name of its test, if those of the test are; return what ends it."""
    coverage = sys.modules.get("coverage")
    noted = coverage and coverage.Coverage.current()
    if not noted:
        return lambda: None
    noted.stop()
    os.chdir(Path(__file__).parent.parent)  # files are named from there
    test = os.environ["PYTEST_CURRENT_TEST"].rpartition(" (")[0]
    # A name of its own, since coverage drops what ran the same lines under the same kind of name, whatever the test.
    own = coverage.Coverage(
        noted.config.data_file, f"command{os.getpid()}-{time.time_ns()}", include=["habmap/*"], context=test
    )
    own.start()

    def end() -> None:
        own.stop()
        own.save()

    return end


def preload() -> None:
    """Load the heavy libraries and every module of ours: commands load theirs when called, 0.1 s for each run."""
    import importlib

    for name in PRELOADED:
        importlib.import_module(name)
    import habmap

    for module in pkgutil.walk_packages(habmap.__path__, "habmap."):
        importlib.import_module(module.name)


def serve() -> None:
    """Answer requests until stdin ends."""
    preload()
    gc.freeze()  # what is there is for good: no child goes through it again

    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    for line in sys.stdin:
        request = json.loads(line)
        child = os.fork()
        if child == 0:
            _become(request)
        _, status = os.waitpid(child, 0)
        answers.write(f"{os.waitstatus_to_exitcode(status)}\n")
        answers.flush()


def _become(request: dict[str, Any], at_end: Callable[[], None] = lambda: None) -> None:
    """Run the command in this process and end it."""
    from habmap.cli.main import run

    code = 70
    try:
        os.environ.clear()
        os.environ.update(request["env"])
        os.chdir(request["cwd"])
        for number, name in enumerate(request["streams"]):
            flags = os.O_RDONLY if number == 0 else os.O_WRONLY | os.O_CREAT | os.O_TRUNC
            os.dup2(os.open(name, flags, 0o600), number)
        sys.stdin = os.fdopen(0, encoding="utf-8", closefd=False)
        sys.stdout = os.fdopen(1, "w", encoding="utf-8", closefd=False)
        sys.stderr = os.fdopen(2, "w", encoding="utf-8", closefd=False, errors="backslashreplace")
        sys.argv = ["habmap", *request["arguments"]]
        run()
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 0 if end.code is None else 1
    except BaseException:
        import traceback

        traceback.print_exc()
        code = 1
    finally:
        for stream in (sys.stdout, sys.stderr):
            stream.flush()
        with contextlib.suppress(Exception):
            at_end()
        os._exit(code)


if __name__ == "__main__":
    serve()
