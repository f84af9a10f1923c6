"""The table of density plots: fixed areas, quarter points, and lines under crowns."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

from habmap.land.density import plot_acres
from habmap.measures import M_PER_FT
from habmap.place.load.cells import Cells
from habmap.place.load.spec import PLACED, Column, Label, Loading, ReadRow, TableSpec, columns_of
from habmap.records import Plot
from habmap.work.plots import NOT_MEASURED

M_PER_DISTANCE_UNIT: Final = {"m": 1.0, "ft": M_PER_FT}
QUARTERS: Final = ("d1", "d2", "d3", "d4")
#: A stem farther than this from the point is not in the quarter that was searched [m].
FARTHEST_M: Final = 500.0


def _rest(row: ReadRow, _loading: Loading) -> Mapping[str, Any]:
    method = row["method"]
    lengths = _intercepts(row.cells, row["line_ft"]) if method == "line" else ()
    distances = _distances(row) if method == "quarter" else ()
    return {
        "plot_acres": _size(row) if method == "fixed" else None,
        "distances_m": distances,
        "intercepts_ft": lengths,
    }


def _size(row: ReadRow) -> float | None:
    cells, size, radius = row.cells, row["plot_acres"], row["radius_ft"]
    if size is None and radius is None:
        cells.fault("a fixed plot needs its size", "plot_acres", value="blank", allowed="plot_acres or radius_ft")
    if size is not None and radius is not None and abs(size / plot_acres(radius) - 1) > 0.02:
        cells.fault(
            "plot_acres and radius_ft say different sizes",
            "plot_acres",
            value=f"{size} acres; a radius of {radius} ft is {plot_acres(radius):.4f} acres",
            allowed="one of them, or two that agree",
        )
    if cells.is_blank("stems"):
        cells.fault("a fixed plot needs its count", "stems", value="blank", allowed="a whole number, 0 or more")
    return plot_acres(radius) if size is None and radius is not None else size


def _distances(row: ReadRow) -> tuple[float | None, ...]:
    cells, unit = row.cells, row["distance_unit"]
    if cells.is_blank("distance_unit"):
        # taking feet for meters would make a stand eleven times thinner
        cells.fault(
            "a quarter point does not say the unit of its distances",
            "distance_unit",
            value="blank",
            allowed="m or ft",
            mend="write it in each row",
        )
    factor = M_PER_DISTANCE_UNIT[unit or "m"]
    measured = [cells.number(name, above=0, high=FARTHEST_M / factor) for name in QUARTERS]
    return tuple(None if value is None else value * factor for value in measured)


def _intercepts(cells: Cells, line_ft: float | None) -> tuple[float, ...]:
    if cells.is_blank("line_ft"):
        cells.fault("a line needs its length", "line_ft", value="blank", allowed="feet, more than 0")
    text = cells.text("intercepts_ft")
    lengths: list[float] = []
    for part in (text or "").split(";"):
        if part.strip():
            try:
                lengths.append(float(part))
            except ValueError:
                lengths.append(math.nan)
    if not all(length >= 0 for length in lengths) or math.fsum(lengths) > (line_ft or math.inf):
        cells.fault(
            "the intercepts do not fit the line",
            "intercepts_ft",
            value=text,
            allowed="lengths of 0 or more joined by ;, together no longer than the line",
        )
    return tuple(lengths)


PLOTS: Final = TableSpec(
    kind="plots",
    noun="plot",
    record=Plot,
    columns=(
        *columns_of(
            Plot,
            plot_id={"is_required": True, "title": "name of the plot"},
            method={"is_required": True},
            plot_acres={"only": ("method", "fixed")},
            stems={"only": ("method", "fixed")},
            line_ft={"only": ("method", "line")},
        ),
        *PLACED,
        Column("radius_ft", "number", above=0, high=400, only=("method", "fixed"), title="its radius, feet"),
        *(
            Column(name, "own", only=("method", "quarter"), title=f"nearest stem in quarter {number}")
            for number, name in enumerate(QUARTERS, start=1)
        ),
        Column(
            "distance_unit",
            "choice",
            words=tuple(M_PER_DISTANCE_UNIT),
            only=("method", "quarter"),
            title="unit of the distances",
        ),
        Column("intercepts_ft", "own", only=("method", "line"), title="lengths under crowns, feet, joined by ;"),
    ),
    is_placed=True,
    apart=("quarters", QUARTERS),
    identity=Label("plot", ("plot_id",)),
    rest=_rest,
    counting=lambda store: store.plots(),
    besides=NOT_MEASURED,
    once="each plot_id once",
    own_id="give a plot measured again a plot_id of its own",
    can_overwrite=True,
)
