"""What `check` finds, one planted fault at a time, on squares of a hectare."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from fakes import GRID, FakeStore, entry, unit
from shapely import MultiPolygon, Polygon, box

from habmap.jobs.check import check
from habmap.measures import M2_PER_ACRE
from habmap.place.settings import Settings
from habmap.records import Feature, Plot, Row
from habmap.work.checks.looked_at import Fault

TODAY = date(2026, 6, 1)
NOW = datetime(2026, 1, 1, tzinfo=UTC)
A, B = unit("A", box(0, 0, 100, 100), uuid="a"), unit("B", box(100, 0, 200, 100), uuid="b")
WEST = box(0, 0, 50, 100)


def found(*rows: Row, settings: dict[str, object] | None = None) -> list[Fault]:
    store = FakeStore([A, B, *rows], grid=GRID, settings=Settings.model_validate(settings or {}))
    return list(check(store, today=TODAY).faults)


def only(*rows: Row, settings: dict[str, object] | None = None) -> Fault:
    (fault,) = found(*rows, settings=settings)
    return fault


def test_a_sound_place_has_no_fault() -> None:
    assert found(entry("keep", "2026-01-05", WEST), entry("cut", "2026-06-01", box(50, 0, 100, 100))) == []


def test_lines_that_cannot_be_are_named_with_their_number() -> None:
    fine = entry("cut", "2026-01-05", WEST)
    no_share = found(fine, entry("girdle", "2026-01-06", WEST))[0]
    assert (no_share.rule, no_share.number) == ("practice", 2)
    assert no_share.what == "`girdle` does not say what share it killed" and "--killed-pct" in no_share.mend
    assert found(fine, entry("girdle", "2026-01-06", WEST, killed_pct=0.0)) == []
    assert (
        found(entry("cut", "2026-01-05", WEST), settings={"place": {"cedar": "redberry juniper"}})[0].rule == "practice"
    )
    strange = [fault for fault in found(entry("chip", "2026-01-06", WEST)) if fault.rule == "practice"]
    assert [fault.what for fault in strange] == ["the practice 'chip' is not known"]
    late = only(entry("cut", "2026-06-02", WEST))
    assert (late.rule, late.what) == ("date", "2026-06-02 is after today, 2026-06-01")
    (share,) = [one for one in found(entry("girdle", "2026-01-06", WEST, killed_pct=101.0)) if one.rule == "number"]
    assert share.number == 1


def test_ground_outside_every_unit_crossed_or_missing_is_found() -> None:
    outside = only(entry("cut", "2026-01-05", box(0, 500, 100, 600)))
    assert outside.rule == "patch"
    assert outside.what == f"all {10_000 / M2_PER_ACRE:,.2f} acres of it lie outside every unit"
    assert found(entry("cut", "2026-01-05", box(0, 90, 100, 600))) == []
    assert only(entry("cut", "2026-01-05", None)).what == "its ground is missing or crosses itself"


def test_work_on_ground_left_on_purpose_is_found_with_its_acres() -> None:
    keep, work = entry("keep", "2026-01-05", WEST), entry("cut", "2026-01-06", box(40, 0, 100, 100))
    fault = only(keep, work)
    acres = 10 * 100 / M2_PER_ACRE
    assert (fault.rule, fault.what) == ("keep", f"`cut` on 2026-01-06 covers {acres:,.2f} acres left on purpose")
    # what was done before it was left is no fault, nor is looking at it
    assert found(keep, replace(work, date=date(2026, 1, 4)), entry("checkup", "2026-02-01", WEST)) == []


def test_reported_acres_far_from_the_ground_are_asked_about_until_confirmed() -> None:
    line = entry("cut", "2026-01-05", WEST, reported_acres=2.5)
    fault = only(line)
    assert (fault.rule, fault.number) == ("reported", 1)
    assert "--reported-acres 2.5 --yes" in fault.mend and "habmap correct 1 " in fault.mend
    assert found(replace(line, is_sure=True)) == []


def test_units_that_cannot_be_are_found() -> None:
    # B begins half a meter within A: 50 m² in two units
    over = only(unit("C", box(99.5, 100, 150, 200), uuid="c"), unit("D", box(149.5, 100, 200, 200), uuid="d"))
    assert (over.rule, over.where) == ("overlap", "units C and D")
    assert f"they share {50 / M2_PER_ACRE:,.3f} acres" in over.what and "(0.50 m)" in over.what
    twice = [one for one in found(unit("A", box(0, 500, 100, 600), uuid="x")) if one.rule == "unit_id"]
    assert [(one.where, one.what) for one in twice] == [("unit A", "2 versions of this unit hold at the same time")]
    assert only(unit(" ", box(0, 500, 100, 600))).what == "a unit has no unit_id"
    lone = only(unit("C", box(0, 500, 100, 600), replaces=("nobody",), valid_from=date(2026, 1, 1)))
    assert (lone.rule, lone.what) == ("unit_id", "it follows a version that is not here")


def test_an_outline_that_crosses_itself_is_found() -> None:
    bow = unit("C", Polygon([(0, 500), (100, 600), (100, 500), (0, 600)]))
    (fault,) = [one for one in found(bow) if one.rule == "outline"]
    assert (fault.where, fault.what.partition(":")[0]) == ("unit C", "the outline is not usable")


def test_acres_that_differ_from_the_ellipsoid_s_are_found() -> None:
    """An edge of 400 km is straight in the grid and another line than the shortest one on the ellipsoid."""
    wide = unit("C", box(-200_000, 200_000, 200_000, 200_100))
    flat = MultiPolygon([Polygon([(-100, 39.0), (-96, 39.0), (-96, 39.001), (-100, 39.001)])])
    faults = [one for one in found(replace(wide, geometry=flat)) if one.rule == "area"]
    assert [one.where for one in faults] == ["unit C"] and "planar and geodesic acres differ" in faults[0].what


def test_settings_that_name_units_which_are_not_here_are_found() -> None:
    hold = {"unit": "Z", "reason": "nest", "from": "2026-01-01"}
    fault = only(settings={"hold": [hold]})
    assert (fault.rule, fault.what) == ("settings", "it names the unit 'Z', which is not here")
    # a unit that was split goes for what it became
    split = [unit(name, box(x, 0, x + 50, 100), uuid=name, replaces=("a",), valid_from=date(2026, 2, 1))
             for name, x in (("A1", 0), ("A2", 50))]  # fmt: skip
    gone = only(*split, settings={"hold": [hold | {"unit": "A"}]})
    assert gone.what == "it names the unit 'A', which is not here; it goes for A1, A2 now"


def test_covers_and_kinds_that_are_not_known_and_numbers_out_of_range_are_found() -> None:
    (cover,) = [one for one in found(unit("C", box(0, 500, 100, 600), cover="forest")) if one.rule == "cover"]
    assert cover.where == "unit C" and "'forest' is not known" in cover.what
    barn = Feature(uuid="f1", kind="palace", name="", geometry=GRID.to_lonlat(box(0, 0, 1, 1)), recorded_at=NOW)
    assert [one.where for one in found(barn) if one.rule == "cover"] == ["feature f1"]
    plot = Plot(uuid="p", plot_id="7", method="fixed", unit_id="A", plot_acres=0.1, stems=-1, measured_on=None,
                geometry=None, recorded_at=NOW)  # fmt: skip
    assert [(one.rule, one.where) for one in found(plot)] == [("number", "plot 7")]


@pytest.mark.parametrize("days", [1, 0])
def test_a_version_that_ends_before_it_begins_is_found(days: int) -> None:
    store = FakeStore([A, B], grid=GRID)
    begins = date(2026, 1, 1 + days)
    store._rows[0] = replace(A, valid_from=begins, valid_to=date(2026, 1, 1), replaces=())
    faults = [one.what for one in check(store, today=TODAY).faults if one.rule == "unit_id"]
    assert faults == ([f"a version ends on 2026-01-01, before it begins on {begins}"] if days else [])
