"""A layer of a person's map as a table whose rows have shapes."""

from __future__ import annotations

from pathlib import Path

from habmap.land.grid import LocalGrid
from habmap.land.meridian import near
from habmap.place.layers import Wanted, read_layer
from habmap.place.load.table import Table, TableRow


def layer_table(
    path: Path,
    *,
    layer: str | None = None,
    want: Wanted = "ground",
    repair: bool = False,
    grid: LocalGrid | None = None,
) -> Table:
    """Read a layer (see `habmap.place.layers.read_layer`).

    Parameters
    ----------
    grid
        The property's: longitudes are counted as it counts them, which matters across the 180° meridian.

    Raises
    ------
    InputError
        The file, its layer or its coordinate system as a whole is unfit; faults of single shapes are the table's.
    """
    read = read_layer(path, layer=layer, want=want, repair=repair)
    rows = tuple(
        TableRow(
            row.number,
            row.values,
            shape=row.geometry if row.geometry is None or grid is None else near(row.geometry, grid.lon),
            where=read.row_words(row),
        )
        for row in read.rows
    )
    return Table(read.where, read.columns, rows, faults=read.faults, repaired=read.repaired, kind="layer")
