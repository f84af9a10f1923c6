"""A person's table, row by row: columns that it must have, where a row stands, what is wrong with it, gathered."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

import shapely
from shapely import Point

from habmap.errors import HabmapError, InputError, InputErrors, UsageError, printable
from habmap.land.meridian import middle_lon, near
from habmap.place.load.cells import Cells
from habmap.place.load.table import MOST_FAULTS, Table, TableRow
from habmap.records import Unit

#: Alternatives to say one thing, any of which will do; each is the columns that it takes.
Alternatives = tuple[tuple[str, ...], ...]
#: Where a row stands (see `habmap.place.load.columns`).
POSITION_COLUMNS: Final[Alternatives] = (("unit_id",), ("lon", "lat"))
#: Longest list of columns in a message [characters].
_LONGEST: Final = 400


def matched_columns(
    columns: Sequence[str], fields: Sequence[str], *, renames: Mapping[str, str], where: str
) -> dict[str, str]:
    """Return which column of a file holds which field: by ``renames`` first, then by name, upper or lower case.

    Raises
    ------
    UsageError
        ``renames`` names a field that does not exist.
    InputError
        It names a column that the file does not have, or two columns of the file have a field's name.
    """
    by_name = {name.casefold(): name for name in fields}
    renames = {by_name.get(name.casefold(), name): column for name, column in renames.items()}
    unknown = [name for name in renames if name not in fields]
    if unknown:
        raise UsageError(
            "--map names a field that this layer does not have",
            where="--map",
            value=unknown[0],
            allowed=", ".join(fields),
            mend="write FIELD=COLUMN, the field's own name first",
        )
    found: dict[str, str] = {}
    for name in fields:
        wanted = renames.get(name, name)
        same = [column for column in columns if column == wanted] or [
            column for column in columns if column.strip().casefold() == wanted.casefold()
        ]
        if len(same) > 1:
            raise InputError(
                f"more than one column could be {name}",
                where=where,
                value=printable(", ".join(same)),
                allowed="one column for each field",
                mend=f"say which with --map {name}=COLUMN",
            )
        if same:
            found[name] = same[0]
        elif name in renames:
            raise InputError(
                "the file has no such column",
                where=where,
                value=wanted,
                allowed=printable(", ".join(columns), longest=400) or "none: the file has no columns",
                mend=f"give the true name: --map {name}=COLUMN",
            )
    return found


def require_columns(
    found: Collection[str],
    needed: Sequence[str | Alternatives],
    *,
    of: Table,
    fields: Sequence[str],
    mend: str | None = None,
) -> None:
    """Refuse a file that lacks columns, naming all of them at once.

    Parameters
    ----------
    found
        Fields that the file has a column for.
    needed
        Fields that it must have, or the ways to say one thing.
    of
        The file.
    fields
        All that it could have.
    mend
        How a missing column is mended, where not by ``--map``.

    Raises
    ------
    InputError
        One or more are missing.
    """
    missing = [need for need in needed if not any(set(way) <= set(found) for way in _ways(need))]
    if missing:
        name = missing[0] if len(missing) == 1 and isinstance(missing[0], str) else "FIELD"
        between = ", " if all(isinstance(need, str) for need in missing) else "; "
        raise InputError(
            f"the {of.kind} has no column {between.join(_need_words(need) for need in missing)}",
            where=of.where,
            value=printable(", ".join(of.columns), longest=_LONGEST) or "no columns",
            allowed=", ".join(fields),
            mend=mend
            or f"add it, or say which column holds it with --map {name}=COLUMN, or what every row says with "
            f"--map {name}==VALUE",
        )


def _ways(need: str | Alternatives) -> Alternatives:
    return ((need,),) if isinstance(need, str) else need


def _need_words(need: str | Alternatives) -> str:
    ways = [" and ".join(way) for way in _ways(need)]
    return (", or " if any(" and " in way for way in ways) else " or ").join(ways)


def _with_said(table: Table, renames: Mapping[str, str]) -> tuple[Table, Mapping[str, str]]:
    """Return a table with a column more for each field of which a person said what all rows hold."""
    said = {name: word[1:] for name, word in renames.items() if word.startswith("=")}
    if not said:
        return table, renames
    added = {f"{name}, said of every row": word for name, word in said.items()}
    rows = tuple(replace(row, values={**row.values, **added}) for row in table.rows)
    table = replace(table, columns=(*table.columns, *added), rows=rows)
    return table, {**renames, **dict(zip(said, added, strict=True))}


class Rows:
    """A table's rows as cells by field.

    Parameters
    ----------
    table
        As read.
    fields
        What it may hold.
    needed
        What it must hold (see `require_columns`).
    renames
        Field → column of the file, where the names differ; ``=`` and a word: every row says that.
    mend
        How a missing column is mended, where not by ``--map``.

    Attributes
    ----------
    found
        Field → column of the file.
    faults, notes
        What is wrong with the rows read so far, and what should be looked at.

    Raises
    ------
    UsageError
        ``renames`` names a field that does not exist.
    InputError
        A column is missing, or two could be one field.
    """

    def __init__(
        self,
        table: Table,
        fields: Sequence[str],
        *,
        needed: Sequence[str | Alternatives],
        renames: Mapping[str, str] | None = None,
        mend: str | None = None,
    ) -> None:
        table, renames = _with_said(table, renames or {})
        self.table = table
        self.found = matched_columns(table.columns, fields, renames=renames, where=table.where)
        require_columns(self.found, needed, of=table, fields=fields, mend=mend)
        self.faults: list[HabmapError] = list(table.faults)
        self.notes: list[str] = list(table.notes)

    def where(self, row: TableRow) -> str:
        """Name a row for a message: the file and its number."""
        return row.where or f"{self.table.where}, row {row.number}"

    def values(self, row: TableRow) -> dict[str, Any]:
        """Return a row's cells by field, as written."""
        return {name: row.values[column] for name, column in self.found.items()}

    def cells(self, row: TableRow, *, by_file: bool = False) -> Cells:
        """Return a row's cells to be read; their faults and notes are gathered here.

        Messages name them by the field, or by the file's own column (``by_file``).

        Raises
        ------
        InputErrors
            So many were found before this row that nobody would read more of them.
        """
        if len(self.faults) >= MOST_FAULTS:
            raise InputErrors(self.faults, where=f"{self.table.where}, read as far as row {row.number}")
        dates = [name for name, column in self.found.items() if column in row.dates]
        names = self.found if by_file else None
        return Cells(
            self.values(row), where=self.where(row), faults=self.faults, notes=self.notes, dates=dates, names=names
        )

    def refuse_faults(self) -> None:
        """Raise ``InputErrors`` with every fault gathered, if there is one."""
        if self.faults:
            raise InputErrors(self.faults, where=self.table.where)

    @property
    def left(self) -> tuple[str, ...]:
        """The columns that no field took."""
        taken = self.found.values()
        return tuple(column for column in self.table.columns if column not in taken)

    def not_read(self) -> list[str]:
        """Say in one note which columns no field took; no note where there is none."""
        return [f"columns not read: {printable(', '.join(self.left), longest=_LONGEST)}"] if self.left else []


def known_units_words(unit_ids: Iterable[str]) -> str:
    """Return the units that a row may name, for a message."""
    return printable(", ".join(sorted(unit_ids)), longest=400) or "none: no units are loaded yet"


def position(
    cells: Cells, values: Mapping[str, Any], units: Sequence[Unit], *, what: str
) -> tuple[str | None, Point | None]:
    """Return a row's unit and its spot (lon/lat, WGS 84 [°]), after adding to the cells' faults what is wrong.

    Parameters
    ----------
    values
        The row's ``unit_id``, ``lon`` and ``lat`` as read.
    units
        As drawn now.
    what
        What stands there, for messages (``plot``).
    """
    lon, lat = values["lon"], values["lat"]
    point = Point(lon, lat) if lon is not None and lat is not None else None
    named = values["unit_id"]
    if named is not None:
        unit_ids = {unit.unit_id for unit in units}
        if named not in unit_ids:
            cells.fault("unknown unit", "unit_id", value=named, allowed=known_units_words(unit_ids))
        return named, point
    if point is None:
        cells.fault(f"the {what} has no place", "unit_id", value="blank", allowed="a unit_id, or lon and lat")
        return None, None
    around = [unit.unit_id for unit in units if shapely.covers(unit.geometry, near(point, middle_lon(unit.geometry)))]
    if not around:
        cells.fault(
            f"the {what} lies outside every unit",
            "lon",
            value=f"{lon}, {lat}",
            allowed="longitude and latitude inside a unit",
            mend="check the sign of the longitude, or name the unit it stands for",
        )
        return None, point
    return around[0], point
