"""Vector files as people hand them over, turned into checked lon/lat shapes with their columns.

Whatever the file's kind or coordinate system, what leaves this module is WGS 84 lon/lat in degrees, two-dimensional,
finite, on the globe, not empty and valid; a file that cannot give that is refused with the place of every fault.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from habmap.errors import HabmapError, InputError, InputErrors, printable
from habmap.land.datum import horizontal_crs, transformer_to_wgs84
from habmap.land.meridian import middle_lon, near, running_on
from habmap.place.drivers import only_vector_drivers
from habmap.place.layerheads import LayerHead, big_layer_head, check_read, geojson_head, layer_head
from habmap.place.shapes import as_ground, as_valid, lonlat_shape, multipolygon
from habmap.place.userfiles import VECTOR_KINDS, quiet_libraries, vector_sources

Wanted = Literal["ground", "any"]

_LONLAT: Final = CRS.from_epsg(4326)
#: GPX layers that repeat the points of another layer.
_GPX_POINT_LAYERS: Final = frozenset({"route_points", "track_points"})
#: What the library raises of a file that it cannot take; a name that it forgot to set where a layer has a coordinate
#: system that no text can be made of (pyogrio 0.13, `get_crs`).
UNREADABLE: Final = (OSError, RuntimeError, ValueError, UnboundLocalError)


@dataclass(frozen=True, slots=True)
class LayerRow:
    """One feature of a file.

    Attributes
    ----------
    number
        Its place in the layer, counted from 1.
    geometry
        WGS 84 lon/lat [°], 2-D, valid; a ``MultiPolygon`` where ground was wanted; ``None`` where ``Layer.faults``
        says why there is none.
    values
        Its columns as plain Python values (text, numbers, booleans, lists, ``None``; dates as ISO text).
    """

    number: int
    geometry: BaseGeometry | None
    values: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Layer:
    """A layer's rows, what is wrong with their shapes, and what was mended, in words."""

    where: str
    columns: tuple[str, ...]
    rows: tuple[LayerRow, ...]
    faults: tuple[HabmapError, ...] = ()
    repaired: tuple[str, ...] = ()

    def row_words(self, row: LayerRow) -> str:
        """Name a row for a message: its number and, if it has one, its label."""
        return _row_words(self.where, row.number, row.values)


def read_layer(path: Path, *, layer: str | None = None, want: Wanted = "ground", repair: bool = False) -> Layer:
    """Read one layer of a GeoPackage, GeoJSON, shapefile (also zipped), KML or GPX as lon/lat rows [°].

    Parameters
    ----------
    path
        The file.
    layer
        Name of the layer; needed only where several hold shapes of the wanted sort.
    want
        ``ground``: polygons, given as ``MultiPolygon``; lines, points and mixed collections are faults.
        ``any``: every shape.
    repair
        Mend outlines that cross themselves and say what that changed; otherwise they are faults.

    Returns
    -------
    Layer
        With ``faults`` for shapes that are unfit, so that a caller can list them beside its own findings.

    Raises
    ------
    InputError
        The file, its layer or its coordinate system as a whole is unfit.
    """
    with vector_sources(path) as sources, quiet_libraries(), only_vector_drivers():
        choices = [choice for source in sources for choice in _layers_of(source, path)]
        chosen = _chosen(choices, path, layer=layer, want=want)
        where = str(path) if len(choices) == 1 else f"{path}, layer {printable(chosen.name)}"
        head = chosen.head or layer_head(chosen.source, chosen.name, where=where)
        meta, shapes_wkb, columns = _read(chosen.source, chosen.name, path)
    if shapes_wkb is None:
        raise InputError("the layer is a table without shapes", where=where, mend="choose a layer with shapes")
    check_read(len(shapes_wkb), head, where=where)
    if not len(shapes_wkb):
        raise InputError("the layer is empty", where=where, value="0 features", mend="choose another layer or file")
    names = tuple(str(column) for column in meta["fields"])
    with np.errstate(invalid="ignore"):  # a coordinate that is no number is told as a fault below
        west, south, east, north = shapely.total_bounds(shapely.from_wkb(shapes_wkb, on_invalid="ignore")).tolist()
    crs_text = meta["crs"] if head.crs_name is None else head.crs_name
    transformer = layer_transformer(crs_text, (west, south, east, north), where=where)
    rows: list[LayerRow] = []
    faults: list[HabmapError] = []
    repaired: list[str] = []
    for index, wkb in enumerate(shapes_wkb):
        values = {column: plain(data[index]) for column, data in zip(names, columns, strict=True)}
        geometry: BaseGeometry | None = None
        row_where = _row_words(where, index + 1, values)
        try:
            geometry = lonlat_shape(wkb, transformer, where=row_where)
            if want == "ground":
                geometry = as_ground(geometry, where=row_where)
            geometry = as_valid(geometry, where=row_where, repair=repair, repaired=repaired)
        except InputError as fault:
            geometry = None
            faults.append(fault)
        rows.append(LayerRow(index + 1, geometry, values))
    return Layer(where, names, tuple(rows), tuple(faults), tuple(repaired))


def read_only_feature(
    path: Path, *, layer: str | None = None, want: Wanted = "ground", repair: bool = False, wanted: str
) -> tuple[LayerRow, tuple[str, ...]]:
    """Return the one feature of a file, and what was mended in it; ``wanted`` says what it should be.

    Raises
    ------
    InputError
        The file is unfit (see `read_layer`), or holds none or more than one.
    """
    read = read_layer(path, layer=layer, want=want, repair=repair)
    if read.faults:
        raise InputErrors(read.faults, where=read.where)
    if len(read.rows) != 1:
        raise InputError(
            f"the file must hold {wanted}",
            where=str(path),
            value=f"{len(read.rows)} features",
            allowed="one feature",
            mend="save it alone in a file of its own; `load units` takes many at once",
        )
    return read.rows[0], read.repaired


@dataclass(frozen=True, slots=True)
class BigLayer:
    """A layer of ground that is too large to be held whole, open for reading.

    Attributes
    ----------
    source, name, where
        The plain file that holds it, its name there, and both in words.
    crs_text, bounds
        Its coordinate system and its rectangle in that.
    columns, features
        Its columns, and how many rows it has.
    """

    source: Path
    name: str
    where: str
    crs_text: str | None
    bounds: tuple[float, float, float, float]
    columns: tuple[str, ...]
    features: int

    def rows(self, first: int, count: int, *, columns: Sequence[str]) -> tuple[NDArray[Any], list[NDArray[Any]]]:
        """Return the shapes of some rows as WKB in the layer's own coordinates, and some of their columns."""
        from pyogrio.raw import read

        try:
            meta, _ids, shapes_wkb, values = read(
                str(self.source), layer=self.name, force_2d=True, columns=list(columns),
                skip_features=first, max_features=count,
            )  # fmt: skip
        except UNREADABLE as error:
            raise _unreadable(self.source, error) from error
        check_read(len(shapes_wkb), LayerHead(min(count, self.features - first)), where=self.where)
        named = dict(zip(meta["fields"], values, strict=True))
        return shapes_wkb, [named[column] for column in columns]


@contextmanager
def open_big_layer(path: Path, *, layer: str | None = None) -> Iterator[BigLayer]:
    """Open one layer of ground for reading in portions; see `read_layer`.

    Raises
    ------
    InputError
        The file or its layer as a whole is unfit.
    """
    import pyogrio

    with vector_sources(path) as sources, quiet_libraries(), only_vector_drivers():
        choices = [choice for source in sources for choice in _layers_of(source, path)]
        chosen = _chosen(choices, path, layer=layer, want="ground")
        where = str(path) if len(choices) == 1 else f"{path}, layer {printable(chosen.name)}"
        head = chosen.head or big_layer_head(chosen.source, chosen.name, where=where)
        try:
            info = pyogrio.read_info(
                str(chosen.source), layer=chosen.name, force_feature_count=True, force_total_bounds=True
            )
        except UNREADABLE as error:
            raise _unreadable(path, error) from error
        if not info["features"] or info["total_bounds"] is None:
            raise InputError("the layer is empty", where=where, value="0 features", mend="choose another layer or file")
        check_read(int(info["features"]), head, where=where)
        crs_text = info["crs"] if head.crs_name is None else head.crs_name
        west, south, east, north = (float(side) for side in info["total_bounds"])
        columns = tuple(str(column) for column in info["fields"])
        yield BigLayer(
            chosen.source, chosen.name, where, crs_text, (west, south, east, north), columns, int(info["features"])
        )


def read_ground(path: Path, *, repair: bool = False) -> MultiPolygon:
    """Return all ground of a file as one lon/lat shape [°]; see `read_ground_and_repairs`."""
    return read_ground_and_repairs(path, repair=repair)[0]


def read_ground_and_repairs(
    path: Path, *, layer: str | None = None, repair: bool = False
) -> tuple[MultiPolygon, tuple[str, ...]]:
    """Return all ground of a file as one lon/lat shape [°], its polygons united, and what was mended, in words.

    Raises
    ------
    InputError
        See `read_layer`; every unfit outline is listed.
    """
    read = read_layer(path, layer=layer, want="ground", repair=repair)
    if read.faults:
        raise InputErrors(read.faults, where=read.where)
    shapes = [row.geometry for row in read.rows if row.geometry is not None]
    if len(shapes) == 1:
        return multipolygon(shapes[0]), read.repaired
    beside = middle_lon(shapes[0])
    return multipolygon(running_on(shapely.union_all([near(shape, beside) for shape in shapes]))), read.repaired


def plain(value: Any) -> Any:
    """Turn a column's value into what JSON can hold: dates as ISO text, not-a-number and not-a-time as ``None``."""
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, np.datetime64):
        return None if np.isnat(value) else str(value)
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float):
        return value if np.isfinite(value) else None
    if isinstance(value, bytes):
        return value.hex()
    if isinstance(value, list | tuple | np.ndarray):
        return [plain(item) for item in value]
    return str(value)


# --- files and layers ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Choice:
    source: Path
    name: str
    sort: str | None
    head: LayerHead | None = None


def _layers_of(source: Path, path: Path) -> list[_Choice]:
    import pyogrio

    # A GeoJSON is looked at before the library opens it: for it even naming the layers means following what it names.
    head = geojson_head(source, where=str(path)) if VECTOR_KINDS[source.suffix.lower()] == "GeoJSON" else None
    try:
        listed = pyogrio.list_layers(str(source))
    except UNREADABLE as error:
        raise _unreadable(path, error) from error
    return [
        _Choice(source, str(name), None if sort is None else str(sort), head)
        for name, sort in listed
        if not (source.suffix.lower() == ".gpx" and name in _GPX_POINT_LAYERS)
    ]


def _chosen(choices: Sequence[_Choice], path: Path, *, layer: str | None, want: Wanted) -> _Choice:
    names = ", ".join(f"{printable(choice.name)} ({choice.sort or 'table'})" for choice in choices)
    if layer is not None:
        named = [choice for choice in choices if choice.name == layer]
        if len(named) != 1:
            raise InputError(
                "there is no such layer" if not named else "more than one layer has this name",
                where=str(path),
                value=layer,
                allowed=names,
                mend="name one of these with --layer",
            )
        return named[0]
    if len(choices) == 1:
        return choices[0]
    fitting = [choice for choice in choices if _fits(choice.sort, want)]
    if len(fitting) > 1:
        # Empty layers are no choice: walks saved by handhelds and drawing programs are full of them.
        filled = [choice for choice in fitting if _has_features(choice, path)]
        fitting = filled or fitting
    if len(fitting) != 1:
        raise InputError(
            "the file holds several layers that would fit" if fitting else "the file holds no layer with ground",
            where=str(path),
            value=names or "no layers",
            allowed="one layer",
            mend="name the one to load with --layer NAME",
        )
    return fitting[0]


def _fits(sort: str | None, want: Wanted) -> bool:
    if sort is None:
        return False
    return want == "any" or any(word in sort for word in ("Polygon", "Surface", "Unknown", "Collection"))


def _has_features(choice: _Choice, path: Path) -> bool:
    import pyogrio

    head = choice.head or layer_head(choice.source, choice.name, where=f"{path}, layer {printable(choice.name)}")
    if head.features is not None:
        return bool(head.features)
    try:
        return bool(pyogrio.read_info(str(choice.source), layer=choice.name, force_feature_count=True)["features"])
    except UNREADABLE as error:
        raise _unreadable(path, error) from error


def _read(source: Path, name: str, path: Path) -> tuple[dict[str, Any], Any, Any]:
    from pyogrio.raw import read

    try:
        meta, _ids, shapes_wkb, columns = read(str(source), layer=name, force_2d=True)
    except UNREADABLE as error:
        raise _unreadable(path, error) from error
    return meta, shapes_wkb, columns


def _unreadable(path: Path, error: Exception) -> InputError:
    return InputError(
        "the file cannot be read as a layer",
        where=str(path),
        value=printable(str(error).partition("; It might help")[0], longest=200),
        allowed=", ".join(sorted(set(VECTOR_KINDS.values()))),
        mend="rename it: its name is not UTF-8"
        if isinstance(error, UnicodeEncodeError)
        else "save or export it again from the program it came from",
    )


def layer_transformer(text: str | None, bounds: tuple[float, float, float, float], *, where: str) -> Transformer | None:
    """Return what turns a layer into lon/lat; ``None`` where its numbers are lon/lat already and stay as they are."""
    crs: CRS | None = None
    if text and not text.lstrip().startswith("+"):  # a PROJ text may name files
        with suppress(CRSError):
            crs = CRS.from_user_input(text)
    if crs is not None:
        crs = horizontal_crs(crs)
    if crs is None or not (crs.is_geographic or crs.is_projected):
        raise InputError(
            "the layer names a coordinate system that is not known, or not one of maps"
            if text
            else "the layer does not say in which coordinate system its numbers are",
            where=where,
            value=printable(crs.name if crs is not None else (text or "unknown").split("[")[0]),
            allowed="a coordinate system, as in a shapefile's .prj",
            mend="set it in the program the layer came from and export again; it is never guessed",
        )
    if crs.equals(_LONLAT, ignore_axis_order=True):
        return None
    west, south, east, north = bounds
    known = bool(np.isfinite(bounds).all())
    return transformer_to_wgs84(crs, bounds=(west, south, east, north) if known else None, where=where)


def _row_words(where: str, number: int, values: dict[str, Any]) -> str:
    for column, value in values.items():
        if re.fullmatch(r"unit_?id|name|kind", column, re.IGNORECASE) and value not in (None, ""):
            return f"{where}, feature {number} ({column} {printable(str(value), longest=40)})"
    return f"{where}, feature {number}"
