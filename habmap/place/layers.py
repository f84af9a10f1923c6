"""Vector files as people hand them over, turned into checked lon/lat shapes with their columns.

Whatever the file's kind or coordinate system, what leaves this module is WGS 84 lon/lat in degrees, two-dimensional,
finite, on the globe, not empty and valid; a file that cannot give that is refused with the place of every fault.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np
import shapely
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from habmap.errors import HabmapError, InputError, InputErrors
from habmap.land.datum import horizontal_crs, transformer_to_wgs84
from habmap.land.grid import LocalGrid
from habmap.measures import acres
from habmap.place.userfiles import VECTOR_KINDS, printable, quiet_libraries, vector_sources

Wanted = Literal["ground", "any"]

_NAN_BYTES: Final = (b"\x00\x00\x00\x00\x00\x00\xf8\x7f", b"\x00\x00\x00\x00\x00\x00\xf8\xff")
_LONLAT: Final = CRS.from_epsg(4326)
#: GPX layers that repeat the points of another layer.
_GPX_POINT_LAYERS: Final = frozenset({"route_points", "track_points"})
_REASONS: Final = {
    "Self-intersection": "the outline crosses itself",
    "Ring Self-intersection": "the outline touches or crosses itself",
    "Nested shells": "one part of the outline lies inside another part",
    "Nested holes": "one hole of the outline lies inside another hole",
    "Hole lies outside shell": "a hole lies outside its outline",
    "Holes are nested": "one hole of the outline lies inside another hole",
    "Interior is disconnected": "a hole cuts the outline in two",
    "Too few points in geometry component": "the outline has too few points to hold ground",
    "Duplicate Rings": "the same ring is drawn twice",
}


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


def read_layer(
    path: Path, *, layer: str | None = None, want: Wanted = "ground", repair: bool = False
) -> Layer:
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
    with vector_sources(path) as sources, quiet_libraries():
        choices = [choice for source in sources for choice in _layers_of(source, path)]
        source, name = _chosen(choices, path, layer=layer, want=want)
        meta, shapes_wkb, columns = _read(source, name, path)
    where = str(path) if len(choices) == 1 else f"{path}, layer {printable(name)}"
    if shapes_wkb is None:
        raise InputError("the layer is a table without shapes", where=where, mend="choose a layer with shapes")
    if not len(shapes_wkb):
        raise InputError("the layer is empty", where=where, value="0 features", mend="choose another layer or file")
    names = tuple(str(column) for column in meta["fields"])
    transformer = _transformer(meta["crs"], shapes_wkb, where)
    rows: list[LayerRow] = []
    faults: list[HabmapError] = []
    repaired: list[str] = []
    for index, wkb in enumerate(shapes_wkb):
        values = {column: plain(data[index]) for column, data in zip(names, columns, strict=True)}
        geometry: BaseGeometry | None = None
        row_where = _row_words(where, index + 1, values)
        try:
            geometry = _lonlat_shape(wkb, transformer, where=row_where)
            if want == "ground":
                geometry = _ground(geometry, where=row_where)
            geometry = _valid(geometry, where=row_where, repair=repair, repaired=repaired)
        except InputError as fault:
            geometry = None
            faults.append(fault)
        rows.append(LayerRow(index + 1, geometry, values))
    return Layer(where, names, tuple(rows), tuple(faults), tuple(repaired))


def read_ground(path: Path, *, layer: str | None = None, repair: bool = False) -> MultiPolygon:
    """Return all ground of a file as one shape, its polygons united, in lon/lat [°].

    Raises
    ------
    InputError
        See `read_layer`; every unfit outline is listed.
    """
    ground, _repaired = read_ground_and_repairs(path, layer=layer, repair=repair)
    return ground


def read_ground_and_repairs(
    path: Path, *, layer: str | None = None, repair: bool = False
) -> tuple[MultiPolygon, tuple[str, ...]]:
    """Return all ground of a file as one lon/lat shape [°], and what was mended, in words."""
    read = read_layer(path, layer=layer, want="ground", repair=repair)
    if read.faults:
        raise InputErrors(read.faults, where=read.where)
    shapes = [row.geometry for row in read.rows if row.geometry is not None]
    if len(shapes) == 1:
        return _multi(shapes[0]), read.repaired
    return _multi(shapely.union_all(shapes)), read.repaired


def read_boundary(path: Path, *, layer: str | None = None, repair: bool = False) -> MultiPolygon:
    """Return a property's outer line from a file: one or several polygons, united, lon/lat [°]."""
    return read_ground(path, layer=layer, repair=repair)


def crossing_words(geometry: BaseGeometry) -> tuple[str, str | None]:
    """Say what is wrong with an invalid outline and where, ``lon lat`` [°]."""
    reason = shapely.is_valid_reason(geometry)
    kind, _, place = reason.partition("[")
    spot = None
    with suppress(ValueError):
        lon, lat = (float(number) for number in place.rstrip("]").split()[:2])
        spot = f"at lon {lon:.6f}, lat {lat:.6f}"
    return _REASONS.get(kind.strip(), f"the outline is not usable: {kind.strip().lower()}"), spot


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


def _layers_of(source: Path, path: Path) -> list[_Choice]:
    import pyogrio

    try:
        listed = pyogrio.list_layers(str(source))
    except (OSError, RuntimeError, ValueError) as error:
        raise _unreadable(path, error) from error
    return [
        _Choice(source, str(name), None if sort is None else str(sort))
        for name, sort in listed
        if not (source.suffix.lower() == ".gpx" and name in _GPX_POINT_LAYERS)
    ]


def _chosen(choices: Sequence[_Choice], path: Path, *, layer: str | None, want: Wanted) -> tuple[Path, str]:
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
        return named[0].source, named[0].name
    if len(choices) == 1:
        return choices[0].source, choices[0].name
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
    return fitting[0].source, fitting[0].name


def _fits(sort: str | None, want: Wanted) -> bool:
    if sort is None:
        return False
    return want == "any" or any(word in sort for word in ("Polygon", "Surface", "Unknown", "Collection"))


def _has_features(choice: _Choice, path: Path) -> bool:
    import pyogrio

    try:
        return bool(pyogrio.read_info(str(choice.source), layer=choice.name, force_feature_count=True)["features"])
    except (OSError, RuntimeError, ValueError) as error:
        raise _unreadable(path, error) from error


def _read(source: Path, name: str, path: Path) -> tuple[dict[str, Any], Any, Any]:
    from pyogrio.raw import read

    try:
        meta, _ids, shapes_wkb, columns = read(str(source), layer=name, force_2d=True)
    except (OSError, RuntimeError, ValueError) as error:
        raise _unreadable(path, error) from error
    return meta, shapes_wkb, columns


def _unreadable(path: Path, error: Exception) -> InputError:
    return InputError(
        "the file cannot be read as a layer",
        where=str(path),
        value=printable(str(error), longest=200),
        allowed=", ".join(sorted(set(VECTOR_KINDS.values()))),
        mend="save or export it again from the program it came from",
    )


# --- coordinates --------------------------------------------------------------------------------------------


def _transformer(text: str | None, shapes_wkb: Any, where: str) -> Transformer | None:
    """Return what turns the layer into lon/lat; ``None`` where its numbers are lon/lat already and stay as they are."""
    crs: CRS | None = None
    if text:
        with suppress(CRSError):
            crs = CRS.from_user_input(text)
    if crs is not None:
        crs = horizontal_crs(crs)
    if crs is None or not (crs.is_geographic or crs.is_projected):
        raise InputError(
            "the layer does not say in which coordinate system its numbers are",
            where=where,
            value="unknown" if crs is None else printable(crs.name),
            allowed="a coordinate system, as in a shapefile's .prj",
            mend="set it in the program the layer came from and export again; it is never guessed",
        )
    if crs.equals(_LONLAT, ignore_axis_order=True):
        return None
    bounds = shapely.total_bounds(shapely.from_wkb(shapes_wkb, on_invalid="ignore"))
    west, south, east, north = (float(side) for side in bounds)
    known = bool(np.isfinite(bounds).all())
    return transformer_to_wgs84(crs, bounds=(west, south, east, north) if known else None, where=where)


def _lonlat_shape(wkb: bytes | None, transformer: Transformer | None, *, where: str) -> BaseGeometry:
    if wkb is None:
        raise InputError("this row has no shape", where=where, value="null", mend="draw it, or delete the row")
    shape = shapely.from_wkb(wkb, on_invalid="fix")
    if shape is None:
        has_nan = any(nan in wkb for nan in _NAN_BYTES)
        raise InputError(
            "a coordinate is not a number" if has_nan else "the shape cannot be read",
            where=where,
            value="NaN" if has_nan else None,
            allowed="finite numbers",
            mend="draw the outline again",
        )
    shape = shapely.force_2d(shape)
    if shape.is_empty:
        raise InputError("this row has an empty shape", where=where, value=shape.geom_type, mend="draw it, or delete the row")
    before = shapely.get_coordinates(shape)
    _check_numbers(before, where=where, is_degrees=transformer is None)
    if transformer is not None:
        shape = _turned(shape, transformer)
        _check_numbers(shapely.get_coordinates(shape), where=where, is_degrees=True, before=before)
    return shape


def _turned(shape: BaseGeometry, transformer: Transformer) -> BaseGeometry:
    def turn(xy: np.ndarray[Any, np.dtype[np.float64]]) -> np.ndarray[Any, np.dtype[np.float64]]:
        return np.column_stack(transformer.transform(xy[:, 0], xy[:, 1]))

    turned: BaseGeometry = shapely.transform(shape, turn)
    return turned


def _check_numbers(
    xy: np.ndarray[Any, np.dtype[np.float64]],
    *,
    where: str,
    is_degrees: bool,
    before: np.ndarray[Any, np.dtype[np.float64]] | None = None,
) -> None:
    bad = ~np.isfinite(xy).all(axis=1)
    if is_degrees:
        bad |= (np.abs(xy[:, 0]) > 180) | (np.abs(xy[:, 1]) > 90)
    if not bad.any():
        return
    first = int(np.argmax(bad))
    x, y = (xy if before is None else before)[first]
    if before is None and not np.isfinite([x, y]).all():
        what = "a coordinate is not a number"
    elif is_degrees and before is None and np.abs(xy).max() > 400:
        what = "the numbers are metres or feet, but the layer says they are degrees"
    else:
        what = "a coordinate lies off the globe"
    raise InputError(
        what,
        where=where,
        value=f"{x:g}, {y:g}",
        allowed="longitude −180 to 180 first, then latitude −90 to 90",
        mend="set the layer's true coordinate system in the program it came from and export again",
    )


# --- shapes -------------------------------------------------------------------------------------------------


def _ground(shape: BaseGeometry, *, where: str) -> MultiPolygon:
    parts = _flat_parts(shape)
    other = next((part for part in parts if not isinstance(part, Polygon)), None)
    if other is not None:
        raise InputError(
            "ground is wanted here, and this is not a polygon",
            where=where,
            value=other.geom_type,
            allowed="Polygon or MultiPolygon",
            mend="close the line into a polygon, or trace a GPS walk with `habmap trace`",
        )
    return MultiPolygon(parts)


def _flat_parts(shape: BaseGeometry) -> list[BaseGeometry]:
    if hasattr(shape, "geoms"):
        return [leaf for part in shape.geoms for leaf in _flat_parts(part)]
    return [shape]


def _valid(shape: BaseGeometry, *, where: str, repair: bool, repaired: list[str]) -> BaseGeometry:
    # A line that crosses itself is a line all the same; only outlines of ground can be wrong.
    if shape.is_valid or not shapely.get_dimensions(shape) == 2:
        return shape
    what, spot = crossing_words(shape)
    mended = _multi(shapely.make_valid(shape, method="structure")) if repair else MultiPolygon()
    if mended.is_empty:
        raise InputError(
            what,
            where=where if spot is None else f"{where}, {spot}",
            value=f"{shape.geom_type} of {shapely.get_num_coordinates(shape)} points",
            allowed="an outline that never crosses itself",
            mend="draw the outline again"
            if repair
            else "draw it again, or let --repair mend it and read what that changes",
        )
    lon, lat = shapely.get_coordinates(mended.envelope.centroid)[0]
    grid = LocalGrid(lat=float(lat), lon=float(lon))
    before, after = (acres(abs(grid.to_grid(outline).area)) for outline in (shape, mended))
    parts = len(mended.geoms)
    repaired.append(
        f"{where}: {what}{f' {spot}' if spot else ''}; mended: {before:.2f} acres as drawn, {after:.2f} acres now "
        f"in {parts} {'part' if parts == 1 else 'parts'}"
    )
    return mended


def _multi(shape: BaseGeometry) -> MultiPolygon:
    return MultiPolygon([part for part in _flat_parts(shape) if isinstance(part, Polygon) and not part.is_empty])


def _row_words(where: str, number: int, values: dict[str, Any]) -> str:
    for column, value in values.items():
        if re.fullmatch(r"unit_?id|name|kind", column, re.IGNORECASE) and value not in (None, ""):
            return f"{where}, feature {number} ({column} {printable(str(value), longest=40)})"
    return f"{where}, feature {number}"
