"""Terrain of any number of stands: sorted into parts, done by whoever is there, put together whole."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from habmap.errors import HabmapError, InputError, InputErrors, PlaceError
from habmap.land.facerules import FaceRules
from habmap.land.frames import framed
from habmap.land.shares import are_too_coarse
from habmap.land.zones import ZoneTable
from habmap.place.elevation import Elevation, open_elevation
from habmap.place.layers import BigLayer, layer_transformer, open_big_layer
from habmap.place.writers import refuse_to_write, write_whole
from habmap.region.dem import Tile, check_tiles
from habmap.region.engine import Engine
from habmap.region.folder import forgotten_if_refused, parts_folder, read_part, sweep, write_part
from habmap.region.output import Portion, Writer, writer_for
from habmap.region.plan import Asked, Elevations, Part, id_column_of, is_south, planned
from habmap.region.records import MOST_NAMED, RegionTerrain
from habmap.region.stands import lonlat_outlines, portions, shapes_of
from habmap.work.region_account import RegionFault
from habmap.work.terrain import figure_columns, rules_for

#: The sums of a part as they lie in its file.
_TABLE: Final = ("plain", "class_ends", "classes", "class_m2")

#: Told how many stands are done and how many there are.
Told = Callable[[int, int], None]


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
        id_column = id_column_of(layer, asked.id_column)
        elevation = Elevations.of(asked.ground)
        folder = parts_folder(
            asked.folder,
            is_resumed=asked.is_resumed,
            overwrite=asked.overwrite,
            is_shared=asked.parts_folder is not None,
        )
        stack.enter_context(forgotten_if_refused(folder))
        rules = rules_for(asked.ground.rules, is_south=is_south(layer))
        parts, ids = planned(layer, elevation, folder, asked, rules, id_column, do_part)
        columns = {"unit_id": ids}
        doing = [part for part in parts if not _took(columns, part, layer.features, rules)]
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
        sweep(folder)
        for part in doing:
            if not _took(columns, part, layer.features, rules):
                raise PlaceError("a part of the work is damaged", where=str(part.file), mend="go on with --resume")
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


# --- one part -----------------------------------------------------------------------------------------------


def do_part(file: str, stands: str, raster: str, stamps: list[list[Any]], about: dict[str, Any]) -> dict[str, Any]:
    """Do one part, wherever this runs, and write its file; return what it took and the stands that are unfit."""
    began = time.process_time()
    there = read_part(Path(stands))
    if there is None:
        raise PlaceError(
            "the stands of a part are gone or damaged", where=stands, mend="delete this file, then go on with --resume"
        )
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
    return dem.zone_table(outlines, rules=rules, threads=1).table()


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


def _took(columns: dict[str, NDArray[Any]], part: Part, count: int, rules: FaceRules) -> bool:
    """Fill in a part's stands of the columns of all, in the order of the layer; false where it is not there whole."""
    whole = read_part(part.file)
    if whole is None:
        return False
    words, arrays = whole
    table = ZoneTable(*(arrays[name] for name in _TABLE))
    figures = figure_columns(table, unit_m2=arrays["area_m2"], rules=rules)
    figures["cells"] = arrays["area_m2"] / words["cell_m"] ** 2
    coarse = arrays["too_coarse"].astype(object)
    coarse[~(table.sums("covered_m2") > 0)] = None
    figures["too_coarse"] = coarse
    for name, values in figures.items():
        if name not in columns:
            columns[name] = np.full(count, None if values.dtype == object else np.nan, dtype=values.dtype)
        columns[name][arrays["number"]] = values
    return True


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
