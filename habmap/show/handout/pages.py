"""The four landscape pages of the handout: large type for a wall, two maps at one scale, a chart, and what is asked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import matplotlib as mpl
import shapely
from matplotlib.backends.backend_pdf import PdfPages

from habmap.show import words
from habmap.show.handout import words as handout_words
from habmap.show.handout.large_type import HandoutPage
from habmap.show.handout.records import Handout, HandoutFigures, refuse_private_handout
from habmap.show.handout.season_page import draw_season
from habmap.show.palette import INK, INK_SOFT, PAPER_DEEP
from habmap.show.records import Page
from habmap.show.sheet.labels import draw_numerals
from habmap.show.sheet.map import PT_PER_M, Frame, draw_frame, draw_ground, stage_area
from habmap.show.sheet.margin import SCALE_STRIP_PT, draw_scale, scale_words
from habmap.show.sheet.paper import MM_PT, PDF_SETTINGS, SCALES, Paper, fitting_scale
from habmap.show.sheet.pen import LEAST_PT, at_most, text_width_pt, whole_sentences, wrapped
from habmap.show.terrain_words import elevation_words
from habmap.vocabulary import FIRE_CAUTION, SAW_CAUTION, SNAG_CAUTION, STAGE_WORDS, STAGES, file_mark
from habmap.work.season_account import SEASON_WORDS

_LEGEND_PT: Final = 212.0
#: Features that a neighbor finds the way by; marks small as a well, and all private places, stay off the wall.
_LANDMARKS: Final = frozenset({"road", "lane", "creek", "pond", "house", "school", "airport"})
_MOST_UNITS: Final = 4
#: Columns of the stages where they are told below the maps.
_KEY_COLUMNS: Final = 2
#: The chart's three grounds; ink alone, so that a gray print loses nothing.
_LEFT: Final[dict[str, Any]] = {"facecolor": PAPER_DEEP, "edgecolor": INK_SOFT, "linewidth": 0.6}
_BEFORE: Final[dict[str, Any]] = {"facecolor": INK_SOFT, "edgecolor": INK, "linewidth": 0.9}
_ADDED: Final[dict[str, Any]] = {"facecolor": "white", "edgecolor": INK, "linewidth": 0.9, "hatch": "//"}
_KEY: Final = (("treated before", _BEFORE), ("treated that season", _ADDED), ("still to treat", _LEFT))


def draw_handout(handout: Handout, path: Path, *, paper: Paper) -> HandoutFigures:
    """Write the handout as a vector PDF of landscape pages with its fonts embedded: four, and one of the season.

    Raises
    ------
    InputError
        The ground is wider than the smallest scale takes in.
    PrivateOnPublicPageError
        A handout for the public holds a private feature, a name, a note, hours or a cost.
    """
    if handout.page.audience == "public":
        refuse_private_handout(handout)
    leaves = [HandoutPage.of(paper) for _ in range(handout.pages)]
    with mpl.rc_context(PDF_SETTINGS):
        both = _then_and_now(leaves[0], handout)
        _by_season(leaves[1], handout)
        order = _what_comes_next(leaves[2], handout)
        _what_it_takes(leaves[3], handout)
        if handout.season is not None:
            draw_season(leaves[4], handout, handout.season)
        title = f"{handout.page.place}: the story in {'four' if handout.season is None else 'five'} pages"
        made = {"Title": title, "Creator": file_mark("handout", handout.page.audience), "CreationDate": None}
        with PdfPages(path, metadata=made) as book:
            for leaf in leaves:
                book.savefig(leaf.pen.figure)
    width, height = leaves[0].pen.size_pt
    return HandoutFigures(
        then_and_now_scale=both,
        order_scale=order,
        pages=len(leaves),
        width_mm=width / MM_PT,
        height_mm=height / MM_PT,
        least_room_pt=leaves[0].room_pt,
    )


# --- maps ---------------------------------------------------------------------------------------------------


def _for_the_room(page: Page) -> Page:
    """Return the page with only the features that a neighbor finds the way by, and no outlines of patches."""
    shown = tuple(one for one in page.features if one.kind in _LANDMARKS and not one.is_private)
    return replace(page, features=shown, work=())


def _extent(handout: Handout) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Return size and middle of the ground in grid meters; ``None`` where there is none."""
    shapes = [unit.geometry for unit in handout.page.units]
    if handout.page.boundary is not None:
        shapes.append(handout.page.boundary)
    if handout.grid is None or not shapes:
        return None
    left, bottom, right, top = map(float, shapely.total_bounds([handout.grid.to_grid(shape) for shape in shapes]))
    return (right - left, top - bottom), ((left + right) / 2, (bottom + top) / 2)


def _frames(handout: Handout, rooms: Sequence[tuple[float, float, float, float]]) -> tuple[Frame, ...]:
    """Return frames of one scale in rooms of one size (left, bottom, width, height [pt]), drawn in to the ground."""
    extent = _extent(handout)
    if extent is None or handout.grid is None:
        return ()
    (across_m, up_m), middle = extent
    width, height = rooms[0][2:]
    scale = fitting_scale((across_m, up_m), (width, height), mend="look for an outline drawn far away")
    # A frame no wider than its ground wants leaves the paper around it clean.
    air = 1.04 * PT_PER_M / scale
    wide, high = min(width, max(across_m * air, width / 2)), min(height, max(up_m * air, height / 2))
    return tuple(
        Frame(left + (width - wide) / 2, bottom + height - high, wide, high, scale, middle, handout.grid)
        for left, bottom, _, _ in rooms
    )


def _strip_pt(leaf: HandoutPage) -> float:
    return SCALE_STRIP_PT * leaf.near_pt / LEAST_PT + 4


def _nothing_to_draw(leaf: HandoutPage, handout: Handout, top: float, floor: float) -> None:
    leaf.tell(
        ["There is no ground to draw yet.", *handout.page.missing],
        leaf.left, top, leaf.width, floor,
    )  # fmt: skip


def _then_and_now(leaf: HandoutPage, handout: Handout) -> int | None:
    page, pen = handout.page, leaf.pen
    top = leaf.head(words.headline(page))
    cautions = (SAW_CAUTION, FIRE_CAUTION)  # its sentence names the ground that comes next
    floor = leaf.stand(leaf.foot(handout, 1, cautions=cautions, more=elevation_words(page)))
    also = whole_sentences(2, f"{page.place}. {words.also(page)}", leaf.width, size_pt=leaf.room_pt)
    pen.block(leaf.left, floor + len(also) * leaf.line - leaf.gap / 2, also, size_pt=leaf.room_pt)
    floor += len(also) * leaf.line
    legend = _LEGEND_PT * leaf.k
    bottom = floor + _strip_pt(leaf)
    high = top - leaf.line - bottom
    width = (leaf.width - legend - 2 * leaf.gap) / 2
    beside = [(leaf.left + number * (width + leaf.gap), bottom, width, high) for number in (0, 1)]
    # Of a wide property two maps one under the other come out larger than two side by side.
    low = (high - leaf.line - leaf.gap / 2) / 2
    across = leaf.width - legend - leaf.gap
    under = [(leaf.left, bottom + number * (low + leaf.line + leaf.gap / 2), across, low) for number in (1, 0)]
    # Or side by side over the whole page, the stages told in rows below them.
    rows_pt = -(-len(_present(handout)) // _KEY_COLUMNS) * leaf.line + leaf.gap / 2
    half = (leaf.width - leaf.gap) / 2
    over = [(leaf.left + n * (half + leaf.gap), bottom + rows_pt, half, high - rows_pt) for n in (0, 1)]
    extent = _extent(handout)
    ways = [beside, under, over] if extent is not None and extent[0][0] > 1.3 * extent[0][1] else [beside]
    frames, rooms = min(((_frames(handout, rooms), rooms) for rooms in ways), key=lambda one: _scale_of(one[0]))
    if not frames:
        _nothing_to_draw(leaf, handout, top, floor)
        return None
    now = "Nothing done yet" if page.on is None else words.short_day(page.on)
    for frame, shown, title in zip(frames, (handout.then, page), ("Before any work", now), strict=True):
        y = frame.bottom + frame.height + leaf.line - 0.86 * leaf.room_pt
        pen.text(frame.left, y, title, size_pt=leaf.room_pt, is_serif=True, is_bold=True)
        draw_ground(pen, frame, _for_the_room(shown))
        draw_frame(pen, frame)
    draw_scale(
        pen, frames[1], left=leaf.left, right=rooms[1][0] + rooms[1][2], top=frames[1].bottom, size_pt=leaf.near_pt
    )  # fmt: skip
    if rooms is over:
        column = leaf.width / _KEY_COLUMNS
        present, deep = _present(handout), -(-len(_present(handout)) // _KEY_COLUMNS)
        for n in range(_KEY_COLUMNS):
            some = present[n * deep : (n + 1) * deep]
            left = leaf.left + n * column
            _stages(leaf, some, left=left, right=left + column, top=floor + rows_pt, floor=floor)
    else:
        _stages(leaf, _present(handout), left=leaf.right - legend, right=leaf.right, top=top, floor=floor)
    return frames[0].scale


def _scale_of(frames: Sequence[Frame]) -> int:
    return frames[0].scale if frames else 0


def _present(handout: Handout) -> list[str]:
    """Return the stages of either map."""
    pieces = (*handout.then.pieces, *handout.page.pieces)
    return [stage for stage in STAGES if any(piece.stage == stage for piece in pieces)]


def _stages(leaf: HandoutPage, present: Sequence[str], *, left: float, right: float, top: float, floor: float) -> None:
    """Tell stages as a list downward."""
    pen, k = leaf.pen, leaf.k
    swatch = (34 * k, 19 * k)
    told = [(stage, wrapped(STAGE_WORDS[stage], right - left - swatch[0] - 9 * k, size_pt=leaf.room_pt))
            for stage in present]  # fmt: skip
    step = min(leaf.line, (top - floor) / max(1, sum(len(lines) for _, lines in told)))
    for stage, lines in told:
        box_bottom = top - 0.87 * leaf.room_pt
        stage_area(pen, shapely.box(left, box_bottom, left + swatch[0], box_bottom + swatch[1]), stage)
        pen.box(left, box_bottom, *swatch, edgecolor=INK, linewidth=0.9)
        for line in lines:
            pen.text(left + swatch[0] + 9 * k, top - 0.82 * leaf.room_pt, line, size_pt=leaf.room_pt, is_serif=True)
            top -= step


# --- the account by season ----------------------------------------------------------------------------------


def _by_season(leaf: HandoutPage, handout: Handout) -> None:
    top = leaf.head(handout_words.by_season(handout))
    more = [
        SEASON_WORDS, handout_words.running(handout), "Ground treated once is counted in its first season.",
        handout_words.left_on_purpose(handout),
    ]  # fmt: skip
    floor = leaf.stand(leaf.foot(handout, 2, cautions=handout.page.cautions, more=[one for one in more if one]))
    told = at_most(4, wrapped(handout_words.practices(handout), leaf.width, size_pt=leaf.room_pt))
    floor += len(told) * leaf.line + leaf.gap / 2
    leaf.pen.block(leaf.left, floor - leaf.gap / 2, told, size_pt=leaf.room_pt)
    if not handout.account.seasons:
        leaf.tell(handout.page.missing, leaf.left, top, leaf.width, floor)
        return
    table = 352 * leaf.k
    _season_table(leaf, handout, left=leaf.right - table, top=top, floor=floor)
    _season_chart(leaf, handout, width=leaf.width - table - 2 * leaf.gap, top=top, floor=floor)


def _season_table(leaf: HandoutPage, handout: Handout, *, left: float, top: float, floor: float) -> None:
    pen, size, k = leaf.pen, leaf.room_pt, leaf.k
    row = 31 * k
    columns = (left, left + 226 * k, leaf.right)
    y = top - 0.86 * size
    for x, title, align in zip(columns, ("season", "treated", "remain"), ("left", "right", "right"), strict=True):
        pen.text(x, y, title, size_pt=size, is_bold=True, align=align)
    pen.rule([(left, y - 7 * k), (leaf.right, y - 7 * k)], 1.4)
    key_pt = len(_KEY) * row + leaf.gap
    most = max(1, int((y - 7 * k - floor - key_pt) / row))
    for cells in handout_words.season_rows(handout, most):
        y -= row
        for x, cell, align in zip(columns, cells, ("left", "right", "right"), strict=True):
            pen.text(x, y - 3 * k, cell, size_pt=size, align=align)
        pen.rule([(left, y - 10 * k), (leaf.right, y - 10 * k)], 0.4, edgecolor=INK_SOFT)
    y = floor + key_pt
    for title, style in _KEY:
        y -= row
        pen.box(left, y, 34 * k, 19 * k, **style)
        pen.text(left + 43 * k, y + 1.5 * k, title, size_pt=size, is_serif=True)


def _season_chart(leaf: HandoutPage, handout: Handout, *, width: float, top: float, floor: float) -> None:
    """Draw cumulative treated acres as one column a season: dark what was treated before, hatched what it added."""
    pen, size, k = leaf.pen, leaf.room_pt, leaf.k
    full = handout.page.totals.cedar_acres
    pen.text(
        leaf.left, top - 0.86 * size, f"Treated, of {words.tenths(full)} cedar acres",
        size_pt=size, is_serif=True, is_bold=True,
    )  # fmt: skip
    seasons = handout.account.seasons
    base, high = floor + leaf.line, top - 2 * leaf.line - 4 * k
    # Cedar left on purpose after a season is in its column still, so a column may be taller than the last one.
    full = max(full, *(one.cumulative_treated_acres + one.remaining_acres for one in seasons), 1e-9)
    step = width / len(seasons)
    wide = min(0.72 * step, 92 * k)
    label_pt = max(text_width_pt(season.label, size_pt=size, is_serif=True) for season in seasons) + 6 * k
    every = max(1, -(-int(label_pt) // max(1, int(step))))
    for index, season in enumerate(seasons):
        middle = leaf.left + (index + 0.5) * step
        left = middle - wide / 2
        before = (season.cumulative_treated_acres - season.treated_acres) / full * (high - base)
        done = season.cumulative_treated_acres / full * (high - base)
        ground = (season.cumulative_treated_acres + season.remaining_acres) / full * (high - base)
        pen.box(left, base, wide, ground, **_LEFT)
        pen.box(left, base, wide, before, **_BEFORE)
        pen.box(left, base + before, wide, done - before, **_ADDED)
        # Counted from the newest, so that it always has its name and figure.
        if (len(seasons) - 1 - index) % every == 0:
            at = min(max(middle, leaf.left + label_pt / 2), leaf.left + width - label_pt / 2)
            total = words.tenths(season.cumulative_treated_acres)
            pen.text(at, base + done + 6 * k, total, size_pt=size, is_serif=True, is_bold=True, align="center",
                     halo_pt=2.0)  # fmt: skip
            pen.text(at, floor + 8 * k, season.label, size_pt=size, is_serif=True, align="center")
    pen.rule([(leaf.left, base), (leaf.left + width, base)], 1.4)


# --- what comes next, and what it takes ---------------------------------------------------------------------


def _what_comes_next(leaf: HandoutPage, handout: Handout) -> int | None:
    pen = leaf.pen
    top = leaf.head(handout_words.comes_next(handout))
    cautions = (SAW_CAUTION, FIRE_CAUTION, SNAG_CAUTION)
    day = f"Numerals give the order of work; what is due is told as of {words.day_words(handout.due_on)}."
    # The scale follows from the room above the foot, so the foot is measured first with the longest scale there is.
    trial = [day, scale_words(SCALES[-1], 0.01), _without_numeral(len(handout.page.units))]
    floor = leaf.over(leaf.foot(handout, 3, cautions=cautions, more=trial))
    bottom = floor + _strip_pt(leaf)
    width = min(0.42 * leaf.width, top - bottom)
    frames = _frames(handout, [(leaf.left, bottom, width, top - bottom)])
    if not frames:
        _nothing_to_draw(leaf, handout, top, leaf.stand(leaf.foot(handout, 3, cautions=cautions, more=[day])))
        return None
    (frame,) = frames
    convergence_deg = frame.grid.convergence_deg(*frame.middle_lonlat)
    draw_ground(pen, frame, _for_the_room(handout.page))
    left_out = draw_numerals(pen, frame, handout.page.units, size_pt=leaf.room_pt, named=_MOST_UNITS)
    more = [day, scale_words(frame.scale, convergence_deg), *([_without_numeral(left_out)] if left_out else [])]
    leaf.stand(leaf.foot(handout, 3, cautions=cautions, more=more))
    draw_frame(pen, frame)
    draw_scale(
        pen, frame, left=leaf.left, right=leaf.left + width, top=frame.bottom, size_pt=leaf.near_pt, has_words=False
    )
    left = leaf.left + width + 1.5 * leaf.gap
    room = leaf.right - left
    due = _in_room(handout_words.due(handout), room, size_pt=leaf.room_pt, most=3)
    due_pt = len(due) * leaf.line + leaf.gap
    for unit in handout.next_units[:_MOST_UNITS]:
        heading = at_most(2, wrapped(handout_words.unit_heading(unit), room, size_pt=leaf.room_pt, is_bold=True))
        reasons = wrapped(handout_words.unit_reasons(unit), room, size_pt=leaf.room_pt)
        if top - (len(heading) + len(reasons)) * leaf.line < floor + due_pt:
            break
        top = pen.block(left, top, heading, size_pt=leaf.room_pt, is_bold=True)
        top = pen.block(left, top, reasons, size_pt=leaf.room_pt) - 5 * leaf.k
    pen.block(left, floor + len(due) * leaf.line - leaf.gap / 2, due, size_pt=leaf.room_pt)
    return frame.scale


def _without_numeral(count: int) -> str:
    return f"On {count} of the units there is no room for a numeral; the sheet and the map have them all."


def _in_room(parts: Sequence[str], width: float, *, size_pt: float, most: int) -> list[str]:
    """Return parts as one sentence in at most so many lines; parts without room are counted, not cut."""
    for count in range(len(parts), 0, -1):
        rest = "" if count == len(parts) else f"; and {len(parts) - count} more"
        lines = wrapped(f"{'; '.join(parts[:count]).rstrip('.')}{rest}.", width, size_pt=size_pt)
        if len(lines) <= most:
            return lines
    return at_most(most, lines)


def _what_it_takes(leaf: HandoutPage, handout: Handout) -> None:
    pen = leaf.pen
    top = leaf.head(handout_words.remains(handout))
    rests = [] if handout.effort is None else [
        f"Hours rest on {handout.effort.rests_on}; money on {handout.effort.cost_rests_on}; ranges are 95% limits."
    ]  # fmt: skip
    if not handout.ask and handout.page.audience == "owner":
        rests.append("What is asked is drawn from the figures; your own list goes under [handout] in habmap.toml.")
    floor = leaf.stand(leaf.foot(handout, 4, cautions=(SAW_CAUTION, FIRE_CAUTION), more=rests))
    half = (leaf.width - 2 * leaf.gap) / 2
    taken = (
        handout_words.remaining_sentences(handout)
        if handout.effort is None
        else handout_words.effort_sentences(
            handout.effort, remaining_acres=handout.page.totals.remaining_acres, contract=handout.contract
        )
    )
    columns = (
        ("What remains" if handout.effort is None else "What it takes", taken, ""),
        ("What help is asked", handout_words.asked(handout), "–"),
    )
    for number, (title, texts, mark) in enumerate(columns):
        left = leaf.left + number * (half + 2 * leaf.gap)
        y = pen.block(left, top, [title], size_pt=leaf.room_pt, is_bold=True) - 4 * leaf.k
        pen.rule([(left, y + 3 * leaf.k), (left + half, y + 3 * leaf.k)], 1.2)
        leaf.tell(texts, left, y, half, floor, mark=mark)
