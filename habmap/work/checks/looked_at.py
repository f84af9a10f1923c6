"""What every rule of ``check`` looks at, read once, and the shape of what it finds."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol, TypeVar

from shapely.geometry.base import BaseGeometry

from habmap.land.grid import LocalGrid
from habmap.records import CanopySource, DrawnBlock, ElevationSource, Entry, Feature, Photo, Row, Unit
from habmap.work.acres import AcresResult
from habmap.work.ledger import effective_entries, line_numbers

Record = TypeVar("Record")


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that is not as it must be: the rule, where, what was found and how to mend it.

    ``number`` is what people call the line of the log by that it is about; ``None`` where it is about something else.
    """

    rule: str
    where: str
    what: str
    mend: str
    number: int | None = None


@dataclass(frozen=True, slots=True)
class Found:
    """What a rule found: where, what, how to mend it, the line of the log, and the rule where it is not its own."""

    where: str
    what: str
    mend: str
    number: int | None = None
    rule: str | None = None


class Held(Protocol):
    """The rows of a property that rules ask for one kind at a time: what cannot be read stops only its own rule."""

    def all_of(self, record: type[Record]) -> tuple[Record, ...]:
        """Return every row of a kind as written, oldest first."""

    def features(self) -> tuple[Feature, ...]:
        """Return the features that count."""

    def photos(self) -> tuple[Photo, ...]:
        """Return the photos that count."""

    def elevation(self) -> ElevationSource | None:
        """Return the elevation source that counts."""

    def canopy(self) -> CanopySource | None:
        """Return the source of canopy heights that counts."""

    def picture(self, name: str) -> bytes | None:
        """Return a photo's own small picture; ``None`` where it is gone."""

    def drawn_blocks(self) -> tuple[DrawnBlock, ...]:
        """Return all burn blocks, of one name the one that counts last."""

    def rows(self) -> tuple[Row, ...]:
        """Return every row ever written."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LookedAt:
    """All that the rules look at.

    Attributes
    ----------
    held
        Rows that one rule alone asks for.
    today
        The local civil day at the place.
    cedar, blocks, named
        Of ``habmap.toml``: its cedar, the names of its burn blocks, and where it names which unit.
    account
        Works the acres out.
    can_read_plans
        Tells whether the written plans kept with a burn can be read.
    versions, units
        Every version of every unit, and those that hold now.
    rows, entries, numbers
        Every row of the log as written, the lines that count, and what people call them by, by ``entry_id``.
    shapes, patches
        Outlines by ``uuid`` of the unit and ground by ``entry_id`` of the line, in the place's grid [m]; empty
        before the place has one.
    every_shape
        Outlines of all versions, those that no longer hold too [m].
    """

    held: Held
    today: dt.date
    cedar: str
    blocks: Collection[str]
    named: Sequence[tuple[str, str]]
    account: Callable[[], AcresResult]
    can_read_plans: Callable[[Mapping[str, Any]], bool]
    grid: LocalGrid | None
    versions: tuple[Unit, ...]
    units: tuple[Unit, ...]
    rows: tuple[Entry, ...]
    entries: tuple[Entry, ...] = field(init=False)
    numbers: dict[str, int] = field(init=False)
    shapes: dict[str, BaseGeometry] = field(default_factory=dict)
    patches: dict[str, BaseGeometry] = field(default_factory=dict)
    every_shape: list[BaseGeometry] = field(default_factory=list)

    def __post_init__(self) -> None:
        object.__setattr__(self, "entries", effective_entries(self.rows))
        object.__setattr__(self, "numbers", line_numbers(self.rows))
        if self.grid is not None:
            to_grid = self.grid.to_grid
            self.every_shape.extend(to_grid(unit.geometry) for unit in self.versions)
            self.shapes.update({unit.uuid: to_grid(unit.geometry) for unit in self.units})
            drawn = [(entry.entry_id, entry.patch) for entry in self.entries if entry.patch is not None]
            self.patches.update({entry_id: to_grid(patch) for entry_id, patch in drawn})

    def of_line(self, entry_id: str, what: str, mend: str) -> Found:
        """Return what was found of a row of the log."""
        return Found(f"line {entry_id}", what, mend, self.numbers.get(entry_id))
