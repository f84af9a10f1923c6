"""The fuel moisture tables whole, typed from two more public typed copies of NWCG PMS 437; every difference is named.

Neither is the copy that the code was typed from, nor the list of `test_fuel_table_cells.py`. Where a copy stands alone
against the other two and against the table's own pattern its figure is named here as its slip; where published copies
differ in earnest the lowest figure, the driest and most careful, stands in the code.
"""

from __future__ import annotations

from collections.abc import Iterator

from habmap.work.fuel_tables import ASPECTS, LEVELS, SLOPE_CLASSES, TABLE_A, correction_pct

#: First typed copy; exposed rows are aspect (N, E, S, W) by slope (0–30%, steeper), shaded rows are aspects.
FIRST_A = """
1 2 2 3 4 5 5 6 7 8 8 8 9 9 10 11 12 12 13 13 14
1 2 2 3 4 5 5 6 7 7 7 8 9 9 10 10 11 12 13 13 13
1 2 2 3 4 5 5 6 6 7 7 8 8 9 9 10 11 12 12 12 13
1 1 2 2 3 4 5 5 6 7 7 8 8 8 9 10 10 11 12 12 13
1 1 2 2 3 4 4 5 6 7 7 8 8 8 9 10 10 11 12 12 13
1 1 2 2 3 4 4 5 6 7 7 8 8 8 9 10 10 11 12 12 12
"""
FIRST = {
    ("B", False): """
        234 111 001 001 111 234   344 122 112 112 122 344
        223 111 001 001 112 344   122 001 001 112 234 456
        233 111 001 001 111 233   233 112 011 011 112 233
        234 112 001 001 011 233   456 234 112 001 001 122""",
    ("B", True): """
        455 345 334 334 345 455
        445 345 334 344 345 456
        445 345 334 334 345 455
        456 345 334 334 345 445""",
    ("C", False): """
        345 123 112 112 123 345   345 334 234 234 334 345
        345 123 111 112 124 345   334 111 111 123 345 456
        345 122 111 111 123 345   345 122 011 011 122 345
        345 123 111 111 123 345   456 345 123 111 111 334""",
    ("C", True): """
        456 455 345 345 455 456
        456 345 345 345 456 456
        456 345 345 345 345 456
        456 456 345 345 345 456""",
    ("D", False): """
        456 345 234 234 345 456   456 456 456 456 456 456
        456 344 233 233 345 456   456 234 223 344 456 456
        456 345 233 223 344 456   456 233 112 112 233 456
        456 345 233 233 344 456   456 456 344 223 234 456""",
    ("D", True): """
        456 456 456 456 455 456
        456 456 456 456 455 456
        456 456 456 456 455 456
        456 456 456 456 455 456""",
}  # fmt: skip
#: Second typed copy, where it has another figure than the first, by table, shaded, aspect, slope, block and level.
SECOND = {
    ("B", False, "W", "0-30", 5, "below"): 1,
    ("B", False, "W", "0-30", 5, "level"): 2,
    ("D", False, "W", "0-30", 4, "above"): 5,
    **{("D", True, aspect, "0-30", 4, "above"): 6 for aspect in "NESW"},
}
#: Cells where the code has another figure than the first typed copy, with the reason.
SETTLED = {
    ("C", False, "E", "0-30", 4, "above"): 3,  # published copies have 4 or 3: the drier stands
    ("C", False, "E", ">30", 5, "below"): 3,  # 4 or 3: the drier stands
    ("C", False, "E", ">30", 5, "level"): 4,  # 5 or 4: the drier stands
    # the first alone has 5 here, in all four rows of a table that is else 4 5 6 throughout
    **{("D", True, aspect, "0-30", 4, "above"): 6 for aspect in "NESW"},
}

Cell = tuple[str, bool, str, str, int, str]


def first() -> Iterator[tuple[Cell, int]]:
    for (table, is_shaded), text in FIRST.items():
        for aspect, line in zip(ASPECTS, text.strip().splitlines(), strict=True):
            threes = line.split()
            for number, three in enumerate(threes):
                slope = SLOPE_CLASSES[number // 6]
                for level, figure in zip(LEVELS, three, strict=True):
                    yield (table, is_shaded, aspect, slope, number % 6, level), int(figure)


def test_every_cell_and_every_difference() -> None:
    cells = dict(first())
    assert len(cells) == 3 * (4 * 2 * 6 * 3 + 4 * 6 * 3)
    differ = {}
    for (table, is_shaded, aspect, slope, block, level), figure in cells.items():
        found = correction_pct(
            table,
            is_shaded=is_shaded,
            aspect=aspect,
            slope_class=slope,
            block=block,
            level=level,  # type: ignore[arg-type]
        )
        if found != figure:
            differ[table, is_shaded, aspect, slope, block, level] = found
    assert differ == SETTLED
    # What is settled by the drier figure is never wetter than any typed copy has it.
    assert all(figure < cells[cell] for cell, figure in SETTLED.items() if cell[0] == "C")


def test_where_the_typed_copies_differ_the_code_has_the_figure_of_one_of_them() -> None:
    cells = dict(first())
    for cell, figure in SECOND.items():
        table, is_shaded, aspect, slope, block, level = cell
        found = correction_pct(
            table,
            is_shaded=is_shaded,
            aspect=aspect,
            slope_class=slope,
            block=block,
            level=level,  # type: ignore[arg-type]
        )
        assert figure != cells[cell] and found in (figure, cells[cell])


def test_table_a() -> None:
    rows = [tuple(int(figure) for figure in line.split()) for line in FIRST_A.strip().splitlines()]
    # The second typed copy has 11 for 10 at 110 °F and 80%: its slip, the rows above and below the drier.
    assert tuple(rows) == TABLE_A


def test_the_hours_mirror_about_1400() -> None:
    """What speaks for daylight time: east and west faces mirror each other about 1400."""
    for slope in SLOPE_CLASSES:
        for block in range(6):
            east = correction_pct("C", is_shaded=False, aspect="E", slope_class=slope, block=block, level="level")
            west = correction_pct("C", is_shaded=False, aspect="W", slope_class=slope, block=5 - block, level="level")
            assert abs(east - west) <= 1
