"""The sheet for the wall: the map's records, for the property or one unit, printed true to scale."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

from habmap.errors import InputError
from habmap.jobs.map import build_page
from habmap.jobs.page.missing import for_the_owner
from habmap.jobs.ports import Store
from habmap.jobs.printing import elevation_words, pdf_path
from habmap.jobs.public import veil_words
from habmap.jobs.snapshot import snapshot
from habmap.place.writers import write_whole
from habmap.show.records import Audience, Page
from habmap.show.sheet.paper import Paper
from habmap.show.sheet.sheet import Sheet, SheetFigures, draw_sheet
from habmap.vocabulary import file_mark


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetResult:
    """What was written, its scale, and the figures its headline says.

    Attributes
    ----------
    path, bytes, pages
        The PDF, its size and how many pages it has.
    paper, orientation, width_mm, height_mm
        The paper, how it lies, and its size [mm].
    scale
        The N of 1:N; true when printed at 100 %.
    convergence_deg
        The grid's convergence at the sheet's middle: a true bearing is a grid bearing plus this [°].
    unit_id
        The unit that it shows; ``None``: the whole property.
    warnings
        What it could not show, in words (the sheet says so too).
    """

    place: str
    path: str
    bytes: int
    pages: int
    paper: str
    orientation: str
    width_mm: float
    height_mm: float
    scale: int
    convergence_deg: float
    audience: Audience
    unit_id: str | None
    on: date | None
    units: int
    acres: float
    treated_acres: float
    remaining_acres: float
    warnings: tuple[str, ...]


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
    overwrite: bool = False,
) -> SheetResult:
    """Write the map sheet as a PDF.

    Parameters
    ----------
    store
        The place.
    target
        The PDF to write, whole or not at all; ``None``: ``out/sheet.pdf`` (or ``out/sheet-ID.pdf``) in ``folder``.
    folder
        The property's folder; its ``out`` is made where the sheet goes there.
    now
        The moment of drawing (UTC); the sheet tells its day at the place.
    paper
        The paper; the sheet lies or stands as its ground fits best.
    audience
        ``public`` leaves out names of people and features, notes, hours, costs and private features.
    unit_id
        A sheet of this unit alone.
    on
        As of this day's work; ``None``: all work so far.

    Raises
    ------
    UsageError
        The file's name does not end in .pdf.
    InputError
        There is no such unit or no ground to draw, or the file is there and ``overwrite`` is false.
    PlaceError
        The disk refused.
    """
    path = pdf_path(
        target, folder=folder, name=_file_name(unit_id), what="sheet", audience=audience, overwrite=overwrite
    )
    store, is_owner = snapshot(store), audience == "owner"
    page = build_page(store, now=now, audience=audience, on=on, with_hours=is_owner, with_cost=is_owner)
    grid = store.grid
    if grid is None:
        raise InputError("there is no ground to draw", mend="load units or a boundary first: `habmap load units FILE`")
    neighbours = tuple(unit.geometry for unit in page.units if unit_id is not None and unit.unit_id != unit_id)
    if unit_id is not None:
        page = _only(page, unit_id)
    sheet = Sheet(
        page=page, grid=grid, unit_id=unit_id, neighbours=neighbours, elevation=elevation_words(store, audience)
    )
    drawn: list[SheetFigures] = []
    write_whole(
        path,
        lambda file: drawn.append(draw_sheet(sheet, file, paper=paper)),
        overwrite=overwrite,
        make_folder=target is None,
        replaces=file_mark("sheet", audience),
    )
    figures = drawn[0]
    return SheetResult(
        place=page.place,
        path=str(path),
        bytes=path.stat().st_size,
        pages=figures.pages,
        paper=paper,
        orientation=figures.orientation,
        width_mm=figures.width_mm,
        height_mm=figures.height_mm,
        scale=figures.scale,
        convergence_deg=figures.convergence_deg,
        audience=audience,
        unit_id=unit_id,
        on=page.on,
        units=len(page.units),
        acres=page.acres,
        treated_acres=page.treated_acres,
        remaining_acres=page.remaining_acres,
        warnings=for_the_owner(page.missing) + (veil_words(store, page) if unit_id is None else ()),
    )


def _file_name(unit_id: str | None) -> str:
    if unit_id is None:
        return "sheet.pdf"
    plain = "".join(sign if sign.isalnum() or sign in "-_" else "_" for sign in unit_id)
    return f"sheet-{plain}.pdf"


def _only(page: Page, unit_id: str) -> Page:
    """Return the page cut down to one unit: its ground, its work, its acres.

    Raises
    ------
    InputError
        There is no such unit.
    """
    unit = next((one for one in page.units if one.unit_id == unit_id), None)
    if unit is None:
        raise InputError(
            "there is no such unit",
            where="--unit",
            value=unit_id,
            allowed=", ".join(one.unit_id for one in page.units[:20]) or None,
            mend="see `habmap acres` for the units and their labels",
        )
    stages = Counter(unit.stage_acres)
    return replace(
        page,
        units=(unit,),
        pieces=tuple(piece for piece in page.pieces if piece.unit_id == unit_id),
        work=tuple(work for work in page.work if work.unit_acres.get(unit_id, 0.0) > 0),
        acres=unit.acres,
        treated_acres=unit.treated_acres,
        remaining_acres=unit.remaining_acres,
        keep_acres=stages["keep"],
        coming_back_acres=stages["coming_back"],
    )
