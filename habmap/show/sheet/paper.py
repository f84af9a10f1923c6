"""What sheets of paper share: their sizes, and the scales that a map on them may have."""

from __future__ import annotations

import math
from typing import Final, Literal

from habmap.errors import InputError
from habmap.measures import MM_PER_IN
from habmap.show.sheet.map import PT_PER_M

Paper = Literal["letter", "tabloid", "a4", "a3"]
#: Points to a millimeter.
MM_PT: Final = 72 / MM_PER_IN
#: Short and long side [pt]: ANSI/ASME Y14.1 sizes A and B, ISO 216 A4 and A3.
SIZES_PT: Final[dict[Paper, tuple[float, float]]] = {
    "letter": (612.0, 792.0), "tabloid": (792.0, 1224.0), "a4": (210 * MM_PT, 297 * MM_PT),
    "a3": (297 * MM_PT, 420 * MM_PT),
}  # fmt: skip
#: How much larger all is drawn on a sheet for a wall than on one for a hand: A3 is A4 by √2, tabloid is treated so too.
#: The smallest type is then 12.7 pt, capitals 3.3 mm high: 7 minutes of arc from 5 ft, where plain eyesight asks for 5.
GROWN: Final[dict[Paper, float]] = {"letter": 1.0, "a4": 1.0, "tabloid": math.sqrt(2), "a3": math.sqrt(2)}
#: Scales that are round as 1:N, or as whole tens and hundreds of feet to the inch.
_ROUND: Final = (1.0, 1.2, 1.5, 2.0, 2.4, 2.5, 3.0, 3.6, 4.0, 4.8, 5.0, 6.0, 7.5, 8.0, 9.6)
SCALES: Final[tuple[int, ...]] = tuple(round(step * 10**power) for power in range(2, 9) for step in _ROUND)
#: Ground shown around what the map is about, as a share of the frame.
_AIR: Final = 0.012


def fitting_scale(size_m: tuple[float, float], room_pt: tuple[float, float], *, mend: str) -> int:
    """Return the N of the largest round 1:N at which ground fits a frame.

    Parameters
    ----------
    size_m, room_pt
        Width and height of the ground [m] and of the frame [pt].
    mend
        What the person could do where nothing fits.

    Raises
    ------
    InputError
        The ground is wider than the smallest scale takes in.
    """
    for scale in SCALES:
        if all(
            side_m * PT_PER_M / scale <= room * (1 - 2 * _AIR) for side_m, room in zip(size_m, room_pt, strict=True)
        ):
            return scale
    raise InputError(
        "this ground is too wide for one sheet",
        value=f"{size_m[0] / 1000:,.0f} by {size_m[1] / 1000:,.0f} km",
        allowed=f"what fits at 1:{SCALES[-1]:,}",
        mend=mend,
        where="the sheet's map",
    )
