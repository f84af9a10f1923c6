"""The four landscape pages of the handout, in large type for a wall: the ground, the seasons, what is next, the ask."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

import shapely

from habmap.show import words
from habmap.show.handout import words as handout_words
from habmap.show.handout.large_type import HandoutPage, few
from habmap.show.handout.records import Handout, HandoutFigures, HandoutUnit, refuse_private_handout
from habmap.show.handout.season_page import draw_season
from habmap.show.palette import INK, INK_SOFT, PAPER_DEEP
from habmap.show.records import Page, PagePhotoPoint
from habmap.show.season_bars import PART_WORDS, Part, season_bars
from habmap.show.sheet.feature_labels import draw_feature_labels
from habmap.show.sheet.label_boxes import Labels
from habmap.show.sheet.labels import draw_numerals
from habmap.show.sheet.map import PT_PER_M, Frame, draw_frame, draw_ground, pattern_area, stage_area
from habmap.show.sheet.margin import LONG_SCALE, SCALE_STRIP_PT, draw_scale, scale_words
from habmap.show.sheet.marks import Mark, Pattern, svg_outline
from habmap.show.sheet.outline import Outline
from habmap.show.sheet.paper import MM_PT, Paper, fitting_scale
from habmap.show.sheet.pdf import pdf_of
from habmap.show.sheet.pen import LEAST_PT, Pen, at_most, clipped, text_width_pt, wrapped
from habmap.show.terrain_words import elevation_words
from habmap.vocabulary import PUBLIC_NAME_KINDS, file_mark
from habmap.work.season_account import SEASON_WORDS

#: Width of what stands beside the large map on the first page, and height of it where it stands below [pt].
_LEGEND_PT: Final = 246.0
_UNDER_PT: Final = 172.0
#: Features that a neighbor finds the way by; marks small as a well, and all private places, stay off the wall.
_LANDMARKS: Final = frozenset({"road", "lane", "creek", "pond", "house", "school", "airport"})
#: Units that are told, and that the sentence above them names, at most.
_MOST_UNITS: Final = 4
_MOST_PROMISED: Final = 3
#: Height below which a pair of photos is not worth its ink [pt].
_LEAST_PHOTOS_PT: Final = 120.0
_KEY_COLUMNS: Final = 2
#: Five classes that a room can tell apart, each drawn as one of its stages.
_CLASS_WORDS: Final = {
    "standing": "cedars to treat", "down": "killed, not cleared", "slash_gone": "cleared",
    "coming_back": "cedar coming back", "other": "no cedar to treat",
}  # fmt: skip
_CLASS_OF: Final = {
    "standing": "standing", "part_cut": "standing", "dead_standing": "down", "down": "down", "piled": "down",
    "burned": "slash_gone", "slash_gone": "slash_gone", "kept_up": "slash_gone", "coming_back": "coming_back",
    "keep": "other", "other": "other",
}  # fmt: skip
#: The parts of a season's bar: dark is cedar that stands, as on the map; ink alone, so that a gray print loses nothing.
_PARTS: Final[dict[Part, Pattern]] = {
    "before": Pattern(PAPER_DEEP, (24.0, 24.0), ()),
    "added": Pattern("white", (16.0, 16.0), (Mark(svg_outline("M-2,18L18,-2M-2,2L2,-2M14,18L18,14"), 1.33, INK),)),
    "keep": Pattern(
        "white", (8.0, 16.0), tuple(Mark(Outline.circle(center, 1.8), 0.0, INK) for center in ((2, 4), (6, 12)))
    ),
    "standing": Pattern(INK_SOFT, (24.0, 24.0), ()),
}  # fmt: skip


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
    now_scale, before_scale = _ground(leaves[0], handout)
    _by_season(leaves[1], handout)
    order = _what_comes_next(leaves[2], handout)
    _what_it_takes(leaves[3], handout)
    if handout.season is not None:
        draw_season(leaves[4], handout, handout.season)
    title = f"{handout.page.place}: the story in {'four' if handout.season is None else 'five'} pages"
    made = file_mark("handout", handout.page.audience)
    path.write_bytes(pdf_of([leaf.pen for leaf in leaves], title=title, creator=made))
    width, height = leaves[0].pen.size_pt
    return HandoutFigures(
        now_scale=now_scale,
        before_scale=before_scale,
        order_scale=order,
        pages=len(leaves),
        width_mm=width / MM_PT,
        height_mm=height / MM_PT,
        least_room_pt=leaves[0].room_pt,
    )


# --- maps ---------------------------------------------------------------------------------------------------


def _for_the_room(page: Page) -> Page:
    """Return the page with few classes, the features that a neighbor finds the way by, and no outlines of patches."""
    shown = tuple(one for one in page.features if one.kind in _LANDMARKS and not one.is_private)
    merged = tuple(replace(piece, stage=_CLASS_OF[piece.stage]) for piece in page.pieces)
    return replace(page, features=shown, work=(), pieces=merged, shares=())


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


def _long_scale_words(handout: Handout) -> str:
    """Return words of the scale as long as they come, to keep room for them; none where there is no ground."""
    extent = _extent(handout)
    if extent is None or handout.grid is None:
        return ""
    at = handout.grid.to_lonlat(shapely.Point(extent[1]))
    return scale_words(LONG_SCALE, handout.grid, (at.x, at.y))


def _nothing_to_draw(leaf: HandoutPage, handout: Handout, top: float, floor: float) -> None:
    leaf.tell(
        ["There is no ground to draw yet.", *handout.page.missing],
        leaf.left, top, leaf.width, floor,
    )  # fmt: skip


def _ground(leaf: HandoutPage, handout: Handout) -> tuple[int | None, int | None]:
    """Draw the ground as it is, large, and small as it lay before; return both scales."""
    page, pen, k = handout.page, leaf.pen, leaf.k
    top = leaf.head(handout, words.headline(page))
    trial = [*_sources(page), _long_scale_words(handout)]
    floor = leaf.over(leaf.foot(handout, 1, more=trial))
    column = _LEGEND_PT * k
    # What stands beside the map: the ground before, the key and the bars; of a wide property they stand under it.
    high = min(_UNDER_PT * k, (top - floor) / 2)
    bottom = floor + _strip_pt(leaf)
    beside = ((leaf.left, floor, leaf.width - column - 1.5 * leaf.gap, top - floor), (leaf.right - column, floor))
    under_bottom = bottom + high + leaf.gap
    under = ((leaf.left, under_bottom, leaf.width, top - under_bottom), (leaf.left, floor))
    extent = _extent(handout)
    ways = [beside, under] if extent is not None and extent[0][0] > 1.3 * extent[0][1] else [beside]
    drawn = [(_frames(handout, [room]), place) for room, place in ways]
    frames, (left, base) = min(drawn, key=lambda one: one[0][0].scale if one[0] else 0)
    if not frames:
        _nothing_to_draw(leaf, handout, top, leaf.stand(leaf.foot(handout, 1, more=_sources(page))))
        return None, None
    (now,) = frames
    now, key = replace(now, left=leaf.left), _present(handout)
    if left == leaf.left:
        room = (left, base, 0.45 * leaf.width, high - leaf.line)
        key_left, key_top = left + 0.45 * leaf.width + 2 * leaf.gap, base + high - 0.04 * leaf.room_pt
        bars = (now.left, now.left + now.width, now.bottom)
    else:
        key_left = now.left + now.width + 1.5 * leaf.gap
        bars = (key_left, leaf.right, base + _strip_pt(leaf))
        key_top = bars[2] + (len(key) + 1) * leaf.line + leaf.gap / 2
        room = (key_left, key_top, leaf.right - key_left, top - key_top - leaf.line)
    (before,) = _frames(handout, [room])
    before = replace(before, left=room[0])
    for frame, shown in ((now, page), (before, handout.then)):
        draw_ground(pen, frame, _for_the_room(shown), has_contours=False)
        draw_frame(pen, frame)
    _names(leaf, now, handout.page)
    title_y = before.bottom + before.height + leaf.line - 0.86 * leaf.room_pt
    pen.text(before.left, title_y, "Before any work", size_pt=leaf.room_pt, is_serif=True, is_bold=True)
    end = _classes(leaf, key, left=key_left, top=key_top)
    if left != leaf.left:
        pen.block(key_left, end, ["The large map:"], size_pt=leaf.room_pt)
    draw_scale(pen, now, left=bars[0], right=bars[1], top=bars[2], size_pt=leaf.near_pt)
    leaf.stand(leaf.foot(handout, 1, more=[*_sources(page), scale_words(now.scale, now.grid, now.middle_lonlat)]))
    return now.scale, before.scale


def _sources(page: Page) -> list[str]:
    """Return how acres were measured, what heights are from, and what is missing: told once, on the first page."""
    # Without units the pages say what is missing in large type; one line to each of many would fill the page.
    return [page.method[0], *elevation_words(page), *(few(page.missing) if page.units else ())]


def _names(leaf: HandoutPage, frame: Frame, page: Page) -> None:
    """Set the names of roads and water, by which a neighbor finds the place."""
    named = [one for one in _for_the_room(page).features if one.kind in PUBLIC_NAME_KINDS and one.name]
    draw_feature_labels(leaf.pen, frame, named, Labels(frame), size_pt=leaf.near_pt)


def _present(handout: Handout) -> list[str]:
    """Return the classes of either map."""
    shown = {_CLASS_OF[piece.stage] for piece in (*handout.then.pieces, *handout.page.pieces)}
    return [stage for stage in _CLASS_WORDS if stage in shown]


def _classes(leaf: HandoutPage, present: Sequence[str], *, left: float, top: float) -> float:
    """Tell the classes as a list downward; return where it ends."""
    pen, k = leaf.pen, leaf.k
    swatch = (34 * k, 19 * k)
    for stage in present:
        box_bottom = top - 0.87 * leaf.room_pt
        stage_area(pen, shapely.box(left, box_bottom, left + swatch[0], box_bottom + swatch[1]), stage)
        pen.box(left, box_bottom, *swatch, edgecolor=INK, linewidth=0.9)
        pen.text(
            left + swatch[0] + 9 * k, top - 0.82 * leaf.room_pt, _CLASS_WORDS[stage],
            size_pt=leaf.room_pt, is_serif=True,
        )  # fmt: skip
        top -= leaf.line
    return top


# --- the account by season ----------------------------------------------------------------------------------


def _by_season(leaf: HandoutPage, handout: Handout) -> None:
    top = leaf.head(handout, handout_words.by_season(handout))
    more = [
        handout_words.practices(handout), SEASON_WORDS, handout_words.running(handout),
        "Ground treated once is counted in its first season.",
        handout_words.left_on_purpose(handout),
    ]  # fmt: skip
    floor = leaf.stand(leaf.foot(handout, 2, more=[one for one in more if one]))
    if not handout.page.units:
        leaf.tell(handout.page.missing, leaf.left, top, leaf.width, floor)
        return
    _season_bars(leaf, handout, top=top, floor=floor)


def _season_bars(leaf: HandoutPage, handout: Handout, *, top: float, floor: float) -> None:
    """Draw one bar a season as the map page does, the newest seasons where not all have room, and the key below."""
    pen, size, k = leaf.pen, leaf.room_pt, leaf.k
    bars = season_bars(handout.account, today=handout.due_on)
    parts = [part for part in PART_WORDS if any(part == one for bar in bars for one, _, _ in bar.parts)]
    row = 29 * k
    key_rows = -(-len(parts) // _KEY_COLUMNS)
    most = max(2, int((top - floor - key_rows * row - leaf.gap) / row) - 1)
    if len(bars) > most:  # the ground before any work, and the newest
        bars = (bars[0], *bars[len(bars) - most + 1 :])
    label_pt = max(text_width_pt(bar.label, size_pt=size, is_serif=True) for bar in bars) + leaf.gap
    figure_pt = text_width_pt("remaining", size_pt=size, is_serif=True, is_bold=True) + leaf.gap
    left, width = leaf.left + label_pt, leaf.width - label_pt - 2 * figure_pt
    columns = (leaf.right - figure_pt, leaf.right)
    y = top - 0.86 * size
    for x, title in zip(columns, ("treated", "remaining"), strict=True):
        pen.text(x, y, title, size_pt=size, is_serif=True, is_bold=True, align="right")
    for bar in bars:
        y -= row
        pen.text(leaf.left, y, bar.label, size_pt=size, is_serif=True)
        for part, start, length in bar.parts:
            _bar(pen, part, left + start * width, y - 3 * k, length * width, 21 * k)
        figures = (bar.treated_acres, bar.remaining_acres)
        for x, acres in zip(columns, figures, strict=True):
            pen.text(x, y, words.tenths(acres), size_pt=size, is_serif=True, align="right")
    y -= leaf.gap
    for number, part in enumerate(parts):
        x = leaf.left + number // key_rows * leaf.width / _KEY_COLUMNS
        at = y - (number % key_rows + 1) * row
        _bar(pen, part, x, at - 2 * k, 34 * k, 19 * k)
        pen.text(x + 43 * k, at, PART_WORDS[part], size_pt=size, is_serif=True)


def _bar(pen: Pen, part: Part, left: float, bottom: float, width: float, height: float) -> None:
    pattern_area(pen, shapely.box(left, bottom, left + width, bottom + height), _PARTS[part])
    pen.box(left, bottom, width, height, edgecolor=INK, linewidth=0.9)


# --- what comes next, and what it takes ---------------------------------------------------------------------


def _what_comes_next(leaf: HandoutPage, handout: Handout) -> int | None:
    pen = leaf.pen
    day = f"Numerals give the order of work; what is due is told as of {words.day_words(handout.due_on)}."
    # The scale follows from the room above the foot, so the foot is measured first with the longest scale there is.
    trial = [day, _long_scale_words(handout), _without_numeral(len(handout.page.units))]
    floor = leaf.over(leaf.foot(handout, 3, more=trial))
    width = 0.45 * leaf.width
    left = leaf.left + width + 1.5 * leaf.gap
    room = leaf.right - left
    # As many units as are told are promised, and no more.
    told = [_unit_lines(leaf, unit, room) for unit in handout.next_units[:_MOST_UNITS]]
    promised, due = (
        min(len(told), _MOST_PROMISED),
        _in_room(handout_words.due(handout), room, size_pt=leaf.room_pt, most=3),
    )
    while promised > 1 and not _has_room(leaf, handout, told[:promised], due, floor):
        promised -= 1
    top = leaf.head(handout, handout_words.comes_next(handout, promised))
    bottom = floor + _strip_pt(leaf)
    frames = _frames(handout, [(leaf.left, bottom, width, top - bottom)])
    if not frames:
        _nothing_to_draw(leaf, handout, top, leaf.stand(leaf.foot(handout, 3, more=[day])))
        return None
    (frame,) = frames
    shown = _for_the_room(handout.page)
    draw_ground(pen, frame, shown, has_contours=False)
    left_out = draw_numerals(
        pen, frame, shown.units, size_pt=leaf.room_pt, named=_MOST_UNITS, features=shown.features
    )  # fmt: skip
    more = [
        day,
        scale_words(frame.scale, frame.grid, frame.middle_lonlat),
        *([_without_numeral(left_out)] if left_out else []),
    ]
    leaf.stand(leaf.foot(handout, 3, more=more))
    draw_frame(pen, frame)
    draw_scale(pen, frame, left=leaf.left, right=leaf.left + width, top=frame.bottom, size_pt=leaf.near_pt)
    due_pt = len(due) * leaf.line + leaf.gap
    for heading, reasons in told:
        if top - (len(heading) + len(reasons)) * leaf.line < floor + due_pt:
            break
        top = pen.block(left, top, heading, size_pt=leaf.room_pt, is_bold=True)
        top = pen.block(left, top, reasons, size_pt=leaf.room_pt) - 5 * leaf.k
    pen.block(left, floor + len(due) * leaf.line - leaf.gap / 2, due, size_pt=leaf.room_pt)
    return frame.scale


def _unit_lines(leaf: HandoutPage, unit: HandoutUnit, width: float) -> tuple[list[str], list[str]]:
    """Return a unit's heading and its reasons, broken into lines."""
    heading = at_most(2, wrapped(handout_words.unit_heading(unit), width, size_pt=leaf.room_pt, is_bold=True))
    return heading, at_most(4, wrapped(handout_words.unit_reasons(unit), width, size_pt=leaf.room_pt))


def _has_room(
    leaf: HandoutPage, handout: Handout, told: Sequence[tuple[list[str], list[str]]], due: Sequence[str], floor: float
) -> bool:
    """Tell whether all of these units can be told between the sentence that promises them and what is due."""
    top = leaf.below_head(handout_words.comes_next(handout, len(told)))
    needed = sum((len(heading) + len(reasons)) * leaf.line + 5 * leaf.k for heading, reasons in told)
    return top - needed >= floor + len(due) * leaf.line + leaf.gap


def _without_numeral(count: int) -> str:
    return f"On {count} of the units there is no room for a numeral; the sheet and the map have them all."


def _in_room(parts: Sequence[str], width: float, *, size_pt: float, most: int) -> list[str]:
    """Return the parts that have room in so many lines, as one sentence: what presses first stands first."""
    for count in range(len(parts), 0, -1):
        lines = wrapped(f"{'; '.join(parts[:count]).rstrip('.')}.", width, size_pt=size_pt)
        if len(lines) <= most:
            return lines
    return at_most(most, lines)


def _what_it_takes(leaf: HandoutPage, handout: Handout) -> None:
    pen, page, effort = leaf.pen, handout.page, handout.effort
    top = leaf.head(handout, handout_words.remains(handout))
    rests = []
    if effort is not None:
        rests += [f"Hours rest on {effort.rests_on}."] if page.with_hours else []
        rests += [f"Money rests on {effort.cost_rests_on}."] if page.with_cost else []
        rests.append("Figures are rounded to two digits; ranges are 95% limits.")
    if not handout.ask and page.audience == "owner":
        rests.append("What is asked is drawn from the figures; your own list goes under [handout] in habmap.toml.")
    floor = leaf.stand(leaf.foot(handout, 4, more=rests))
    half = (leaf.width - 2 * leaf.gap) / 2
    title, texts = ("What remains", handout_words.remaining_sentences(handout))
    if effort is not None:
        title, texts = "What it takes", handout_words.effort_sentences(handout)
    columns = [(title, texts, ""), ("What help is asked", handout_words.asked(handout), "–")]
    if handout.pair is not None and effort is None:
        _photo_pair(leaf, handout.pair, (leaf.left, floor, half, top - floor))
        columns = columns[1:]
    for number, (title, texts, mark) in enumerate(columns, start=2 - len(columns)):
        left = leaf.left + number * (half + 2 * leaf.gap)
        y = pen.block(left, top, [title], size_pt=leaf.room_pt, is_bold=True) - 4 * leaf.k
        pen.rule([(left, y + 3 * leaf.k), (left + half, y + 3 * leaf.k)], 1.2)
        y = leaf.tell(texts, left, y, half, floor, mark=mark)
        if number == 0 and handout.pair is not None and y - floor > _LEAST_PHOTOS_PT * leaf.k:
            _photo_pair(leaf, handout.pair, (left, floor, half, y - floor))


def _photo_pair(leaf: HandoutPage, pair: PagePhotoPoint, box: tuple[float, float, float, float]) -> None:
    """Lay the same view before and after over or beside each other, whichever is larger (left, bottom, w, h)."""
    left, bottom, width, height = box
    assert pair.after is not None
    unit, is_beside = pair.point.unit, height < 0.9 * width
    where = "" if unit is None else f" {unit.name.strip() or unit.unit_id},"
    wide = (width - leaf.gap) / 2 if is_beside else width
    each = height if is_beside else (height - leaf.gap / 2) / 2
    for number, (photo, called) in enumerate(((pair.before, f"Before,{where}"), (pair.after, "After,"))):
        x = left + number * (wide + leaf.gap) * is_beside
        top = bottom + height - number * (each + leaf.gap / 2) * (not is_beside)
        day = f" {words.short_day(photo.taken_on)}"
        # Side by side there is no room for the unit's name as well.
        caption = called.split(",")[0] + "," if is_beside else called
        room = wide - text_width_pt(day, size_pt=leaf.room_pt, is_serif=True)
        caption = clipped(caption, room, size_pt=leaf.room_pt, is_serif=True)
        leaf.pen.block(x, top, [f"{caption}{day}"], size_pt=leaf.room_pt)
        share = min(wide / photo.width_px, (each - leaf.line - leaf.gap / 2) / photo.height_px)
        upper = top - leaf.line - 2 * leaf.k
        leaf.pen.picture(photo.jpeg, (x, upper - share * photo.height_px, x + share * photo.width_px, upper))
