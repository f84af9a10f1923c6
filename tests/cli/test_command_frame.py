"""The command's frame, from outside: help, versions, exit codes, and errors that a script can read."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., Any]

#: Commands of the main job; more are welcome.
MAIN_JOB = ("start", "load", "log", "void", "history", "acres", "terrain", "rank", "map", "check", "demo")
#: Libraries that cost from 50 ms to over half a second each to import, and are not needed to print help.
HEAVY = (
    "branca", "exactextract", "folium", "geopandas", "gpxpy", "jinja2", "matplotlib", "numpy", "pandas", "pydantic",
    "pyogrio", "pyproj", "rasterio", "reportlab", "scipy", "shapely", "sqlite3", "starlette", "tomlkit", "tzlocal",
    "uvicorn",
)  # fmt: skip


def test_help_lists_the_commands(run_habmap: Run) -> None:
    done = run_habmap("--help")
    assert done.code == 0
    assert done.err == ""
    listed = set(re.findall(r"^  ([a-z]+) ", done.out, flags=re.MULTILINE))
    assert set(MAIN_JOB) <= listed


@pytest.mark.parametrize("command", MAIN_JOB)
def test_every_command_has_its_own_help(run_habmap: Run, command: str) -> None:
    done = run_habmap(command, "--help")
    assert done.code == 0
    assert done.out.startswith(f"Usage: habmap {command}")
    # A sentence says what the command does before the options are listed.
    assert re.search(r"Usage: .*\n\n  [A-Z].+\n", done.out)


@pytest.mark.parametrize("words", [(), ("load",), ("export",)])
def test_on_a_narrow_terminal_no_line_of_the_lists_is_cut_off(run_habmap: Run, words: tuple[str, ...]) -> None:
    done = run_habmap(*words, "--help", env={"COLUMNS": "80"})
    commands = done.out.partition("Commands:\n")[2]
    assert len(commands.splitlines()) >= 5
    assert not [line for line in commands.splitlines() if line.endswith("...")]


def test_no_words_at_all_show_the_help(run_habmap: Run) -> None:
    assert run_habmap().out == run_habmap("--help").out


def test_version_names_what_a_bug_report_needs(run_habmap: Run) -> None:
    done = run_habmap("--version")
    assert done.code == 0
    lines = done.out.splitlines()
    assert [line.split()[0] for line in lines] == ["habmap", "GDAL", "PROJ", "GEOS"]
    assert all(re.fullmatch(r"\S+ \d+\.\d+\S*", line) for line in lines)


def test_help_imports_no_heavy_library() -> None:
    # A list of modules, not a stopwatch: it says which import is at fault and cannot flicker on a busy machine.
    script = (
        "import sys\n"
        "from habmap.cli.main import run\n"
        "try:\n"
        "    run(['--help'])\n"
        "except SystemExit:\n"
        f"    print(*sorted(set({HEAVY!r}) & set(sys.modules)), file=sys.stderr)\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, encoding="utf-8", timeout=60, check=True)
    assert "Usage: habmap" in done.stdout
    assert done.stderr.split() == []


def test_only_the_command_that_a_line_names_is_made_ready() -> None:
    from habmap.cli.commands import bite, correct, modules
    from habmap.cli.main import _asked_for

    for words in (["bite", "--acres", "1"], ["--debug", "bite"], ["--place", "week", "bite"], ["--place=x", "bite"]):
        assert _asked_for(words) == (bite,)
    assert _asked_for(["correct", "3"]) == (correct,)
    for words in ([], ["--help"], ["sweep"], ["void"], ["manual", "bite"]):  # who asks for all, or for none there is
        assert _asked_for(words) == modules()


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (("sweep",), "sweep"),
        (("acres", "--color", "red"), "--color"),
        (("acres", "--on", "yesterday"), "yesterday"),
        (("acres", "--on", "2026-02-30"), "2026-02-30"),
        (("acres", "--on", "20260301"), "20260301"),
        (("--place",), "--place"),
        (("start",), "DIR"),
    ],
)
def test_a_wrong_command_line_is_exit_2(run_habmap: Run, tmp_path: Path, words: tuple[str, ...], named: str) -> None:
    done = run_habmap(*words, cwd=tmp_path)
    assert done.code == 2
    assert done.out == ""
    assert named in done.err
    assert "Traceback" not in done.err
    assert list(tmp_path.iterdir()) == []


def test_a_wrong_command_line_under_json_is_one_object_on_stdout(run_habmap: Run, tmp_path: Path) -> None:
    done = run_habmap("acres", "--json", "--on", "2026-02-30", cwd=tmp_path)
    assert done.code == 2
    assert done.err == ""
    assert done.json["schema"] == "habmap/error/1"
    assert set(done.json) >= {"what", "where", "value", "allowed", "mend"}
    assert done.json["value"] == "2026-02-30"


def test_a_folder_that_is_no_place_is_exit_3(run_habmap: Run, tmp_path: Path) -> None:
    done = run_habmap("acres", place=tmp_path)
    assert done.code == 3
    assert done.out == ""
    assert str(tmp_path) in done.err
    assert "habmap start" in done.err  # it says how to mend it
    assert "Traceback" not in done.err
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_no_place_under_json(run_habmap: Run, tmp_path: Path) -> None:
    done = run_habmap("acres", "--json", place=tmp_path)
    assert done.code == 3
    assert done.json["schema"] == "habmap/error/1"
    assert str(tmp_path) in done.json["where"]
    assert done.err == ""


def test_debug_shows_where_in_the_code(run_habmap: Run, tmp_path: Path) -> None:
    done = run_habmap("--debug", "acres", place=tmp_path)
    assert done.code != 0
    assert "Traceback" in done.err
    assert "PlaceError" in done.err


def test_no_traceback_on_a_rubbish_settings_file(run_habmap: Run, tmp_path: Path) -> None:
    (tmp_path / "habmap.toml").write_bytes(b"\x00\xff\xfe not toml")
    done = run_habmap("acres", place=tmp_path)
    assert done.code == 3
    assert "habmap.toml" in done.err
    assert "Traceback" not in done.err


def test_a_rubbish_place_file_is_refused_and_left_alone(run_habmap: Run, tmp_path: Path) -> None:
    folder = tmp_path / "place"
    assert run_habmap("start", folder, "--name", "Rubbish Ridge").code == 0
    file = folder / "place.gpkg"
    file.write_bytes(b"this is no database" * 100)
    before = file.read_bytes()
    done = run_habmap("acres", place=folder)
    assert done.code == 3
    assert "place.gpkg" in done.err
    assert "Traceback" not in done.err
    assert file.read_bytes() == before


def test_a_fault_of_our_own_is_told_without_a_traceback(tmp_path: Path) -> None:
    # A job that breaks in a way nobody foresaw; the command must still answer in words, and in JSON.
    script = (
        "import habmap.cli.context as context\n"
        "def broken(self): raise RuntimeError('the wheel came off')\n"
        "context.Session.store = broken\n"
        "from habmap.cli.main import run\n"
        "run(['acres', *{words}])\n"
    )

    def outcome(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-c", script.format(words=words)],
            cwd=tmp_path, capture_output=True, encoding="utf-8", timeout=60, check=False,
        )  # fmt: skip

    plain = outcome()
    assert plain.returncode == 3
    assert "the wheel came off" in plain.stderr and "--debug" in plain.stderr
    assert "Traceback" not in plain.stderr
    as_json = outcome("--json")
    assert as_json.returncode == 3
    assert json.loads(as_json.stdout)["value"] == "RuntimeError: the wheel came off"


@pytest.mark.skipif(sys.platform == "win32", reason="a pipe whose reader goes away is a Unix matter")
def test_a_reader_that_goes_away_is_no_fault() -> None:
    script = (
        "import os, sys\n"
        "read, write = os.pipe()\n"
        "os.close(read)\n"
        "os.dup2(write, 1)\n"
        "from habmap.cli.main import run\n"
        "run(['--version'])\n"
    )
    done = subprocess.run(
        [sys.executable, "-u", "-c", script], capture_output=True, encoding="utf-8", timeout=60, check=False
    )
    assert done.returncode in (0, 1)
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("words", "mend"),
    [
        (("acres", "--place", "somewhere"), "habmap --place DIR acres"),
        (("log", "cut", "--debug"), "habmap --debug log"),
        (("acres", "--bogus"), "see `habmap acres --help`"),
    ],
)
def test_an_option_after_its_command_is_told_where_it_stands(
    run_habmap: Run, words: tuple[str, ...], mend: str
) -> None:
    done = run_habmap(*words, "--json")
    assert done.code == 2
    assert done.json["schema"] == "habmap/error/1" and mend in done.json["mend"]
