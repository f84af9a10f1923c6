"""Practice acres for the form, by hand-worked squares of 100 m."""

from __future__ import annotations

from datetime import date

import pytest
from fakes import GRID, FakeStore, entry, unit
from shapely import box

from habmap.errors import InputError
from habmap.jobs.export_practices import contract_dates, export_practices
from habmap.measures import M2_PER_ACRE
from habmap.place.settings import Settings
from habmap.records import Entry
from habmap.show.practice_table import PRACTICE_COLUMNS, practice_rows
from habmap.work.paperwork import applied_lines
from habmap.work.paperwork_records import APART, AppliedLine, Item, ItemTotal, Range, WorkedPiece, program_year
from habmap.work.practice_report import PracticesResult
from habmap.work.stages import GroundState

#: The unit has 10,000 m²; the left patch 6,000 of them, the right one 6,000, both 2,000, and 2,000 lie outside.
UNITS = [unit("C1", box(0, 0, 100, 100)), unit("C2", box(0, 200, 100, 300))]
LEFT, RIGHT, ALL = box(0, 0, 60, 100), box(40, 0, 120, 100), box(0, 0, 100, 100)
ITEM = {"program": "P", "item": "1", "practice_code": "314", "units": ["C1"]}


def report(
    *entries: Entry, items: list[dict[str, object]] | None = None, year: int | None = None, **more: object
) -> PracticesResult:
    settings = Settings.model_validate({"contract": items or [ITEM], **more})
    return export_practices(FakeStore([*UNITS, *entries], settings=settings, grid=GRID), year=year)


def only(result: PracticesResult, item: str = "1") -> AppliedLine:
    (line,) = [line for line in result.lines if line.item == item]
    return line


def m2(acres: float) -> float:
    return acres * M2_PER_ACRE


def columns_m2(line: AppliedLine) -> dict[str, float]:
    """Return every column that has ground, in square meters."""
    found = {name: round(m2(getattr(line, f"{name}_acres")), 3) for name in ("applied", *APART)}
    return {name: area for name, area in found.items() if area}


def test_ground_worked_twice_counts_once_and_stays_inside_the_unit() -> None:
    item = ITEM | {"planned_acres": 3.0, "rate": 100.0}
    result = report(entry("cut", "2026-01-05", LEFT), entry("cut", "2026-02-01", RIGHT), items=[item], year=2026)
    line = only(result)
    assert columns_m2(line) == {"applied": 10_000}
    assert m2(line.pass_acres) == pytest.approx(12_000)
    assert (line.first_date, line.last_date) == (date(2026, 1, 5), date(2026, 2, 1))
    (total,) = result.items
    assert total.short_acres == pytest.approx(3.0 - 10_000 / M2_PER_ACRE)
    assert total.payment == line.payment == pytest.approx(100 * 10_000 / M2_PER_ACRE)
    assert "short of the plan" in total.remarks[0]


def test_payment_stops_at_the_planned_acres_and_is_null_without_a_rate() -> None:
    item = ITEM | {"units": ["C1", "C2"], "planned_acres": 3.0, "rate": 100.0}
    work = (entry("cut", "2026-01-05", ALL), entry("cut", "2026-01-06", box(0, 200, 100, 300)))
    result = report(*work, items=[item])
    assert result.items[0].payment == pytest.approx(300.0)
    assert sum(line.payment or 0 for line in result.lines) == pytest.approx(300.0)
    assert result.items[0].remarks == ("1.9 acres beyond the planned ones are not paid",)  # 20,000 m² are 4.94 acres
    assert only(report(work[0])).payment is None


@pytest.mark.parametrize(
    ("practice", "killed_pct", "column"),
    [("girdle", 1.0, "below_target"), ("cut", 0.0, "below_target"), ("cut", 40.0, "below_target"),
     ("cut", 80.0, "applied"), ("cut", None, "applied"), ("spray", 100.0, "applied"), ("pull", None, "applied")],
)  # fmt: skip
def test_only_ground_at_its_target_is_applied(practice: str, killed_pct: float | None, column: str) -> None:
    result = report(entry(practice, "2026-01-05", ALL, killed_pct=killed_pct), items=[ITEM | {"rate": 100.0}])
    line = only(result)
    assert columns_m2(line) == {column: 10_000}
    assert line.payment == pytest.approx(100 * 10_000 / M2_PER_ACRE if column == "applied" else 0.0)
    assert result.items[0].payment == line.payment


def test_two_passes_reach_the_target_together() -> None:
    # 1 − 0.5 × 0.4 = 0.8 on the 2,000 m² of both; 0.5 and 0.6 alone fall short
    line = only(
        report(entry("cut", "2026-01-05", LEFT, killed_pct=50.0), entry("cut", "2026-02-01", RIGHT, killed_pct=60.0))
    )
    assert columns_m2(line) == {"applied": 2_000, "below_target": 8_000}


def test_work_outside_the_range_or_of_another_code_does_not_count() -> None:
    result = report(entry("cut", "2025-09-30", LEFT), entry("burn", "2026-02-01", RIGHT), year=2026)
    assert not [line for line in result.lines if line.item == "1"] and result.items[0].applied_acres == 0


def test_ground_cut_before_approval_and_logged_again_is_too_early_not_applied() -> None:
    item = ITEM | {"not_before": "2026-01-15", "rate": 100.0}
    work = (entry("cut", "2026-01-14", LEFT), entry("cut", "2026-01-20", ALL))
    line = only(report(*work, items=[item]))
    assert columns_m2(line) == {"applied": 4_000, "too_early": 6_000}
    assert line.payment == pytest.approx(100 * 4_000 / M2_PER_ACRE)
    assert line.remarks == (
        "1.5 acres were worked before 2026-01-15: work dated before it can forfeit payment; not counted here",
    )
    assert len(line.entry_ids) == 1  # the line inside the dates


def test_work_before_approval_that_fell_short_is_pointed_out_too() -> None:
    # 6,000 m² got 70% too early; 2,000 m² of them reach the target inside the dates, 4,000 m² never do
    item = ITEM | {"not_before": "2026-01-15"}
    early, later = entry("cut", "2026-01-14", LEFT, killed_pct=70.0), entry("cut", "2026-02-01", RIGHT)
    line = only(report(early, later, items=[item]))
    assert columns_m2(line) == {"applied": 6_000, "below_target": 4_000}
    assert "1.5 acres had some work before 2026-01-15: work dated before it can forfeit payment" in line.remarks
    assert not any("forfeit" in words for words in only(report(later, items=[item])).remarks)


def test_ground_at_target_before_the_report_or_by_fire_was_treated_before() -> None:
    again = report(entry("cut", "2025-01-05", LEFT), entry("cut", "2026-02-01", ALL), year=2026)
    assert columns_m2(only(again)) == {"applied": 4_000, "treated_before": 6_000}
    fire = report(entry("burn", "2026-01-05", LEFT, killed_pct=90.0), entry("cut", "2026-02-01", ALL))
    assert columns_m2(only(fire)) == {"applied": 4_000, "treated_before": 6_000}
    # a cut that fell short and a fire that did the rest: the cut did not bring it there
    short = report(entry("cut", "2026-01-05", ALL, killed_pct=50.0), entry("burn", "2026-02-01", ALL, killed_pct=80.0))
    assert columns_m2(only(short)) == {"below_target": 10_000}


def test_ground_finished_after_the_due_date_or_while_on_hold_stands_apart() -> None:
    late = report(entry("cut", "2026-03-02", ALL), items=[ITEM | {"due": "2026-03-01"}])
    assert columns_m2(only(late)) == {"late": 10_000}
    in_time = report(entry("cut", "2026-03-01", ALL), items=[ITEM | {"not_before": "2026-03-01", "due": "2026-03-01"}])
    assert (columns_m2(only(in_time)), only(in_time).remarks) == ({"applied": 10_000}, ())
    hold = {"unit": "C1", "reason": "nesting", "from": date(2026, 1, 1)}
    held = only(report(entry("cut", "2025-12-31", LEFT), entry("cut", "2026-05-01", RIGHT), hold=[hold]))
    assert columns_m2(held) == {"applied": 6_000, "on_hold": 4_000}
    assert held.remarks == ("1.0 acres were worked on 2026-05-01 although on hold: nesting; not counted here",)


def test_two_items_that_claim_one_unit_count_its_ground_once() -> None:
    first, second = ITEM | {"rate": 100.0, "due": "2026-02-01"}, ITEM | {"item": "2", "rate": 300.0}
    work = (entry("cut", "2026-01-05", LEFT), entry("cut", "2026-03-01", ALL))
    result = report(*work, items=[first, second])
    assert columns_m2(only(result, "1")) == {"applied": 6_000, "late": 4_000}
    assert columns_m2(only(result, "2")) == {"elsewhere": 6_000, "applied": 4_000}
    assert "claimed by P 1 and counted there" in only(result, "2").remarks[0]
    assert sum(line.applied_acres for line in result.lines) == pytest.approx(10_000 / M2_PER_ACRE)


def test_other_practices_count_ground_once_inside_the_dates() -> None:
    code = {"practice_code": "338", "not_before": "2026-01-01", "due": "2026-12-31"}
    items = [ITEM | code, ITEM | code | {"item": "2", "not_before": "2028-01-01", "due": "2028-12-31"}]
    work = (
        entry("burn", "2025-12-30", RIGHT), entry("burn", "2026-02-01", LEFT), entry("burn", "2026-02-02", LEFT),
        entry("burn", "2028-02-01", ALL),
    )  # fmt: skip
    result = report(*work, items=items)
    assert columns_m2(only(result, "1")) == {"applied": 6_000, "too_early": 4_000}
    assert m2(only(result, "1").pass_acres) == pytest.approx(12_000)
    # burned again two years on is that item's own work
    assert columns_m2(only(result, "2")) == {"applied": 10_000}


def test_work_outside_every_unit_is_pointed_out_with_its_acres() -> None:
    result = report(entry("cut", "2026-01-05", RIGHT), entry("cut", "2026-01-06", box(100, 0, 130, 100)))
    # 30 m by 100 m lie outside, 20 of them cut twice; 60 by 100 m inside: 0.741 and 1.483 acres
    assert result.remarks == ("0.7 acres of 314 lie outside every unit as now drawn and are not in this report",)
    assert m2(result.practice_acres) == pytest.approx(6_000)
    inside = report(entry("cut", "2026-01-05", ALL))
    assert inside.remarks == ()


def test_units_that_no_item_of_the_code_names_are_reported_beside_it() -> None:
    work = [entry("cut", "2026-01-05", box(0, 0, 100, 300))]
    lines = [(line.item, line.unit_id) for line in report(*work).lines]
    assert lines == [("1", "C1"), ("", "C2")]
    named = report(*work, items=[ITEM, ITEM | {"item": "2", "units": ["C2"]}])
    assert [(line.item, line.unit_id) for line in named.lines] == [("1", "C1"), ("2", "C2")]
    everywhere = report(*work, items=[ITEM | {"units": []}])
    assert [(line.item, line.unit_id) for line in everywhere.lines] == [("1", "C1"), ("1", "C2")]
    beside = report(*work, items=[ITEM | {"practice_code": "338"}])
    assert [(line.item, line.practice_code, line.unit_id) for line in beside.lines] == [
        ("", "314", "C1"), ("", "314", "C2"),
    ]  # fmt: skip


def test_a_contract_unit_that_is_not_on_the_map_is_said() -> None:
    assert (
        "not on the map"
        in report(entry("cut", "2026-01-05", ALL), items=[ITEM | {"units": ["C9"]}]).items[0].remarks[0]
    )


@pytest.mark.parametrize(
    ("year", "starts", "first", "last"),
    [
        (2026, "10-01", date(2025, 10, 1), date(2026, 9, 30)),
        (2026, "01-01", date(2026, 1, 1), date(2026, 12, 31)),
        (2024, "03-01", date(2023, 3, 1), date(2024, 2, 29)),
    ],
)
def test_program_year_is_named_after_the_year_it_ends_in(year: int, starts: str, first: date, last: date) -> None:
    assert program_year(year, starts=starts) == Range(first=first, last=last)


def test_the_printed_payment_is_the_rate_times_the_printed_acres() -> None:
    # 10,000 m² are 2.4711 acres and print as 2.5; 6,000 m² are 1.4826 and print as 1.5: 4.0 acres at 350 are 1,400.00,
    # where the measured 3.9537 would pay 1,383.79.
    item = ITEM | {"units": ["C1", "C2"], "rate": 350.0}
    work = (entry("cut", "2026-01-05", ALL), entry("cut", "2026-01-06", box(0, 200, 60, 300)))
    result = report(*work, items=[item])
    assert [(line.paper_acres, line.paper_payment) for line in result.lines] == [(2.5, 875.0), (1.5, 525.0)]
    assert (result.items[0].paper_acres, result.items[0].paper_payment) == (4.0, 1400.0)
    assert result.items[0].payment == pytest.approx(350 * 16_000 / M2_PER_ACRE)
    rows = practice_rows(result)
    columns = list(PRACTICE_COLUMNS)
    for row in rows[:2]:
        acres, payment = row[columns.index("applied_acres")], row[columns.index("payment")]
        assert payment == pytest.approx(350 * float(str(acres)))
    said = [str(row[0]) for row in rows[2:] if row]
    assert any("payment 1,400.00 USD for 4 acres" in words for words in said)
    assert any("the acres as they stand here" in words for words in said)
    # planned 3.0: 2.5 and what is left of the plan, 0.5
    capped = report(*work, items=[item | {"planned_acres": 3.0}])
    assert [line.paper_acres for line in capped.lines] == [2.5, 0.5]
    assert capped.items[0].paper_payment == 1050.0
    # a rate whose half cents no binary number holds: 400.05 × 2.5 = 1,000.125, × 1.5 = 600.075, × 4.0 = 1,600.20
    odd = report(*work, items=[item | {"rate": 400.05}])
    assert [line.paper_payment for line in odd.lines] == [1000.13, 600.08]
    assert odd.items[0].paper_payment == 1600.20  # and not 1,600.21: what stands there multiplies


def test_a_hair_of_a_neighbor_s_patch_is_no_work_in_the_unit() -> None:
    # the patch in C2 reaches a ten-thousandth of a millimeter, 1e-5 m², into C1, before the item of C1 began
    units = [unit("C1", box(0, 0, 100, 100)), unit("C2", box(0, 100, 100, 200))]
    lines = [
        entry("cut", "2025-03-01", box(0, 100 - 1e-7, 100, 150)),
        entry("cut", "2026-01-05", box(0, 0, 100, 100)),
    ]
    item = ITEM | {"not_before": "2026-01-01"}
    hold = {"unit": "C1", "reason": "nest", "from": "2025-02-01", "to": "2025-04-01"}
    settings = Settings.model_validate({"contract": [item], "hold": [hold]})
    result = export_practices(FakeStore([*units, *lines], settings=settings, grid=GRID))
    line = only(result)
    assert line.first_date == line.last_date == date(2026, 1, 5)
    assert line.entry_ids == (lines[1].entry_id,) and line.remarks == ()
    assert columns_m2(line) == {"applied": 10_000} and line.too_early_acres == line.on_hold_acres == 0.0
    assert [one.unit_id for one in result.lines] == ["C1", "C2"]
    # a patch that is small itself is work
    small = export_practices(
        FakeStore([*units, entry("pull", "2026-02-01", box(5, 5, 5.5, 5.5))], settings=settings, grid=GRID)
    )
    assert columns_m2(only(small)) == {"applied": 0.25}


def test_contract_items_with_what_was_applied_by_a_day_and_the_practices_that_they_pay() -> None:
    """LEFT has 6,000 m², RIGHT 6,000 in the unit, 2,000 of them in both; the second item's practice was not done."""
    other = {"program": "Q", "item": "7", "practice_code": "338", "units": ["C2"]}
    settings = Settings.model_validate({"contract": [ITEM, other]})
    rows = [entry("cut", "2026-01-05", LEFT), entry("cut", "2026-02-01", RIGHT)]

    def dates(*entries: Entry, on: date) -> list[tuple[str, float]]:
        store = FakeStore([*UNITS, *entries], settings=settings, grid=GRID)
        return [(one.item.program, round(m2(one.applied_acres))) for one in contract_dates(store, settings, on)]

    assert dates(*rows, on=date(2026, 2, 1)) == [("P", 10_000), ("Q", 0)]
    assert dates(*rows, on=date(2026, 1, 31)) == [("P", 6_000), ("Q", 0)]
    assert dates(*rows, on=date(2026, 1, 4)) == [("P", 0), ("Q", 0)]
    assert dates(on=date(2026, 2, 1)) == [("P", 0), ("Q", 0)]
    brush, burns = contract_dates(FakeStore(UNITS, settings=settings, grid=GRID), settings, date(2026, 2, 1))
    assert "cut" in brush.practices and "burn" not in brush.practices and burns.practices == {"burn"}


@pytest.mark.parametrize(
    ("rows", "asked", "what"),
    [
        ([], {}, "no work in the log"),
        ([("cut", "2026-01-05")], {"first": date(2026, 2, 1), "last": date(2026, 1, 31)}, "runs backwards"),
        ([("cut", "2026-01-05")], {"first": date(2026, 1, 6)}, "runs backwards"),
    ],
)
def test_a_report_of_no_work_or_no_days_is_refused(
    rows: list[tuple[str, str]], asked: dict[str, date], what: str
) -> None:
    settings = Settings.model_validate({"contract": [ITEM]})
    store = FakeStore([*UNITS, *(entry(practice, day, LEFT) for practice, day in rows)], settings=settings, grid=GRID)
    with pytest.raises(InputError, match=what):
        export_practices(store, **asked)  # type: ignore[arg-type]


def test_strangers_read_that_ground_was_on_hold_and_of_contracts_a_number_and_not_why() -> None:
    hold = {"unit": "C1", "reason": "owls", "from": date(2026, 1, 1), "to": date(2026, 1, 31)}
    settings = Settings.model_validate({"contract": [ITEM | {"program": "EQIP"}], "hold": [hold]})
    store = FakeStore([*UNITS, entry("cut", "2026-01-05", LEFT, who="M. Vale")], settings=settings, grid=GRID)
    owner, public = (repr(export_practices(store, audience=one)) for one in ("owner", "public"))  # type: ignore[arg-type]
    assert all(word in owner for word in ("on hold", "owls", "EQIP"))
    assert "on hold" in public and not any(word in public for word in ("owls", "EQIP", "M. Vale"))
    assert "were worked on 2026-01-05 although on hold; not counted here" in public


# --- columns, days and remarks at their limits ---------------------------------------------------------------


def test_which_line_brought_ground_to_its_target_decides_whose_it_is() -> None:
    """Half cut, then burned over the target, then cut again: the cut of the code fell short before the fire did it."""
    fire = entry("burn", "2026-02-01", ALL, killed_pct=80.0)
    half, again = entry("cut", "2026-01-05", ALL, killed_pct=50.0), entry("cut", "2026-03-01", ALL)
    assert columns_m2(only(report(half, fire, again))) == {"below_target": 10_000}
    assert columns_m2(only(report(fire, again))) == {"treated_before": 10_000}
    words = "were at target already, by work before this report's days or under another code"
    assert only(report(fire, again)).remarks == (f"2.5 acres {words}; not counted here",)
    assert only(report(half, fire)).remarks == ("2.5 acres are below the unit's target share killed; not counted here",)


def test_other_work_stands_by_its_days() -> None:
    item = ITEM | {"practice_code": "338", "not_before": "2026-02-01", "due": "2026-03-01"}
    for day, column in (
        ("2026-01-31", "too_early"), ("2026-02-01", "applied"), ("2026-03-01", "applied"), ("2026-03-02", "late"),
    ):  # fmt: skip
        assert columns_m2(only(report(entry("burn", day, ALL), items=[item]))) == {column: 10_000}
    early_and_late = (entry("burn", "2026-01-31", ALL), entry("burn", "2026-03-02", ALL))
    assert columns_m2(only(report(*early_and_late, items=[item]))) == {"too_early": 10_000}
    # on hold: all days of it are told, and ground that was worked on another day too is not
    hold = {"unit": "C1", "reason": "nesting", "from": date(2026, 2, 2), "to": date(2026, 2, 9)}
    held = [entry("burn", day, ALL) for day in ("2026-02-02", "2026-02-09")]
    line = only(report(*held, items=[item], hold=[hold]))
    assert (columns_m2(line), line.remarks) == (
        {"on_hold": 10_000},
        ("2.5 acres were worked on 2026-02-02, 2026-02-09 although on hold: nesting; not counted here",),
    )
    free = entry("burn", "2026-02-10", LEFT)
    assert columns_m2(only(report(*held, free, items=[item], hold=[hold]))) == {"applied": 6_000, "on_hold": 4_000}


def test_only_the_holds_of_those_days_on_that_unit_give_their_reasons() -> None:
    holds = [
        {"unit": unit_id, "reason": reason, "from": date(2026, month, 1), "to": date(2026, month, 28)}
        for unit_id, reason, month in (("C1", "nesting", 2), ("C1", "sale", 4), ("C1", "hay", 6), ("C2", "owls", 2))
    ]
    work = (entry("cut", "2026-02-05", LEFT), entry("cut", "2026-04-05", box(60, 0, 100, 100)))
    (words,) = only(report(*work, hold=holds)).remarks
    assert words == "2.5 acres were worked on 2026-02-05, 2026-04-05 although on hold: nesting, sale; not counted here"


def test_ground_with_some_work_too_early_is_told_however_little() -> None:
    """10 m by 20 m are 0.049 acre, by 21 m 0.052."""
    item = ITEM | {"not_before": "2026-01-15"}
    later = entry("cut", "2026-02-01", ALL)
    for north_m, words in ((20, "under 0.05 acre"), (21, "0.1 acres")):
        early = entry("cut", "2026-01-14", box(0, 0, 10, north_m), killed_pct=70.0)
        (told,) = only(report(early, later, items=[item])).remarks
        assert told == f"{words} had some work before 2026-01-15: work dated before it can forfeit payment"


def test_totals_pay_by_the_rate_and_tell_what_is_short_or_over_from_a_twentieth_of_an_acre() -> None:
    """A hectare is 2.4711 acres."""

    def total(planned: float | None, rate: float | None = None) -> ItemTotal:
        terms = {"planned_acres": planned, "rate": rate}
        item = ITEM | {name: value for name, value in terms.items() if value is not None}
        return report(entry("cut", "2026-01-05", ALL), items=[item], year=2026).items[0]

    assert (total(None).payment, total(None).paper_payment, total(None).short_acres) == (None, None, None)
    assert total(None, 100.0).payment == pytest.approx(247.105, abs=1e-3) and total(None, 100.0).paper_payment == 250.0
    assert (total(2.0, 100.0).payment, total(2.0, 100.0).short_acres) == (pytest.approx(200.0), 0.0)
    assert (total(2.0, 100.0).paper_acres, total(2.45, 100.0).paper_acres, total(9.0).paper_acres) == (2.0, 2.45, 2.5)
    short = "acres short of the plan within 2025-10-01 to 2026-09-30"
    assert total(2.522).remarks == (f"0.1 {short}",) and total(2.52).remarks == ()
    assert total(3.4711).short_acres == pytest.approx(1.0, abs=1e-4)
    beyond = "acres beyond the planned ones are not paid"
    assert total(2.42, 9.0).remarks == (f"0.1 {beyond}",) and total(2.422, 9.0).remarks == ()
    assert (total(2.444).paper_acres, total(2.446).paper_acres) == (2.44, 2.45)  # to a hundredth, as plans are written
    assert total(2.0).remarks == ()  # nothing is paid by the acre
    # the first unit takes all that is planned, and the second is paid nothing
    both = [ITEM | {"units": ["C1", "C2"], "planned_acres": 2.0, "rate": 100.0}]
    paid = report(entry("cut", "2026-01-05", ALL), entry("cut", "2026-01-06", box(0, 200, 60, 300)), items=both)
    assert [line.payment for line in paid.lines] == [200.0, 0.0] and paid.items[0].payment == 200.0
    assert [line.paper_acres for line in paid.lines] == [2.0, 0.0] and paid.items[0].paper_acres == 2.0


def test_a_line_names_its_days_its_ways_and_its_crews_once() -> None:
    who = [("Sam", "2026-02-01", "cut"), ("Ann", "2026-01-05", "girdle"), ("Sam", "2026-03-01", "cut")]
    work = [entry(practice, day, ALL, who=name, killed_pct=50.0) for name, day, practice in who]
    line = only(report(*work, entry("cut", "2026-03-05", LEFT)))
    assert (line.first_date, line.last_date) == (date(2026, 1, 5), date(2026, 3, 5))
    assert (line.method, line.crew, len(line.entry_ids)) == ("girdled, cut", "Ann, Sam", 4)
    assert m2(line.pass_acres) == pytest.approx(36_000)


def test_work_of_a_kind_that_a_code_does_not_count_is_told() -> None:
    """Burning under a code that also counts cedars killed; mowing under none."""
    work = (entry("cut", "2026-01-05", LEFT), entry("burn", "2026-02-01", ALL), entry("mow", "2026-03-01", ALL))
    codes = {"codes": {"cut": "314", "burn": "314"}}
    told = report(*work, **codes).remarks
    assert any(words.startswith("work of the kind") and "no practice code" in words for words in told)
    assert not any("under 314" in words for words in told)
    piled = report(entry("cut", "2026-01-05", LEFT), entry("pile", "2026-02-01", ALL),
                    codes={"cut": "314", "pile": "314"}).remarks  # fmt: skip
    assert any("ground piled under 314 is not counted: that code counts" in words for words in piled)
    assert report(entry("cut", "2026-01-05", LEFT), codes={"cut": "314", "pile": "314"}).remarks == ()


def test_a_piece_without_ground_gives_a_line_nothing() -> None:
    cut = entry("cut", "2026-01-05", ALL)
    state = GroundState(stage="down")

    def lines(*acres: float) -> list[tuple[float, int]]:
        pieces = [WorkedPiece(unit_id="C1", acres=one, entry_ids=(cut.entry_id,), state=state) for one in acres]
        item = Item(program="P", item="1", practice_code="314", units=("C1",))
        found = applied_lines([item], entries=[cut], pieces=pieces, units=["C1"], codes={"cut": "314"},
                              span=Range(first=date(2026, 1, 1), last=date(2026, 12, 31)), holds=[])  # fmt: skip
        return [(line.below_target_acres, len(found.ground[0].columns)) for line in found.lines]

    assert lines(0.0) == [] and lines(0.0, 0.5) == [(0.5, 1)] and lines(0.25, 0.5) == [(0.75, 2)]
