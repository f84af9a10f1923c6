"""Lists of the sheet: names whole, the table goes on overleaf as a table, edges of work elsewhere are told together."""

from __future__ import annotations

from pathlib import Path

import pytest
from fakes import GRID, FakeStore, entry, unit
from label_places import NOW, steep
from pdf_reading import pdf_text, pdf_words
from shapely import box

from habmap.jobs.sheet import write_sheet

LONG = "Pasture number {} along the old county line road"


def _written(store: FakeStore, tmp_path: Path, paper: str = "letter") -> Path:
    path = tmp_path / "sheet.pdf"
    write_sheet(store, target=path, folder=tmp_path, now=NOW, paper=paper)  # type: ignore[arg-type]
    return path


def _units(count: int, columns: int, *, covers: tuple[str, ...] = ("cedar",)) -> list[object]:
    return [
        unit(
            f"L{k}", box(k % columns * 130, k // columns * 110, k % columns * 130 + 130, k // columns * 110 + 110),
            name=LONG.format(k), cover=covers[k % len(covers)],
        )
        for k in range(count)
    ]  # fmt: skip


@pytest.mark.poppler
def test_no_name_is_cut_beside_white_paper(tmp_path: Path) -> None:
    words = pdf_words(_written(steep(), tmp_path))
    assert "…" not in words
    assert words.count("Canyon Wall") == 2  # in its row and on its ground


@pytest.mark.poppler
@pytest.mark.parametrize("paper", ["letter", "a3"])
def test_the_table_goes_on_overleaf_as_a_table_with_every_name_whole(tmp_path: Path, paper: str) -> None:
    path = _written(FakeStore(_units(60, 10), grid=GRID), tmp_path, paper)  # type: ignore[arg-type]
    front, *leaves = pdf_text(path, "-layout").split("\f")
    assert "more units overleaf" in front
    assert all("treated" in leaf for leaf in leaves if leaf.strip())  # its columns have their heads
    assert "Cedars standing" not in "".join(leaves)  # said by the row already
    words = pdf_words(path)
    assert "…" not in words
    assert [k for k in range(60) if f"L{k} {LONG.format(k)}" not in words] == []


@pytest.mark.poppler
def test_ground_without_cedar_runs_on_where_rows_have_no_room(tmp_path: Path) -> None:
    """Thirty-four rows do not fit beside this map; twenty-two and a sentence do."""
    units = [
        unit(f"U{k:02d}", box(k % 4 * 300, k // 4 * 240, k % 4 * 300 + 300, k // 4 * 240 + 240), name=name, cover=cover)
        for k, (name, cover) in enumerate(
            [(f"Bluff {k}", "cedar") for k in range(22)] + [(f"Meadow {k}", "grass") for k in range(12)]
        )
    ]
    words = pdf_words(_written(FakeStore(units, grid=GRID), tmp_path))
    assert "overleaf" not in words
    assert all(f"U{22 + k} Meadow {k}, 17.8" in words for k in range(12))  # 300 by 240 m: 17.79 acres


@pytest.mark.poppler
def test_edges_of_work_elsewhere_are_told_together(tmp_path: Path) -> None:
    """Strips of 3 by 110 m, 0.08 acres, of patches of 136 by 110 m, 3.7 acres; a strip of 1.4 acres is told itself."""
    units = _units(3, 3)
    rows = [
        *units,
        entry("cut", "2025-01-10", box(-3, 0, 133, 110)),
        entry("burn", "2025-03-10", box(-3, 0, 133, 110)),
        entry("cut", "2025-04-10", box(180, 0, 300, 110)),
        entry("pile", "2025-05-10", box(257, 0, 390, 110)),
    ]
    words = pdf_words(_written(FakeStore(rows, grid=GRID), tmp_path))  # type: ignore[arg-type]
    assert "Cut on January 10, 2025: 3.5 acres here of 3.7 in all" in words
    assert "Cut on April 10, 2025: 2.2 acres here of 3.3 in all" in words
    assert "Cut on April 10, 2025: 1.1 acres here of 3.3 in all" in words
    assert "3 more log lines only reach in by an edge, at most 0.1 acres each." in words
    assert "0.1 acres here" not in words


@pytest.mark.poppler
def test_units_that_only_edges_reach_stand_in_one_line(tmp_path: Path) -> None:
    rows = [*_units(3, 3), entry("cut", "2025-01-10", box(127, 0, 263, 110))]
    words = pdf_words(_written(FakeStore(rows, grid=GRID), tmp_path))  # type: ignore[arg-type]
    assert "Reached only by an edge of work elsewhere" in words
    both = [f"{LONG.format(k)} (L{k})" for k in (0, 2)]
    assert f"{'; '.join(both)}: at most 0.1 acres each" in words or f"{'; '.join(both[::-1])}: at most 0.1" in words
