"""Where felled cedar lies and killed cedar stands, as it is drawn beside the stages: by shares, whatever the stage."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

from shapely import MultiPolygon, Polygon

from habmap.land.acreage import merged
from habmap.land.grid import LocalGrid
from habmap.memory import remembered
from habmap.work.ground import CutUnit, GroundPiece
from habmap.work.stages import GroundState

Share = Literal["slash", "snags", "both"]
SHARE_WORDS: Final[dict[Share, str]] = {
    "slash": "felled cedar", "snags": "killed, left standing", "both": "dead trees in slash",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class PageShare:
    """All ground of one unit on which one share is (lon/lat)."""

    unit_id: str
    kind: Share
    acres: float
    geometry: Polygon | MultiPolygon


def share_of(state: GroundState) -> Share | None:
    """Return what lies or stands there: felled cedar, cedar killed standing, both; ``None``: neither."""
    if state.felled_frac > 0:
        return "both" if state.snag_frac > 0 else "slash"
    return "snags" if state.snag_frac > 0 else None


@remembered
def unit_shares(cut: CutUnit, grid: LocalGrid | None) -> tuple[PageShare, ...]:
    """Return the same of one unit's ground."""
    return page_shares(cut.pieces, grid)


def page_shares(pieces: Iterable[GroundPiece], grid: LocalGrid | None) -> tuple[PageShare, ...]:
    """Return the ground joined by unit and share, by unit in the order of the pieces."""
    found: defaultdict[tuple[str, Share], list[GroundPiece]] = defaultdict(list)
    for piece in pieces:
        if (kind := share_of(piece.state)) is not None and piece.area_m2 > 0:
            found[piece.unit_id, kind].append(piece)
    if grid is None:
        return ()
    return tuple(
        PageShare(
            unit_id=unit_id,
            kind=kind,
            acres=math.fsum(piece.acres for piece in own),
            geometry=grid.to_lonlat(merged([piece.geometry for piece in own])),
        )
        for (unit_id, kind), own in found.items()
    )
