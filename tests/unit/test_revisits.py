"""When photo points, plots and frames are due again, on squares worked by hand."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import count

import pytest
from fakes import GRID, FakeStore, entry, unit
from shapely import Point, box

from habmap.jobs.export_layers import due_again, revisits
from habmap.place.settings import Settings
from habmap.records import CoverFrame, Feature, Photo, Plot, Row
from habmap.show.handheld import due_words, waypoint_name, waypoint_words
from habmap.work.revisits import Revisit

NOW = datetime(2025, 1, 1, 12, tzinfo=UTC)
ON = date(2026, 6, 1)
UNITS = [unit("C1", box(0, 0, 100, 100)), unit("C2", box(100, 0, 200, 100))]
_numbers = count(1)


def at(x_m: float, y_m: float) -> Point:
    return GRID.to_lonlat(Point(x_m, y_m))


def photo(day: str, x_m: float, y_m: float, direction_deg: float | None, **more: object) -> Photo:
    taken = datetime.fromisoformat(f"{day}T18:00:00+00:00")
    number = next(_numbers)
    return Photo(
        uuid=f"p{number}", file_name=f"{number}.jpg", sha256=f"{number}", picture=f"{number}.jpg", taken_at=taken,
        taken_on=taken.date(), geometry=at(x_m, y_m), direction_deg=direction_deg,
        direction_ref=None if direction_deg is None else "T", recorded_at=NOW, **more,
    )  # type: ignore[arg-type]  # fmt: skip


def plot(plot_id: str, day: str | None, spot: Point | None, **more: object) -> Plot:
    measured = None if day is None else date.fromisoformat(day)
    content = {"uuid": f"plot{next(_numbers)}", "method": "fixed", "plot_acres": 0.05, "stems": 3, "recorded_at": NOW}
    return Plot(plot_id=plot_id, geometry=spot, measured_on=measured, **(content | more))  # type: ignore[arg-type]


def frame(name: str, day: str, spot: Point | None) -> CoverFrame:
    return CoverFrame(
        uuid=f"frame{next(_numbers)}", reading_id=day, frame=name, unit_id="C1", read_on=date.fromisoformat(day),
        geometry=spot, recorded_at=NOW,
    )  # fmt: skip


def found(*rows: Row, on: date = ON, audience: str = "owner", **settings: object) -> dict[str, Revisit]:
    store = FakeStore([*UNITS, *rows], settings=Settings.model_validate(settings), grid=GRID)
    return {f"{one.kind} {one.label}": one for one in revisits(store, on=on, audience=audience)}  # type: ignore[arg-type]


def test_a_photo_point_is_due_after_its_days_or_at_once_after_work_in_view() -> None:
    # It stands in C1's west edge and looks east over both units; work west of it is behind the camera.
    looks_east = [photo("2026-01-10", 0, 50, 90.0)]
    assert found(*looks_east)["photo 1"].due_on == date(2027, 1, 10)
    behind = entry("cut", "2026-03-01", box(-80, 0, -10, 100))
    assert found(*looks_east, behind)["photo 1"].due_on == date(2027, 1, 10)
    ahead = [entry("burn", "2026-04-05", box(40, 0, 90, 100)), entry("cut", "2026-03-05", box(100, 0, 140, 100))]
    due = found(*looks_east, behind, *ahead)["photo 1"]
    assert (due.due_on, due.why, due.work_on) == (date(2026, 3, 5), "work", date(2026, 3, 5))
    assert found(*looks_east, behind, *ahead, on=date(2026, 3, 4))["photo 1"].why == "days"  # not yet done that day
    # a photo taken since shows it: from then on the days count
    again = found(*looks_east, behind, *ahead, photo("2026-04-06", 1, 50, 92.0))["photo 1"]
    assert (again.last_on, again.due_on, again.why) == (date(2026, 4, 6), date(2027, 4, 6), "days")
    assert found(*looks_east, seasons={"photo_again_days": 30})["photo 1"].due_on == date(2026, 2, 9)


def test_a_plot_is_due_once_killing_work_came_over_it() -> None:
    inside, beside = at(20, 50), at(80, 50)
    work = entry("cut", "2025-11-03", box(0, 0, 50, 100))
    rows = [plot("A", "2025-09-01", inside), plot("B", "2025-09-01", beside), plot("C", None, beside), work]
    due = found(*rows)
    assert (due["plot A"].due_on, due["plot A"].why) == (date(2025, 11, 3), "work")
    assert (due["plot B"].due_on, due["plot B"].why) == (date(2025, 9, 1) + timedelta(days=1095), "days")
    assert (due["plot C"].due_on, due["plot C"].why, due["plot C"].unit_id) == (None, "no day", "C1")
    assert found(*rows, on=date(2025, 11, 2))["plot A"].why == "days"
    # of rows of one plot the last written counts; one measured after the day asked about does not
    assert found(plot("D", "2025-06-01", beside), plot("D", "2026-01-02", beside))["plot D"].last_on == date(2026, 1, 2)
    assert "plot D" not in found(plot("D", "2026-12-31", beside), on=date(2026, 12, 30))
    assert found(plot("D", "2026-12-30", beside), on=date(2026, 12, 30))["plot D"].last_on == date(2026, 12, 30)


def test_a_frame_is_one_spot_however_often_it_was_read() -> None:
    rows = [frame("1", "2024-09-17", at(30, 30)), frame("1", "2025-09-10", at(30, 30)), frame("2", "2024-09-17", None)]
    due = found(*rows)
    assert len(due) == 2
    assert due["frame 1"].due_on == date(2026, 9, 10) and due["frame 2"].lonlat is None
    store = FakeStore([*UNITS, *rows], grid=GRID)
    assert [one.label for one in due_again(store, on=ON)] == ["2"]
    assert [one.label for one in due_again(store, on=ON, within_days=101)] == ["2", "1"]
    assert [one.label for one in due_again(store, on=ON, within_days=100)] == ["2"]


@pytest.mark.parametrize("kind", ["photo", "plot", "frame"])
def test_nothing_near_a_private_place_is_for_the_public(kind: str) -> None:
    nest = Feature(uuid="n", kind="nest", name="", geometry=at(20, 20), recorded_at=NOW)
    near, far = at(60, 20), at(400, 20)
    rows: dict[str, list[Row]] = {
        "photo": [photo("2025-01-10", 60, 20, None), photo("2025-01-10", 900, 20, 90.0)],
        "plot": [plot("A", "2025-01-10", near), plot("B", "2025-01-10", far)],
        "frame": [frame("1", "2025-01-10", near), frame("2", "2025-01-10", far)],
    }
    assert len(found(*rows[kind], nest)) == 2
    told = found(*rows[kind], nest, audience="public")
    assert len(told) == 1
    (one,) = told.values()
    assert one.lonlat is not None and GRID.to_grid(Point(one.lonlat)).x > 300


def test_words_for_a_small_screen() -> None:
    one = found(photo("2025-01-10", 0, 50, 359.6))["photo 1"]
    assert waypoint_name(one) == "P1 C1 000T"
    assert waypoint_words(one, is_again=True) == (
        "Photo point 1 in C1. Look 000° true (north). Last seen Jan 10, 2025. Due from Jan 10, 2026 on."
    )
    assert due_words(found(plot("A", None, at(5, 5)))["plot A"]).startswith("Due: nobody wrote down")
