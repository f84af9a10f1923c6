"""Change a property's settings: single values, or the whole text; comments and order stay."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from habmap.place.settings_blocks import (
    Block,
    block_of,
    blocks,
    comments,
    entries_of,
    unsaid,
    with_block,
    without_block,
)
from habmap.place.settings_file import Setting, changed, read_text, settings_in, write_text


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingsSeen:
    """The settings file as it was seen.

    Attributes
    ----------
    settings
        Every key that is one value, section by section; ``written`` is empty where the file does not say it.
    blocks
        Every kind of block that comes and goes, and what the file says in blocks of it.
    """

    text: str
    digest: str
    settings: tuple[Setting, ...]
    blocks: tuple[tuple[Block, tuple[Mapping[str, str], ...]], ...]


def see_settings(folder: Path) -> SettingsSeen:
    """Return a property's settings file as it is.

    Raises
    ------
    PlaceError
        It cannot be read.
    """
    found = read_text(folder)
    return SettingsSeen(
        text=found.text,
        digest=found.digest,
        settings=_every(settings_in(found.text)),
        blocks=tuple((one, entries_of(found.text, one)) for one in blocks()),
    )


def _every(said: tuple[Setting, ...]) -> tuple[Setting, ...]:
    """Return what a file says and, at the end of each section, what it could."""
    words = comments()
    more = [
        Setting(section, key, "", words.get(f"{section}.{key}", ""))
        for section, key in unsaid({one.name for one in said})
    ]
    sections = list(dict.fromkeys(one.section for one in (*said, *more)))
    return tuple(sorted((*said, *more), key=lambda one: sections.index(one.section)))


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
    known = {one.name: one for one in found.settings}
    news = {
        name: text.strip() for name, text in values.items() if name in known and text.strip() != known[name].written
    }
    text = found.text
    for name, written in news.items():
        text = changed(text, known[name], written)
    if news:
        write_text(folder, text, seen=seen)
    return tuple(news)


def put_block(folder: Path, name: str, at: int | None, said: Mapping[str, str], *, seen: str) -> None:
    """Write one block of the settings as a person filled it in: a hold, a contract line, a burn plan.

    Parameters
    ----------
    at
        Which of its kind, from 0; ``None``: one more.
    said
        By key what is filled in; blank: the key is left out.
    seen
        Digest of the file that the person saw.

    Raises
    ------
    UsageError
        A value cannot be read.
    InputError
        The settings would have a fault, or the file was changed since it was seen. Nothing is written then.
    """
    text = see_settings(folder).text
    write_text(folder, with_block(text, block_of(name), at, said), seen=seen)


def drop_block(folder: Path, name: str, at: int, *, seen: str) -> None:
    """Take one block out of the settings; see `put_block`."""
    text = see_settings(folder).text
    write_text(folder, without_block(text, block_of(name), at), seen=seen)


def replace_settings(folder: Path, text: str, *, seen: str) -> None:
    """Put another text in the place of the whole settings file.

    Raises
    ------
    InputError
        It is no settings file; or the file was changed since it was seen. Nothing is written then.
    """
    write_text(folder, text, seen=seen)
