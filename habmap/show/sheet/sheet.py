"""The printed sheet: the answer, the land at one true scale, the account, and how the numbers were made.

One page holds all that a wall needs; what was done on each patch, and units that had no room, follow overleaf.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final, Literal

import shapely
from shapely.geometry.base import BaseGeometry

from habmap.errors import no_ground, no_such_unit
from habmap.land.grid import LocalGrid
from habmap.show import words
from habmap.show.copy_words import COPY_WORDS
from habmap.show.records import Page, refuse_private
from habmap.show.sheet.account import Account
from habmap.show.sheet.edge_figures import figures_around, tick_words
from habmap.show.sheet.labels import draw_words
from habmap.show.sheet.legend import legend_height_pt
from habmap.show.sheet.locator import Locator
from habmap.show.sheet.map import Frame, draw_frame, draw_ground, drawn_in_to_relief
from habmap.show.sheet.margin import GAP_PT, LONG_SCALE, Foot, draw_scale, scale_words, strip_pt
from habmap.show.sheet.overleaf import Overleaf
from habmap.show.sheet.paper import GROWN, MM_PT, SIZES_PT, Paper, fitting_scale
from habmap.show.sheet.pdf import pdf_of
from habmap.show.sheet.pen import LEADING, LEAST_PT, Pen, at_most, wrapped
from habmap.show.terrain_words import elevation_words
from habmap.vocabulary import file_mark

MARGIN_PT: Final = 25.0
_HEADLINE_PT: Final = 17.0
#: Width of the account beside the map [pt].
_SIDE_PT: Final = 318.0
#: So many units have room for their numbers on any map; of more it may have to be said that some have none.
_FEW_UNITS: Final = 24


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
    neighbors
        Outlines of the other units (lon/lat), drawn faintly.
    """

    page: Page
    grid: LocalGrid
    unit_id: str | None = None
    neighbors: tuple[BaseGeometry, ...] = ()


@dataclass(frozen=True, kw_only=True)
class SheetFigures:
    """What a drawn sheet measures.

    Attributes
    ----------
    scale
        The N of 1:N; true when printed at 100%.
    orientation, width_mm, height_mm, pages
        How the paper lies, its size [mm] and how many pages there are.
    convergence_deg
        The grid's convergence at the sheet's middle: a true bearing is a grid bearing plus this [°].
    """

    scale: int
    orientation: Literal["landscape", "portrait"]
    width_mm: float
    height_mm: float
    pages: int
    convergence_deg: float


@dataclass(frozen=True, slots=True)
class _Layout:
    """One way to lay out the first page [pt]: the map's frame, the strip under it, and where the account goes."""

    orientation: Literal["landscape", "portrait"]
    size: tuple[float, float]
    head: list[str]
    also: list[str]
    foot: Foot
    frame: tuple[float, float, float, float]
    account: tuple[float, float, float, float]
    scale: int
    grow: float
    strip: float


def file_name(unit_id: str | None) -> str:
    """Return what the sheet of the property, or of a unit, is called where nobody says otherwise."""
    if unit_id is None:
        return "sheet.pdf"
    plain = "".join(sign if sign.isalnum() or sign in "-_" else "_" for sign in unit_id)
    return f"sheet-{plain}.pdf"


def sheet_of(page: Page, *, grid: LocalGrid | None, unit_id: str | None) -> Sheet:
    """Return what a sheet of the property, or of one unit, shows of a page.

    Raises
    ------
    InputError
        There is no such unit, or no ground to draw.
    """
    if grid is None:
        raise no_ground("there is no ground to draw")
    if unit_id is None:
        return Sheet(page=page, grid=grid)
    neighbors = tuple(unit.geometry for unit in page.units if unit.unit_id != unit_id)
    return Sheet(page=_only(page, unit_id), grid=grid, unit_id=unit_id, neighbors=neighbors)


def _only(page: Page, unit_id: str) -> Page:
    """Return the page cut down to one unit: its ground, its work, its acres.

    Raises
    ------
    InputError
        There is no such unit.
    """
    unit = next((one for one in page.units if one.unit_id == unit_id), None)
    if unit is None:
        raise no_such_unit(unit_id, [one.unit_id for one in page.units])
    return replace(
        page,
        units=(unit,),
        totals=unit,
        pieces=tuple(piece for piece in page.pieces if piece.unit_id == unit_id),
        work=tuple(work for work in page.work if work.unit_acres.get(unit_id, 0.0) > 0),
        shares=tuple(share for share in page.shares if share.unit_id == unit_id),
    )


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
        raise no_ground("there is no ground to draw")
    extent_m = shapely.total_bounds([sheet.grid.to_grid(shape) for shape in shapes])
    size_m = (float(extent_m[2] - extent_m[0]), float(extent_m[3] - extent_m[1]))
    middle_xy = (float(extent_m[0] + extent_m[2]) / 2, float(extent_m[1] + extent_m[3]) / 2)
    grow = GROWN[paper]
    short, long = (side / grow for side in SIZES_PT[paper])
    at = sheet.grid.to_lonlat(shapely.Point(middle_xy))
    layouts = [_layout(sheet, size_m, size, grow, (at.x, at.y)) for size in ((long, short), (short, long))]
    layout = min(layouts, key=lambda one: one.scale)
    pages, frame = _pages(sheet, layout, middle_xy)
    title = f"{page.place}: " + ("map sheet" if sheet.unit_id is None else f"unit {sheet.unit_id}")
    path.write_bytes(pdf_of(pages, title=title, creator=file_mark("sheet", page.audience)))
    return SheetFigures(
        scale=layout.scale,
        orientation=layout.orientation,
        width_mm=layout.size[0] * grow / MM_PT,
        height_mm=layout.size[1] * grow / MM_PT,
        pages=len(pages),
        convergence_deg=sheet.grid.convergence_deg(*frame.middle_lonlat),
    )


def headline(sheet: Sheet) -> str:
    """Return the answer in one sentence, for the property or for the one unit."""
    page = sheet.page
    if sheet.unit_id is None or not page.units:
        return words.headline(page)
    (unit,) = page.units
    title = words.unit_title(unit)
    if unit.cedar_acres < words.SPOKEN_ACRES:
        return f"{title}: {words.tenths(unit.acres)} acres, none of it counted as cedar ground to work."
    left = (
        "nothing remains"
        if unit.remaining_acres < words.SPOKEN_ACRES
        else f"{words.tenths(unit.remaining_acres)} remain"
    )
    return (
        f"{title}: {words.tenths(unit.treated_acres)} of {words.tenths(unit.cedar_acres)} cedar acres treated; {left}."
    )


def _dateline(page: Page) -> str:
    state = "before any logged work" if page.on is None else f"work up to {words.short_day(page.on)}"
    return f"{page.place} · {state} · drawn {words.short_day(page.drawn_on)} · {COPY_WORDS[page.audience]}"


def _locator(sheet: Sheet) -> Locator:
    """Return where a unit lies on its property, or where a property lies among the degrees."""
    page = sheet.page
    own = shapely.union_all([shapely.make_valid(unit.geometry) for unit in page.units])
    around = [*sheet.neighbors, *([] if page.boundary is None else [page.boundary])]
    if sheet.unit_id is not None and around:
        return Locator.on_property(sheet.grid, own, around, sheet.unit_id)
    return Locator.among_degrees(sheet.grid, own if page.boundary is None else page.boundary)


def _how(sheet: Sheet) -> list[str]:
    lines = [_locator(sheet).words, *sheet.page.method]
    lines += elevation_words(sheet.page)
    lines.append("Outlines are as true as the walk or the tracing they came from; ± is one standard deviation.")
    return lines + list(sheet.page.missing)


def _told(sheet: Sheet, scale: int, lonlat: tuple[float, float], ticks: str, *, unnumbered: int) -> str:
    """Return what stands in the strip under the map."""
    words_ = f"{scale_words(scale, sheet.grid, lonlat, day=sheet.page.drawn_on)} {ticks}"
    if unnumbered == 0:
        return words_
    of = "number of 1 unit" if unnumbered == 1 else f"numbers of {unnumbered} units"
    return f"{words_} No room here for the {of}."


def _layout(
    sheet: Sheet, size_m: tuple[float, float], size: tuple[float, float], grow: float, lonlat: tuple[float, float]
) -> _Layout:
    width = size[0] - 2 * MARGIN_PT
    head = at_most(3, wrapped(headline(sheet), width, size_pt=_HEADLINE_PT, is_bold=True))
    said = [words.also(sheet.page)] if sheet.unit_id is None else []
    said += [*words.beside_stages(sheet.page.units), _dateline(sheet.page)]
    also = at_most(3, wrapped(" ".join(said), width, size_pt=10.0))
    top = size[1] - MARGIN_PT - LEADING * (_HEADLINE_PT * len(head) + 10.0 * len(also)) - GAP_PT + 3
    foot = Foot.of(sheet.page.cautions, _how(sheet), width, size_pt=LEAST_PT)
    bottom = MARGIN_PT + foot.height + GAP_PT - 2
    account = Account.of(sheet.page)
    map_width = width - _SIDE_PT - 14 if size[0] > size[1] else width
    strip = strip_pt(
        _told(sheet, LONG_SCALE, lonlat, tick_words(lonlat), unnumbered=max(0, len(sheet.page.units) - _FEW_UNITS)),
        map_width,
        has_locator=True,
    )
    if size[0] > size[1]:
        frame = (MARGIN_PT, bottom + strip, map_width, top - bottom - strip)
        beside = (size[0] - MARGIN_PT - _SIDE_PT, bottom, _SIDE_PT, top - bottom)
    else:
        wanted = max(account.height_pt(width), 170.0) if sheet.page.units else legend_height_pt(sheet.page, width)
        lower = min(wanted + legend_height_pt(sheet.page, width), 0.45 * (top - bottom))
        frame = (MARGIN_PT, bottom + lower + GAP_PT + strip, width, 0.0)
        frame = (*frame[:3], top - frame[1])
        beside = (MARGIN_PT, bottom, width, lower)
    scale = fitting_scale(
        size_m,
        (frame[2] * grow, frame[3] * grow),
        mend="look for an outline drawn far away, or draw one unit with --unit",
    )
    orientation: Literal["landscape", "portrait"] = "landscape" if size[0] > size[1] else "portrait"
    return _Layout(orientation, size, head, also, foot, frame, beside, scale, grow, strip)


def _pages(sheet: Sheet, layout: _Layout, middle_xy: tuple[float, float]) -> tuple[list[Pen], Frame]:
    page = sheet.page
    if page.relief is not None:
        page = replace(page, relief=page.relief.at_scale(layout.scale))
    pen = Pen(layout.size, grow=layout.grow, name="Map and account")
    y = pen.block(MARGIN_PT, layout.size[1] - MARGIN_PT + 3, layout.head, size_pt=_HEADLINE_PT, is_bold=True)
    pen.block(MARGIN_PT, y, layout.also, size_pt=10.0)
    frame = Frame(*layout.frame, layout.scale, middle_xy, sheet.grid, layout.grow)
    if page.relief is not None:
        shapes = [unit.geometry for unit in page.units]
        shapes += [page.boundary] if page.boundary is not None and sheet.unit_id is None else []
        frame = drawn_in_to_relief(frame, page.relief, shapely.union_all([frame.on_paper(one) for one in shapes]))
    around = figures_around(frame)
    draw_ground(pen, frame, page, neighbors=sheet.neighbors)
    unnumbered = draw_words(pen, frame, page, clear=around.boxes)
    draw_frame(pen, frame)
    around.draw(pen)
    told, short = (
        _told(sheet, frame.scale, frame.middle_lonlat, around.words, unnumbered=count) for count in (unnumbered, 0)
    )
    if strip_pt(told, layout.frame[2], has_locator=True) > layout.strip:  # the table has every unit all the same
        told = short
    draw_scale(
        pen,
        frame,
        left=layout.frame[0],
        right=layout.frame[0] + layout.frame[2],
        top=frame.bottom,
        told=told,
        day=page.drawn_on,
        locator=_locator(sheet),
    )
    # The legend tells what is on this map, not what lies beyond its edge.
    window = shapely.box(*frame.box)
    features = tuple(one for one in page.features if frame.on_paper(one.geometry).intersects(window))
    account = Account.of(replace(page, features=features))
    is_one_unit = sheet.unit_id is not None
    first = account.draw(pen, layout.account, is_one_unit=is_one_unit)
    layout.foot.draw(pen, MARGIN_PT, MARGIN_PT)
    if first is None:
        return [pen], frame
    leaves = Overleaf(_dateline(sheet.page), layout.size, layout.grow, MARGIN_PT)
    return [pen, *leaves.draw(account, first, is_one_unit=is_one_unit)], frame
