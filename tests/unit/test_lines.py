"""A line of the log as a person names it: by its number, its id, the beginning of that, or its imported id."""

from __future__ import annotations

import pytest
from fakes import entry
from shapely import box

from habmap.errors import InputError
from habmap.work.lines import find_line, find_row

GROUND = box(0, 0, 100, 100)
FIRST = entry("cut", "2026-01-05", GROUND, entry_id="abcd1111", source_id="2")
SECOND = entry("cut", "2026-01-06", GROUND, entry_id="abcd2222", source_id="eqip-7")
THIRD = entry("burn", "2026-01-07", GROUND, entry_id="00ff3333")
AMENDS = entry("cut", "2026-01-06", GROUND, entry_id="beef4444", action="amend", target="abcd2222", why="typing")
ROWS = (FIRST, SECOND, THIRD, AMENDS)


@pytest.mark.parametrize(
    ("name", "line"),
    [
        ("1", "abcd1111"), (" #1 ", "abcd1111"), ("#2", "abcd2222"), ("3", "00ff3333"),
        ("abcd1", "abcd1111"), ("ABCD2", "abcd2222"), ("abcd2222", "abcd2222"), ("00ff", "00ff3333"),
        ("eqip-7", "abcd2222"),  # what its file called it
        ("beef4444", "abcd2222"), ("beef", "abcd2222"),  # the row that corrects it
    ],
)  # fmt: skip
def test_a_line_is_found_by_its_number_its_id_and_the_beginning_of_that(name: str, line: str) -> None:
    assert find_line(ROWS, name).root.entry_id == line
    told, row = find_row(ROWS, name)
    assert told.root.entry_id == line
    assert row.entry_id == ("beef4444" if name.startswith("beef") else line)


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("abcd", "abcd1111, abcd2222"),
        ("2", "abcd2222, abcd1111"),  # the number of one is the imported id of another
        *(
            (name, "")
            for name in ("", "4", "0", "#0", "01", "abc", "bee", "#abcd1111", "eqip", "1234567890", "#eqip-7")
        ),
    ],
)
def test_what_names_several_lines_or_none_is_refused(name: str, shown: str) -> None:
    said = "several lines of the log are called so" if shown else "there is no such line in the log"
    for find in (find_line, find_row):
        with pytest.raises(InputError) as refused:
            find(ROWS, name)
        assert str(refused.value).startswith(said)
        assert refused.value.allowed == shown if shown else refused.value.value == name


def test_a_line_that_is_withdrawn_is_found_no_more_but_its_rows_are() -> None:
    void = entry("other", "2026-01-08", entry_id="dead5555", action="void", target="00ff3333", why="a slip")
    rows = (*ROWS, void)
    with pytest.raises(InputError, match="withdrawn already"):
        find_line(rows, "3")
    with pytest.raises(InputError, match="no such line"):
        find_line(rows, "dead5555")
    line, row = find_row(rows, "dead5")
    assert (line.root.entry_id, row.entry_id) == ("00ff3333", "dead5555")
    assert find_row(rows, "3")[1].entry_id == "00ff3333"
