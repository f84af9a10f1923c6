"""What a layer's own file says of itself, read before the library that takes it apart: how many features, how much.

The library trusts such counts: one that is too low and part of the layer is lost in silence, one that is far too high
and it takes all memory. So they are counted here by another way, and compared.
"""

from __future__ import annotations

import json
import sqlite3
import struct
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from habmap.errors import InputError, printable

#: Most that is taken from one layer; a county's parcels are a tenth of either.
MAX_LAYER_BYTES: Final = 1_000_000_000
MAX_GEOJSON_BYTES: Final = 300_000_000
MAX_FEATURES: Final = 1_000_000
#: SQLite may take this many thousand steps to count a layer: some seconds. A million rows take a tenth of it.
_MOST_STEPS: Final = 300_000
_STEPS: Final = 1_000
#: Virtual tables that keep to their own file (SQLite: R*Tree and full-text modules).
_OWN_MODULES: Final = frozenset({"rtree", "rtree_i32", "geopoly", "fts3", "fts4", "fts5"})
_GEOMETRIES: Final = frozenset({
    "Point", "MultiPoint", "LineString", "MultiLineString", "Polygon", "MultiPolygon", "GeometryCollection",
})  # fmt: skip
_FEATURE: Final = object()


@dataclass(frozen=True, slots=True)
class LayerHead:
    """How many features a layer holds, and the name of its coordinate system where the format leaves that to us."""

    features: int | None
    crs_name: str | None = None


def layer_head(source: Path, name: str, *, where: str) -> LayerHead:
    """Return what a layer's file says of itself, having compared its parts; of a GeoJSON see `geojson_head`.

    Parameters
    ----------
    source, name
        A plain file that holds what its name says, and the layer in it.
    where
        File and layer, for messages.

    Raises
    ------
    InputError
        Two parts of the file disagree on how much there is, or it is more than is taken.
    """
    suffix = source.suffix.lower()
    check_bytes(source.stat().st_size, MAX_LAYER_BYTES, where=where)
    head = LayerHead(None)
    if suffix == ".shp":
        head = LayerHead(_shapefile_features(source, where=where))
    elif suffix == ".gpkg":
        head = LayerHead(_geopackage_features(source, name, where=where))
    _check_features(head.features, where=where)
    return head


def big_layer_head(source: Path, name: str, *, where: str) -> LayerHead:
    """Return what `layer_head` does of a layer that is read in portions: compared too, and of any size.

    A view is worked out while it is read, without an end perhaps: it is taken as a small layer is.
    """
    suffix = source.suffix.lower()
    if suffix == ".shp":
        rows = _shapefile_features(source, where=where)
        deleted = _records_in_shp(source, where=where) - rows
        if deleted:  # the library counts them where it begins in the middle, and not where it reads
            raise InputError(
                "the shapefile holds rows that are marked as deleted",
                where=where,
                value=f"{deleted:,}",
                allowed="none, in a layer that is read in portions",
                mend="save it anew from the program it came from, as a GeoPackage for instance",
            )
        return LayerHead(rows)
    if suffix == ".gpkg":
        with _readonly(source, where=where) as connection:
            sort = connection.execute("SELECT type FROM sqlite_master WHERE lower(name) = lower(?)", (name,)).fetchone()
            if sort == ("table",):
                (count,) = connection.execute(f"SELECT count(*) FROM {_quoted(name)}").fetchone()
                _check_said(_said_features(connection, name), count, where=where)
                return LayerHead(int(count))
    return layer_head(source, name, where=where)


def _check_features(count: int | None, *, where: str) -> None:
    if count is not None and count > MAX_FEATURES:
        raise InputError(
            "the layer holds more features than are taken",
            where=where,
            value=f"{count:,}",
            allowed=f"up to {MAX_FEATURES:,}",
            mend="cut it down to the property, and load that",
        )


def check_read(count: int, head: LayerHead, *, where: str) -> None:
    """Refuse a layer of which the library gave more or fewer features than its file holds."""
    if head.features is not None and count != head.features:
        raise _disagree(where, f"{count:,} of {head.features:,} features could be read")


def check_bytes(size: int, most: int, *, where: str) -> None:
    """Refuse a file or layer of more bytes than are taken."""
    if size > most:
        raise InputError(
            "the layer is too large",
            where=where,
            value=f"{size:,} bytes",
            allowed=f"up to {most:,} bytes",
            mend="cut it down to the property, and load that",
        )


def _disagree(where: str, value: str) -> InputError:
    return InputError(
        "the parts of the layer disagree on how many features it holds; part of it would be lost",
        where=where,
        value=value,
        allowed="the same number everywhere",
        mend="export the whole layer again from the program it came from",
    )


# --- shapefile: ESRI Shapefile Technical Description (July 1998); dBASE III header (from memory) ------------


def _shapefile_features(path: Path, *, where: str) -> int:
    shapes = _records_in_shp(path, where=where)
    beside = {other.suffix.lower(): other for other in path.parent.iterdir() if other.stem == path.stem}
    indexed, odd = divmod(beside[".shx"].stat().st_size - 100, 8)
    rows, deleted = _records_in_dbf(beside[".dbf"], where=where)
    with beside[".shx"].open("rb") as stream:
        said_bytes = 2 * int(struct.unpack(">i", (stream.read(28) + bytes(4))[24:28])[0])
    if odd or not shapes == indexed == rows or said_bytes != 100 + 8 * indexed:
        raise _disagree(
            where,
            f".shp holds {shapes:,}, .shx {max(indexed, 0):,} (its header {max(said_bytes - 100, 0) // 8:,}), "
            f".dbf {rows:,}",
        )
    return rows - deleted


def _records_in_shp(path: Path, *, where: str) -> int:
    """Count the records of a .shp by walking from one to the next."""
    size, count, at = path.stat().st_size, 0, 100
    with path.open("rb") as stream:
        while at + 8 <= size:
            stream.seek(at)
            _number, words = struct.unpack(">ii", stream.read(8))
            if words < 2:
                break
            at += 8 + 2 * words
            count += 1
    if at != size:
        raise InputError(
            "the shapefile is damaged or cut short",
            where=where,
            value=f".shp breaks off in record {count:,}",
            mend="copy all its parts again, or export it again",
        )
    return count


def _records_in_dbf(path: Path, *, where: str) -> tuple[int, int]:
    """Return how many rows a .dbf holds, by its header and its size alike, and how many are marked as deleted."""
    size = path.stat().st_size
    with path.open("rb") as stream:
        said, head_bytes, row_bytes = struct.unpack("<IHH", (stream.read(12) + bytes(12))[4:12])
        rows = (size - head_bytes) // row_bytes if row_bytes else 0
        # An end mark of one byte may follow; more is another row.
        if row_bytes == 0 or not rows == said or size - head_bytes - rows * row_bytes > 1:
            raise _disagree(where, f".dbf says {said:,} rows and has room for {max(rows, 0):,}")
        deleted = 0
        for row in range(said):
            stream.seek(head_bytes + row * row_bytes)
            deleted += stream.read(1) == b"*"
    return said, deleted


# --- GeoPackage: OGC 12-128r17; gpkg_ogr_contents is GDAL's own table of counts -----------------------------


def check_geopackage(path: Path, *, where: str) -> None:
    """Refuse a GeoPackage with tables that are not its own but windows on other files."""
    with _readonly(path, where=where) as connection:
        made = connection.execute("SELECT name, sql FROM sqlite_master WHERE sql LIKE '%VIRTUAL%'").fetchall()
    for name, sql in made:
        words = str(sql).split("(")[0].split()
        if [word.upper() for word in words[:3]] != ["CREATE", "VIRTUAL", "TABLE"]:
            continue
        if words[-1].strip('"`[]').lower() not in _OWN_MODULES:
            raise InputError(
                "the GeoPackage holds a table that shows another file",
                where=where,
                value=f"{name}, by {words[-1]}"[:120],
                allowed="tables that lie in the file itself",
                mend="export the layer again into a GeoPackage of its own",
            )


def _geopackage_features(path: Path, name: str, *, where: str) -> int:
    quoted = _quoted(name)
    with _readonly(path, where=where) as connection:
        said = _said_features(connection, name)
        columns = [column[1] for column in connection.execute(f"PRAGMA table_xinfo({quoted})")]
        sizes = [f"total(length(CAST({_quoted(one)} AS BLOB)))" for one in columns]
        # Every cell is looked at, so that whatever a view works out is worked out here, within its limit.
        count, *totals = connection.execute(f"SELECT count(*), {', '.join(sizes) or '0'} FROM {quoted}").fetchone()
    check_bytes(int(sum(totals)), MAX_LAYER_BYTES, where=where)
    _check_said(said, count, where=where)
    return int(count)


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _said_features(connection: sqlite3.Connection, name: str) -> object:
    if not connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'gpkg_ogr_contents'").fetchone():
        return None
    row = connection.execute(
        "SELECT feature_count FROM gpkg_ogr_contents WHERE lower(table_name) = lower(?)", (name,)
    ).fetchone()
    return row[0] if row else None


def _check_said(said: object, count: int, *, where: str) -> None:
    if said is not None and said != count:
        told = f"{said:,}" if isinstance(said, int | float) else printable(str(said), longest=40)
        raise _disagree(where, f"its list of counts says {told}, the table has {count:,} rows")


@contextmanager
def _readonly(path: Path, *, where: str) -> Iterator[sqlite3.Connection]:
    steps = 0

    def is_too_long() -> bool:
        nonlocal steps
        steps += 1
        return steps > _MOST_STEPS

    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as connection:
            connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, MAX_LAYER_BYTES)
            connection.execute("PRAGMA trusted_schema = OFF")
            connection.set_progress_handler(is_too_long, _STEPS)
            yield connection
    except (sqlite3.Error, UnicodeDecodeError) as error:  # SQLite's words, which quote the file, are read as UTF-8
        endless = steps > _MOST_STEPS
        raise InputError(
            "the layer takes too long to count" if endless else "the GeoPackage cannot be read",
            where=where,
            value="a view without an end, or far too much" if endless else error,
            allowed="a plain table of features" if endless else None,
            mend="export the layer again into a GeoPackage of its own",
        ) from error


# --- GeoJSON: RFC 7946, and the older "crs" of the 2008 specification ---------------------------------------


def geojson_head(path: Path, *, where: str) -> LayerHead:
    """Return how many features a GeoJSON holds and what coordinate system it names, by the standard library alone.

    Raises
    ------
    InputError
        It is no GeoJSON, it is more than is taken, or its coordinate system is a link or nothing that has a name.
    """
    check_bytes(path.stat().st_size, MAX_GEOJSON_BYTES, where=where)
    crs_named: list[Any] = []

    def thinned(pairs: list[tuple[str, Any]]) -> object:
        found = dict(pairs)
        kind = found.get("type")
        is_ours = kind == "FeatureCollection" or kind == "Feature" or (kind in _GEOMETRIES if _is_text(kind) else False)
        if not is_ours:
            return found
        if len(found) < len(pairs):
            raise _unfit("a member stands twice in one object", where, ", ".join(sorted(found)))
        if "crs" in found:
            crs_named.append(found["crs"])
        if kind == "Feature":
            return _FEATURE if "crs" not in found else {"type": kind, "crs": found["crs"]}
        # Coordinates are taken apart later: kept here, they would fill ten times the file's size.
        return {**found, "coordinates": None} if "coordinates" in found else found

    try:
        top = json.loads(path.read_text(encoding="utf-8-sig"), object_pairs_hook=thinned)
    except (ValueError, RecursionError) as error:
        raise _unfit("the GeoJSON is broken or cut short", where, error) from error
    if top is _FEATURE:
        return LayerHead(1)
    kind = top.get("type") if isinstance(top, dict) else None
    features = top.get("features") if kind == "FeatureCollection" else [_FEATURE]
    if not isinstance(features, list) or not (
        kind == "FeatureCollection" or kind == "Feature" or (_is_text(kind) and kind in _GEOMETRIES)
    ):
        raise _unfit("the content is not a GeoJSON", where, f"type {kind!r}"[:80])
    if len(crs_named) > int("crs" in top):
        raise _unfit("a coordinate system is named inside the GeoJSON, not at its top", where, "crs")
    _check_features(len(features), where=where)
    return LayerHead(len(features), _crs_name(top["crs"], where) if "crs" in top else None)


def _crs_name(crs: Any, where: str) -> str:
    kind = crs.get("type") if isinstance(crs, dict) else None
    properties = crs.get("properties") if isinstance(crs, dict) else None
    if kind in ("link", "url"):
        href = properties.get("href", properties.get("url")) if isinstance(properties, dict) else None
        raise _unfit("the GeoJSON's coordinate system is a link, and links are not followed", where, href or kind)
    if isinstance(properties, dict):
        if kind == "name" and _is_text(properties.get("name")):
            return str(properties["name"])
        if kind == "EPSG" and isinstance(properties.get("code"), int | str):
            return f"EPSG:{properties['code']}"
    raise _unfit("the GeoJSON's coordinate system is not known", where, json.dumps(crs, default=str))


def _is_text(value: Any) -> bool:
    return isinstance(value, str)


def _unfit(what: str, where: str, value: object) -> InputError:
    return InputError(
        what,
        where=where,
        value=str(value)[:120],
        allowed='RFC 7946: longitude and latitude, or "crs" at the top with a name such as EPSG:26914',
        mend="export it again as GeoJSON in EPSG:4326, or as GeoPackage",
    )
