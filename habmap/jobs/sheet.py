"""The sheet for the wall: the map's records, for the property or one unit, printed true to scale."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from habmap.jobs.map import PAPER_STEPS, build_page
from habmap.jobs.ports import Store
from habmap.jobs.printing import Written, drawn_into, pdf_path, refuse_money, written
from habmap.jobs.snapshot import snapshot
from habmap.progress import Progress, Steps
from habmap.show.sheet.paper import Paper
from habmap.show.sheet.sheet import SheetFigures, draw_sheet, file_name, sheet_of
from habmap.vocabulary import Audience, file_mark


@dataclass(frozen=True, kw_only=True)
class SheetResult(Written, SheetFigures):
    """What was written and its scale; ``unit_id``: the unit that it shows, ``None`` the whole property."""

    paper: str
    unit_id: str | None
    units: int


def write_sheet(
    store: Store,
    *,
    target: Path | None,
    folder: Path,
    now: datetime,
    paper: Paper = "letter",
    audience: Audience = "owner",
    unit_id: str | None = None,
    on: date | None = None,
    with_hours: bool = False,
    with_cost: bool = False,
    overwrite: bool = False,
    progress: Progress | None = None,
) -> SheetResult:
    """Write the map sheet as a PDF.

    Parameters
    ----------
    target
        The PDF to write, whole or not at all; ``None``: ``out/sheet.pdf`` (or ``out/sheet-ID.pdf``) in ``folder``.
    folder
        The property's folder; its ``out`` is made where the sheet goes there.
    paper
        The paper; the sheet lies or stands as its ground fits best.
    audience
        ``public`` leaves out names of people and features, notes, hours, costs and private features.
    unit_id
        A sheet of this unit alone.
    now, on, with_hours, with_cost, overwrite, progress
        As for `habmap.jobs.map.draw_map`, which raises the same errors.

    Raises
    ------
    UsageError
        The file's name does not end in .pdf.
    InputError
        There is no such unit, or no ground to draw.
    """
    refuse_money(audience, with_hours=with_hours, with_cost=with_cost)
    path = pdf_path(
        target, folder=folder, name=file_name(unit_id), what="sheet", audience=audience, overwrite=overwrite
    )
    store = snapshot(store)
    steps = Steps(progress, *PAPER_STEPS, "drawing")
    page = build_page(
        store, now=now, audience=audience, on=on, with_hours=with_hours, with_cost=with_cost, is_paper=True, steps=steps
    )
    steps.begin("drawing")
    sheet = sheet_of(page, grid=store.grid, unit_id=unit_id)
    figures = drawn_into(
        path, lambda file: draw_sheet(sheet, file, paper=paper), overwrite=overwrite, make_folder=target is None,
        replaces=file_mark("sheet", audience),
    )  # fmt: skip
    steps.end()
    return SheetResult(
        **written(store, sheet.page, path, is_whole=unit_id is None),
        **vars(figures),
        paper=paper,
        unit_id=unit_id,
        units=len(sheet.page.units),
    )
