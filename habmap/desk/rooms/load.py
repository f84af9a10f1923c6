"""Load: any file, whole or not at all, with every fault by its row."""

from __future__ import annotations

from dataclasses import KW_ONLY, dataclass, replace
from typing import TYPE_CHECKING, Final

from starlette.responses import Response

from habmap.desk.asked import Asked
from habmap.desk.forms import Field
from habmap.desk.pages import page
from habmap.desk.room import Room
from habmap.errors import HabmapError, UsageError

if TYPE_CHECKING:
    from habmap.desk.long_work import Work
    from habmap.jobs.load.asked_columns import AskedColumn, AskedColumns

LAYER_WORDS: Final = "GeoPackage, GeoJSON, KML or a zipped shapefile"
_TABLE: Final = "CSV, .xlsx or .ods"


@dataclass(frozen=True, slots=True)
class Loadable:
    """One kind of file: its words, what it may be, and which of the form's options go with it."""

    key: str
    words: str
    files: str
    options: tuple[str, ...]
    _: KW_ONLY
    is_copied: bool = False
    is_folder: bool = False


_RASTER: Final = "GeoTIFF or another raster"
KINDS: Final = (
    Loadable("units", "outlines of units", LAYER_WORDS, ("repair", "trim", "overwrite", "layer")),
    Loadable("boundary", "the property line", LAYER_WORDS, ("repair", "overwrite", "layer")),
    Loadable("features", "roads, houses, creeks and other things", LAYER_WORDS, ("repair", "overwrite", "layer")),
    Loadable("dem", "elevation", _RASTER, ("vertical-unit", "overwrite"), is_copied=True),
    Loadable("canopy", "canopy heights", _RASTER, ("vertical-unit", "overwrite"), is_copied=True),
    Loadable("entries", "lines of a work log", _TABLE, ("layer", "sheet")),
    Loadable("plots", "sampling plots", _TABLE, ("sheet", "overwrite")),
    Loadable("cover", "frames read for plant cover", _TABLE, ("sheet",)),
    Loadable("sightings", "sightings of plants and animals", _TABLE, ("sheet",)),
    Loadable("photos", "photos, with photos.csv where cameras told no place", "JPEG", ("overwrite",), is_folder=True),
    Loadable("forecast", "a forecast of hours", _TABLE, ("sheet",)),
    Loadable("block", "a burn block drawn in a file", LAYER_WORDS, ("name", "repair", "overwrite")),
)
#: Before the names of fields whose column the person says.
_COLUMN: Final = "column."
#: Columns of larger files are not asked for before they are loaded [bytes].
_MOST_ASKED: Final = 20 * 2**20
#: Options that are a box to be ticked, and those that say something.
_BOXES: Final = {
    "repair": ("mend outlines that cross themselves", "What it changed is told."),
    "trim": ("cut back to neighbors", "New units are cut back where they overlap units that are there."),
    "overwrite": ("replace what is there", "Where the same thing is told anew: the old stays on record."),
}
_SAID: Final = {
    "layer": ("which layer", "Where the file holds several."),
    "sheet": ("which sheet", "Where a spreadsheet has several."),
    "name": ("name of the block", ""),
}


def show(asked: Asked, *, error: HabmapError | None = None) -> Response:
    """Show what may be loaded, or the form for one kind."""
    asked, draft = asked.desk.drafts.begun(asked, error)
    kind = _kind(asked.text("kind"))
    if kind is None:
        return page(asked, "load_kinds.html.j2", kinds=KINDS, error=error)
    try:
        columns = _columns(asked, kind)
    except HabmapError as unread:
        columns, error = None, error or unread
    fields = fields_of(kind)
    if asked.paths("file"):
        fields = (replace(fields[0], is_needed=False, help="Another choice takes its place."), *fields[1:])
    return page(
        asked,
        "load.html.j2",
        error=error,
        kind=kind,
        draft=draft,
        fields=fields,
        columns=columns,
        column_fields=() if columns is None else [_column_field(one, columns.columns) for one in columns.fields],
    )


def _kind(key: str) -> Loadable | None:
    return next((one for one in KINDS if one.key == key), None)


def _columns(asked: Asked, kind: Loadable) -> AskedColumns | None:
    """Return what is to be asked of the columns of the file that was brought."""
    paths = [path for path in asked.paths("file") if path.is_file()]
    if not paths or kind.is_folder or paths[0].stat().st_size > _MOST_ASKED:
        return None
    from habmap.jobs.load.asked_columns import asked_columns

    return asked_columns(kind.key, paths[0], layer=asked.text("layer") or None, sheet=asked.text("sheet") or None)


def _lacks_columns(asked: Asked) -> bool:
    """Tell whether a file must be asked about before it is loaded; what cannot be read is told by the load itself."""
    kind = _kind(asked.text("kind"))
    try:
        columns = None if kind is None else _columns(asked, kind)
    except HabmapError:
        return False
    return columns is not None and columns.lacks_needed


def _column_field(one: AskedColumn, columns: tuple[str, ...]) -> Field:
    """Return the question which column holds a field, or what every row says where its words are known."""
    named = tuple((column, column) for column in columns)
    said = tuple((f"={word}", f"every one: {word}") for word in one.words)
    return Field(
        name=f"{_COLUMN}{one.name}",
        label=one.label,
        kind="choice",
        choices=(*named, *said),
        empty="choose" if one.is_needed else "none of them",
        is_needed=one.is_needed,
    )


def fields_of(kind: Loadable) -> tuple[Field, ...]:
    """Return the form of one kind of file."""
    from habmap.measures import M_PER_VERTICAL_UNIT

    fields = [
        Field(
            name="file",
            label="the photos, and their table" if kind.is_folder else "the file",
            kind="file",
            is_several=kind.is_folder,
            is_needed=True,
            help=f"{kind.files}.",
        )
    ]
    for option in kind.options:
        if option in _BOXES:
            label, words = _BOXES[option]
            fields.append(Field(name=option, label=label, kind="box", help=words))
        elif option in _SAID:
            label, words = _SAID[option]
            fields.append(Field(name=option, label=label, help=words, is_needed=option == "name"))
        else:
            units = tuple((unit, unit) for unit in M_PER_VERTICAL_UNIT)
            fields.append(
                Field(
                    name=option,
                    label="unit of the heights",
                    kind="choice",
                    choices=units,
                    empty="as the file says",
                    help="m: meters, ft: international feet, us-ft: US survey feet. Needed where the file is silent.",
                )
            )
    return tuple(fields)


def bring(asked: Asked) -> Response:
    """Begin to load a file, and go where it is told what came of it; ask first where its columns have other names."""
    asked, _ = asked.desk.drafts.looked_at(asked)
    try:
        if not any(name.startswith(_COLUMN) for name in asked.said) and _lacks_columns(asked):
            return show(asked)
        work = begin(asked, asked.text("kind"))
    except HabmapError as error:
        return show(asked, error=error)
    return asked.goto("work", id=work.key)


def begin(asked: Asked, key: str) -> Work:
    """Begin to load what a form brought, and return the work.

    Raises
    ------
    UsageError
        There is no such kind, or no file came.
    """
    kind = _kind(key)
    if kind is None:
        raise UsageError(
            "what kind of file is it?",
            where="the kind",
            allowed=", ".join(one.words for one in KINDS),
            mend="choose a kind",
        )
    path = asked.file("file", kind.words)
    if not path.exists():
        raise UsageError("this file was put away already", where=kind.words, mend="choose the file once more")
    if kind.is_folder:
        path, _ = asked.in_one_folder("file")
    words = ["load", kind.key, str(path), "--json"]
    words += [f"--{option}" for option in kind.options if option in _BOXES and asked.has(option)]
    words += [
        f"--{option}={asked.text(option)}" for option in kind.options if option not in _BOXES and asked.has(option)
    ]
    words += [
        f"--map={name.removeprefix(_COLUMN)}={asked.text(name)}"
        for name in asked.said
        if name.startswith(_COLUMN) and asked.has(name)
    ]
    words += ["--copy"] if kind.is_copied else []
    return asked.runs(
        words,
        title=f"Loading of {kind.words}",
        room=asked.text("back") or "load",
        brought=[path] if kind.is_folder else [path.parent],
        again="" if kind.is_folder else asked.address("load", kind=kind.key, draft=asked.text("draft")),
    )


ROOM: Final = Room(name="load", title="Load", show=show, acts={"bring": bring}, needs_libraries=False)
