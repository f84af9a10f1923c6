"""The outlines: the boundary, and units cut from one set of lines so that neighbors share every vertex."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import shapely
import shapely.affinity
from shapely import LineString, Point, Polygon
from shapely.ops import polygonize, unary_union

from sample_property.chance import Chance
from sample_property.ground import CREEK, HOLLOW, POND_DRAW, WEST_DRAW, Points, rounded

#: Section lines on three sides; the county road's bend cuts the southeast corner.
BOUNDARY = Polygon(
    [(0, 0), (1002, 0), (1062, 9), (1112, 36), (1156, 82), (1207, 150), (1207, 805), (1006, 805), (1006, 1207),
     (402, 1207), (402, 805), (0, 805)]
)  # fmt: skip
POND_RING: Points = [
    (485, 373), (489, 357), (492, 338), (497, 318), (502, 300), (508, 286), (516, 282), (527, 285), (545, 294),
    (560, 299), (573, 301), (578, 310), (575, 330), (573, 350), (575, 366), (572, 377), (540, 379), (500, 378),
]  # fmt: skip
#: The dam stands on the pond's downstream shore.
DAM: Points = [(466, 384), (520, 386), (592, 385)]
LANE: Points = [
    (331, -9), (334, 50), (352, 150), (333, 250), (352, 345), (392, 420), (432, 488), (437, 556), (424, 620),
    (452, 690), (480, 790), (520, 930), (590, 1050), (640, 1140), (655, 1207),
]  # fmt: skip

#: Lines between units; ends run past the line they meet, and what hangs over is cut away.
_EDGES: dict[str, Points] = {
    "creek timber, north": [
        (-30, 645),
        (60, 600),
        (150, 628),
        (240, 624),
        (320, 578),
        (400, 570),
        (470, 594),
        (540, 558),
        (610, 530),
        (690, 558),
        (770, 535),
        (840, 498),
        (930, 522),
        (1010, 488),
        (1080, 462),
        (1150, 482),
        (1250, 438),
    ],
    "creek timber, south": [
        (-30, 590),
        (60, 528),
        (150, 560),
        (240, 558),
        (320, 510),
        (400, 502),
        (470, 530),
        (535, 488),
        (610, 460),
        (690, 490),
        (770, 468),
        (840, 430),
        (930, 455),
        (1010, 420),
        (1080, 393),
        (1150, 412),
        (1250, 366),
    ],
    "top of the road prairie": [
        (-30, 215),
        (60, 178),
        (150, 215),
        (215, 235),
        (300, 200),
        (390, 172),
        (470, 150),
        (540, 120),
        (625, 112),
        (690, 75),
        (725, 25),
        (740, -30),
    ],
    "crooked draw, east rim": [(285, 170), (258, 250), (262, 330), (232, 420), (238, 500), (248, 585)],
    "top of the north thicket": [(225, 352), (300, 340), (370, 318), (440, 336), (490, 365), (530, 355)],
    "below the dam": [(545, 350), (540, 376), (530, 412), (523, 450), (547, 515)],
    "above the pond": [(536, 315), (524, 270), (508, 225), (512, 180), (520, 140), (530, 85)],
    "back slope": [(556, 318), (630, 345), (700, 332), (770, 352), (850, 318), (900, 330), (975, 350)],
    "hayrack draw": [(1008, -30), (960, 80), (984, 205), (940, 320), (930, 410), (932, 495)],
    "west draw": [(330, 850), (326, 780), (308, 690), (322, 620), (352, 550)],
    "top of the bluff": [
        (280, 800),
        (360, 764),
        (430, 772),
        (500, 800),
        (565, 812),
        (620, 780),
        (690, 772),
        (760, 792),
    ],
    "hollow, west": [(768, 1250), (704, 1130), (737, 1010), (687, 880), (724, 770), (686, 650), (712, 530)],
    "hollow, east": [(838, 1250), (780, 1130), (810, 1010), (764, 905), (798, 775), (756, 650), (786, 512)],
    "corner cedars": [(742, 905), (820, 925), (885, 975), (950, 990), (1035, 1050)],
    "leaning oak": [(745, 712), (830, 690), (905, 712), (975, 690), (1040, 722), (1110, 700), (1180, 728), (1250, 712)],
    "between the bluffs": [(978, 735), (970, 650), (944, 580), (936, 478)],
}
_RINGS: dict[str, Points] = {
    "food plot": [(738, 150), (800, 138), (852, 146), (872, 205), (838, 258), (770, 262), (728, 232), (722, 186)],
}


@dataclass(frozen=True, slots=True)
class UnitPlan:
    """One unit: a point in it and what the steward knew of it when the work began."""

    unit_id: str
    name: str
    cover: str
    inside: tuple[float, float]
    stems_per_acre: float | None = None
    canopy_pct: float | None = None
    notes: str | None = None


UNITS = (
    UnitPlan("C1", "South Bluff", "cedar", (560, 680), 860, 78, "thick to the rim, old stems on the spurs"),
    UnitPlan("C2", "Middle Bluff", "cedar", (860, 620), 520, 60),
    UnitPlan("C3", "East Bluff", "cedar", (1080, 600), 410, 55),
    UnitPlan("C4", "West Bluff", "cedar", (170, 700), 180, 32, "open stand, bluestem between the trees"),
    UnitPlan("C5", "North Thicket", "cedar", (380, 420), 940, 88, "dog-hair stand, no grass beneath"),
    UnitPlan("C6", "Corner Cedars", "cedar", (910, 1100), 420, 58),
    UnitPlan("C7", "Hayrack Hill", "cedar", (1080, 250), 290, 44),
    UnitPlan("C8", "Pond Ridge", "cedar", (400, 250), 65, 12, "scattered young trees"),
    UnitPlan("M1", "Crooked Draw", "mixed", (120, 380), 210, 40, "cedar under post oak"),
    UnitPlan("M2", "Back Slope", "mixed", (720, 410), 260, 46),
    UnitPlan("M3", "Leaning Oak", "mixed", (880, 800), 150, 30),
    UnitPlan("G1", "High Prairie", "grass", (560, 1000)),
    UnitPlan("G2", "Road Prairie", "grass", (200, 80)),
    UnitPlan("G3", "Plum Ridge", "grass", (620, 230)),
    UnitPlan("H1", "Creek Timber", "hardwood", (600, 495)),
    UnitPlan("H2", "Kettle Hollow", "hardwood", (745, 850)),
    UnitPlan("P1", "Food Plot", "crop", (800, 200)),
    UnitPlan("W1", "Pond", "water", (530, 340)),
)


def hand_drawn(points: Points, chance: Chance, *, closed: bool = False, sway_m: float = 1.4) -> LineString:
    """Return a smooth line through the neighborhood of some points with the small sway of a walked line.

    Corners are cut twice (Chaikin 1974); the sway is a wandering sideways error of ``sway_m`` meters.
    """
    path = [*points, points[0]] if closed else list(points)
    line = LineString(rounded(path, closed=closed))
    count = max(int(line.length / 11), 6)
    dx = dy = 0.0
    drawn: Points = []
    for number in range(count + (0 if closed else 1)):
        point = line.interpolate(number / count, normalized=True)
        dx, dy = 0.7 * dx + chance.normal(0.7 * sway_m), 0.7 * dy + chance.normal(0.7 * sway_m)
        drawn.append((point.x + dx, point.y + dy))
    return LineString([*drawn, drawn[0]] if closed else drawn)


@dataclass(frozen=True, slots=True)
class Property:
    """All outlines in local meters."""

    boundary: Polygon
    pond: Polygon
    dam: LineString
    units: dict[str, Polygon]
    features: list[tuple[dict[str, Any], Any]]


def drawn_property(*, seed: int) -> Property:
    """Draw the property: boundary, units that partition it, and features [local m]."""
    chance = Chance(seed, "outlines")
    pond_edge = hand_drawn(POND_RING, chance, closed=True, sway_m=0.6)
    edges = [hand_drawn(points, chance) for points in _EDGES.values()]
    rings = [hand_drawn(points, chance, closed=True) for points in _RINGS.values()]
    inside = [edge.intersection(BOUNDARY) for edge in edges]
    faces = list(polygonize(unary_union([BOUNDARY.exterior, pond_edge, *inside, *rings])))
    units = {}
    for plan in UNITS:
        (units[plan.unit_id],) = [face for face in faces if face.contains(Point(plan.inside))]
    left = [face for face in faces if not any(face is unit for unit in units.values())]
    if left:
        raise ValueError(f"ground in no unit around {[tuple(face.representative_point().coords[0]) for face in left]}")
    pond = shapely.orient_polygons(units["W1"])
    dam = LineString(DAM)
    features = _features(chance, pond, dam)
    return Property(BOUNDARY, pond, dam, units, features)


def _features(chance: Chance, pond: Polygon, dam: LineString) -> list[tuple[dict[str, Any], Any]]:
    def row(kind: str, name: str, shape: Any, *, sensitive: bool = False, **more: Any) -> tuple[dict[str, Any], Any]:
        return {"kind": kind, "name": name, "sensitive": sensitive, **more}, shape

    house = shapely.affinity.rotate(shapely.box(352, 52, 367, 63), 8)
    barn = shapely.affinity.rotate(shapely.box(302, 78, 324, 90), 8)
    return [
        row(
            "road",
            "County Road 40",
            hand_drawn(
                [
                    (-205, -8),
                    (400, -8),
                    (900, -9),
                    (1010, -8),
                    (1070, 0),
                    (1122, 28),
                    (1168, 76),
                    (1225, 148),
                    (1290, 215),
                    (1410, 300),
                ],
                chance,
                sway_m=0.3,
            ),
        ),
        row("lane", "Farm lane", hand_drawn(LANE, chance, sway_m=0.8)),
        row("house", "Home place", house),
        row("building", "Hay barn", barn),
        row("pond", "Pond", pond),
        row("creek", "Turtle Shell Creek", hand_drawn([(-200, 632), *CREEK[1:-1], (1400, 394)], chance)),
        row("creek", "Kettle Hollow branch", hand_drawn(HOLLOW[1:], chance)),
        row("creek", "West branch", hand_drawn(WEST_DRAW[2:], chance)),
        row("creek", "Pond branch", LineString(hand_drawn(POND_DRAW, chance).coords[-14:])),
        row("power_line", "Power line", LineString([(1405, 961), (1040, 760), (560, 120), (470, -8), (398, -205)])),
        row(
            "line",
            "Ridge mowed strip",
            hand_drawn([(402, 818), (470, 812), (545, 826), (615, 796), (682, 788)], chance, sway_m=0.8),
            width_ft=30,
            surface="mowed",
        ),
        row(
            "line",
            "Hayrack disked strip",
            hand_drawn([(1010, 388), (1060, 372), (1120, 388), (1207, 345)], chance, sway_m=0.8),
            width_ft=16,
            surface="bare",
        ),
        row("fence", "North line fence", LineString([(0, 805), (402, 805), (402, 1207), (1006, 1207)])),
        row("gate", "Lane gate", Point(331, -2)),
        row("nest", "Hawk nest", Point(748.0, 905.0), sensitive=True),
    ]
