"""The first steps with a new property, one after the other, each done where it stands."""

from __future__ import annotations

from typing import Final

from starlette.responses import Response

from habmap.desk.asked import Asked
from habmap.desk.pages import page
from habmap.desk.room import Room
from habmap.desk.rooms.load import KINDS, LAYER_WORDS, fields_of
from habmap.desk.rooms.map import is_placed


def show(asked: Asked) -> Response:
    """Show which steps are done and which comes next."""
    store = asked.store
    dem = next(kind for kind in KINDS if kind.key == "dem")
    return page(
        asked,
        "lead.html.j2",
        units=len(store.units()),
        has_line=store.boundary() is not None,
        elevation=store.elevation(),
        is_placed=is_placed(store),
        lines=len(store.entries()),
        layer_help=f"{LAYER_WORDS}.",
        dem=fields_of(dem),
    )


ROOM: Final = Room(name="lead", title="First steps", show=show, is_listed=False)
