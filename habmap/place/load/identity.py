"""Which rows are one and the same: the id of a row, and what two rows of one id say differently."""

from __future__ import annotations

import math
import uuid
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from typing import Final, TypeVar

from shapely import Point

from habmap.errors import printable

#: Fields that the store fills in; nobody said them.
_OF_THE_STORE: Final = ("recorded_at", "supersedes")
Record = TypeVar("Record")
_BETWEEN: Final = "\x1f"
#: Spreadsheets keep 15 digits: a number that went through one comes back as the same number [share].
SAME_REL: Final = 1e-14


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """A row's UUID, the person's own id where that is none, and the first row of the table with the same content."""

    uuid: str
    source_id: str | None = None
    twin_of: int | None = None


class Identities:
    """Gives the rows of one table their ids.

    An id that is no UUID becomes the UUIDv5 of (place, text). A blank one becomes the UUIDv5 of the row's content and
    of how often that stood in the table so far, so that loading a file twice adds nothing and twins stay two.

    Parameters
    ----------
    place_id
        UUID of the place.
    content
        Fields whose words, as written, make the identity of a row without one.
    later
        Fields that rows had no column for when the first ids were made: part of the identity where they are filled in.
    kind
        What the rows are, where more than one kind of row could have an id; part of what is hashed.
    """

    def __init__(
        self, place_id: str, *, content: Sequence[str], later: Sequence[str] = (), kind: str | None = None
    ) -> None:
        self._place_id = place_id
        self._content = content
        self._later = later
        self._kind = [] if kind is None else [kind]
        self._rows_of_content: dict[str, list[int]] = {}

    def of(self, text: str | None, values: Mapping[str, str], number: int, *, source_id: str | None = None) -> Identity:
        """Return the identity of row ``number``.

        Parameters
        ----------
        text
            The id that it bears.
        values
            Its cells as written, by field.
        source_id
            The id that the row bore in the file it first came from, where that is not this one.
        """
        text = text or source_id
        if text is not None:
            try:
                return Identity(uuid=str(uuid.UUID(text)), source_id=source_id)
            except ValueError:
                return Identity(uuid=hashed(self._place_id, *self._kind, text), source_id=source_id or text)
        filled = (name for name in self._later if values.get(name, "").strip())
        content = _BETWEEN.join(f"{name}={values.get(name, '').strip()}" for name in (*self._content, *filled))
        twins = self._rows_of_content.setdefault(content, [])
        twins.append(number)
        return Identity(
            uuid=hashed(self._place_id, *self._kind, content, str(len(twins))),
            twin_of=twins[0] if len(twins) > 1 else None,
        )


def hashed(place_id: str, *words: str) -> str:
    """Return the UUIDv5 of words at a place."""
    return str(uuid.uuid5(uuid.UUID(place_id), _BETWEEN.join(words)))


def said(value: object) -> object:
    """Return a record's value so that two of them compare equal where they say the same."""
    return (value.x, value.y) if isinstance(value, Point) else value


def differing(one: Record, other: Record, *, besides: Collection[str] = ()) -> list[str]:
    """Name what two rows of one id say differently, field by field; ``besides`` are fields that do not count."""
    words = []
    for field in fields(one):  # type: ignore[arg-type]
        mine, theirs = said(getattr(one, field.name)), said(getattr(other, field.name))
        if field.name not in (*_OF_THE_STORE, *besides) and not _is_same(mine, theirs):
            is_list = any(isinstance(one, tuple) and one and is_dataclass(one[0]) for one in (mine, theirs))
            words.append(field.name if is_list else f"{field.name} {_shown(mine)}, before {_shown(theirs)}")
    return words


def _is_same(one: object, other: object) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=SAME_REL, abs_tol=0.0)
    if isinstance(one, tuple) and isinstance(other, tuple):
        return len(one) == len(other) and all(map(_is_same, one, other))
    return one == other


def _shown(value: object) -> str:
    return "blank" if value is None else printable(str(value), longest=40)
