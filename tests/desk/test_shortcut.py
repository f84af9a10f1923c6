"""The icon on the desktop: the Linux one is started as a desktop would; the others are read back, not run."""

from __future__ import annotations

import os
import plistlib
import re
import shlex
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from desk_process import PATIENCE_S, environment

from habmap.desk.shortcut import linux_entry, mac_bundle, windows_command, write_shortcut
from habmap.errors import InputError

Run = Callable[..., Any]
#: Folders may be called anything; none of this may run, or be lost.
HOSTILE = ["/opt/my place/`touch x`", '/opt/"quoted" $HOME', "/opt/50% off\\here", "/opt/it's; rm -rf", "/opt/Zäune"]


def exec_words(entry: str) -> list[str]:
    """Read an entry's Exec line as the specification says: string value first, then its own quoting."""
    line = re.findall(r"^Exec=(.*)$", entry, re.MULTILINE)[0]
    value = re.sub(r"\\(.)", lambda found: {"s": " ", "n": "\n", "t": "\t", "r": "\r"}.get(found[1], found[1]), line)
    words = re.findall(r'"((?:[^"\\]|\\.)*)"', value)
    return [re.sub(r'\\(["`$\\])', r"\1", word).replace("%%", "%") for word in words]


@pytest.mark.parametrize("folder", HOSTILE)
def test_every_folder_reaches_the_command_as_it_is_called(folder: str) -> None:
    words = ["/usr/bin/python3", "-m", "habmap", "--place", folder, "desk"]
    assert exec_words(linux_entry(words, icon=Path("/tmp/x.svg"))) == words
    script = mac_bundle(words)["Contents/MacOS/habmap"].splitlines()[1]
    assert shlex.split(script) == ["exec", *words]
    assert plistlib.loads(mac_bundle(words)["Contents/Info.plist"].encode())["CFBundleExecutable"] == "habmap"
    *_, power = windows_command([r"C:\Python\python.exe", *words[1:]], Path(r"C:\Users\me\Desktop\habmap.lnk"))
    assert "pythonw.exe" in power
    quoted = re.findall(r"'((?:[^']|'')*)'", power)
    assert quoted[2].replace("''", "'") == subprocess.list2cmdline(words[1:])


def test_a_line_break_in_a_folders_name_is_refused() -> None:
    with pytest.raises(InputError):
        linux_entry(["python3", "a\nExec=evil"], icon=Path("/x"))


@pytest.mark.skipif(sys.platform == "win32" or sys.platform == "darwin", reason="the Linux icon")
def test_the_icon_starts_a_desk_and_opens_the_browser_without_a_terminal(
    run_habmap: Run, tmp_path: Path, demo_place: Path
) -> None:
    home = tmp_path / "a home"
    (home / "Desktop").mkdir(parents=True)
    done = run_habmap("shortcut", place=demo_place, env=environment(home), cwd=tmp_path)
    assert done.code == 0, done.err
    icon = home / "Desktop" / "habmap.desktop"
    assert str(icon) in done.out
    assert os.access(icon, os.X_OK)
    entry = icon.read_text(encoding="utf-8")
    assert "Terminal=false" in entry
    assert Path(re.findall(r"^Icon=(.*)$", entry, re.MULTILINE)[0]).read_text().startswith("<svg")
    again = run_habmap("shortcut", place=demo_place, env=environment(home), cwd=tmp_path)
    assert again.code == 3
    assert "there is an icon already" in again.err
    # a browser that writes down what it is asked to open
    opened = tmp_path / "opened"
    browser = tmp_path / "browser"
    browser.write_text(f'#!/bin/sh\necho "$1" > "{opened}"\n', encoding="utf-8")
    browser.chmod(0o755)
    process = subprocess.Popen(
        exec_words(entry),
        env={**environment(home), "BROWSER": str(browser)},
        cwd="/",
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        deadline = time.monotonic() + PATIENCE_S
        while not (opened.exists() and opened.read_text()) and time.monotonic() < deadline:
            time.sleep(0.1)
        assert re.match(r"http://127\.0\.0\.1:\d+/[0-9a-f]{10}/week\?key=\S+", opened.read_text())
    finally:
        process.terminate()
        process.wait(timeout=20)


def test_no_folder_of_that_name_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such folder"):
        write_shortcut(place=None, desktop=tmp_path / "none", home=tmp_path, overwrite=False)
