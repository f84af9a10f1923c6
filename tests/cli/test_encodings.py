"""Terminals and redirects that are not UTF-8: every answer comes out whole, and JSON stays JSON."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from habmap.cli.output import open_for_any_sign

WEATHER = ("--temp-f", "60", "--rh-pct", "40", "--wind-mph", "8", "--wind-from", "180")
COMMANDS = {
    "response": ("response",),
    "terrain": ("terrain",),
    "photos": ("photos",),
    "burnsheet": ("burnsheet", "C1", "--time", "2026-03-13T14:00", *WEATHER),
}


def run(place: Path, *words: str, encoding: str) -> subprocess.CompletedProcess[bytes]:
    command = Path(sys.executable).with_name("habmap")
    whole = {**os.environ, "PYTHONIOENCODING": encoding, "PYTHONUTF8": "0", "COLUMNS": "120"}
    return subprocess.run([str(command), "--place", str(place), *words], env=whole, capture_output=True, timeout=300)


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "cp437", "latin-1"])
@pytest.mark.parametrize("name", COMMANDS)
def test_words_come_out_whole(name: str, encoding: str, demo_place: Path) -> None:
    done = run(demo_place, *COMMANDS[name], encoding=encoding)
    assert done.returncode == 0, done.stderr
    assert b"Error" not in done.stderr and b"fault of the program" not in done.stderr
    said = done.stdout.decode(encoding)
    assert len(said.splitlines()) > 5


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_json_is_json_whatever_the_terminal(encoding: str, demo_place: Path) -> None:
    done = run(demo_place, *COMMANDS["burnsheet"], "--json", encoding=encoding)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout.decode("utf-8"))
    whole = json.loads(run(demo_place, *COMMANDS["burnsheet"], "--json", encoding="utf-8").stdout.decode("utf-8"))
    assert told == whole
    fault = run(demo_place, "terrain", "--nön", "--json", encoding=encoding)
    assert fault.returncode == 2
    assert json.loads(fault.stdout.decode("utf-8"))["schema"] == "habmap/error/1"


def test_signs_that_are_lacking_are_told_in_plain_letters() -> None:
    open_for_any_sign()
    assert "12° ± 3 → ≥ 5 é 李".encode("ascii", "habmap.plain") == b"12 deg +/- 3 -> >= 5 e ?"
    assert "±°é".encode("cp1252", "habmap.plain") == "±°é".encode("cp1252")
    assert "a\udce9b".encode("utf-8", "habmap.plain") == b"a?b"


@pytest.mark.parametrize("closed", [(0,), (1,), (2,), (1, 2)])
def test_a_closed_stream_changes_no_answer(closed: tuple[int, ...], demo_place: Path) -> None:
    """A scheduler leaves streams closed; what is said to nobody is no fault, and a fault keeps its exit code."""

    def close() -> None:
        for number in closed:
            os.close(number)

    command = Path(sys.executable).with_name("habmap")
    for words, code in ((("terrain",), 0), (("acres", "--json"), 0), (("void", "9999", "--why", "none"), 3)):
        started = [str(command), "--place", str(demo_place), *words]
        done = subprocess.run(started, stdin=subprocess.DEVNULL, capture_output=True, timeout=300, preexec_fn=close)
        assert done.returncode == code, done
        assert b"fault of the program" not in done.stderr and b"Traceback" not in done.stderr
        if code == 0:
            assert (b"C1" in done.stdout) is (1 not in closed)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device that is always full is Linux's")
@pytest.mark.parametrize("words", [["acres"], ["acres", "--json"], ["acres", "--nope", "--json"]])
def test_a_full_disk_behind_stdout_is_said_on_stderr(words: list[str], demo_place: Path) -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "habmap", "--place", str(demo_place), *words],
            stdout=full, stderr=subprocess.PIPE, text=True, check=False,
        )  # fmt: skip
    assert (done.returncode, "Traceback" in done.stderr) == (2 if "--nope" in words else 3, False), done.stderr
    assert ("No such option" if "--nope" in words else "No space left on device") in done.stderr
    assert "fix:" in done.stderr and "fault of the program" not in done.stderr
