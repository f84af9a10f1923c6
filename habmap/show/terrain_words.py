"""How the ground lies, in words: on the map, on a unit's sheet, and what the elevation leaves out."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePath
from typing import TYPE_CHECKING

from habmap.measures import significant
from habmap.records.facts import facts, value_of
from habmap.vocabulary import WIND_WORDS, wind_16
from habmap.work.terrain import DemInfo, UnitTerrain

if TYPE_CHECKING:
    from habmap.show.records import Page

_MOST_NAMED = 5


def terrain_sentence(terrain: UnitTerrain | None) -> str:
    """Return how a unit's ground lies; each figure whose fact ``tells`` it stands there by that."""
    if terrain is None or terrain.slope_mean_pct is None or terrain.slope_mean_deg is None:
        return "How this ground lies is not known: it is off the elevation, or none is loaded."
    if terrain.aspect_mean_deg is None or terrain.facing in (None, "flat"):
        text = "Faces no one way"
    else:
        text = f"Faces {WIND_WORDS[wind_16(terrain.aspect_mean_deg)]}"
    text += f"; slope {terrain.slope_mean_pct:.0f}% on average ({terrain.slope_mean_deg:.1f}°)"
    if terrain.slope_p90_pct is not None:
        text += f", the steepest tenth above {terrain.slope_p90_pct:.0f}%"
    sentences = [text]
    for one in facts(UnitTerrain).values():
        sentences += one.told(value_of(terrain, one))
    if terrain.coverage_pct < 99.5:
        sentences.append(f"Elevation covers {terrain.coverage_pct:.0f}% of the unit")
    if terrain.too_coarse:
        sentences.append("The elevation's cells are coarse for so small a unit: take these figures as rough")
    return ". ".join(sentences) + "."


def elevation_words(page: Page) -> list[str]:
    """Say where the heights come from and how large their cell is; the file's name is for the owner alone."""
    dem = page.dem
    if dem is None:
        return []
    name = f" {PurePath(dem.path).name}" if page.audience == "owner" else ""
    unit = {"m": "meters", "ft": "feet", "us-ft": "US survey feet"}[dem.vertical_unit]
    return [f"Elevation: the raster{name}, cells of {significant(dem.cell_m, 2)} m, heights in {unit}, {dem.crs}."]


def coverage_warnings(figures: Sequence[UnitTerrain]) -> tuple[str, ...]:
    """Say which units the elevation leaves out, whole or in part."""
    off = [unit.unit_id for unit in figures if unit.coverage_pct == 0]
    part = [f"{unit.coverage_pct:.0f}% of {unit.unit_id}" for unit in figures if 0 < unit.coverage_pct < 99]
    words = [f"the elevation covers none of {_listed(off)}: no terrain figures there"] if off else []
    if part:
        words.append(f"the elevation covers only {_listed(part)}: the figures are of that part")
    return tuple(words)


def coarse_warnings(figures: Sequence[UnitTerrain], dem: DemInfo) -> tuple[str, ...]:
    """Say for which units the cells are too coarse, and what would mend it."""
    names = [f"{unit.unit_id} ({_cells(unit.cells)})" for unit in figures if unit.too_coarse]
    if not names:
        return ()
    is_averaged = dem.analysis_cell_m > 1.5 * dem.cell_m
    mend = "make analysis_cell_m in habmap.toml smaller, or “native”" if is_averaged else "load finer elevation"
    return (
        f"cells of {dem.analysis_cell_m:.0f} m are too coarse for {_listed(names)}: take the terrain figures there as "
        f"rough ({mend})",
    )


def _cells(cells: float) -> str:
    return "less than one cell" if cells < 1 else "1 cell" if cells < 1.5 else f"{cells:.0f} cells"


def _listed(names: Sequence[str]) -> str:
    shown = ", ".join(names[:_MOST_NAMED])
    return shown if len(names) <= _MOST_NAMED else f"{shown} and {len(names) - _MOST_NAMED} more"
