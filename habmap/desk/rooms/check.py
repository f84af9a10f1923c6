"""Check: every rule that the property must obey, and what does not."""

from __future__ import annotations

from typing import Final

from starlette.responses import Response

from habmap.desk.asked import Asked
from habmap.desk.pages import page
from habmap.desk.room import Room


def show(asked: Asked) -> Response:
    """Look at every rule."""
    from habmap import api

    today = asked.today
    return page(
        asked, "check.html.j2", result=asked.at.kept(("check", today), lambda store: api.check(store, today=today))
    )


ROOM: Final = Room(name="check", title="Check", show=show)
