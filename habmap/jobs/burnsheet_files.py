"""The burn sheet written down: a PDF, an HTML file, or both."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import shapely

from habmap.errors import InputError, no_ground
from habmap.jobs.burnsheet import Burnsheet
from habmap.jobs.ports import Store
from habmap.place.elevation import open_named
from habmap.place.writers import refuse_ending, refuse_to_write, write_whole
from habmap.progress import Steps, counted
from habmap.show.burn.compose import fitted_sheet
from habmap.show.burn.html import render_burn_html
from habmap.show.burn.pages import draw_burn_pdf
from habmap.show.burn.sheet import BurnPaper
from habmap.show.relief import RELIEF_CELLS, Relief, draw_relief, relief_bounds
from habmap.work.burn.result import BurnsheetResult

#: Ground drawn to either side of the block, and above and below, as shares of its larger side: the map widens to twice
#: its scale for a house, and with a forecast's chart it is twice as wide as high.
AROUND: Final = (2.9, 1.3)


def write_burn_sheets(
    sheet: Burnsheet,
    *,
    targets: Sequence[Path],
    now: datetime,
    paper: BurnPaper = "letter",
    overwrite: bool = False,
    steps: Steps | None = None,
) -> None:
    """Write the burn sheet to every target; what it is, its suffix says (.pdf or .html).

    Parameters
    ----------
    now
        The moment of drawing (UTC).
    steps
        Have `SHEET_STEPS` among their names.

    Raises
    ------
    UsageError, InputError, PlaceError
        A name ends otherwise, a file is there already, or the disk refused. All names are looked at, and all sheets
        drawn, before the first is written.
    """
    refuse_targets(targets, overwrite=overwrite)
    steps = steps or Steps()
    store, result = sheet.store, sheet.result
    grid, boundary, zone = store.grid, store.boundary(), ZoneInfo(store.settings.place.timezone)
    if grid is None or not result.edges:
        raise no_ground("there is no ground to draw")
    steps.begin("relief")
    relief = _relief(store, result)
    steps.begin("pages")
    drawn = fitted_sheet(
        result,
        paper=paper,
        weather=sheet.weather,
        grid=grid,
        zone=zone,
        drawn_on=now.astimezone(zone).date(),
        units=store.units(datetime.fromisoformat(result.time).date()),
        features=store.features(),
        boundary=None if boundary is None else boundary.geometry,
        relief=relief,
        pieces=sheet.pieces,
    )
    contents = [
        draw_burn_pdf(drawn, paper=paper).content
        if target.suffix.lower() == ".pdf"
        else render_burn_html(drawn, paper=paper).encode()
        for target in counted(targets, steps.within, what="files")
    ]
    for target, content in zip(targets, contents, strict=True):
        write_whole(target, lambda path, content=content: path.write_bytes(content), overwrite=overwrite)  # type: ignore[misc]


def refuse_targets(targets: Sequence[Path], *, overwrite: bool) -> None:
    """Raise for a name that no sheet can be written to, before any work is done."""
    for target in targets:
        refuse_ending(target, ".pdf", ".html", what="the burn sheet is a PDF or an HTML file", where="--sheet")
        if not target.parent.is_dir():
            raise InputError("there is no such folder", where=str(target.parent), mend="make the folder first")
        refuse_to_write(target, overwrite=overwrite)


def _relief(store: Store, result: BurnsheetResult) -> Relief | None:
    source = store.elevation()
    if source is None or not result.edges:
        return None
    outline = shapely.MultiLineString([edge.coordinates for edge in result.edges])
    with open_named(source) as elevation:
        if not bool(elevation.touches([shapely.convex_hull(outline)])[0]):
            return None  # said in words by the burn sheet's own warnings
        coarse = elevation.coarse_heights(relief_bounds([outline], margins=AROUND), RELIEF_CELLS)
    return draw_relief(coarse.heights_m.astype("float64"), transform=coarse.transform, crs_wkt=coarse.crs_wkt)
