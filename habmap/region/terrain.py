"""Terrain of any number of stands: sorted into parts, done by whoever is there, put together whole."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from habmap.errors import HabmapError, InputError, InputErrors, PlaceError
from habmap.land.facerules import FaceRules
from habmap.land.frames import framed
from habmap.land.pieces import PLAIN_SUMS
from habmap.land.shares import are_too_coarse
from habmap.land.zones import ZoneTable
from habmap.measures import VerticalUnit
from habmap.place.elevation import Elevation, open_elevation
from habmap.place.layers import BigLayer, layer_transformer, open_big_layer
from habmap.place.writers import refuse_to_write, write_whole
from habmap.region.dem import Mosaic, Tile, Window, check_tiles, mosaic_of, stamp_of
from habmap.region.engine import Engine, Task
from habmap.region.folder import digest_of, read_part, sweep, write_part
from habmap.region.output import Portion, Writer, writer_for
from habmap.region.parts import parts_folder
from habmap.region.records import MOST_NAMED, RegionTerrain
from habmap.region.stands import Sorter, StandsFile, lonlat_outlines, portions, shapes_of
from habmap.work.region_account import RegionFault
from habmap.work.terrain import figure_columns, rules_for

#: Side of the ground that a part's stands have their middles in [cells as stored]: a second's work or two.
PART_CELLS: Final = 4096
#: Raised whenever the same inputs give other sums.
SUMS_VERSION: Final = 1
#: The sums of a part as they lie in its file.
_TABLE: Final = ("plain", "class_ends", "classes", "class_m2")

#: Told how many stands are done and how many there are.
Told = Callable[[int, int], None]


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
        return self.parts_folder or self.output.with_name(f"{self.output.name}.parts")


def region_terrain(asked: Asked, engine: Callable[[], Engine], *, told: Told | None = None) -> RegionTerrain:
    """Work out the terrain of every stand of a layer and write it as a table.

    Parameters
    ----------
    asked
        What is wanted.
    engine
        Gives who does the work, once all that can be seen beforehand is in order.
    told
        Called as stands are done.

    Raises
    ------
    InputError
        A file, a layer or the elevation is unfit; stands whose outlines are unfit are listed. Nothing is written then.
    PlaceError
        The disk refused, a worker was lost again and again, or the scheduler is gone; what is whole stays.
    """
    began = time.perf_counter()
    write = writer_for(asked.output)
    refuse_to_write(asked.output, overwrite=asked.overwrite)
    with ExitStack() as stack:
        layer = stack.enter_context(open_big_layer(asked.units, layer=asked.layer))
        id_column = _id_column(layer, asked.id_column)
        elevation = _Elevations.of(asked.ground)
        folder = parts_folder(
            asked.folder,
            is_resumed=asked.is_resumed,
            overwrite=asked.overwrite,
            is_shared=asked.parts_folder is not None,
        )
        rules = rules_for(asked.ground.rules, is_south=_is_south(layer))
        parts, ids = _planned(layer, elevation, folder, asked, rules, id_column)
        doing = [part for part in parts if read_part(part.file) is None]
        done = sum(part.stands.count for part in parts) - sum(part.stands.count for part in doing)
        processor_s, faults = 0.0, []
        worker = engine()
        by_name = {part.name: part for part in doing}
        for task, answer in worker.run([part.task for part in doing]) if doing else ():
            processor_s += answer["processor_s"]
            done += by_name[task.name].stands.count
            faults += [_fault(row) for row in answer["faults"]]
            if told:
                told(done, layer.features)
        if faults:
            more = "" if len(faults) <= MOST_NAMED else f", {len(faults):,} in all"
            raise InputErrors(faults[:MOST_NAMED], where=f"{layer.where}{more}")
        sweep(folder, (part.file.name for part in parts))
        columns = _gathered(parts, layer.features, rules, ids)
        write_whole(
            asked.output,
            lambda path: write.rows(path, _rows(layer, columns, write), asked.units.stat().st_mtime),
            overwrite=asked.overwrite,
        )
    off = np.flatnonzero(columns["coverage_pct"] == 0)
    return RegionTerrain(
        stands=layer.features,
        off_stands=len(off),
        seconds=time.perf_counter() - began,
        processor_seconds=processor_s,
        workers=worker.workers,
        parts=len(parts),
        kept_parts=len(parts) - len(doing),
        retried=worker.retried,
        stands_per_core_second=sum(part.stands.count for part in doing) / processor_s if processor_s else None,
        written=str(asked.output),
        parts_folder=str(folder),
        faults=tuple(RegionFault(place=str(ids[at]), what="off the elevation: no figures") for at in off[:MOST_NAMED]),
        warnings=elevation.warnings,
    )


# --- planning -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Part:
    name: str
    file: Path
    stands: StandsFile
    task: Task


@dataclass(frozen=True, slots=True)
class _Elevations:
    """The elevation as one raster: a file, or a mosaic of which each part opens what it needs."""

    single: Path | None
    mosaic: Mosaic | None
    warnings: tuple[str, ...]

    @classmethod
    def of(cls, ground: Ground) -> _Elevations:
        if len(ground.tiles) == 1:
            return cls(ground.tiles[0], None, ())
        mosaic = mosaic_of(ground.tiles, vertical_unit=ground.vertical_unit)
        return cls(None, mosaic, mosaic.warnings)

    def of_part(self, folder: Path, reach: Window | None, factor: int) -> tuple[Path, list[Tile]]:
        """Return the raster that a part opens, written where need be, and the files whose content decides."""
        if self.single is not None:
            return self.single, [Tile(self.single, (0, 0, 0, 0), None, stamp_of(self.single))]
        mosaic = self.mosaic
        assert mosaic is not None
        source_reach = None if reach is None else tuple(side * factor for side in reach)
        tiles = mosaic.near(source_reach) or list(mosaic.tiles[:1])  # type: ignore[arg-type]
        path = folder / f"ground-{digest_of([tile.stamp for tile in tiles], mosaic.shape, mosaic.transform)}.vrt"
        if not path.exists():
            try:
                mosaic.write(path, tiles)
            except OSError as error:
                raise PlaceError("the list of tiles cannot be written", where=str(path), value=error) from error
        return path, tiles


def _id_column(layer: BigLayer, asked: str | None) -> str | None:
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


def _is_south(layer: BigLayer) -> bool:
    """Tell whether a layer lies south of the equator, by its middle."""
    west, south, east, north = layer.bounds
    middle = shapely.Point((west + east) / 2, (south + north) / 2)
    transformer = layer_transformer(layer.crs_text, layer.bounds, where=layer.where)
    lat = middle.y if transformer is None else transformer.transform(middle.x, middle.y)[1]
    return bool(lat < 0)


def _planned(
    layer: BigLayer, elevation: _Elevations, folder: Path, asked: Asked, rules: FaceRules, id_column: str | None
) -> tuple[list[_Part], NDArray[np.object_]]:
    """Sort the stands into parts, and return these and the stands' labels."""
    ground = asked.ground
    transformer = layer_transformer(layer.crs_text, layer.bounds, where=layer.where)
    raster, _ = elevation.of_part(folder, None, 1)
    ids = np.empty(layer.features, dtype=object)
    with open_elevation(raster, vertical_unit=ground.vertical_unit, analysis_cell_m=ground.analysis_cell_m) as dem:
        factor = max(1, round(dem.analysis_cell_m / dem.cell_m))
        sorter = Sorter(folder, side=max(1, asked.part_cells // factor), shape=dem.analysis_shape)
        for first, shapes_wkb, values in portions(layer, (id_column,) if id_column else ()):
            end = first + len(shapes_wkb)
            ids[first:end] = values[0] if values else np.arange(first + 1, end + 1)
            with np.errstate(invalid="ignore"):
                boxes = shapely.bounds(shapely.from_wkb(shapes_wkb, on_invalid="ignore"))
            corners = boxes.reshape(-1, 2, 2).reshape(-1, 2)
            lonlat = corners if transformer is None else np.column_stack(transformer.transform(*corners.T))
            sorter.add(first, shapes_wkb, dem.cell_of(lonlat).reshape(-1, 2, 2))
        unit = dem.vertical_unit
    about = {
        "crs_text": layer.crs_text, "bounds": layer.bounds, "where": layer.where, "vertical_unit": unit,
        "analysis_cell_m": ground.analysis_cell_m, "rules": asdict(rules),
    }  # fmt: skip
    decides = _deciding(rules)
    parts = []
    for stands in sorter.files():
        raster, tiles = elevation.of_part(folder, stands.reach, factor)
        name = digest_of(
            SUMS_VERSION, stands.digest, [tile.stamp for tile in tiles], unit, ground.analysis_cell_m, layer.crs_text,
            layer.bounds, decides,
        )  # fmt: skip
        file = folder / f"part-{name}.bin"
        stamps = [[str(tile.path), *tile.stamp] for tile in tiles]
        task = Task(name, do_part, (str(file), str(stands.path), str(raster), stamps, about))
        parts.append(_Part(name, file, stands, task))
    return parts, ids


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


# --- one part -----------------------------------------------------------------------------------------------


def do_part(file: str, stands: str, raster: str, stamps: list[list[Any]], about: dict[str, Any]) -> dict[str, Any]:
    """Do one part, wherever this runs, and write its file; return what it took and the stands that are unfit."""
    began = time.process_time()
    there = read_part(Path(stands))
    if there is None:
        raise PlaceError("the stands of a part are gone or damaged", where=stands, mend="begin anew, without --resume")
    numbers = there[1]["number"]
    check_tiles([Tile(Path(path), (0, 0, 0, 0), None, (name, size, at)) for path, name, size, at in stamps])
    layer_bounds = tuple(about["bounds"])
    transformer = layer_transformer(about["crs_text"], layer_bounds, where=about["where"])
    outlines, faults = lonlat_outlines(
        shapes_of(there[1]), transformer, where=lambda at: f"{about['where']}, feature {numbers[at] + 1}"
    )
    if faults:
        return {"processor_s": time.process_time() - began, "faults": [_said(fault) for fault in faults.values()]}
    own = framed(outlines)
    said = about["rules"]
    rules = FaceRules(**{**said, "sun_facing_deg": tuple(said["sun_facing_deg"])})
    with open_elevation(
        Path(raster), vertical_unit=about["vertical_unit"], analysis_cell_m=about["analysis_cell_m"]
    ) as dem:
        table = _summed(dem, list(own.lonlat), rules)
        cell_m = dem.analysis_cell_m
        warnings = dem.warnings
    covered = table.sums("covered_m2") > 0
    coarse = np.zeros(len(covered), dtype=np.bool_)
    coarse[covered] = are_too_coarse(own.planar[covered], cell_m=cell_m)
    arrays = {name: getattr(table, name) for name in _TABLE}
    arrays |= {"number": numbers, "area_m2": own.area_m2, "too_coarse": coarse}
    write_part(Path(file), {"cell_m": cell_m, "warnings": warnings}, arrays)
    return {"processor_s": time.process_time() - began, "faults": []}


def _summed(dem: Elevation, outlines: list[BaseGeometry], rules: FaceRules) -> ZoneTable:
    # One thread: there are as many workers as there are processors.
    return dem.zone_table(outlines, rules=rules, threads=1)


def _said(fault: HabmapError) -> dict[str, Any]:
    return {
        "what": fault.what,
        "where": fault.where,
        "value": fault.value,
        "allowed": fault.allowed,
        "mend": fault.mend,
    }


def _fault(said: dict[str, Any]) -> InputError:
    return InputError(said.pop("what"), **said)


# --- putting together ---------------------------------------------------------------------------------------


def _gathered(
    parts: Sequence[_Part], count: int, rules: FaceRules, ids: NDArray[np.object_]
) -> dict[str, NDArray[Any]]:
    """Return the columns of all stands, in the order of the layer."""
    columns: dict[str, NDArray[Any]] = {"unit_id": ids}
    for part in parts:
        whole = read_part(part.file)
        if whole is None:
            raise PlaceError("a part of the work is damaged", where=str(part.file), mend="go on with --resume")
        words, arrays = whole
        table = ZoneTable(*(arrays[name] for name in _TABLE))
        figures = figure_columns(table, unit_m2=arrays["area_m2"], rules=rules)
        figures["cells"] = arrays["area_m2"] / words["cell_m"] ** 2
        coarse = arrays["too_coarse"].astype(object)
        coarse[~(table.plain[:, PLAIN_SUMS.index("covered_m2")] > 0)] = None
        figures["too_coarse"] = coarse
        for name, values in figures.items():
            if name not in columns:
                columns[name] = np.full(count, None if values.dtype == object else np.nan, dtype=values.dtype)
            columns[name][arrays["number"]] = values
    return columns


def _rows(layer: BigLayer, columns: dict[str, NDArray[Any]], writer: Writer) -> Iterator[Portion]:
    """Yield the table portion by portion, each with its outlines in lon/lat where the file has any."""
    if not writer.has_shapes:
        yield columns, np.empty(0, dtype=object)
        return
    transformer = layer_transformer(layer.crs_text, layer.bounds, where=layer.where)
    for first, shapes_wkb, _ in portions(layer):
        outlines, _faults = lonlat_outlines(list(shapes_wkb), transformer, where=lambda at: layer.where)
        own = slice(first, first + len(shapes_wkb))
        yield {name: values[own] for name, values in columns.items()}, outlines
