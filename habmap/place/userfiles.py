"""Files that people hand over: what kind they are, and whether they are whole enough to be read at all.

GDAL would open almost anything by guessing, say little about what is wrong and, for some kinds, follow addresses
written inside the file. So each file is looked at first, and only the kinds named here go on to it.
"""

from __future__ import annotations

import codecs
import logging
import stat
import sys
import warnings
import xml.etree.ElementTree as ElementTree
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from types import TracebackType
from typing import Final

from habmap.errors import InputError, printable
from habmap.place.beside import check_beside
from habmap.place.layerheads import MAX_LAYER_BYTES, check_bytes, check_geopackage

#: Suffixes of vector files that are read, with the words for people.
VECTOR_KINDS: Final = {
    ".gpkg": "GeoPackage",
    ".geojson": "GeoJSON",
    ".json": "GeoJSON",
    ".shp": "shapefile",
    ".kml": "KML",
    ".gpx": "GPX",
    ".zip": "zipped shapefile",
    ".kmz": "zipped KML",
}
ZIPPED: Final = frozenset({".zip", ".kmz"})
#: An archive may unfold to at most this much; a county's parcels are a tenth of it [bytes].
MAX_UNZIPPED_BYTES: Final = 1_000_000_000
MAX_ZIP_MEMBERS: Final = 1_000
#: What the library raises over a damaged archive (`IndexError`: a member without a name, in `ZipInfo.is_dir`).
_OF_A_BAD_ZIP: Final = (
    zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError, IndexError,
)  # fmt: skip
_CHUNK_BYTES: Final = 1 << 20
_SHAPEFILE_CODE: Final = b"\x00\x00\x27\x0a"  # ESRI Shapefile Technical Description (1998), table 1
_SHAPEFILE_HEADER_BYTES: Final = 100


def check_readable(path: Path) -> Path:
    """Return the path made absolute after seeing that a file with something in it can be read there.

    Raises
    ------
    InputError
        There is no such file, it is a folder, a pipe or a device, it may not be read, or it is empty.
    """
    try:
        # Asked before opening: a pipe would wait for its writer, and a device may never end.
        mode = path.stat().st_mode
        if not (stat.S_ISREG(mode) or stat.S_ISDIR(mode)):
            raise InputError(
                "this is a pipe or a device, not a file",
                where=printable(str(path)),
                allowed="a file on disk",
                mend="save it to a file first",
            )
        with path.open("rb") as stream:
            first = stream.read(1)
    except IsADirectoryError as error:
        raise InputError("this is a folder, not a file", where=str(path), mend="name the file itself") from error
    except FileNotFoundError as error:
        raise InputError("there is no such file", where=str(path), mend="check the name and the folder") from error
    except InputError:
        raise
    except (OSError, ValueError) as error:
        raise InputError(
            "the file cannot be read",
            where=printable(str(path)),
            value=error,
            mend="check its name and its permissions",
        ) from error
    if not first:
        raise InputError("the file is empty (0 bytes)", where=str(path), mend="save or download it again")
    return path.absolute()


@contextmanager
def vector_sources(path: Path) -> Iterator[tuple[Path, ...]]:
    """Give the plain vector files behind a path: the file itself, or what a zip archive holds.

    An archive is unfolded into a temporary folder under names of our own, so that no name in it can reach elsewhere.

    Raises
    ------
    InputError
        The kind is not read here, the content is not of that kind, or the archive is broken, huge or holds no layer.
    """
    path = check_readable(path)
    suffix = path.suffix.lower()
    if suffix not in VECTOR_KINDS:
        raise InputError(
            "this kind of file is not read as a layer",
            where=str(path),
            value=suffix or "no suffix",
            allowed=", ".join(VECTOR_KINDS),
            mend="save the layer as a GeoPackage",
        )
    if suffix not in ZIPPED:
        check_beside(path)
        _check_content(path, where=str(path))
        yield (path,)
        return
    with TemporaryDirectory(prefix="habmap-") as folder:
        sources = _unfolded(path, Path(folder))
        for source in sources:
            _check_content(source, where=f"{path}, {source.name}")
        yield sources


@contextmanager
def quiet_libraries() -> Iterator[None]:
    """Keep the reading library's own log lines and warnings off the screen; faults come back as our errors."""
    log = logging.getLogger("pyogrio")
    level = log.level
    log.setLevel(logging.CRITICAL + 1)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        log.setLevel(level)


@contextmanager
def quiet_raster_log() -> Iterator[None]:
    """Keep a failure of the raster library's own log off the screen.

    GDAL quotes a damaged file's bytes, and rasterio's log, which takes them for UTF-8, fails where nobody can catch it:
    Python prints it by both of its hooks. Whatever else cannot be caught is told as before.
    """
    excepted, unraised = sys.excepthook, sys.unraisablehook

    def tell_excepted(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
        if not isinstance(error, UnicodeDecodeError):
            excepted(kind, error, trace)

    def tell_unraised(lost: sys.UnraisableHookArgs) -> None:
        if not isinstance(lost.exc_value, UnicodeDecodeError):
            unraised(lost)

    sys.excepthook, sys.unraisablehook = tell_excepted, tell_unraised
    try:
        yield
    finally:
        sys.excepthook, sys.unraisablehook = excepted, unraised


def _check_content(path: Path, *, where: str) -> None:
    suffix = path.suffix.lower()
    kind = VECTOR_KINDS[suffix]
    with path.open("rb") as stream:
        head = stream.read(4096)
    text = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    if suffix == ".gpkg":
        is_kind = head.startswith(b"SQLite format 3\x00")
    elif suffix == ".shp":
        is_kind = head.startswith(_SHAPEFILE_CODE) and len(head) >= _SHAPEFILE_HEADER_BYTES
    elif suffix in {".geojson", ".json"}:
        is_kind = text.startswith(b"{")
    else:
        is_kind = text.startswith(b"<")
    if not is_kind:
        raise InputError(
            f"the content is not a {kind}",
            where=where,
            value=_beginning(head),
            allowed=f"a {kind}, as its name says",
            mend="save or export it again from the program it came from",
        )
    if suffix == ".shp":
        _check_shapefile_parts(path, where=where)
    if suffix == ".gpkg":
        check_geopackage(path, where=where)
    if suffix in {".kml", ".gpx"}:
        check_bytes(path.stat().st_size, MAX_LAYER_BYTES, where=where)
        _check_xml(path, where=where, kind=kind)


def _beginning(head: bytes) -> str:
    try:
        # Read bit by bit, so that a character cut off at the end is no fault.
        text = codecs.getincrementaldecoder("utf-8")().decode(head)
        return f"it begins with {printable(text[:24])}"
    except UnicodeDecodeError:
        # Characters made out of random bytes tell a person nothing.
        return "bytes that no text holds"


def _check_shapefile_parts(path: Path, *, where: str) -> None:
    present = {sibling.suffix.lower() for sibling in path.parent.glob("*") if sibling.stem == path.stem}
    missing = sorted({".shx", ".dbf"} - present)
    if missing:
        raise InputError(
            "a part of the shapefile is missing",
            where=where,
            value=", ".join(f"no {path.stem}{suffix}" for suffix in missing),
            allowed=".shp, .shx, .dbf and .prj side by side",
            mend="copy all its parts, or zip them together",
        )


def _check_xml(path: Path, *, where: str, kind: str) -> None:
    # A document type can define entities that swell to gigabytes or name other files: refused before parsing.
    with path.open("rb") as stream:
        tail = b""
        while chunk := stream.read(_CHUNK_BYTES):
            if b"<!DOCTYPE" in tail + chunk or b"<!ENTITY" in tail + chunk:
                raise InputError(
                    "the file defines a document type of its own, which is not accepted",
                    where=where,
                    value="<!DOCTYPE",
                    mend=f"export the {kind} again without it",
                )
            tail = chunk[-16:]
    with InputError(
        f"the {kind} is broken or cut short", where=where, mend="save or export it again from the program it came from"
    ).instead_of(ElementTree.ParseError, LookupError, ValueError):
        root: str | None = None
        for event, element in ElementTree.iterparse(path, events=("start", "end")):
            name = element.tag.rpartition("}")[2]
            if root is None:
                root = name
                if name.lower() != kind.lower():
                    raise InputError(
                        f"the content is not a {kind}",
                        where=where,
                        value=f"<{printable(name)}>",
                        allowed=f"a {kind}, as its name says",
                        mend="save or export it again from the program it came from",
                    )
            if name == "NetworkLink":
                raise InputError(
                    f"the {kind} only points at another file or address, and links are not followed",
                    where=where,
                    value="<NetworkLink>",
                    allowed="outlines in the file itself",
                    mend="open it in the program it came from and save the places themselves",
                )
            if event == "end":
                element.clear()


def _unfolded(path: Path, folder: Path) -> tuple[Path, ...]:
    mend = "download or zip it again, without a password"
    unfit = InputError("the zip archive is broken, cut short or locked", where=str(path), mend=mend)
    with unfit.instead_of(*_OF_A_BAD_ZIP), zipfile.ZipFile(path) as archive:
        members = [
            member
            for member in archive.infolist()
            if not member.is_dir() and not member.filename.startswith("__MACOSX/")
        ]
        _check_members(members, path)
        return _extracted(archive, members, path, folder)


def _check_members(members: list[zipfile.ZipInfo], path: Path) -> None:
    if len(members) > MAX_ZIP_MEMBERS:
        raise InputError(
            "the zip archive holds too many files",
            where=str(path),
            value=len(members),
            allowed=f"up to {MAX_ZIP_MEMBERS}",
            mend="zip only the layer that is to be loaded",
        )
    for member in members:
        parts = member.filename.replace("\\", "/").split("/")
        if member.filename.startswith(("/", "\\")) or ".." in parts or ":" in parts[0]:
            raise InputError(
                "a name in the zip archive reaches outside it",
                where=str(path),
                value=printable(member.filename),
                allowed="plain names and folders inside the archive",
                mend="zip the layer again",
            )


def _extracted(archive: zipfile.ZipFile, members: list[zipfile.ZipInfo], path: Path, folder: Path) -> tuple[Path, ...]:
    layer_suffixes = {".shp", ".kml", ".gpkg", ".geojson"}
    layers = [member for member in members if Path(member.filename).suffix.lower() in layer_suffixes]
    if not layers:
        raise InputError(
            "the zip archive holds no layer",
            where=str(path),
            value=printable(", ".join(member.filename for member in members)) or "nothing",
            allowed="a shapefile with its parts (.shp, .shx, .dbf, .prj), or a KML",
            mend="zip the layer's files again",
        )
    left = MAX_UNZIPPED_BYTES
    sources: list[Path] = []
    for number, layer in enumerate(layers):
        # Each layer gets a folder of its own: two of one name in different folders must not overwrite each other.
        home = folder / str(number)
        home.mkdir()
        base = layer.filename[: -len(Path(layer.filename).suffix)]
        stem = printable(Path(base).name, longest=100).replace("/", "_") or "layer"
        for member in members:
            suffix = Path(member.filename).suffix
            if member is not layer and member.filename[: len(member.filename) - len(suffix)] != base:
                continue
            left = _copied(archive, member, home / f"{stem}{suffix.lower()}", path, left)
        sources.append(home / f"{stem}{Path(layer.filename).suffix.lower()}")
    return tuple(sources)


def _copied(archive: zipfile.ZipFile, member: zipfile.ZipInfo, target: Path, path: Path, left: int) -> int:
    with archive.open(member) as source, target.open("wb") as copy:
        while chunk := source.read(_CHUNK_BYTES):
            left -= len(chunk)
            if left < 0:
                raise InputError(
                    "the zip archive unfolds to more than is accepted",
                    where=str(path),
                    value=printable(member.filename),
                    allowed=f"{MAX_UNZIPPED_BYTES // 1_000_000:,} MB in all",
                    mend="zip only the layer that is to be loaded",
                )
            copy.write(chunk)
    return left
