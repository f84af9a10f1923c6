"""Sun-facing shares of outlines over a few cells that are counted by hand."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import box

from habmap.land.facerules import FaceRules
from habmap.land.pieces import Outlines
from habmap.land.suncells import SunCells
from habmap.land.terrain import GroundSteps
from habmap.land.zones import GradientTile

NAN = np.nan
STEPS = GroundSteps(*(np.array(value) for value in (10.0, 0.0, 0.0, -10.0)))
RULES = FaceRules(flat_below_pct=5.0)


def tile(first_row: int, first_col: int, rise_to_north: list[list[float]]) -> GradientTile:
    """Return cells that rise so toward north: above 0 they face south, below it north."""
    north = np.array(rise_to_north)
    east = np.where(np.isnan(north), NAN, 0.0)
    return GradientTile(first_row=first_row, first_col=first_col, east=east, north=north, steps=STEPS,
                        lat_deg=38.0, lat_per_row_deg=-1e-4, lat_per_col_deg=0.0)  # fmt: skip


def outlines(*shapes: shapely.Geometry) -> Outlines:
    x, y, ring_ends, is_shell, polygon_ends = [], [], [0], [], [0]
    for shape in shapes:
        for part in shapely.get_parts(shape):
            for number, ring in enumerate((part.exterior, *part.interiors)):
                x += [at[0] for at in ring.coords]
                y += [at[1] for at in ring.coords]
                ring_ends.append(len(x))
                is_shell.append(number == 0)
        polygon_ends.append(len(is_shell))
    return Outlines(np.array(x), np.array(y), np.array(ring_ends), np.array(is_shell), np.array(polygon_ends))


#: Rows 4 to 6 and columns 10 to 15: two tiles side by side, a gap of one column, and one cell that is not known.
WEST = tile(4, 10, [[0.2, 0.2], [-0.2, 0.05], [NAN, 0.049]])
EAST = tile(5, 13, [[0.2, -0.2, 0.2], [0.2, 0.2, 0.0]])


def test_tiles_lie_where_they_say_and_what_is_between_them_is_not_known() -> None:
    for tiles in ([WEST, EAST], [EAST, WEST]):
        cells = SunCells.of(iter(tiles), RULES)
        assert (cells.first_row, cells.first_col) == (4, 10)
        assert cells.is_known.astype(int).tolist() == [[1, 1, 0, 0, 0, 0], [1, 1, 0, 1, 1, 1], [0, 1, 0, 1, 1, 1]]
        assert cells.is_sun.astype(int).tolist() == [[1, 1, 0, 0, 0, 0], [0, 1, 0, 1, 0, 1], [0, 0, 0, 1, 1, 0]]
    apart = [WEST, tile(8, 20, [[0.2]])]
    assert SunCells.of(apart, RULES).is_known.shape == SunCells.of(apart[::-1], RULES).is_known.shape == (5, 11)
    none = SunCells.of([], RULES)
    assert none.is_known.shape == (0, 0) and none.shares(outlines(box(0, 0, 9, 9))).tolist() == [0]
    # level ground faces nowhere, whatever is called flat
    level = SunCells.of([tile(0, 0, [[0.0, 1e-9]])], FaceRules(flat_below_pct=0.0))
    assert level.is_sun.tolist() == [[False, True]]


def test_shares_of_outlines_by_their_known_ground() -> None:
    cells = SunCells.of([WEST, EAST], RULES)
    ground = [
        box(10, 4, 12, 5),  # two cells in the sun
        box(10, 4, 11, 6),  # one and one in the shade
        box(10, 4, 11, 7),  # and one not known
        box(10.5, 4.5, 11, 5.25),  # half the height of the first, a quarter of the second
        box(10, 6, 11, 7),  # not known
        shapely.Polygon(),
        box(13, 5, 16, 7),  # four of six
        box(13, 5, 99, 99),  # and nothing beyond
        box(-50, -50, 99, 99),  # 7 of 11
        box(13, 5, 16, 7).difference(box(13.5, 5.5, 14.5, 6.5)),  # a quarter of four less: 3 in the sun
        shapely.MultiPolygon([box(10, 4, 11, 5), box(14, 5, 15, 6)]),
        box(0, 0, 10, 3), box(16, 4, 20, 7), box(10, 7, 16, 9), box(10, 0, 16, 4), box(0, 4, 10, 7),  # beside it
        box(12, 4, 13, 7),  # between the tiles
        box(10, 5, 11.5, 6), box(10, 4, 11, 5.5),
    ]  # fmt: skip
    found = cells.shares(outlines(*ground))
    wanted = [1, 1 / 2, 1 / 2, 2 / 3, 0, 0, 4 / 6, 4 / 6, 7 / 11, (4 - 0.75) / 5, 1 / 2, 0, 0, 0, 0, 0, 0, 1 / 3, 2 / 3]
    np.testing.assert_allclose(found, wanted, atol=1e-7)
