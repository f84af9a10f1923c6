"""The terrain under outlines, read from the elevation that a place names."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shapely.geometry.base import BaseGeometry

from habmap.land.facerules import FaceRules
from habmap.land.frames import framed
from habmap.place.elevation import open_named
from habmap.place.settings import TerrainSection
from habmap.progress import Progress
from habmap.records import ElevationSource
from habmap.work.terrain import DemInfo, UnitTerrain, terrain_figures


@dataclass(frozen=True, slots=True)
class TerrainSums:
    """Terrain under outlines, these in grids of their own [m]; the raster behind it, and what is odd about that."""

    dem: DemInfo
    under: tuple[UnitTerrain, ...]
    planar: tuple[BaseGeometry, ...]
    warnings: tuple[str, ...]


def terrain_under(
    source: ElevationSource,
    sets: Sequence[Sequence[BaseGeometry]],
    *,
    rules: FaceRules,
    terrain: TerrainSection,
    progress: Progress | None = None,
) -> list[TerrainSums]:
    """Return the terrain under sets of valid lon/lat outlines [°], in one pass over the raster.

    Raises
    ------
    InputError
        The file is gone or unreadable.
    """
    with open_named(source, analysis_cell_m=terrain.analysis_cell_m) as dem:
        # The unit was settled, and any difference told, when the raster was loaded.
        told_at_loading = set(dem.warnings)
        shapes = [framed(outlines) for outlines in sets]
        tables = dem.zone_tables([list(own.lonlat) for own in shapes], rules=rules, progress=progress)
        warnings = tuple(words for words in dem.warnings if words not in told_at_loading)
        info = dem.info()
    return [
        TerrainSums(info, tuple(terrain_figures(table, unit_m2=own.area_m2, rules=rules)), tuple(own.planar), warnings)
        for own, table in zip(shapes, tables, strict=True)
    ]
