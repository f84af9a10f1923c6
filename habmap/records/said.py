"""Records that carry the facts of another: what a person said of a row, and how a row is told."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from inspect import get_annotations
from typing import TYPE_CHECKING, Any, ClassVar, Self, TypeVar

from habmap.errors import UsageError
from habmap.records.facts import Fact, facts, faults, said_facts, type_of, value_of
from habmap.records.log import BurnRecord, Entry, Look

T = TypeVar("T")


class Carrying:
    """A record with the fields of another record beside its own (see `carrying`)."""

    if TYPE_CHECKING:
        __dataclass_fields__: ClassVar[dict[str, Any]]

        def __init__(self, **values: Any) -> None: ...
        def __getattr__(self, name: str) -> Any: ...

    @classmethod
    def of(cls, row: object, **own: Any) -> Self:
        """Return what a record says, with fields of its own; without a record nothing was said."""
        names = (
            [] if row is None else [one.name for one in fields(cls) if one.name not in own and hasattr(row, one.name)]
        )
        return cls(**{name: getattr(row, name) for name in names}, **own)

    def given(self) -> dict[str, Any]:
        """Return what was said, without the rest."""
        return {one.name: value for one in fields(self) if (value := getattr(self, one.name)) not in (None, ())}

    def over(self, row: T) -> T:
        """Return a record with what was said put over it; the parts of a record within it one by one."""
        given = self.given()
        for name, value in given.items():
            before = getattr(row, name)
            if is_dataclass(value) and before is not None:
                seen = {f.name: v for f in fields(value) if (v := getattr(value, f.name)) not in (None, ())}
                given[name] = replace(before, **seen)
        return replace(row, **given)  # type: ignore[type-var]


def carrying(record: type[Any], *, only_said: bool = False) -> Callable[[type[T]], type[T]]:
    """Make a class a record with its own fields and those of another that carry a fact.

    Parameters
    ----------
    only_said
        Only fields that a person says, with the record within it whole.
    """

    def mark(kind: type[T]) -> type[T]:
        there = said_facts(record) if only_said else facts(record).values()
        names = dict.fromkeys(one.within or one.name for one in there)
        defaults = {one.name: one.default for one in fields(record)}
        kind.__annotations__ = {**get_annotations(kind), **{name: type_of(record, name) for name in names}}
        for name in names:
            setattr(kind, name, defaults[name])
        return dataclass(frozen=True, kw_only=True)(kind)

    return mark


@carrying(Entry, only_said=True)
class Said(Carrying):
    """What was said about work beside its practice, day and ground; ``None`` = not said. Units as in ``Entry``."""


@carrying(BurnRecord, only_said=True)
class BurnSaid(Carrying):
    """What was said of a burn; ``None`` = not said. Meanings and units as in ``BurnRecord``."""


def assembled(record: type[Any], values: Mapping[str, Any]) -> dict[str, Any]:
    """Return values of a record's facts, by name, as its fields: those of a record within it gathered into one.

    What nobody said (``None``, or nothing in a list) is left out.
    """
    own: dict[str, Any] = {}
    parts: dict[str, dict[str, Any]] = {}
    for name, one in facts(record).items():
        if values.get(name) not in (None, ()):
            (own if one.within is None else parts.setdefault(one.within, {}))[name] = values[name]
    return own | {name: facts(record)[name].kind(**seen) for name, seen in parts.items()}


def clearable() -> tuple[Fact, ...]:
    """Return what a correction can take out of a line: all that a person may say of work, and of a burn's weather."""
    return (*said_facts(Entry), *said_facts(BurnRecord))


def is_said(row: Any, one: Fact) -> bool:
    """Tell whether a record says anything of a fact."""
    return one.written(value_of(row, one)) is not None


def without(row: T, gone: Iterable[Fact]) -> T:
    """Return a record in which nobody said some of its facts; a record within it that says nothing more is gone."""
    for one in gone:
        nothing = {one.name: None if one.is_optional else ()}
        if one.within is None:
            row = replace(row, **nothing)  # type: ignore[type-var]
        elif (part := getattr(row, one.within)) is not None:
            left = replace(part, **nothing)
            is_empty = not any(is_said(left, other) for other in facts(type(left)).values())
            row = replace(row, **{one.within: None if is_empty else left})  # type: ignore[type-var]
    return row


def refuse_faults(said: Carrying, record: type[Any]) -> None:
    """Refuse a value that its fact says cannot be.

    Raises
    ------
    UsageError
        A number is out of its range or not finite, a text is too long, or a word is none of the choices.
    """
    for one, value in faults(said, record):
        is_text = one.kind is str and not one.choices
        raise UsageError(
            one.fault(value) or "",
            where=one.flag,
            value=f"{len(value):,} characters" if is_text else value,
            allowed=one.allowed,
            mend="keep a report of that length in a file of its own"
            if is_text
            else "look at what was written down, and at its unit"
            if one.is_number
            else "use one of these",
        )


def parts_of_a_look() -> tuple[Fact, ...]:
    """Return the facts that only a look may say; whether stumps were treated belongs to a cut as well."""
    return tuple(one for one in facts(Entry).values() if one.within == "look" and one.practices is not None)


def other_work_says() -> tuple[Fact, ...]:
    """Return the facts of a look that other work may say as well."""
    return tuple(one for one in facts(Look).values() if one.practices is None)
