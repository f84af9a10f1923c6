"""The elevation of a region: one raster, or many tiles laid side by side as one."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from habmap.errors import InputError, InputErrors, PlaceError
from habmap.measures import VerticalUnit
from habmap.place.groundraster import open_source
from habmap.place.rasterfile import checked_crs
from habmap.place.vertical import file_vertical_unit
from habmap.region.folder import digest_of, write_file

#: How far a tile's corner may lie off the others' cells, and its cells differ in size [cells].
OFF_GRID_CELLS: Final = 1e-3
#: What stands for "no height" in a mosaic whose tiles name different numbers.
_NODATA: Final = -3.0e38
#: Cells that a part may reach beyond the stands it was cut for.
_EDGE_CELLS: Final = 64
_KINDS: Final = {"float32": "Float32", "float64": "Float64"}

Window = tuple[int, int, int, int]


@dataclass(frozen=True, slots=True)
class Tile:
    """One file of a mosaic: where its cells lie in it, and what identifies the file."""

    path: Path
    window: Window
    nodata: float | None
    stamp: tuple[str, int, int]


@dataclass(frozen=True, slots=True)
class Mosaic:
    """Tiles on one grid, as one raster.

    Attributes
    ----------
    tiles
        The first named lies on top.
    shape, transform, crs_wkt
        Rows and columns, the six numbers of its position (GDAL's order), its coordinate system.
    dtype, unit, block
        Of the heights as they are stored, and the blocks of the first tile.
    warnings
        What a person should know.
    """

    tiles: tuple[Tile, ...]
    shape: tuple[int, int]
    transform: tuple[float, ...]
    crs_wkt: str
    dtype: str
    unit: str
    block: tuple[int, int]
    warnings: tuple[str, ...]

    def near(self, window: Window | None) -> list[Tile]:
        """Return the tiles that a window touches, `_EDGE_CELLS` around it; ``None``: all."""
        if window is None:
            return list(self.tiles)
        top, left, bottom, right = window
        return [
            tile
            for tile in self.tiles
            if tile.window[0] < bottom + _EDGE_CELLS and tile.window[2] > top - _EDGE_CELLS
            and tile.window[1] < right + _EDGE_CELLS and tile.window[3] > left - _EDGE_CELLS
        ]  # fmt: skip

    def write(self, folder: Path, tiles: Sequence[Tile]) -> Path:
        """Write the mosaic of some of its tiles as a list of rasters (GDAL's VRT) over links beside it; return it.

        Links and list are named by what they lead to and say: other runs may keep theirs in the same folder.
        """
        links = folder / "tiles"
        links.mkdir(exist_ok=True)
        sources = []
        for tile in reversed(tiles):  # what is written later lies on top
            link = links / f"{digest_of(tile.stamp[0])}.tif"
            if not link.is_symlink():
                with suppress(FileExistsError):
                    link.symlink_to(tile.stamp[0])
            top, left, bottom, right = tile.window
            high, wide = bottom - top, right - left
            inside = "" if tile.nodata is None else f"<NODATA>{tile.nodata!r}</NODATA>"
            kind = "SimpleSource" if tile.nodata is None else "ComplexSource"
            sources.append(
                f'<{kind}><SourceFilename relativeToVRT="1">tiles/{link.name}</SourceFilename>'
                f"<SourceBand>1</SourceBand>"
                f'<SrcRect xOff="0" yOff="0" xSize="{wide}" ySize="{high}"/>'
                f'<DstRect xOff="{left}" yOff="{top}" xSize="{wide}" ySize="{high}"/>{inside}</{kind}>\n'
            )
        rows, cols = self.shape
        data = (
            f'<VRTDataset rasterXSize="{cols}" rasterYSize="{rows}">\n<SRS>{escape(self.crs_wkt)}</SRS>\n'
            f"<GeoTransform>{', '.join(map(repr, self.transform))}</GeoTransform>\n"
            f'<VRTRasterBand dataType={quoteattr(_KINDS[self.dtype])} band="1" blockXSize="{self.block[1]}" '
            f'blockYSize="{self.block[0]}">\n<NoDataValue>{_NODATA!r}</NoDataValue>\n'
            f"<UnitType>{escape(self.unit)}</UnitType>\n{''.join(sources)}</VRTRasterBand>\n</VRTDataset>\n"
        ).encode()
        path = folder / f"ground-{hashlib.sha256(data).hexdigest()[:32]}.vrt"
        if not path.exists() or path.read_bytes() != data:
            write_file(path, [data])
        return path


def stamp_of(path: Path) -> tuple[str, int, int]:
    """Return what tells whether a file is still the same: its path, size and time of change."""
    status = path.stat()
    return str(path.resolve()), status.st_size, status.st_mtime_ns


def mosaic_of(paths: Sequence[Path], *, vertical_unit: VerticalUnit | None) -> Mosaic:
    """Lay elevation tiles side by side.

    Raises
    ------
    InputErrors
        Tiles lie in other coordinate systems, on other grids or in other units than most; each is named.
    InputError
        A tile cannot be read, or nobody said in which unit its heights are.
    """
    looked = [_looked_at(path, vertical_unit) for path in paths]
    faults: list[InputError] = []
    for what, of in (
        ("lies in another coordinate system", lambda one: one["crs"]),
        ("has its heights in another unit", lambda one: one["unit"]),
        ("has cells of another size or turn", lambda one: tuple(np.round(one["steps"], 9))),
    ):
        common, _ = Counter(of(one) for one in looked).most_common(1)[0]
        faults += [
            InputError(
                f"this elevation tile {what} than the others",
                where=str(one["path"]),
                value=one["crs_name"] if "coordinate" in what else of(one),
                mend="leave it out, or save it like the others",
            )
            for one in looked
            if of(one) != common
        ]
        if faults:
            raise InputErrors(faults, where=f"{len(faults)} of {len(looked)} elevation tiles")
    a, b, d, e = looked[0]["steps"]
    step = np.array([[a, b], [d, e]])
    corners = np.array([np.linalg.solve(step, one["corner"] - looked[0]["corner"]) for one in looked])
    off = np.abs(corners - np.round(corners)).max(axis=1)
    faults = [
        InputError(
            "this elevation tile's cells do not lie on those of the first",
            where=str(one["path"]),
            value=f"off by {share:.3f} cells",
            mend="leave it out, or save it on the same grid",
        )
        for one, share in zip(looked, off, strict=True)
        if share > OFF_GRID_CELLS
    ]
    if faults:
        raise InputErrors(faults, where=f"{len(faults)} of {len(looked)} elevation tiles")
    places = np.round(corners).astype(np.int64)
    places -= places.min(axis=0)
    windows: list[Window] = [
        (int(row), int(col), int(row) + one["shape"][0], int(col) + one["shape"][1])
        for (col, row), one in zip(places, looked, strict=True)
    ]
    origin = looked[0]["corner"] - step @ (places[0])
    tiles = tuple(
        Tile(one["path"], window, one["nodata"], stamp_of(one["path"]))
        for one, window in zip(looked, windows, strict=True)
    )
    is_wide = any(one["dtype"] not in ("float32", "int16", "uint16", "uint8", "int8") for one in looked)
    return Mosaic(
        tiles=tiles,
        shape=(max(window[2] for window in windows), max(window[3] for window in windows)),
        transform=(float(origin[0]), a, b, float(origin[1]), d, e),
        crs_wkt=looked[0]["wkt"],
        dtype="float64" if is_wide else "float32",
        unit=looked[0]["unit"],
        block=looked[0]["block"],
        warnings=_overlaps(tiles),
    )


def _looked_at(path: Path, vertical_unit: VerticalUnit | None) -> dict[str, Any]:
    with open_source(path, kind="an elevation tile") as source:
        crs = checked_crs(source, path)
        unit, _ = file_vertical_unit(source.units[0], crs, said=vertical_unit, where=str(path))
        if (source.scales[0], source.offsets[0]) != (1.0, 0.0) or source.driver != "GTiff":
            raise InputError(
                "a tile beside others must be a plain GeoTIFF",
                where=str(path),
                value=source.driver,
                mend="save it as GeoTIFF with its heights as they are, or give a .vrt of them all",
            )
        t = source.transform
        return {
            "path": path, "crs": crs.to_wkt(), "crs_name": crs.name, "wkt": source.crs.to_wkt(), "unit": unit,
            "steps": (t.a, t.b, t.d, t.e), "corner": np.array([t.c, t.f]), "shape": (source.height, source.width),
            "nodata": source.nodata, "dtype": source.dtypes[0], "block": tuple(source.block_shapes[0]),
        }  # fmt: skip


def _overlaps(tiles: Sequence[Tile]) -> tuple[str, ...]:
    """Say which tiles lie over each other; the first named counts."""
    order = sorted(range(len(tiles)), key=lambda at: tiles[at].window[0])
    pairs = []
    for number, at in enumerate(order):
        one = tiles[at].window
        for other_at in order[number + 1 :]:
            other = tiles[other_at].window
            if other[0] >= one[2]:
                break
            if other[1] < one[3] and other[3] > one[1]:
                pairs.append(sorted((at, other_at)))
    if not pairs:
        return ()
    first, second = (tiles[at].path.name for at in min(pairs))
    more = "" if len(pairs) == 1 else f", and {len(pairs) - 1} more pairs"
    return (f"elevation tiles lie over each other, and there the first named counts: {first} over {second}{more}",)


def check_tiles(tiles: Sequence[Tile]) -> None:
    """See that tiles are what they were when the work was planned.

    Raises
    ------
    PlaceError
        One has changed, or is gone.
    """
    for tile in tiles:
        with PlaceError(
            "an elevation tile is gone", where=str(tile.path), mend="bring the tile back, or name the tiles anew"
        ).instead_of(OSError):
            is_same = stamp_of(tile.path) == tile.stamp
        if not is_same:
            raise PlaceError(
                "an elevation tile has changed since the work began", where=str(tile.path), mend="begin anew"
            )
