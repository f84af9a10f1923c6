"""The table of log lines, or a GeoPackage or GeoJSON layer of them whose shapes are the ground worked."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import shapely
from shapely import MultiPolygon
from shapely.errors import ShapelyError

from habmap.errors import InputError, InputErrors, printable
from habmap.place.layers import LayerRow, read_layer
from habmap.place.load.cells import LONGEST_OUTLINE, Cells
from habmap.place.load.spec import Column, TableSpec, Written
from habmap.place.load.table import Table, TableRow, read_table
from habmap.place.shapes import as_ground, as_valid, lonlat_shape
from habmap.records import BurnRecord, Entry, cell_facts
from habmap.vocabulary import PRACTICES

#: Row content that makes the identity of a row without an ``entry_id``: what was done, not how sure somebody is of it.
#: The recipe of ids that places hold already, in its order: it never changes, and a field added since counts only where
#: it is filled in.
_IDENTITY_FIELDS: Final = (
    "date", "practice", "unit_id", "patch_wkt", "killed_pct", "burned_pct", "person_hours", "cost", "reported_acres",
    "acres_sd", "who", "note", "product", "product_rate", "live_stems_per_acre", "tallest_ft", "seedlings_per_acre",
    "needles", "fuel_lb_ac", "sprouts", "stump_treated",
)  # fmt: skip
#: What a line says of itself besides what was done, when, on which ground.
_FACTS: Final = cell_facts(Entry)
#: What was done on which ground, what the facts of a line say, and then what was observed at a burn.
ENTRIES: Final = TableSpec(
    kind="entries",
    noun="log line",
    record=Entry,
    columns=(
        Column("entry_id"),
        Column("date", "day", is_required=True),
        Column("practice", "choice", is_required=True, words=PRACTICES),
        Column("unit_id"),
        Column("whole", "flag"),
        Column("patch_wkt", longest=LONGEST_OUTLINE),
        *map(Column.of, _FACTS),
        # of burns alone: beside other work they are left as they are
        *(Column(one.cell, "own") for one in cell_facts(BurnRecord)),
    ),
    alternatives=((("unit_id",), ("patch_wkt",)),),
    identity=Written(
        "entry_id",
        keeps="source_id",
        source="source_id",
        content=_IDENTITY_FIELDS,
        later=tuple(one.cell for one in _FACTS if one.cell not in (*_IDENTITY_FIELDS, "source_id", "sure")),
    ),
)
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


def drawn_patch(wkt: str, cells: Cells) -> MultiPolygon | None:
    """Return the ground that a row draws (WGS 84 lon/lat); ``None`` after adding to the faults why it cannot be."""
    try:
        if wkt.upper().count("COLLECTION") > 1:  # GEOS follows one within the other until its stack ends
            raise NotImplementedError("collections within collections")
        shape = shapely.from_wkt(wkt)
    except (ShapelyError, NotImplementedError) as error:  # the latter for curves too
        cells.fault(
            "patch_wkt cannot be read",
            "patch_wkt",
            value=f"{printable(wkt, longest=40)} ({printable(str(error))})",
            allowed="POLYGON or MULTIPOLYGON, longitude latitude",
        )
        return None
    try:
        checked = lonlat_shape(shapely.to_wkb(shape), None, where="")
        ground = as_ground(checked, where="")
        as_valid(ground, where="", repair=False, repaired=[])
    except InputError as error:
        spot = (error.where or "").removeprefix(", ")
        cells.fault(
            f"patch_wkt: {error.what}",
            "patch_wkt",
            value=spot or error.value,
            allowed=error.allowed,
            mend="mend the outline, or load it from a file with `habmap log --patch`",
        )
        return None
    return ground
