"""What has grown back: photo pairs, native cover and species before and after the work."""

from __future__ import annotations

from typing import Final

from starlette.exceptions import HTTPException
from starlette.responses import Response

from habmap.desk.asked import Asked
from habmap.desk.pages import page, table
from habmap.desk.room import Room
from habmap.desk.rooms.load import KINDS

#: What of the loadable files tells what grew.
_SEEN: Final = ("photos", "cover", "sightings")


def show(asked: Asked) -> Response:
    """Show each unit's before and after, and the photo points."""
    from habmap import api
    from habmap.show.words import whole

    result = api.response(asked.store)
    told = [unit for unit in result.units if unit.frames_before or unit.frames_after or unit.species_after]
    rows = [
        [
            unit.unit_id,
            unit.first_work_on,
            whole(unit.native_cover_before_pct),
            whole(unit.native_cover_after_pct),
            whole(unit.canopy_before_pct),
            whole(unit.canopy_after_pct),
            unit.species_before,
            unit.species_after,
        ]
        for unit in told
    ]
    heads = (
        "unit",
        "first work",
        "native cover %, before",
        "after",
        "crowns %, before",
        "after",
        "species before",
        "after",
    )
    return page(
        asked,
        "grown.html.j2",
        told=told,
        rows=table("Before and after the first work", heads, rows),
        method=result.method,
        points=api.photos(asked.store).points,
        kinds=[kind for kind in KINDS if kind.key in _SEEN],
    )


def picture(asked: Asked) -> Response:
    """Give a photo's own small picture."""
    name = asked.text("name")
    known = {photo.picture for photo in asked.store.photos()}
    data = asked.store.picture(name) if name in known else None
    if data is None:
        raise HTTPException(404, "There is no such picture.")
    return Response(data, media_type="image/jpeg")


ROOM: Final = Room(name="grown", title="What has grown back", show=show, parts={"picture": picture})
