"""What an inspector would ask of an item's lines: how ground was told, when, what was corrected, redrawn or assumed."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from fakes import GRID, FakeStore, entry, unit
from pdf_reading import pdf_words
from shapely import Point, box

from habmap.jobs.export_packet import export_packet
from habmap.place.settings import Settings
from habmap.records import Entry, Photo, Row
from habmap.show.packet.packet import PacketResult
from habmap.vocabulary import SNAG_CAUTION
from habmap.work.packet import _how, _is_covered, _is_looked_at, _pair_view
from habmap.work.stages import GroundState

NOW = datetime(2026, 11, 1, 15, tzinfo=UTC)
ITEM = {"program": "P", "item": "1", "practice_code": "314", "units": ["A"], "not_before": "2025-01-01"}
UNITS = [unit("A", box(0, 0, 100, 100)), unit("B", box(200, 0, 300, 100))]
WHOLE = box(0, 0, 100, 100)


def packet(
    tmp_path: Path, *rows: Row, item: dict[str, object] | None = None, units: list[Row] | None = None
) -> PacketResult:
    settings = Settings.model_validate({"contract": [item or ITEM]})
    store = FakeStore([*(units or UNITS), *rows], settings=settings, grid=GRID)
    return export_packet(store, item="1", target=tmp_path / "p.pdf", now=NOW, overwrite=True)


def told(day: str, planar: object, *, practice: str = "cut", on: str | None = None, **fields: object) -> Entry:
    """A line written at noon of the day ``on``, of its work's own day where none is given."""
    row = entry(practice, day, planar, killed_pct=95.0, **fields)  # type: ignore[arg-type]
    return replace(row, recorded_at=datetime.fromisoformat(f"{on or day}T18:00:00+00:00"))


def asked(result: PacketResult, words: str) -> list[str]:
    return [question for question in result.questions if words in question]


def test_walks_carry_their_deviation_together(tmp_path: Path) -> None:
    west, east = box(0, 0, 40, 100), box(40, 0, 100, 100)
    result = packet(tmp_path, told("2025-02-01", west, acres_sd=0.15), told("2025-02-02", east, acres_sd=0.20))
    # √(0.15² + 0.20²) = 0.25
    assert asked(result, "were walked by GPS: ± 0.25 acres")
    assert not asked(result, "whole unit") and not asked(result, "was drawn")


def test_a_whole_unit_is_told_apart_from_a_drawing(tmp_path: Path) -> None:
    result = packet(tmp_path, told("2025-02-01", WHOLE), told("2025-02-01", box(0, 0, 99, 100), practice="girdle"))
    assert asked(result, "Line 1 rests on a whole unit's outline (2.5 acres") or asked(
        result, "Line 2 rests on a whole"
    )
    assert asked(result, "rests on an outline that was drawn or came from a file (2.4 acres)")
    both = packet(tmp_path, told("2025-02-01", box(0, 0, 100, 100).union(box(200, 0, 300, 100))))
    assert asked(both, "on a whole unit's outline")


@pytest.mark.parametrize(("on", "is_late"), [("2025-03-03", False), ("2025-03-04", True)])
def test_a_line_written_down_late_was_told_from_memory(tmp_path: Path, on: str, is_late: bool) -> None:
    # February 1 and 30 days are March 3
    assert bool(asked(packet(tmp_path, told("2025-02-01", WHOLE, on=on)), "more than 30 days after")) is is_late


def test_corrections_and_assumed_shares_are_told(tmp_path: Path) -> None:
    first = told("2025-02-01", WHOLE)
    amend = replace(first, entry_id="late", action="amend", target=first.entry_id, why="walked again",
                    recorded_at=datetime(2025, 6, 5, 18, tzinfo=UTC))  # fmt: skip
    assert asked(packet(tmp_path, first, amend), "was corrected afterwards (on 2025-06-05)")
    assert not asked(packet(tmp_path, first), "corrected")
    assert asked(packet(tmp_path, replace(first, killed_pct=None)), "nobody wrote the share of cedars killed")
    assert not asked(packet(tmp_path, first), "nobody wrote")


def test_dates_codes_and_units_that_are_missing_are_told(tmp_path: Path) -> None:
    mown = entry("mow", "2025-07-01", WHOLE)
    result = packet(tmp_path, told("2025-02-01", WHOLE), mown, item=ITEM | {"units": ["A", "Z9"], "not_before": None})
    assert asked(result, "names no first day") and asked(result, "The contract names Z9")
    assert asked(result, "Work without a practice code lies on this ground (mowed)")
    look = entry("checkup", "2025-09-15", WHOLE, live_stems_per_acre=60)
    seen = packet(tmp_path, told("2025-02-01", WHOLE), look)
    assert asked(seen, "On 2.5 acres of the ground that counts the last check-up found cedars coming back")
    assert not asked(seen, "Nobody has logged a check-up")
    assert asked(result, "Nobody has logged a check-up on 2.5 acres")


def test_a_redrawn_unit_is_told_with_its_day(tmp_path: Path) -> None:
    old = unit("A", box(0, 0, 110, 100))
    new = unit("A", box(0, 0, 100, 100), valid_from=datetime(2025, 5, 1).date(), replaces=(old.uuid,))
    result = packet(tmp_path, told("2025-02-01", WHOLE), units=[old, new])
    assert asked(result, "Outlines were redrawn after the first work: A on 2025-05-01")


def photo(name: str, x: float, y: float, day: str, looks_deg: float | None) -> Photo:
    taken_at = datetime.fromisoformat(f"{day}T18:00:00+00:00")
    return Photo(
        uuid=name, file_name=f"{name}.jpg", picture=f"{name}.jpg", taken_at=taken_at, taken_on=taken_at.date(),
        geometry=GRID.to_lonlat(Point(x, y)), direction_deg=looks_deg, direction_ref=None if looks_deg is None else "T",
        recorded_at=taken_at, sha256=name,
    )  # type: ignore[arg-type]  # fmt: skip


def test_ground_in_no_photo_pair_s_view_is_told_with_its_acres(tmp_path: Path) -> None:
    cut = told("2025-02-01", WHOLE)
    # from 200 m south it looks north along the west edge: a slice of 150 m and 60° that ends 50 m short of the unit
    short = [photo("a", 50, -200, "2025-01-10", 0.0), photo("b", 50, -200, "2025-06-10", 0.0)]
    assert asked(packet(tmp_path, cut, *short), "2.5 acres of the ground that counts are in no photo pair's view")
    # From the middle of its south edge it sees 30° to each side: these lines leave the unit 50 / tan 30° = 86.6 m up.
    near = [photo("a", 50, 0, "2025-01-10", 0.0), photo("b", 50, 0, "2025-06-10", 0.0)]
    seen_m2 = 86.6025 * 50 + 100 * (100 - 86.6025)  # the triangle up to there, and all above it
    left = (10_000 - seen_m2) / 4046.8564224
    assert asked(
        packet(tmp_path, cut, *near), f"{left:.1f} acres of the ground that counts are in no photo pair's view"
    )
    # one photo alone is no pair
    assert asked(packet(tmp_path, cut, near[0]), "2.5 acres of the ground that counts are in no photo pair's view")
    # without a direction it sees 50 m all round: half a circle of 3,927 m² lies in the unit
    around = [photo("a", 50, 0, "2025-01-10", None), photo("b", 50, 0, "2025-06-10", None)]
    assert asked(packet(tmp_path, cut, *around), "1.5 acres of the ground that counts are in no photo pair's view")


def test_reported_acres_days_outside_claims_and_slash_are_told(tmp_path: Path) -> None:
    far = packet(tmp_path, told("2025-02-01", WHOLE, reported_acres=3.0))
    assert asked(far, "Line 1: the acres that somebody wrote differ")
    assert not asked(packet(tmp_path, told("2025-02-01", WHOLE, reported_acres=2.5)), "somebody wrote differ")
    early = packet(tmp_path, told("2024-12-31", box(0, 0, 40, 100)), told("2025-02-01", box(40, 0, 100, 100)))
    assert asked(early, "Line 1 was done outside the item's days (2024-12-31); 1.0 acres of ground stand apart")
    assert not asked(far, "outside the item's days")
    assert asked(far, "2.5 acres of the ground that counts still hold felled cedar")
    burned = packet(tmp_path, told("2025-02-01", WHOLE), entry("burn", "2025-04-01", WHOLE))
    assert not asked(burned, "felled cedar")


@pytest.mark.poppler
def test_trees_that_stand_dead_are_cautioned_of_where_there_are_some(tmp_path: Path) -> None:
    killed, cut = tmp_path / "killed", tmp_path / "cut"
    for folder, practice in ((killed, "girdle"), (cut, "cut")):
        folder.mkdir()
        packet(folder, told("2025-02-01", WHOLE, practice=practice))
    words = SNAG_CAUTION[:40]
    assert words in pdf_words(killed / "p.pdf") and words not in pdf_words(cut / "p.pdf")


# --- one by one, without a file ------------------------------------------------------------------------------


def test_ground_is_a_whole_unit_s_where_units_cover_all_of_it_and_lie_in_it() -> None:
    def how(planar: object, **fields: object) -> str:
        line = entry("cut", "2025-02-01", planar, **fields)  # type: ignore[arg-type]
        assert line.patch is not None
        return _how(line, line.patch, UNITS)

    b = box(200, 0, 300, 100)
    assert how(WHOLE, acres_sd=0.1) == "walked" and how(WHOLE, acres_sd=0.0) == "walked"
    assert how(WHOLE) == how(WHOLE.union(b)) == how(b) == "whole"
    assert how(box(0, 0, 99, 100)) == how(box(0, 0, 101, 100)) == how(WHOLE.union(box(200, 0, 250, 100))) == "drawn"


def test_a_unit_drawn_again_is_the_same_to_a_billionth_of_its_ground() -> None:
    for over, is_whole in ((0.995e-9, True), (1.005e-9, False)):
        assert _is_covered(box(0, 0, 1, 1), box(0, 0, 1 - over, 1)) is is_whole
        assert _is_covered(box(0, 0, 1, 50), box(0, 0, 1, 50 - 50 * over)) is is_whole
    assert _is_covered(box(0, 0, 1e9, 1), box(0, 0, 1e9 - 1, 1))  # just a billionth
    assert _is_covered(box(0, 0, 1, 1), box(0, 0, 1, 1)) and _is_covered(box(0, 0, 1, 1), box(-5, -5, 9, 9))
    assert not _is_covered(box(-5, -5, 9, 9), box(0, 0, 1, 1))


def test_a_pair_shows_ground_of_an_item_where_it_has_a_later_photo_and_a_hundred_square_meters_in_view() -> None:
    def photo(direction_deg: float | None) -> Photo:
        return Photo(uuid="p", file_name="p", sha256="0", picture="p", taken_at=NOW, taken_on=NOW.date(),
                     geometry=GRID.to_lonlat(Point(0, 0)), direction_deg=direction_deg, direction_ref="T",
                     recorded_at=NOW)  # fmt: skip

    def seen(worked: object, *, has_after: bool = True, direction_deg: float | None = 0.0, grid: object = GRID) -> bool:
        before = photo(direction_deg)
        point: Any = SimpleNamespace(before=before, after=before if has_after else None)
        return _pair_view(point, worked, grid) is not None  # type: ignore[arg-type]

    # 50 m straight ahead, 30° to either side: a strip of 20 m by 5.05 m lies in it, one of 20 m by 4.95 m is too little
    assert seen(box(-10, 50, 10, 55.05)) and not seen(box(-10, 50, 10, 54.95))
    assert not seen(box(-10, 50, 10, 60), direction_deg=180.0) and seen(box(-10, -60, 10, -50), direction_deg=180.0)
    # without a direction 50 m all round: a hundred square meters to the last digit are enough
    plane = SimpleNamespace(to_grid=lambda shape: Point(0, 0))
    assert seen(box(0, 0, 10, 10), direction_deg=None, grid=plane)
    assert not seen(box(0, 0, 10, 9.999), direction_deg=None, grid=plane)
    assert not seen(box(-10, 50, 10, 60), has_after=False) and not seen(box(-10, 50, 10, 60), grid=None)


def test_ground_is_looked_at_by_a_look_on_the_day_of_its_first_treatment_or_later() -> None:
    treated = date(2025, 2, 1)
    for last_look, is_looked_at in (
        (None, False),
        (date(2025, 1, 31), False),
        (treated, True),
        (date(2025, 3, 1), True),
    ):
        assert _is_looked_at(GroundState(stage="down", first_treated=treated, last_look=last_look)) is is_looked_at
    assert _is_looked_at(GroundState(stage="standing")) is True
