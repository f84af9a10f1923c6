"""The manual as one HTML page: every command, the keys of its JSON and the settings file, as this version has them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from habmap.show import palette
from habmap.show.templating import ENVIRONMENT
from habmap.vocabulary import NOT_PERMISSION, PRACTICES, cautions_of

#: A key of JSON that the page lists: its path, its type and what it holds.
_TYPES: Final = {"number": "number", "integer": "whole number", "string": "text", "boolean": "true or false"}


@dataclass(frozen=True, slots=True)
class ManualOption:
    """One option or argument, as it is typed, and its help."""

    typed: str
    words: str
    is_needed: bool = False


@dataclass(frozen=True, slots=True)
class ManualCommand:
    """One command: its name after ``habmap``, usage line, help in paragraphs, arguments and options."""

    name: str
    usage: str
    paragraphs: tuple[str, ...]
    options: tuple[ManualOption, ...]
    schema: Mapping[str, Any] | None = None

    @property
    def anchor(self) -> str:
        """The page's anchor for this command."""
        return self.name.replace(" ", "-")

    @property
    def keys(self) -> tuple[tuple[str, str, str], ...]:
        """The keys of its JSON: path, type, words."""
        return tuple(json_keys(self.schema)) if self.schema else ()


def json_keys(schema: Mapping[str, Any]) -> Iterator[tuple[str, str, str]]:
    """Yield each key of an answer's JSON schema: its path, its type in words, and what the schema says of it.

    A path is written ``units[].acres``: brackets where a list stands. Records in records follow where they first stand.
    """
    yield from _keys(schema, schema.get("$defs", {}), "", ())


def _keys(
    node: Mapping[str, Any], shelf: Mapping[str, Any], prefix: str, above: tuple[str, ...]
) -> Iterator[tuple[str, str, str]]:
    for name, said in node.get("properties", {}).items():
        words = _without_markup(said.get("description", ""))
        kind, record, brackets = _kind(said, shelf)
        yield f"{prefix}{name}{brackets}", kind, words
        if record is not None and record not in above:
            yield from _keys(shelf[record], shelf, f"{prefix}{name}{brackets}.", (*above, record))


def _kind(said: Mapping[str, Any], shelf: Mapping[str, Any]) -> tuple[str, str | None, str]:
    """Return the type in words, the record behind it if any, and brackets where it is a list."""
    ways = said.get("anyOf", [said])
    may_be_null = any(way.get("type") == "null" for way in ways)
    way = next((way for way in ways if way.get("type") != "null"), said)
    brackets = ""
    if way.get("type") == "array":
        brackets, way = "[]", way.get("items", {})
    record = way["$ref"].rsplit("/", 1)[-1] if "$ref" in way else None
    if record is not None and "properties" not in shelf.get(record, {}):
        way, record = shelf.get(record, {}), None
    if "const" in way or "enum" in way:
        kind = ", ".join(map(str, way.get("enum", [way.get("const")])))
    else:
        kind = "" if record is not None else way.get("format") or _TYPES.get(str(way.get("type")), "")
    return (f"{kind} or null".strip() if may_be_null else kind), record, brackets


def _without_markup(text: str) -> str:
    return re.sub(r"`+", "", text).split("\n\n")[0].replace("\n", " ")


def manual_page(version: str, commands: Sequence[ManualCommand], settings: str) -> str:
    """Return the whole manual as one page that needs nothing else.

    Parameters
    ----------
    version
        The version that it is the manual of.
    commands
        Every command, in the order that help lists them.
    settings
        The text of a new property's settings file, comments and all.
    """
    template = ENVIRONMENT.get_template("manual.html.j2")
    return template.render(
        version=version,
        commands=commands,
        settings=settings,
        palette=palette,
        not_permission=NOT_PERMISSION,
        cautions=cautions_of(PRACTICES, has_snags=True, is_steep=True),
    )
