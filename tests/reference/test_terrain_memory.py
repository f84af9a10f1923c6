"""A raster far larger than memory's share is worked within the bound that was promised."""

from __future__ import annotations

import json
import subprocess
import sys

import numpy as np
import pytest
import rasterio
from affine import Affine
from rasterio.windows import Window

SIDE = 20_000
#: The promise for a 20,000² raster with a dozen units, the map included.
LIMIT_MB = 600

WORK = """
import json, sys
import numpy as np
import shapely
from pathlib import Path
from habmap.land.grid import LocalGrid
from habmap.land.facerules import FaceRules
from habmap.work.terrain import terrain_figures
from habmap.place.elevation import open_elevation

grid = LocalGrid(38.0, -98.0)
units = [
    shapely.box(x, y, x + 400, y + 400) for x in (-9_000, -3_000, 3_000, 9_000) for y in (-8_000, 0, 8_000)
]
with open_elevation(Path(sys.argv[1]), vertical_unit=None, analysis_cell_m=10) as dem:
    lonlat = [grid.to_lonlat(unit) for unit in units]
    table = dem.zone_table(lonlat, rules=FaceRules())
    found = terrain_figures(table, unit_m2=np.full(len(table), 160_000.0), rules=FaceRules())
    coarse = dem.coarse_heights(tuple(shapely.total_bounds(lonlat)), 250_000) if sys.argv[2] == "coarse" else None
# Not getrusage: its peak starts with that of the process that started this one.
peak_kib = next(
    int(line.split()[1]) for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM")
)
print(json.dumps({
    "peak_mb": peak_kib / 1024, "slopes": [f.slope_mean_pct for f in found], "covered": [f.coverage_pct for f in found],
    "coarse": coarse and [coarse.heights_m.size, float(coarse.heights_m.min()), float(coarse.heights_m.max())],
}))
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads the peak memory from /proc")
@pytest.mark.parametrize(
    ("layout", "picture"),
    [({"tiled": True, "blockxsize": 512, "blockysize": 512}, "coarse"), ({"blockysize": 16}, "none")],
)
def test_huge_raster_stays_within_the_bound(tmp_path, layout, picture):
    # Sparse: only the middle 512 rows hold a plane of 10%; all other blocks are left out of the file, so GDAL gives
    # zeros, but every block is still read and decoded as any other.
    raster = tmp_path / "huge.tif"
    with rasterio.open(
        raster, "w", driver="GTiff", height=SIDE, width=SIDE, count=1, dtype="float32", compress="deflate",
        crs="+proj=laea +lat_0=38 +lon_0=-98 +datum=WGS84 +units=m", sparse_ok=True,
        transform=Affine(1, 0, -SIDE / 2, 0, -1, SIDE / 2), **layout,
    ) as target:  # fmt: skip
        strip = np.broadcast_to(np.arange(SIDE, dtype=np.float32) * np.float32(0.125), (1024, SIDE))
        target.write(strip, 1, window=Window(0, 9_216, SIDE, 1024))
        target.units = ("m",)
    told = subprocess.run(
        [sys.executable, "-c", WORK, str(raster), picture], check=True, capture_output=True, text=True, timeout=120
    )
    found = json.loads(told.stdout)
    assert found["peak_mb"] < LIMIT_MB
    assert found["covered"] == [100] * 12
    # The units in the middle lie on the plane, the others on the zeros.
    assert found["slopes"][1::3] == pytest.approx([12.5] * 4, abs=1e-3)
    assert found["slopes"][0::3] == [0] * 4
    if picture == "coarse":
        cells, low_m, high_m = found["coarse"]
        assert 0 < cells <= 250_000
        assert low_m == 0
        # The region ends 19,400 columns from the raster's western edge, at 0.125 m each.
        assert high_m == pytest.approx(0.125 * 19_400, rel=0.01)
