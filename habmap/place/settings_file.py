"""``habmap.toml`` written whole, only where it can be read and only over what was seen; in what two copies differ."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Comment, InlineTable, Item, Table

from habmap.errors import InputError, PlaceError
from habmap.place.settings import SETTINGS_FILE, Settings
from habmap.place.settings_reading import settings_bytes, settings_of
from habmap.place.toml_edit import with_lines
from habmap.place.writers import write_whole
from habmap.records import differing

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
    with PlaceError("the settings file cannot be read", where=str(path), mend="see that it is UTF-8 text").instead_of(
        UnicodeDecodeError
    ):
        data = settings_bytes(path)
        return SettingsText(data.decode("utf-8-sig"), hashlib.sha256(data).hexdigest())


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


def changed(text: str, one: Setting, written: str) -> str:
    """Return the text with another value of a key, which need not stand there yet; all else stays as it is.

    Raises
    ------
    InputError
        The value is no TOML.
    """
    unfit = InputError(
        "not a possible value",
        where=one.name,
        value=written,
        allowed="a number, true or false, words in quotes, or several in [brackets]",
        mend="write it as the others are written",
    )
    with unfit.instead_of(TOMLKitError):
        tomlkit.value(written)
    return with_lines(text, tuple(one.section.split(".")), None, {one.key: written}, ())


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


# --- in what two copies differ ------------------------------------------------------------------------------


#: What tells one table of a list of tables from another: a contract item, a hold, closed days.
_NAMES: Final = ("program", "item", "unit", "work", "name", "break", "reason")


@dataclass(frozen=True, slots=True)
class SettingDifference:
    """One key, as ``habmap.toml`` has it, and its value in each copy; ``None`` = not there."""

    key: str
    here: object
    there: object


def setting_differences(here: Settings, there: Settings) -> tuple[SettingDifference, ...]:
    """Return the keys that two copies set otherwise, defaults filled in, in the order of the file.

    A table of a list (a contract item, a hold) goes by what names it; one that a copy lacks is one difference.
    """
    one, other = (copy.model_dump(mode="json", by_alias=True, warnings=False) for copy in (here, there))
    return tuple(_differences("", one, other))


def _differences(key: str, here: object, there: object) -> list[SettingDifference]:
    if isinstance(here, list) and isinstance(there, list) and _are_tables([*here, *there]):
        here, there = _by_name(here), _by_name(there)
        names = {name: f"{key}[{name}]" for name in (*here, *there)}
    elif isinstance(here, Mapping) and isinstance(there, Mapping):
        names = {name: f"{key}.{name}".removeprefix(".") for name in (*here, *there)}
    else:
        return [SettingDifference(key, here, there)]
    return [found for name, one, other in differing(here, there) for found in _differences(names[name], one, other)]


def _are_tables(values: list[Any]) -> bool:
    return bool(values) and all(isinstance(value, Mapping) for value in values)


def _by_name(tables: list[Any]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for table in tables:
        name = " ".join(str(table[key]) for key in _NAMES if table.get(key))
        alike = sum(known == name or known.startswith(f"{name} #") for known in found)
        found[f"{name} #{alike + 1}" if alike else name] = table
    return found
