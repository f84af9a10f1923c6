"""Two seasons of invented work: patches that overlap each other and run over unit edges, and the log lines on them."""

from __future__ import annotations

import shapely
from shapely import Polygon

from sample_property.chance import Chance
from sample_property.frame import lonlat
from sample_property.ground import Points
from sample_property.outlines import BOUNDARY, hand_drawn

ENTRY_COLUMNS = (
    "entry_id", "date", "practice", "unit_id", "patch_wkt", "killed_pct", "burned_pct", "person_hours", "cost",
    "reported_acres", "who", "note", "product", "product_rate", "live_stems_per_acre", "tallest_ft",
    "seedlings_per_acre", "sprouts", "needles", "fuel_lb_ac",
)  # fmt: skip

#: Patches as they were worked [local m].
PATCHES: dict[str, Points] = {
    "bluff west bite": [(340, 600), (352, 672), (346, 742), (396, 752), (428, 706), (424, 640), (430, 590), (380, 578)],
    "bluff burn": [(350, 585), (356, 660), (366, 722), (418, 716), (446, 668), (438, 600), (412, 562), (372, 560)],
    "bluff east bite": [(405, 592), (402, 660), (420, 722), (476, 726), (505, 670), (492, 602), (450, 588)],
    "bluff spur girdled": [(598, 715), (606, 775), (640, 800), (690, 792), (700, 730), (668, 700), (628, 698)],
    "bluff sprouts": [(352, 610), (360, 660), (388, 668), (404, 630), (386, 596)],
    "middle cut": [(792, 520), (772, 600), (772, 690), (840, 706), (905, 692), (922, 620), (912, 540), (850, 500)],
    "middle piled": [(800, 530), (786, 610), (790, 680), (860, 690), (888, 630), (880, 545)],
    "middle piles burned": [(796, 545), (788, 610), (800, 650), (850, 640), (862, 570), (838, 530)],
    "middle mown": [(800, 560), (798, 612), (830, 620), (846, 580), (826, 552)],
    "east thinned": [(990, 500), (985, 580), (1010, 650), (1068, 662), (1092, 590), (1080, 500), (1030, 482)],
    "east cut": [(1060, 560), (1068, 640), (1120, 672), (1168, 640), (1160, 560), (1110, 530)],
    "thicket mulched": [(262, 380), (300, 398), (350, 388), (402, 402), (410, 446), (350, 440), (290, 448), (258, 430)],
    "thicket shade kept": [(452, 400), (462, 450), (505, 462), (518, 410), (490, 385)],
    "corner cut": [(850, 1060), (846, 1130), (880, 1185), (950, 1180), (968, 1110), (930, 1050)],
    "corner burn": [(840, 1050), (838, 1140), (872, 1192), (915, 1190), (930, 1120), (905, 1045)],
    "hayrack sprayed": [(1040, 130), (1034, 200), (1060, 262), (1118, 258), (1140, 190), (1110, 130)],
    "hayrack fence row kept": [(1150, 120), (1160, 250), (1166, 330), (1200, 330), (1198, 170)],
    "back slope cut": [(650, 370), (655, 440), (700, 456), (762, 446), (772, 380), (710, 358)],
    "split oak cut": [(830, 730), (836, 800), (890, 818), (934, 780), (920, 722), (870, 712)],
    "west girdled": [(80, 640), (74, 700), (110, 742), (168, 730), (180, 660), (130, 636)],
    "ridge sprouts": [(300, 240), (306, 300), (362, 306), (392, 262), (350, 226)],
    "ridge mown": [(372, 240), (380, 310), (440, 322), (484, 280), (470, 210), (412, 208)],
}  # fmt: skip

W, J, D = "Wrenna", "Jorvik", "Delphy"
#: entry id, date, practice, where (patch, or units joined by ``;``), and what was written on the line.
_LINES: list[tuple[str, str, str, str, dict[str, object]]] = [
    (
        "s1-01",
        "2024-10-19",
        "cut",
        "middle cut",
        {"killed_pct": 92, "person_hours": 64, "cost": 1850, "who": W, "reported_acres": 6.0},
    ),
    ("s1-02", "2024-11-23", "keep", "thicket shade kept", {"who": W, "note": "shade for the spring, deer bed here"}),
    (
        "s1-03",
        "2024-12-07",
        "cut",
        "C8",
        {"killed_pct": 95, "person_hours": 22, "cost": 520, "who": D, "note": "loppers and saw, all small"},
    ),
    ("s1-04", "2024-12-14", "pile", "middle piled", {"person_hours": 31, "cost": 900, "who": J}),
    (
        "s1-05",
        "2025-01-18",
        "cut",
        "bluff west bite",
        {"killed_pct": 95, "person_hours": 52, "cost": 1400, "who": W, "reported_acres": 3.5},
    ),
    (
        "s1-06",
        "2025-02-08",
        "pile_burn",
        "middle piles burned",
        {"person_hours": 10, "cost": 240, "who": J, "note": "snow on the ground"},
    ),
    ("s1-07", "2025-02-15", "cut", "corner cut", {"killed_pct": 90, "person_hours": 40, "cost": 1150, "who": D}),
    (
        "s1-08",
        "2025-03-22",
        "burn",
        "bluff burn",
        {"burned_pct": 85, "person_hours": 28, "cost": 650, "who": W, "note": "under the written plan"},
    ),
    ("s1-09", "2025-04-05", "burn", "C8;G2", {"burned_pct": 90, "person_hours": 24, "cost": 480, "who": W}),
    (
        "s1-10",
        "2025-04-12",
        "seed",
        "middle piles burned",
        {"person_hours": 4, "cost": 310, "who": D, "note": "native mix on the ash spots"},
    ),
    ("s1-11", "2025-06-20", "graze", "G1;G2", {"cost": 0, "who": J, "note": "neighbour's steers, six weeks"}),
    (
        "s1-12",
        "2025-08-30",
        "spray",
        "hayrack sprayed",
        {
            "killed_pct": 85,
            "person_hours": 9,
            "cost": 690,
            "who": J,
            "product": "as on the spray sheet",
            "product_rate": "as on the label",
        },
    ),
    (
        "s2-01",
        "2025-10-11",
        "mulch",
        "thicket mulched",
        {"killed_pct": 98, "person_hours": 14, "cost": 2900, "who": D, "reported_acres": 1.9},
    ),
    ("s2-02", "2025-11-15", "cut", "split oak cut", {"killed_pct": 88, "person_hours": 18, "cost": 520, "who": W}),
    (
        "s2-03",
        "2025-12-06",
        "cut",
        "bluff east bite",
        {"killed_pct": 93, "person_hours": 58, "cost": 1600, "who": W, "reported_acres": 2.5},
    ),
    ("s2-04", "2025-12-13", "pile", "split oak cut", {"person_hours": 12, "cost": 350, "who": J}),
    ("s2-05", "2026-01-10", "cut", "back slope cut", {"killed_pct": 90, "person_hours": 30, "cost": 870, "who": D}),
    (
        "s2-06",
        "2026-01-24",
        "girdle",
        "bluff spur girdled",
        {"killed_pct": 95, "person_hours": 16, "cost": 400, "who": D},
    ),
    (
        "s2-07",
        "2026-01-31",
        "girdle",
        "west girdled",
        {"killed_pct": 40, "person_hours": 5, "cost": 125, "who": D, "note": "every other tree"},
    ),
    ("s2-08", "2026-02-14", "cut", "east thinned", {"killed_pct": 55, "person_hours": 20, "cost": 560, "who": J}),
    (
        "s2-09",
        "2026-02-28",
        "cut",
        "east cut",
        {"killed_pct": 94, "person_hours": 26, "cost": 780, "who": W, "reported_acres": 2.4},
    ),
    ("s2-10", "2026-03-07", "keep", "hayrack fence row kept", {"who": W, "note": "screen from the road"}),
    ("s2-11", "2026-03-14", "burn", "corner burn", {"burned_pct": 80, "person_hours": 22, "cost": 540, "who": W}),
    (
        "s2-12",
        "2026-03-21",
        "burn",
        "bluff burn",
        {"burned_pct": 70, "person_hours": 18, "cost": 420, "who": W, "note": "second fire there"},
    ),
    (
        "s2-13",
        "2026-06-06",
        "look",
        "bluff sprouts",
        {
            "who": D,
            "live_stems_per_acre": 70,
            "tallest_ft": 1.5,
            "seedlings_per_acre": 400,
            "sprouts": "sumac=30,dogwood=12",
            "fuel_lb_ac": 2600,
        },
    ),
    (
        "s2-14",
        "2026-06-13",
        "look",
        "ridge sprouts",
        {"who": D, "live_stems_per_acre": 110, "tallest_ft": 3, "seedlings_per_acre": 650, "fuel_lb_ac": 3100},
    ),
    (
        "s2-15",
        "2026-06-14",
        "look",
        "bluff east bite",
        {"who": D, "live_stems_per_acre": 8, "needles": "dropped", "fuel_lb_ac": 1900},
    ),
    ("s2-16", "2026-07-11", "mow", "middle mown", {"person_hours": 3, "cost": 90, "who": J}),
    ("s2-17", "2026-07-18", "mow", "ridge mown", {"person_hours": 5, "cost": 150, "who": J}),
]


def drawn_patches(*, seed: int) -> dict[str, Polygon]:
    """Return every patch as it was walked [local m], none beyond the boundary."""
    patches = {}
    for name, points in PATCHES.items():
        line = hand_drawn(points, Chance(seed, name), closed=True, sway_m=1.2)
        patches[name] = shapely.intersection(Polygon(line.coords), BOUNDARY)
    return patches


def log_rows(patches: dict[str, Polygon]) -> list[dict[str, object]]:
    """Return the log as rows of ``ENTRY_COLUMNS``; patches as WKT in lon/lat at full precision."""
    rows = []
    for entry_id, day, practice, where, said in _LINES:
        row: dict[str, object] = dict.fromkeys(ENTRY_COLUMNS, "")
        row |= {"entry_id": entry_id, "date": day, "practice": practice, **said}
        if where in patches:
            row["patch_wkt"] = shapely.to_wkt(lonlat(patches[where], digits=9), rounding_precision=-1)
        else:
            row["unit_id"] = where
        rows.append(row)
    return rows
