"""What two records say differently: the one comparison behind loading again, uniting and check."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import shapely
from fakes import FakeStore, entry, unit
from shapely import MultiPolygon, Point, box

from habmap.jobs.check import check
from habmap.records import BurnRecord, Look, Plot, differences

SQUARE = box(0, 0, 100, 100)
NOW = datetime(2026, 3, 1, tzinfo=UTC)
PLOT = Plot(uuid="p", plot_id="1", method="fixed", plot_acres=0.1, stems=12, geometry=Point(-98, 38), recorded_at=NOW)


def test_an_outline_is_the_same_from_whatever_corner_and_whichever_way_round() -> None:
    stand = unit("C1", SQUARE)
    (part,) = stand.geometry.geoms
    corners = list(part.exterior.coords)[:-1]
    for turned in (corners[2:] + corners[:2], corners[::-1]):
        again = replace(stand, geometry=MultiPolygon([shapely.Polygon(turned)]), recorded_at=NOW, valid_to=date.max)
        assert differences(stand, again) == ()
    (one,) = differences(stand, unit("C1", box(0, 0, 100, 99), uuid=stand.uuid, name=stand.name))
    assert (one.key, one.words) == ("geometry", "another outline")


def test_a_number_that_went_through_a_spreadsheet_is_the_same_and_the_next_digit_is_not() -> None:
    kept = 0.1 + 0.2  # 17 digits; a spreadsheet keeps 15 of them
    assert differences(replace(PLOT, plot_acres=kept), replace(PLOT, plot_acres=0.3)) == ()
    (one,) = differences(replace(PLOT, plot_acres=0.3), replace(PLOT, plot_acres=0.300000000001))
    assert one.words == "plot_acres 0.3, before 0.300000000001"


def test_each_part_of_a_record_within_and_each_own_column_is_told_by_itself() -> None:
    look = entry("checkup", "2026-05-01", SQUARE, look=Look(tallest_ft=4.0, needles="red"))
    (one,) = differences(look, replace(look, look=Look(tallest_ft=5.0, needles="red")))
    assert one.words == "tallest_ft 4.0, before 5.0"
    stand = unit("C1", SQUARE, extra={"soil": "loam", "owner": "A"})
    (one,) = differences(replace(stand, extra={"soil": "clay", "owner": "A"}), stand)
    assert one.words == "soil clay, before loam"


def test_nothing_said_and_rows_from_before_they_said_what_they_supersede() -> None:
    burn = BurnRecord(uuid="b", entry_id="e", rh_pct=40.0, recorded_at=NOW)
    (one,) = differences(None, burn, besides=("uuid", "entry_id"))
    assert one.words == "rh_pct blank, before 40.0"
    assert differences(None, None) == ()
    assert differences(PLOT, replace(PLOT, supersedes=("x",))) == ()
    assert [one.key for one in differences(replace(PLOT, supersedes=()), replace(PLOT, supersedes=("x",)))] == [
        "supersedes"
    ]
    assert differences(replace(PLOT, distances_m=()), replace(PLOT, stratum=None)) == ()


def test_check_names_numbers_out_of_the_range_that_loading_goes_by() -> None:
    store = FakeStore([unit("C1", SQUARE, canopy_pct=140.0), replace(PLOT, stems=-1)])
    told = {
        (fault.where, fault.what) for fault in check(store, today=date(2026, 4, 1)).faults if fault.rule == "number"
    }
    assert told == {
        ("unit C1", "crown cover is 140%, not 0 to 100%"),
        ("plot 1", "stems is -1, not a whole number, 0 to 100,000"),
    }
