"""Revisits, looks since the first work, photo views, plots' words and what is said, each rule at its limit by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from itertools import count, pairwise
from types import SimpleNamespace
from typing import Any

import pytest
from fakes import GRID, entry, unit
from shapely import MultiPolygon, Point, box

from habmap.errors import InputError, UsageError
from habmap.records import CoverFrame, Entry, Look, Photo, Plot
from habmap.records.said import Said
from habmap.vocabulary import MACHINE_CAUTION, SNAG_CAUTION, STEEP_CAUTION
from habmap.work.ground import CutUnit, Ground, GroundPiece, cut_ground
from habmap.work.photo_points import after_of, photo_points, seen_ground
from habmap.work.plot_age import UnitGround
from habmap.work.response_regrowth import coming_back, first_work
from habmap.work.revisits import Revisit, away_from, frame_revisits, photo_revisits, plot_revisits
from habmap.work.said import cautions_ahead, cautions_for, check_killed, check_why, clearing_machines, has_snags
from habmap.work.stages import GroundState
from habmap.work.stems import days_of, stems_of

NOW = datetime(2025, 1, 1, 12, tzinfo=UTC)
ON = date(2026, 6, 1)
LIMITS: Any = SimpleNamespace(target_pct=90.0, leave_stems_per_acre=20.0)
C1, C2 = unit("C1", box(0, 0, 100, 100)), unit("C2", box(100, 0, 200, 100))
_numbers = count(1)


def ground(*entries: Entry) -> Ground:
    return cut_ground((C1, C2), entries, grid=GRID, limits=LIMITS)


def photo(day: str, x_m: float = 0, y_m: float = 50, direction_deg: float | None = 90.0) -> Photo:
    taken = datetime.fromisoformat(f"{day}T18:00:00+00:00")
    name = f"p{next(_numbers)}"
    return Photo(
        uuid=name, file_name=name, sha256=name, picture=name, taken_at=taken, taken_on=taken.date(),
        geometry=GRID.to_lonlat(Point(x_m, y_m)), direction_deg=direction_deg,
        direction_ref=None if direction_deg is None else "T", recorded_at=NOW,
    )  # type: ignore[arg-type]  # fmt: skip


def plot(day: str | None = None, **fields: Any) -> Plot:
    name = f"plot{next(_numbers)}"
    base = {"uuid": name, "plot_id": name, "method": "fixed", "plot_acres": 0.1, "stems": 3, "recorded_at": NOW}
    return Plot(**(base | {"measured_on": None if day is None else date.fromisoformat(day)} | fields))


def frame(name: str, day: str, reading: str = "r", x_m: float | None = None) -> CoverFrame:
    return CoverFrame(
        uuid=f"f{next(_numbers)}", reading_id=reading, frame=name, unit_id="C1", read_on=date.fromisoformat(day),
        geometry=None if x_m is None else GRID.to_lonlat(Point(x_m, 0)), recorded_at=NOW,
    )  # fmt: skip


def view_box(side_m: float) -> Any:
    """Ten meters by that, wholly inside what a camera at (0, 50) sees that looks east."""
    return box(50, 50 - side_m / 2, 60, 50 + side_m / 2)


@pytest.mark.parametrize(
    ("work", "due_on"),
    [
        ([entry("cut", "2026-02-01", view_box(9.9))], None),  # 99 m² of it in view
        ([entry("cut", "2026-02-01", view_box(10.1))], "2026-02-01"),  # 101 m²
        ([entry("cut", "2026-01-10", view_box(20))], None),  # the day it was taken: it may show it already
        ([entry("cut", "2026-01-11", view_box(20))], "2026-01-11"),
        ([entry("cut", "2026-06-01", view_box(20))], "2026-06-01"),  # the day asked about counts
        ([entry("cut", "2026-06-02", view_box(20))], None),
        ([entry("keep", "2026-02-01", view_box(20))], None),  # a statement moves nothing
        ([entry("checkup", "2026-02-01", view_box(20))], None),
        ([entry("cut", "2026-02-01")], None),  # a line without ground
        ([entry("mow", "2026-03-01", view_box(20)), entry("cut", "2026-02-01", view_box(20))], "2026-02-01"),
    ],
)
def test_work_in_a_photo_s_view(work: list[Entry], due_on: str | None) -> None:
    # the later of two photos stands first: the newest of them is the last look
    points = [("C1", [photo("2026-01-10"), photo("2025-12-01")])]
    (one,) = photo_revisits(points, state=ground(*work), days=365, on=ON)
    by_days = date(2027, 1, 10)
    assert (one.label, one.unit_id, one.last_on) == ("1", "C1", date(2026, 1, 10))
    assert (one.direction_deg, one.direction_ref) == (90.0, "T")
    assert one.due_on == (by_days if due_on is None else date.fromisoformat(due_on))
    assert (one.why, one.work_on) == (("days", None) if due_on is None else ("work", one.due_on))


def test_a_hundred_square_meters_in_view_are_enough() -> None:
    """Patches as they lie on the grid, so that the area is the box's own to the last digit."""
    line, points = entry("cut", "2026-02-01", view_box(20)), [("C1", [photo("2026-01-10")])]
    for north, why in ((58.5, "work"), (58.4999, "days")):
        state = replace(ground(line), patches={line.entry_id: MultiPolygon([box(64, 46, 72, north)])})
        assert photo_revisits(points, state=state, days=365, on=ON)[0].why == why


def test_work_counts_only_before_the_days_are_over_and_the_due_day_is_due() -> None:
    state = ground(entry("cut", "2026-02-01", view_box(20)))
    points = [(None, [photo("2026-01-10")]), ("C2", [photo("2026-01-10", direction_deg=270.0)])]
    for days, why in ((21, "days"), (22, "days"), (23, "work")):  # January 10 and 22 days are February 1
        first, second = photo_revisits(points, state=state, days=days, on=ON)
        assert (first.why, first.unit_id, second.label, second.why) == (why, None, "2", "days")
        assert first.work_on == (date(2026, 2, 1) if why == "work" else None)
    assert first.is_due(date(2026, 2, 1)) and not first.is_due(date(2026, 1, 31))
    # the first photo's place and direction are the point's
    (both,) = photo_revisits([("C1", [photo("2026-01-10"), photo("2026-01-11", x_m=9, direction_deg=95.0)])],
                             state=state, days=9, on=ON)  # fmt: skip
    assert both.lonlat is not None and GRID.to_grid(Point(both.lonlat)).x == pytest.approx(0, abs=1e-6)
    assert (both.direction_deg, both.last_on) == (90.0, date(2026, 1, 11))
    # a store that has no ground yet: the days alone
    (bare,) = photo_revisits(points[:1], state=Ground(None, None, (), ()), days=5, on=ON)
    assert (bare.why, bare.due_on) == ("days", date(2026, 1, 15))


def test_frames_keep_the_newest_reading_in_whatever_order_they_come() -> None:
    rows = [
        frame("1", "2026-05-01", "new"), frame("1", "2025-05-01", "old"), frame("2", "2026-06-02", "after the day"),
        frame("3", "2026-06-01"), frame("4", "2026-03-01", x_m=10), frame("4", "2026-03-01", x_m=30),
    ]  # fmt: skip
    found = frame_revisits(rows, days=10, on=ON)
    assert [(one.label, one.last_on, one.due_on) for one in found] == [
        ("1", date(2026, 5, 1), date(2026, 5, 11)),
        ("3", date(2026, 6, 1), date(2026, 6, 11)),
        ("4", date(2026, 3, 1), date(2026, 3, 11)),
    ]
    assert {(one.unit_id, one.why, one.direction_deg, one.work_on) for one in found} == {("C1", "days", None, None)}
    # of two readings of one day the one written last
    assert found[2].lonlat is not None and GRID.to_grid(Point(found[2].lonlat)).x == pytest.approx(30, abs=1e-6)


def test_plots_take_their_own_unit_then_their_place_and_the_first_kill_since() -> None:
    west, both = box(0, 0, 50, 100), box(0, 0, 60, 100)
    state = ground(
        entry("cut", "2025-03-01", west, killed_pct=50), entry("cut", "2025-05-01", west, killed_pct=60),
        entry("cut", "2025-07-01", both, killed_pct=70),
    )  # fmt: skip
    west_at, rest_at, off_at = (GRID.to_lonlat(Point(x, 50)) for x in (20, 80, 500))
    for row, unit_id, work_on in [
        (plot("2025-02-28", geometry=west_at), "C1", "2025-03-01"),
        (plot("2025-03-01", geometry=west_at), "C1", "2025-03-01"),  # on the day itself: the count may be of before
        (plot("2025-03-02", geometry=west_at), "C1", "2025-05-01"),
        (plot("2025-07-02", geometry=west_at), "C1", None),
        (plot("2025-02-01", geometry=rest_at), "C1", None),  # the eastern 40 m were never worked
        (plot("2025-02-01", geometry=off_at), None, None),
        (plot("2025-02-01", geometry=off_at, unit_id="C1"), "C1", "2025-03-01"),  # off it: for the whole unit, 60%
        (plot("2025-02-01", geometry=west_at, unit_id="C2"), "C2", None),  # its own unit comes first
        (plot("2025-02-01", unit_id="C1"), "C1", "2025-03-01"),
        (plot("2025-02-01", unit_id="gone"), "gone", None),
        (plot("2025-02-01"), None, None),
        (plot("2026-06-01", geometry=west_at), "C1", None),
    ]:  # fmt: skip
        (one,) = plot_revisits([row], state=state, days=400, on=ON)
        assert (one.label, one.unit_id, one.last_on) == (row.plot_id, unit_id, row.measured_on)
        assert (one.why, one.work_on) == (("days", None) if work_on is None else ("work", date.fromisoformat(work_on)))
    assert plot_revisits([plot("2026-06-02", geometry=west_at)], state=state, days=400, on=ON) == ()
    (bare,) = plot_revisits([plot(None, unit_id="C1")], state=state, days=400, on=ON)
    assert (bare.due_on, bare.why, bare.work_on, bare.is_due(date(1999, 1, 1))) == (None, "no day", None, True)
    (gridless,) = plot_revisits([plot("2025-02-01", geometry=west_at)], state=Ground(None, None, (), ()), days=1, on=ON)
    assert (gridless.unit_id, gridless.due_on) == (None, date(2025, 2, 2))


def test_a_plot_tells_of_the_pieces_at_its_place() -> None:
    cut = ground(entry("cut", "2025-03-01", box(0, 0, 50, 100))).cuts["C1"]
    unit_ground = UnitGround(cut, GRID)
    west, off = (plot("2025-01-01", geometry=GRID.to_lonlat(Point(x, 50))) for x in (20, 500))
    assert [one.stage for one in unit_ground.under(west)] == ["down"] and unit_ground.under(off) == ()
    assert unit_ground.under(plot("2025-01-01")) == () == UnitGround(cut, None).under(west)


def test_spots_keep_their_distance_from_shapes() -> None:
    def spot(label: str, x_m: float | None) -> Revisit:
        lonlat = None if x_m is None else GRID.to_lonlat(Point(x_m, 0))
        return Revisit(
            kind="plot", label=label, unit_id=None, lonlat=None if lonlat is None else (lonlat.x, lonlat.y),
            last_on=None, due_on=None, why="no day",
        )  # fmt: skip

    spots = [spot("49", 49), spot("51", 51), spot("between", 251), spot("249", 249), spot("nowhere", None)]
    left = away_from(spots, [Point(0, 0), Point(300, 0)], grid=GRID, least_m=50)
    assert [one.label for one in left] == ["51", "249", "nowhere"]
    assert away_from(spots, [], grid=GRID, least_m=50) == tuple(spots)


def piece(acres: float, *lines: Entry, stage: str = "down") -> GroundPiece:
    state, ids = GroundState(stage=stage), tuple(one.entry_id for one in lines)  # type: ignore[arg-type]
    return GroundPiece("A", stage, state, ids, box(0, 0, 1, 1), 1.0, acres)  # type: ignore[arg-type]


def unit_of(lines: list[Entry], *pieces: GroundPiece) -> CutUnit:
    return CutUnit(tuple(lines), pieces, (), ())


def test_the_first_work_covers_a_hundredth_of_the_unit() -> None:
    mow, cut, burn = (entry(one, f"2025-0{at}-01") for at, one in enumerate(("mow", "cut", "burn"), start=1))
    lines = [mow, cut, burn]
    for own_acres, first in ((1.0, cut), (0.99, burn)):
        pieces = [piece(own_acres, mow, cut), piece(30, burn), piece(100 - 30 - own_acres, mow)]
        found = first_work(unit_of(lines, *pieces))
        assert (found.on, found.practice) == (first.date, first.practice)
        assert found.worked_pct == pytest.approx(30 + own_acres, abs=1e-9)
    # a line's ground is that of all pieces it lies on
    two = first_work(unit_of(lines, piece(0.6, cut), piece(0.6, cut, burn), piece(98.8)))
    assert (two.on, two.worked_pct) == (cut.date, pytest.approx(1.2))
    for none in (unit_of(lines, piece(100, mow)), unit_of(lines), unit_of(lines, piece(0.0, cut))):
        assert (first_work(none).on, first_work(none).practice, first_work(none).worked_pct) == (None, None, 0.0)


def test_the_last_look_on_each_piece_tells_what_comes_back() -> None:
    def look(day: str, **seen: Any) -> Entry:
        return entry("checkup", day, look=Look(**seen))

    old = look("2025-05-01", live_stems_per_acre=0)
    seeds = look("2025-06-01", seedlings_per_acre=40, tallest_ft=3.5)
    sprouts = look("2025-07-01", sprouts=(("elm", 4),))
    small = look("2025-08-01", live_stems_per_acre=9)
    tall = look("2025-09-01", tallest_ft=6)
    noted = entry("checkup", "2025-10-01", look=None)
    treated = entry("cut", "2025-04-01", look=Look(live_stems_per_acre=99))
    lines = [treated, old, seeds, sprouts, small, tall, noted]
    cut = unit_of(
        lines,
        piece(2, old, seeds, noted, stage="coming_back"), piece(3, seeds, stage="coming_back"), piece(0.05, old),
        piece(1, treated, old, sprouts), piece(0.049, small), piece(4, sprouts, tall),
    )  # fmt: skip
    found = coming_back(cut, since=date(2025, 4, 30))
    # the newest first; `small` lies on too little, `tall` counted nothing
    assert found.acres == 5
    assert [(one.on, one.acres) for one in found.looks] == [
        (sprouts.date, 1), (seeds.date, 5), (old.date, 0.05),
    ]  # fmt: skip
    newest, middle, oldest = found.looks
    assert (newest.sprouts, newest.live_stems_per_acre, newest.tallest_ft) == ({"elm": 4}, None, None)
    assert (middle.seedlings_per_acre, middle.tallest_ft, middle.sprouts) == (40, 3.5, {})
    assert (oldest.live_stems_per_acre, oldest.seedlings_per_acre) == (0, None)
    assert [one.on for one in coming_back(cut, since=date(2025, 5, 1)).looks] == [sprouts.date, seeds.date]
    assert coming_back(cut, since=None).looks == ()


def test_photo_points_at_their_limits() -> None:
    def shot(day: str, x_m: float, direction_deg: float | None) -> Photo:
        one = photo(day, direction_deg=direction_deg)
        spots[one.uuid] = Point(x_m, 0)
        return one

    spots: dict[str, Point] = {}
    first, at_limit = shot("2026-01-01", 0, 0), shot("2026-01-02", 15, 30)
    beyond, turned = shot("2026-01-03", 15.01, 0), shot("2026-01-04", 0, 30.01)
    assert photo_points([beyond, at_limit, first], spots, within_m=15) == ((first, at_limit), (beyond,))
    assert photo_points([turned, first], spots, within_m=15) == ((first,), (turned,))
    blind, blind_too = shot("2026-01-05", 0, None), shot("2026-01-05", 9, None)
    assert photo_points([blind, blind_too], spots, within_m=15) == ((blind, blind_too),)
    # two points fit alike: the older takes it
    west, east, between = shot("2026-02-01", -10, 0), shot("2026-02-02", 10, 0), shot("2026-02-03", 0, 0)
    assert photo_points([west, east, between], spots, within_m=15) == ((west, between), (east,))
    assert after_of([first, at_limit, beyond]) is beyond and after_of([first]) is None
    # 150 m far and 60° wide where nothing else is asked: twelve chords of 5°
    rim = list(seen_ground(7, 9, 0.0).exterior.coords)[1:-1]
    assert len(rim) == 13 and all(Point(7, 9).distance(Point(one)) == pytest.approx(150) for one in rim)
    assert rim[0][0] == pytest.approx(7 - 75) and rim[-1][0] == pytest.approx(7 + 75)  # sin 30° is a half
    assert all(Point(a).distance(Point(b)) == pytest.approx(300 * 0.0436194, rel=1e-6) for a, b in pairwise(rim))
    assert seen_ground(7, 9, None).bounds == pytest.approx((-43, -41, 57, 59))


def quarter(*distances_m: float | None, **fields: Any) -> Plot:
    return plot("2026-01-01", method="quarter", plot_acres=None, stems=None, distances_m=distances_m, **fields)


def test_words_and_warnings_of_fixed_plots() -> None:
    rows = [plot("2025-01-01"), plot("2026-01-02", stems=5, stratum="a"), plot(None, stems=4)]
    found = stems_of(rows)
    assert found is not None and found.density.stems_per_acre == pytest.approx(40)
    assert found.words == (
        "3 fixed plots in 2 strata, their sizes not known on this ground, so all plots count alike, "
        "exact Poisson limits for a small count (Garwood 1936)"
    )
    assert found.warnings == ()  # three plots, 366 days apart
    late = stems_of([*rows[:1], plot("2026-01-03")])
    assert late is not None and [one.split(";")[0] for one in late.warnings] == [
        "plots measured from 2025-01-01 to 2026-01-03 are taken together",
        "only 2 plots: fewer than 3 say little about a unit",
    ]
    many = stems_of([plot(stems=20), plot(stems=25), plot(stems=None)], ground_acres=2.0)
    # 0.3 acres of 2 are 15%; 45 stems, one plot without any; the mean is 45 / 0.3
    assert many is not None and many.density.stems_per_acre == pytest.approx(150)
    assert many.words == "3 fixed plots covering 15% of the ground, limits by Student's t"
    one = stems_of([plot(), plot(plot_acres=None)])
    assert one is not None and one.words == "1 fixed plot" and len(one.plots) == 1
    assert one.warnings == ("only 1 plot: fewer than 3 say little about a unit",)
    assert stems_of([plot(method="line")]) is None and stems_of([]) is None
    assert days_of(rows) == (date(2025, 1, 1), date(2026, 1, 2)) and days_of(rows[2:]) == (None, None)


def test_words_and_warnings_of_quarter_points() -> None:
    even: tuple[float, ...] = (2, 4, 5, 7)
    seven, eight = (stems_of([quarter(*even) for _ in range(n)]) for n in (7, 8))
    assert seven is not None and eight is not None
    assert seven.words.startswith("7 quarter points; right only where stems stand at random")
    assert "; the distances don't speak against it (P = " in seven.words and not seven.is_clumped
    assert seven.words.endswith(", but fewer than 8 points seldom would") and "seldom" not in eight.words
    lone = stems_of([quarter(3, None, 4, None)])
    assert lone is not None and lone.words.startswith(
        "1 quarter point, 2 of 4 quarters vacant (published factor, limits approximate); right only"
    )
    assert "too few to test" in lone.words and not lone.is_clumped
    clumped = stems_of([quarter(0.5, 0.4, 0.5, 0.6), quarter(30, 40, 35, 38), quarter(0.3, 0.4, 29, 31)])
    assert clumped is not None and clumped.is_clumped and clumped.density.ci95_low is None
    assert "too uneven for stems at random (P under 0.01): no limits" in clumped.words
    assert clumped.warnings == (
        "its quarter points look clumped (P under 0.01): the figure is likely too low; use fixed plots",
    )
    assert stems_of([quarter(None, None, None, None)]) is None
    fixed = [plot("2026-01-01") for _ in range(3)]
    told = stems_of([*fixed, quarter(*even), quarter(*even)])
    # 4·(8 − 1) / (π · 2 · (4 + 16 + 25 + 49)) per m², times 4046.856 m²: about 192 per acre
    assert told is not None and told.warnings == (
        "2 quarter points not used: fixed plots are there, which hold however stems stand "
        "(by the points alone about 192 per acre)",
    )
    blank = stems_of([*fixed, quarter(None, None, None, None)])
    assert blank is not None and blank.warnings[0].endswith("which hold however stems stand")
    # crowns of 10 and 20 ft, weighed by one measured stem and three: √((100 + 3 · 400) / 4)
    crowns = stems_of([quarter(3, None, None, None, crown_ft=10), quarter(3, 4, None, 5, crown_ft=20)])
    assert crowns is not None and crowns.crown_ft == pytest.approx(325**0.5)
    counted = stems_of([plot(stems=1, crown_ft=10), plot(stems=3, crown_ft=20), plot(stems=None, crown_ft=90)])
    assert counted is not None and counted.crown_ft == pytest.approx(325**0.5)


def test_what_is_asked_of_killing_and_whom_cautions_go_to() -> None:
    with pytest.raises(InputError, match="redberry juniper, can grow from stumps"):
        check_killed(Said(), practice="cut", cedar="redberry juniper")
    check_killed(Said(killed_pct=0), practice="cut", cedar="redberry juniper")
    check_killed(Said(), practice="cut", cedar="eastern redcedar")
    check_killed(Said(), practice="mow", cedar="redberry juniper")
    with pytest.raises(UsageError):
        check_why(" \t")
    check_why("x")
    still = GroundState(stage="down", snag_frac=1e-6)
    assert (
        has_snags([GroundState(stage="down"), still])
        and not has_snags([GroundState(stage="down")])
        and not has_snags([])
    )
    assert SNAG_CAUTION in cautions_for("cut", Said(), [still])
    assert SNAG_CAUTION not in cautions_for("cut", Said(), [GroundState(stage="down")])
    lines = [entry(one, "2026-01-01") for one in ("mulch", "mow", "haul", "cut", "girdle")]
    assert clearing_machines(lines) == {"mulch"} and clearing_machines(lines[1:]) == frozenset()
    assert MACHINE_CAUTION in cautions_ahead(lines) and MACHINE_CAUTION not in cautions_ahead(lines[1:])
    assert MACHINE_CAUTION in cautions_ahead([], also=("haul",))
    bare = cautions_ahead([])
    assert SNAG_CAUTION not in bare and STEEP_CAUTION not in bare
    assert SNAG_CAUTION in cautions_ahead([], snags_in=[still]) and STEEP_CAUTION in cautions_ahead([], is_steep=True)
