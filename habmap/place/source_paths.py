"""Where a raster lies, as it is stored: relative to the place's folder when it lies in it, so that folders may move."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from habmap.records import CanopySource, ElevationSource, Row

Record = TypeVar("Record")


def with_full_path(row: Record, folder: Path) -> Record:
    """Return a raster's source with its path made absolute; other rows as they are."""
    if not isinstance(row, ElevationSource | CanopySource):
        return row
    return replace(row, path=str((folder / row.path).resolve()))


def with_stored_path(row: Row, folder: Path) -> Row:
    """Return a raster's source with its path relative to the folder it lies in; other rows as they are."""
    if not isinstance(row, ElevationSource | CanopySource) or not Path(row.path).is_absolute():
        return row
    folder, path = folder.resolve(), Path(row.path).resolve()
    stored = path.relative_to(folder).as_posix() if path.is_relative_to(folder) else str(path)
    return replace(row, path=stored)
