"""Crown cover from rasters of nine cells, checked by hand, and from the density job that reads them."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from fakes import GRID, FakeStore, unit

from habmap.errors import InputError
from habmap.jobs.density import density
from habmap.jobs.load.layers import load_canopy
from habmap.land.cover import CoverSums, cover_sums
from habmap.place.canopy import open_canopy
from habmap.records import Plot

NOW = datetime(2026, 3, 1, tzinfo=UTC)
#: Meters; the middle row and the north-west corner stand at 3 m, the north-east one is not known.
HEIGHTS = np.array([[3.0, 0.0, np.nan], [3.0, 3.0, 3.0], [1.0, 0.0, 0.0]])


def sums(shape: shapely.Geometry, *, limit_m: float = 2.0, heights: np.ndarray = HEIGHTS) -> CoverSums:
    """Sum a shape drawn in cells: x = column, y = −row."""
    (found,) = cover_sums(heights, [shapely.to_wkb(shape)], first_row=0, first_col=0, cell_m2=100.0, limit_m=limit_m)
    return found


def test_whole_cells_and_the_hole() -> None:
    found = sums(shapely.box(0, -3, 3, 0))
    assert (found.covered_m2, found.tall_m2) == (800.0, 400.0)
    assert found.canopy_pct == 50.0
    assert found.coverage_pct(unit_m2=900) == pytest.approx(100 * 8 / 9)


def test_cut_cells_count_by_their_share() -> None:
    # half a cell of every side: 1 m² of the middle cell, halves of its four neighbors, quarters of the corners
    found = sums(shapely.box(0.5, -2.5, 2.5, -0.5))
    # tall: middle 1, west ½, east ½, north-west ¼; known: 4 less the quarter of the hole
    assert found.tall_m2 == pytest.approx(225)
    assert found.covered_m2 == pytest.approx(375)
    assert found.canopy_pct == pytest.approx(60)


def test_a_triangle_cuts_cells_aslant() -> None:
    # the half of the middle cell below its diagonal, nothing else
    found = sums(shapely.Polygon([(1, -2), (2, -2), (1, -1)]))
    assert (found.covered_m2, found.tall_m2) == (pytest.approx(50), pytest.approx(50))


def test_a_unit_partly_off_the_raster() -> None:
    found = sums(shapely.box(-3, -2, 3, -1))
    assert found.canopy_pct == 100.0
    assert found.coverage_pct(unit_m2=600) == pytest.approx(50)


def test_exactly_at_the_limit_counts_whatever_the_float() -> None:
    limit_m = 6 * 0.3048
    for dtype in (np.float32, np.float64):
        assert sums(shapely.box(0, -3, 3, 0), limit_m=limit_m, heights=np.full((3, 3), 1.8288, dtype)).canopy_pct == 100
    assert sums(shapely.box(0, -3, 3, 0), limit_m=limit_m, heights=np.full((3, 3), 1.8287)).canopy_pct == 0


def test_pieces_add_up() -> None:
    whole, left, right = (sums(shapely.box(a, -3, b, 0)) for a, b in ((0, 3), (0, 1.3), (1.3, 3)))
    both = left + right
    assert (both.covered_m2, both.tall_m2) == (pytest.approx(whole.covered_m2), pytest.approx(whole.tall_m2))


# --- files --------------------------------------------------------------------------------------------------


def write(path: Path, heights: np.ndarray = HEIGHTS, *, unit_name: str | None = "metre", **profile: object) -> Path:
    options = {
        "driver": "GTiff", "height": 3, "width": 3, "count": 1, "dtype": heights.dtype, "nodata": np.nan,
        "crs": GRID.crs.to_wkt(), "transform": Affine(10, 0, -15, 0, -10, 15),
    }  # fmt: skip
    with rasterio.open(path, "w", **(options | profile)) as target:
        target.write(heights, 1)
        if unit_name:
            target.units = (unit_name,)
    return path


def place_with(path: Path, shape: shapely.Geometry, *, vertical_unit: str | None = None, **fields: object) -> FakeStore:
    store = FakeStore([unit("C1", shape, **fields)], grid=GRID)
    load_canopy(store, path=path, vertical_unit=vertical_unit, copy_into=None, overwrite=False, now=NOW)
    return store


NINE = shapely.box(-15, -15, 15, 15)


@pytest.mark.parametrize(
    ("per_m", "name", "said"), [(1, "metre", None), (1 / 0.3048, "foot", None), (3.28084, None, "ft")]
)
def test_metres_and_feet_say_the_same(tmp_path: Path, per_m: float, name: str | None, said: str | None) -> None:
    raster = write(tmp_path / "c.tif", HEIGHTS * per_m, unit_name=name)
    (line,) = density(place_with(raster, NINE, vertical_unit=said)).units
    assert line.canopy_pct == pytest.approx(50, abs=1e-4)
    assert line.canopy_coverage_pct == pytest.approx(100 * 8 / 9, abs=1e-4)
    assert "6 ft and above" in line.rests_on and "only 89% of the unit" in line.rests_on
    assert "its cells are too coarse for so small a unit" in line.rests_on  # nine cells


def test_nobody_said_the_unit(tmp_path: Path) -> None:
    raster = write(tmp_path / "c.tif", unit_name=None)
    with pytest.raises(InputError, match="does not say in which unit"):
        place_with(raster, NINE)


def test_wrong_unit_is_pointed_out(tmp_path: Path) -> None:
    raster = write(tmp_path / "c.tif", np.full((3, 3), 200.0))
    with open_canopy(raster, vertical_unit=None) as canopy:
        canopy.cover([GRID.to_lonlat(NINE)], limit_m=2.0)
        assert "which no canopy has" in " ".join(canopy.warnings)


def test_tiles_are_seamless(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    raster = write(tmp_path / "c.tif")
    shape = GRID.to_lonlat(shapely.Point(1, 2).buffer(12))
    with open_canopy(raster, vertical_unit=None) as canopy:
        (whole,) = canopy.cover([shape], limit_m=2.0)
    monkeypatch.setattr("habmap.place.groundraster.READ_CELLS", 1)
    with open_canopy(raster, vertical_unit=None) as canopy:
        (tiled,) = canopy.cover([shape], limit_m=2.0)
    assert tiled.covered_m2 == pytest.approx(whole.covered_m2, rel=1e-6)
    assert tiled.tall_m2 == pytest.approx(whole.tall_m2, rel=1e-6)


def test_off_every_unit_is_refused_and_a_second_needs_overwrite(tmp_path: Path) -> None:
    raster = write(tmp_path / "c.tif")
    with pytest.raises(InputError, match="covers none of the units"):
        place_with(raster, shapely.box(900, 900, 950, 950))
    store = place_with(raster, NINE)
    with pytest.raises(InputError, match="canopy raster already"):
        load_canopy(store, path=raster, vertical_unit=None, copy_into=None, overwrite=False, now=NOW)
    load_canopy(store, path=raster, vertical_unit=None, copy_into=None, overwrite=True, now=NOW)


@pytest.mark.parametrize(
    ("tall_rows", "reach_m", "dense"),
    [
        (3, 15, True),  # all of it covered, all tall
        (3, 60, None),  # 40% covered and all of that tall; the rest is not known
        (0, 16, False),  # nearly all covered and bare: the rest cannot reach half
    ],
)
def test_half_seen_ground_is_dense_only_where_the_rest_cannot_turn_it(
    tmp_path: Path, tall_rows: int, reach_m: float, dense: bool | None
) -> None:
    heights = np.zeros((3, 3))
    heights[:tall_rows] = 3.0
    (line,) = density(place_with(write(tmp_path / "c.tif", heights), shapely.box(-15, -15, reach_m, 15))).units
    assert line.dense is dense


def test_lines_come_before_the_raster_and_the_raster_before_the_outline(tmp_path: Path) -> None:
    store = place_with(write(tmp_path / "c.tif"), NINE, canopy_pct=77.0)
    assert density(store).units[0].canopy_pct == pytest.approx(50)
    line = Plot(uuid="l", plot_id="l", method="line", unit_id="C1", line_ft=100, intercepts_ft=(40.0,), recorded_at=NOW)
    store.append([line])
    found = density(store).units[0]
    assert (found.canopy_pct, found.canopy_coverage_pct) == (40.0, None)
    assert found.rests_on == "crown cover from 1 line, 100 ft together"


# --- strata -------------------------------------------------------------------------------------------------


def fixed(name: str, unit_id: str, stems: int, stratum: str | None = None) -> Plot:
    return Plot(
        uuid=name, plot_id=name, method="fixed", unit_id=unit_id, plot_acres=0.1, stems=stems, stratum=stratum,
        recorded_at=NOW,
    )  # fmt: skip


def test_strata_are_weighted_by_the_acres_of_their_units() -> None:
    store = FakeStore(
        [
            unit("A", shapely.box(0, 0, 300, 100), stratum="thick"),
            unit("B", shapely.box(300, 0, 400, 100), stratum="thin"),
            unit("C", shapely.box(400, 0, 500, 100), stratum="unseen"),
            *(fixed(f"a{i}", "A", stems, "thick") for i, stems in enumerate([39, 41])),
            *(fixed(f"b{i}", "B", stems, "thin") for i, stems in enumerate([19, 21])),
        ],
        grid=GRID,
    )
    whole = density(store).whole_property
    assert whole is not None
    # 400 and 200 stems an acre on ¾ and ¼ of the ground: 350. Each stratum: s 14.142 per acre, SE 10;
    # SE together √(¾²·100 + ¼²·100) = 7.906; Satterthwaite df (0.5625 + 0.0625)²/(0.5625² + 0.0625²) = 1.2195
    # (Cochran 1977, 5.4 from memory). Plots cover less than 5% of 7.4 acres, 8% of 2.5 acres.
    assert whole.stems_per_acre == pytest.approx(350, abs=1e-6)
    assert whole.acres == pytest.approx(40_000 / 4046.8564224, rel=1e-6)
    assert whole.acres_without_plots == pytest.approx(10_000 / 4046.8564224, rel=1e-6)
    assert [(part.stratum, part.plots) for part in whole.strata] == [("thick", 2), ("thin", 2)]
    assert whole.stems_per_acre_ci95_low is not None and whole.stems_per_acre_ci95_low < 350
    assert "no sampled stratum" in whole.rests_on


def test_a_plot_counts_in_the_stratum_it_names() -> None:
    store = FakeStore(
        [
            unit("A", shapely.box(0, 0, 100, 100), stratum="thick"),
            unit("B", shapely.box(100, 0, 200, 100), stratum="thin"),
            fixed("a", "A", 40, "thick"),
            fixed("x", "A", 12, "thin"),
            fixed("b", "B", 8, "thin"),
        ],
        grid=GRID,
    )
    found = density(store)
    assert found.whole_property is not None
    assert found.whole_property.stems_per_acre == pytest.approx((400 + 100) / 2)
    assert "1 plot counted in the stratum named there" in found.whole_property.rests_on
    # within unit A the strata have no known size: all plots alike, and it says so
    assert found.units[0].stems_per_acre == pytest.approx((40 + 12) / 0.2)
    assert "sizes not known" in found.units[0].rests_on
