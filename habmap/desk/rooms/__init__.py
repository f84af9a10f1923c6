"""The rooms of the desk, one module each with its ``ROOM``; a room is named here and nowhere else."""

from __future__ import annotations

from typing import Final

from habmap.desk.rooms import doorstep, log, map, week

#: Before any property is open.
DOORSTEP: Final = doorstep.ROOM
#: Where a property is entered.
FIRST: Final = week.ROOM
#: In the order of the list at the top of each page.
IN_ORDER: Final = (DOORSTEP, FIRST, map.ROOM, log.ROOM)
