"""Load: any file, whole or not at all, with every fault by its row."""

from __future__ import annotations

import shutil
from dataclasses import KW_ONLY, dataclass
from typing import TYPE_CHECKING, Final

from starlette.responses import Response

from habmap.desk.asked import Asked
from habmap.desk.forms import Field
from habmap.desk.pages import page
from habmap.desk.room import Room
from habmap.errors import HabmapError, UsageError

if TYPE_CHECKING:
    from habmap.desk.long_work import Work

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
    kind = next((one for one in KINDS if one.key == asked.text("kind")), None)
    if kind is None:
        return page(asked, "load_kinds.html.j2", kinds=KINDS, error=error)
    return page(
        asked,
        "load.html.j2",
        error=error,
        kind=kind,
        fields=fields_of(kind),
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
    """Begin to load a file, and go where it is told what came of it."""
    try:
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
    kind = next((one for one in KINDS if one.key == key), None)
    if kind is None:
        raise UsageError(
            "what kind of file is it?",
            where="the kind",
            allowed=", ".join(one.words for one in KINDS),
            mend="choose a kind",
        )
    path = asked.file("file", kind.words)
    if kind.is_folder:
        path = asked.desk.new_folder()
        for number, one in enumerate(asked.paths("file")):
            name = one.name if not (path / one.name).exists() else f"{number}-{one.name}"
            shutil.move(one, path / name)
    words = ["load", kind.key, str(path), "--json"]
    words += [f"--{option}" for option in kind.options if option in _BOXES and asked.has(option)]
    words += [
        f"--{option}={asked.text(option)}" for option in kind.options if option not in _BOXES and asked.has(option)
    ]
    words += ["--copy"] if kind.is_copied else []
    return asked.runs(
        words,
        title=f"Loading of {kind.words}",
        room=asked.text("back") or "load",
        brought=[path] if kind.is_folder else [path.parent],
    )


ROOM: Final = Room(name="load", title="Load", show=show, acts={"bring": bring}, needs_libraries=False)
