"""One contiguous piece of given area off a larger ground, beside an edge, so that no scraps stay behind.

A box grows from a place on the ground's edge: its sides run along and across that edge, each at a speed of its own or
from the start beyond everything, so that a growing box is a corner, a strip along the edge, a slab off one end or a
rectangle in its middle. The bite is that part of ground and box which holds the place where it began; the size of the
box is found at which it has the area wanted. What would be cut off by it and is smaller than a tenth of it is taken
with it, and the box is made smaller for that. Of all places and boxes that leave nothing so small, those come first
that need the least new edge for what they open, lie longest beside opened ground and are nowhere narrow.

Every new edge is straight, and a bite has at most four: a person with a GPS can walk it.

References
----------
Hert & Lumelsky 1998, "Polygon area decomposition for multiple-robot workspace division", International Journal of
Computational Geometry & Applications 8:437-466 (abstract read): pieces of given areas, each with a given place on its
edge, off a polygon that need not be convex nor free of holes, by lines that sweep until the area fits. The boxes, the
search over many places and the rule about scraps are habmap's own.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from habmap.land.contiguous import CRUMB_M2, HAIR_M, NARROW_M, contiguous, grown, place_of, polygons, spared
from habmap.land.growing import ALL, SPEEDS, BoxedGround, Boxes, Floats, parts_at

#: A place on an edge and the unit vector along it: x, y, dx, dy.
Place = tuple[float, float, float, float]
Liking = Callable[[NDArray[np.object_]], Floats]

#: How far a bite may be off the area asked, and how small a piece left behind is a scrap; shares of the area asked.
AREA_WITHIN_FRAC: Final = 0.03
SCRAP_FRAC: Final = 0.1
#: Ground nearer than this lies beside a bite [m]: twice and more what a handheld is off (3 m), and half a lane.
#: Chosen, no source.
BESIDE_M: Final = 10.0
#: How much new edge an outline that is liked wholly may need more than one that is not; sides of a square as large.
#: Chosen, no source.
LIKING_SIDES: Final = 1.0
#: Most places at which a bite may begin, of one search.
_MOST_STARTS: Final = 32
#: How far a bite off a plainer outline may be off the area, to be worked out on the true one; share of the area.
_ROUGH_FRAC: Final = 0.05
#: How far a bite off the true outline may be off the area it is to have; share of the area.
_EXACT_FRAC: Final = 1e-9
#: Of how many bites at once it is asked how they are liked.
_ASKED_AT_ONCE: Final = 32
#: How many bites are worked out to the last digit.
_ENOUGH: Final = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Bite:
    """One contiguous piece of ground.

    Attributes
    ----------
    geometry
        Its outline, grid meters.
    new_edge_m
        How much of its outline is new, and not the ground's own [m].
    beside_m
        How much of its outline lies beside opened ground [m].
    is_whole
        Whether it is all of a piece of ground that hangs together.
    scraps_m2
        Ground in pieces smaller than a scrap that it leaves behind, because no bite leaves none [m²].
    score
        Lower is better; differences are lengths of new edge as multiples of the side of a square as large as the bite.
    """

    geometry: Polygon
    new_edge_m: float = 0.0
    beside_m: float = 0.0
    is_whole: bool = False
    scraps_m2: float = 0.0
    score: float = 0.0

    @property
    def area_m2(self) -> float:
        """Its area [m²]."""
        return float(self.geometry.area)


def bites(
    ground: Polygon | MultiPolygon,
    *,
    wanted_m2: float,
    opened: Sequence[BaseGeometry] = (),
    liking: Liking | None = None,
) -> tuple[Bite, ...]:
    """Return bites off a ground, the best first; each is an answer by itself.

    Parameters
    ----------
    ground
        Valid polygons [m]; pieces that touch in a point, or hang together by a hair, are apart.
    wanted_m2
        Area asked, above 0 [m²].
    opened
        Opened ground and lines (lanes, firebreaks) that a bite should lie beside [m].
    liking
        How well outlines [m] lie for what else is wanted (sun, say), each 0–1: 1 is worth ``LIKING_SIDES``.

    Returns
    -------
    tuple of Bite
        Empty only where the ground is. Each has the area within ``AREA_WITHIN_FRAC`` and leaves no piece smaller than
        ``SCRAP_FRAC`` of it, but where no piece of ground is so large (then it is the largest, whole), where all but
        the whole of it would leave a scrap (then it is the whole, some more than asked), or where the ground is so
        ragged that nothing was found (then ``scraps_m2`` says what would be left).
    """
    pieces = contiguous(ground)
    if not pieces:
        return ()
    low_m2, high_m2 = (1 - AREA_WITHIN_FRAC) * wanted_m2, (1 + AREA_WITHIN_FRAC) * wanted_m2
    beside = _near(opened)
    whole = [_whole(piece, beside, wanted_m2, liking) for piece in pieces]
    found = [one for one in whole if low_m2 <= one.area_m2 <= high_m2]
    large = [piece for piece in pieces if _target_m2(piece, wanted_m2) >= low_m2]
    for only_beside in (True, False):
        for piece in large:
            found += _Search(piece, wanted_m2, opened, beside, liking, only_beside=only_beside).settled()
        if found:
            return tuple(sorted(found, key=lambda one: (round(one.score, 6), *place_of(one.geometry))))
    rough = [one for one in whole if high_m2 < one.area_m2 < low_m2 + SCRAP_FRAC * wanted_m2]
    if not rough and large:
        rough = [_Search(large[0], wanted_m2, opened, beside, liking, only_beside=False).least_bad()]
    return tuple(rough or whole[:1])


def sparing_bite(
    ground: Polygon | MultiPolygon,
    spare: BaseGeometry | None,
    *,
    wanted_m2: float,
    opened: Sequence[BaseGeometry] = (),
    liking: Liking | None = None,
) -> tuple[Bite, float] | None:
    """Return the best bite off a ground of which some is to be spared, and how much is [m²]; ``None``: all of it is.

    Spots of ``spare`` smaller than a scrap are not spared, nor are crumbs of the ground that a bite would cut off from
    all the rest: left alone both would be scraps.
    """
    scrap_m2 = SCRAP_FRAC * wanted_m2
    free = ground if spare is None else spared(ground, spare, least_m2=scrap_m2)
    while True:
        found = bites(free, wanted_m2=wanted_m2, opened=opened, liking=liking)
        if not found:
            return None
        taken = found[0].geometry
        strays = [
            part
            for part in contiguous(ground.difference(taken))
            if CRUMB_M2 < part.area < scrap_m2
            and part.distance(taken) < HAIR_M
            and part.difference(free).area > CRUMB_M2
        ]
        if spare is None or not strays:
            return found[0], float(ground.area - free.area)
        free = MultiPolygon(polygons(shapely.union_all([free, *strays])))


class _Search:
    """Bites off one piece of ground."""

    def __init__(
        self,
        piece: Polygon,
        wanted_m2: float,
        opened: Sequence[BaseGeometry],
        beside: BaseGeometry,
        liking: Liking | None,
        *,
        only_beside: bool,
    ) -> None:
        self._piece, self._wanted_m2, self._beside, self._liking = piece, wanted_m2, beside, liking
        self._target_m2 = _target_m2(piece, wanted_m2)
        self._side_m = math.sqrt(wanted_m2)
        self._reach_m = 2 * math.hypot(piece.bounds[2] - piece.bounds[0], piece.bounds[3] - piece.bounds[1]) + 1
        self._narrow_m = min(NARROW_M, self._side_m / 4)
        self._plain = _simple(piece, self._side_m / 40)
        self._boxed, self._boxed_plain = BoxedGround(piece), BoxedGround(self._plain)
        # what lies deeper inside than a hand's breadth is not the ground's own edge
        self._within = grown(piece, -0.05)
        self._tries = self._starts(opened, only_beside=only_beside)

    def settled(self) -> list[Bite]:
        """Return the best bites that keep to the area and leave no scrap."""
        found: list[Bite] = []
        for tries, number in self._promising():
            one = self._settle(tries, number)
            if one is not None:
                found.append(one)
                if len(found) == _ENOUGH:
                    break
        return found

    def least_bad(self) -> Bite:
        """Return a bite of the area wanted that leaves the least in scraps, or one as near to the area as can be."""
        near: list[tuple[float, float, Bite]] = []
        for tries, number in self._promising():
            one = self._at(tries, number, self._size_m(tries, number, with_scraps=False))
            off = abs(one.area_m2 / self._target_m2 - 1)
            near.append((off if off > AREA_WITHIN_FRAC else 0.0, one.scraps_m2, one))
        if not near:
            return _whole(self._piece, self._beside, self._wanted_m2, self._liking)
        return min(near, key=lambda found: (found[0], round(found[1], 3), *place_of(found[2].geometry)))[2]

    # --- where to begin -----------------------------------------------------------------------------------------

    def _starts(self, opened: Sequence[BaseGeometry], *, only_beside: bool) -> Boxes:
        """Return boxes at corners and along the edges of the piece, its small bends left out; and along lines in it."""
        corners: list[Place] = []
        between: list[Place] = []
        outline = _simple(self._piece, self._side_m / 10)
        for ring in (outline.exterior, *outline.interiors):
            points = shapely.get_coordinates(ring)
            for (x, y), (x2, y2) in pairwise(points):
                length = math.hypot(x2 - x, y2 - y)
                if length <= 0:
                    continue
                along = ((x2 - x) / length, (y2 - y) / length)
                corners += [(x, y, *along), (x2, y2, *along)]
                count = int(length // (self._side_m / 2))
                between += [
                    (x + (x2 - x) * k / (count + 1), y + (y2 - y) * k / (count + 1), *along)
                    for k in range(1, count + 1)
                ]
        if only_beside:
            near = self._beside.buffer(self._side_m / 10)
            corners, between = (
                [one for one in places if near.intersects(shapely.Point(one[0], one[1]))]
                for places in (corners, between)
            )
        places = [(*one, ALL) for one in (*_thinned(corners, _MOST_STARTS), *_thinned(between, _MOST_STARTS // 2))]
        if only_beside:
            places += [(*one, 0.0) for one in _thinned(self._lines_inside(opened), _MOST_STARTS // 2)]
        rows = [
            (x, y, dx, dy, back, forward, behind, away)
            for x, y, dx, dy, behind in places
            for back, forward, away in SPEEDS
        ]
        table = np.array(rows, dtype=np.float64).reshape(len(rows), 8)
        return Boxes(table[:, :2], table[:, 2:4], table[:, 4:])

    def _lines_inside(self, opened: Sequence[BaseGeometry]) -> list[Place]:
        """Return places along opened lines that run through the piece, for the ground on either side of them."""
        found = []
        for line in opened:
            if line.geom_type not in ("LineString", "MultiLineString") or not line.intersects(self._within):
                continue
            for part in shapely.get_parts(line.intersection(self._within)):
                if part.geom_type != "LineString":
                    continue
                points = shapely.get_coordinates(part.simplify(self._side_m / 10))
                for (x, y), (x2, y2) in pairwise(points):
                    if (length := math.hypot(x2 - x, y2 - y)) < self._narrow_m:
                        continue
                    for share in (0.0, 0.5, 1.0):
                        at = (x + share * (x2 - x), y + share * (y2 - y))
                        along = ((x2 - x) / length, (y2 - y) / length)
                        found += [(*at, *along), (*at, -along[0], -along[1])]
        return found

    # --- how large ----------------------------------------------------------------------------------------------

    def _promising(self) -> Iterator[tuple[Boxes, int]]:
        """Yield the tries whose bite comes within 3% of the area, the best first by what is seen of them alone."""
        tries = self._tries
        if not len(tries):
            return
        size_m, area_m2 = self._sizes(
            tries, self._areas_of(self._boxed_plain), within_frac=_ROUGH_FRAC / 2, most_steps=12
        )
        fits = np.abs(area_m2 - self._target_m2) <= _ROUGH_FRAC * self._target_m2
        tries, size_m = tries[fits], size_m[fits]
        if not len(tries):
            return
        shapes = self._taken(self._plain, tries, size_m)
        seen: set[tuple[int, ...]] = set()
        for number in self._best_first(shapes):
            middle = tuple(round(value / self._narrow_m) for value in (*shapes[number].bounds,))
            if middle not in seen:  # two boxes may come to one bite
                seen.add(middle)
                yield tries, number

    def _best_first(self, shapes: NDArray[np.object_]) -> Iterator[int]:
        """Yield the numbers of bites by their scores. What is liked of them is asked only where it may change that."""
        least = self._least(shapes)
        waiting = np.argsort(least, kind="stable").tolist()
        known: list[tuple[float, int]] = []
        while waiting or known:
            while waiting and (not known or least[waiting[0]] <= known[0][0] + 1e-6):
                asked, waiting = waiting[:_ASKED_AT_ONCE], waiting[_ASKED_AT_ONCE:]
                for score, number in zip(self._liked(least[asked], shapes[asked]).tolist(), asked, strict=True):
                    heapq.heappush(known, (round(score, 6), number))
            yield heapq.heappop(known)[1]

    def _areas_of(self, ground: BoxedGround) -> Callable[[Boxes, Floats], Floats]:
        """Return what gives the areas of bites off an outline [m²] by boxes and their sizes [m]."""
        return lambda tries, size_m: ground.areas_m2(tries, size_m, reach_m=self._reach_m)

    def _sizes(
        self, tries: Boxes, areas: Callable[[Boxes, Floats], Floats], *, within_frac: float, most_steps: int
    ) -> tuple[Floats, Floats]:
        """Return sizes of boxes at which bites come within a share of the area wanted, and their areas [m, m²]."""
        target = self._target_m2
        low, high = np.zeros(len(tries)), np.full(len(tries), self._side_m)
        area_low, area_high = np.zeros(len(tries)), areas(tries, high)
        while (short := (area_high < target) & (high < self._reach_m)).any():
            low[short], area_low[short] = high[short], area_high[short]
            high[short] *= 2
            area_high[short] = areas(tries[short], high[short])
        # a jump of the areas, where a box reaches round a corner, is narrowed down as far as the area would be
        least_m = self._side_m * min(1e-3, within_frac)
        for step in range(most_steps):
            open_ = (np.minimum(area_high - target, target - area_low) > within_frac * target) & (high - low > least_m)
            if not open_.any():
                break
            # false position, halved each third time for the jumps
            span = np.where(area_high > area_low, area_high - area_low, 1.0)
            share = np.full(len(tries), 0.5) if step % 3 == 2 else np.clip((target - area_low) / span, 0.05, 0.95)
            middle = low + (high - low) * share
            found = areas(tries[open_], middle[open_])
            over = found >= target
            at = np.flatnonzero(open_)
            high[at[over]], area_high[at[over]] = middle[open_][over], found[over]
            low[at[~over]], area_low[at[~over]] = middle[open_][~over], found[~over]
        nearer = target - area_low < area_high - target
        return np.where(nearer, low, high), np.where(nearer, area_low, area_high)

    def _taken(self, ground: Polygon, tries: Boxes, size_m: Floats) -> NDArray[np.object_]:
        """Return the part of ground and box that holds the place where the box began."""
        shapes: NDArray[np.object_] = shapely.intersection(ground, tries.boxes(size_m, reach_m=self._reach_m))
        return parts_at(shapes, tries.inside)

    def _settle(self, tries: Boxes, number: int) -> Bite | None:
        """Return the bite with all scraps taken with it; ``None`` where it misses the area or hangs by a hair."""
        one = self._at(tries, number, self._size_m(tries, number, with_scraps=False))
        if one.scraps_m2 > 0:
            one = self._at(tries, number, self._size_m(tries, number, with_scraps=True), with_scraps=True)
        is_near = abs(one.area_m2 - self._wanted_m2) <= AREA_WITHIN_FRAC * self._wanted_m2
        is_one = len(contiguous(one.geometry)) == 1
        return one if is_near and is_one and one.scraps_m2 == 0 else None

    def _size_m(self, tries: Boxes, number: int, *, with_scraps: bool) -> float:
        """Return the size of the box at which the bite off the true outline has the area wanted [m]."""
        one = tries[np.array([number])]

        def areas(_: Boxes, size_m: Floats) -> Floats:
            return np.array([self._taken_at(tries, number, float(size_m[0]), with_scraps=True)[0].area])

        by = areas if with_scraps else self._areas_of(self._boxed)
        return float(self._sizes(one, by, within_frac=_EXACT_FRAC, most_steps=100)[0][0])

    def _taken_at(
        self, tries: Boxes, number: int, size_m: float, *, with_scraps: bool
    ) -> tuple[Polygon, list[Polygon]]:
        """Return the bite at a size of its box; ``with_scraps``: what it would leave in scraps taken with it."""
        one = tries[np.array([number])]
        taken: Polygon = self._taken(self._piece, one, np.array([size_m]))[0]
        if not with_scraps:
            return taken, []
        rest = self._rest(taken)
        scraps = [part for part in rest if part.area < self._scrap_m2]
        return _joined(taken, scraps), [part for part in rest if part.area >= self._scrap_m2]

    def _at(self, tries: Boxes, number: int, size_m: float, *, with_scraps: bool = False) -> Bite:
        taken, _ = self._taken_at(tries, number, size_m, with_scraps=with_scraps)
        rest = self._rest(taken)
        scraps_m2 = math.fsum(part.area for part in rest if part.area < self._scrap_m2)
        shape = np.array([taken], dtype=object)
        score = float(self._liked(self._least(shape), shape)[0])
        narrow_m2 = math.fsum(self._narrow_m2(part) for part in rest) - self._narrow_m2(self._piece)
        return Bite(
            geometry=taken,
            new_edge_m=float(self._new_edge_m(shape)[0]),
            beside_m=float(self._beside_m(shape)[0]),
            is_whole=not rest,
            scraps_m2=scraps_m2,
            score=score + max(0.0, narrow_m2) / self._wanted_m2 + 0.5 * max(0, len(rest) - 1),
        )

    @property
    def _scrap_m2(self) -> float:
        return SCRAP_FRAC * self._wanted_m2

    def _rest(self, taken: Polygon) -> list[Polygon]:
        """Return what a bite leaves of the piece, without crumbs of the arithmetic."""
        rest = self._piece.difference(taken)
        return [part for part in contiguous(rest) if part.area > CRUMB_M2] if not rest.is_empty else []

    # --- how good -----------------------------------------------------------------------------------------------

    def _least(self, shapes: NDArray[np.object_]) -> Floats:
        """Return how much new edge bites need less what they lie beside, and how narrow they are: were they liked."""
        new, beside = self._new_edge_m(shapes) / self._side_m, self._beside_m(shapes) / self._side_m
        cores = grown(shapes, -self._narrow_m / 2)
        wide = shapely.area(cores) / shapely.area(shapes)
        in_parts = shapely.get_num_geometries(cores) - 1
        scores: Floats = (
            new - 0.6 * np.minimum(beside, 2.0) + 3.0 * np.maximum(0.0, 0.5 - wide) + 0.5 * np.maximum(in_parts, 0)
        )
        return scores if self._liking is None else scores - LIKING_SIDES

    def _liked(self, least: Floats, shapes: NDArray[np.object_]) -> Floats:
        """Return the scores of bites, from what these would be were they liked wholly."""
        return least if self._liking is None else least + LIKING_SIDES * (1.0 - self._liking(shapes))

    def _new_edge_m(self, shapes: NDArray[np.object_]) -> Floats:
        lengths: Floats = shapely.length(shapely.intersection(shapely.boundary(shapes), self._within))
        return lengths

    def _beside_m(self, shapes: NDArray[np.object_]) -> Floats:
        lengths: Floats = shapely.length(shapely.intersection(shapely.boundary(shapes), self._beside))
        return lengths

    def _narrow_m2(self, part: BaseGeometry) -> float:
        """Return how much of a ground is narrower than it should be [m²]."""
        half = self._narrow_m / 2
        return float(part.area - grown(grown(part, -half), half).area)


def _target_m2(piece: Polygon, wanted_m2: float) -> float:
    """Return the area to cut off a piece: what is asked, or as much less as leaves no scrap of the piece [m²]."""
    return min(wanted_m2, float(piece.area) - 1.001 * SCRAP_FRAC * wanted_m2)


def _whole(piece: Polygon, beside: BaseGeometry, wanted_m2: float, liking: Liking | None) -> Bite:
    along_m = float(piece.boundary.intersection(beside).length)
    liked = 0.0 if liking is None else float(liking(np.array([piece], dtype=object))[0])
    score = -0.6 * min(along_m / math.sqrt(wanted_m2), 2.0) - LIKING_SIDES * liked
    return Bite(geometry=piece, beside_m=along_m, is_whole=True, score=score)


def _near(opened: Sequence[BaseGeometry]) -> BaseGeometry:
    joined: BaseGeometry = shapely.union_all([one.buffer(BESIDE_M, quad_segs=4) for one in opened])
    shapely.prepare(joined)
    return joined


def _simple(piece: Polygon, tolerance_m: float) -> Polygon:
    """Return a plainer outline (the same where it would break), its rings turned to have the ground to their left."""
    plain = piece.simplify(tolerance_m)
    is_fit = plain.geom_type == "Polygon" and plain.is_valid and not plain.is_empty
    return orient(plain if isinstance(plain, Polygon) and is_fit else piece)


def _joined(taken: Polygon, scraps: Sequence[Polygon]) -> Polygon:
    if not scraps:
        return taken
    return max(polygons(shapely.union_all([taken, *scraps])), key=lambda part: part.area)


def _thinned(places: Sequence[Place], most: int) -> list[Place]:
    """Return at most so many of a list, evenly spread."""
    if len(places) <= most:
        return list(places)
    return [places[round(k * (len(places) - 1) / (most - 1))] for k in range(most)]
