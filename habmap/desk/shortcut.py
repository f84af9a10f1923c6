"""An icon on the desktop that opens the desk without a terminal: for Linux, macOS and Windows.

Only the Linux one is run by a test; the others are written as their systems document them, and were not run there.

References
----------
freedesktop.org, Desktop Entry Specification 1.5 (the Exec key and its quoting). Apple, Bundle Programming Guide (a
bundle whose executable is a script). Microsoft, "WshShell object: CreateShortcut".
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final
from xml.sax.saxutils import escape

from habmap.desk.long_work import COMMAND
from habmap.errors import InputError, PlaceError

NAME: Final = "habmap"
#: Signs that a quoted argument of Exec holds behind a backslash.
_RESERVED: Final = re.compile(r'(["`$\\])')
#: Programs of Windows that open a black window, and their twins that open none.
_TYPED: Final = re.compile(r"(python|habmap)(?:\.exe)?$", re.IGNORECASE)
_WINDOWLESS: Final = {"python": "pythonw.exe", "habmap": "habmap-desk.exe"}
_DESKTOP_DIR: Final = re.compile(r'^XDG_DESKTOP_DIR="?(?:\$HOME/)?([^"\n]+)"?$', re.MULTILINE)
#: The icon: a stand of cedars and opened ground, in the inks of the pages.
ICON: Final = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 64 64"><rect width="64" height="64" fill="#f7f2e6"/>'
    '<path d="M4 50H60" stroke="#2b2a26" stroke-width="3"/>'
    '<path d="M14 50L22 18L30 50Z" fill="#3c4a3f" stroke="#2b2a26" stroke-width="2"/>'
    '<path d="M36 50v-8M44 50v-12M52 50v-7" stroke="#9d753b" stroke-width="3"/></svg>\n'
)


def write_shortcut(
    *, place: Path | None, desktop: Path | None, home: Path, overwrite: bool, system: str = sys.platform
) -> Path:
    """Write the icon and return it.

    Parameters
    ----------
    place
        A property that it opens; ``None``: the list of them.
    desktop
        The folder to put it into; ``None``: the desktop.
    home
        The desk's own folder, for the picture.
    overwrite
        Replace one that is there.

    Raises
    ------
    InputError
        There is one already, or no such folder.
    PlaceError
        It cannot be written.
    """
    words = [*COMMAND, *(["--place", str(place)] if place is not None else []), "desk"]
    folder = desktop or desktop_folder()
    if not folder.is_dir():
        raise InputError(
            "there is no such folder", where=str(folder), mend="name the folder of the desktop with --output DIR"
        )
    target = folder / {"darwin": f"{NAME}.app", "win32": f"{NAME}.lnk"}.get(system, f"{NAME}.desktop")
    if target.exists() and not overwrite:
        raise InputError("there is an icon already", where=str(target), mend="replace it with --overwrite")
    with PlaceError("the icon cannot be written", where=str(target), mend="choose a folder of your own").instead_of(
        OSError, subprocess.CalledProcessError
    ):
        if system == "win32":
            subprocess.run(windows_command(words, target), check=True, capture_output=True)
        elif system == "darwin":
            _write_all(target, mac_bundle(words))
        else:
            home.mkdir(parents=True, exist_ok=True, mode=0o700)
            icon = home / f"{NAME}.svg"
            icon.write_text(ICON, encoding="utf-8")
            _write_all(folder, {target.name: linux_entry(words, icon=icon)})
    return target


def desktop_folder() -> Path:
    """Return the folder of this user's desktop."""
    home = Path.home()
    named = Path(os.environ.get("XDG_CONFIG_HOME") or home / ".config") / "user-dirs.dirs"
    if sys.platform not in ("darwin", "win32") and named.is_file():
        found = _DESKTOP_DIR.search(named.read_text(encoding="utf-8", errors="replace"))
        if found:
            return home / found[1]
    return home / "Desktop"


def linux_entry(words: Sequence[str], *, icon: Path) -> str:
    """Return a desktop entry that runs a command."""
    return "\n".join(
        [
            "[Desktop Entry]",
            "Type=Application",
            "Version=1.5",
            f"Name={NAME}",
            "Comment=Which cedar ground is cut, burned, coming back or still to do",
            f"Exec={' '.join(map(_quoted, words))}",
            f"Icon={str(icon).replace(chr(92), chr(92) * 2)}",
            "Terminal=false",
            "Categories=Science;Geography;",
            "",
        ]
    )


def _quoted(word: str) -> str:
    """Quote a word for Exec: reserved signs behind a backslash, then the backslashes of a string value, % doubled."""
    if "\n" in word:
        raise InputError(
            "a folder's name has a line break in it",
            value=repr(word),
            mend="rename the folder",
            where="the property's folder",
        )
    inner = _RESERVED.sub(r"\\\1", word).replace("\\", "\\\\").replace("%", "%%")
    return f'"{inner}"'


def mac_bundle(words: Sequence[str]) -> Mapping[str, str]:
    """Return the files of an application that runs a command, by their path in it."""
    plist = (
        '<?xml version="1.0" encoding="UTF-8"?>\n<plist version="1.0"><dict>\n'
        + "".join(
            f"<key>{key}</key><string>{escape(value)}</string>\n"
            for key, value in (
                ("CFBundleName", NAME),
                ("CFBundleIdentifier", "local.habmap.desk"),
                ("CFBundleExecutable", NAME),
                ("CFBundlePackageType", "APPL"),
            )
        )
        + "</dict></plist>\n"
    )
    return {
        "Contents/Info.plist": plist,
        f"Contents/MacOS/{NAME}": f"#!/bin/sh\nexec {shlex.join(words)}\n",
    }


def windows_command(words: Sequence[str], target: Path) -> list[str]:
    """Return the command that makes a shortcut of Windows; no console opens with it."""
    program, *rest = words
    windowless = _TYPED.sub(lambda found: _WINDOWLESS[found[1].lower()], program)
    made = f"$s = (New-Object -ComObject WScript.Shell).CreateShortcut({_power(str(target))})"
    script = (
        f"{made}; $s.TargetPath = {_power(windowless)}; "
        f"$s.Arguments = {_power(subprocess.list2cmdline(rest))}; $s.Description = 'habmap'; $s.Save()"
    )
    return ["powershell", "-NoProfile", "-NonInteractive", "-Command", script]


def _power(text: str) -> str:
    """Quote a text for PowerShell, which reads nothing in single quotes but the quote itself."""
    return "'" + re.sub("(['\u2018\u2019\u201a\u201b])", r"\1\1", text) + "'"


def _write_all(folder: Path, files: Mapping[str, str]) -> None:
    """Write files that may be run."""
    for name, text in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
        path.chmod(0o755)
