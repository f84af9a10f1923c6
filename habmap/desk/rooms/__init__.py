"""The rooms of the desk, one module each with its ``ROOM``; a room is named here and nowhere else."""

from __future__ import annotations

from importlib import import_module
from typing import Final

from habmap.desk.room import Room

#: In the order of the list at the top of each page; some stand in no list.
IN_ORDER: Final[tuple[Room, ...]] = tuple(
    import_module(f"{__name__}.{name}").ROOM
    for name in (
        "doorstep", "week", "map", "log", "units", "burn", "season", "grown", "papers", "history", "load", "settings",
        "check", "manual", "lead", "seen", "work",
    )
)  # fmt: skip
#: Before any property is open, and where one is entered.
DOORSTEP, FIRST = IN_ORDER[:2]
