"""``habmap.toml`` read: its bytes, from a folder that may be a stranger's, and what is wrong with what it says."""

from __future__ import annotations

import stat
import tomllib
from pathlib import Path
from typing import Final

from pydantic import ValidationError

from habmap.errors import InputError, InputErrors, PlaceError
from habmap.place.settings import SETTINGS_FILE, Settings
from habmap.place.toml_lines import line_of

#: A settings file is some pages of text.
MAX_SETTINGS_BYTES: Final = 2_000_000


def settings_bytes(path: Path) -> bytes:
    """Return ``habmap.toml`` as it is: from a file on disk, and no more than a person writes.

    Raises
    ------
    PlaceError
        It is a pipe or a device, which a stranger's copy may hold, it is far too long, or the disk refuses.
    """
    try:
        status = path.stat()  # asked before opening: a pipe would wait for its writer, and a device may never end
        if not stat.S_ISREG(status.st_mode):
            raise PlaceError(
                "the settings file is a folder, a pipe or a device, not a file",
                where=str(path),
                mend="restore it from a copy of the property's folder",
            )
        if status.st_size > MAX_SETTINGS_BYTES:
            raise PlaceError(
                "the settings file is far too long",
                where=str(path),
                value=f"{status.st_size:,} bytes",
                allowed=f"up to {MAX_SETTINGS_BYTES:,}",
                mend="restore it from a copy of the property's folder",
            )
        return path.read_bytes()
    except PlaceError:
        raise
    except FileNotFoundError as error:
        raise PlaceError(
            "this folder is not a habmap property",
            where=str(path),
            mend="go to the property's folder, or name it with --place, or make one with `habmap start`",
        ) from error
    except OSError as error:
        raise PlaceError("the settings cannot be read", where=str(path), value=error, mend="allow reading") from error


def _where(path: Path, text: str, loc: tuple[int | str, ...]) -> str:
    """Say where a fault is: the file, its line where that can be found, and the setting."""
    line = line_of(text, loc)
    at_line = "" if line is None else f", line {line}"
    return f"{path}{at_line}, {'.'.join(str(part) for part in loc)}"


#: What settings were called before the first release, and are called now.
_RENAMED: Final = {
    "no_cut": '[[closed]] with work = "cut"',
    "no_burn": '[[closed]] with work = "burn"',
    "plan": "[burn_plan]",
    "story": "[handout]",
}


def _renamed(loc: tuple[int | str, ...]) -> str | None:
    """Say what an old name of a setting has become."""
    now = _RENAMED.get(str(loc[0]))
    return None if now is None else f"it is called {now} now; rename it"


def _plainly(kind: str, words: str) -> str:
    """Turn the checker's words into ones for the person who wrote the file."""
    if kind == "extra_forbidden":
        return "there is no such setting"
    if kind == "missing":
        return "this setting is missing"
    words = words.removeprefix("Value error, ").replace("Input should be", "the value should be")
    return words[:1].lower() + words[1:]


def read_settings(folder: Path) -> Settings:
    """Read ``habmap.toml`` of a place folder.

    Raises
    ------
    PlaceError
        There is no such file, or it cannot be read.
    InputError
        It is not TOML, or values are not allowed; every fault is listed.
    """
    path = folder / SETTINGS_FILE
    try:
        text = settings_bytes(path).decode("utf-8-sig")  # some editors put a mark before the first line
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    except UnicodeDecodeError as error:
        raise _unreadable(str(path), error) from error
    return settings_of(text, path)


def _unreadable(where: str, error: Exception) -> InputError:
    return InputError("the settings file is not readable TOML", where=where, value=error, mend="mend the line named")


def settings_of(text: str, path: Path) -> Settings:
    """Return what a settings file's text says; ``path`` is named in what is wrong with it.

    Raises
    ------
    InputError
        It is not TOML, or values are not allowed; every fault is listed.
    """
    try:
        return _settings_of(text, path)
    except RecursionError as error:
        raise InputError(
            "the settings file holds values within values, far too deep",
            where=str(path),
            mend="take them out, or restore the file from a copy of the property's folder",
        ) from error


def _settings_of(text: str, path: Path) -> Settings:
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _unreadable(str(path), error) from error
    try:
        return Settings.model_validate(document)
    except ValidationError as error:
        faults = [
            InputError(
                _plainly(fault["type"], fault["msg"]),
                where=_where(path, text, fault["loc"]),
                value=fault["input"],
                mend=_renamed(fault["loc"]) or "mend its spelling, or delete it"
                if fault["type"] == "extra_forbidden"
                else "put an allowed value there, or delete the line to use the default",
            )
            for fault in error.errors()
        ]
        raise InputErrors(faults, where=str(path)) from error
