"""The packet as a PDF: the answer and the acres, the map, the log lines, what would be asked, and photo pairs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

import shapely

from habmap.errors import InputError
from habmap.show.handheld import direction_words
from habmap.show.packet import words
from habmap.show.packet.flow import MARGIN_PT, Column, Flow
from habmap.show.packet.map import COLUMN_WORDS, COLUMNS, Around, draw_map, pair_letter
from habmap.show.records import PagePhoto, PagePhotoPoint, PrivateOnPublicPageError
from habmap.show.sheet.paper import SIZES_PT, Paper
from habmap.show.sheet.pdf import pdf_of
from habmap.show.sheet.pen import LEAST_PT
from habmap.show.words import short_day, tenths
from habmap.vocabulary import PRACTICE_WORDS, SNAG_CAUTION, Audience
from habmap.work.packet import ItemPacket

#: Height of a picture beside its pair [pt], and the gap between the two.
_PICTURE_PT: Final = 158.0
_BETWEEN_PT: Final = 12.0
_SIGNERS: Final = ("For the property", "Inspected and certified by")


@dataclass(frozen=True, slots=True, kw_only=True)
class PacketSheet:
    """All that stands on the packet's pages; ``missing`` says what could not be shown."""

    packet: ItemPacket
    around: Around
    pairs: tuple[PagePhotoPoint, ...]
    made_on: date
    audience: Audience
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PacketFigures:
    """What a drawn packet measures: its pages, and the N of its map's 1:N."""

    pages: int
    scale: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PacketResult:
    """What was written, and its figures: as measured, and as the paper has them and the payment goes by."""

    path: str
    bytes: int
    pages: int
    scale: int
    audience: Audience
    program: str
    item: str
    practice_code: str
    from_date: date
    to_date: date
    applied_acres: float
    apart_acres: dict[str, float]
    paper_acres: float
    paper_payment: float | None
    photo_pairs: int
    questions: tuple[str, ...]


def draw_packet(sheet: PacketSheet, path: Path, *, paper: Paper) -> PacketFigures:
    """Write the packet as a vector PDF with its fonts embedded.

    Raises
    ------
    InputError
        The item has no worked ground, or more than the smallest scale takes in.
    PrivateOnPublicPageError
        A packet for the public holds a rate, a name or a private photo.
    """
    packet, is_owner = sheet.packet, sheet.audience == "owner"
    if not packet.ground.columns:
        raise InputError(
            "no work of this item's practice code lies on its units within these days",
            value=words.item_name(packet.ground.total),
            mend="see `habmap export practices` for what the log has, and [[contract]] for the item's units and code",
            where="--item",
        )
    if not is_owner:
        _refuse_private(sheet)
    name = words.item_name(packet.ground.total)
    flow = Flow(SIZES_PT[paper])
    _first_page(flow, sheet)
    flow.turn()
    flow.heading("Where it lies")
    scale = draw_map(flow, packet, sheet.around, sheet.pairs, height=0.62 * flow.size[1], day=sheet.made_on)
    _places(flow, packet)
    _log(flow, sheet)
    _asked(flow, sheet)
    _photos(flow, sheet.pairs)
    flow.number_pages(f"{name} · {packet.place} · made {short_day(sheet.made_on)}")
    path.write_bytes(pdf_of(flow.pages, title=f"{packet.place}: {name}"))
    return PacketFigures(pages=len(flow.pages), scale=scale)


def _refuse_private(sheet: PacketSheet) -> None:
    total = sheet.packet.ground.total
    if total.rate is not None or total.program or any(line.entry.who for line in sheet.packet.log):
        raise PrivateOnPublicPageError("a packet for the public tells a rate, a program or a name")
    if any(pair.point.is_private for pair in sheet.pairs) or any(one.is_private for one in sheet.around.features):
        raise PrivateOnPublicPageError("a packet for the public shows a private place")


def _first_page(flow: Flow, sheet: PacketSheet) -> None:
    packet, is_public = sheet.packet, sheet.audience == "public"
    flow.text(words.headline(packet), size_pt=17.0, is_bold=True, gap=2)
    flow.text(words.dateline(packet, made_on=sheet.made_on, is_public=is_public), gap=8)
    flow.table([Column("The item", 1), Column("", 3)], words.facts(packet))
    flow.heading("Acres, each counted once")
    shown = [c for c in COLUMNS if c == "applied" or packet.ground.total.apart_acres[c] > 0]
    columns = [Column("Unit", 1.5), *(Column(f"{COLUMN_WORDS[one]}, acres", 1, "right") for one in shown)]
    columns.append(Column("Log lines", 1.6))
    rows = [
        [line.unit_id, *(tenths(getattr(line, f"{one}_acres")) for one in shown), _of_unit(packet, line.unit_id)]
        for line in packet.ground.lines
    ]
    sums = [tenths(words.paper_acres(packet, one)) for one in shown]
    flow.table(columns, [*rows, ["all units", *sums, ""]], total=True)
    flow.text(f"Counts: {words.counts_words(packet)}")
    for sentence in words.apart_sentences(packet):
        flow.text(sentence, gap=1)
    flow.y -= 5
    if paid := words.payment_sentence(packet):
        flow.text(paid, is_bold=True)
    for sentence in packet.ground.total.remarks:
        flow.text(f"{sentence[0].upper()}{sentence[1:]}.", gap=1)
    if packet.snag_acres > 0:
        flow.boxed([SNAG_CAUTION])
    if not is_public:
        flow.signatures(_SIGNERS)


def _of_unit(packet: ItemPacket, unit_id: str) -> str:
    here = {e for _, piece in packet.pieces() if piece.unit_id == unit_id for e in piece.entry_ids}
    return ", ".join(str(line.number) for line in packet.log if line.entry.entry_id in here)


def _places(flow: Flow, packet: ItemPacket) -> None:
    """Say where the largest part of each unit's worked ground lies, column by column."""
    grid = packet.state.grid
    assert grid is not None
    rows = []
    for line in packet.ground.lines:
        for column in COLUMNS:
            own = [piece for one, piece in packet.pieces() if one == column and piece.unit_id == line.unit_id]
            parts = [part for piece in own for part in shapely.get_parts(piece.geometry)]
            if not parts:
                continue
            spot = grid.to_lonlat(max(parts, key=lambda part: part.area).representative_point())
            acres = tenths(sum(piece.acres for piece in own))
            rows.append([line.unit_id, COLUMN_WORDS[column], acres, words.coordinate(spot.x, spot.y)])
    flow.heading("A point in the largest part of each (WGS 84)")
    columns = [Column("Unit", 1.2), Column("Ground", 1.2), Column("Acres", 0.7, "right"), Column("Where", 2.2)]
    flow.table(columns, rows)


def _log(flow: Flow, sheet: PacketSheet) -> None:
    is_owner = sheet.audience == "owner"
    flow.heading("The log lines it rests on")
    columns = [
        Column("Line", 0.62, "right"), Column("Day", 1.25), Column("Work", 1.3),
        Column("Acres here", 1.25, "right"), Column("Acres in all", 0.8, "right"), Column("Killed", 0.75),
        Column("Item's days", 0.85),
    ]  # fmt: skip
    if is_owner:
        columns += [Column("Ground", 0.95), Column("Who", 1.2)]
    flow.table(columns, [words.line_row(line, is_owner=is_owner) for line in sheet.packet.log])
    flow.text(f"{words.LOG_WORDS} {words.GROUND_WORDS if is_owner else ''}", size_pt=LEAST_PT)


def _asked(flow: Flow, sheet: PacketSheet) -> None:
    flow.heading("What would be asked")
    flow.listed([*(words.question_sentence(one) for one in sheet.packet.questions), *sheet.missing])
    if not sheet.packet.questions and not sheet.missing:
        flow.text("Nothing that this program can see. What lies on the ground decides.")
    flow.heading("How these acres were made")
    flow.text(words.HOW_MADE)


def _photos(flow: Flow, pairs: Sequence[PagePhotoPoint]) -> None:
    if not pairs:
        return
    flow.heading("Photo pairs", room=_PICTURE_PT + 60)
    for number, pair in enumerate(pairs):
        height = _PICTURE_PT + 52
        flow.need(height)
        first, unit = pair.point.before, pair.point.unit
        where = "" if unit is None else f" in {unit.unit_id}"
        looks = direction_words(first.direction_deg, first.direction_ref)
        at = words.coordinate(first.geometry.x, first.geometry.y)
        title = f"{pair_letter(number)}: photo point{where}, {at}"
        flow.text(f"{title}; looks {looks or 'where nobody noted'}", is_bold=True, gap=2)
        half = (flow.width - _BETWEEN_PT) / 2
        pictures = [one for one in (pair.before, pair.after) if one is not None]
        for side, picture in enumerate(pictures):
            left = MARGIN_PT + side * (half + _BETWEEN_PT)
            _picture(flow, picture, left, half)
            flow.pen.text(
                left, flow.y - _PICTURE_PT - 10, f"{('Before', 'After')[side]}: {short_day(picture.taken_on)}"
            )
        flow.y -= _PICTURE_PT + 14
        if pair.point.work:
            done = "; ".join(f"{PRACTICE_WORDS[one.practice]} {short_day(one.date)}" for one in pair.point.work)
            flow.text(f"Between them, in view: {done}.", gap=8)
        else:
            flow.y -= 8


def _picture(flow: Flow, picture: PagePhoto, left: float, width: float) -> None:
    """Lay a picture in its half, as large as it goes without changing its shape."""
    scale = min(width / picture.width_px, _PICTURE_PT / picture.height_px)
    top = flow.y
    box = (left, top - picture.height_px * scale, left + picture.width_px * scale, top)
    flow.pen.picture(picture.jpeg, box)


def packet_result(sheet: PacketSheet, figures: PacketFigures, path: Path) -> PacketResult:
    """Return what is said of a packet that was written."""
    packet, total = sheet.packet, sheet.packet.ground.total
    return PacketResult(
        path=str(path),
        bytes=path.stat().st_size,
        pages=figures.pages,
        scale=figures.scale,
        audience=sheet.audience,
        program=total.program,
        item=total.item,
        practice_code=total.practice_code,
        from_date=packet.from_date,
        to_date=packet.to_date,
        applied_acres=total.applied_acres,
        apart_acres={f"{column}_acres": acres for column, acres in total.apart_acres.items()},
        paper_acres=words.paper_acres(packet, "applied"),
        paper_payment=total.paper_payment,
        photo_pairs=len(sheet.pairs),
        questions=(*(words.question_sentence(one) for one in packet.questions), *sheet.missing),
    )
