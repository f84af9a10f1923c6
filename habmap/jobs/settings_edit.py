"""Change a property's settings: single values, or the whole text; comments and order stay."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from habmap.place.settings_file import Setting, changed, read_text, settings_in, write_text


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingsSeen:
    """The settings file as it was seen: its text, its digest, and every key in force that is one value."""

    text: str
    digest: str
    settings: tuple[Setting, ...]


def see_settings(folder: Path) -> SettingsSeen:
    """Return a property's settings file as it is.

    Raises
    ------
    PlaceError
        It cannot be read.
    """
    found = read_text(folder)
    return SettingsSeen(text=found.text, digest=found.digest, settings=settings_in(found.text))


def change_settings(folder: Path, values: Mapping[str, str], *, seen: str) -> tuple[str, ...]:
    """Put other values into the settings file, and return the names of those that changed.

    Parameters
    ----------
    values
        As TOML writes them, by section and key (``terrain.flat_below_pct``).
    seen
        Digest of the file that the person saw.

    Raises
    ------
    InputError
        A value cannot be; or the file was changed since it was seen. Nothing is written then.
    """
    found = see_settings(folder)
    known = {one.name: one.written for one in found.settings}
    news = {name: text.strip() for name, text in values.items() if name in known and text.strip() != known[name]}
    if news:
        write_text(folder, changed(found.text, news), seen=seen)
    return tuple(news)


def replace_settings(folder: Path, text: str, *, seen: str) -> None:
    """Put another text in the place of the whole settings file.

    Raises
    ------
    InputError
        It is no settings file; or the file was changed since it was seen. Nothing is written then.
    """
    write_text(folder, text, seen=seen)
