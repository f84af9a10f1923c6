"""Write the sample property into ``sample_layers/``: an invented place, the same bytes at every run.

Run it from anywhere: ``python scripts/make_sample_property.py [FOLDER]``. Nothing in it is or was real: the land is
made by noise and a drawn creek, the names and the people are made up, and the spot was taken for its latitude only.
"""

from __future__ import annotations

import csv
import json
import math
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Polygon
from shapely.geometry import mapping, shape
from shapely.geometry.polygon import orient

sys.path.insert(0, str(Path(__file__).resolve().parent))

from sample_property.chance import Chance
from sample_property.frame import EPSG, from_utm, lonlat, to_utm
from sample_property.ground import heights_m
from sample_property.history import ENTRY_COLUMNS, drawn_patches, log_rows
from sample_property.outlines import UNITS, Property, drawn_property
from sample_property.photos import write_photos
from sample_property.plots import PLOT_COLUMNS, plot_rows
from sample_property.seen import COVER_COLUMNS, SIGHTING_COLUMNS, cover_rows, sighting_rows
from sample_property.walks import edge_of, gpx_text, passes_over, utc, walked, with_troubles
from sample_property.weather import FORECAST_COLUMNS, forecast_rows

SEED = 7
CELL_M = 3.0
#: The raster's frame beyond the property [m], so that every unit has ground around it.
MARGIN_M = 210.0
#: Heights are kept to 1/32 m: finer than any survey, and the short binary fractions pack small.
HEIGHT_STEP_M = 1 / 32


def main(folder: Path) -> None:
    """Write every file of the sample property."""
    folder.mkdir(parents=True, exist_ok=True)
    place = drawn_property(seed=SEED)
    land, west, north = _elevation(place)
    _write_tiff(folder / "elevation.tif", land, west=west, north=north)
    _write_boundary(folder / "boundary.gpkg", place)
    _write_geojson(folder / "units.geojson", _unit_rows(place))
    _write_geojson(folder / "features.geojson", place.features)
    patches = drawn_patches(place.units, seed=SEED)
    _write_csv(folder / "entries.csv", ENTRY_COLUMNS, log_rows(patches))
    _write_csv(folder / "plots.csv", PLOT_COLUMNS, plot_rows(place, UNITS, seed=SEED))
    _write_csv(folder / "cover.csv", COVER_COLUMNS, cover_rows(place, seed=SEED))
    _write_csv(folder / "sightings.csv", SIGHTING_COLUMNS, sighting_rows(place, seed=SEED))
    _write_csv(folder / "forecast.csv", FORECAST_COLUMNS, forecast_rows())

    def height_m(x: float, y: float) -> float:
        east, up = to_utm(np.array(x), np.array(y))
        row, column = int((north - float(up)) / CELL_M), int((float(east) - west) / CELL_M)
        return float(land[row, column])

    _write_walks(folder / "walks", patches, height_m)
    write_photos(folder / "photos", seed=SEED)


def _elevation(place: Property) -> tuple[NDArray[np.float32], float, float]:
    x0, y0, x1, y1 = place.boundary.bounds
    corners = to_utm(np.array([x0, x1, x0, x1]), np.array([y0, y0, y1, y1]))
    west = math.floor((corners[0].min() - MARGIN_M) / CELL_M) * CELL_M
    south = math.floor((corners[1].min() - MARGIN_M) / CELL_M) * CELL_M
    columns = math.ceil((corners[0].max() + MARGIN_M - west) / CELL_M)
    rows = math.ceil((corners[1].max() + MARGIN_M - south) / CELL_M)
    north = south + rows * CELL_M
    east, up = np.meshgrid(west + (np.arange(columns) + 0.5) * CELL_M, north - (np.arange(rows) + 0.5) * CELL_M)
    x, y = from_utm(east, up)
    land = heights_m(x, y, seed=SEED, pond=place.pond, dam=place.dam)
    return (np.round(land / HEIGHT_STEP_M) * HEIGHT_STEP_M).astype(np.float32), west, north


def _write_tiff(path: Path, land: NDArray[np.float32], *, west: float, north: float) -> None:
    import rasterio
    from rasterio.transform import from_origin

    with rasterio.open(
        path, "w", driver="GTiff", width=land.shape[1], height=land.shape[0], count=1, dtype="float32",
        crs=f"EPSG:{EPSG}", transform=from_origin(west, north, CELL_M, CELL_M), nodata=-9999.0,
        compress="deflate", predictor=3, zlevel=9, tiled=True, blockxsize=256, blockysize=256,
    ) as target:  # fmt: skip
        target.write(land, 1)
        target.set_band_unit(1, "m")
        target.set_band_description(1, "height")


def _write_boundary(path: Path, place: Property) -> None:
    import geopandas
    import pyogrio

    path.unlink(missing_ok=True)
    # GDAL stamps the day of writing into a GeoPackage unless it is told one
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2024-09-01T00:00:00.000Z"})
    outline = lonlat(place.boundary)
    frame = geopandas.GeoDataFrame({"name": ["Turtle Shell place"]}, geometry=[MultiPolygon([outline])], crs=4326)
    frame.to_file(path, layer="boundary", driver="GPKG", SPATIAL_INDEX="NO")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def _unit_rows(place: Property) -> list[tuple[dict[str, Any], Any]]:
    return [
        (
            {
                "unit_id": plan.unit_id, "name": plan.name, "cover": plan.cover,
                "stems_per_acre": plan.stems_per_acre, "canopy_pct": plan.canopy_pct, "notes": plan.notes,
            },
            place.units[plan.unit_id],
        )
        for plan in UNITS
    ]  # fmt: skip


def _write_geojson(path: Path, rows: Sequence[tuple[dict[str, Any], Any]]) -> None:
    """Write RFC 7946: lon/lat, rings by the right-hand rule, one feature a line so that a change shows as one."""
    lines = []
    for properties, outline in rows:
        turned = lonlat(outline)
        if isinstance(turned, Polygon):
            turned = orient(turned)
        feature = {"type": "Feature", "properties": properties, "geometry": mapping(turned)}
        if not shape(feature["geometry"]).is_valid:
            raise ValueError(f"outline is not valid: {properties}")
        lines.append(json.dumps(feature, ensure_ascii=False, allow_nan=False))
    body = ",\n".join(lines)
    text = f'{{"type": "FeatureCollection", "features": [\n{body}\n]}}\n'
    path.write_text(text, encoding="utf-8", newline="\n")


def _write_csv(path: Path, columns: Sequence[str], rows: Sequence[dict[str, object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as target:
        writer = csv.DictWriter(target, columns, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def _write_walks(folder: Path, patches: dict[str, Polygon], height_m: Any) -> None:
    folder.mkdir(exist_ok=True)

    def walk(name: str, line: LineString, start: Any, *, pace_mps: float, every_s: float) -> list[Any]:
        chance = Chance(SEED, name)
        return walked(line, start=start, pace_mps=pace_mps, every_s=every_s, height=height_m, chance=chance)

    edge = walk(
        "east bite edge",
        edge_of(patches["bluff east bite"], open_m=6),
        utc(2025, 12, 6, 21, 40),
        pace_mps=1.1,
        every_s=4,
    )
    work = walk(
        "thicket mulcher",
        passes_over(patches["thicket mulched"], apart_m=3.4),
        utc(2025, 10, 11, 14, 5),
        pace_mps=0.6,
        every_s=6,
    )
    rough = walk(
        "east cut edge", edge_of(patches["east cut"], open_m=4), utc(2026, 3, 1, 0, 2), pace_mps=1.0, every_s=5
    )
    rough = with_troubles(rough, Chance(SEED, "troubles"))
    for file, name, fixes in (
        ("south_bluff_edge.gpx", "South Bluff, east bite, edge", edge),
        ("north_thicket_mulcher.gpx", "North Thicket, mulcher at work", work),
        ("east_bluff_edge_rough.gpx", "East Bluff, edge, poor reception", rough),
    ):
        (folder / file).write_text(gpx_text(name, fixes), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parents[1] / "sample_layers")
