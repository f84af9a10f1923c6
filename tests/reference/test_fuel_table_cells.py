"""Every cell of the fine dead fuel moisture tables against the list of checked values, read in its own layout.

NWCG PMS 437, Fire Behavior Field Reference Guide, tables A to D, after Fosberg & Deeming 1971 (RM-RN-207) and Rothermel
1983 (INT-143); the figures by way of public copies that agree. Cells are left out, marked ``*``, where copies differ
(`test_fuel_table_copies.py` has them). Whole percents: no tolerance.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from habmap.work.fuel_moisture import reference_moisture_pct
from habmap.work.fuel_tables import LEVELS, correction_pct

REFERENCE = """
10-29 F  1 2 2 3 4 5 5 6 7 8 8 8 9 9 10 11 12 12 13 13 14
30-49    1 2 2 3 4 5 5 6 7 7 7 8 9 9 10 10 11 12 13 13 13
50-69    1 2 2 3 4 5 5 6 6 7 7 8 8 9 9 10 11 12 12 12 13
70-89    1 1 2 2 3 4 5 5 6 7 7 8 8 8 9 10 10 11 12 12 13
90-109   1 1 2 2 3 4 4 5 6 7 7 8 8 8 9 10 10 11 12 12 13
110+     1 1 2 2 3 4 4 5 6 7 7 8 8 8 9 10 10 11 12 12 12
"""
#: Exposed 0–30%, then exposed steeper; blocks 0800 to 1800 between bars, each below, level, above.
CORRECTIONS = """
B (May Jun Jul)
N  2 3 4|1 1 1|0 0 1|0 0 1|1 1 1|2 3 4      3 4 4|1 2 2|1 1 2|1 1 2|1 2 2|3 4 4
E  2 2 3|1 1 1|0 0 1|0 0 1|1 1 2|3 4 4      1 2 2|0 0 1|0 0 1|1 1 2|2 3 4|4 5 6
S  2 3 3|1 1 1|0 0 1|0 0 1|1 1 1|2 3 3      2 3 3|1 1 2|0 1 1|0 1 1|1 1 2|2 3 3
W  2 3 4|1 1 2|0 0 1|0 0 1|0 1 1|2 3 3      4 5 6|2 3 4|1 1 2|0 0 1|0 0 1|1 2 2
shaded N  4 5 5|3 4 5|3 3 4|3 3 4|3 4 5|4 5 5      E  4 4 5|3 4 5|3 3 4|3 4 4|3 4 5|4 5 6
       S  4 4 5|3 4 5|3 3 4|3 3 4|3 4 5|4 5 5      W  4 5 6|3 4 5|3 3 4|3 3 4|3 4 5|4 4 5
C (Feb Mar Apr, Aug Sep Oct)
N  3 4 5|1 2 3|1 1 2|1 1 2|1 2 3|3 4 5      3 4 5|3 3 4|2 3 4|2 3 4|3 3 4|3 4 5
E  3 4 5|1 2 3|1 1 1|1 1 2|1 2 4*|3 4 5      3 3 4|1 1 1|1 1 1|1 2 3|3 4 5|4* 5* 6
S  3 4 5|1 2 2|1 1 1|1 1 1|1 2 3|3 4 5      3 4 5|1 2 2|0 1 1|0 1 1|1 2 2|3 4 5
W  3 4 5|1 2 3|1 1 1|1 1 1|1 2 3|3 4 5      4 5 6|3 4 5|1 2 3|1 1 1|1 1 1|3 3 4
shaded N  4 5 6|4 5 5|3 4 5|3 4 5|4 5 5|4 5 6      E  4 5 6|3 4 5|3 4 5|3 4 5|4 5 6|4 5 6
       S  4 5 6|3 4 5|3 4 5|3 4 5|3 4 5|4 5 6      W  4 5 6|4 5 6|3 4 5|3 4 5|3 4 5|4 5 6
D (Nov Dec Jan)
N  4 5 6|3 4 5|2 3 4|2 3 4|3 4 5|4 5 6      4 5 6|4 5 6|4 5 6|4 5 6|4 5 6|4 5 6
E  4 5 6|3 4 4|2 3 3|2 3 3|3 4 5|4 5 6      4 5 6|2 3 4|2 2 3|3 4 4|4 5 6|4 5 6
S  4 5 6|3 4 5|2 3 3|2 2 3|3 4 4|4 5 6      4 5 6|2 3 3|1 1 2|1 1 2|2 3 3|4 5 6
W  4 5 6|3 4 5|2 3 3|2 3 3|3 4 4|4 5 6      4 5 6|4 5 6|3 4 4|2 2 3|2 3 4|4 5 6
shaded, every aspect and time: 4 5 6
"""

Cell = tuple[str, bool, str, str, int, str, int]


def cells() -> Iterator[Cell]:
    table, is_shaded = "", False
    for line in CORRECTIONS.strip().splitlines():
        if head := re.match(r"([BCD]) \(", line):
            table, is_shaded = head[1], False
            continue
        if line.startswith("shaded, every"):
            figures = line.split(": ")[1].split()
            for aspect in "NESW":
                for block in range(6):
                    for level, figure in zip(LEVELS, figures, strict=True):
                        yield table, True, aspect, "0-30", block, level, int(figure)
            continue
        is_shaded = is_shaded or line.startswith("shaded")
        for aspect, *groups in re.findall(r"([NESW])  (\S.*?)(?=\s+[NESW]  |$)", line):
            halves = re.split(r" {3,}", groups[0].strip())
            for slope, half in zip(("0-30", ">30"), halves, strict=False):
                for block, three in enumerate(half.split("|")):
                    for level, figure in zip(LEVELS, three.split(), strict=True):
                        if not figure.endswith("*"):
                            yield table, is_shaded, aspect, slope, block, level, int(figure)


def test_table_a_every_cell() -> None:
    checked = 0
    for line in REFERENCE.strip().splitlines():
        low_f = int(re.split(r"[-+]", line)[0])
        figures = line.split()[-21:]
        for column, figure in enumerate(figures):
            assert reference_moisture_pct(low_f, 5.0 * column) == int(figure), (line, column)
            checked += 1
    assert checked == 6 * 21


@pytest.mark.parametrize("table", "BCD")
def test_every_correction_cell(table: str) -> None:
    own = [cell for cell in cells() if cell[0] == table]
    # Exposed: 4 aspects, 2 slopes, 6 blocks, 3 levels; shaded: 4, 6, 3; table C without its doubtful cells.
    assert len(own) == 4 * 2 * 6 * 3 + 4 * 6 * 3 - 3 * (table == "C")
    for name, is_shaded, aspect, slope, block, level, expected in own:
        found = correction_pct(
            name,
            is_shaded=is_shaded,
            aspect=aspect,
            slope_class=slope,
            block=block,
            level=level,  # type: ignore[arg-type]
        )
        assert found == expected, (name, is_shaded, aspect, slope, block, level)
