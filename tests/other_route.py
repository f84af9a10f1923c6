"""Stage, slash and snag acres of random ledgers by a route of their own, against which habmap's figures are held.

habmap nodes all edges at once in its equal-area grid, polygonizes them and reads two tables of rules. Here each patch
is laid over the ground after the other by polygon overlay in UTM, areas are geodesic (Karney 2013, by pyproj's Geod),
and the rules are written out once more, from the words of the rules and not from the tables: a stand is a number of
trees in exact fractions, each alive, lying, charred, in a pile, standing dead or gone.

Tolerance: a straight edge of habmap's grid, the same edge in UTM and the geodesic differ by an arc; edges are split
every 20 m along the geodesic first, which leaves less than 1e-6 m of it, over some kilometers of edges less than
1e-2 m². Overlay in UTM rounds to 1e-9 m. 5e-6 acre (0.02 m²) is far below the smallest patch and above both.
"""

from __future__ import annotations

import math
import random
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from fractions import Fraction
from itertools import pairwise
from typing import Any, Final

import shapely
from fakes import entry, unit
from pyproj import Geod, Transformer
from shapely import MultiPolygon, Polygon

from habmap.records import Entry, Unit

ACRE_M2: Final = 4046.8564224  # 43,560 ft² of 0.3048 m a side
TOLERANCE_ACRES: Final = 5e-6
GEOD: Final = Geod(ellps="WGS84")
#: Practices in the order in which the work of one day counts.
DAY_ORDER: Final = (
    "keep", "cut", "mulch", "pull", "girdle", "spray", "pile", "haul", "burn", "pile_burn", "mow", "graze", "checkup",
    "seed", "other",
)  # fmt: skip
STAGES: Final = (
    "standing", "part_cut", "dead_standing", "down", "piled", "burned", "slash_gone", "kept_up", "coming_back", "keep",
    "other",
)  # fmt: skip
TREATED: Final = frozenset(STAGES[2:9])
#: Cedar work, often; the rest now and then.
DRAWN: Final = (
    "cut", "cut", "cut", "girdle", "girdle", "spray", "mulch", "pull", "pull", "pile", "pile", "haul", "burn", "burn",
    "burn", "pile_burn", "pile_burn", "mow", "graze", "checkup", "checkup", "keep", "seed", "other",
)  # fmt: skip


class Stand:
    """Trees of one piece of ground by what became of them, in exact fractions, and the stage that the rules say."""

    def __init__(self, *, target: Fraction, leave: float, is_cedar: bool) -> None:
        self.trees = dict.fromkeys(("lying", "charred", "piled", "snag", "gone"), Fraction(0)) | {"alive": Fraction(1)}
        self.target, self.leave = target, leave
        self.stage = "standing" if is_cedar else "other"
        self.was_felled = False
        self.last_fire: date | None = None

    def move(self, here: str, there: str, share: Fraction = Fraction(1)) -> None:
        count = self.trees[here] * share
        self.trees[here] -= count
        self.trees[there] += count

    @property
    def at_target(self) -> bool:
        return 1 - self.trees["alive"] >= self.target

    def work(self, line: Entry) -> None:
        """Let one line of the log happen."""
        practice, share = line.practice, _share(line)
        self.was_felled |= practice in ("cut", "pull") and share > 0
        had_piles = self.trees["piled"] > 0
        if practice in ("cut", "pull"):
            self.move("alive", "lying", share)
        elif practice in ("girdle", "spray"):
            self.move("alive", "snag", share)
        elif practice == "mulch":
            self.move("alive", "gone", share)
            if self.at_target:
                for place in ("lying", "charred", "piled"):
                    self.move(place, "gone")
        elif practice == "pile":
            if self.at_target and not self.trees["lying"] + self.trees["charred"] + self.trees["piled"]:
                self.move("snag", "piled")
            self.move("lying", "piled")
            self.move("charred", "piled")
        elif practice == "haul":
            for place in ("lying", "charred", "piled"):
                self.move(place, "gone")
        elif practice == "burn":
            self.move("lying", "charred")
            self.move("piled", "gone")
            self.move("alive", "snag", share)
        elif practice == "pile_burn":
            self.move("piled", "gone")
            self.move("charred", "gone")
            if not had_piles:
                self.move("lying", "gone")
        self.stage = self._stage_after(line)
        if practice in ("burn", "pile_burn"):
            self.last_fire = line.date

    def _stage_after(self, line: Entry) -> str:
        now, practice = self.stage, line.practice
        if now in ("other", "keep"):
            return now
        is_remaining = now in ("standing", "part_cut")
        if practice == "keep":
            return "keep" if is_remaining else now
        if practice in ("cut", "pull", "mow", "graze") and now in ("burned", "slash_gone", "coming_back"):
            return "kept_up"
        if practice in ("cut", "pull", "mulch", "girdle", "spray"):
            if now == "coming_back":
                return "kept_up"
            if not self.at_target:
                reached = "part_cut" if self.trees["alive"] < 1 else "standing"
            elif practice == "mulch":
                reached = "slash_gone"
            else:
                reached = "down" if self.was_felled else "dead_standing"
            return max(now, reached, key=STAGES.index)
        if practice == "burn":
            if is_remaining:
                return now if not self.at_target else "burned" if self.was_felled else "dead_standing"
            if now in ("down", "dead_standing"):
                return "burned"
            if now == "piled":
                return "slash_gone"
            gone_by = self.last_fire is None or line.date - self.last_fire >= timedelta(days=300)
            return "kept_up" if gone_by else now
        if practice == "pile" and now in ("down", "dead_standing", "burned"):
            return "piled"
        if practice in ("haul", "pile_burn") and now in ("down", "piled", "burned"):
            return "slash_gone"
        if practice == "checkup" and now in TREATED and line.look is not None:
            found = line.look.live_stems_per_acre
            return "coming_back" if found is not None and found > self.leave else now
        return now


def _share(line: Entry) -> Fraction:
    if line.practice not in ("cut", "mulch", "pull", "girdle", "spray", "burn"):
        return Fraction(0)
    pct = line.killed_pct if line.killed_pct is not None else 0 if line.practice == "burn" else 100
    return Fraction(int(pct), 100)


def in_order(lines: list[Entry]) -> Iterator[Entry]:
    """Yield the lines as they count: by day and trade, of one killing practice told twice for a day the larger."""
    together: defaultdict[tuple[date, int], list[Entry]] = defaultdict(list)
    for line in lines:
        together[line.date, DAY_ORDER.index(line.practice)].append(line)
    for key in sorted(together):
        twins = together[key]
        yield from [max(twins, key=_share)] if _share(twins[0]) > 0 or _share(twins[-1]) > 0 else twins


class Map:
    """Ground near a place of the globe, drawn in lon/lat and laid out in its UTM zone."""

    def __init__(self, lat: float, lon: float) -> None:
        self.lat, self.lon = lat, lon
        zone = int((lon + 180) // 6) + 1
        self.utm = Transformer.from_crs(4326, (32700 if lat < 0 else 32600) + zone, always_xy=True)

    def lonlat(self, corners: list[tuple[float, float]]) -> Polygon:
        """Return an outline given in meters east and north of the middle, as a person would draw it."""
        east = 111_320 * math.cos(math.radians(self.lat))
        return Polygon([(self.lon + x / east, self.lat + y / 110_900) for x, y in corners])

    def laid_out(self, outline: Polygon | MultiPolygon) -> shapely.Geometry:
        """Return an outline in UTM, its edges split along the geodesic."""
        parts = []
        for part in shapely.get_parts(outline):
            ring = shapely.get_coordinates(part.exterior)
            dense: list[Any] = []
            for (lon, lat), (to_lon, to_lat) in pairwise(ring):
                dense.append((lon, lat))
                count = int(GEOD.line_length([lon, to_lon], [lat, to_lat]) // 20)
                if count:
                    dense += GEOD.npts(lon, lat, to_lon, to_lat, count)
            parts.append(Polygon(shapely.transform(Polygon(dense), self.utm.transform, interleaved=False).exterior))
        return shapely.union_all(parts)

    def acres(self, shape: shapely.Geometry) -> float:
        """Return the geodesic area of ground in UTM [acre]."""
        total = 0.0
        for part in shapely.get_parts(shape):
            if not isinstance(part, Polygon) or part.is_empty:
                continue
            for sign, ring in ((1, part.exterior), *((-1, hole) for hole in part.interiors)):
                lon, lat = self.utm.transform(*shapely.get_coordinates(ring).T, direction="INVERSE")
                total += sign * abs(GEOD.polygon_area_perimeter(lon, lat)[0])
        return total / ACRE_M2


def _star(rng: random.Random, ground: Map) -> Polygon:
    x, y = rng.uniform(-80, 420), rng.uniform(-60, 260)
    count = rng.randint(4, 11)
    turns = [2 * math.pi * (at + rng.uniform(0, 0.9)) / count for at in range(count)]
    reach = [rng.uniform(30, 190) for _ in turns]
    star = [(x + r * math.cos(t), y + r * math.sin(t)) for r, t in zip(reach, turns, strict=True)]
    outline = ground.lonlat(star)
    return outline if outline.is_valid else ground.lonlat([(x, y), (x + 90, y), (x + 70, y + 110), (x, y + 80)])


def random_line(rng: random.Random, practice: str) -> Entry:
    """Draw one line of the log of some four years; days are shared now and then."""
    must_say = practice in ("girdle", "spray")
    is_killing = _share(entry(practice, "2024-01-01", killed_pct=100)) > 0
    return entry(
        practice,
        date(2022, 1, 1) + timedelta(days=rng.choice((rng.randint(0, 1500), 30 * rng.randint(0, 20)))),
        killed_pct=float(5 * rng.randint(0, 20)) if must_say or (is_killing and rng.random() < 0.7) else None,
        live_stems_per_acre=rng.choice((0.0, 10.0, 25.0, 60.0)) if practice == "checkup" else None,
    )


def drawn_ledger(rng: random.Random) -> tuple[Map, list[Unit], list[Entry]]:
    """Draw three units that share edges, and a log of a few years on stars and whole units."""
    ground = Map(rng.uniform(-55, 66), rng.uniform(-179, 179))
    outlines = {
        "A": [(0, 0), (210, -13), (205, 60), (190, 148), (3, 155)],
        "B": [(210, -13), (402, 0), (431, 150), (190, 148), (205, 60)],
        "G": [(3, 155), (190, 148), (215, 240), (-20, 231)],
    }
    units = [
        unit(unit_id, shapely.box(0, 0, 1, 1), geometry=MultiPolygon([ground.lonlat(corners)]), **more)
        for (unit_id, corners), more in zip(
            outlines.items(), ({}, {"target_pct": 60.0, "leave_stems_per_acre": 10.0}, {"cover": "grass"}), strict=True
        )
    ]
    log = []
    for _ in range(rng.randint(6, 12)):
        patch = rng.choice(units).geometry if rng.random() < 0.25 else MultiPolygon([_star(rng, ground)])
        log.append(replace(random_line(rng, rng.choice(DRAWN)), patch=patch))
    return ground, units, log


def other_route(ground: Map, units: list[Unit], log: list[Entry]) -> dict[str, dict[str, float]]:
    """Return acres by unit and stage, of ``slash``, ``snag`` and the unit, of practices under ``""``."""
    patches = {line.entry_id: ground.laid_out(line.patch) for line in log if line.patch is not None}
    found: dict[str, dict[str, float]] = {}
    for one in units:
        pieces: list[tuple[shapely.Geometry, list[Entry]]] = [(ground.laid_out(one.geometry), [])]
        for line in log:
            halves = [
                half
                for shape, lines in pieces
                for half in (
                    (shape.intersection(patches[line.entry_id]), [*lines, line]),
                    (shape.difference(patches[line.entry_id]), lines),
                )
            ]
            pieces = [(shape, lines) for shape, lines in halves if shape.area > 0]
        sums: defaultdict[str, float] = defaultdict(float)
        for shape, lines in pieces:
            stand = Stand(
                target=Fraction(int(one.target_pct or 80), 100),
                leave=25.0 if one.leave_stems_per_acre is None else one.leave_stems_per_acre,
                is_cedar=one.cover == "cedar",
            )
            for line in in_order(lines):
                stand.work(line)
            assert sum(stand.trees.values()) == 1
            size = ground.acres(shape)
            sums["acres"] += size
            sums[stand.stage] += size
            sums["slash"] += size * (stand.trees["lying"] + stand.trees["piled"] > 0)
            sums["snag"] += size * (stand.trees["snag"] > 0)
        found[one.unit_id] = dict(sums)
    by_practice: defaultdict[str, list[shapely.Geometry]] = defaultdict(list)
    for line in log:
        by_practice[line.practice].append(patches[line.entry_id])
    found[""] = {practice: ground.acres(shapely.union_all(shapes)) for practice, shapes in by_practice.items()}
    return found
