"""The fine dead fuel moisture tables as printed, one row of figures to a line.

References
----------
NWCG PMS 437, Fire Behavior Field Reference Guide, fuel moisture tables A to D, after Fosberg, M. A. & Deeming, J. E.
1971 (USDA Forest Service Research Note RM-207) and Rothermel, R. C. 1983 (General Technical Report INT-143). The
figures come by way of public copies. Where these differ the drier figure stands here, which is the careful one: table
C, east, 0–30%, 1600, above: 4 or 3, here 3; east, steeper than 30%, 1800, below: 4 or 3, here 3, and level: 5 or 4,
here 4. `tests/reference/test_fuel_table_copies.py` holds two more copies whole and names every cell that differs. The
hours are those of a clock that nobody names, see `habmap.work.fuel_moisture.clock_words`.
"""

from __future__ import annotations

from functools import cache
from typing import Final, Literal

Aspect = Literal["N", "E", "S", "W"]
SlopeClass = Literal["0-30", ">30"]
Level = Literal["below", "level", "above"]

ASPECTS: Final[tuple[Aspect, ...]] = ("N", "E", "S", "W")
SLOPE_CLASSES: Final[tuple[SlopeClass, ...]] = ("0-30", ">30")
LEVELS: Final[tuple[Level, ...]] = ("below", "level", "above")
#: First temperature of each row of table A [°F]; a row reaches to the next one's first.
TABLE_A_FROM_F: Final = (10, 30, 50, 70, 90, 110)
#: Table A: reference moisture [%]; columns are relative humidity 0–4, 5–9, … 95–99 and 100%.
TABLE_A: Final = tuple(
    tuple(int(figure) for figure in line.split())
    for line in (
        "1 2 2 3 4 5 5 6 7 8 8 8 9 9 10 11 12 12 13 13 14",
        "1 2 2 3 4 5 5 6 7 7 7 8 9 9 10 10 11 12 13 13 13",
        "1 2 2 3 4 5 5 6 6 7 7 8 8 9 9 10 11 12 12 12 13",
        "1 1 2 2 3 4 5 5 6 7 7 8 8 8 9 10 10 11 12 12 13",
        "1 1 2 2 3 4 4 5 6 7 7 8 8 8 9 10 10 11 12 12 13",
        "1 1 2 2 3 4 4 5 6 7 7 8 8 8 9 10 10 11 12 12 12",
    )
)
#: The correction table of each month.
TABLE_OF_MONTH: Final = dict(zip(range(1, 13), "DCCCBBBCCCDD", strict=True))
#: First hour of a correction block, its length, and how many there are: 0800 to 1959 [h].
FIRST_HOUR: Final = 8
BLOCK_HOURS: Final = 2
BLOCKS: Final = 6

#: Exposed ground: aspect, then slope 0–30%, then steeper; blocks between bars, each below, level, above.
_EXPOSED: Final = {
    "B": """
        N  2 3 4|1 1 1|0 0 1|0 0 1|1 1 1|2 3 4      3 4 4|1 2 2|1 1 2|1 1 2|1 2 2|3 4 4
        E  2 2 3|1 1 1|0 0 1|0 0 1|1 1 2|3 4 4      1 2 2|0 0 1|0 0 1|1 1 2|2 3 4|4 5 6
        S  2 3 3|1 1 1|0 0 1|0 0 1|1 1 1|2 3 3      2 3 3|1 1 2|0 1 1|0 1 1|1 1 2|2 3 3
        W  2 3 4|1 1 2|0 0 1|0 0 1|0 1 1|2 3 3      4 5 6|2 3 4|1 1 2|0 0 1|0 0 1|1 2 2
    """,
    "C": """
        N  3 4 5|1 2 3|1 1 2|1 1 2|1 2 3|3 4 5      3 4 5|3 3 4|2 3 4|2 3 4|3 3 4|3 4 5
        E  3 4 5|1 2 3|1 1 1|1 1 2|1 2 3|3 4 5      3 3 4|1 1 1|1 1 1|1 2 3|3 4 5|3 4 6
        S  3 4 5|1 2 2|1 1 1|1 1 1|1 2 3|3 4 5      3 4 5|1 2 2|0 1 1|0 1 1|1 2 2|3 4 5
        W  3 4 5|1 2 3|1 1 1|1 1 1|1 2 3|3 4 5      4 5 6|3 4 5|1 2 3|1 1 1|1 1 1|3 3 4
    """,
    "D": """
        N  4 5 6|3 4 5|2 3 4|2 3 4|3 4 5|4 5 6      4 5 6|4 5 6|4 5 6|4 5 6|4 5 6|4 5 6
        E  4 5 6|3 4 4|2 3 3|2 3 3|3 4 5|4 5 6      4 5 6|2 3 4|2 2 3|3 4 4|4 5 6|4 5 6
        S  4 5 6|3 4 5|2 3 3|2 2 3|3 4 4|4 5 6      4 5 6|2 3 3|1 1 2|1 1 2|2 3 3|4 5 6
        W  4 5 6|3 4 5|2 3 3|2 3 3|3 4 4|4 5 6      4 5 6|4 5 6|3 4 4|2 2 3|2 3 4|4 5 6
    """,
}
#: Ground that more than half the sky's sun does not reach: aspect and blocks, for every slope.
_SHADED: Final = {
    "B": """
        N  4 5 5|3 4 5|3 3 4|3 3 4|3 4 5|4 5 5
        E  4 4 5|3 4 5|3 3 4|3 4 4|3 4 5|4 5 6
        S  4 4 5|3 4 5|3 3 4|3 3 4|3 4 5|4 5 5
        W  4 5 6|3 4 5|3 3 4|3 3 4|3 4 5|4 4 5
    """,
    "C": """
        N  4 5 6|4 5 5|3 4 5|3 4 5|4 5 5|4 5 6
        E  4 5 6|3 4 5|3 4 5|3 4 5|4 5 6|4 5 6
        S  4 5 6|3 4 5|3 4 5|3 4 5|3 4 5|4 5 6
        W  4 5 6|4 5 6|3 4 5|3 4 5|3 4 5|4 5 6
    """,
    "D": """
        N  4 5 6|4 5 6|4 5 6|4 5 6|4 5 6|4 5 6
        E  4 5 6|4 5 6|4 5 6|4 5 6|4 5 6|4 5 6
        S  4 5 6|4 5 6|4 5 6|4 5 6|4 5 6|4 5 6
        W  4 5 6|4 5 6|4 5 6|4 5 6|4 5 6|4 5 6
    """,
}


@cache
def _figures(text: str) -> dict[str, tuple[int, ...]]:
    """Return the cells of a printed table by aspect."""
    rows = (line.replace("|", " ").split() for line in text.strip().splitlines())
    return {aspect: tuple(int(cell) for cell in cells) for aspect, *cells in rows}


def correction_pct(
    table: str, *, is_shaded: bool, aspect: Aspect, slope_class: SlopeClass, block: int, level: Level
) -> int:
    """Return one cell of table B, C or D [%].

    Parameters
    ----------
    table
        ``B`` (May to July), ``C`` (February to April, August to October) or ``D`` (November to January).
    block
        0 for 0800–0959 to 5 for 1800–1959.
    level
        Where the ground lies against the place of the weather: 1,000–2,000 ft ``below`` or ``above``, else ``level``.
    """
    place = block * len(LEVELS) + LEVELS.index(level)
    if is_shaded:
        return _figures(_SHADED[table])[aspect][place]
    return _figures(_EXPOSED[table])[aspect][SLOPE_CLASSES.index(slope_class) * BLOCKS * len(LEVELS) + place]
