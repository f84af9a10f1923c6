"""What two records of one kind say differently, field by field: the one comparison, whoever asks for it."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, is_dataclass
from typing import Any, Final

from habmap.errors import printable
from habmap.records.facts import Fact, facts
from habmap.records.kept import types_of

#: Fields that are no part of what a person said: when the row was written down here, and the end that a later version
#: of a unit gave an earlier one (the store works it out again from the versions).
NOT_SAID: Final = frozenset({"recorded_at", "valid_to"})
#: Spreadsheets keep 15 digits: a number that went through one comes back as the same number [share].
SAME_REL: Final = 1e-14
_LONGEST_VALUE: Final = 60


@dataclass(frozen=True, slots=True)
class Difference:
    """One field in which two records say something else.

    Attributes
    ----------
    key, fact
        The field, and its fact where it has one.
    here, there
        What this record says, and the other; ``None`` = nothing.
    """

    key: str
    here: object
    there: object
    fact: Fact | None = None

    @property
    def name(self) -> str:
        """What is different, in a word or two: as the field's fact calls it, else the field's own name."""
        return self.key if self.fact is None else self.fact.words

    @property
    def words(self) -> str:
        """What is different: the value and what it was before, where both can be written in a few words."""
        mine, before = self._shown(self.here), self._shown(self.there)
        return f"another {self.name}" if None in (mine, before) else f"{self.key} {mine}, before {before}"

    @property
    def beside(self) -> str:
        """What is different between a row here and its like in another copy."""
        mine, theirs = self._shown(self.here), self._shown(self.there)
        return f"{self.name} drawn differently" if None in (mine, theirs) else f"{self.key} {mine} here, {theirs} there"

    def _shown(self, value: object) -> str | None:
        """Return a value in a few words; ``None`` where it takes more: an outline, a list of records."""
        if value in (None, (), ""):
            return "blank"
        if self.fact is not None and self.fact.writes is not None:
            value = self.fact.writes(value)
        if is_dataclass(value) or (isinstance(value, tuple) and is_dataclass(value[0])):
            return None
        if hasattr(value, "geom_type"):
            if value.geom_type != "Point":
                return None
            value = (value.x, value.y)  # type: ignore[attr-defined]
        return printable(str(value), longest=_LONGEST_VALUE)


def differences(one: Any, other: Any, *, besides: Collection[str] = ()) -> tuple[Difference, ...]:
    """Return what a record says otherwise than another of its kind; ``besides`` are fields that do not count.

    One of them may be ``None``: nothing is said there. Records within them, and columns of the owner's own (``extra``),
    are compared part by part.

    Notes
    -----
    Geometries are the same where they have the same vertices, whatever the order and direction of their rings; numbers
    to 15 digits; nothing, an empty text and an empty list are the same. A row from before rows said what they supersede
    is the same as one that says it.
    """
    if one is None and other is None:
        return ()
    record = type(other if one is None else one)
    names = [name for name in types_of(record) if name not in NOT_SAID and name not in besides]
    if "supersedes" in names and None in (getattr(one, "supersedes", None), getattr(other, "supersedes", None)):
        names.remove("supersedes")
    mine, theirs = ({name: getattr(row, name, None) for name in names} for row in (one, other))
    own = [values.pop("extra", None) or {} for values in (mine, theirs)]
    known = facts(record)
    found: list[Difference] = []
    for key, here, there in differing(mine, theirs):
        is_record = is_dataclass(here) or is_dataclass(there)
        found += differences(here, there) if is_record else [Difference(key, here, there, known.get(key))]
    return (*found, *(Difference(key, here, there) for key, here, there in differing(*own)))


def differing(mine: Mapping[str, Any], theirs: Mapping[str, Any]) -> Iterator[tuple[str, Any, Any]]:
    """Yield what two sets of values by name say differently: the name and both values."""
    for name in dict.fromkeys((*mine, *theirs)):
        if not is_same(mine.get(name), theirs.get(name)):
            yield name, mine.get(name), theirs.get(name)


def is_same(one: Any, other: Any) -> bool:
    """Tell whether two values of one field say the same."""
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=SAME_REL, abs_tol=0.0)
    if hasattr(one, "geom_type") and hasattr(other, "geom_type"):
        from shapely import normalize  # the records themselves load without it

        return bool(one == other) or bool(normalize(one) == normalize(other))
    if isinstance(one, tuple) and isinstance(other, tuple):
        return len(one) == len(other) and all(map(is_same, one, other))
    return one == other or (one in (None, (), "") and other in (None, (), ""))
