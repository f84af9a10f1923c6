"""What every printed sheet needs: where its PDF goes, and where the heights come from."""

from __future__ import annotations

from pathlib import Path

from habmap.errors import UsageError
from habmap.jobs.ports import Store
from habmap.measures import significant
from habmap.place.elevation import open_elevation
from habmap.place.writers import refuse_to_write
from habmap.show.records import Audience
from habmap.vocabulary import file_mark


def pdf_path(target: Path | None, *, folder: Path, name: str, what: str, audience: Audience, overwrite: bool) -> Path:
    """Return the PDF to write: ``target``, or ``out/NAME`` in the property's folder.

    Raises
    ------
    UsageError
        Its name does not end in .pdf.
    InputError
        It is there, is no earlier one of its kind for the same people and ``overwrite`` is false, or it is one of the
        property's own files.
    """
    path = folder / "out" / name if target is None else target
    if path.suffix.lower() != ".pdf":
        raise UsageError(f"the {what} is a PDF", value=path.name, allowed="a name that ends in .pdf", mend="name it so")
    refuse_to_write(path, overwrite=overwrite, replaces=file_mark(what, audience))
    return path


def elevation_words(store: Store, audience: Audience) -> str | None:
    """Say where the heights come from and how large their cell is; the file's name is for the owner alone."""
    source = store.elevation()
    if source is None:
        return None
    with open_elevation(Path(source.path), vertical_unit=source.vertical_unit) as elevation:
        cell_m, reference = elevation.cell_m, elevation.crs_name
    name = f" {Path(source.path).name}" if audience == "owner" else ""
    unit = {"m": "meters", "ft": "feet", "us-ft": "US survey feet"}[source.vertical_unit]
    return f"Elevation: the raster{name}, cells of {significant(cell_m, 2)} m, heights in {unit}, {reference}."
