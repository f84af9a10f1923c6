"""What must be so of what lies beside the rows: rasters of heights, and written plans as they were kept."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from habmap.errors import HabmapError
from habmap.place.settings import PlanSection
from habmap.records import CanopySource, ElevationSource
from habmap.work.checks.looked_at import Found, LookedAt

if TYPE_CHECKING:
    from habmap.place.groundraster import GroundRaster


def elevation(place: LookedAt) -> Iterator[Found]:
    """Yield a raster of heights that is gone or is another one now."""
    from habmap.place.elevation import open_elevation

    source = place.held.elevation()
    if source is not None:
        opened = open_elevation(Path(source.path), vertical_unit=source.vertical_unit)
        yield from _raster(source, opened, mend="point at it again with `habmap load dem FILE`")


def canopy(place: LookedAt) -> Iterator[Found]:
    """Yield a raster of canopy heights that is gone or is another one now."""
    from habmap.place.canopy import open_canopy

    source = place.held.canopy()
    if source is not None:
        opened = open_canopy(Path(source.path), vertical_unit=source.vertical_unit)
        yield from _raster(source, opened, mend="point at it again with `habmap load canopy FILE`")


def _raster(
    source: ElevationSource | CanopySource, opened: AbstractContextManager[GroundRaster], *, mend: str
) -> Iterator[Found]:
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    from habmap.land.datum import horizontal_crs

    try:
        with opened as raster:
            found = raster.crs
    except HabmapError as error:
        yield Found(source.path, error.what, error.mend or mend)
        return
    try:
        was = horizontal_crs(CRS.from_wkt(source.crs_wkt))
    except CRSError as error:
        what = f"the coordinate system kept with it cannot be read: {error}"
        yield Found(source.path, what, mend)
        return
    if not found.equals(was, ignore_axis_order=True):
        yield Found(source.path, f"its coordinate system is now {found.name}, not what it was when it was added", mend)


def can_read_plans(plans: Mapping[str, Any]) -> bool:
    """Tell whether written plans, as they were kept with a burn, can still be read."""
    try:
        PlanSection.model_validate(plans)
    except ValidationError:
        return False
    return True
