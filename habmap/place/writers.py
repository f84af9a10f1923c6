"""Files for other people's programs: tables, layers and handheld waypoints, each written whole or not at all."""

from __future__ import annotations

import csv
import io
import json
import os
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError, PlaceError, UsageError, printable
from habmap.land.meridian import cut
from habmap.place.formulas import inert
from habmap.place.schema import STORE_FILE
from habmap.place.settings import SETTINGS_FILE

#: How far from either end of a file its mark is looked for.
_MARKED_BYTES: Final = 65_536

Cell = str | float | int | None


#: Folders of a property that hold what is its own: pictures, walks, rasters copied in.
OWN_FOLDERS: Final = frozenset({"photos", "tracks", "elevation", "canopy"})


def write_whole(
    path: Path,
    write: Callable[[Path], object],
    *,
    overwrite: bool,
    make_folder: bool = False,
    is_own: bool = False,
    replaces: str | None = None,
) -> None:
    """Write a file through a neighbor that takes its place at the end, so that no half file is ever seen.

    ``is_own``: it is one of the property's own, which a person cannot name. ``replaces``: a file that carries this
    mark is an earlier one of the same kind, and is replaced unasked.

    Raises
    ------
    InputError
        The file is there and ``overwrite`` is off, its folder is not there, or its name is that of a property's own
        file.
    PlaceError
        The disk refused.
    """
    if not is_own:
        refuse_to_write(path, overwrite=overwrite, replaces=replaces)
    if not path.parent.is_dir() and not make_folder:
        raise InputError("there is no such folder", where=str(path.parent), mend="make the folder first")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        # the suffix is kept: writers choose their format by it
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=path.suffix)
        os.close(handle)
        neighbor = Path(name)
        try:
            neighbor.unlink()
            write(neighbor)
            with neighbor.open("rb") as written:
                os.fsync(written.fileno())
            neighbor.replace(path)
            sync_folder(path.parent)
        finally:
            neighbor.unlink(missing_ok=True)
    except _disk_refusals() as error:
        raise PlaceError(
            "the file cannot be written",
            where=str(path),
            value=error,
            mend="choose a folder in which you may write, with room on the disk",
        ) from error


def _disk_refusals() -> tuple[type[Exception], ...]:
    """Return what is raised where the disk refuses a file; the library of map layers has its own, and is not loaded."""
    errors: Any = sys.modules.get("pyogrio.errors")
    return (OSError,) if errors is None else (OSError, errors.DataSourceError, errors.DataLayerError)


def sync_folder(folder: Path) -> None:
    """Put a folder's names on the disk: a file that took its place is else gone after a power cut, though it was told.

    Windows has no such call, and keeps names in order by itself.
    """
    if os.name == "nt":
        return
    number = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)


def refuse_ending(path: Path, *endings: str, what: str, where: str = "--output", mend: str = "name it so") -> None:
    """Raise ``UsageError`` where a name ends otherwise than what can be written: ``what`` says what that is."""
    if path.suffix.lower() not in endings:
        allowed = f"a name that ends in {' or '.join(endings)}"
        raise UsageError(what, where=where, value=path.name, allowed=allowed, mend=mend)


def refuse_to_write(path: Path, *, overwrite: bool, replaces: str | None = None) -> None:
    """Raise what `write_whole` would, before any work is done; for files that take a while to make."""
    try:
        is_there = path.exists() or path.is_symlink()
        is_file = path.is_file() or not path.exists()
        whole = path.resolve()
    except (OSError, RuntimeError, ValueError) as error:
        raise InputError(
            "the file cannot be written",
            where=printable(str(path)),
            value=printable(str(error)),
            mend="name another file",
        ) from error
    # a disk that does not tell upper case from lower has them under either name; the journal undoes a broken save
    if any(path.name.casefold().startswith(own) for own in (STORE_FILE, SETTINGS_FILE)):
        raise InputError(
            "this is the name of a property's own file, which is never written over",
            where=str(path),
            mend="name another file",
        )
    if any(one.name.casefold() in OWN_FOLDERS and (one.parent / STORE_FILE).exists() for one in whole.parents):
        raise InputError(
            "this folder holds a property's own files, which are never written over",
            where=str(path),
            mend="name a file in another folder, such as out",
        )
    if not is_file:
        raise InputError("this is a folder or a device, not a file", where=str(path), mend="name another file")
    if is_there and not overwrite and not (replaces is not None and _carries(path, replaces)):
        raise InputError("the file is already there", where=str(path), mend="name another file, or add --overwrite")


def _carries(path: Path, mark: str) -> bool:
    """Tell whether a file carries a mark of habmap's own where such files have it.

    A page names its maker in its head, a PDF in the dictionary that says who made it, near its beginning or its end.
    """
    marks = (f'<meta name="generator" content="{mark}">'.encode(), f"/Creator ({mark})".encode())
    try:
        with path.open("rb") as file:
            head = file.read(_MARKED_BYTES)
            file.seek(max(0, path.stat().st_size - _MARKED_BYTES))
            tail = file.read()
    except OSError:
        return False
    if head.startswith(b"<!DOCTYPE html>"):
        return marks[0] in head.partition(b"</head>")[0]
    return head.startswith(b"%PDF-") and (marks[1] in head or marks[1] in tail)


def csv_text(header: Sequence[str], rows: Sequence[Sequence[Cell]]) -> str:
    """Return a CSV table in which no text runs as a formula; reading it back restores the text."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(header)
    for row in rows:
        writer.writerow(["" if cell is None else inert(cell) if isinstance(cell, str) else cell for cell in row])
    return buffer.getvalue()


def write_workbook(path: Path, sheets: Sequence[tuple[str, Sequence[str], Sequence[Sequence[Cell]]]]) -> None:
    """Write an .xlsx workbook of plain tables; no text ever becomes a formula or a link."""
    import xlsxwriter

    plain = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(str(path), plain) as book:
        bold = book.add_format({"bold": True})
        for title, header, rows in sheets:
            sheet = book.add_worksheet(title)
            sheet.write_row(0, 0, header, bold)
            for number, row in enumerate(rows, start=1):
                for column, cell in enumerate(row):
                    if isinstance(cell, str):
                        sheet.write_string(number, column, cell)
                    elif cell is not None:
                        sheet.write_number(number, column, cell)
            sheet.autofit()


def xml_words(text: str) -> str:
    """Return text without the characters that no XML document may hold (XML 1.0, production 2)."""
    return "".join(
        character
        for character in text
        if character in "\t\n\r"
        or " " <= character <= "\ud7ff"
        or "\ue000" <= character <= "\ufffd"
        or character >= "\U00010000"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Waypoint:
    """One spot for a handheld (WGS 84 [°]): a short name, all that is said of it, and what kind of thing it is."""

    name: str
    words: str
    kind: str
    lonlat: tuple[float, float]


def gpx_text(
    *, name: str, edges: Sequence[tuple[str, str, MultiPolygon]] = (), waypoints: Sequence[Waypoint] = ()
) -> str:
    """Return a GPX 1.1 document with every ring of every ground as a closed track (WGS 84), and spots as waypoints.

    Parameters
    ----------
    edges
        (name, comment, ground) of each.
    """
    import gpxpy.gpx

    document = gpxpy.gpx.GPX()
    document.name = xml_words(name)
    document.creator = "habmap"
    for spot in waypoints:
        lon, lat = spot.lonlat
        words = xml_words(spot.words)
        # handhelds show one of the two
        document.waypoints.append(
            gpxpy.gpx.GPXWaypoint(
                lat, lon, name=xml_words(spot.name), comment=words, description=words, type=xml_words(spot.kind)
            )
        )
    for title, comment, ground in edges:
        track = gpxpy.gpx.GPXTrack(name=xml_words(title))
        track.comment = xml_words(comment)
        for polygon in shapely.get_parts(cut(ground)):
            for ring in (polygon.exterior, *polygon.interiors):
                segment = gpxpy.gpx.GPXTrackSegment()
                segment.points = [gpxpy.gpx.GPXTrackPoint(lat, lon) for lon, lat in ring.coords]
                track.segments.append(segment)
        document.tracks.append(track)
    return document.to_xml(version="1.1")


def write_layer(path: Path, *, layer: str, rows: Sequence[dict[str, Cell]], shapes: Sequence[BaseGeometry]) -> None:
    """Write one layer of WGS 84 shapes as GeoPackage or GeoJSON (RFC 7946), by suffix; every digit is kept.

    What crosses the 180° meridian is cut there, as RFC 7946 wants it; `load` joins it again.
    """
    shapes = [cut(shape) for shape in shapes]
    if path.suffix.lower() == ".gpkg":
        import geopandas
        import pyogrio

        frame = geopandas.GeoDataFrame(list(rows), geometry=list(shapes), crs="EPSG:4326")
        # In memory: on a disk that fails the library may leave out some of its last pages, and say nothing.
        made = io.BytesIO()
        pyogrio.write_dataframe(frame, made, driver="GPKG", layer=layer)
        path.write_bytes(made.getvalue())
        return
    # the standard library writes the shortest text that reads back as the same number; GDAL's driver rounds
    features = [
        {"type": "Feature", "properties": row, "geometry": shapely.geometry.mapping(shapely.orient_polygons(shape))}
        for row, shape in zip(rows, shapes, strict=True)
    ]
    document = {"type": "FeatureCollection", "name": layer, "features": features}
    path.write_text(json.dumps(document, ensure_ascii=False, allow_nan=False), encoding="utf-8")
