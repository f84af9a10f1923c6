"""A raster that the place points at is looked at anew each time: what lies there may have changed since (E5)."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, ClassVar

import numpy as np
import pytest
import rasterio
from affine import Affine
from fakes import GRID
from small_places import make_place, square

Run = Callable[..., Any]


class Listener(BaseHTTPRequestHandler):
    """Answers nothing and writes down who asked."""

    asked: ClassVar[list[str]] = []

    def do_GET(self) -> None:
        self.asked.append(self.path)
        self.send_error(404)

    def log_message(self, *_: object) -> None:
        pass


@pytest.fixture
def server() -> Iterator[str]:
    Listener.asked.clear()
    listening = ThreadingHTTPServer(("127.0.0.1", 0), Listener)
    thread = threading.Thread(target=listening.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{listening.server_port}"
    listening.shutdown()
    listening.server_close()
    thread.join()


def test_rank_and_map_ask_no_server_for_a_stored_raster(server: str, tmp_path: Path, run_habmap: Run) -> None:
    place = make_place(run_habmap, tmp_path / "place", [("1", square(0), {})])
    dem = tmp_path / "dem.tif"
    heights = np.add.outer(np.arange(60.0), np.arange(60.0)).astype("float32")
    with rasterio.open(
        dem, "w", driver="GTiff", width=60, height=60, count=1, dtype="float32", crs=GRID.crs.to_wkt(),
        transform=Affine(10, 0, -300, 0, -10, 300),
    ) as raster:  # fmt: skip
        raster.write(heights, 1)
    loaded = run_habmap("load", "dem", dem, "--vertical-unit", "m", place=place)
    assert loaded.code == 0, loaded.err
    assert run_habmap("rank", "--json", place=place).json["units"][0]["parts"]
    dem.write_text(
        f'<GDAL_WMS><Service name="TMS"><ServerUrl>{server}/${{z}}/${{x}}/${{y}}.tif</ServerUrl></Service><DataWindow>'
        "<UpperLeftX>-20037508</UpperLeftX><UpperLeftY>20037508</UpperLeftY><LowerRightX>20037508</LowerRightX>"
        "<LowerRightY>-20037508</LowerRightY><TileLevel>18</TileLevel></DataWindow><Projection>EPSG:3857</Projection>"
        "<BandsCount>1</BandsCount><DataType>Float32</DataType></GDAL_WMS>"
    )
    for command in (("rank",), ("terrain",), ("map", "-o", tmp_path / "map.html"), ("check",)):
        run_habmap(*command, place=place)
    assert Listener.asked == []
    refused = run_habmap("terrain", "--json", place=place)
    assert refused.code == 3 and "an elevation raster" in refused.json["what"]
