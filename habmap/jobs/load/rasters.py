"""Point a place at a raster of heights, of the ground or of the canopy, or copy the raster in."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from habmap.jobs.ports import Store
from habmap.measures import VerticalUnit
from habmap.place.load.rasters import BroughtRaster, bring_raster
from habmap.work.terrain import DemInfo


@dataclass(frozen=True, slots=True, kw_only=True)
class RasterLoaded:
    """What was loaded: whether the raster was copied, and what a person should know about it."""

    copied: bool
    units_covered: int
    units_off: tuple[str, ...]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class DemLoaded(RasterLoaded):
    """An elevation just loaded."""

    dem: DemInfo


@dataclass(frozen=True, slots=True, kw_only=True)
class CanopyInfo:
    """The raster: its file, coordinate system, side of a cell on the ground [m] and unit of its heights."""

    path: str
    crs: str
    cell_m: float
    vertical_unit: VerticalUnit


@dataclass(frozen=True, slots=True, kw_only=True)
class CanopyLoaded(RasterLoaded):
    """Canopy heights just loaded, and the height from which ground counts as covered [ft]."""

    canopy: CanopyInfo
    height_ft: float


def load_dem(store: Store, *, path: Path, now: datetime, **how: Any) -> DemLoaded:
    """Make a raster the place's elevation; ``how``, and what is refused, as in `bring_raster`."""
    brought = _loaded(store, "dem", path=path, now=now, **how)
    file = _file(brought)
    return DemLoaded(dem=DemInfo(analysis_cell_m=brought.analysis_cell_m, **file), **_said(brought))


def load_canopy(store: Store, *, path: Path, now: datetime, **how: Any) -> CanopyLoaded:
    """Make a raster the place's canopy heights; ``how``, and what is refused, as in `bring_raster`."""
    brought = _loaded(store, "canopy", path=path, now=now, **how)
    height_ft = store.settings.density.canopy_height_ft
    return CanopyLoaded(canopy=CanopyInfo(**_file(brought)), height_ft=height_ft, **_said(brought))


def _loaded(store: Store, kind: str, **how: Any) -> BroughtRaster:
    with bring_raster(store, kind, **how) as brought:
        store.append([brought.row])
    return brought


def _file(brought: BroughtRaster) -> dict[str, Any]:
    row = brought.row
    return {"path": row.path, "crs": brought.crs, "cell_m": brought.cell_m, "vertical_unit": row.vertical_unit}


def _said(brought: BroughtRaster) -> dict[str, Any]:
    return {name: getattr(brought, name) for name in ("copied", "units_covered", "units_off", "warnings")}
