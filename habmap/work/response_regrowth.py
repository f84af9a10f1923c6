"""When work first came to a unit's ground, and what the looks since found coming back there."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from typing import Final

from habmap.memory import remembered
from habmap.records import Look
from habmap.vocabulary import FIRE, KILLING
from habmap.work.ground import CutUnit

#: Work that covers less of a unit than this ran over its edge from next door.
OVERRUN_FRAC: Final = 0.01
#: Less ground than this is not spoken of [acre].
_LEAST_ACRES: Final = 0.05


@dataclass(frozen=True, slots=True)
class FirstWork:
    """Day and practice of the first killing or burning work on a unit, and the share of it worked so since [%]."""

    on: date | None
    practice: str | None
    worked_pct: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LookFound:
    """What the last look on some ground found; ``None`` = not looked at. ``acres`` is that ground in the unit."""

    on: date
    acres: float
    live_stems_per_acre: float | None
    seedlings_per_acre: float | None
    tallest_ft: float | None
    sprouts: dict[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class ComingBack:
    """What grows again: acres whose stage is coming back, and the looks since the first work, the newest first."""

    acres: float
    looks: tuple[LookFound, ...]


@remembered
def first_work(cut: CutUnit) -> FirstWork:
    """Return the first killing or burning work that covered at least a hundredth of a unit."""
    work = {line.entry_id: line for line in cut.lines if line.practice in KILLING | FIRE}
    pieces = cut.pieces
    whole_acres = sum(piece.acres for piece in pieces)
    covered: defaultdict[str, float] = defaultdict(float)
    worked_acres = 0.0
    for piece in pieces:
        done = [entry_id for entry_id in piece.entry_ids if entry_id in work]
        worked_acres += piece.acres if done else 0.0
        for entry_id in done:
            covered[entry_id] += piece.acres
    # its lines come in the order of the work
    first = next((work[key] for key in work if covered[key] and covered[key] >= OVERRUN_FRAC * whole_acres), None)
    if first is None:
        return FirstWork(None, None, 0.0)
    return FirstWork(first.date, first.practice, 100 * worked_acres / whole_acres)


@remembered
def coming_back(cut: CutUnit, *, since: date | None) -> ComingBack:
    """Return what the last look on each piece of a unit found growing, since a day (``None``: nothing)."""
    looks = {line.entry_id: (line.date, line.look) for line in cut.lines if line.practice == "checkup" and line.look}
    acres = sum(piece.acres for piece in cut.pieces if piece.stage == "coming_back")
    seen_acres: defaultdict[str, float] = defaultdict(float)
    for piece in cut.pieces:
        last = [entry_id for entry_id in piece.entry_ids if entry_id in looks][-1:]
        for entry_id in last:
            seen_acres[entry_id] += piece.acres
    found = [
        _found(on, look, seen_acres[entry_id])
        for entry_id, (on, look) in looks.items()
        if since is not None and on > since and seen_acres[entry_id] >= _LEAST_ACRES
    ]
    told = [look for look in found if _tells(look)]
    return ComingBack(acres=acres, looks=tuple(sorted(told, key=lambda look: look.on, reverse=True)))


def _found(on: date, look: Look, acres: float) -> LookFound:
    return LookFound(
        on=on,
        acres=acres,
        live_stems_per_acre=look.live_stems_per_acre,
        seedlings_per_acre=look.seedlings_per_acre,
        tallest_ft=look.tallest_ft,
        sprouts=dict(look.sprouts),
    )


def _tells(look: LookFound) -> bool:
    return bool(look.sprouts) or look.live_stems_per_acre is not None or look.seedlings_per_acre is not None
