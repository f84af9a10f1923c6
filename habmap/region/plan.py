"""What a run over a region's stands is to give, cut into parts that can be done anywhere."""

from __future__ import annotations

import glob
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from habmap.errors import InputError, PlaceError
from habmap.land.facerules import FaceRules
from habmap.measures import VerticalUnit
from habmap.place.elevation import Elevation, open_elevation
from habmap.place.groundraster import open_source
from habmap.place.layers import BigLayer, layer_transformer
from habmap.region.dem import Mosaic, Tile, Window, mosaic_of, stamp_of
from habmap.region.engine import Task
from habmap.region.folder import digest_of, read_part, write_part
from habmap.region.stands import StandsFile, portions, sorting

#: Side of the ground that a part's stands have their middles in [cells as stored]: a second's work or two.
PART_CELLS: Final = 4096
#: Raised whenever the same inputs give other sums.
SUMS_VERSION: Final = 3
#: Raised whenever the same stands are sorted otherwise.
PLAN_VERSION: Final = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """Which elevation, and how it is taken."""

    tiles: tuple[Path, ...]
    vertical_unit: VerticalUnit | None = None
    analysis_cell_m: float | Literal["native"] = 10
    rules: FaceRules = field(default_factory=FaceRules)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What a run is to give, and where."""

    units: Path
    ground: Ground
    output: Path
    layer: str | None = None
    id_column: str | None = None
    parts_folder: Path | None = None
    part_cells: int = PART_CELLS
    is_resumed: bool = False
    overwrite: bool = False

    @property
    def folder(self) -> Path:
        """The folder of parts."""
        return self.parts_folder or self.output.parent / f"{self.output.name}.parts"


@dataclass(frozen=True, slots=True)
class Part:
    name: str
    file: Path
    stands: StandsFile
    task: Task


@dataclass(frozen=True, slots=True)
class Elevations:
    """The elevation as one raster: a file, or a mosaic of which each part opens what it needs."""

    single: Path | None
    mosaic: Mosaic | None
    warnings: tuple[str, ...]
    #: Of all files that one raster is read from: those that a list of rasters names, and what lies beside it.
    stamps: tuple[tuple[str, int, int], ...] = ()

    @classmethod
    def of(cls, ground: Ground) -> Elevations:
        if len(ground.tiles) == 1:
            with open_source(ground.tiles[0], kind="elevation") as source:
                files = {ground.tiles[0], *map(Path, source.files)}
            return cls(ground.tiles[0], None, (), tuple(sorted({stamp_of(path) for path in files if path.exists()})))
        mosaic = mosaic_of(ground.tiles, vertical_unit=ground.vertical_unit)
        return cls(None, mosaic, mosaic.warnings)

    def of_part(self, folder: Path, reach: Window | None, factor: int) -> tuple[Path, list[Tile], str]:
        """Return the raster that a part opens, written where need be, its tiles, and what names all that it holds."""
        if self.single is not None:
            tile = Tile(self.single, (0, 0, 0, 0), None, stamp_of(self.single))
            return self.single, [tile], digest_of(self.stamps)
        mosaic = self.mosaic
        assert mosaic is not None
        source_reach = None if reach is None else tuple(side * factor for side in reach)
        tiles = mosaic.near(source_reach) or list(mosaic.tiles[:1])  # type: ignore[arg-type]
        with PlaceError(
            "the list of tiles cannot be written", where=str(folder), mend="choose an output in a folder of your own"
        ).instead_of(OSError):
            path = mosaic.write(folder, tiles)
        return path, tiles, digest_of(path.name, [tile.stamp for tile in tiles])


def id_column_of(layer: BigLayer, asked: str | None) -> str | None:
    if asked is None:
        return next((name for name in layer.columns if name.lower() in ("unit_id", "unitid")), None)
    if asked not in layer.columns:
        raise InputError(
            "the layer has no such column",
            where=layer.where,
            value=asked,
            allowed=", ".join(layer.columns) or "none",
            mend="name one of these with --id",
        )
    return asked


def is_south(layer: BigLayer) -> bool:
    """Tell whether a layer lies south of the equator, by its middle."""
    west, south, east, north = layer.bounds
    middle = shapely.Point((west + east) / 2, (south + north) / 2)
    transformer = layer_transformer(layer.crs_text, layer.bounds, where=layer.where)
    lat = middle.y if transformer is None else transformer.transform(middle.x, middle.y)[1]
    return bool(lat < 0)


def planned(
    layer: BigLayer,
    elevation: Elevations,
    folder: Path,
    asked: Asked,
    rules: FaceRules,
    id_column: str | None,
    do: Callable[..., dict[str, Any]],
) -> tuple[list[Part], NDArray[np.object_]]:
    """Sort the stands into parts, and return these and the stands' labels; as before, where nothing has changed.

    ``do`` is the function that does a part.
    """
    ground = asked.ground
    raster, _, _ = elevation.of_part(folder, None, 1)
    with open_elevation(raster, vertical_unit=ground.vertical_unit, analysis_cell_m=ground.analysis_cell_m) as dem:
        factor = max(1, round(dem.analysis_cell_m / dem.cell_m))
        side = max(1, asked.part_cells // factor)
        grid = (dem.analysis_shape, factor, tuple(dem.bounds), dem.crs.to_wkt())
        kept = folder / f"plan-{digest_of(PLAN_VERSION, _stamps(asked.units), layer.name, id_column, side, grid)}.bin"
        files, ids = _as_before(kept, folder) or _sorted(layer, dem, folder, side=side, id_column=id_column, kept=kept)
        unit = dem.vertical_unit
    about = {
        "crs_text": layer.crs_text, "bounds": layer.bounds, "where": layer.where, "vertical_unit": unit,
        "analysis_cell_m": ground.analysis_cell_m, "rules": asdict(rules),
    }  # fmt: skip
    decides = _deciding(rules)
    parts = []
    for stands in files:
        raster, tiles, heights = elevation.of_part(folder, stands.reach, factor)
        name = digest_of(
            SUMS_VERSION, stands.digest, heights, unit, ground.analysis_cell_m, layer.crs_text, layer.bounds, decides
        )
        file = folder / f"part-{name}.bin"
        stamps = [[str(tile.path), *tile.stamp] for tile in tiles]
        task = Task(name, do, (str(file), str(stands.path), str(raster), stamps, about))
        parts.append(Part(name, file, stands, task))
    return parts, ids


def _stamps(units: Path) -> list[object]:
    """Return what tells whether a layer's files are still the same: those beside it that share its name, too."""
    found = units.iterdir() if units.is_dir() else units.parent.glob(f"{glob.escape(units.stem)}.*")
    return [stamp_of(path) for path in sorted(found) if path.is_file()]


def _as_before(kept: Path, folder: Path) -> tuple[list[StandsFile], NDArray[np.object_]] | None:
    """Return how the stands were sorted before; ``None`` where they were not, or a file of theirs is gone."""
    whole = read_part(kept)
    if whole is None:
        return None
    files = [
        StandsFile(folder / name, count, digest, None if reach is None else tuple(reach))
        for name, count, digest, reach in whole[0]["files"]
    ]
    if not all(one.path.exists() for one in files):
        return None
    ids = np.empty(len(whole[0]["ids"]), dtype=object)
    ids[:] = whole[0]["ids"]
    return files, ids


def _sorted(
    layer: BigLayer, dem: Elevation, folder: Path, *, side: int, id_column: str | None, kept: Path
) -> tuple[list[StandsFile], NDArray[np.object_]]:
    """Sort the stands into parts by where they lie, and keep how."""
    transformer = layer_transformer(layer.crs_text, layer.bounds, where=layer.where)
    ids = np.empty(layer.features, dtype=object)
    with sorting(folder, side=side, shape=dem.analysis_shape) as sorter:
        for first, shapes_wkb, values in portions(layer, (id_column,) if id_column else ()):
            end = first + len(shapes_wkb)
            ids[first:end] = values[0] if values else np.arange(first + 1, end + 1)
            with np.errstate(invalid="ignore"):
                boxes = shapely.bounds(shapely.from_wkb(shapes_wkb, on_invalid="ignore"))
            corners = boxes.reshape(-1, 2, 2).reshape(-1, 2)
            lonlat = corners if transformer is None else np.column_stack(transformer.transform(*corners.T))
            sorter.add(first, shapes_wkb, dem.cell_of(lonlat).reshape(-1, 2, 2))
        files = sorter.files()
    labels = ids.tolist()
    if all(label is None or isinstance(label, str | int | float) for label in labels):
        write_part(
            kept, {"files": [(one.path.name, one.count, one.digest, one.reach) for one in files], "ids": labels}, {}
        )
    return files, ids


def _deciding(rules: FaceRules) -> list[object]:
    """Return what of the rules decides about a part's sums: the bearings, and limits that cut a slope class in two.

    A limit between two classes is a question to the sums that are there: another one is answered without a new pass.
    """
    cuts = [
        (limit.cut_class, value)
        for limit, value in ((rules.flat_limit, rules.flat_below_pct), (rules.hand_limit, rules.machine_limit_pct))
        if limit.cut_class >= 0
    ]
    return [list(rules.sun_facing_deg), cuts]
