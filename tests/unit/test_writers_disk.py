"""A disk that refuses a file in the middle of it, told by the library of map layers in an error of its own."""

from __future__ import annotations

from pathlib import Path

import pytest
from pyogrio.errors import DataLayerError, DataSourceError, FeatureError

from habmap.errors import PlaceError
from habmap.place.writers import write_whole


@pytest.mark.parametrize("fault", [FeatureError, DataLayerError, DataSourceError])
def test_a_full_disk_under_a_layer_is_no_fault_of_the_program(tmp_path: Path, fault: type[Exception]) -> None:
    def write(path: Path) -> None:
        path.write_bytes(b"half")
        raise fault("database or disk is full")

    with pytest.raises(PlaceError, match="cannot be written"):
        write_whole(tmp_path / "units.gpkg", write, overwrite=False)
    assert list(tmp_path.iterdir()) == []
