"""Files for other people's programs: tables, layers and handheld waypoints, each written whole or not at all."""

from __future__ import annotations

import csv
import io
import os
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path

import gpxpy.gpx
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError, PlaceError

Cell = str | float | int | None


def write_whole(path: Path, write: Callable[[Path], object], *, overwrite: bool) -> None:
    """Write a file through a neighbour that takes its place at the end, so that no half file is ever seen.

    Raises
    ------
    InputError
        The file is there and ``overwrite`` is off, or its folder is not there.
    PlaceError
        The disk refused.
    """
    if path.exists() and not overwrite:
        raise InputError("the file is already there", where=str(path), mend="name another file, or add --overwrite")
    if not path.parent.is_dir():
        raise InputError("there is no such folder", where=str(path.parent), mend="make the folder first")
    try:
        # the suffix is kept: writers choose their format by it
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=path.suffix)
        os.close(handle)
        neighbour = Path(name)
        try:
            neighbour.unlink()
            write(neighbour)
            neighbour.replace(path)
        finally:
            neighbour.unlink(missing_ok=True)
    except OSError as error:
        raise PlaceError("the file cannot be written", where=str(path), value=error) from error


def csv_text(header: Sequence[str], rows: Sequence[Sequence[Cell]], *, for_spreadsheet: bool) -> str:
    """Return a CSV table.

    Parameters
    ----------
    for_spreadsheet
        Put an apostrophe before text that a spreadsheet would run as a formula; off for tables that are read back.
    """
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(header)
    for row in rows:
        writer.writerow(["" if cell is None else _inert(cell) if for_spreadsheet else cell for cell in row])
    return buffer.getvalue()


def _inert(cell: Cell) -> Cell:
    # the characters with which spreadsheets begin a formula (OWASP, CSV injection; from memory)
    return f"'{cell}" if isinstance(cell, str) and cell[:1] in ("=", "+", "-", "@", "\t", "\r") else cell


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


def gpx_text(*, name: str, edges: Sequence[tuple[str, str, MultiPolygon]]) -> str:
    """Return a GPX 1.1 document with every ring of every ground as a closed track (WGS 84).

    Parameters
    ----------
    edges
        (name, comment, ground) of each.
    """
    document = gpxpy.gpx.GPX()
    document.name = xml_words(name)
    document.creator = "habmap"
    for title, comment, ground in edges:
        track = gpxpy.gpx.GPXTrack(name=xml_words(title))
        track.comment = xml_words(comment)
        for polygon in ground.geoms:
            for ring in (polygon.exterior, *polygon.interiors):
                segment = gpxpy.gpx.GPXTrackSegment()
                segment.points = [gpxpy.gpx.GPXTrackPoint(lat, lon) for lon, lat in ring.coords]
                track.segments.append(segment)
        document.tracks.append(track)
    return document.to_xml(version="1.1")


def write_layer(path: Path, *, layer: str, rows: Sequence[dict[str, Cell]], shapes: Sequence[BaseGeometry]) -> None:
    """Write one layer of WGS 84 shapes as GeoPackage or GeoJSON (RFC 7946), by the file's suffix."""
    import geopandas

    frame = geopandas.GeoDataFrame(list(rows), geometry=list(shapes), crs="EPSG:4326")
    if path.suffix.lower() == ".gpkg":
        frame.to_file(path, driver="GPKG", layer=layer)
    else:
        # 17 decimals: a longitude or latitude beyond 1° is read back as the same number
        frame.to_file(path, driver="GeoJSON", layer=layer, RFC7946="YES", COORDINATE_PRECISION=17)
