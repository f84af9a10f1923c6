"""Point a place at a raster of heights, of the ground or of the canopy, or copy the raster in."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

from habmap.jobs.ports import Store
from habmap.place.load.rasters import BroughtRaster, CanopyInfo, CanopyLoaded, DemLoaded, bring_raster
from habmap.work.terrain import DemInfo


def load_dem(store: Store, *, path: Path, now: datetime, **how: Any) -> DemLoaded:
    """Make a raster the place's elevation; ``how``, and what is refused, as in `bring_raster`."""
    brought = _loaded(store, "dem", path=path, now=now, **how)
    return DemLoaded(dem=DemInfo(analysis_cell_m=brought.analysis_cell_m, **brought.file), **brought.told)


def load_canopy(store: Store, *, path: Path, now: datetime, **how: Any) -> CanopyLoaded:
    """Make a raster the place's canopy heights; ``how``, and what is refused, as in `bring_raster`."""
    brought = _loaded(store, "canopy", path=path, now=now, **how)
    height_ft = store.settings.density.canopy_height_ft
    return CanopyLoaded(canopy=CanopyInfo(**brought.file), height_ft=height_ft, **brought.told)


def _loaded(store: Store, kind: str, **how: Any) -> BroughtRaster:
    with bring_raster(store, kind, **how) as brought:
        store.append([brought.row])
    return brought
