"""Load a folder of photos: all that can be read and placed, or none."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from habmap.jobs.ports import Store
from habmap.place.load.photo_records import LoadPhotosResult
from habmap.place.load.photo_taking import bring_photos


def load_photos(store: Store, *, folder: Path, **how: Any) -> LoadPhotosResult:
    """Load the JPEG photos of a folder; ``how``, and what is refused, as in `bring_photos`."""
    with bring_photos(store, folder=folder, **how) as brought:
        store.append_with_pictures(brought.rows, brought.pictures())
    return brought.result
