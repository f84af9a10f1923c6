"""A small map of where the sheet's ground lies: a unit on its property, a property among the lines of the degrees.

Nothing is fetched and no outline of a country is kept: the lines of the national 7.5-minute quadrangles need none.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from habmap.land.grid import LocalGrid
from habmap.show.palette import INK, INK_SOFT
from habmap.show.sheet.edge_figures import degrees_words
from habmap.show.sheet.outline import Outline
from habmap.show.sheet.pen import Pen

#: Sides of the quadrangles of national sheets, and of wider nets for ground that spans many of them [minutes].
_STEPS_MIN: Final = (7.5, 15.0, 30.0, 60.0, 120.0, 300.0, 900.0)
#: The ground spans at most so many cells either way.
_MOST_CELLS: Final = 2
#: Lines of the net run on past the cell by this share of it, so that it reads as a net.
_RUN_ON: Final = 0.12
#: Ground smaller than this is ringed to be found [pt].
_SEEN_PT: Final = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Locator:
    """What the small map shows, in the grid [m], and the words beside it.

    Attributes
    ----------
    own
        The sheet's own ground, filled.
    lines
        What it lies among.
    words
        What it shows, a sentence.
    """

    own: BaseGeometry
    lines: tuple[BaseGeometry, ...]
    words: str

    @classmethod
    def among_degrees(cls, grid: LocalGrid, own: BaseGeometry) -> Locator:
        """Return where ground (lon/lat) lies in its 7.5-minute quadrangle, or in a wider net if it is larger."""
        west, south, east, north = shapely.bounds(own).tolist()
        step_min = next(
            (
                step
                for step in _STEPS_MIN
                if all(
                    math.floor(high * 60 / step) - math.floor(low * 60 / step) < _MOST_CELLS
                    for low, high in ((west, east), (south, north))
                )
            ),
            _STEPS_MIN[-1],
        )
        step = step_min / 60
        meridians, parallels = (
            [step * k for k in range(math.floor(low / step), math.floor(high / step) + 2)]
            for low, high in ((west, east), (south, north))
        )
        on = _RUN_ON * step
        lines = [shapely.LineString([(x, parallels[0] - on), (x, parallels[-1] + on)]) for x in meridians]
        lines += [shapely.LineString([(meridians[0] - on, y), (meridians[-1] + on, y)]) for y in parallels]
        is_one = len(meridians) == len(parallels) == 2
        name = f"{step_min:g}-minute" if step_min < 60 else f"{step_min / 60:g}-degree"
        return cls(
            own=grid.to_grid(own),
            lines=tuple(grid.to_grid(line) for line in lines),
            words=(
                f"The small map: the ground in the {name} {'quadrangle' if is_one else 'quadrangles'} from "
                f"{degrees_words(parallels[0], 'NS')} to {degrees_words(parallels[-1], 'NS')} and from "
                f"{degrees_words(meridians[0], 'EW')} to {degrees_words(meridians[-1], 'EW')}."
            ),
        )

    @classmethod
    def on_property(cls, grid: LocalGrid, own: BaseGeometry, around: Sequence[BaseGeometry], unit_id: str) -> Locator:
        """Return where a unit (lon/lat) lies among outlines of its property."""
        return cls(
            own=grid.to_grid(own),
            lines=tuple(grid.to_grid(shapely.boundary(one)) for one in around),
            words=f"The small map: where {unit_id} lies on the property.",
        )

    def draw(self, pen: Pen, left: float, bottom: float, *, side_pt: float) -> None:
        """Draw it in a square with its lower left corner there [pt]."""
        low_x, low_y, high_x, high_y = shapely.total_bounds([self.own, *self.lines]).tolist()
        pt_per_m = side_pt / max(high_x - low_x, high_y - low_y)
        middle = np.array([(low_x + high_x) / 2, (low_y + high_y) / 2])
        center = np.array([left + side_pt / 2, bottom + side_pt / 2])

        def on_paper(shape: BaseGeometry) -> BaseGeometry:
            return shapely.transform(shape, lambda xy: center + (xy - middle) * pt_per_m)

        for line in self.lines:
            if (outline := Outline.of(on_paper(line))) is not None:
                pen.path(outline, edgecolor=INK_SOFT, linewidth=0.5)
        own = on_paper(self.own)
        if (outline := Outline.of(own)) is not None:
            pen.path(outline, facecolor=INK, edgecolor=INK, linewidth=0.4)
        x0, y0, x1, y1 = own.bounds
        if max(x1 - x0, y1 - y0) < _SEEN_PT:
            pen.path(Outline.circle(((x0 + x1) / 2, (y0 + y1) / 2), _SEEN_PT), edgecolor=INK, linewidth=0.9)
