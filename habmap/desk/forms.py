"""Fields of forms; those that say something of a record follow from its facts."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from habmap.errors import UsageError

if TYPE_CHECKING:
    from habmap.desk.asked import Asked
    from habmap.records import Fact

#: What walks and drawn ground are read from; the browser offers files of these kinds first.
WALKS: Final = ".gpx,.kml,.geojson,.json"
LAYERS: Final = ".geojson,.json,.gpkg,.kml,.zip,.shp"


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One field of a form.

    Attributes
    ----------
    name, label, unit, help
        Its name in the form, and what people read of it.
    kind
        ``text``, ``number``, ``date``, ``file``, ``choice``, ``long`` (several lines) or ``box`` (yes or not).
    low, high
        Least and greatest number.
    choices, empty
        What may be chosen, as key and words; the words of choosing nothing (``None``: something must be).
    offers
        What a text field offers while it is typed in, as value and words; anything else may be typed.
    value
        What stands in it at first.
    """

    name: str
    label: str
    kind: str = "text"
    unit: str = ""
    help: str = ""
    low: float | None = None
    high: float | None = None
    choices: tuple[tuple[str, str], ...] = ()
    empty: str | None = "–"
    offers: tuple[tuple[str, str], ...] = ()
    value: str = ""
    is_needed: bool = False
    is_several: bool = False
    accept: str = ""
    rows: int = 3


def field_of(one: Fact, *, value: Any = None, is_needed: bool = False) -> Field:
    """Return the field of a form for a fact, with a value as it is kept."""
    written = one.written(value)
    help_words = (one.help or "").rstrip(".")
    return Field(
        name=one.name,
        label=one.words,
        unit=one.unit,
        kind=_kind(one),
        help=f"{help_words[:1].upper()}{help_words[1:]}." + (f" Allowed: {one.allowed}." if one.is_number else ""),
        low=one.low,
        high=one.high,
        choices=(("yes", "yes"), ("no", "no")) if one.kind is bool else tuple(map(choice_of, one.choices)),
        value="" if written is None else f"{written:g}" if isinstance(written, float) else str(written),
        is_needed=is_needed,
    )


def choice_of(key: str) -> tuple[str, str]:
    """Return a choice as its key and what people read of it.

    Examples
    --------
    >>> choice_of("down_cedar"), choice_of("20ft"), choice_of("nativeReintroduced")
    (('down_cedar', 'down cedar'), ('20ft', 'at 20 ft'), ('nativeReintroduced', 'native reintroduced'))
    """
    from habmap.records.weather import WIND_HEIGHT_WORDS
    from habmap.vocabulary import FEATURE_KINDS, FEATURE_WORDS

    if key in WIND_HEIGHT_WORDS:
        return key, WIND_HEIGHT_WORDS[key]
    if key in FEATURE_KINDS and key != "other":  # covers have one, too
        return key, FEATURE_WORDS[key]
    words = re.sub(r"_|(?<=[a-z])(?=[A-Z])", " ", key)
    return key, key if words == key else words.lower()


def _kind(one: Fact) -> str:
    if one.choices or one.kind is bool:
        return "choice"
    if one.is_number and one.reads is None:
        return "number"
    return "long" if one.is_long or one.between not in (None, ",") else "text"


def read_fact(asked: Asked, one: Fact) -> Any:
    """Return what a form says of a fact as the value that its record keeps; ``None`` where it says nothing.

    Raises
    ------
    UsageError
        It cannot be read. Whether the value can be is the job's to say.
    """
    text = asked.text(one.name)
    if not text:
        return None
    if one.reads is not None:
        return one.read(text)
    if one.kind is bool:
        return text == "yes"
    if one.is_number:
        number = asked.number(one.name, one.words)
        if one.kind is int and number is not None:
            if number != int(number):
                raise UsageError(
                    "this is not a whole number",
                    where=one.words,
                    value=text,
                    allowed=one.allowed,
                    mend="leave the decimals out",
                )
            return int(number)
        return number
    return text


def read_facts(asked: Asked, facts: Iterable[Fact]) -> Mapping[str, Any]:
    """Return everything that a form says of some facts, by name."""
    return {one.name: read_fact(asked, one) for one in facts}
