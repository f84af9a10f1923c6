"""Load density plots from a person's CSV table: all of the table, or none of it."""

from __future__ import annotations

import math
import uuid
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Final, Literal, cast

from habmap.errors import InputError
from habmap.jobs.load.result import LoadResult
from habmap.jobs.plots import NOT_MEASURED, plots_told
from habmap.jobs.ports import Store
from habmap.land.density import plot_acres
from habmap.measures import M_PER_FT
from habmap.place.load.cells import Cells
from habmap.place.load.columns import POSITION_COLUMNS, Rows
from habmap.place.load.identity import differing
from habmap.place.load.position import position
from habmap.place.load.table import read_table
from habmap.place.userfiles import printable
from habmap.records import Plot, Unit

PLOT_FIELDS: Final = (
    "plot_id", "unit_id", "lon", "lat", "method", "plot_acres", "radius_ft", "stems", "d1", "d2", "d3", "d4",
    "distance_unit", "line_ft", "intercepts_ft", "crown_ft", "height_ft", "stratum", "date",
)  # fmt: skip
METHODS: Final = ("fixed", "quarter", "line")
M_PER_DISTANCE_UNIT: Final = {"m": 1.0, "ft": M_PER_FT}
QUARTERS: Final = ("d1", "d2", "d3", "d4")
#: A stem farther than this from the point is not in the quarter that was searched [m].
FARTHEST_M: Final = 500.0


def load_plots(
    store: Store,
    *,
    path: Path,
    now: datetime,
    columns: Mapping[str, str] | None = None,
    sheet: str | None = None,
    overwrite: bool = False,
) -> LoadResult:
    """Load fixed-area plots and quarter points; a plot that is there already with the same content is no news.

    Parameters
    ----------
    path
        A table with ``plot_id``; ``unit_id``, or ``lon`` and ``lat`` (WGS 84 [°]) from which the unit is found;
        ``method`` = ``fixed`` (``plot_acres`` or ``radius_ft``, ``stems``) or ``quarter`` (``d1`` … ``d4``, blank =
        vacant, ``distance_unit`` = ft or m) or ``line`` (``line_ft`` and ``intercepts_ft``, the lengths under crowns
        joined by ``;``).
    columns
        Field → column of the file, where the names differ.
    sheet
        Which sheet, where the file is a spreadsheet with several.
    overwrite
        What the table says holds: a plot that is told otherwise is corrected, one that was withdrawn counts again. Rows
        are added; what stood there before stays on record.

    Raises
    ------
    InputErrors
        Every fault of the table, with its row.
    """
    table = read_table(path, sheet=sheet)
    rows = Rows(table, PLOT_FIELDS, needed=("plot_id", "method", POSITION_COLUMNS), renames=columns)
    found = rows.found
    used = [found[name] for name in QUARTERS if name in found]
    if len(set(used)) < len(used):
        raise InputError(
            "one column is taken for two quarters",
            where=table.where,
            value=", ".join(f"{name}={found[name]}" for name in QUARTERS if name in found),
            allowed="four quarters, each with a column of its own",
            mend="name each quarter's own column with --map d1=COLUMN and so on",
        )
    units = store.units()
    counting, told = {plot.plot_id: plot for plot in store.plots()}, plots_told(store)
    fresh: dict[str, Plot] = {}
    in_file: dict[str, Plot] = {}
    notes: list[str] = []
    already = 0
    for row in table.rows:
        cells = rows.cells(row)
        before = len(rows.faults)
        plot = _plot(cells, units, place_id=store.place_id, now=now)
        if len(rows.faults) > before or plot is None:
            continue
        if plot.plot_id in in_file:
            if differences := differing(plot, in_file[plot.plot_id], besides=NOT_MEASURED):
                cells.fault(
                    "the same plot_id with other content in two rows",
                    "plot_id",
                    value=f"{plot.plot_id}: {'; '.join(differences)}",
                    allowed="each plot_id once",
                    mend="give a plot measured again a plot_id of its own",
                )
            already += not differences
            continue
        in_file[plot.plot_id] = plot
        earlier = told.get(plot.plot_id, ())
        now_told = counting.get(plot.plot_id)
        if not earlier:
            fresh[plot.plot_id] = plot
        elif now_told is not None and not differing(plot, now_told, besides=NOT_MEASURED):
            already += 1
        elif overwrite:
            fresh[plot.plot_id] = replace(plot, uuid=str(uuid.uuid4()))
            if now_told is None:
                notes.append(f"plot {printable(plot.plot_id)} had been withdrawn; it counts again")
        elif any(not differing(plot, one, besides=NOT_MEASURED) for one in earlier):
            already += 1
            since = "withdrawn" if now_told is None else "corrected"
            notes.append(f"plot {printable(plot.plot_id)} was {since} since; it stays so unless you add --overwrite")
        else:
            cells.fault(
                "the same plot_id with other content",
                "plot_id",
                value=f"{plot.plot_id}: {'; '.join(differing(plot, now_told or earlier[-1], besides=NOT_MEASURED))}",
                allowed="what was said of the plot before, or a plot_id of its own for a plot measured again",
                mend="add --overwrite where the plot was told wrong; what it said before stays on record",
            )
    rows.refuse_faults()
    corrected = sum(plot_id in told for plot_id in fresh)
    store.append(list(fresh.values()))
    warnings = (*rows.notes, *notes, *rows.not_read())
    return LoadResult(kind="plots", loaded=len(fresh), already_there=already, versions=corrected, warnings=warnings)


def _plot(cells: Cells, units: tuple[Unit, ...], *, place_id: str, now: datetime) -> Plot | None:
    plot_id = cells.text("plot_id", required=True, longest=200)
    method = cells.choice("method", METHODS)
    unit_id, point = position(cells, units, what="plot")
    fixed = _fixed(cells) if method == "fixed" else (None, None)
    distances = _distances(cells) if method == "quarter" else ()
    line_ft, intercepts_ft = _line(cells) if method == "line" else (None, ())
    crown_ft, height_ft = cells.number("crown_ft", above=0, high=200), cells.number("height_ft", above=0, high=200)
    stratum = cells.text("stratum")
    measured_on = cells.day("date", required=False)
    if plot_id is None or method is None:
        return None
    return Plot(
        uuid=str(uuid.uuid5(uuid.UUID(place_id), f"plot\x1f{plot_id}")),
        plot_id=plot_id,
        method=cast("Literal['fixed', 'quarter', 'line']", method),
        unit_id=unit_id,
        geometry=point,
        plot_acres=fixed[0],
        stems=fixed[1],
        distances_m=distances,
        line_ft=line_ft,
        intercepts_ft=intercepts_ft,
        crown_ft=crown_ft,
        height_ft=height_ft,
        stratum=stratum,
        measured_on=measured_on,
        recorded_at=now,
    )


def _fixed(cells: Cells) -> tuple[float | None, int | None]:
    size, radius = cells.number("plot_acres", above=0, high=10), cells.number("radius_ft", above=0, high=400)
    if size is None and radius is None:
        cells.fault("a fixed plot needs its size", "plot_acres", value="blank", allowed="plot_acres or radius_ft")
    if size is not None and radius is not None and abs(size / plot_acres(radius) - 1) > 0.02:
        cells.fault(
            "plot_acres and radius_ft say different sizes",
            "plot_acres",
            value=f"{size} acres; a radius of {radius} ft is {plot_acres(radius):.4f} acres",
            allowed="one of them, or two that agree",
        )
    stems = cells.number("stems", low=0, high=100_000)
    if stems is None:
        if not cells.text("stems"):
            cells.fault("a fixed plot needs its count", "stems", value="blank", allowed="a whole number, 0 or more")
    elif stems != int(stems):
        cells.fault("a count is not whole", "stems", value=stems, allowed="a whole number, 0 or more")
    if size is None and radius is not None:
        size = plot_acres(radius)
    return size, None if stems is None else int(stems)


def _distances(cells: Cells) -> tuple[float | None, ...]:
    unit = cells.choice("distance_unit", tuple(M_PER_DISTANCE_UNIT))
    if unit is None and not cells.text("distance_unit"):
        # taking feet for metres would make a stand eleven times thinner
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


def _line(cells: Cells) -> tuple[float | None, tuple[float, ...]]:
    line_ft = cells.number("line_ft", above=0, high=10_000)
    if line_ft is None and not cells.text("line_ft"):
        cells.fault("a line needs its length", "line_ft", value="blank", allowed="feet, more than 0")
    lengths: list[float] = []
    for part in (cells.text("intercepts_ft") or "").split(";"):
        if part.strip():
            try:
                lengths.append(float(part))
            except ValueError:
                lengths.append(math.nan)
    if not all(length >= 0 for length in lengths) or math.fsum(lengths) > (line_ft or math.inf):
        cells.fault(
            "the intercepts do not fit the line",
            "intercepts_ft",
            value=cells.text("intercepts_ft"),
            allowed="lengths of 0 or more joined by ;, together no longer than the line",
        )
    return line_ft, tuple(lengths)
