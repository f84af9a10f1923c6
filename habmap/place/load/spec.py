"""What is to be said of a table so that it can be loaded: its columns, what a row makes, and which rows are one."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import KW_ONLY, dataclass, field
from datetime import date, datetime, time
from typing import Any, Final, Generic, Literal, TypeVar
from zoneinfo import ZoneInfo

from shapely import Point
from shapely.geometry.base import BaseGeometry

from habmap.errors import HabmapError, UsageError
from habmap.place.contents import Contents
from habmap.place.load.cells import Cells
from habmap.place.load.columns import POSITION_COLUMNS, Alternatives
from habmap.records import LONGEST_TEXT, Fact, Unit, facts, key_of

Record = TypeVar("Record")
Turn = Callable[[float], float]
_NOON: Final = time(12)
#: How the cells of a field are read, by its type.
_KINDS: Final[dict[Any, Any]] = {
    str: "text", float: "number", int: "count", date: "day", datetime: "moment", bool: "flag",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table, and how its cells are read.

    Attributes
    ----------
    name, kind
        Its name; what its cells are (``count``: a whole number; ``written_day``: a day, a month or a span of days, kept
        as written; ``fact``: read by its fact; ``own``: as written, read by the table itself).
    fills
        Field of the record that its cells go to; ``None``: the one of its own name, where the record has one.
    is_needed, is_required
        Whether the table must have it; whether each row must fill it in as well.
    low, high, above
        Range of a number: from, to, and more than.
    words
        Words of a choice.
    longest, one_line
        Most characters of a text; whether it is one line.
    only
        Column and word: it is read in rows alone that say so there.
    units
        Columns that say the same in another unit, one of which may stand in its place, and how each is turned into the
        unit of the range.
    allowed, mend
        Words for the message on a blank cell.
    fact
        The fact of the record's field, where it has one.
    title
        What people call it in a form, where no fact says so, or says it in a table's words.
    """

    name: str
    kind: Literal["text", "number", "count", "day", "moment", "written_day", "choice", "flag", "fact", "own"] = "text"
    _: KW_ONLY
    fills: str | None = None
    is_needed: bool = False
    is_required: bool = False
    low: float = -math.inf
    high: float = math.inf
    above: float | None = None
    words: Sequence[str] = ()
    longest: int = LONGEST_TEXT
    one_line: bool = True
    only: tuple[str, str] | None = None
    units: Mapping[str, Turn] = field(default_factory=dict)
    allowed: str | None = None
    mend: str | None = None
    fact: Fact | None = None
    title: str = ""

    @classmethod
    def of(cls, one: Fact, **traits: Any) -> Column:
        """Return the column of a record's field: name, kind, range and words of its fact, and traits of the table."""
        low, high = one.bounds
        kind = "fact" if one.reads else "choice" if one.choices else _KINDS[one.kind]
        known: dict[str, Any] = {
            "fills": one.name,
            "low": low,
            "high": high,
            "above": low if one.is_above else None,
            "words": one.choices,
            "longest": one.longest,
            "one_line": not one.is_long,
        }
        return cls(one.cell, traits.pop("kind", kind), fact=one, **(known | traits))

    @property
    def label(self) -> str:
        """What people call it."""
        return self.title or (self.fact.words if self.fact else self.name)

    @property
    def names(self) -> tuple[str, ...]:
        """The names that it may have."""
        return tuple(self.units) or (self.name,)

    @property
    def turned(self) -> str:
        """How a message words the range where the cell is of another unit, the range at ``{}``."""
        return f"{self.name} of {{}}" + ("" if self.is_required else ", or blank")

    def read(self, cells: Cells, name: str) -> Any:
        """Return what a row's cell says, ``None`` where it is blank or unfit; ``name``: of its names the file's own."""
        if self.is_required and cells.is_blank(name):
            word = "a text" if self.kind in ("text", "written_day") else ", ".join(self.words) or None
            allowed = self.allowed or ("YYYY-MM-DD, a day that exists" if self.kind == "day" else word)
            mend = self.mend or ("fill it in" if allowed == "a text" else None)
            cells.fault(f"{name} is blank", name, value="blank", allowed=allowed, mend=mend)
            return None
        if self.kind in ("number", "count"):
            turn = self.units.get(name)
            value = cells.number(name, low=self.low, high=self.high, above=self.above, turn=turn, turned=self.turned)
            if self.kind == "number" or value is None:
                return value
            if not value.is_integer():
                allowed = self.fact.allowed if self.fact else "a whole number"
                cells.fault(f"{name} is no whole number", name, value=value, allowed=allowed)
                return None
            return int(value)
        if self.kind == "day":
            return cells.day(name)
        if self.kind == "moment":
            allowed = "YYYY-MM-DD, or YYYY-MM-DDTHH:MM with or without offset"
            return cells.moment(name, at=_NOON, allowed=self.allowed or allowed)
        if self.kind == "written_day":
            return cells.written_day(name, longest=self.longest)
        if self.kind == "choice":
            return cells.choice(name, self.words)
        if self.kind == "flag":
            return cells.flag(name)
        if self.kind == "own":
            return cells.written(name)
        text = cells.text(name, required=self.is_required, longest=self.longest, one_line=self.one_line)
        try:
            return text if self.kind == "text" or text is None or self.fact is None else self.fact.read(text)
        except UsageError as error:
            cells.fault(error.what, name, value=error.value, allowed=error.allowed)
            return None


def columns_of(record: type[Any], **traits: Mapping[str, Any]) -> tuple[Column, ...]:
    """Return the columns of a record's fields that a cell can hold; ``traits`` by field, beside those of its fact."""
    told = [one for one in facts(record).values() if one.reads or one.choices or one.kind in _KINDS]
    return tuple(Column.of(one, **traits.get(one.name, {})) for one in told)


#: Where a row stands on the ground.
PLACED: Final = (
    Column("unit_id", title="unit"),
    Column("lon", "number", low=-180, high=180, title="longitude"),
    Column("lat", "number", low=-90, high=90, title="latitude"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Loading:
    """What is the same for all rows of one table.

    Attributes
    ----------
    units
        As drawn now.
    zone
        The property's; ``None``: hours that its clock does not have are not looked for.
    now, today
        Moment of recording (UTC); local civil day at the place.
    """

    place_id: str
    units: Sequence[Unit]
    zone: ZoneInfo | None
    now: datetime
    today: date


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadRow:
    """One row as read.

    Attributes
    ----------
    values, names, written
        By column what its cell says, and the name that it has in the file; by name its cells as they stand there.
    unit_id, spot
        Where it stands, where rows are placed; WGS 84 lon/lat.
    shape
        Of a layer's row (WGS 84 lon/lat); ``None`` in a table, and where it is unfit.
    extra
        Cells of columns that no field took, by column.
    """

    number: int
    where: str
    cells: Cells
    values: Mapping[str, Any]
    names: Mapping[str, str]
    written: Mapping[str, str]
    unit_id: str | None
    spot: Point | None
    shape: BaseGeometry | None
    extra: Mapping[str, Any]
    faults: list[HabmapError]
    faults_before: int

    @property
    def is_sound(self) -> bool:
        """Whether nothing was found wrong with it so far."""
        return len(self.faults) == self.faults_before

    def __getitem__(self, column: str) -> Any:
        return self.values[column]


@dataclass(frozen=True, slots=True)
class RecordOfRow(Generic[Record]):
    """A record, and the row that tells it first."""

    record: Record
    where: str
    number: int


@dataclass(frozen=True, slots=True)
class Label:
    """Rows are one where they agree in some columns: their id is the UUIDv5 of (place, ``word``, what stands there)."""

    word: str
    columns: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Written:
    """Rows bear an id of their own: a UUID, or a text that becomes the UUIDv5 of (place, text) and is kept.

    A blank one becomes the UUIDv5 of the row's content, so that loading a file twice adds nothing.

    Attributes
    ----------
    column, keeps
        The column of the id, and the record's field for one that is no UUID.
    word
        What the rows are; part of what is hashed. ``None``: nothing.
    content, later
        Columns that make a row without an id the same (blank: all), and of those added since, that do where filled in.
    source
        Column of the id that a row bore in the file it first came from.
    """

    column: str
    keeps: str
    word: str | None = None
    content: tuple[str, ...] = ()
    later: tuple[str, ...] = ()
    source: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TableSpec(Generic[Record]):
    """A table that can be loaded.

    Attributes
    ----------
    kind, noun
        What it holds, as ``habmap load`` calls it, and one of them.
    record
        What a row makes. Columns fill the fields of their name (`Column.fills`); ``uuid`` is its id, ``recorded_at``
        the moment of recording, ``unit_id`` and ``geometry`` where it stands.
    is_placed
        Whether each row stands on the ground: in the unit of ``unit_id``, or at ``lon`` and ``lat`` (`PLACED`).
    alternatives
        Further things that the table must say, each in one of several ways.
    apart
        Columns that no column of the file may stand for together, and what they are.
    identity
        Which rows are one; ``None``: none are.
    rest
        The fields that no column fills, after adding to the row's faults what is wrong with it as a whole.
    gather
        Makes the records, where one is not made of one row.
    key
        What tells a record from others; ``None``: what stands in the columns of its `Label`, else its id.
    called
        A record in the message that it is there with other content, where its id says little.
    counting
        What of the property's rows counts, where some correct or withdraw others; ``None``: all of them.
    besides
        Fields that do not count where two records of one key are compared.
    once, own_id
        What is allowed, and how it is mended, where they differ.
    can_overwrite
        Whether what is there can be corrected by loading.
    notes
        What to look at in the records that are new.
    lacks
        Columns in words, where each missing one is a fault of its own, and cells are named by the file's own columns.
    mend
        How a missing column is mended, where not by ``--map``.
    """

    kind: str
    noun: str
    record: type[Record]
    columns: tuple[Column, ...]
    is_placed: bool = False
    alternatives: tuple[Alternatives, ...] = ()
    apart: tuple[str, tuple[str, ...]] = ("", ())
    identity: Label | Written | None = None
    rest: Callable[[ReadRow, Loading], Mapping[str, Any]] = field(default=lambda _row, _loading: {})
    gather: Callable[[TableSpec[Any], Iterator[ReadRow], Loading], list[RecordOfRow[Record]]] | None = None
    key: Callable[[Any], str] | None = None
    called: Callable[[Record], str] | None = None
    counting: Callable[[Contents], Sequence[Record]] | None = None
    besides: tuple[str, ...] = ()
    once: str = ""
    own_id: str = ""
    can_overwrite: bool = False
    notes: Callable[[Sequence[RecordOfRow[Record]], Loading], Iterable[str]] = field(default=lambda _told, _loading: ())
    lacks: str = ""
    mend: str | None = None

    def key_of(self, record: Any) -> str:
        """Return what tells a record from others of the table."""
        if self.key is not None or not isinstance(self.identity, Label):
            return (self.key or key_of)(record)
        fills = {column.name: column.fills or column.name for column in self.columns}
        return ", ".join(str(getattr(record, fills[name])) for name in self.identity.columns)

    @property
    def label(self) -> str:
        """The column that names a row."""
        if isinstance(self.identity, Written):
            return self.identity.column
        return self.identity.columns[-1] if self.identity else self.columns[0].name

    @property
    def fields(self) -> tuple[str, ...]:
        """The names that ``--map`` knows."""
        return tuple(name for column in self.columns for name in column.names)

    @property
    def needed(self) -> tuple[str | Alternatives, ...]:
        """What a file must have columns for."""
        needed = [column for column in self.columns if column.is_needed or column.is_required]
        alone: list[str | Alternatives] = [
            column.name if len(column.names) == 1 else tuple((name,) for name in column.names) for column in needed
        ]
        return (*alone, *([POSITION_COLUMNS] if self.is_placed else []), *self.alternatives)
