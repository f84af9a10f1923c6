"""What the elevation says of ground that remains to be cut: what of it faces the sun, what is too steep."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from habmap.land.bite import Liking
from habmap.land.contiguous import widened
from habmap.land.grid import LocalGrid
from habmap.place.elevation import Elevation, open_named
from habmap.place.settings import TerrainSection
from habmap.records import ElevationSource
from habmap.work.terrain import rules_here


@dataclass(frozen=True, slots=True)
class CuttingGround:
    """Ground in grid meters over an elevation that is open."""

    remains: MultiPolygon
    grid: LocalGrid
    dem: Elevation
    terrain: TerrainSection

    def sun_facing(self) -> Liking:
        """Return what tells how much of outlines inside the ground is sun-facing."""
        (outline,) = self.grid.to_lonlat_densely([self.remains])
        shares = self.dem.sun_shares(outline, rules=rules_here(self.terrain.rules, self.grid))
        turned: Any = self.grid.to_lonlat  # of arrays too
        return lambda outlines: shares(turned(outlines))

    def steep(self) -> BaseGeometry | None:
        """Return what of the ground is too steep for a machine, its outline straightened; ``None``: nothing."""
        (outline,) = self.grid.to_lonlat_densely([self.remains])
        cells = self.dem.steep_ground(outline, above_pct=self.terrain.machine_limit_pct)
        shapes = [self.grid.to_grid(one) for one in cells]
        return widened(shapes, cell_m=self.dem.analysis_cell_m, within=self.remains) if shapes else None


@contextmanager
def cutting_ground(
    source: ElevationSource | None, remains: MultiPolygon, *, grid: LocalGrid | None, terrain: TerrainSection
) -> Iterator[CuttingGround | None]:
    """Open a place's elevation over ground that remains; ``None`` where there is none."""
    if source is None or grid is None:
        yield None
        return
    with open_named(source, analysis_cell_m=terrain.analysis_cell_m) as dem:
        yield CuttingGround(remains, grid, dem, terrain)
