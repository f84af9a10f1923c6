"""Put lines into a TOML file's tables, change them or take them out; every other line stays as somebody wrote it."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit

from habmap.place.toml_lines import HEADER, KEY, parts_of


def loaded(text: str) -> dict[str, Any]:
    """Return what a text says; nothing where it is no TOML."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return {}


def table_at(document: Any, path: Sequence[str]) -> Any:
    """Return a table or value by its name in parts; ``None`` where there is none."""
    for name in path:
        document = document.get(name) if isinstance(document, dict) else None
    return document


def bare(document: Any) -> Any:
    """Return a document without tables that say nothing: an empty one means what a missing one does."""
    if not isinstance(document, dict):
        return document
    found = {key: bare(value) for key, value in document.items()}
    return {key: value for key, value in found.items() if value != {}}


def quoted(text: str) -> str:
    """Return a text as TOML writes it."""
    return tomlkit.string(text).as_string()


def span(text: str, path: tuple[str | int, ...]) -> tuple[int, int] | None:
    """Return where a table's header begins and its last key ends; ``None`` where it has no header of its own."""
    headers = _headers(text)
    for number, (name, begin, body) in enumerate(headers):
        if name == path:
            end = headers[number + 1][1] if number + 1 < len(headers) else len(text)
            return begin, body + _keys_end(text[body:end])
    return None


def with_lines(text: str, path: tuple[str, ...], at: int | None, values: Mapping[str, str], gone: Sequence[str]) -> str:
    """Return the text with lines of one table put in, changed or taken out."""
    text = text if text.endswith("\n") or not text else f"{text}\n"
    name: tuple[str | int, ...] = path if at is None else (*path, at)
    heads = {one: (begin, body) for one, begin, body in _headers(text)}
    prefix = ""
    if name not in heads and at is None and path[:-1] in heads and _has_dotted(text, path, heads[path[:-1]][1]):
        name, prefix = path[:-1], f"{path[-1]}."  # written as `rates.cut = 8` under [effort]
    if name not in heads:
        return placed(text, f"[{'.'.join(path)}]", values, ".".join(path))
    body = heads[name][1]
    later = [begin for begin, _ in heads.values() if begin >= body]
    end = body + _keys_end(text[body : min(later, default=len(text))])
    lines = text[body:end]
    rest = dict(values)
    for key in [*gone, *values]:
        for start, line in _lines(lines):
            found = KEY.match(line)
            if found and parts_of(found["key"]) == parts_of(prefix + _key_text(key)) and _is_whole(lines[:start]):
                length = _value_length(lines[start:])
                new = "" if key in gone else _changed(lines[start : start + length], rest.pop(key))
                lines = lines[:start] + new + lines[start + length :]
                break
    lines += "".join(f"{prefix}{_key_text(key)} = {value}\n" for key, value in rest.items())
    return text[:body] + lines + text[end:]


def placed(
    text: str, header: str, values: Mapping[str, str], name: str, wanted: Mapping[str, Any] | None = None
) -> str:
    """Return the text with a new block: below the example of its kind where one stands there, else at the end."""
    lines = f"{header}\n" + "".join(f"{_key_text(key)} = {value}\n" for key, value in values.items())
    at_end = f"{text}\n{lines}"
    example = re.search(rf"^# \[\[?{re.escape(name)}\]\]?.*\n(?:#.*\n)*", text, re.MULTILINE)
    if example is None:
        return at_end
    below = f"{text[: example.end()]}\n{lines}{text[example.end() :]}"
    return below if bare(loaded(below)) == bare(wanted if wanted is not None else loaded(at_end)) else at_end


def _headers(text: str) -> list[tuple[tuple[str | int, ...], int, int]]:
    """Return every table's name, where its header line begins and where that ends."""
    found: list[tuple[tuple[str | int, ...], int, int]] = []
    counts: dict[str, int] = {}
    at = 0
    for line in text.splitlines(keepends=True):
        header = HEADER.match(line)
        if header and _is_whole(text[:at]):
            name: tuple[str | int, ...] = parts_of(header["name"])
            if header["array"]:
                key = ".".join(map(str, name))
                name = (*name, counts.get(key, 0))
                counts[key] = counts.get(key, 0) + 1
            found.append((name, at, at + len(line)))
        at += len(line)
    return found


def _is_whole(text: str) -> bool:
    """Tell whether a text ends outside of any value: what lies in one is no header and no key."""
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return False
    return True


def _keys_end(body: str) -> int:
    """Return where the last key of a table's lines ends, with the comment that runs on below it."""
    keys = [at for at, line in _lines(body) if KEY.match(line) and _is_whole(body[:at])]
    if not keys:
        return 0
    end = keys[-1] + _value_length(body[keys[-1] :])
    for at, line in _lines(body):
        if at == end and re.match(r"(#  |[ \t]+#)", line):
            end += len(line)
    return end


def _value_length(text: str) -> int:
    """Return how long the lines of the key are that a text begins with."""
    length = 0
    for line in text.splitlines(keepends=True):
        length += len(line)
        if _is_whole(text[:length]):
            break
    return length


def _lines(text: str) -> list[tuple[int, str]]:
    found, at = [], 0
    for line in text.splitlines(keepends=True):
        found.append((at, line))
        at += len(line)
    return found


def _has_dotted(text: str, path: tuple[str, ...], body: int) -> bool:
    table = table_at(loaded(text), path)
    return bool(table) and any(
        (found := KEY.match(line)) and parts_of(found["key"])[0] == path[-1] for _, line in _lines(text[body:])
    )


def _changed(line: str, value: str) -> str:
    """Return a key's line with another value, its comment kept."""
    head, _, _ = line.partition("=")
    (_, item) = next(iter(tomlkit.parse(line).items()))
    while isinstance(item, dict):
        (_, item) = next(iter(item.items()))
    comment = item.trivia.comment_ws + item.trivia.comment
    return f"{head}= {value}{comment}\n"


def _key_text(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else quoted(key)
