"""Which rows are one and the same: the id of a row."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

_BETWEEN: Final = "\x1f"


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
