"""Log lines from a table, or from a GeoPackage or GeoJSON layer whose shapes are the ground worked."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import shapely

from habmap.errors import InputErrors
from habmap.place.layers import LayerRow, read_layer
from habmap.place.load.table import Table, TableRow, read_table

#: The column under which the ground of a layer's row reaches the reader of tables.
GROUND_COLUMN: Final = "patch_wkt"
LAYER_SUFFIXES: Final = frozenset({".gpkg", ".geojson", ".json", ".zip", ".shp"})


def read_ledger(path: Path, *, layer: str | None = None, sheet: str | None = None) -> Table:
    """Return log lines as a table of text, the ground of a layer's rows as WKT of full precision.

    Raises
    ------
    InputError
        The file is unfit (see `habmap.place.load.table.read_table` and `habmap.place.layers.read_layer`).
    """
    if path.suffix.lower() not in LAYER_SUFFIXES:
        return read_table(path, sheet=sheet)
    read = read_layer(path, layer=layer, want="ground")
    if read.faults:
        raise InputErrors(read.faults, where=read.where)
    columns = tuple(column for column in read.columns if column.casefold() != GROUND_COLUMN)
    rows = tuple(
        TableRow(row.number, {column: _text(row.values[column]) for column in columns} | {GROUND_COLUMN: _wkt(row)})
        for row in read.rows
    )
    return Table(read.where, (*columns, GROUND_COLUMN), rows)


def _wkt(row: LayerRow) -> str:
    # -1: as many digits as it takes to read the same number back
    return "" if row.geometry is None else str(shapely.to_wkt(row.geometry, rounding_precision=-1))


def _text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return repr(value) if isinstance(value, float) else str(value)
