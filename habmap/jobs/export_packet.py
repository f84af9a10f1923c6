"""One PDF for an inspector: a contract item's ground, dates, map, photo pairs, payment, and what would be asked."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from habmap.jobs.export_practices import practice_codes, reported
from habmap.jobs.photos import found_points, page_photos
from habmap.jobs.ports import Store
from habmap.jobs.printing import drawn_into
from habmap.jobs.public import public_view
from habmap.jobs.snapshot import snapshot
from habmap.place.closed_days import contract_items
from habmap.place.writers import refuse_to_write
from habmap.progress import Progress, Steps
from habmap.show.packet.map import Around
from habmap.show.packet.packet import PacketResult, PacketSheet, draw_packet, packet_result
from habmap.show.records import page_features
from habmap.show.sheet.paper import Paper
from habmap.vocabulary import Audience
from habmap.work.ledger import corrections, line_numbers
from habmap.work.packet import item_packet
from habmap.work.paperwork_records import chosen_item
from habmap.work.public_copy import is_private

#: Long side of a picture on paper [pixels] and its JPEG quality, and the most bytes of all pictures.
_PICTURES = ((640, 80), (480, 72), (360, 65))
_MOST_BYTES = 3_000_000


def export_packet(
    store: Store,
    *,
    item: str,
    target: Path,
    now: datetime,
    year: int | None = None,
    first: date | None = None,
    last: date | None = None,
    paper: Paper = "letter",
    audience: Audience = "owner",
    overwrite: bool = False,
    progress: Progress | None = None,
) -> PacketResult:
    """Write the packet of one contract item, named as in ``habmap.toml``: its item, or program and item.

    Nests, graves and other private places are in no packet, for it leaves the house.

    ``progress`` is called with how far it is: its named steps.

    Raises
    ------
    InputError
        There is no such item, several are called so, or no work of it lies on its units; the file is there.
    """
    refuse_to_write(target, overwrite=overwrite)
    steps = Steps(progress, "work of the item", "photos", "drawing")
    steps.begin("work of the item")
    zone, is_owner = ZoneInfo(store.settings.place.timezone), audience == "owner"
    place, numbers = chosen_item(item, contract_items(store.settings)), line_numbers(store.entries())
    store = snapshot(store) if is_owner else public_view(store)
    packet, points = item_packet(
        reported(store, year=year, first=first, last=last, audience=audience),
        place,
        coded=practice_codes(store.settings),
        lines=corrections(store.entries()),
        numbers=numbers,
        versions=store.unit_versions(),
        points=found_points(store),
        day_of=lambda row: row.recorded_at.astimezone(zone).date(),
        is_owner=is_owner,
    )
    steps.begin("photos")
    pictures = page_photos(store, audience=audience, most_bytes=_MOST_BYTES, sizes=_PICTURES, points=points)
    boundary = store.boundary()
    features = page_features(one for one in store.features() if not is_private(one))
    sheet = PacketSheet(
        packet=packet,
        around=Around(boundary=None if boundary is None else boundary.geometry, features=features),
        pairs=pictures.points,
        made_on=now.astimezone(zone).date(),
        audience=audience,
        missing=pictures.missing,
    )
    steps.begin("drawing")
    figures = drawn_into(target, lambda file: draw_packet(sheet, file, paper=paper), overwrite=overwrite)
    steps.end()
    return packet_result(sheet, figures, target)
