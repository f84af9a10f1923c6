"""The terrain under outlines, read from the elevation that a place names."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from shapely.geometry.base import BaseGeometry

from habmap.land.grid import LocalGrid
from habmap.place.elevation import open_elevation
from habmap.place.groundraster import Progress
from habmap.place.settings import TerrainSection
from habmap.records import ElevationSource
from habmap.work.terrain import DemInfo, UnitTerrain, rules_here, terrain_figures


@dataclass(frozen=True, slots=True)
class TerrainSums:
    """Terrain under outlines; the raster that it comes from, and what is odd about its heights."""

    dem: DemInfo
    under: tuple[UnitTerrain, ...]
    warnings: tuple[str, ...]


def terrain_under(
    source: ElevationSource,
    sets: Sequence[Sequence[BaseGeometry]],
    *,
    grid: LocalGrid | None,
    terrain: TerrainSection,
    progress: Progress | None = None,
) -> list[TerrainSums]:
    """Return the terrain under sets of valid outlines in the place's grid [m], in one pass over the raster.

    Raises
    ------
    InputError
        The file is gone or unreadable.
    """
    with open_elevation(
        Path(source.path), vertical_unit=source.vertical_unit, analysis_cell_m=terrain.analysis_cell_m
    ) as dem:
        # The unit was settled, and any difference told, when the raster was loaded.
        told_at_loading = set(dem.warnings)
        shapes = [[] if grid is None else grid.to_lonlat_densely(outlines) for outlines in sets]
        sums = dem.zone_sums_of(shapes, rules=rules_here(terrain.rules, grid), progress=progress)
        warnings = tuple(words for words in dem.warnings if words not in told_at_loading)
        info = dem.info()
    return [
        TerrainSums(
            info,
            tuple(terrain_figures(total, unit_m2=one.area) for total, one in zip(totals, outlines, strict=True)),
            warnings,
        )
        for totals, outlines in zip(sums, sets, strict=True)
    ]
