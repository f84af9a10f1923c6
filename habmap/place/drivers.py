"""Which formats the reading libraries may try on a file: by name, so that no file reaches a network or another file.

GDAL picks a format by looking at the content, and many of its formats are only a list of other places: virtual layers,
tile services, catalogs. A ``.kml`` may hold one, and so may a ``.tif``.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final
from xml.etree import ElementTree

from habmap.errors import InputError, printable
from habmap.place.beside import files_beside
from habmap.place.userfiles import check_readable

#: Vector formats that may be opened; each keeps all it has in the file itself or beside it.
VECTOR_DRIVERS: Final = frozenset({"ESRI Shapefile", "GPKG", "GeoJSON", "GPX", "KML", "LIBKML"})
#: Formats of heights, of one file or of files with its name beside it. Left out are those that may name other files
#: or addresses (netCDF and HDF5 with their links, tile services, catalogs, GeoPackage).
RASTER_DRIVERS: Final = (
    "GTiff", "AAIGrid", "GRASSASCIIGrid", "AIG", "HFA", "USGSDEM", "SRTMHGT", "DTED", "EHdr", "ENVI", "GSAG", "GSBG",
    "GS7BG", "SAGA", "RST", "BT", "XYZ", "ZMap",
)  # fmt: skip
RASTER_WORDS: Final = "GeoTIFF, Esri grid (.asc or .adf), .img, .dem, .hgt, .dt2, .bil, .flt, Surfer grid or SAGA"
VIRTUAL_SUFFIX: Final = ".vrt"
_ONE_FILE: Final = (
    f"a raster in one file ({RASTER_WORDS}), or a {VIRTUAL_SUFFIX} of TIFF files beside it, named relative to it"
)

#: First bytes of the side files that GDAL opens with a raster whatever they are: TIFF, BigTIFF and HFA.
_SIDE_FILE_MARKS: Final = (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+", b"EHFA_HEADER_TAG")
_SIDE_FILE_SUFFIXES: Final = frozenset({".ovr", ".msk", ".aux", ".rrd"})
_MAX_VIRTUAL_BYTES: Final = 20_000_000
#: All that a plain mosaic says (GDAL, VRT driver page). Whatever can run code, warp, or read raw bytes is not here.
_VIRTUAL_WORDS: Final = frozenset({
    "VRTDataset", "SRS", "GeoTransform", "Metadata", "MDI", "VRTRasterBand", "Description", "UnitType", "Offset",
    "Scale", "NoDataValue", "HideNoDataValue", "ColorInterp", "Histograms", "HistItem", "HistMin", "HistMax",
    "BucketCount", "IncludeOutOfRange", "Approximate", "HistCounts", "SimpleSource", "ComplexSource", "AveragedSource",
    "SourceFilename", "SourceBand", "SourceProperties", "SrcRect", "DstRect", "NODATA", "ScaleOffset", "ScaleRatio",
    "UseMaskBand", "BlockXSize", "BlockYSize", "OverviewList",
})  # fmt: skip


@contextmanager
def only_vector_drivers() -> Iterator[None]:
    """Let pyogrio know no format but ``VECTOR_DRIVERS`` for a while.

    Notes
    -----
    pyogrio has no list of formats for one call, so the others are taken off its list by GDAL's own ``GDAL_SKIP``, and
    put back. Should a later version not do so, nothing is read.
    """
    import pyogrio
    from pyogrio import _ogr

    def register(skipped: str | None) -> None:
        pyogrio.set_gdal_config_options({"GDAL_SKIP": skipped})
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            _ogr._register_drivers()

    before = pyogrio.get_gdal_config_option("GDAL_SKIP")
    try:
        register(",".join(sorted(set(pyogrio.list_drivers()) - VECTOR_DRIVERS)))
        strange = set(pyogrio.list_drivers()) - VECTOR_DRIVERS
        if strange:
            raise RuntimeError(f"the layer library would also try {', '.join(sorted(strange))}")
        yield
    finally:
        register(before)


@contextmanager
def open_raster(path: Path, *, what: str) -> Iterator[Any]:
    """Open a raster file or folder of ``RASTER_DRIVERS``, or a mosaic named ``.vrt`` of such files beside it.

    Parameters
    ----------
    path
        The raster, made absolute here.
    what
        What it should be, in words, for the error.

    Raises
    ------
    InputError
        It is none of these, or it or a file beside it names other files or addresses.
    """
    from rasterio._err import CPLE_BaseError
    from rasterio.errors import RasterioError

    path = path.absolute()
    is_virtual = path.suffix.lower() == VIRTUAL_SUFFIX
    if is_virtual:
        _check_virtual(path)
    _check_side_files(path)
    try:
        source = _reader(path, [*RASTER_DRIVERS, *(["VRT"] if is_virtual else [])])
    except UnicodeEncodeError as error:
        raise InputError(
            "the raster library opens no file whose name is not UTF-8",
            where=printable(str(path)),
            allowed="a name of letters that can be read",
            mend="rename it",
        ) from error
    except RasterioError as error:
        raise _unreadable(what, path, error) from error
    try:
        with source:
            _check_overviews(source, path)
            yield source
    # rasterio reads the file's own words (its units) as UTF-8; what GDAL says of its keys comes as it was said
    except (UnicodeDecodeError, CPLE_BaseError) as error:
        raise _unreadable(what, path, error) from error


def _unreadable(what: str, path: Path, error: Exception) -> InputError:
    return InputError(
        f"this file is not {what} that can be read",
        where=str(path),
        value=printable(str(error), longest=200),
        allowed=_ONE_FILE,
        mend="save it as GeoTIFF, or look whether the copy is complete",
    )


def _reader(path: Path, drivers: list[str]) -> Any:
    from rasterio.io import DatasetReader

    return DatasetReader(str(path), driver=drivers)


def _check_overviews(source: Any, path: Path) -> None:
    # A file may say that its smaller copies lie elsewhere, an address included; they are opened at the first read.
    elsewhere = source.tags(ns="OVERVIEWS").get("OVERVIEW_FILE")
    if elsewhere is not None and elsewhere != f":::BASE:::{path.suffix}.ovr":
        raise _names_others("this raster says that its overviews are in another file", path, elsewhere)


def _check_side_files(path: Path) -> None:
    if path.is_dir():
        return
    stem = path.stem.casefold()
    for beside in files_beside(path):
        if beside.suffix.casefold() in _SIDE_FILE_SUFFIXES and beside.name.casefold().startswith(f"{stem}."):
            with check_readable(beside).open("rb") as stream:
                head = stream.read(16)
            if not head.startswith(_SIDE_FILE_MARKS):
                raise _names_others(
                    "a file beside this raster would be read with it and is no plain raster", beside, head[:8]
                )


def _check_virtual(path: Path) -> None:
    """See that a ``.vrt`` is a plain mosaic of rasters in its own folder or below."""
    if check_readable(path).stat().st_size > _MAX_VIRTUAL_BYTES:
        raise _names_others("this list of rasters is too long", path, f"more than {_MAX_VIRTUAL_BYTES:,} bytes")
    text = path.read_bytes()
    if b"<!DOCTYPE" in text or b"<!ENTITY" in text:
        raise _names_others("this list of rasters defines a document type of its own", path, "<!DOCTYPE")
    try:
        root = ElementTree.fromstring(text)
    except (ElementTree.ParseError, LookupError, ValueError, RecursionError) as error:
        raise _names_others("this list of rasters cannot be read", path, error) from error
    names: dict[str, bool] = {}
    for element in root.iter():
        if element.tag not in _VIRTUAL_WORDS or (element.tag == "VRTRasterBand" and "subClass" in element.attrib):
            raise _names_others("this .vrt does more than lay rasters side by side", path, element.tag)
        if element.tag == "SourceFilename":
            names[(element.text or "").strip()] = element.get("relativeToVRT") == "1"
        if element.tag == "MDI" and element.get("key") == "OVERVIEW_FILE":
            raise _names_others("this raster says that its overviews are in another file", path, element.text)
    if "subClass" in root.attrib or root.tag != "VRTDataset" or not names:
        raise _names_others("this .vrt does more than lay rasters side by side", path, root.get("subClass", root.tag))
    for name, is_beside in names.items():
        _check_source(path, name, is_beside=is_beside)


def _check_source(path: Path, name: str, *, is_beside: bool) -> None:
    from rasterio.errors import RasterioError

    source_path = (path.parent / name).absolute()
    inside = is_beside and ":" not in name and ".." not in Path(name).parts and not Path(name).is_absolute()
    if not inside or source_path.suffix.lower() == VIRTUAL_SUFFIX:
        raise _names_others("this .vrt names a file that is not beside it", path, name)
    check_readable(source_path)
    with source_path.open("rb") as stream:
        # Inside a mosaic GDAL tries every format again; a TIFF is no other.
        if not stream.read(4).startswith(_SIDE_FILE_MARKS[:4]):
            raise _names_others("this .vrt names a file that is no TIFF", path, name)
    _check_side_files(source_path)
    try:
        with _reader(source_path, ["GTiff"]) as source:
            _check_overviews(source, source_path)
    except RasterioError as error:
        raise _names_others("this .vrt names a file that cannot be read", path, f"{name}: {error}") from error


def _names_others(what: str, path: Path, value: object) -> InputError:
    return InputError(
        what,
        where=str(path),
        value=printable(str(value), longest=200),
        allowed=_ONE_FILE,
        mend="save the heights themselves as GeoTIFF; nothing was opened that the file names",
    )
