"""Blocks of ``habmap.toml`` that come and go: holds, closed days, contract lines, burn plans, and tables by name.

What each may say follows from the settings' own classes, its words from the text that `start` writes. A change puts in
or takes out lines of that block alone, and is taken only where the file then says just that and nothing else otherwise.
"""

from __future__ import annotations

import copy
import datetime as dt
import re
import tomllib
import types
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, Final, Literal, Union, get_args, get_origin

from pydantic import BaseModel

from habmap.errors import InputError, UsageError
from habmap.place.settings import Section, Settings
from habmap.place.template import default_toml
from habmap.place.toml_edit import bare, loaded, placed, quoted, span, table_at, with_lines
from habmap.place.toml_lines import HEADER, KEY

Kind = Literal["text", "number", "day", "day of the year", "day or date", "texts", "range", "choice"]


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockKey:
    """One key of a block: how its value is written, its choices, and the comment that explains it."""

    key: str
    kind: Kind
    choices: tuple[str, ...] = ()
    is_needed: bool = False
    comment: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """One kind of block.

    Attributes
    ----------
    name
        As the file writes it (``hold``, ``burn_plan.grass``).
    shape
        ``list``: any number of blocks; ``table``: one; ``names``: one line a name, the first key being the name.
    """

    name: str
    shape: Literal["list", "table", "names"]
    keys: tuple[BlockKey, ...]
    comment: str = ""

    @property
    def path(self) -> tuple[str, ...]:
        """Its name in parts."""
        return tuple(self.name.split("."))


#: A line of several numbers or words.
_BETWEEN: Final = re.compile(r"\s*(?:[,;]|\bto\b)\s*")
#: What names of tables' lines are, and what stands behind them.
_NAMES: Final = {"codes": ("practice", "code"), "effort.rates": ("practice", "hours"), "burn.blocks": ("name", "parts")}


@cache
def blocks() -> tuple[Block, ...]:
    """Return every kind of block, in the order of the settings."""
    return tuple(_blocks_of(Settings, ""))


def block_of(name: str) -> Block:
    """Return a kind of block by its name.

    Raises
    ------
    UsageError
        There is none.
    """
    for one in blocks():
        if one.name == name:
            return one
    raise UsageError(
        "there is no such block",
        value=name,
        allowed=", ".join(one.name for one in blocks()),
        where="the settings",
        mend="choose one of these",
    )


def entries_of(text: str, block: Block) -> tuple[dict[str, str], ...]:
    """Return what a file's text says in blocks of a kind, each value as a person fills it in.

    A text that is no settings has none.
    """
    found = table_at(loaded(text), block.path)
    if block.shape == "list":
        return tuple(_plain(block, one) for one in found or ())
    if block.shape == "table":
        return (_plain(block, found),) if found else ()
    name, value = (one.key for one in block.keys)
    return tuple({name: key, value: _said(one)} for key, one in (found or {}).items())


def with_block(text: str, block: Block, at: int | None, said: Mapping[str, str]) -> str:
    """Return the text with one block as a person filled it in; ``at``: which one, ``None``: one more.

    Raises
    ------
    UsageError
        A value cannot be read.
    InputError
        The block is written in a way that lines cannot be put into.
    """
    values = {one.key: _written(one, said.get(one.key, "")) for one in block.keys if said.get(one.key, "").strip()}
    if missing := [one.key for one in block.keys if one.is_needed and one.key not in values]:
        raise UsageError("something is missing", where=", ".join(missing), mend="fill it in")
    wanted = copy.deepcopy(loaded(text))
    if block.shape == "names":
        name, value = block.keys
        line = {tomllib.loads(f"x = {values[name.key]}")["x"]: values[value.key]}
        gone = [] if at is None else [key for key in [list(table_at(wanted, block.path))[at]] if key not in line]
        parent = _made(wanted, block.path)
        for key in gone:
            del parent[key]
        parent |= {key: _value(one) for key, one in line.items()}
        return _checked(with_lines(text, block.path, None, line, gone), wanted, block)
    parsed = {key: _value(one) for key, one in values.items()}
    if block.shape == "table":
        table = _made(wanted, block.path)
        gone = [one.key for one in block.keys if one.key in table and one.key not in values]
        for key in gone:
            del table[key]
        table |= parsed
        return _checked(with_lines(text, block.path, None, values, gone), wanted, block)
    every = _made(wanted, block.path[:-1]).setdefault(block.path[-1], [])
    if at is None:
        every.append(parsed)
        return _with_new(text, block, values, wanted)
    gone = [key for key in _plain(block, every[at]) if key not in values]
    every[at] = {key: value for key, value in every[at].items() if key not in gone} | parsed
    return _checked(with_lines(text, block.path, at, values, gone), wanted, block)


def without_block(text: str, block: Block, at: int) -> str:
    """Return the text without one block; comments below it stay.

    Raises
    ------
    InputError
        The block is written in a way that lines cannot be taken out of.
    """
    wanted = copy.deepcopy(loaded(text))
    holder = _made(wanted, block.path[:-1])
    if block.shape == "list":
        del holder[block.path[-1]][at]
        if not holder[block.path[-1]]:
            del holder[block.path[-1]]
        found = span(text, (*block.path, at))
        if found is None:
            raise _unfit(block)
        begin, end = found
        return _checked(text[:begin] + text[end:], wanted, block)
    if block.shape == "names":
        key = list(holder[block.path[-1]])[at]
        del holder[block.path[-1]][key]
        return _checked(with_lines(text, block.path, None, {}, [key]), wanted, block)
    table = holder[block.path[-1]]
    gone = [one.key for one in block.keys if one.key in table]
    for key in gone:
        del table[key]
    return _checked(with_lines(text, block.path, None, {}, gone), wanted, block)


def unsaid(said: Collection[str]) -> tuple[tuple[str, str], ...]:
    """Return section and key of every plain value that the settings know and a file does not say.

    Parameters
    ----------
    said
        What it says, as ``section.key``.
    """
    return tuple(pair for pair in _plain_keys(Settings, "") if ".".join(pair) not in said)


def _plain_keys(section: type[BaseModel], prefix: str) -> list[tuple[str, str]]:
    kinds = {one.name for one in blocks()}
    found: list[tuple[str, str]] = []
    for name, field in section.model_fields.items():
        path = f"{prefix}{field.alias or name}"
        if isinstance(field.annotation, type) and issubclass(field.annotation, BaseModel):
            found += [] if path in kinds else _plain_keys(field.annotation, f"{path}.")
        elif path not in kinds and get_origin(field.annotation) is not dict:
            found.append((prefix.rstrip("."), field.alias or name))
    return found


# --- what may be said, from the settings' classes ------------------------------------------------------------


def _blocks_of(section: type[BaseModel], prefix: str) -> list[Block]:
    found: list[Block] = []
    for name, field in section.model_fields.items():
        path = f"{prefix}{field.alias or name}"
        hint = field.annotation
        inner = _section_in(hint)
        if get_origin(hint) is tuple and inner is not None:
            found.append(Block(name=path, shape="list", keys=_keys(inner, path), comment=comments().get(path, "")))
        elif path in _NAMES:
            found.append(Block(name=path, shape="names", keys=_name_keys(path, hint), comment=comments().get(path, "")))
        elif path.startswith("burn_plan.") and inner is not None:
            keys = tuple(one for one in _keys(inner, path) if one.key != "unit")
            order = {"author": 0, "date": 1, "from": 2, "to": 3}
            keys = tuple(sorted(keys, key=lambda one: order.get(one.key, len(order))))
            found.append(Block(name=path, shape="table", keys=keys))
        elif isinstance(hint, type) and issubclass(hint, BaseModel):
            found += _blocks_of(hint, f"{path}.")
    return found


def _section_in(hint: Any) -> type[Section] | None:
    if isinstance(hint, type) and issubclass(hint, Section):
        return hint
    return next((one for one in get_args(hint) if isinstance(one, type) and issubclass(one, Section)), None)


def _keys(section: type[BaseModel], path: str) -> tuple[BlockKey, ...]:
    found = []
    for name, field in section.model_fields.items():
        if get_origin(field.annotation) is dict:
            continue
        key = field.alias or name
        kind, choices = _kind(field.annotation, field.metadata)
        is_plan = path.startswith("burn_plan.")
        # of a plan's limits the file tells examples that somebody published: a form asks for the plan's own
        is_example = is_plan and kind == "range" and key != "wind_from_deg"
        comment = "" if is_example else comments().get(f"{'burn_plan.grass' if is_plan else path}.{key}", "")
        found.append(BlockKey(key=key, kind=kind, choices=choices, is_needed=field.is_required(), comment=comment))
    return tuple(found)


def _name_keys(path: str, hint: Any) -> tuple[BlockKey, ...]:
    from habmap.vocabulary import PRACTICES

    name, value = _NAMES[path]
    kind, _ = _kind(get_args(hint)[1], ())
    choices = tuple(PRACTICES) if name == "practice" else ()
    return (
        BlockKey(key=name, kind="choice" if choices else "text", choices=choices, is_needed=True),
        BlockKey(key=value, kind=kind, is_needed=True, comment=comments().get(path, "")),
    )


def _kind(hint: Any, metadata: Sequence[Any]) -> tuple[Kind, tuple[str, ...]]:
    """Return how a person writes a value of a type, and its choices."""
    if get_origin(hint) is Annotated:
        hint, *metadata = get_args(hint)
    if get_origin(hint) in (Union, types.UnionType):
        told = [one for one in get_args(hint) if one is not type(None)]
        if len(told) > 1:
            return "day or date", ()
        return _kind(told[0], metadata)
    if get_origin(hint) is Literal:
        return "choice", tuple(map(str, get_args(hint)))
    if get_origin(hint) is tuple:
        return ("texts" if Ellipsis in get_args(hint) else "range"), ()
    if hint is dt.date:
        return "day", ()
    if hint in (int, float):
        return "number", ()
    return ("day of the year" if any("pattern" in repr(one) for one in metadata) else "text"), ()


@cache
def comments() -> Mapping[str, str]:
    """Return what the text of a new property's settings says of each table and key, examples too."""
    found: dict[str, str] = {}
    table, last = "", ""
    for line in default_toml().splitlines():
        text = re.sub(r"^# (?=\[|[A-Za-z_.0-9]+ = )", "", line)
        told = re.match(r"[^#\"']*(?:\"[^\"]*\"[^#\"']*)*#\s*(.*)$", text)
        words = told[1].strip("# ").replace("`", "") if told else ""
        words = "" if words == "no source" else words
        header, key = HEADER.match(text), KEY.match(text)
        if header:
            table = last = header["name"]
        elif key:
            last = f"{table}.{key['key']}" if table else key["key"]
        elif last and words and re.match(r"(#  |\s+#)", line):
            found[last] = f"{found.get(last, '')} {words}".strip()
            continue
        else:
            last = ""
            continue
        found.setdefault(last, words)
    # a table of names is told at its first example
    for name in _NAMES:
        told_first = next((words for key, words in found.items() if key.startswith(f"{name}.") and words), "")
        found[name] = found.get(name) or told_first
    return found


# --- values ------------------------------------------------------------------------------------------------


def _written(key: BlockKey, text: str) -> str:
    """Return as TOML writes it what a person filled in."""
    text = text.strip()
    parts = [one for one in _BETWEEN.split(text) if one]
    if key.kind == "number":
        return _number(key, text)
    if key.kind == "range":
        if len(parts) != 2:
            raise UsageError(
                "two numbers are wanted",
                where=key.key,
                value=text,
                allowed="such as 40 to 70",
                mend="write the lower, then the higher",
            )
        return f"[{', '.join(_number(key, one) for one in parts)}]"
    if key.kind == "texts":
        return f"[{', '.join(quoted(one.strip()) for one in re.split('[,;]', text) if one.strip())}]"
    if key.kind in ("day", "day or date"):
        try:
            return dt.date.fromisoformat(text).isoformat()
        except ValueError:
            if key.kind == "day":
                raise UsageError(
                    "this is not a day",
                    where=key.key,
                    value=text,
                    allowed="such as 2026-03-14",
                    mend="write it like 2026-03-14",
                ) from None
    return quoted(text)


def _number(key: BlockKey, text: str) -> str:
    try:
        number = float(text)
    except ValueError:
        raise UsageError(
            "this is not a number", where=key.key, value=text, allowed="digits, such as 2.5", mend="write it in digits"
        ) from None
    return text if re.fullmatch(r"-?(0|[1-9]\d*)(\.\d+)?", text) else repr(number)


def _value(written: str) -> Any:
    return tomllib.loads(f"x = {written}")["x"]


def _plain(block: Block, table: Mapping[str, Any]) -> dict[str, str]:
    known = {one.key for one in block.keys}
    return {key: _said(value) for key, value in table.items() if key in known}


def _said(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(map(_said, value))
    return value.isoformat() if isinstance(value, dt.date) else f"{value:g}" if isinstance(value, float) else str(value)


# --- lines -------------------------------------------------------------------------------------------------


def _made(document: dict[str, Any], path: Sequence[str]) -> dict[str, Any]:
    for name in path:
        document = document.setdefault(name, {})
    return document


def _checked(text: str, wanted: Mapping[str, Any], block: Block) -> str:
    """Return the text where it says just what is wanted."""
    if bare(loaded(text)) != bare(wanted):
        raise _unfit(block)
    return text


def _unfit(block: Block) -> InputError:
    return InputError(
        "this block is written in a way that the form cannot change",
        where=block.name,
        mend="change it in the file itself, below on the settings' page",
    )


def _with_new(text: str, block: Block, values: Mapping[str, str], wanted: Mapping[str, Any]) -> str:
    text = text if text.endswith("\n") or not text else f"{text}\n"
    lines = f"[[{block.name}]]\n" + "".join(f"{key} = {value}\n" for key, value in values.items())
    count = len(entries_of(text, block))
    if count:
        found = span(text, (*block.path, count - 1))
        if found is None:
            raise _unfit(block)
        end = found[1]
        return _checked(f"{text[:end]}\n{lines}{text[end:]}", wanted, block)
    return _checked(placed(text, f"[[{block.name}]]", values, block.name, wanted), wanted, block)
