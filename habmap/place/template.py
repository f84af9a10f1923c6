"""The text of a new place's ``habmap.toml``."""

from __future__ import annotations

from pydantic import ValidationError

from habmap.errors import InputError
from habmap.place.settings import DEFAULT_TOML, PlaceSection


def settings_text(name: str, *, timezone: str | None = None) -> str:
    """Return the commented ``habmap.toml`` of a new place.

    Raises
    ------
    InputError
        The time zone is unknown, or the name cannot be written.
    """
    try:
        PlaceSection(name=name, **({} if timezone is None else {"timezone": timezone}))
        name.encode("utf-8")
    except (ValidationError, UnicodeEncodeError) as error:
        raise InputError(
            "the name or the time zone cannot be used",
            value=f"{name!a}, {timezone}",
            allowed="any text as name; a time zone such as America/Chicago",
        ) from error
    # DEFAULT_TOML has one field only; ``replace`` because its other braces, if any, are not fields.
    text = DEFAULT_TOML.replace("{name}", _toml_string(name), 1)
    if timezone is not None:
        default = PlaceSection().timezone
        text = text.replace(f'timezone = "{default}"', f"timezone = {_toml_string(timezone)}", 1)
    return text


def _toml_string(text: str) -> str:
    """Return text as a basic TOML string (TOML 1.0: quote, backslash and control characters are escaped)."""
    short = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r", "\b": "\\b", "\f": "\\f"}

    def escaped(character: str) -> str:
        if character in short:
            return short[character]
        return f"\\u{ord(character):04X}" if ord(character) < 0x20 or ord(character) == 0x7F else character

    return '"' + "".join(escaped(character) for character in text) + '"'
