"""One PDF for an inspector: a contract item's ground, dates, map, photo pairs, payment, and what would be asked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import shapely

from habmap.errors import InputError
from habmap.jobs.export_practices import reported
from habmap.jobs.photos import found_points, page_photos
from habmap.jobs.ports import Store
from habmap.jobs.public import public_view
from habmap.jobs.snapshot import snapshot
from habmap.place.settings import ContractItem
from habmap.place.writers import refuse_to_write, write_whole
from habmap.show.packet import words
from habmap.show.packet.map import Around
from habmap.show.packet.packet import PacketFigures, PacketSheet, draw_packet
from habmap.show.records import page_features
from habmap.show.sheet.paper import Paper
from habmap.vocabulary import PRACTICES, Audience
from habmap.work.ledger import corrections, line_numbers
from habmap.work.packet import OWNERS_KINDS, ItemPacket, log_lines, questions
from habmap.work.paperwork import killing_practices
from habmap.work.photo_pairs import FoundPoint
from habmap.work.photo_points import SEEN_AREA_M2, seen_ground
from habmap.work.private import is_private

#: Long side of a picture on paper [pixels] and its JPEG quality, and the most bytes of all pictures.
_PICTURES = ((640, 80), (480, 72), (360, 65))
_MOST_BYTES = 3_000_000


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


def export_packet(
    store: Store,
    *,
    item: str,
    target: Path,
    now: datetime,
    paper: Paper = "letter",
    audience: Audience = "owner",
    year: int | None = None,
    first: date | None = None,
    last: date | None = None,
    overwrite: bool = False,
) -> PacketResult:
    """Write the packet of one contract item, named as in ``habmap.toml``: its item, or program and item.

    Nests, graves and other private places are in no packet, for it leaves the house.

    Raises
    ------
    InputError
        There is no such item, several are called so, or no work of it lies on its units; the file is there.
    """
    refuse_to_write(target, overwrite=overwrite)
    zone = ZoneInfo(store.settings.place.timezone)
    place, numbers = _chosen(item, store.settings.contract), line_numbers(store.entries())
    store = public_view(store) if audience == "public" else snapshot(store)
    report = reported(store, year=year, first=first, last=last, audience=audience)
    ground, state, settings = report.ground[place], report.state, store.settings
    coded = {practice: code for practice in PRACTICES if (code := settings.practice_code(practice))}
    code = ground.item.practice_code
    kills = killing_practices(code, coded)
    practices = kills or {practice for practice, own in coded.items() if own == code}
    lines = corrections(store.entries())
    log = log_lines(ground, state, practices=practices, lines=lines, numbers=numbers)
    worked = shapely.union_all([state.pieces[number].geometry for number in ground.columns])
    pairs = [(point, view) for point in found_points(store) if (view := _view(store, point, worked)) is not None]
    asked = questions(
        ground, state, log, coded=coded, pair_views=[view for _, view in pairs], versions=store.unit_versions(),
        day_of=lambda row: row.recorded_at.astimezone(zone).date(),
    )  # fmt: skip
    packet = ItemPacket(
        place=settings.place.name,
        currency=settings.place.currency,
        from_date=report.result.from_date,
        to_date=report.result.to_date,
        ground=ground,
        state=state,
        kills=bool(kills),
        log=log,
        questions=tuple(one for one in asked if audience == "owner" or one.kind not in OWNERS_KINDS),
    )
    shown = page_photos(
        store, audience=audience, most_bytes=_MOST_BYTES, sizes=_PICTURES, points=[point for point, _ in pairs]
    )
    boundary = store.boundary()
    sheet = PacketSheet(
        packet=packet,
        around=Around(
            boundary=None if boundary is None else boundary.geometry,
            features=page_features(one for one in store.features() if not is_private(one)),
        ),
        pairs=shown.points,
        made_on=now.astimezone(zone).date(),
        audience=audience,
        missing=shown.missing,
    )
    drawn: list[PacketFigures] = []
    write_whole(target, lambda file: drawn.append(draw_packet(sheet, file, paper=paper)), overwrite=overwrite)
    return PacketResult(
        path=str(target),
        bytes=target.stat().st_size,
        pages=drawn[0].pages,
        scale=drawn[0].scale,
        audience=audience,
        program=ground.item.program,
        item=ground.item.item,
        practice_code=ground.item.practice_code,
        from_date=packet.from_date,
        to_date=packet.to_date,
        applied_acres=ground.total.applied_acres,
        apart_acres={f"{column}_acres": acres for column, acres in ground.total.apart_acres.items()},
        paper_acres=words.paper_acres(packet, "applied"),
        paper_payment=ground.total.paper_payment,
        photo_pairs=len(shown.points),
        questions=(*(words.question_sentence(one) for one in packet.questions), *shown.missing),
    )


def _chosen(item: str, contract: Sequence[ContractItem]) -> int:
    """Return the place of the one contract line that is called so."""
    names = [f"{line.program} {line.item}" for line in contract]
    found = [n for n, line in enumerate(contract) if item.casefold() in (line.item.casefold(), names[n].casefold())]
    if len(found) != 1:
        raise InputError(
            "several contract items are called so" if found else "there is no such contract item",
            where="--item",
            value=item,
            allowed=", ".join(names) or None,
            mend="name program and item, as [[contract]] in habmap.toml has them",
        )
    return found[0]


def _view(store: Store, point: FoundPoint, worked: shapely.Geometry) -> shapely.Geometry | None:
    """Return the ground that a photo pair shows, where it shows some of the item's; ``None`` for all other photos."""
    if point.after is None or store.grid is None:
        return None
    spot = store.grid.to_grid(point.before.geometry)
    view = seen_ground(spot.x, spot.y, point.before.direction_deg)
    return view if shapely.intersection(view, worked).area >= SEEN_AREA_M2 else None
