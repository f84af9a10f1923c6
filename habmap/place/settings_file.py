"""Write a property's ``habmap.toml``: whole, only where it can be read, and only over what was seen."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Comment, InlineTable, Item, Table

from habmap.errors import InputError, PlaceError
from habmap.place.settings import SETTINGS_FILE, settings_of
from habmap.place.settings_bytes import settings_bytes
from habmap.place.writers import write_whole

#: A settings file is some pages of text [characters].
LONGEST: Final = 500_000


@dataclass(frozen=True, slots=True)
class SettingsText:
    """The text of a settings file and what tells it from any other."""

    text: str
    digest: str


@dataclass(frozen=True, slots=True)
class Setting:
    """One key in force: its section, its value as TOML writes it, and the comment beside it."""

    section: str
    key: str
    written: str
    comment: str

    @property
    def name(self) -> str:
        """Section and key, as the file's words name it."""
        return f"{self.section}.{self.key}"


def read_text(folder: Path) -> SettingsText:
    """Return the settings file as it is.

    Raises
    ------
    PlaceError
        It cannot be read.
    """
    path = folder / SETTINGS_FILE
    try:
        data = settings_bytes(path)
        return SettingsText(data.decode("utf-8-sig"), hashlib.sha256(data).hexdigest())
    except UnicodeDecodeError as error:
        raise PlaceError(
            "the settings file cannot be read",
            where=str(path),
            value=error,
            mend="see that it is UTF-8 text",
        ) from error


def settings_in(text: str) -> tuple[Setting, ...]:
    """Return every key in force that is one value, in the order of the file.

    A comment that runs on over the lines below belongs to the key above it, as the file is written by `start`.
    """
    found: list[Setting] = []
    for section, table in tomlkit.parse(text).items():
        if isinstance(table, AoT) or not isinstance(table, Table):
            continue
        found += _of_table(section, table)
    return tuple(found)


def _of_table(section: str, table: Table) -> list[Setting]:
    found: list[Setting] = []
    for key, value in table.value.body:
        if isinstance(value, Comment) and key is None and found and found[-1].section == section:
            words = value.trivia.comment.lstrip("# ").strip()
            last = found[-1]
            if value.trivia.comment.startswith("#  "):  # set under the comment above: it runs on
                found[-1] = Setting(last.section, last.key, last.written, f"{last.comment} {words}")
            continue
        if key is None or not isinstance(value, Item):
            continue
        if isinstance(value, Table):
            found += _of_table(f"{section}.{key.key}", value)
        elif not isinstance(value, AoT | InlineTable):
            found.append(Setting(section, key.key, value.as_string(), value.trivia.comment.lstrip("# ").strip()))
    return found


def changed(text: str, values: dict[str, str]) -> str:
    """Return the text with values put in the place of others, by section and key; all else stays as it is.

    Raises
    ------
    InputError
        A value is no TOML, or there is no such key.
    """
    document: Any = tomlkit.parse(text)
    for name, written in values.items():
        *sections, key = name.split(".")
        try:
            value = tomlkit.value(written)
            table = document
            for section in sections:
                table = table[section]
            before = table[key]
        except (TOMLKitError, KeyError) as error:
            raise InputError(
                "not a possible value",
                where=name,
                value=written,
                allowed="a number, true or false, words in quotes, or several in [brackets]",
                mend="write it as the others are written",
            ) from error
        value.trivia.comment_ws, value.trivia.comment = before.trivia.comment_ws, before.trivia.comment
        table[key] = value
    return tomlkit.dumps(document)


def write_text(folder: Path, text: str, *, seen: str) -> None:
    """Write the settings file, where its text can be read as settings and nobody wrote it since it was seen.

    Parameters
    ----------
    seen
        Digest of the file that the text was made from.

    Raises
    ------
    InputError
        The text is no settings, every fault listed; or the file was changed since.
    """
    path = folder / SETTINGS_FILE
    if len(text) > LONGEST:
        raise InputError(
            "the settings are too long",
            where=str(path),
            value=f"{len(text):,} characters",
            mend="take out what is no setting",
        )
    if read_text(folder).digest != seen:
        raise InputError(
            "the settings were changed by another page or program since this one was opened; nothing was written",
            where=str(path),
            mend="open the settings again, and make the change there",
        )
    settings_of(text, path)
    plain = text.replace("\r\n", "\n")
    write_whole(path, lambda draft: draft.write_text(plain, encoding="utf-8"), overwrite=True, is_own=True)
