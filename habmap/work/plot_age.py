"""Which plots still tell of the ground as it is: those with no killing work on their ground since."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import shapely

from habmap.land.grid import LocalGrid
from habmap.measures import acres
from habmap.memory import remembered
from habmap.records import Plot, Unit
from habmap.work.ground import CutUnit, GroundPiece

#: A share of the cedars killed since that makes a count old: less lies within what plots can tell. Chosen, no source.
MATTERS_FRAC: Final = 0.10
#: Plots without a place on the map stand for the whole unit; with work since on this share of it they are old. Chosen,
#: no source.
MOSTLY_FRAC: Final = 0.50


@dataclass(frozen=True, slots=True)
class UnitGround:
    """One unit's ground and the place's grid, for asking what was killed there since a day."""

    cut: CutUnit
    grid: LocalGrid | None

    @property
    def pieces(self) -> tuple[GroundPiece, ...]:
        """All ground of the unit, by history."""
        return self.cut.pieces

    def worked_acres(self, since: date | None) -> float:
        """Return the ground with killing work on or after a day, ``None``: ever [acre]."""
        return acres(_worked_m2(self.cut, since)[0])

    def unworked_acres(self, since: date | None) -> float:
        """Return the ground without such work [acre]."""
        return acres(_worked_m2(self.cut, since)[1])

    def worked_frac(self, since: date | None) -> float:
        """Return the share of the unit with killing work on or after a day, 0–1."""
        all_m2 = sum(piece.area_m2 for piece in self.pieces)
        return self.worked_acres(since) / acres(all_m2) if all_m2 > 0 else 0.0

    def last_kill(self) -> date | None:
        """Return the last day of killing work on any of it."""
        return max((kill.date for piece in self.pieces for kill in piece.state.kills), default=None)

    def is_old(self, plot: Plot) -> bool:
        """Tell whether killing work came over a plot's ground on the day it was measured, or later.

        A plot without a day may be older than any work there. One without a place, or off the unit as it is drawn
        now, stands for the whole unit, and is old where work since covers half of it.
        """
        if own := self.under(plot):
            return any(_is_worked(piece, plot.measured_on) for piece in own)
        return self.worked_frac(plot.measured_on) >= MOSTLY_FRAC

    def under(self, plot: Plot) -> tuple[GroundPiece, ...]:
        """Return the pieces at a plot's place; none where it has no place or lies off the unit as it is drawn now."""
        if plot.geometry is None or self.grid is None:
            return ()
        point = self.grid.to_grid(plot.geometry)
        return tuple(piece for piece in self.pieces if shapely.intersects(piece.geometry, point))


def by_age(plots: Sequence[Plot], ground: UnitGround) -> tuple[tuple[Plot, ...], tuple[Plot, ...]]:
    """Return the plots that count as now, and those older than the work on their ground."""
    old = {plot.uuid for plot in plots if ground.is_old(plot)}
    return (
        tuple(plot for plot in plots if plot.uuid not in old),
        tuple(plot for plot in plots if plot.uuid in old),
    )


def given_since(unit: Unit, name: str, versions: Mapping[str, Unit]) -> date | None:
    """Return from which day a unit has carried its present figure of this name; ``None`` = from the beginning.

    A version that only moves the outline takes the figure along, and makes it no younger.

    Parameters
    ----------
    versions
        All versions of all units by their ``uuid``.
    """
    earlier = [versions[one] for one in unit.replaces if one in versions]
    same = [one for one in earlier if getattr(one, name) == getattr(unit, name)]
    if not same:
        return unit.valid_from
    days = [given_since(one, name, versions) for one in same]
    return None if None in days else min(day for day in days if day is not None)


@remembered
def _worked_m2(cut: CutUnit, since: date | None) -> tuple[float, float]:
    """Return the ground with killing work on or after a day, ``None``: ever, and that without [m²]."""
    worked, rest = 0.0, 0.0
    for piece in cut.pieces:
        if _is_worked(piece, since):
            worked += piece.area_m2
        else:
            rest += piece.area_m2
    return worked, rest


def _is_worked(piece: GroundPiece, since: date | None) -> bool:
    """Tell whether work on or after a day killed a share of the cedars then alive that matters."""
    first = next((kill for kill in piece.state.kills if since is None or kill.date >= since), None)
    if first is None:
        return False
    alive_then = 1 - first.killed_before_frac
    return alive_then > 0 and (piece.state.killed_frac - first.killed_before_frac) / alive_then >= MATTERS_FRAC - 1e-9
