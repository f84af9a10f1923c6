"""A disk that refuses a file in the middle of it, told by the library of map layers in an error of its own."""

from __future__ import annotations

import errno
import io
import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pytest
import shapely
from pyogrio.errors import DataLayerError, DataSourceError, FeatureError

from habmap.errors import PlaceError
from habmap.place.writers import write_layer, write_whole
from habmap.region.folder import write_file
from habmap.region.output import LAYER, writer_for


@pytest.mark.parametrize("fault", [FeatureError, DataLayerError, DataSourceError])
def test_a_full_disk_under_a_layer_is_no_fault_of_the_program(tmp_path: Path, fault: type[Exception]) -> None:
    def write(path: Path) -> None:
        path.write_bytes(b"half")
        raise fault("database or disk is full")

    with pytest.raises(PlaceError, match="cannot be written"):
        write_whole(tmp_path / "units.gpkg", write, overwrite=False)
    assert list(tmp_path.iterdir()) == []


def test_a_layer_is_made_in_memory_and_comes_to_the_disk_in_one_write(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of 329 calls that failed in turn under GDAL's own writing, 172 were told as done, tables or counts left out."""
    asked, true_write = [], pyogrio.write_dataframe

    def write(frame: Any, target: object, **how: Any) -> None:
        asked.append(type(target))
        true_write(frame, target, **how)

    def refuse(_path: Path, _data: bytes) -> int:
        raise OSError(errno.EIO, "the disk fails")

    monkeypatch.setattr(pyogrio, "write_dataframe", write)
    done = tmp_path / "done.gpkg"
    write_layer(done, layer="units", rows=[{"unit_id": "A"}], shapes=[shapely.box(0, 0, 1, 1)])
    assert asked == [io.BytesIO]
    assert pyogrio.read_dataframe(done)["unit_id"].tolist() == ["A"]
    monkeypatch.setattr(Path, "write_bytes", refuse)
    with pytest.raises(PlaceError, match="cannot be written"):
        write_whole(
            tmp_path / "units.gpkg",
            lambda path: write_layer(path, layer="units", rows=[{"unit_id": "A"}], shapes=[shapely.box(0, 0, 1, 1)]),
            overwrite=False,
        )
    assert list(tmp_path.iterdir()) == [done]


@pytest.mark.parametrize(
    "left_out",
    [
        f"DROP TABLE rtree_{LAYER}_geom",
        "UPDATE gpkg_ogr_contents SET feature_count = 1",
        "UPDATE gpkg_ogr_contents SET feature_count = NULL",
        "UPDATE gpkg_contents SET max_x = 1",
        f"DROP TRIGGER trigger_delete_feature_count_{LAYER}",
        "",
    ],
)
def test_a_regions_layer_of_which_a_failing_disk_left_out_a_part_is_not_told_as_written(
    left_out: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each was left out by GDAL without a word when one of its calls failed."""
    grounds = {"a": shapely.box(0, 0, 1, 1), "b": shapely.box(1, 0, 2, 1)}
    portions = [({"id": np.array([name])}, shapely.multipolygons([[box]])) for name, box in grounds.items()]
    true_write: Callable[..., None] = pyogrio.write_dataframe

    def write(frame: Any, target: Path | io.BytesIO, **how: Any) -> None:
        true_write(frame, target, **how)
        if how.get("append"):
            with closing(sqlite3.connect(str(target))) as connection, connection:
                connection.executescript(left_out)

    monkeypatch.setattr(pyogrio, "write_dataframe", write)
    path = tmp_path / "r.gpkg"
    if not left_out:
        writer_for(path).rows(path, iter(portions), 0.0)
        assert pyogrio.read_dataframe(path)["id"].tolist() == ["a", "b"]
        return
    with pytest.raises(OSError, match=r"part of the layer|no such table"):
        writer_for(path).rows(path, iter(portions), 0.0)


def test_a_part_of_a_regions_work_is_on_the_disk_before_it_takes_its_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[str] = []
    true_sync, true_replace = os.fsync, Path.replace
    monkeypatch.setattr(os, "fsync", lambda number: (done.append("synced"), true_sync(number))[1])
    monkeypatch.setattr(Path, "replace", lambda path, to: (done.append("there"), true_replace(path, to))[1])
    write_file(tmp_path / "part-1.bin", [b"a", b"b"])
    assert done == ["synced", "there"]
    assert (tmp_path / "part-1.bin").read_bytes() == b"ab"
