"""How dry a burn block's fine fuel is by the way the ground faces, and what the log says of its fuel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from habmap.land.facing import FLAT
from habmap.measures import acres
from habmap.records import Entry
from habmap.work.burn.block_terrain import BlockTerrain
from habmap.work.fuel_moisture import Air, table_moisture_pct
from habmap.work.fuel_tables import ASPECTS, SLOPE_CLASSES
from habmap.work.ground import Ground, GroundPiece

UNKNOWN: Final = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class FuelClass:
    """Fine dead fuel moisture of the ground that faces one way: a quadrant, ``flat`` or ``unknown``."""

    facing: str
    slope_class: str
    acres: float
    pct: float | None

    def moisture_pct(self, air: Air) -> float | None:
        """Return the moisture of this ground in some air; ``None`` where the tables give none."""
        return _moisture_pct(air, self.facing, self.slope_class)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fuel:
    """What the log says of the fuel there, from the newest look and cut; ``None`` = nobody wrote it.

    ``needles`` is of the newest check-up since the last felling on its ground.
    """

    look_date: date | None
    needles: str | None
    fuel_lb_ac: float | None
    tallest_ft: float | None
    last_cut: date | None
    days_since_cut: int | None


def fuel_classes(air: Air | None, dem: BlockTerrain | None, block_m2: float) -> tuple[FuelClass, ...]:
    """Return the moisture of each face and slope class, the driest first, then the larger ground; none without air."""
    class_m2 = dict(dem.class_m2) if dem else {}
    uncovered_m2 = block_m2 - sum(class_m2.values())
    if uncovered_m2 > 1e-4 * block_m2:
        class_m2[(UNKNOWN, UNKNOWN)] = uncovered_m2
    lines = [
        FuelClass(
            facing=facing,
            slope_class=slope_class,
            acres=acres(area_m2),
            pct=None if air is None else _moisture_pct(air, facing, slope_class),
        )
        for (facing, slope_class), area_m2 in class_m2.items()
    ]
    return tuple(sorted(lines, key=lambda line: (line.pct is None, line.pct or 0.0, -line.acres)))


def driest_pct(classes: Sequence[FuelClass]) -> float | None:
    """Return the moisture of the driest ground; ``None`` where no class has a figure."""
    return min((line.pct for line in classes if line.pct is not None), default=None)


def _moisture_pct(air: Air, facing: str, slope_class: str) -> float | None:
    pct = table_moisture_pct(
        air,
        aspect=next((one for one in ASPECTS if one == facing), None),
        slope_class=next((one for one in SLOPE_CLASSES if one == slope_class), None),
        is_flat=facing == FLAT,
    )
    return None if pct is None else float(pct)


def fuel_there(pieces: Sequence[GroundPiece], state: Ground, on: date) -> Fuel:
    """Return what the newest look and the last cut say of the fuel."""
    look = _last_look(pieces, state)
    needles = max(
        ((piece.state.needles_seen, piece.state.needles) for piece in pieces if piece.state.needles_seen),
        default=(None, None),
    )[1]
    last_cut = max((piece.state.last_felled for piece in pieces if piece.state.last_felled), default=None)
    return Fuel(
        look_date=look.date if look else None,
        needles=needles,
        fuel_lb_ac=look.look.fuel_lb_ac if look and look.look else None,
        tallest_ft=look.look.tallest_ft if look and look.look else None,
        last_cut=last_cut,
        days_since_cut=(on - last_cut).days if last_cut else None,
    )


def _last_look(pieces: Sequence[GroundPiece], state: Ground) -> Entry | None:
    """Return the newest look that covers some of this ground."""
    ids = {entry_id for piece in pieces for entry_id in piece.entry_ids}
    looks = [entry for entry in state.entries if entry.entry_id in ids and entry.look is not None]
    return max(looks, key=lambda entry: (entry.date, entry.recorded_at), default=None)
