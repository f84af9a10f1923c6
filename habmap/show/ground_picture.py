"""The ground of a line as a small picture before it is saved: its outline on the units, over what stands there now."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import shapely
from markupsafe import Markup
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from habmap.land.contiguous import polygons
from habmap.land.grid import grid_around
from habmap.measures import M_PER_FT
from habmap.show.palette import INK, PAPER, STAGE_FILLS
from habmap.show.symbols import EDGE_STROKES
from habmap.show.templating import ENVIRONMENT
from habmap.show.words import round_step
from habmap.vocabulary import STAGE_WORDS, STAGES
from habmap.work.ground import Ground

#: Size of the picture, drawn as wide as its column [px].
_WIDTH_PX: Final = 640
_HEIGHT_PX: Final = 400
#: Room around the ground: a share of its longer side, and at least so much [m].
_AROUND_SHARE: Final = 0.5
_AROUND_M: Final = 20.0
#: Corners nearer to their edge than a third of a dot on the screen are left out [px].
_FINEST_PX: Final = 0.3
#: A unit that shows on less is not named [px²].
_LEAST_NAMED_PX2: Final = 1_200.0
#: Room for a letter of a name, which keeps within the picture [px].
_LETTER_PX: Final = 11.0
#: The ruler takes up to this share of the width.
_RULER_SHARE: Final = 0.3


@dataclass(frozen=True, slots=True)
class _Frame:
    """What is in sight: the west and north of it [m] and how large a meter is [px]."""

    west_m: float
    north_m: float
    px_per_m: float

    @classmethod
    def around(cls, shape: BaseGeometry) -> _Frame:
        west, south, east, north = shape.bounds
        around_m = max(_AROUND_M, _AROUND_SHARE * max(east - west, north - south))
        px_per_m = min(_WIDTH_PX / (east - west + 2 * around_m), _HEIGHT_PX / (north - south + 2 * around_m))
        return cls(
            (west + east) / 2 - _WIDTH_PX / px_per_m / 2, (south + north) / 2 + _HEIGHT_PX / px_per_m / 2, px_per_m
        )

    def seen(self, shape: BaseGeometry) -> BaseGeometry:
        """Return what of a shape is in sight, in dots from the upper left."""
        east_m, south_m = self.west_m + _WIDTH_PX / self.px_per_m, self.north_m - _HEIGHT_PX / self.px_per_m
        own = shapely.intersection(shape, shapely.box(self.west_m, south_m, east_m, self.north_m))
        k = self.px_per_m
        dots = shapely.transform(own, lambda xy: (xy - (self.west_m, self.north_m)) * (k, -k))
        return shapely.simplify(dots, _FINEST_PX)


@dataclass(frozen=True, slots=True)
class _Name:
    """A unit's name and where it stands [px]."""

    words: str
    x: float
    y: float


def ground_picture(ground: Ground, patch: MultiPolygon) -> Markup:
    """Draw the ground of a line with what is around it.

    Parameters
    ----------
    ground
        The property's ground before the line.
    patch
        The ground of the line, WGS 84 lon/lat [°].

    Returns
    -------
    A figure of HTML with its legend, north up.
    """
    grid = ground.grid or grid_around([patch])
    covered = grid.to_grid(patch)
    frame = _Frame.around(covered)
    units = {unit_id: frame.seen(shape) for unit_id, shape in ground.unit_shapes.items()}
    units = {unit_id: shape for unit_id, shape in units.items() if not shape.is_empty}
    by_stage: dict[str, list[str]] = {}
    for piece in ground.pieces:
        if piece.unit_id in units and (path := _path(frame.seen(piece.geometry))):
            by_stage.setdefault(piece.stage, []).append(path)
    shown = frame.seen(covered)
    step_ft = round_step(_RULER_SHARE * _WIDTH_PX / frame.px_per_m / M_PER_FT)
    return Markup(
        ENVIRONMENT.get_template("ground_picture.html.j2").render(
            width=_WIDTH_PX,
            height=_HEIGHT_PX,
            stages=_legend(by_stage),
            units=[(_path(shape), EDGE_STROKES["unit"]) for shape in units.values()],
            ground=_path(shown),
            names=list(_names(units, shown)),
            ruler_ft=step_ft,
            ruler_px=round(step_ft * M_PER_FT * frame.px_per_m, 1),
            paper=PAPER,
            ink=INK,
        )
    )


def _legend(by_stage: dict[str, list[str]]) -> list[tuple[str, str, str]]:
    """Return words, fill and outline of what stands there; stages of one fill stand together."""
    by_fill: dict[str, list[str]] = {}
    for stage in STAGES:
        if stage in by_stage:
            by_fill.setdefault(STAGE_FILLS[stage], []).append(stage)
    return [
        (
            " or ".join(STAGE_WORDS[stage] for stage in own),
            fill,
            " ".join(path for stage in own for path in by_stage[stage]),
        )
        for fill, own in by_fill.items()
    ]


def _names(units: dict[str, BaseGeometry], ground: BaseGeometry) -> Iterator[_Name]:
    """Yield each unit's name where it stands beside the ground of the line, if it has room there."""
    for unit_id, shape in units.items():
        beside = shapely.difference(shape, shapely.buffer(ground, 8))
        parts = [part for part in polygons(beside) if part.area >= _LEAST_NAMED_PX2] or polygons(shape)
        spot = max(parts, key=lambda part: part.area, default=Polygon()).representative_point()
        if shape.area >= _LEAST_NAMED_PX2:
            half = min(_LETTER_PX * len(unit_id) / 2, _WIDTH_PX / 2)
            yield _Name(unit_id, round(min(max(spot.x, half), _WIDTH_PX - half), 1), round(spot.y, 1))


def _path(shape: BaseGeometry) -> str:
    return "".join(
        "M" + "L".join(f"{x:.1f},{y:.1f}" for x, y in shapely.get_coordinates(ring)[:-1]) + "Z"
        for part in polygons(shape)
        for ring in (part.exterior, *part.interiors)
    )
