"""Outlines: lines and curves in points of the page, as arrays that are moved, turned and written as a whole."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

#: What the pen does at a vertex. A curve is two control points and its end; the vertex of a `CLOSE` is where its ring
#: began.
MOVE, LINE, BEGIN_CURVE, CURVE_ON, END_CURVE, CLOSE = range(6)


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """One or more lines or rings: ``vertices`` of shape (n, 2) and what the pen does at each, of shape (n,)."""

    vertices: NDArray[np.float64]
    codes: NDArray[np.uint8]

    @classmethod
    def through(cls, points: Sequence[tuple[float, float]], *, closed: bool = False) -> Outline:
        """Return the line through points; ``closed``: the last of them is the first again."""
        codes = np.full(len(points), LINE, np.uint8)
        codes[0] = MOVE
        if closed:
            codes[-1] = CLOSE
        return cls(np.asarray(points, np.float64), codes)

    @classmethod
    def circle(cls, center: tuple[float, float], radius: float) -> Outline:
        """Return a circle."""
        arc = cls.arc(360.0)
        return cls(np.vstack([arc.vertices, arc.vertices[:1]]) * radius + center, np.append(arc.codes, CLOSE))

    @classmethod
    def arc(cls, turn_deg: float) -> Outline:
        """Return an arc of the unit circle, from the right through so many degrees counterclockwise."""
        count = max(1, math.ceil(turn_deg / 90 - 1e-9))
        step = math.radians(turn_deg) / count
        off = 4 / 3 * math.tan(step / 4)
        angles = np.arange(count + 1) * step
        on = np.column_stack([np.cos(angles), np.sin(angles)])
        tangent = np.column_stack([-on[:, 1], on[:, 0]]) * off
        parts = np.stack([on[:-1] + tangent[:-1], on[1:] - tangent[1:], on[1:]], axis=1).reshape(-1, 2)
        codes = np.array([MOVE, *([BEGIN_CURVE, CURVE_ON, END_CURVE] * count)], np.uint8)
        return cls(np.vstack([on[:1], parts]), codes)

    @classmethod
    def of(cls, shape: BaseGeometry) -> Outline | None:
        """Return polygons, lines and rings as one outline, holes turned against their shells; ``None`` without any."""
        parts = shapely.get_parts(shape)
        kinds = shapely.get_type_id(parts)
        polygons, lines = parts[kinds == 3], parts[(kinds == 1) | (kinds == 2)]
        rings = np.concatenate([shapely.get_rings(shapely.orient_polygons(polygons)), lines])
        rings = rings[~shapely.is_empty(rings)]
        if not len(rings):
            return None
        vertices = shapely.get_coordinates(rings)
        ends = np.cumsum(shapely.get_num_coordinates(rings))
        codes = np.full(len(vertices), LINE, np.uint8)
        codes[0], codes[ends[:-1]] = MOVE, MOVE
        codes[ends[shapely.is_closed(rings)] - 1] = CLOSE
        return cls(vertices, codes)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Left, bottom, right, top of its vertices."""
        left, bottom = self.vertices.min(axis=0).tolist()
        right, top = self.vertices.max(axis=0).tolist()
        return left, bottom, right, top

    def moved(self, right: float, up: float) -> Outline:
        """Return it so far to the right and up."""
        return Outline(self.vertices + np.array([right, up]), self.codes)

    def scaled(self, across: float, up: float) -> Outline:
        """Return it larger by two factors."""
        return Outline(self.vertices * (across, up), self.codes)

    def turned(self, turn_deg: float) -> Outline:
        """Return it turned about the origin, counterclockwise where y is up [°]."""
        cos, sin = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
        return Outline(self.vertices @ np.array([[cos, sin], [-sin, cos]]), self.codes)

    def repeated(self, corners: NDArray[np.float64]) -> Outline:
        """Return it once at each of the corners (m, 2), as one outline."""
        vertices = (self.vertices[None, :, :] + corners[:, None, :]).reshape(-1, 2)
        return Outline(vertices, np.tile(self.codes, len(corners)))

    def written(self, ways: Sequence[str]) -> str:
        """Return it in a language of lines and curves; ``ways``: two figures and a word for each thing the pen does."""
        drawn = self.codes != CLOSE
        template = "".join([ways[code] for code in self.codes.tolist()])
        figures: Any = self.vertices[drawn].ravel().tolist()
        return template % tuple(figures)
