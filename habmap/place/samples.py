"""Where the sample property's layers lie: inside an installed package, or beside it in a checkout."""

from __future__ import annotations

from pathlib import Path

from habmap.errors import PlaceError

FOLDER_NAME = "sample_layers"
SAMPLE_NAME = "Turtle Shell place (sample)"


def sample_layers_folder() -> Path:
    """Return the folder of the sample layers.

    Raises
    ------
    PlaceError
        This copy of habmap came without them.
    """
    package = Path(__file__).resolve().parent.parent
    for folder in (package / FOLDER_NAME, package.parent / FOLDER_NAME):
        if (folder / "units.geojson").is_file():
            return folder
    raise PlaceError(
        "this copy of habmap came without the sample property",
        where=str(package),
        mend="install habmap again, or run `python scripts/make_sample_property.py` in its source folder",
    )
