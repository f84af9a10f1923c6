"""Make a new place folder, whole or not at all."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from habmap.land.grid import grid_around
from habmap.measures import acres
from habmap.place.layers import read_ground
from habmap.place.new_folder import NEW_FILES, new_place
from habmap.place.store import GeoPackageStore
from habmap.records import Boundary


@dataclass(frozen=True, slots=True, kw_only=True)
class Started:
    """A place that has just been made; ``boundary_acres`` [acre] is ``None`` where no boundary was given."""

    place: str
    place_id: str
    folder: str
    files: tuple[str, ...]
    boundary_acres: float | None


def start(
    folder: Path, *, name: str, now: datetime, boundary: Path | None = None, timezone: str | None = None
) -> Started:
    """Make a place folder with commented settings and an empty GeoPackage.

    Parameters
    ----------
    folder
        A new folder, or one without place files in it; what else it holds stays as it is.
    name
        What people call the property.
    now
        The moment of recording, UTC.
    boundary
        Vector file with the property's outer line, any CRS that it declares.
    timezone
        Name of the time zone whose local days the dates are.

    Raises
    ------
    PlaceError
        There is a place here already, or the folder cannot be written.
    InputError
        The boundary file is unfit.
    UsageError
        The name or the time zone cannot be used.
    """
    folder = folder.absolute()
    boundary_acres = None
    with new_place(folder) as draft:
        outline = None if boundary is None else read_ground(boundary)
        store = GeoPackageStore.create(draft, name, timezone=timezone)
        if outline is not None:
            store.append([Boundary(uuid=str(uuid.uuid4()), geometry=outline, recorded_at=now)])
            grid = store.grid or grid_around([outline])
            boundary_acres = acres(grid.to_grid(outline).area)
    return Started(
        place=name,
        place_id=store.place_id,
        folder=str(folder),
        files=NEW_FILES,
        boundary_acres=boundary_acres,
    )
