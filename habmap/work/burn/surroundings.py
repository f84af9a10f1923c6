"""Who and what lies around a burn: downwind, all round, in the way of cold night air, and lines and tanks near it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Final, Literal

import shapely
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from habmap.land.downhill import DownhillPath
from habmap.land.edges import downwind_ground, grid_bearing_deg
from habmap.land.grid import LocalGrid
from habmap.records import Feature
from habmap.vocabulary import PRIVATE_FEATURE_KINDS
from habmap.work.burn.winds import HourWind, spells, written

#: Half of the angle in which smoke is looked for [°].
DOWNWIND_HALF_ANGLE_DEG: Final = 45.0
#: Sensitive whether or not the map says so: people live, learn or travel there.
ALWAYS_SENSITIVE: Final = frozenset({"house", "school", "airport", "road"})
#: What is kept from fire where it lies inside a block, whether or not the map marks it as sensitive.
KEPT_KINDS: Final = PRIVATE_FEATURE_KINDS | {
    "house", "building", "school", "tank", "hay", "well", "power_line", "gas_line",
}  # fmt: skip
HAZARD_KINDS: Final = frozenset({"power_line", "gas_line", "tank", "hay", "fence"})
#: How near a line, tank, stack or fence is named, and how near the cold air's way a road or house is (no source) [m].
HAZARD_NEAR_M: Final = 100.0
COLD_AIR_NEAR_M: Final = 100.0
#: How a way of cold air ends, in words that follow its length.
END_WORDS: Final = {
    "hollow": ", into a hollow where it would pool",
    "edge": ", to where the elevation ends",
    "length": " and further than it is followed here",
}
SCREEN_WORDS: Final = (
    "This only checks what is on your map and is no smoke model: smoke goes where the air of the hour takes it, and "
    "fog or a calm night can hold it on a road far from here."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedPlace:
    """Something on the map; of the block's inside all of it or a part."""

    name: str
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NearPlace(NamedPlace):
    """A sensitive place: how far from the block's nearest edge, and its true bearing from the block's middle.

    Attributes
    ----------
    nearest
        Its nearest point, WGS 84 lon/lat [°].
    """

    distance_m: float
    bearing_deg: float
    nearest: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class SmokePlace(NearPlace):
    """A sensitive place during one spell of hours in which it lies downwind; the figures are of its nearest part then.

    Attributes
    ----------
    from_time, to_time
        First and last hour of the spell, local civil time; ``to_time`` is ``None`` where there is no forecast.
    """

    from_time: str
    to_time: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NearHazard(NamedPlace):
    """A line, tank, stack of hay or fence in or near the block; ``inside_m`` is the length of it inside, if a line."""

    distance_m: float
    inside: bool
    inside_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ColdAirPlace(NamedPlace):
    """A road or house near the way of cold air: distance from that way and from the block [m]."""

    from_path_m: float
    from_block_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ColdAir:
    """Where cold night air would run downhill from the block: the lowest point's way first.

    Attributes
    ----------
    length_m, ends
        Of the first way: its length, and ``hollow``, ``edge`` (of the elevation) or ``length`` (followed no further).
    paths
        All ways, WGS 84 lon/lat [°].
    """

    length_m: float
    ends: Literal["hollow", "edge", "length"]
    places: tuple[ColdAirPlace, ...]
    paths: tuple[tuple[tuple[float, float], ...], ...]


def sensitive_features(features: Sequence[Feature]) -> list[Feature]:
    """Return the places that smoke can harm; nests, graves and the like are marked for another reason."""
    return [
        feature
        for feature in features
        if feature.kind not in PRIVATE_FEATURE_KINDS and (feature.sensitive or feature.kind in ALWAYS_SENSITIVE)
    ]


def downwind_places(
    block: BaseGeometry, features: Sequence[Feature], *, grid: LocalGrid, winds: Sequence[HourWind], within_m: float
) -> tuple[SmokePlace, ...]:
    """Return the sensitive places within 45° of downwind of any part of the block at any hour, nearest first.

    Each spell of neighboring hours in which a place lies downwind is told apart.
    """
    turn_deg = _turn_deg(block, grid)
    grounds = {
        from_deg: downwind_ground(
            block, wind_from_deg=from_deg - turn_deg, within_m=within_m, half_angle_deg=DOWNWIND_HALF_ANGLE_DEG
        )
        for from_deg in {wind.from_deg for wind in winds}
        if from_deg is not None
    }
    found = []
    for feature in sensitive_features(features):
        under = {
            from_deg: place
            for from_deg, ground in grounds.items()
            if (place := _place(block, feature, ground, grid, within_m)) is not None
        }
        for spell in spells(winds, [wind.from_deg in under for wind in winds]):
            during = [
                under[wind.from_deg]
                for wind in winds
                if wind.from_deg in under and spell.first <= wind.at <= (spell.last or wind.at)
            ]
            near = min(during, key=lambda place: place.distance_m)
            last = None if spell.last is None else written(spell.last)
            found.append(SmokePlace(**asdict(near), from_time=written(spell.first), to_time=last))
    return tuple(sorted(found, key=lambda place: (place.distance_m, place.kind, place.name, place.from_time)))


def nearby_places(
    block: BaseGeometry, features: Sequence[Feature], *, grid: LocalGrid, within_m: float
) -> tuple[NearPlace, ...]:
    """Return the sensitive places all round within a distance, nearest first."""
    places = (_place(block, feature, None, grid, within_m) for feature in sensitive_features(features))
    found = [place for place in places if place is not None]
    return tuple(sorted(found, key=lambda place: (place.distance_m, place.kind, place.name)))


def inside_places(block: BaseGeometry, features: Sequence[Feature], *, grid: LocalGrid) -> tuple[NamedPlace, ...]:
    """Return what lies in a block: nests, graves and cultural sites first, which fire and crew must not harm."""
    found = [feature for feature in features if shapely.intersects(block, grid.to_grid(feature.geometry))]
    found.sort(key=lambda one: (one.kind not in PRIVATE_FEATURE_KINDS, not one.sensitive, one.kind, one.name))
    return tuple(NamedPlace(name=feature.name, kind=feature.kind) for feature in found)


def kept_from_fire(features: Sequence[Feature]) -> list[Feature]:
    """Return the features that are kept from fire where they lie inside a block."""
    return [feature for feature in features if feature.sensitive or feature.kind in KEPT_KINDS]


def near_hazards(block: BaseGeometry, features: Sequence[Feature], *, grid: LocalGrid) -> tuple[NearHazard, ...]:
    """Return power and gas lines, tanks, hay and fences in or near the block, nearest first."""
    found = []
    for feature in features:
        if feature.kind not in HAZARD_KINDS:
            continue
        shape = grid.to_grid(feature.geometry)
        distance_m = float(shapely.distance(block, shape))
        if distance_m <= HAZARD_NEAR_M:
            found.append(
                NearHazard(
                    name=feature.name,
                    kind=feature.kind,
                    distance_m=distance_m,
                    inside=distance_m == 0,
                    inside_m=float(shapely.length(shapely.intersection(block, shape))),
                )
            )
    return tuple(sorted(found, key=lambda hazard: (hazard.distance_m, hazard.kind, hazard.name)))


def cold_air(
    block: BaseGeometry, paths: Sequence[DownhillPath], features: Sequence[Feature], *, grid: LocalGrid
) -> ColdAir | None:
    """Return the ways of cold air with the sensitive places near them, nearest to the way first."""
    if not paths:
        return None
    ways = shapely.MultiLineString([LineString(path.points) for path in paths])
    places = []
    for feature in sensitive_features(features):
        shape = grid.to_grid(feature.geometry)
        from_path_m = float(shapely.distance(ways, shape))
        if from_path_m <= COLD_AIR_NEAR_M:
            places.append(
                ColdAirPlace(
                    name=feature.name,
                    kind=feature.kind,
                    from_path_m=from_path_m,
                    from_block_m=float(shapely.distance(block, shape)),
                )
            )
    lonlat = [shapely.get_coordinates(grid.to_lonlat(shapely.simplify(LineString(path.points), 1.0))) for path in paths]
    return ColdAir(
        length_m=paths[0].length_m,
        ends=paths[0].end,
        places=tuple(sorted(places, key=lambda place: (place.from_path_m, place.from_block_m, place.name))),
        paths=tuple(tuple((float(x), float(y)) for x, y in line) for line in lonlat),
    )


def _turn_deg(block: BaseGeometry, grid: LocalGrid) -> float:
    lon, lat = shapely.get_coordinates(grid.to_lonlat(shapely.centroid(block)))[0].tolist()
    return grid.convergence_deg(lon, lat)


def _place(
    block: BaseGeometry, feature: Feature, ground: BaseGeometry | None, grid: LocalGrid, within_m: float
) -> NearPlace | None:
    """Return the nearest part of a feature on some ground; ``None`` where it has none within the distance."""
    shape = grid.to_grid(feature.geometry)
    if ground is not None:
        shape = shapely.intersection(shape, ground)
    if shapely.is_empty(shape):
        return None
    distance_m = float(shapely.distance(block, shape))
    if distance_m > within_m:
        return None
    start, end = shapely.get_coordinates(shapely.shortest_line(shapely.centroid(block), shape)).tolist()
    bearing_deg = (grid_bearing_deg(tuple(start), tuple(end)) + _turn_deg(block, grid)) % 360
    lon, lat = shapely.get_coordinates(grid.to_lonlat(shapely.Point(end)))[0].tolist()
    return NearPlace(
        name=feature.name, kind=feature.kind, distance_m=distance_m, bearing_deg=bearing_deg, nearest=(lon, lat)
    )
