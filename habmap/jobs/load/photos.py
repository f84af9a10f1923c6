"""Load a folder of photos: all that can be read and placed, or none."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from habmap.jobs.ports import Store
from habmap.place.load.photo_records import LoadPhotosResult
from habmap.place.load.photo_taking import bring_photos
from habmap.progress import Progress


def load_photos(
    store: Store,
    *,
    folder: Path,
    now: datetime,
    declination_deg: float | None = None,
    overwrite: bool = False,
    progress: Progress | None = None,
) -> LoadPhotosResult:
    """Load the JPEG photos of a folder; parameters, and what is refused, as in `bring_photos`."""
    with bring_photos(
        store,
        folder=folder,
        now=now,
        declination_deg=declination_deg,
        overwrite=overwrite,
        progress=progress,
    ) as brought:
        store.append_with_pictures(brought.rows, brought.pictures())
    return brought.result
