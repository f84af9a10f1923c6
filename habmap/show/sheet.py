"""The printed sheet: the answer, the land at one true scale, the account, and how the numbers were made.

One page holds all that a wall needs; what was done on each patch, and units that had no room, follow overleaf.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final, Literal, get_args

import matplotlib as mpl
import shapely
from matplotlib.backends.backend_pdf import PdfPages
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError
from habmap.land.grid import LocalGrid
from habmap.show import words
from habmap.show.palette import INK
from habmap.show.records import Page, refuse_private
from habmap.show.sheet_account import Account, bounded, legend_height_pt
from habmap.show.sheet_map import PT_PER_M, Frame, draw_map
from habmap.show.sheet_margin import SCALE_STRIP_PT, draw_scale
from habmap.show.sheet_pen import LEADING, LEAST_PT, Pen, wrapped

Paper = Literal["letter", "tabloid", "a4", "a3"]
PAPERS: Final[tuple[Paper, ...]] = get_args(Paper)
_MM: Final = 72 / 25.4
#: Short and long side [pt]: ANSI/ASME Y14.1 sizes A and B, ISO 216 A4 and A3.
_SIZES_PT: Final[dict[Paper, tuple[float, float]]] = {
    "letter": (612.0, 792.0), "tabloid": (792.0, 1224.0), "a4": (210 * _MM, 297 * _MM), "a3": (297 * _MM, 420 * _MM),
}  # fmt: skip
MARGIN_PT: Final = 25.0
_GAP_PT: Final = 9.0
_HEADLINE_PT: Final = 17.0
#: Width of the account beside the map [pt].
_SIDE_PT: Final = 318.0
#: Ground shown around what the sheet is about, as a share of the frame.
_AIR: Final = 0.012
#: Scales that are round as 1:N, or as whole tens and hundreds of feet to the inch.
_ROUND: Final = (1.0, 1.2, 1.5, 2.0, 2.4, 2.5, 3.0, 3.6, 4.0, 4.8, 5.0, 6.0, 7.5, 8.0, 9.6)
SCALES: Final = tuple(round(step * 10**power) for power in range(2, 9) for step in _ROUND)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """What a sheet shows.

    Attributes
    ----------
    page
        The records, as for the map; for a sheet of one unit only that unit, its ground and its work.
    grid
        The place's equal-area grid: the sheet's projection.
    unit_id
        The unit that the sheet is about; ``None``: the whole property.
    neighbours
        Outlines of the other units (lon/lat), drawn faintly.
    elevation
        Where the heights come from, as a sentence; ``None`` without elevation.
    """

    page: Page
    grid: LocalGrid
    unit_id: str | None = None
    neighbours: tuple[BaseGeometry, ...] = ()
    elevation: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetFigures:
    """What a drawn sheet measures: the N of 1:N, the paper, the page count and the convergence at its middle [°]."""

    scale: int
    orientation: Literal["landscape", "portrait"]
    width_mm: float
    height_mm: float
    pages: int
    convergence_deg: float


@dataclass(frozen=True, slots=True)
class _Foot:
    """What stands at the foot: the cautions, how the numbers were made, and how the width is shared [pt]."""

    cautions: list[str]
    how: list[str]
    cautions_width: float
    height: float


@dataclass(frozen=True, slots=True)
class _Plan:
    """One way to lay out the first page [pt]: the map's frame and where the account goes."""

    orientation: Literal["landscape", "portrait"]
    size: tuple[float, float]
    head: list[str]
    also: list[str]
    foot: _Foot
    frame: tuple[float, float, float, float]
    account: tuple[float, float, float, float]
    scale: int


def draw_sheet(sheet: Sheet, path: Path, *, paper: Paper) -> SheetFigures:
    """Write the sheet as a vector PDF with its fonts embedded.

    Raises
    ------
    InputError
        There is no ground to draw, or more than the smallest scale takes in.
    PrivateOnPublicPageError
        A sheet for the public holds a private feature, a name, a note, hours or a cost.
    """
    page = sheet.page
    if page.audience == "public":
        refuse_private(page)
    shapes: list[BaseGeometry] = [unit.geometry for unit in page.units]
    if page.boundary is not None and sheet.unit_id is None:
        shapes.append(page.boundary)
    if not shapes:
        raise InputError("there is no ground to draw", mend="load units or a boundary first: `habmap add units FILE`")
    extent_m = shapely.total_bounds([sheet.grid.to_grid(shape) for shape in shapes])
    size_m = (float(extent_m[2] - extent_m[0]), float(extent_m[3] - extent_m[1]))
    middle_xy = (float(extent_m[0] + extent_m[2]) / 2, float(extent_m[1] + extent_m[3]) / 2)
    short, long = _SIZES_PT[paper]
    plans = [_plan(sheet, size_m, (long, short)), _plan(sheet, size_m, (short, long))]
    plan = min(plans, key=lambda one: one.scale)
    # text.parse_math off: a name with $ in it is a name. Type 42: fonts embedded whole glyphs, text can be searched.
    with mpl.rc_context({
        "pdf.fonttype": 42, "text.parse_math": False, "path.simplify": False, "pdf.compression": 6,
        "savefig.dpi": 150, "image.composite_image": False,
    }):  # fmt: skip
        pages, frame = _pages(sheet, plan, middle_xy)
        title = f"{page.place}: " + ("map sheet" if sheet.unit_id is None else f"unit {sheet.unit_id}")
        with PdfPages(path, metadata={"Title": title, "Creator": "habmap", "CreationDate": None}) as book:
            for pen in pages:
                book.savefig(pen.figure)
    return SheetFigures(
        scale=plan.scale,
        orientation=plan.orientation,
        width_mm=plan.size[0] / _MM,
        height_mm=plan.size[1] / _MM,
        pages=len(pages),
        convergence_deg=sheet.grid.convergence_deg(*frame.middle_lonlat),
    )


def headline(sheet: Sheet) -> str:
    """Return the answer in one sentence, for the property or for the one unit."""
    page = sheet.page
    if sheet.unit_id is None or not page.units:
        return words.headline(page)
    (unit,) = page.units
    total = unit.treated_acres + unit.remaining_acres
    title = words.unit_title(unit)
    if total < words.SPOKEN_ACRES:
        return f"{title}: {words.tenths(unit.acres)} acres, none of it counted as cedar ground to work."
    left = (
        "nothing remains"
        if unit.remaining_acres < words.SPOKEN_ACRES
        else f"{words.tenths(unit.remaining_acres)} remain"
    )
    return f"{title}: {words.tenths(unit.treated_acres)} of {words.tenths(total)} cedar acres treated; {left}."


def _at_most(count: int, lines: list[str]) -> list[str]:
    """Keep a name without end from pushing the map off the paper."""
    return lines if len(lines) <= count else [*lines[: count - 1], f"{lines[count - 1][:-2]}…"]


def _dateline(page: Page) -> str:
    state = "before any logged work" if page.on is None else f"work up to {words.short_day(page.on)}"
    public = " · made for the public" if page.audience == "public" else ""
    return f"{page.place} · {state} · drawn {words.short_day(page.drawn_on)}{public}"


def _how(sheet: Sheet) -> list[str]:
    lines = [*sheet.page.method]
    if sheet.elevation is not None:
        lines.append(sheet.elevation)
    lines.append("Outlines are as true as the walk or the tracing they came from; ± is one standard deviation.")
    return lines + list(sheet.page.missing)


def _foot_parts(sheet: Sheet, width: float) -> _Foot:
    """Break the foot's texts so that both columns are about equally high."""
    trials = []
    for share in (0.4, 0.44, 0.48, 0.52, 0.56, 0.6) if sheet.page.cautions else (0.0,):
        box = share * width
        cautions = [line for text in sheet.page.cautions for line in wrapped(text, box - 14, size_pt=LEAST_PT)]
        how = wrapped(" ".join(_how(sheet)), width - box - (_GAP_PT if box else 0.0), size_pt=LEAST_PT)
        height = max(len(cautions) * LEAST_PT * LEADING + 10, (len(how) + 1) * LEAST_PT * LEADING)
        trials.append(_Foot(cautions, how, box, height))
    return min(trials, key=lambda foot: foot.height)


def _plan(sheet: Sheet, size_m: tuple[float, float], size: tuple[float, float]) -> _Plan:
    width = size[0] - 2 * MARGIN_PT
    head = _at_most(3, wrapped(headline(sheet), width, size_pt=_HEADLINE_PT, is_bold=True))
    also = wrapped(
        f"{words.also(sheet.page) if sheet.unit_id is None else ''} {_dateline(sheet.page)}", width, size_pt=10.0
    )
    also = _at_most(3, also)
    top = size[1] - MARGIN_PT - LEADING * (_HEADLINE_PT * len(head) + 10.0 * len(also)) - _GAP_PT + 3
    foot = _foot_parts(sheet, width)
    bottom = MARGIN_PT + foot.height + _GAP_PT - 2
    account = Account.of(sheet.page)
    if size[0] > size[1]:
        frame = (MARGIN_PT, bottom + SCALE_STRIP_PT, width - _SIDE_PT - 14, top - bottom - SCALE_STRIP_PT)
        beside = (size[0] - MARGIN_PT - _SIDE_PT, bottom, _SIDE_PT, top - bottom)
    else:
        wanted = max(account.height_pt(), 170.0) if sheet.page.units else legend_height_pt(sheet.page, width)
        lower = min(wanted + legend_height_pt(sheet.page, width), 0.45 * (top - bottom))
        frame = (MARGIN_PT, bottom + lower + _GAP_PT + SCALE_STRIP_PT, width, 0.0)
        frame = (*frame[:3], top - frame[1])
        beside = (MARGIN_PT, bottom, width, lower)
    fits = (
        scale
        for scale in SCALES
        if all(
            side_m * PT_PER_M / scale <= room * (1 - 2 * _AIR) for side_m, room in zip(size_m, frame[2:], strict=True)
        )
    )
    scale = next(fits, None)
    if scale is None:
        raise InputError(
            "this ground is too wide for one sheet",
            value=f"{size_m[0] / 1000:,.0f} by {size_m[1] / 1000:,.0f} km",
            allowed=f"what fits at 1:{SCALES[-1]:,}",
            mend="look for an outline drawn far away, or draw one unit with --unit",
        )
    orientation: Literal["landscape", "portrait"] = "landscape" if size[0] > size[1] else "portrait"
    return _Plan(orientation, size, head, also, foot, frame, beside, scale)


def _pages(sheet: Sheet, plan: _Plan, middle_xy: tuple[float, float]) -> tuple[list[Pen], Frame]:
    page = sheet.page
    pen = Pen(plan.size)
    y = pen.block(MARGIN_PT, plan.size[1] - MARGIN_PT + 3, plan.head, size_pt=_HEADLINE_PT, is_bold=True)
    pen.block(MARGIN_PT, y, plan.also, size_pt=10.0)
    frame = Frame(*plan.frame, plan.scale, middle_xy, sheet.grid)
    draw_map(pen, frame, page, neighbours=sheet.neighbours)
    draw_scale(pen, frame, left=plan.frame[0], right=plan.frame[0] + plan.frame[2], top=plan.frame[1])
    # The legend tells what is on this map, not what lies beyond its edge.
    window = shapely.box(*frame.box)
    features = tuple(one for one in page.features if frame.on_paper(one.geometry).intersects(window))
    account = Account.of(replace(page, features=features))
    overleaf = account.draw(pen, plan.account, with_story=sheet.unit_id is not None)
    _draw_foot(pen, plan.foot)
    return [pen, *_overleaf(sheet, plan, overleaf)], frame


def _draw_foot(pen: Pen, foot: _Foot) -> None:
    """Set the cautions in a ruled box, and beside it how the numbers were made."""
    top, left = MARGIN_PT + foot.height, MARGIN_PT
    if foot.cautions:
        height = len(foot.cautions) * LEAST_PT * LEADING + 10
        pen.box(left, top - height, foot.cautions_width, height, edgecolor=INK, linewidth=1.1)
        pen.block(left + 7, top - 5, foot.cautions, size_pt=LEAST_PT)
        left += foot.cautions_width + _GAP_PT
    y = pen.block(left, top + 1, ["How these numbers were made"], size_pt=LEAST_PT, is_bold=True)
    pen.block(left, y, foot.how, size_pt=LEAST_PT)


def _overleaf(sheet: Sheet, plan: _Plan, lines: Sequence[tuple[str, bool]]) -> list[Pen]:
    """Return further pages: units that had no room, and all the work, unit by unit."""
    width, top = plan.size[0] - 2 * MARGIN_PT, plan.size[1] - MARGIN_PT - 30
    columns = 2 if width < 900 else 3
    column_width = (width - 18 * (columns - 1)) / columns
    pens: list[Pen] = []
    x, y = 0.0, 0.0
    column = columns
    for text, is_heading in lines:
        broken = wrapped(text, column_width, size_pt=LEAST_PT, is_bold=is_heading)
        for number, line in enumerate(broken):
            # A heading keeps two lines under it, a sentence holds together; only a long text goes on further.
            together = 3 if is_heading else min(len(broken), 4) if number == 0 else 1
            needed = together * LEAST_PT * LEADING
            if column == columns or y - needed < MARGIN_PT:
                column += 1
                if column >= columns:
                    pens.append(Pen(plan.size))
                    column = 0
                    heading = f"{_dateline(sheet.page)} · overleaf {len(pens)}"
                    pens[-1].block(MARGIN_PT, plan.size[1] - MARGIN_PT + 3, bounded(heading, width), size_pt=12.0)
                x, y = MARGIN_PT + column * (column_width + 18), top
            elif is_heading and number == 0:
                y -= 5
            y = pens[-1].block(x, y, [line], size_pt=LEAST_PT, is_bold=is_heading)
    return pens
