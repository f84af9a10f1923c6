"""CSV tables: what is read as it stands, and what is refused with its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from habmap.errors import InputError, InputErrors
from habmap.place.load.table import read_table


def written(folder: Path, content: str | bytes) -> Path:
    path = folder / "t.csv"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


@pytest.mark.parametrize("content", ["a,b\n1,x\n", "\ufeffa,b\r\n1,x\r\n", "a;b\n1;x", '\n"a","b"\n1,x\n\n,\n'])
def test_reads_separators_marks_and_line_ends(tmp_path: Path, content: str) -> None:
    table = read_table(written(tmp_path, content))
    assert table.columns == ("a", "b")
    assert [row.values for row in table.rows] == [{"a": "1", "b": "x"}]


def test_rows_are_numbered_as_a_spreadsheet_does(tmp_path: Path) -> None:
    table = read_table(written(tmp_path, 'a,b\n1,"two\nlines"\n\n3,y\n'))
    assert [(row.number, row.values["b"]) for row in table.rows] == [(2, "two\nlines"), (4, "y")]


def test_a_comma_in_quotes_and_a_very_long_cell_are_kept(tmp_path: Path) -> None:
    long = "9 " * 200_000
    assert read_table(written(tmp_path, f'a,b\n"1,5","{long}"\n')).rows[0].values == {"a": "1,5", "b": long}


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "0 bytes"),
        (b"\n\n", "empty"),
        (b"a,b\n", "no rows"),
        (b"a,,c\n1,2,3\n", "no name"),
        (b"a,A\n1,2\n", "same name"),
        ("a,b\n1,2\n".encode("utf-16"), "UTF-16"),
        (b"a,b\n1,\x00\n", "not a text table"),
        (b'a,b\n"1,2\n', "CSV"),
    ],
)
def test_unsound_text_is_refused(tmp_path: Path, content: bytes, words: str) -> None:
    with pytest.raises(InputError, match=words):
        read_table(written(tmp_path, content))


def test_latin_1_is_refused_with_its_line(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        read_table(written(tmp_path, b"a,b\n1,x\n2,Pe\xf1a\n"))
    assert caught.value.where is not None and caught.value.where.endswith("line 3")
    assert caught.value.value == "byte 0xf1"


def test_every_ragged_row_is_listed(tmp_path: Path) -> None:
    with pytest.raises(InputErrors) as caught:
        read_table(written(tmp_path, "a,b\n1\n1,2\n1,2,3\n"))
    assert [fault.where.rsplit(" ", 1)[1] for fault in caught.value.faults if fault.where] == ["2", "4"]


def test_missing_file_and_folder_are_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_table(tmp_path / "none.csv")
    with pytest.raises(InputError, match="folder"):
        read_table(tmp_path)
