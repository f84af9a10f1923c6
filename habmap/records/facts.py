"""What is known of a field that a person fills in: its words, unit, range, choices, and what may be done with it.

A fact stands at its field and nowhere else. Options of the command line, cells of tables, what is refused, the ledger's
columns, what history says, what strangers may not read and what ``check`` looks at all follow from it, so that a new
field of a log line is one field with its fact.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from dataclasses import MISSING, dataclass, is_dataclass, replace
from typing import Any, Final, Literal, get_args, get_origin, get_type_hints

from habmap.measures import unit_behind
from habmap.records.kept import plain_type

#: A text that somebody wrote is no longer than this, some ten pages; more is a slip or another program's [characters].
LONGEST_TEXT: Final = 20_000
_KEY: Final = "fact"
#: Facts already gathered: they are asked for with every row.
_FACTS: Final[dict[type[Any], dict[str, Fact]]] = {}


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """What is known of one field.

    Attributes
    ----------
    words
        What the field is called in a sentence.
    unit
        Unit of its number as it stands behind it: ``mph``, ``°F``.
    low, high
        Least and greatest value that can be; ``None``: no limit.
    is_above
        Whether it must be more than ``low``.
    choices
        The words that it may be, where it is one of some.
    practices
        Practices that it belongs to; ``None``: any.
    is_private
        Whether it stays out of everything made for the public.
    help, metavar
        Of its option, and under its field in the desk's forms. Of a log line, a field without help has no option.
    option, column
        Name of its option (without dashes) and of its column in tables, where they are not the field's own. A field
        with an option has a column as well.
    beside
        The field whose column its own follows in tables, where that is not the field before it.
    is_long
        Whether its text may have several lines.
    longest
        Longest text that is taken [characters].
    reads, writes
        Turn what a person writes into the value and back, where the field's type alone does not tell how. ``reads``
        raises ``UsageError``.
    between
        Stands between several of what ``reads`` returns, in one cell; the option is given once for each.
    tells
        What is said of it, with the value at ``{}``: of a log line by history, of terrain by map and sheet; two sides
        with ``|`` between for yes and no. Such a field of a line is part of what was done: lines that differ in it are
        not the same work.
    tells_from
        Least number that is told; ``None``: any.
    places, rough_step
        Decimals of a figure in tables of answers, and what it is rounded to where it is only roughly known (``None``:
        it never is).
    is_on_sheet
        Whether the blank log sheet has a column for it.
    name, record, within, kind
        The field, its record, the field of the whole record that holds that record (``look``), and its type without
        ``None``; filled in by `facts`.
    """

    words: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    is_above: bool = False
    choices: tuple[str, ...] = ()
    practices: frozenset[str] | None = None
    is_private: bool = False
    help: str | None = None
    metavar: str | None = None
    option: str | None = None
    column: str | None = None
    beside: str | None = None
    is_long: bool = False
    longest: int = LONGEST_TEXT
    reads: Callable[[str], Any] | None = None
    writes: Callable[[Any], str] | None = None
    between: str | None = None
    tells: str | None = None
    tells_from: float | None = None
    places: int = 0
    rough_step: int | None = None
    is_on_sheet: bool = False
    name: str = ""
    record: type[Any] = object
    within: str | None = None
    kind: Any = None

    @property
    def flag(self) -> str:
        """The option that gives it, with its dashes."""
        return f"--{(self.option or self.name).replace('_', '-')}"

    @property
    def cell(self) -> str:
        """Its column in tables."""
        return self.column or self.name

    @property
    def bounds(self) -> tuple[float, float]:
        """Least and greatest value, infinite where there is no limit."""
        return (-math.inf if self.low is None else self.low), (math.inf if self.high is None else self.high)

    @property
    def is_number(self) -> bool:
        """Whether it is a number, whole or not."""
        return self.kind in (float, int)

    @property
    def allowed(self) -> str:
        """What it may be, in words: ``0 to 100%``, ``more than 0``, or its choices."""
        if self.choices:
            return ", ".join(self.choices)
        if self.kind is str:
            return f"up to {self.longest:,} characters"
        if self.low is None:
            words = "any number" if self.high is None else f"up to {self.high:,.0f}"
        elif self.high is None:
            words = f"more than {self.low:g}" if self.is_above else f"{self.low:g} or more"
        else:
            words = f"{self.low:,.0f} to {self.high:,.0f}"
            words = f"more than {self.low:g}, up to {self.high:,.0f}" if self.is_above else words
        if self.kind is int:
            words = f"a whole number, {words}"
        return words + unit_behind(self.unit)

    def fault(self, value: Any) -> str | None:
        """Return what is wrong with a value, in words; ``None`` where it can be. ``None`` and empty can always be."""
        if value is None or value == ():
            return None
        if self.is_number:
            is_of_kind = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
            if not is_of_kind or (self.kind is int and value != int(value)):
                return "this number cannot be"
            is_low = self.low is not None and (value <= self.low if self.is_above else value < self.low)
            return "this number cannot be" if is_low or (self.high is not None and value > self.high) else None
        if self.choices and value not in self.choices:
            return f"this is not one of the choices for {self.words}"
        if self.kind is str and len(value) > self.longest:
            return "this text is too long"
        return None

    def read(self, text: str) -> Any:
        """Return what a person wrote as the value; blank is ``None``.

        Raises
        ------
        UsageError
            It cannot be read.
        """
        if self.reads is None or not text.strip():
            return text.strip() or None
        if self.between is None:
            return self.reads(text)
        return tuple(self.reads(part) for part in text.split(self.between) if part.strip())

    def said(self, value: Any) -> str:
        """Return a number or word with its unit, as it stands in a sentence."""
        return (f"{value:g}" if self.is_number else str(value)) + unit_behind(self.unit)

    def broken(self, value: Any) -> str:
        """Say of a kept value that it cannot be, and what could."""
        is_text = self.kind is str and not self.choices
        shown = f"{len(value):,} characters long" if is_text else self.said(value)
        return f"{self.words} is {shown}, not {self.allowed}"

    def told(self, value: Any) -> list[str]:
        """Return what history says of a value; nothing of what is not known."""
        if self.tells is None or value is None or value == ():
            return []
        if self.tells_from is not None and value < self.tells_from:
            return []
        if self.kind is bool:
            yes, _, no = self.tells.partition("|")
            return [side for side in (yes if value else no,) if side]
        if isinstance(value, tuple):
            return [self.tells.format(*part) for part in value]
        return [self.tells.format(value)]

    def written(self, value: Any) -> str | float | int | None:
        """Return a value as the cell of a table, which reads back as the same."""
        if value is None or value == ():
            return None
        if self.writes is not None:
            return self.writes(value)
        if self.kind is bool:
            # What is false where nobody said anything is a blank.
            return "yes" if value else "no" if self.is_optional else None
        return value  # type: ignore[no-any-return]

    @property
    def is_optional(self) -> bool:
        """Whether nobody need have said it: the field may be ``None``."""
        return _default(self.record, self.name) is None


def fact(words: str, *, default: Any = None, default_factory: Any = MISSING, **traits: Any) -> Any:
    """Return a field of a record with its fact; the traits are those of `Fact`."""
    metadata = {_KEY: Fact(words=words, **traits)}
    if default_factory is not MISSING:
        return dataclasses.field(default_factory=default_factory, metadata=metadata)
    return dataclasses.field(default=default, metadata=metadata)


def facts(record: type[Any]) -> dict[str, Fact]:
    """Return the facts of a record's own fields by name, in their order; the parts of a record within it too."""
    if record in _FACTS:
        return _FACTS[record]
    found: dict[str, Fact] = {}
    for field in dataclasses.fields(record):
        known: Fact | None = field.metadata.get(_KEY)
        if known is not None:
            kind = _kind(type_of(record, field.name))
            found[field.name] = replace(
                known,
                name=field.name,
                record=record,
                kind=kind,
                choices=known.choices or (get_args(kind) if get_origin(kind) is Literal else ()),
            )
            if isinstance(kind, type) and is_dataclass(kind):
                found |= {part.name: replace(part, within=field.name) for part in facts(kind).values()}
    return _FACTS.setdefault(record, found)


def said_facts(record: type[Any]) -> tuple[Fact, ...]:
    """Return the facts of the fields that have an option, in the order of the fields."""
    return tuple(one for one in facts(record).values() if one.help is not None)


def cell_facts(record: type[Any]) -> tuple[Fact, ...]:
    """Return the facts of the fields that have a cell of their own in tables of the record, in the tables' order."""
    there = [one for one in facts(record).values() if one.help is not None or one.column is not None]
    order = [one.name for one in there if one.beside is None]
    for one in there:
        if one.beside is not None:
            order.insert(order.index(one.beside) + 1, one.name)
    return tuple(facts(record)[name] for name in order)


def private_fields(record: type[Any]) -> frozenset[str]:
    """Return the fields of a record that strangers may not read."""
    return frozenset(name for name, one in facts(record).items() if one.is_private)


def value_of(row: Any, one: Fact) -> Any:
    """Return the value of a fact in a record; ``None`` where the record within it is missing, or there is no record."""
    holder = row if one.within is None or row is None else getattr(row, one.within, None)
    return None if holder is None else getattr(holder, one.name, None)


def faults(row: Any, record: type[Any]) -> list[tuple[Fact, Any]]:
    """Return the facts that a record's values break, with each value."""
    found = [(one, value_of(row, one)) for one in facts(record).values()]
    return [(one, value) for one, value in found if one.fault(value) is not None]


def type_of(record: type[Any], name: str) -> Any:
    """Return the type of one field.

    Of one field at a time, and a geometry as anything: its library takes long to load and is not needed for help.
    """
    (hint,) = [field.type for field in dataclasses.fields(record) if field.name == name]
    one = type("_One", (), {"__annotations__": {name: hint}, "__module__": record.__module__})
    return get_type_hints(one, localns=dict.fromkeys(("MultiPolygon", "Point", "BaseGeometry"), Any))[name]


def _kind(hint: Any) -> Any:
    plain, _ = plain_type(hint)
    return dict if get_origin(plain) is dict else plain


def _default(record: type[Any], name: str) -> Any:
    (default,) = [field.default for field in dataclasses.fields(record) if field.name == name]
    return default
