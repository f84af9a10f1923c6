"""What a job needs from a place. The GeoPackage store is one such; a shared database could be another."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Protocol

from habmap.place.contents import Contents
from habmap.records import Row


class Store(Contents, Protocol):
    """A property's rows, to be read and added to."""

    def held(self) -> Contents:
        """Return what the property holds at this moment; later writes need not show in it."""

    def append(self, rows: Sequence[Row], *, is_copied: bool = False) -> None:
        """Write all rows in one transaction, or none; they are there when this returns.

        A row of a kind of which one counts supersedes those that are there, unless it says itself which ones or comes
        as it is from another copy (``is_copied``).

        The first geometry ever written fixes the grid. A unit row that ``replaces`` others sets their ``valid_to``
        to its own ``valid_from``.
        """

    def append_with_pictures(
        self, rows: Sequence[Row], pictures: Iterable[tuple[str, bytes]], *, is_copied: bool = False
    ) -> None:
        """Write pictures by name and then the rows, or neither; a picture that is there already stays as it is."""
