"""The rooms of the desk, one module each with its ``ROOM``; a room is named here and nowhere else."""

from __future__ import annotations

from typing import Final

from habmap.desk.room import Room
from habmap.desk.rooms import (
    burn,
    check,
    doorstep,
    grown,
    history,
    lead,
    load,
    log,
    manual,
    map,
    papers,
    season,
    seen,
    settings,
    units,
    week,
    work,
)

#: Before any property is open.
DOORSTEP: Final = doorstep.ROOM
#: Where a property is entered.
FIRST: Final = week.ROOM
#: In the order of the list at the top of each page; some stand in no list.
IN_ORDER: Final[tuple[Room, ...]] = tuple(
    one.ROOM
    for one in (
        doorstep, week, map, log, units, burn, season, grown, papers, history, load, settings, check, manual,
        lead, seen, work,
    )
)  # fmt: skip
