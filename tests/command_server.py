"""Run the real command many times without loading its libraries many times.

``serve`` is a process that has imported habmap and the heavy libraries and does nothing else. For each request it
forks: the child takes the given folder, environment and streams, runs the command line as the console script does, and
ends with its exit code. So every run is still a process of its own, with nothing left over from the run before.
"""

from __future__ import annotations

import contextlib
import gc
import json
import os
import pkgutil
import select
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

#: Imported once, before the first request. Only imported: nothing is opened, so no child shares a file with another.
PRELOADED = (
    "numpy", "scipy.stats", "scipy.special", "pandas", "shapely", "shapely.geometry", "pyproj", "rasterio",
    "rasterio.warp", "geopandas", "pyogrio", "exactextract", "pydantic", "jinja2", "folium", "gpxpy", "icalendar",
    "xlsxwriter", "reportlab.pdfgen.canvas", "reportlab.pdfbase.ttfonts", "contourpy",
)  # fmt: skip


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
        assert self._process.stdin is not None and self._process.stdout is not None
        with tempfile.TemporaryDirectory() as folder:
            given, out, err = (Path(folder, name) for name in ("in", "out", "err"))
            given.write_text(stdin, encoding="utf-8")
            request = {
                "arguments": arguments,
                "cwd": cwd,
                "env": env,
                "streams": [str(given), str(out), str(err)],
            }
            self._process.stdin.write(json.dumps(request) + "\n")
            self._process.stdin.flush()
            answered, _, _ = select.select([self._process.stdout], [], [], timeout_s)
            if not answered:
                self.close()
                raise subprocess.TimeoutExpired(arguments, timeout_s)
            code = int(self._process.stdout.readline())
            return code, out.read_text(encoding="utf-8"), err.read_text(encoding="utf-8")

    def close(self) -> None:
        """End the server."""
        self._process.kill()
        self._process.wait()
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                with contextlib.suppress(BrokenPipeError):
                    stream.close()


def serve() -> None:
    """Answer requests until stdin ends."""
    import importlib

    for name in PRELOADED:
        importlib.import_module(name)
    import habmap

    # Every module of ours too: the commands load theirs when they are called, a tenth of a second for each run.
    for module in pkgutil.walk_packages(habmap.__path__, "habmap."):
        importlib.import_module(module.name)
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


def _become(request: dict[str, Any]) -> None:
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
        os._exit(code)


if __name__ == "__main__":
    serve()
