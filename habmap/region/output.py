"""The table of a region's stands as a file: put together beside its place, and moved there whole."""

from __future__ import annotations

import csv
import errno
import io
import json
import sqlite3
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from habmap.errors import InputError
from habmap.place.formulas import inert

#: Rows turned into text at once.
ROWS_AT_ONCE: Final = 20_000
#: Rows written at once.
Portion = tuple[Mapping[str, NDArray[Any]], NDArray[np.object_]]
LAYER: Final = "stands"


@dataclass(frozen=True, slots=True)
class Writer:
    """Writes rows, portion by portion, to a path; the last word is when the stands were written [s since 1970].

    ``has_shapes``: outlines go into the file, and so each portion brings them.
    """

    rows: Callable[[Path, Iterator[Portion], float], None]
    has_shapes: bool = True


def writer_for(path: Path) -> Writer:
    """Return what writes a file of this name.

    Raises
    ------
    InputError
        No such format is written, or the library for it is not installed.
    """
    writers = {
        ".parquet": Writer(_write_parquet),
        ".gpkg": Writer(_write_geopackage),
        ".csv": Writer(_write_csv, has_shapes=False),
    }
    found = writers.get(path.suffix.lower())
    if found is None:
        raise InputError(
            "the file's name says no format that is written here",
            where="-o",
            value=path.name,
            allowed="names that end in .parquet, .gpkg or .csv",
            mend="name the file so",
        )
    if path.suffix.lower() == ".parquet":
        _arrow()
    return found


def _arrow() -> Any:
    try:
        import pyarrow
    except ImportError as error:
        raise InputError(
            "the library that writes GeoParquet is not installed",
            where="-o",
            mend="pip install 'habmap[region]', or name a file .gpkg or .csv",
        ) from error
    return pyarrow


def _write_parquet(path: Path, portions: Iterator[Portion], _written_at: float) -> None:
    """Write GeoParquet 1.1 (geoparquet.org): rows in groups, shapes as WKB, WGS 84 lon/lat."""
    import pyarrow as pa
    import pyarrow.parquet as pq
    from pyproj import CRS

    about = {
        "version": "1.1.0",
        "primary_column": "geometry",
        "columns": {
            "geometry": {
                "encoding": "WKB",
                "geometry_types": ["MultiPolygon"],
                "crs": CRS.from_epsg(4326).to_json_dict(),
            }
        },
    }
    writer = None
    for columns, shapes in portions:
        arrays = {name: _arrow_column(pa, name, column) for name, column in columns.items()}
        arrays["geometry"] = pa.array(shapely.to_wkb(shapes).tolist(), type=pa.binary())
        table = pa.table(arrays).replace_schema_metadata({"geo": json.dumps(about)})
        if writer is None:
            writer = pq.ParquetWriter(path, table.schema, compression="zstd")
        writer.write_table(table.cast(writer.schema))
    if writer is not None:
        writer.close()


def _arrow_column(pa: Any, name: str, column: NDArray[Any]) -> Any:
    if column.dtype == object:
        values = column.tolist()
        if any(isinstance(value, bool) for value in values) or all(value is None for value in values):
            return pa.array(
                values, type=pa.bool_() if any(isinstance(value, bool) for value in values) else pa.string()
            )
        return pa.array([None if value is None else str(value) for value in values], type=pa.string())
    return pa.array(column, mask=np.isnan(column))


def _write_geopackage(path: Path, portions: Iterator[Portion], written_at: float) -> None:
    import geopandas
    import pyogrio

    # The file says when it was made: the day of the stands, so that the same work gives the same bytes.
    made = datetime.fromtimestamp(written_at, UTC).strftime("%Y-%m-%dT%H:%M:%S.000Z")
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": made})
    rows, bounds, model = 0, np.full(4, np.nan), io.BytesIO()
    how = {"driver": "GPKG", "layer": LAYER, "geometry_type": "MultiPolygon"}
    try:
        for columns, shapes in portions:
            frame = geopandas.GeoDataFrame(dict(columns), geometry=shapes, crs="EPSG:4326")
            pyogrio.write_dataframe(frame, path, append=rows > 0, **how)
            if not rows:
                pyogrio.write_dataframe(frame.head(1), model, **how)
            rows += len(frame)
            own = shapely.total_bounds(shapes)
            bounds = np.concatenate([np.fmin(bounds[:2], own[:2]), np.fmax(bounds[2:], own[2:])])
        if rows:
            _see_whole(path, rows, bounds, model.getvalue())
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})


def _see_whole(path: Path, rows: int, bounds: NDArray[np.float64], model: bytes) -> None:
    """Look whether a GeoPackage holds all of it: on a disk that fails GDAL may leave out index, triggers, counts or
    extent, and say nothing.

    Parameters
    ----------
    rows, bounds
        How many stands it should hold, and within which longitudes and latitudes [°].
    model
        A whole one of the same layer.

    Raises
    ------
    OSError
        It does not.
    """
    names = "SELECT type, name FROM sqlite_master ORDER BY type, name"
    stands, indexed = (f"(SELECT count(*) FROM {table})" for table in (LAYER, f"rtree_{LAYER}_geom"))
    counts = f"SELECT {stands}, {indexed}, feature_count FROM gpkg_ogr_contents"
    extent = "SELECT min_x, min_y, max_x, max_y FROM gpkg_contents"
    try:
        with closing(sqlite3.connect(path)) as made, closing(sqlite3.connect(":memory:")) as whole:
            whole.deserialize(model)
            is_whole = (
                made.execute(names).fetchall() == whole.execute(names).fetchall()
                and made.execute(counts).fetchall() == [(rows, rows, rows)]
                and np.array_equal(np.array(made.execute(extent).fetchone(), dtype=float), bounds)
                and made.execute("PRAGMA quick_check").fetchall() == [("ok",)]
            )
    except sqlite3.Error as error:
        raise OSError(errno.EIO, str(error)) from error
    if not is_whole:
        raise OSError(errno.EIO, "part of the layer was not written")


def _write_csv(path: Path, portions: Iterator[Portion], _written_at: float) -> None:
    with path.open("w", encoding="utf-8", newline="") as stream:
        table = csv.writer(stream, lineterminator="\n")
        for number, (columns, _shapes) in enumerate(portions):
            if not number:
                table.writerow(columns)
            for first in range(0, max(map(len, columns.values())), ROWS_AT_ONCE):
                own = slice(first, first + ROWS_AT_ONCE)
                table.writerows(zip(*(_cells(column[own]) for column in columns.values()), strict=True))


def _cells(column: NDArray[Any]) -> list[object]:
    if column.dtype == object:
        return [_cell(value) for value in column.tolist()]
    return ["" if value != value else value for value in column.tolist()]


def _cell(value: object) -> object:
    if value is None or value != value:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return inert(value) if isinstance(value, str) else value
