"""Two seasons of invented work: patches that overlap each other and run over unit edges, and the log lines on them."""

from __future__ import annotations

import shapely
from shapely import Polygon

from sample_property.chance import Chance
from sample_property.frame import lonlat
from sample_property.ground import Points
from sample_property.outlines import BOUNDARY, hand_drawn

ENTRY_COLUMNS = (
    "entry_id", "date", "practice", "unit_id", "whole", "patch_wkt", "killed_pct", "burned_pct", "person_hours", "cost",
    "reported_acres", "sure", "who", "note", "product", "product_rate", "live_stems_per_acre", "tallest_ft",
    "seedlings_per_acre", "sprouts", "needles", "fuel_lb_ac",
)  # fmt: skip

#: Patches as they were worked [local m]; where a unit is named, the crew kept to its edge, give or take some meters.
PATCHES: dict[str, tuple[Points, tuple[str, float] | None]] = {
    "bluff west bite": (
        [(296, 540), (296, 740), (352, 752), (404, 738), (436, 694), (422, 644), (442, 602), (438, 530)],
        ("C1", 3),
    ),
    "bluff burn": (
        [(292, 530), (296, 712), (344, 724), (402, 708), (450, 676), (446, 622), (456, 580), (450, 530)],
        ("C1", 6),
    ),
    "bluff east bite": (
        [(418, 520), (414, 606), (402, 664), (424, 718), (474, 732), (522, 706), (516, 652), (532, 600), (522, 520)],
        ("C1", 2),
    ),
    "bluff spur girdled": (
        [(612, 712), (600, 770), (616, 840), (750, 840), (750, 680), (690, 690), (650, 718)],
        ("C1", 5),
    ),
    "bluff sprouts": ([(334, 606), (330, 652), (362, 676), (398, 664), (406, 622), (376, 592)], None),
    "middle cut": (
        [(730, 470), (730, 740), (850, 745), (908, 740), (916, 660), (934, 610), (918, 540), (920, 450)],
        ("C2", -2),
    ),
    "middle piled": (
        [(730, 470), (735, 694), (796, 700), (840, 676), (884, 668), (900, 616), (882, 560), (890, 470)],
        ("C2", -6),
    ),
    "middle piles burned": ([(730, 480), (735, 636), (790, 656), (830, 622), (862, 612), (850, 480)], ("C2", -9)),
    "middle mown": ([(780, 530), (776, 586), (806, 616), (836, 592), (832, 540)], None),
    "east thinned": (
        [(920, 440), (930, 596), (986, 640), (1034, 672), (1074, 640), (1098, 590), (1084, 520), (1092, 420)],
        ("C3", 3),
    ),
    "east cut": (
        [(1066, 562), (1062, 628), (1100, 660), (1130, 702), (1250, 702), (1250, 570), (1170, 552), (1112, 530)],
        ("C3", -3),
    ),
    "thicket mulched": (
        [(210, 372), (296, 392), (346, 380), (404, 398), (424, 452), (352, 438), (292, 452), (210, 446)],
        ("C5", 3),
    ),
    "thicket shade kept": ([(480, 384), (468, 436), (474, 560), (570, 560), (560, 384)], ("C5", -1)),
    "corner cut": (
        [(852, 1046), (836, 1104), (862, 1160), (858, 1250), (1050, 1250), (1050, 1100), (980, 1068), (916, 1062)],
        ("C6", -4),
    ),
    "corner burn": (
        [(846, 1040), (826, 1108), (852, 1164), (842, 1250), (930, 1250), (922, 1180), (940, 1120), (904, 1050)],
        ("C6", 4),
    ),
    "hayrack sprayed": (
        [
            (1046, 96),
            (1024, 168),
            (1044, 232),
            (1036, 282),
            (1092, 296),
            (1128, 254),
            (1120, 200),
            (1142, 150),
            (1104, 104),
        ],
        None,
    ),
    "hayrack fence row kept": ([(1164, 40), (1178, 180), (1172, 280), (1184, 420), (1250, 420), (1250, 60)], ("C7", 0)),
    "back slope cut": (
        [(640, 300), (652, 380), (634, 440), (668, 530), (790, 530), (782, 440), (798, 390), (770, 300)],
        ("M2", 3),
    ),
    "split oak cut": (
        [(806, 660), (812, 744), (836, 790), (872, 800), (900, 836), (938, 800), (930, 752), (952, 660)],
        ("M3", 3),
    ),
    "west girdled": (
        [(52, 570), (66, 650), (48, 708), (96, 748), (150, 728), (198, 736), (206, 660), (186, 570)],
        ("C4", 2),
    ),
    "ridge sprouts": ([(220, 236), (224, 306), (270, 322), (330, 306), (342, 262), (316, 222), (260, 214)], ("C8", -4)),
    "ridge mown": ([(346, 120), (354, 190), (340, 262), (368, 400), (540, 400), (540, 100)], ("C8", -4)),
}

W, J, D = "Wrenna", "Jorrin", "Delphy"
#: entry id, date, practice, where (patch, or units joined by ``;``), and what was written on the line.
_LINES: list[tuple[str, str, str, str, dict[str, object]]] = [
    (
        "s1-01",
        "2024-10-19",
        "cut",
        "middle cut",
        {"killed_pct": 92, "person_hours": 64, "cost": 1850, "who": W, "reported_acres": 6.8},
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
        {"killed_pct": 95, "person_hours": 52, "cost": 1400, "who": W, "reported_acres": 3.9, "sure": "yes"},
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
    ("s1-11", "2025-06-20", "graze", "G1;G2", {"cost": 0, "who": J, "note": "neighbor's steers, six weeks"}),
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
        {"killed_pct": 98, "person_hours": 14, "cost": 2900, "who": D, "reported_acres": 2.5},
    ),
    ("s2-02", "2025-11-15", "cut", "split oak cut", {"killed_pct": 88, "person_hours": 18, "cost": 520, "who": W}),
    (
        "s2-03",
        "2025-12-06",
        "cut",
        "bluff east bite",
        {"killed_pct": 93, "person_hours": 58, "cost": 1600, "who": W, "reported_acres": 4.0},
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
        {"killed_pct": 94, "person_hours": 26, "cost": 780, "who": W, "reported_acres": 3.6, "sure": "yes"},
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
        "checkup",
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
        "checkup",
        "ridge sprouts",
        {"who": D, "live_stems_per_acre": 110, "tallest_ft": 3, "seedlings_per_acre": 650, "fuel_lb_ac": 3100},
    ),
    (
        "s2-15",
        "2026-06-14",
        "checkup",
        "bluff east bite",
        {"who": D, "live_stems_per_acre": 8, "needles": "dropped", "fuel_lb_ac": 1900},
    ),
    ("s2-16", "2026-07-11", "mow", "middle mown", {"person_hours": 3, "cost": 90, "who": J}),
    ("s2-17", "2026-07-18", "mow", "ridge mown", {"person_hours": 5, "cost": 150, "who": J}),
]


def drawn_patches(units: dict[str, Polygon], *, seed: int) -> dict[str, Polygon]:
    """Return every patch as it was walked [local m], none beyond the boundary."""
    patches = {}
    for name, (points, kept_to) in PATCHES.items():
        patch = Polygon(hand_drawn(points, Chance(seed, name), closed=True, sway_m=1.6).coords)
        if kept_to is not None:
            unit_id, over_m = kept_to
            patch = patch.intersection(units[unit_id].buffer(over_m).simplify(0.5))
        patches[name] = shapely.intersection(patch, BOUNDARY)
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
            row |= {"unit_id": where, "whole": "yes"}
        rows.append(row)
    return rows
