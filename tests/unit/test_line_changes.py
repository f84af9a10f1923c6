"""What a new line changes, what was said today, and whose work rests on a line: strips of a hectare by hand [m²]."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from fakes import GRID, entry, unit
from shapely import MultiPolygon, Point, Polygon, box

from habmap.errors import InputError, UsageError
from habmap.measures import M2_PER_ACRE
from habmap.records import BurnRecord, Entry
from habmap.records.said import BurnSaid, Said
from habmap.vocabulary import FIRE_CAUTION, LABEL_CAUTION, SAW_CAUTION
from habmap.work.acres import Paper, acre_account
from habmap.work.ground import cut_ground
from habmap.work.ledger import corrections, effective_entries
from habmap.work.logged import Changes, changes_by, said_today
from habmap.work.unit_shares import Covered, shares, whole_ground
from habmap.work.withdrawal import Dependent, ask_dependents, corrected, dependent_lines, taken_out

LIMITS: Any = SimpleNamespace(target_pct=80.0, leave_stems_per_acre=25.0)
A, B, C = (unit(name, box(x, 0, x + 100, 100)) for name, x in (("A", 0), ("B", 100), ("C", 300)))
UNITS = (A, B, C)
BOW = ((0, 0), (100, 100), (100, 0), (0, 100))


def strip(practice: str, day: str, west: float, east: float, **fields: Any) -> Entry:
    return entry(practice, day, box(west, 0, east, 100), **fields)


def amend(line: Entry, west: float, east: float, **fields: Any) -> Entry:
    return strip(line.practice, str(line.date), west, east, action="amend", target=line.entry_id, why="w", **fields)


def void(line: Entry, **fields: Any) -> Entry:
    return entry("other", "2025-12-01", action="void", target=line.entry_id, why="w", **fields)


def changes(new: Entry, *rows: Entry) -> Changes:
    cut = cut_ground(UNITS, effective_entries(rows), grid=GRID, limits=LIMITS)
    account = acre_account(cut, paper=Paper())
    return changes_by(new, rows=rows, units=UNITS, grid=GRID, limits=LIMITS, account=account)


def near(*m2: float) -> Any:
    return pytest.approx([one / M2_PER_ACRE for one in m2], rel=2e-6, abs=1e-7)


def by_unit(found: Changes) -> dict[str, Any]:
    return {one.unit_id: [one.treated_before_acres, one.treated_after_acres] for one in found.units}


#: Of A 2,000 m² lie cut, 1,000 are kept; of C 3,000 stand dead.
ROWS = (
    strip("cut", "2025-01-01", 0, 20), strip("keep", "2025-01-02", 90, 100),
    strip("girdle", "2025-01-03", 300, 330, killed_pct=90),
)  # fmt: skip


def test_a_line_along_a_unit_s_mile_long_side_changes_what_it_covers_in_the_grid() -> None:
    """That side bends north of its parallel by 4 cm in its middle: L²/8R × tan 38° = 1609²/(8 × 6.37e6) × 0.78."""
    lat, half = 38.0, 0.0092  # 1,609 m are 0.0184° of longitude there
    own = replace(A, geometry=MultiPolygon([box(-98 - half, lat - 0.01, -98 + half, lat)]))
    patch = MultiPolygon([box(-98.0005, lat + 1e-8, -97.9995, lat + 0.0002)])
    assert not own.geometry.intersects(patch)
    new = replace(strip("cut", "2025-02-01", 0, 1), patch=patch)
    account = acre_account(cut_ground((own,), (), grid=GRID, limits=LIMITS), paper=Paper())
    for rows in ((), (replace(new, entry_id="before", practice="seed"), entry("seed", "2025-01-01"))):
        found = changes_by(new, rows=rows, units=(own,), grid=GRID, limits=LIMITS, account=account)
        whole = acre_account(cut_ground((own,), (*rows, new), grid=GRID, limits=LIMITS), paper=Paper()).totals
        assert found.treated_after_acres == whole.treated_acres == pytest.approx(88 * 0.04 / M2_PER_ACRE, rel=0.1)


def test_a_new_line_s_changes_are_of_the_whole_property_and_of_the_units_it_changes() -> None:
    found = changes(strip("cut", "2025-02-01", 10, 110), *ROWS)
    assert [found.treated_before_acres, found.treated_after_acres] == near(5000, 5000 + 8000 - 1000 + 1000)
    assert [found.remaining_after_acres, found.keep_after_acres] == near(30_000 - 13_000 - 1000, 1000)
    assert [found.cedar_acres, found.already_treated_acres] == near(30_000, 1000)
    assert by_unit(found) == {"A": near(2000, 9000), "B": near(0, 1000)}
    # on ground that is treated already it changes nothing
    again = changes(strip("cut", "2025-02-01", 0, 20), *ROWS)
    assert [again.treated_after_acres, again.already_treated_acres] == near(5000, 2000) and again.units == ()
    kept = changes(strip("keep", "2025-02-01", 100, 140), *ROWS)
    assert [kept.keep_after_acres, kept.remaining_after_acres, kept.treated_after_acres] == near(5000, 20_000, 5000)
    assert kept.units == ()
    bare = changes(entry("cut", "2025-02-01"), *ROWS)
    assert [bare.treated_after_acres, bare.already_treated_acres] == near(5000, 0) and bare.units == ()


def test_a_correction_changes_the_ground_it_leaves_and_the_ground_it_takes() -> None:
    moved = changes(amend(ROWS[0], 150, 160), *ROWS)
    assert by_unit(moved) == {"A": near(2000, 0), "B": near(0, 1000)}
    assert [moved.treated_after_acres, moved.already_treated_acres] == near(4000, 0)
    # its own line is no rest of the log: only the girdled ground was treated without it
    wider = changes(amend(ROWS[0], 0, 330), *ROWS)
    assert [wider.already_treated_acres, wider.treated_after_acres] == near(3000, 23_000)
    # (what was to be left was cut the day before it was said)
    assert by_unit(wider) == {"A": near(2000, 10_000), "B": near(0, 10_000)}
    # nor is what a line withdrawn since had done
    gone = changes(strip("cut", "2025-03-01", 0, 30), *ROWS, void(ROWS[0]))
    assert [gone.treated_before_acres, gone.treated_after_acres, gone.already_treated_acres] == near(3000, 6000, 0)
    lifted = changes(void(ROWS[0]), *ROWS)
    assert by_unit(lifted) == {"A": near(2000, 0)} and lifted.already_treated_acres == 0


def test_cautions_told_today_are_those_of_lines_typed_in_on_the_place_s_day() -> None:
    zone, today = ZoneInfo("America/Chicago"), date(2026, 5, 1)
    at = {name: datetime(2026, 5, day, hour, tzinfo=UTC) for name, day, hour in (
        ("evening before", 1, 4), ("morning", 1, 13), ("night", 2, 4), ("after", 2, 6))}  # fmt: skip
    said = (SAW_CAUTION, FIRE_CAUTION)

    def told(when: str, practice: str = "cut", **fields: Any) -> list[tuple[str, int]]:
        old = strip("mow", "2026-01-01", 0, 9)
        row = replace(strip(practice, "2026-04-30", 0, 9, **fields), recorded_at=at[when])
        return [(one.caution, one.number) for one in said_today(said, [old, row], today=today, zone=zone)]

    assert [told(when) for when in at] == [[], [(SAW_CAUTION, 2)], [(SAW_CAUTION, 2)], []]
    assert told("morning", "burn") == [(FIRE_CAUTION, 2)]
    assert told("morning", source_id="7") == [] == told("morning", action="amend", target="nobody")
    # of two lines the later one is named
    two = [replace(strip("cut", "2026-04-30", 0, 9), recorded_at=at[when]) for when in ("morning", "night")]
    assert [one.number for one in said_today(said, two, today=today, zone=zone)] == [2]
    sprayed = replace(strip("spray", "2026-04-30", 0, 9, killed_pct=90), recorded_at=at["morning"])
    assert [one.caution for one in said_today((LABEL_CAUTION,), [sprayed], today=today, zone=zone)] == [LABEL_CAUTION]


# --- whose work rests on a line ------------------------------------------------------------------------------

BOB = strip("cut", "2025-03-01", 0, 50, who="Bob")


def dependents(*rows: Entry, then: tuple[Entry, ...], entry_id: str = BOB.entry_id) -> tuple[Dependent, ...]:
    return dependent_lines(rows, then, entry_id=entry_id, units=UNITS, grid=GRID, limits=LIMITS)


def rests(*rows: Entry, gone: Entry = BOB) -> list[tuple[str, str, float]]:
    """Tell what rests on a line that would be withdrawn: who, what, on how many m²."""
    found = dependents(*rows, then=(*rows, void(gone)), entry_id=gone.entry_id)
    return [(one.who, one.practice, round(one.acres * M2_PER_ACRE)) for one in found]


@pytest.mark.parametrize(
    ("line", "told"),
    [
        (strip("pile", "2025-05-01", 20, 120, who="Ann"), [("Ann", "pile", 3000)]),
        (strip("burn", "2025-05-01", 0, 300, who="Ann"), [("Ann", "burn", 5000)]),
        (strip("pile", "2025-03-01", 0, 50, who="Ann"), [("Ann", "pile", 5000)]),  # the same day, later in its order
        (strip("pile", "2025-02-28", 0, 50, who="Ann"), []),  # done before there was anything cut
        (strip("pile", "2025-05-01", 0, 50, who=None), []),
        (strip("pile", "2025-05-01", 0, 50, who=" BOB  "), []),
        (strip("pile", "2025-05-01", 50.5, 90, who="Ann"), []),
        (entry("pile", "2025-05-01", who="Ann"), []),
        (strip("seed", "2025-05-01", 0, 50, who="Ann"), []),  # it changes no stage
        (strip("pile", "2025-05-01", 49.797, 90, who="Ann"), [("Ann", "pile", 20)]),  # a 200th of an acre is 20.23 m²
        (strip("pile", "2025-05-01", 49.81, 90, who="Ann"), []),
    ],
)
def test_whose_work_rests_on_a_cut(line: Entry, told: list[tuple[str, str, float]]) -> None:
    assert rests(BOB, line) == told
    assert rests(line, BOB) == told


def test_work_that_stands_without_the_line_rests_on_nothing_of_it() -> None:
    """Ann piled 50 m; the western 30 had been cut by Cal too, who came before or after Bob."""
    pile = strip("pile", "2025-05-01", 0, 50, who="Ann")
    for day in ("2025-02-01", "2025-04-01"):
        cal = strip("cut", day, 0, 30, who="Cal")
        assert rests(BOB, cal, pile) == [("Ann", "pile", 2000)]
    # nobody's line is nobody's, and a line without ground or that counts no more carries nothing
    bare = replace(BOB, who=None)
    assert rests(bare, pile, gone=bare) == [("Ann", "pile", 5000)]
    assert rests(replace(BOB, patch=None), pile) == []
    assert dependents(BOB, void(BOB), pile, then=(pile,)) == ()
    assert dependents(pile, then=(pile,)) == ()
    # of two that rest on it each is told, with the number of its own line
    fire = strip("pile_burn", "2025-06-01", 10, 50, who="Dee")
    found = dependents(BOB, pile, fire, then=(BOB, pile, fire, void(BOB)))
    assert [(one.number, one.entry_id, one.date) for one in found] == [
        (2, pile.entry_id, date(2025, 5, 1)), (3, fire.entry_id, date(2025, 6, 1)),
    ]  # fmt: skip
    assert [one.acres for one in found] == near(5000, 4000)
    assert found[0].words == "Ann piled 1.24 acres on 2025-05-01 (line 2)"


def test_others_are_asked_about_in_one_question_and_nobody_about_nothing() -> None:
    one = Dependent("e", 2, "Ann", "pile", date(2025, 5, 1), 1234.5)
    asked: list[str] = []
    ask_dependents([one, replace(one, who="Dee", number=3)], agree=lambda words: asked.append(words) or True)  # type: ignore[func-returns-value]
    assert asked == [
        "other people's work rests on this: Ann piled 1,234.50 acres on 2025-05-01 (line 2); "
        "Dee piled 1,234.50 acres on 2025-05-01 (line 3); it would count for nothing there"
    ]
    ask_dependents([], agree=lambda words: False)
    with pytest.raises(InputError, match="rests on this"):
        ask_dependents([one], agree=lambda words: False)


# --- a correction's row --------------------------------------------------------------------------------------


def test_a_correction_takes_new_ground_with_all_that_is_of_it() -> None:
    line = strip("cut", "2025-03-01", 0, 50, acres_sd=0.3, unit_ids=("A",), person_hours=5.0)
    (found,) = corrections([line])

    def row(covered: Covered | None, said: Said | None = None) -> Entry:
        now = datetime(2026, 1, 1, tzinfo=UTC)
        return corrected(found, said or Said(), now=now, why="w", practice=None, date=None, covered=covered)

    kept, moved = row(None), row(Covered(patch=B.geometry, day=date(2020, 1, 1), unit_ids=("B",)))
    assert (kept.acres_sd, kept.unit_ids, kept.patch) == (0.3, ("A",), line.patch)
    assert (moved.acres_sd, moved.unit_ids, moved.patch, moved.person_hours) == (None, ("B",), B.geometry, 5.0)
    assert moved.date == line.date  # the day of the work is another's to say
    assert row(None, Said(person_hours=7.0)).person_hours == 7.0
    assert (kept.why, kept.supersedes, kept.entry_id != line.entry_id) == ("w", (), True)


def test_what_is_taken_out_is_named_by_its_option_or_its_name() -> None:
    burn = strip("burn", "2025-03-01", 0, 50, person_hours=5.0, cost=9.0, product_rate="2 qt")
    record = BurnRecord(uuid="r", entry_id=burn.entry_id, temp_f=60.0, recorded_at=burn.recorded_at)

    def out(*names: str, said: Said | None = None, told: BurnSaid | None = None, with_burn: bool = True) -> list[str]:
        return [
            one.name
            for one in taken_out(
                names, content=burn, burn=record if with_burn else None, said=said or Said(), told=told or BurnSaid()
            )
        ]

    # in the order of the records, each once, however written
    assert out("cost", "--person-hours", " person_hours ") == ["person_hours", "cost"]
    assert out("temp_f", "cost") == ["cost", "temp_f"] and out() == []
    # the option of a product's rate is another word than its name
    assert out("rate") == out("--rate") == out("product_rate") == ["product_rate"]
    for name in ("practice", "date", "nonsense", ""):
        with pytest.raises(UsageError, match="nothing of this name"):
            out(name)
    for names, said, told in ((("cost",), Said(cost=1.0), None), (("temp_f",), None, BurnSaid(temp_f=50.0))):
        with pytest.raises(UsageError, match="corrected and taken out at once"):
            out(*names, said=said, told=told)
        assert out("person-hours", said=said, told=told) == ["person_hours"]
    with pytest.raises(InputError, match="says nothing of its"):
        out("rh_pct")
    with pytest.raises(InputError, match="says nothing of its"):
        out("temp_f", with_burn=False)


# --- in which units it lies ----------------------------------------------------------------------------------


def test_shares_of_a_patch_are_named_from_a_hundredth_of_a_square_meter() -> None:
    patch = strip("cut", "2025-01-01", 50, 320).patch
    assert patch is not None
    found, outside = shares(patch, UNITS, grid=GRID)
    assert [one.unit_id for one in found] == ["A", "B", "C"]
    assert [one.acres for one in found] == near(5000, 10_000, 2000)
    assert outside * M2_PER_ACRE == pytest.approx(10_000, rel=1e-5)
    for width_m, named in ((9e-5, []), (1.1e-4, ["B"])):  # by 100 m
        edge = strip("cut", "2025-01-01", 50, 100 + width_m).patch
        assert edge is not None
        assert [one.unit_id for one in shares(edge, [B], grid=GRID)[0]] == named
    away = strip("cut", "2025-01-01", 500, 510).patch
    assert away is not None
    assert shares(away, UNITS, grid=GRID) == ((), pytest.approx(1000 / M2_PER_ACRE, rel=1e-5))
    assert shares(away, (), grid=GRID)[1] == pytest.approx(1000 / M2_PER_ACRE, rel=1e-5)
    # of an outline that crosses itself either loop counts: two triangles of a quarter of the square
    bow = replace(A, geometry=MultiPolygon([Polygon([GRID.to_lonlat(Point(at)).coords[0] for at in BOW])]))
    (half,), outside = shares(A.geometry, [bow], grid=GRID)
    assert [half.acres, outside] == near(5000, 5000)


def test_the_ground_of_whole_units_is_theirs_vertex_for_vertex() -> None:
    assert whole_ground(["A", "A"], UNITS).wkb == A.geometry.wkb
    parts = replace(A, geometry=MultiPolygon([Polygon([(1, 1), (1, 0.3), (0, 0), (0, 1)]), box(5, 5, 6, 6)]))
    assert whole_ground(["A"], [parts]).wkb == parts.geometry.wkb
    redrawn = replace(A, geometry=C.geometry)
    assert whole_ground(["A"], [A, redrawn]).wkb == C.geometry.wkb
    both = whole_ground(["B", "A"], UNITS)
    assert GRID.to_grid(both).area == pytest.approx(20_000, rel=1e-6) and both.geom_type == "MultiPolygon"
    for names in (["A", "Z"], []):
        with pytest.raises(InputError):
            whole_ground(names, UNITS)
