"""What must be so of the rasters that a place points at: heights of the ground and of the canopy."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING

from habmap.errors import HabmapError
from habmap.jobs.checks.facts import Facts, Fault
from habmap.records import CanopySource, ElevationSource

if TYPE_CHECKING:
    from habmap.place.groundraster import GroundRaster


def elevation(facts: Facts) -> Iterator[Fault]:
    """Yield a raster of heights that is gone or is another one now."""
    from habmap.place.elevation import open_elevation

    source = facts.store.elevation()
    if source is not None:
        opened = open_elevation(Path(source.path), vertical_unit=source.vertical_unit)
        yield from _raster("elevation", source, opened, mend="point at it again with `habmap load dem FILE`")


def canopy(facts: Facts) -> Iterator[Fault]:
    """Yield a raster of canopy heights that is gone or is another one now."""
    from habmap.place.canopy import open_canopy

    source = facts.store.canopy()
    if source is not None:
        opened = open_canopy(Path(source.path), vertical_unit=source.vertical_unit)
        yield from _raster("canopy", source, opened, mend="point at it again with `habmap load canopy FILE`")


def _raster(
    rule: str, source: ElevationSource | CanopySource, opened: AbstractContextManager[GroundRaster], *, mend: str
) -> Iterator[Fault]:
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    from habmap.land.datum import horizontal_crs

    try:
        with opened as raster:
            found = raster.crs
    except HabmapError as error:
        yield Fault(rule=rule, where=source.path, what=error.what, mend=error.mend or mend)
        return
    try:
        was = horizontal_crs(CRS.from_wkt(source.crs_wkt))
    except CRSError as error:
        what = f"the coordinate system kept with it cannot be read: {error}"
        yield Fault(rule=rule, where=source.path, what=what, mend=mend)
        return
    if not found.equals(was, ignore_axis_order=True):
        yield Fault(
            rule=rule,
            where=source.path,
            what=f"its coordinate system is now {found.name}, not what it was when it was added",
            mend=mend,
        )
