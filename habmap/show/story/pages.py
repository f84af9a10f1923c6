"""The story's four landscape pages, drawn for a wall: large type, two maps at one scale, a chart, and what is asked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import matplotlib as mpl
import shapely
from matplotlib.backends.backend_pdf import PdfPages

from habmap.show import words
from habmap.show.palette import INK, INK_SOFT, PAPER_DEEP
from habmap.show.records import Page
from habmap.show.sheet.labels import draw_numerals
from habmap.show.sheet.map import PT_PER_M, Frame, draw_frame, draw_ground, stage_area
from habmap.show.sheet.margin import SCALE_STRIP_PT, draw_scale, scale_words
from habmap.show.sheet.paper import MM_PT, PDF_SETTINGS, SCALES, Paper, fitting_scale
from habmap.show.sheet.pen import LEAST_PT, at_most, text_width_pt, whole_sentences, wrapped
from habmap.show.story import words as story_words
from habmap.show.story.board import Board
from habmap.show.story.story import Story, StoryFigures, refuse_private_story
from habmap.vocabulary import FIRE_CAUTION, LABEL_CAUTION, SAW_CAUTION, SNAG_CAUTION, STAGE_WORDS, STAGES, file_mark
from habmap.work.season_account import SEASON_WORDS

_LEGEND_PT: Final = 212.0
#: Features that a neighbour finds the way by; marks small as a well, and all private places, stay off the wall.
_LANDMARKS: Final = frozenset({"road", "lane", "creek", "pond", "house", "school", "airport"})
_MOST_UNITS: Final = 4
#: Columns of the stages where they are told below the maps.
_KEY_COLUMNS: Final = 2
#: The chart's three grounds; ink alone, so that a grey print loses nothing.
_LEFT: Final[dict[str, Any]] = {"facecolor": PAPER_DEEP, "edgecolor": INK_SOFT, "linewidth": 0.6}
_BEFORE: Final[dict[str, Any]] = {"facecolor": INK_SOFT, "edgecolor": INK, "linewidth": 0.9}
_ADDED: Final[dict[str, Any]] = {"facecolor": "white", "edgecolor": INK, "linewidth": 0.9, "hatch": "//"}
_KEY: Final = (("treated before", _BEFORE), ("treated that season", _ADDED), ("still to treat", _LEFT))


def draw_story(story: Story, path: Path, *, paper: Paper) -> StoryFigures:
    """Write the story as a vector PDF of four landscape pages with its fonts embedded.

    Raises
    ------
    InputError
        The ground is wider than the smallest scale takes in.
    PrivateOnPublicPageError
        A story for the public holds a private feature, a name, a note, hours or a cost.
    """
    if story.page.audience == "public":
        refuse_private_story(story)
    boards = [Board.of(paper) for _ in range(4)]
    with mpl.rc_context(PDF_SETTINGS):
        both = _then_and_now(boards[0], story)
        _by_season(boards[1], story)
        order = _what_comes_next(boards[2], story)
        _what_it_takes(boards[3], story)
        title = f"{story.page.place}: the story in four pages"
        made = {"Title": title, "Creator": file_mark("handout", story.page.audience), "CreationDate": None}
        with PdfPages(path, metadata=made) as book:
            for board in boards:
                book.savefig(board.pen.figure)
    width, height = boards[0].pen.size_pt
    return StoryFigures(
        then_and_now_scale=both,
        order_scale=order,
        pages=len(boards),
        width_mm=width / MM_PT,
        height_mm=height / MM_PT,
        least_room_pt=boards[0].room_pt,
    )


# --- maps ---------------------------------------------------------------------------------------------------


def _for_the_room(page: Page) -> Page:
    """Return the page with only the features that a neighbour finds the way by, and no outlines of patches."""
    shown = tuple(one for one in page.features if one.kind in _LANDMARKS and not one.is_private)
    return replace(page, features=shown, work=())


def _extent(story: Story) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Return size and middle of the ground in grid metres; ``None`` where there is none."""
    shapes = [unit.geometry for unit in story.page.units]
    if story.page.boundary is not None:
        shapes.append(story.page.boundary)
    if story.grid is None or not shapes:
        return None
    left, bottom, right, top = map(float, shapely.total_bounds([story.grid.to_grid(shape) for shape in shapes]))
    return (right - left, top - bottom), ((left + right) / 2, (bottom + top) / 2)


def _frames(story: Story, rooms: Sequence[tuple[float, float, float, float]]) -> tuple[Frame, ...]:
    """Return frames of one scale in rooms of one size (left, bottom, width, height [pt]), drawn in to the ground."""
    extent = _extent(story)
    if extent is None or story.grid is None:
        return ()
    (across_m, up_m), middle = extent
    width, height = rooms[0][2:]
    scale = fitting_scale((across_m, up_m), (width, height), mend="look for an outline drawn far away")
    # A frame no wider than its ground wants leaves the paper around it clean.
    air = 1.04 * PT_PER_M / scale
    wide, high = min(width, max(across_m * air, width / 2)), min(height, max(up_m * air, height / 2))
    return tuple(
        Frame(left + (width - wide) / 2, bottom + height - high, wide, high, scale, middle, story.grid)
        for left, bottom, _, _ in rooms
    )


def _strip_pt(board: Board) -> float:
    return SCALE_STRIP_PT * board.near_pt / LEAST_PT + 4


def _nothing_to_draw(board: Board, story: Story, top: float, floor: float) -> None:
    board.tell(
        ["There is no ground to draw yet.", *story.page.missing],
        board.left, top, board.width, floor,
    )  # fmt: skip


def _then_and_now(board: Board, story: Story) -> int | None:
    page, pen = story.page, board.pen
    top = board.head(words.headline(page))
    cautions = (SAW_CAUTION, FIRE_CAUTION)  # its sentence names the ground that comes next
    floor = board.stand(
        board.foot(story, 1, cautions=cautions, more=[] if story.elevation is None else [story.elevation])
    )
    also = whole_sentences(2, f"{page.place}. {words.also(page)}", board.width, size_pt=board.room_pt)
    pen.block(board.left, floor + len(also) * board.line - board.gap / 2, also, size_pt=board.room_pt)
    floor += len(also) * board.line
    legend = _LEGEND_PT * board.k
    bottom = floor + _strip_pt(board)
    high = top - board.line - bottom
    width = (board.width - legend - 2 * board.gap) / 2
    beside = [(board.left + number * (width + board.gap), bottom, width, high) for number in (0, 1)]
    # Of a wide property two maps one under the other come out larger than two side by side.
    low = (high - board.line - board.gap / 2) / 2
    across = board.width - legend - board.gap
    under = [(board.left, bottom + number * (low + board.line + board.gap / 2), across, low) for number in (1, 0)]
    # Or side by side over the whole page, the stages told in rows below them.
    rows_pt = -(-len(_present(story)) // _KEY_COLUMNS) * board.line + board.gap / 2
    half = (board.width - board.gap) / 2
    over = [(board.left + n * (half + board.gap), bottom + rows_pt, half, high - rows_pt) for n in (0, 1)]
    extent = _extent(story)
    ways = [beside, under, over] if extent is not None and extent[0][0] > 1.3 * extent[0][1] else [beside]
    frames, rooms = min(((_frames(story, rooms), rooms) for rooms in ways), key=lambda one: _scale_of(one[0]))
    if not frames:
        _nothing_to_draw(board, story, top, floor)
        return None
    now = "Nothing done yet" if page.on is None else words.short_day(page.on)
    for frame, shown, title in zip(frames, (story.then, page), ("Before any work", now), strict=True):
        y = frame.bottom + frame.height + board.line - 0.86 * board.room_pt
        pen.text(frame.left, y, title, size_pt=board.room_pt, is_serif=True, is_bold=True)
        draw_ground(pen, frame, _for_the_room(shown))
        draw_frame(pen, frame)
    draw_scale(
        pen, frames[1], left=board.left, right=rooms[1][0] + rooms[1][2], top=frames[1].bottom, size_pt=board.near_pt
    )  # fmt: skip
    if rooms is over:
        column = board.width / _KEY_COLUMNS
        present, deep = _present(story), -(-len(_present(story)) // _KEY_COLUMNS)
        for n in range(_KEY_COLUMNS):
            some = present[n * deep : (n + 1) * deep]
            left = board.left + n * column
            _stages(board, some, left=left, right=left + column, top=floor + rows_pt, floor=floor)
    else:
        _stages(board, _present(story), left=board.right - legend, right=board.right, top=top, floor=floor)
    return frames[0].scale


def _scale_of(frames: Sequence[Frame]) -> int:
    return frames[0].scale if frames else 0


def _present(story: Story) -> list[str]:
    """Return the stages of either map."""
    pieces = (*story.then.pieces, *story.page.pieces)
    return [stage for stage in STAGES if any(piece.stage == stage for piece in pieces)]


def _stages(board: Board, present: Sequence[str], *, left: float, right: float, top: float, floor: float) -> None:
    """Tell stages as a list downward."""
    pen, k = board.pen, board.k
    swatch = (34 * k, 19 * k)
    told = [(stage, wrapped(STAGE_WORDS[stage], right - left - swatch[0] - 9 * k, size_pt=board.room_pt))
            for stage in present]  # fmt: skip
    step = min(board.line, (top - floor) / max(1, sum(len(lines) for _, lines in told)))
    for stage, lines in told:
        box_bottom = top - 0.87 * board.room_pt
        stage_area(pen, shapely.box(left, box_bottom, left + swatch[0], box_bottom + swatch[1]), stage)
        pen.box(left, box_bottom, *swatch, edgecolor=INK, linewidth=0.9)
        for line in lines:
            pen.text(left + swatch[0] + 9 * k, top - 0.82 * board.room_pt, line, size_pt=board.room_pt, is_serif=True)
            top -= step


# --- the account by season ----------------------------------------------------------------------------------


def _by_season(board: Board, story: Story) -> None:
    top = board.head(story_words.by_season(story))
    more = [
        SEASON_WORDS, story_words.running(story), "Ground treated once is counted in its first season.",
        story_words.left_on_purpose(story),
    ]  # fmt: skip
    cautions = (SAW_CAUTION, FIRE_CAUTION, LABEL_CAUTION)
    floor = board.stand(board.foot(story, 2, cautions=cautions, more=[one for one in more if one]))
    told = at_most(4, wrapped(story_words.practices(story), board.width, size_pt=board.room_pt))
    floor += len(told) * board.line + board.gap / 2
    board.pen.block(board.left, floor - board.gap / 2, told, size_pt=board.room_pt)
    if not story.seasons:
        board.tell(story.page.missing, board.left, top, board.width, floor)
        return
    table = 352 * board.k
    _season_table(board, story, left=board.right - table, top=top, floor=floor)
    _season_chart(board, story, width=board.width - table - 2 * board.gap, top=top, floor=floor)


def _season_table(board: Board, story: Story, *, left: float, top: float, floor: float) -> None:
    pen, size, k = board.pen, board.room_pt, board.k
    row = 31 * k
    columns = (left, left + 226 * k, board.right)
    y = top - 0.86 * size
    for x, title, align in zip(columns, ("season", "treated", "remain"), ("left", "right", "right"), strict=True):
        pen.text(x, y, title, size_pt=size, is_bold=True, align=align)
    pen.rule([(left, y - 7 * k), (board.right, y - 7 * k)], 1.4)
    key_pt = len(_KEY) * row + board.gap
    most = max(1, int((y - 7 * k - floor - key_pt) / row))
    for cells in story_words.season_rows(story, most):
        y -= row
        for x, cell, align in zip(columns, cells, ("left", "right", "right"), strict=True):
            pen.text(x, y - 3 * k, cell, size_pt=size, align=align)
        pen.rule([(left, y - 10 * k), (board.right, y - 10 * k)], 0.4, edgecolor=INK_SOFT)
    y = floor + key_pt
    for title, style in _KEY:
        y -= row
        pen.box(left, y, 34 * k, 19 * k, **style)
        pen.text(left + 43 * k, y + 1.5 * k, title, size_pt=size, is_serif=True)


def _season_chart(board: Board, story: Story, *, width: float, top: float, floor: float) -> None:
    """Draw cumulative treated acres as one column a season: dark what was treated before, hatched what it added."""
    pen, size, k = board.pen, board.room_pt, board.k
    full = story.page.cedar_acres
    pen.text(
        board.left, top - 0.86 * size, f"Treated, of {words.tenths(full)} cedar acres",
        size_pt=size, is_serif=True, is_bold=True,
    )  # fmt: skip
    seasons = story.seasons
    base, high = floor + board.line, top - 2 * board.line - 4 * k
    # Cedar left on purpose after a season is in its column still, so a column may be taller than the last one.
    full = max(full, *(one.cumulative_treated_acres + one.remaining_acres for one in seasons), 1e-9)
    step = width / len(seasons)
    wide = min(0.72 * step, 92 * k)
    label_pt = max(text_width_pt(season.label, size_pt=size, is_serif=True) for season in seasons) + 6 * k
    every = max(1, -(-int(label_pt) // max(1, int(step))))
    for index, season in enumerate(seasons):
        middle = board.left + (index + 0.5) * step
        left = middle - wide / 2
        before = (season.cumulative_treated_acres - season.treated_acres) / full * (high - base)
        done = season.cumulative_treated_acres / full * (high - base)
        ground = (season.cumulative_treated_acres + season.remaining_acres) / full * (high - base)
        pen.box(left, base, wide, ground, **_LEFT)
        pen.box(left, base, wide, before, **_BEFORE)
        pen.box(left, base + before, wide, done - before, **_ADDED)
        # Counted from the newest, so that it always has its name and figure.
        if (len(seasons) - 1 - index) % every == 0:
            at = min(max(middle, board.left + label_pt / 2), board.left + width - label_pt / 2)
            total = words.tenths(season.cumulative_treated_acres)
            pen.text(at, base + done + 6 * k, total, size_pt=size, is_serif=True, is_bold=True, align="center",
                     halo_pt=2.0)  # fmt: skip
            pen.text(at, floor + 8 * k, season.label, size_pt=size, is_serif=True, align="center")
    pen.rule([(board.left, base), (board.left + width, base)], 1.4)


# --- what comes next, and what it takes ---------------------------------------------------------------------


def _what_comes_next(board: Board, story: Story) -> int | None:
    pen = board.pen
    top = board.head(story_words.comes_next(story))
    cautions = (SAW_CAUTION, FIRE_CAUTION, SNAG_CAUTION)
    day = f"Numerals give the order of work; what is due is told as of {words.day_words(story.due_on)}."
    # The scale follows from the room above the foot, so the foot is measured first with the longest scale there is.
    trial = [day, scale_words(SCALES[-1], 0.01), _without_numeral(len(story.page.units))]
    floor = board.over(board.foot(story, 3, cautions=cautions, more=trial))
    bottom = floor + _strip_pt(board)
    width = min(0.42 * board.width, top - bottom)
    frames = _frames(story, [(board.left, bottom, width, top - bottom)])
    if not frames:
        _nothing_to_draw(board, story, top, board.stand(board.foot(story, 3, cautions=cautions, more=[day])))
        return None
    (frame,) = frames
    convergence_deg = frame.grid.convergence_deg(*frame.middle_lonlat)
    draw_ground(pen, frame, _for_the_room(story.page))
    left_out = draw_numerals(pen, frame, story.page.units, size_pt=board.room_pt, named=_MOST_UNITS)
    more = [day, scale_words(frame.scale, convergence_deg), *([_without_numeral(left_out)] if left_out else [])]
    board.stand(board.foot(story, 3, cautions=cautions, more=more))
    draw_frame(pen, frame)
    draw_scale(
        pen, frame, left=board.left, right=board.left + width, top=frame.bottom, size_pt=board.near_pt, has_words=False
    )
    left = board.left + width + 1.5 * board.gap
    room = board.right - left
    due = _in_room(story_words.due(story), room, size_pt=board.room_pt, most=3)
    due_pt = len(due) * board.line + board.gap
    for unit in story.next_units[:_MOST_UNITS]:
        heading = at_most(2, wrapped(story_words.unit_heading(unit), room, size_pt=board.room_pt, is_bold=True))
        reasons = wrapped(story_words.unit_reasons(unit), room, size_pt=board.room_pt)
        if top - (len(heading) + len(reasons)) * board.line < floor + due_pt:
            break
        top = pen.block(left, top, heading, size_pt=board.room_pt, is_bold=True)
        top = pen.block(left, top, reasons, size_pt=board.room_pt) - 5 * board.k
    pen.block(left, floor + len(due) * board.line - board.gap / 2, due, size_pt=board.room_pt)
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


def _what_it_takes(board: Board, story: Story) -> None:
    pen = board.pen
    top = board.head(story_words.remains(story))
    rests = [] if story.effort is None else [
        f"Hours rest on {story.effort.rests_on}; money on {story.effort.cost_rests_on}; ranges are 95 % limits."
    ]  # fmt: skip
    if not story.ask and story.page.audience == "owner":
        rests.append("What is asked is drawn from the figures; your own list goes under [handout] in habmap.toml.")
    floor = board.stand(board.foot(story, 4, cautions=(SAW_CAUTION, FIRE_CAUTION), more=rests))
    half = (board.width - 2 * board.gap) / 2
    taken = (
        story_words.remaining_sentences(story)
        if story.effort is None
        else story_words.effort_sentences(
            story.effort, remaining_acres=story.page.remaining_acres, contract=story.contract
        )
    )
    columns = (
        ("What remains" if story.effort is None else "What it takes", taken, ""),
        ("What help is asked", story_words.asked(story), "–"),
    )
    for number, (title, texts, mark) in enumerate(columns):
        left = board.left + number * (half + 2 * board.gap)
        y = pen.block(left, top, [title], size_pt=board.room_pt, is_bold=True) - 4 * board.k
        pen.rule([(left, y + 3 * board.k), (left + half, y + 3 * board.k)], 1.2)
        board.tell(texts, left, y, half, floor, mark=mark)
