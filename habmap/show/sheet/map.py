"""The map on the sheet: ground in the place's own grid, drawn in points at one true scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image
from shapely.geometry.base import BaseGeometry

from habmap.land.grid import LocalGrid
from habmap.measures import MM_PER_IN
from habmap.show import symbols
from habmap.show.palette import CONTOUR_INK, INK, PAPER, WATER_FILL
from habmap.show.patterns import COVER_WORDS
from habmap.show.records import Page
from habmap.show.relief import Relief
from habmap.show.sheet.marks import PT_PER_PX, Pattern, cover_pattern, over_pattern, stage_pattern, svg_outline, tiled
from habmap.show.sheet.outline import Outline
from habmap.show.sheet.pen import Pen

PT_PER_M: Final = 72 * 1000 / MM_PER_IN
#: Kinds too small on paper to be drawn to their outline.
_MARKED_AREAS: Final = frozenset(symbols.POINT_MARKS) - {"pond", "other", "airport"}
#: The shade is printed weaker than on screen: paper has no backlight, and the patterns must stay readable.
_SHADE_ON_PAPER: Final = 0.6
_SHADE_DPI: Final = 150
#: The shade is turned in so many strips each way: within one the turn is taken as even, to 0.02 m on ground of 20 km.
_MESH: Final = 16
#: A frame is looked at in so many strips, each way; a strip with more than this share of it bare is taken off it, but
#: never nearer to the ground that the map is about than this [pt].
_STRIPS: Final = 121
_BARE: Final = 0.03
_KEPT_PT: Final = 4.0


@dataclass(frozen=True, slots=True)
class Frame:
    """Where the map lies on the page, and its scale.

    Attributes
    ----------
    left, bottom, width, height
        The frame on the page [pt].
    scale
        The N of 1:N.
    middle_xy
        Grid point [m] in the middle of the frame.
    grid
        The place's grid.
    grow
        How much larger than its points the page is drawn (`Pen`).
    """

    left: float
    bottom: float
    width: float
    height: float
    scale: int
    middle_xy: tuple[float, float]
    grid: LocalGrid
    grow: float = 1.0

    @property
    def pt_per_ground_m(self) -> float:
        """Points of paper to a meter of ground."""
        return PT_PER_M / self.scale / self.grow

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, bottom, right, top [pt]."""
        return (self.left, self.bottom, self.left + self.width, self.bottom + self.height)

    @property
    def outline(self) -> Outline:
        """The frame as a closed outline."""
        left, bottom, right, top = self.box
        return Outline.through(
            [(left, bottom), (right, bottom), (right, top), (left, top), (left, bottom)], closed=True
        )

    def on_paper(self, geometry: BaseGeometry) -> Any:
        """Return a lon/lat geometry in points of the page."""
        center = np.array([self.left + self.width / 2, self.bottom + self.height / 2])
        middle = np.array(self.middle_xy)
        return shapely.transform(self.grid.to_grid(geometry), lambda xy: center + (xy - middle) * self.pt_per_ground_m)

    @property
    def middle_lonlat(self) -> tuple[float, float]:
        """Longitude and latitude of the sheet's middle [°]."""
        point = self.grid.to_lonlat(shapely.Point(self.middle_xy))
        return (float(point.x), float(point.y))


def draw_ground(
    pen: Pen,
    frame: Frame,
    page: Page,
    *,
    neighbors: Sequence[BaseGeometry] = (),
    has_contours: bool = True,
) -> None:
    """Draw all of the map but its words (see ``sheet_labels``) and its frame (`draw_frame`).

    Parameters
    ----------
    pen
        The page.
    frame
        Where, and at what scale.
    page
        What there is to draw.
    neighbors
        Outlines of other units, for a sheet of one unit (lon/lat).
    has_contours
        Lines of height too, not the shade alone: a room sees the shape of the ground by its shade.
    """
    window = shapely.box(*frame.box)
    for piece in page.pieces:
        ground = frame.on_paper(piece.geometry)
        if ground.intersects(window):
            stage_area(pen, ground, piece.stage, clip=frame.outline)
    for unit in page.units:
        ground = frame.on_paper(unit.geometry)
        if unit.cover in COVER_WORDS and ground.intersects(window):
            pattern_area(pen, ground, cover_pattern(unit.cover), clip=frame.outline)
    for share in page.shares:
        ground = frame.on_paper(share.geometry)
        if share.kind == "both" and ground.intersects(window):
            pattern_area(pen, ground, over_pattern(share.kind), clip=frame.outline)
    if page.relief is not None:
        pen.picture(_shade(page.relief, frame), frame.box)
        if has_contours:
            draw_contours(pen, frame, page.relief)
    for shape in neighbors:
        draw_edge(pen, frame.on_paper(shape), "neighbor", clip=frame.outline)
    for work in page.work:
        draw_edge(pen, frame.on_paper(work.geometry), "patch", clip=frame.outline)
    for unit in page.units:
        draw_edge(pen, frame.on_paper(unit.geometry), "unit", clip=frame.outline)
    if page.boundary is not None:
        draw_edge(pen, frame.on_paper(page.boundary), "boundary", clip=frame.outline)
    for feature in page.features:
        draw_feature(pen, frame.on_paper(feature.geometry), feature.kind, clip=frame.outline)


def draw_frame(pen: Pen, frame: Frame) -> None:
    """Draw the edge of the map, over everything that runs into it."""
    pen.box(frame.left, frame.bottom, frame.width, frame.height, edgecolor=INK, linewidth=1.2)


def stage_area(pen: Pen, ground: BaseGeometry, stage: str, *, clip: Outline | None = None) -> None:
    """Fill ground (points of the page) with a stage's color and pattern."""
    pattern_area(pen, ground, stage_pattern(stage), clip=clip)


def pattern_area(pen: Pen, ground: BaseGeometry, pattern: Pattern, *, clip: Outline | None = None) -> None:
    """Fill ground (points of the page) with a color, if the pattern has one, and repeat its marks over it."""
    outline = Outline.of(ground)
    if outline is None:
        return
    if pattern.fill:
        pen.path(outline, clip=clip, facecolor=pattern.fill)
    if not pattern.marks:
        return
    bounds = ground.bounds
    if clip is not None:
        left, bottom, right, top = clip.bounds
        bounds = (max(bounds[0], left), max(bounds[1], bottom), min(bounds[2], right), min(bounds[3], top))
        inside = Outline.of(shapely.intersection(shapely.make_valid(ground), shapely.box(left, bottom, right, top)))
        if inside is None:
            return
        outline = inside
    for marks, mark in tiled(pattern, bounds):
        if mark.width_px:
            pen.path(marks, clip=outline, edgecolor=mark.ink, linewidth=mark.width_px * PT_PER_PX)
        else:
            pen.path(marks, clip=outline, facecolor=mark.ink)


def draw_edge(pen: Pen, shape: BaseGeometry, kind: str, *, clip: Outline | None = None) -> None:
    """Draw an edge (points of the page) as `symbols.EDGE_STROKES` has it, to show on light ground and dark."""
    outline = Outline.of(shape)
    if outline is None:
        return
    _pass_over(pen, outline, symbols.EDGE_STROKES[kind], clip)


def draw_contour_sample(pen: Pen, shape: BaseGeometry) -> None:
    """Draw a line as contours are drawn."""
    if (outline := Outline.of(shape)) is not None:
        pen.path(outline, edgecolor=CONTOUR_INK, linewidth=0.75)


def _pass_over(pen: Pen, outline: Outline, strokes: Sequence[symbols.Stroke], clip: Outline | None) -> None:
    """Draw a line pass by pass."""
    for stroke in strokes:
        dash = [float(step) for step in stroke.dash.split()]
        # A dash of no length with round ends is a dot; a paper line needs some length to draw one.
        pen.path(
            outline, clip=clip, edgecolor=stroke.ink, linewidth=stroke.width * PT_PER_PX,
            dash=[max(step, 0.01) * PT_PER_PX for step in dash], capstyle=stroke.cap, joinstyle="round",
        )  # fmt: skip


def is_drawn_to_shape(shape: BaseGeometry, kind: str) -> bool:
    """Tell whether a feature is drawn along its own shape; points and buildings are drawn as a mark."""
    return "Point" not in shape.geom_type and ("Polygon" not in shape.geom_type or kind not in _MARKED_AREAS)


def draw_feature(pen: Pen, shape: BaseGeometry, kind: str, *, clip: Outline | None = None) -> None:
    """Draw a feature (points of the page) in the survey's convention."""
    for part in shapely.get_parts(shape):
        if not is_drawn_to_shape(part, kind):
            part = part if part.geom_type == "Point" else part.representative_point()
            path, is_solid = symbols.point_mark(kind)
            mark = svg_outline(path).moved(-7, -7).scaled(PT_PER_PX, -PT_PER_PX).moved(part.x, part.y)
            pen.path(mark, clip=clip, edgecolor=PAPER, facecolor="none" if is_solid else PAPER, linewidth=3)
            pen.path(mark, clip=clip, edgecolor=INK, facecolor=INK if is_solid else "none", linewidth=0.9)
            continue
        outline = Outline.of(part)
        if outline is None:
            continue
        strokes = symbols.line_strokes(kind)
        if kind == "pond" and part.geom_type == "Polygon":
            pen.path(outline, clip=clip, facecolor=WATER_FILL)
        if kind != "road":
            pen.path(outline, clip=clip, edgecolor=PAPER, linewidth=(strokes[0].width + 2.6) * PT_PER_PX)
        _pass_over(pen, outline, strokes, clip)


# --- relief -------------------------------------------------------------------------------------------------


def _shade(relief: Relief, frame: Frame) -> NDArray[np.uint8]:
    """Turn the shade from its Mercator grid into the frame, as RGBA of ink and paper."""
    columns, rows = (max(2, round(side / 72 * _SHADE_DPI)) for side in (frame.width, frame.height))
    x, y = (np.unique(np.rint(np.linspace(0, count, _MESH + 1)).astype(int)) for count in (columns, rows))
    x_pt, y_pt = (x / columns - 0.5) * frame.width, (0.5 - y / rows) * frame.height
    lattice_pt = np.stack(np.meshgrid(x_pt, y_pt), axis=-1)
    row, column = _cell_of(
        relief, frame.grid, np.array(frame.middle_xy) + lattice_pt.reshape(-1, 2) / frame.pt_per_ground_m
    )
    # The library counts from the corner of a cell, `_cell_of` from its middle.
    corner = np.column_stack([column, row]).reshape(lattice_pt.shape) + 0.5
    mesh = [
        (
            (int(x[i]), int(y[j]), int(x[i + 1]), int(y[j + 1])),
            tuple(np.concatenate([corner[j, i], corner[j + 1, i], corner[j + 1, i + 1], corner[j, i + 1]]).tolist()),
        )
        for j in range(len(y) - 1)
        for i in range(len(x) - 1)
    ]
    source = Image.fromarray(np.nan_to_num(relief.shade).astype(np.float32))
    turned = source.transform((columns, rows), Image.Transform.MESH, mesh, Image.Resampling.BILINEAR)
    shade = np.asarray(turned)
    image = np.empty((rows, columns, 4), np.uint8)
    for color, where in ((INK, shade <= 0), (PAPER, shade > 0)):
        image[where, :3] = list(bytes.fromhex(color.removeprefix("#")))
    image[:, :, 3] = np.rint(255 * np.where(shade > 0, shade, -_SHADE_ON_PAPER * shade))
    return image


def drawn_in_to_relief(frame: Frame, relief: Relief, ground: BaseGeometry) -> Frame:
    """Return the frame without its outer strips that the relief does not reach, as far as the ground (page) lets it.

    A relief that ends within a frame reads as an edge of the land.
    """
    known = np.isfinite(relief.shade)
    left, bottom, right, top = frame.box
    x, y = np.linspace(left, right, _STRIPS), np.linspace(top, bottom, _STRIPS)
    center = np.array([left + frame.width / 2, bottom + frame.height / 2])
    lattice = np.column_stack([axis.ravel() for axis in np.meshgrid(x, y)])
    xy_m = np.array(frame.middle_xy) + (lattice - center) / frame.pt_per_ground_m
    row, column = _cell_of(relief, frame.grid, xy_m)
    r, c = np.rint(row).astype(int), np.rint(column).astype(int)
    within = (r >= 0) & (c >= 0) & (r < known.shape[0]) & (c < known.shape[1])
    found = np.zeros(len(r), bool)
    found[within] = known[r[within], c[within]]
    seen = found.reshape(_STRIPS, _STRIPS)
    own = shapely.bounds(ground) + np.array([-_KEPT_PT, -_KEPT_PT, _KEPT_PT, _KEPT_PT])
    if not seen.any():
        return frame
    rows, columns = [0, _STRIPS - 1], [0, _STRIPS - 1]
    while True:  # the barest of the four outer strips goes first
        part = seen[rows[0] : rows[1] + 1, columns[0] : columns[1] + 1]
        strips = [
            (1 - part[:, 0].mean(), columns, 0, 1, x[columns[0] + 1] <= own[0]),
            (1 - part[:, -1].mean(), columns, 1, -1, x[columns[1] - 1] >= own[2]),
            (1 - part[0].mean(), rows, 0, 1, y[rows[0] + 1] >= own[3]),
            (1 - part[-1].mean(), rows, 1, -1, y[rows[1] - 1] <= own[1]),
        ]
        bare = [(share, ends, end, step) for share, ends, end, step, may_go in strips if may_go and share > _BARE]
        if not bare:
            break
        _, ends, end, step = max(bare, key=lambda one: one[0])
        ends[end] += step
    box = np.array([x[columns[0]], y[rows[1]], x[columns[1]], y[rows[0]]])
    middle = np.array(frame.middle_xy) + ((box[:2] + box[2:]) / 2 - center) / frame.pt_per_ground_m
    return replace(
        frame, left=float(box[0]), bottom=float(box[1]), width=float(box[2] - box[0]), height=float(box[3] - box[1]),
        middle_xy=(float(middle[0]), float(middle[1])),
    )  # fmt: skip


def _cell_of(relief: Relief, grid: LocalGrid, xy_m: np.ndarray[Any, Any]) -> tuple[Any, Any]:
    """Return row and column in the relief's Mercator grid of points of the place's grid [m]."""
    # As one line, which is far quicker to make than as many points.
    lonlat = shapely.get_coordinates(grid.to_lonlat(shapely.LineString(xy_m)))
    north, south, at = (_mercator(np.asarray(lat)) for lat in (relief.north, relief.south, lonlat[:, 1]))
    row = (north - at) / (north - south) * relief.shade.shape[0] - 0.5
    column = (lonlat[:, 0] - relief.west) / (relief.east - relief.west) * relief.shade.shape[1] - 0.5
    return row, column


def _mercator(lat_deg: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    return np.log(np.tan(np.pi / 4 + np.radians(lat_deg) / 2))  # type: ignore[no-any-return]


def draw_contours(pen: Pen, frame: Frame, relief: Relief) -> None:
    """Draw the contours in the frame on broader lines of paper, those that carry their height last."""
    for is_index, width in ((False, 0.4), (True, 0.75)):
        lines = [shapely.LineString(line.lonlat) for line in relief.contours if line.is_index == is_index]
        outline = Outline.of(frame.on_paper(shapely.MultiLineString(lines)))
        if outline is not None:
            pen.path(outline, clip=frame.outline, edgecolor=PAPER, linewidth=width + 0.6, alpha=0.55)
            pen.path(outline, clip=frame.outline, edgecolor=CONTOUR_INK, linewidth=width)
