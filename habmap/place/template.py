"""The text of a new place's ``habmap.toml``: that of ``new_habmap.toml`` beside this module."""

from __future__ import annotations

from functools import cache
from importlib.resources import files

from pydantic import ValidationError

from habmap.errors import UsageError
from habmap.place.settings import PlaceSection
from habmap.place.toml_edit import quoted


@cache
def default_toml() -> str:
    """Return the text with every default and its comment."""
    return (files("habmap.place") / "new_habmap.toml").read_text(encoding="utf-8")


def settings_text(name: str, *, timezone: str | None = None) -> str:
    """Return the commented ``habmap.toml`` of a new place.

    Raises
    ------
    UsageError
        The time zone is unknown, or the name cannot be written.
    """
    with UsageError(
        "the name or the time zone cannot be used",
        value=f"{name!a}, {timezone}",
        allowed="any text as name; a time zone such as America/Chicago",
        where="--name, --timezone",
        mend="give another name or zone",
    ).instead_of(ValidationError, UnicodeEncodeError):
        if not name.strip():
            raise UsageError("a property needs a name", value=name, mend="give it with --name", where="--name")
        PlaceSection(name=name, **({} if timezone is None else {"timezone": timezone}))
        name.encode("utf-8")
    text, default = default_toml(), PlaceSection()
    for key, was, now in (("name", default.name, name), ("timezone", default.timezone, timezone)):
        if now is not None:
            text = text.replace(f'{key} = "{was}"', f"{key} = {quoted(now)}", 1)
    return text
