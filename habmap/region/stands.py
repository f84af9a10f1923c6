"""Stands of a layer, sorted into parts by where they lie, and turned into lon/lat outlines."""

from __future__ import annotations

import hashlib
import itertools
import os
import tempfile
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import Transformer

from habmap.errors import InputError, PlaceError
from habmap.place.layers import BigLayer
from habmap.place.shapes import WIDEST_SPAN_DEG, as_ground, as_valid, lonlat_shape
from habmap.region.folder import write_part

#: Rows read from a layer at once, and bytes of sorted shapes held before they go to the disk.
ROWS_AT_ONCE: Final = 20_000
_HELD_BYTES: Final = 100_000_000
#: Most stands of one part: what a worker holds at a time.
MOST_STANDS: Final = 4_000
#: Longitudes beyond this are looked at one by one: the 180° meridian may run through [°].
_PLAIN_LON_DEG: Final = 179.0

Floats = NDArray[np.float64]


def portions(layer: BigLayer, columns: tuple[str, ...] = ()) -> Iterator[tuple[int, NDArray[Any], list[NDArray[Any]]]]:
    """Yield the first row's number, shapes as WKB, and columns, portion by portion."""
    for first in range(0, layer.features, ROWS_AT_ONCE):
        shapes_wkb, values = layer.rows(first, ROWS_AT_ONCE, columns=columns)
        yield first, shapes_wkb, values


@dataclass(frozen=True, slots=True)
class StandsFile:
    """Stands of one part on disk: the file, how many, what identifies them, and the cells that they reach over."""

    path: Path
    count: int
    digest: str
    reach: tuple[int, int, int, int] | None


@contextmanager
def sorting(folder: Path, *, side: int, shape: tuple[int, int]) -> Iterator[Sorter]:
    """Give a sorter of stands into parts.

    What it sets down on the disk has no name: nothing of it is left whatever ends the work, and two runs may sort in
    one folder.
    """
    with ExitStack() as stack:
        try:
            spool = stack.enter_context(tempfile.TemporaryFile(dir=folder))
        except OSError as error:
            raise _unsorted(folder, error) from error
        yield Sorter(folder, spool, side=side, shape=shape)


def _unsorted(folder: Path, error: OSError) -> PlaceError:
    mend = "make room on the disk, then begin again"
    return PlaceError("the stands cannot be sorted", where=str(folder), value=error, mend=mend)


class Sorter:
    """Sorts stands into parts while they are read, in bounded memory."""

    def __init__(self, folder: Path, spool: IO[bytes], *, side: int, shape: tuple[int, int]) -> None:
        self._folder, self._side, self._shape = folder, side, shape
        self._held: dict[tuple[int, int], list[tuple[int, bytes]]] = defaultdict(list)
        self._held_bytes = 0
        self._reach: dict[tuple[int, int], Floats] = {}
        self._spool = spool
        self._spooled: dict[tuple[int, int], list[tuple[int, int]]] = defaultdict(list)

    def add(self, first: int, shapes_wkb: NDArray[Any], cells: Floats) -> None:
        """Take shapes whose boxes have these corners, shape ``(rows, 2, 2)`` [analysis cells: column, row]."""
        middle = np.nan_to_num(cells.mean(axis=1), nan=0.0)
        places = np.column_stack([
            np.clip(middle[:, 1], 0, self._shape[0] - 1) // self._side,
            np.clip(middle[:, 0], 0, self._shape[1] - 1) // self._side,
        ]).astype(np.int64).tolist()  # fmt: skip
        for at, (wkb, place) in enumerate(zip(shapes_wkb, places, strict=True)):
            key = (place[0], place[1])
            own = b"" if wkb is None else bytes(wkb)
            self._held[key].append((first + at, own))
            self._held_bytes += len(own)
            box = np.concatenate([np.fmin.reduce(cells[at]), np.fmax.reduce(cells[at])])
            known = self._reach.get(key)
            self._reach[key] = (
                box if known is None else np.concatenate([np.fmin(known[:2], box[:2]), np.fmax(known[2:], box[2:])])
            )
        if self._held_bytes > _HELD_BYTES:
            self._flush()

    def _flush(self) -> None:
        try:
            for place, rows in self._held.items():
                data = b"".join(
                    number.to_bytes(8, "little") + len(wkb).to_bytes(8, "little") + wkb for number, wkb in rows
                )
                self._spooled[place].append((self._spool.seek(0, os.SEEK_END), len(data)))
                self._spool.write(data)
            self._spool.flush()
        except OSError as error:
            raise _unsorted(self._folder, error) from error
        self._held.clear()
        self._held_bytes = 0

    def _rows(self, place: tuple[int, int]) -> bytes:
        found = []
        for start, size in self._spooled[place]:
            self._spool.seek(start)
            found.append(self._spool.read(size))
        return b"".join(found)

    def files(self) -> list[StandsFile]:
        """Write the parts' stands, in the order of their places, and return what was written."""
        self._flush()
        found = []
        try:
            for place in sorted(self._reach):
                data = self._rows(place)
                numbers, shapes = [], []
                at = 0
                while at < len(data):
                    size = int.from_bytes(data[at + 8 : at + 16], "little")
                    numbers.append(int.from_bytes(data[at : at + 8], "little"))
                    shapes.append(data[at + 16 : at + 16 + size])
                    at += 16 + size
                reach = self._reach[place]
                window = (
                    None
                    if np.isnan(reach).any()
                    else (int(reach[1]), int(reach[0]), int(reach[3]) + 1, int(reach[2]) + 1)
                )
                for start in range(0, len(numbers), MOST_STANDS):
                    own = slice(start, start + MOST_STANDS)
                    found.append(self._written(numbers[own], shapes[own], window))
        except OSError as error:
            raise _unsorted(self._folder, error) from error
        return found

    def _written(self, numbers: list[int], shapes: list[bytes], reach: tuple[int, int, int, int] | None) -> StandsFile:
        joined = b"".join(shapes)
        lengths = np.array([len(shape) for shape in shapes], dtype=np.int64)
        number = np.array(numbers, dtype=np.int64)
        digest = hashlib.sha256(number.tobytes() + lengths.tobytes() + joined).hexdigest()[:32]
        path = self._folder / f"stands-{digest}.bin"
        if not path.exists():
            arrays: dict[str, NDArray[Any]] = {
                "number": number,
                "length": lengths,
                "wkb": np.frombuffer(joined, dtype=np.uint8),
            }
            write_part(path, {}, arrays)
        return StandsFile(path, len(numbers), digest, reach)


def shapes_of(arrays: dict[str, NDArray[Any]]) -> list[bytes | None]:
    """Return the shapes of a stands file as WKB; ``None`` where a row has none."""
    ends = np.concatenate([[0], np.cumsum(arrays["length"])])
    whole = arrays["wkb"].tobytes()
    return [whole[first:end] or None for first, end in itertools.pairwise(ends.tolist())]


def lonlat_outlines(
    shapes_wkb: list[bytes | None], transformer: Transformer | None, *, where: Callable[[int], str]
) -> tuple[NDArray[np.object_], dict[int, InputError]]:
    """Return outlines in lon/lat [°] as loading units gives them, and what is wrong with those that are none.

    Parameters
    ----------
    shapes_wkb
        Shapes in the layer's own coordinates.
    transformer
        What turns them; ``None``: they are lon/lat.
    where
        Names a row by its place in the list, for messages.
    """
    found = np.full(len(shapes_wkb), shapely.Polygon(), dtype=object)
    faults: dict[int, InputError] = {}
    with np.errstate(invalid="ignore"):
        shapes = shapely.from_wkb(np.array(shapes_wkb, dtype=object), on_invalid="ignore")
    plain = np.isin(shapely.get_type_id(shapes), (3, 6)) & ~shapely.is_empty(shapes) & shapely.is_valid(shapes)
    plain &= ~shapely.has_z(shapes)
    turned = shapes.copy()
    if transformer is not None and plain.any():
        turned[plain] = shapely.transform(
            shapes[plain], lambda xy: np.column_stack(transformer.transform(xy[:, 0], xy[:, 1]))
        )
    bounds = shapely.bounds(turned)
    plain &= np.isfinite(bounds).all(axis=1) & (np.abs(bounds[:, [0, 2]]) < _PLAIN_LON_DEG).all(axis=1)
    plain &= (np.abs(bounds[:, [1, 3]]) <= 90).all(axis=1) & (bounds[:, 2] - bounds[:, 0] < WIDEST_SPAN_DEG)
    plain[plain] &= shapely.is_valid(turned[plain])
    found[plain] = turned[plain]
    for at in np.flatnonzero(~plain):
        # One by one, as the few of a property are: what is wrong is said in the same words.
        try:
            shape = lonlat_shape(shapes_wkb[at], transformer, where=where(int(at)))
            found[at] = as_valid(as_ground(shape, where=where(int(at))), where=where(int(at)), repair=None, repaired=[])
        except InputError as fault:
            faults[int(at)] = fault
    single = shapely.get_type_id(found) == 3
    found[single] = shapely.multipolygons(found[single][:, None])
    return found, faults
