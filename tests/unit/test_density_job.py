"""Which plots count as now, and how strata of two methods are weighted, on squares drawn in the grid."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
import shapely
from fakes import GRID, FakeStore, entry, unit

from habmap.jobs.density import density
from habmap.jobs.rank import rank
from habmap.land.density import FEW_PLOTS
from habmap.measures import M2_PER_ACRE
from habmap.records import CanopySource, Plot, Row
from habmap.work.density import plots_by_unit
from habmap.work.density_records import PropertyDensity, UnitCanopy, UnitDensity
from habmap.work.stems import stems_of

NOW = datetime(2026, 3, 1, tzinfo=UTC)
HECTARE = shapely.box(0, 0, 100, 100)
WEST, EAST = shapely.box(0, 0, 50, 100), shapely.box(50, 0, 100, 100)


def fixed(
    name: str,
    stems: int,
    *,
    unit_id: str = "A",
    day: str | None = "2025-01-15",
    at: tuple[float, float] | None = None,
    **fields: object,
) -> Plot:
    content: dict[str, object] = {
        "uuid": name, "plot_id": name, "method": "fixed", "unit_id": unit_id, "plot_acres": 0.1, "stems": stems,
        "measured_on": date.fromisoformat(day) if day else None,
        "geometry": GRID.to_lonlat(shapely.Point(*at)) if at else None, "recorded_at": NOW,
    }  # fmt: skip
    return Plot(**(content | fields))  # type: ignore[arg-type]


def quarter(name: str, distances_m: tuple[float | None, ...], *, unit_id: str = "A", **fields: object) -> Plot:
    return fixed(name, 0, unit_id=unit_id, method="quarter", distances_m=distances_m, **fields)  # type: ignore[arg-type]


#: Eight points as even as random stems are: quantiles of the exponential, in an order without pattern.
EVEN_M = [(1.0, 2.0, 3.2, 4.4), (1.6, 2.6, 3.8, 1.2), (2.3, 0.8, 4.9, 2.9), (3.5, 1.8, 2.1, 3.0),
          (0.6, 4.1, 2.7, 3.3), (2.4, 1.4, 3.6, 4.6), (1.9, 3.9, 2.8, 0.9), (3.1, 2.2, 1.7, 4.0)]  # fmt: skip


def only(store: FakeStore, **how: object) -> UnitDensity:
    (found,) = density(store, **how).units  # type: ignore[arg-type]
    return found


# --- plots older than the work on their ground ---------------------------------------------------------------


def test_plots_on_ground_cut_since_do_not_count_as_now() -> None:
    store = FakeStore(
        [
            unit("A", HECTARE),
            *(fixed(f"w{i}", n, at=(10 + i, 50)) for i, n in enumerate([50, 52, 54])),
            *(fixed(f"e{i}", n, at=(80 + i, 50)) for i, n in enumerate([9, 10, 11])),
            entry("cut", "2025-06-01", WEST),
        ],
        grid=GRID,
    )
    found = only(store)
    assert (found.plots, found.stems_per_acre, found.dense) == (3, pytest.approx(100), False)
    assert (found.plots_before_work, found.stems_per_acre_before_work) == (3, pytest.approx(520))
    assert "3 plots of 2025-01-15 from before the work on their ground, not counted as now (520" in found.rests_on
    assert any("measure what remains" in words and "2025-06-01" in words for words in found.warnings)
    # as of a day before the cut all of them count
    before = only(store, on=date(2025, 5, 31))
    assert (before.plots, before.stems_per_acre, before.dense) == (6, pytest.approx(310), True)


def test_a_unit_cut_whole_has_no_figure_of_now() -> None:
    rows = [unit("A", HECTARE, stems_per_acre=400.0, canopy_pct=80.0), entry("cut", "2025-06-01", HECTARE)]
    plots = [fixed(f"p{i}", n, crown_ft=9.0) for i, n in enumerate([50, 52, 54])]
    found = only(FakeStore([*rows, *plots], grid=GRID))
    assert (found.stems_per_acre, found.canopy_pct, found.dense, found.plots) == (None, None, None, 0)
    assert "(520 stems per acre then)" in found.rests_on
    assert "400 stems per acre as given with the unit's outline are from before the work" in found.rests_on
    assert "crown cover of 80% as given with the outline is from before the work" in found.rests_on
    # plots measured after it count
    again = only(FakeStore([*rows, *plots, *(fixed(f"n{i}", 1, day="2026-01-10") for i in range(3))], grid=GRID))
    assert (again.plots, again.stems_per_acre, again.dense) == (3, pytest.approx(10), False)
    assert (again.measured_from, again.measured_to) == (date(2026, 1, 10), date(2026, 1, 10))


@pytest.mark.parametrize(
    ("line", "is_old"),
    [
        (entry("cut", "2025-01-15", HECTARE), True),  # the day itself: nobody knows which came first
        (entry("cut", "2025-01-14", HECTARE), False),
        (entry("girdle", "2025-06-01", HECTARE, killed_pct=9), False),  # less than plots can tell
        (entry("girdle", "2025-06-01", HECTARE, killed_pct=10), True),
        (entry("burn", "2025-06-01", HECTARE), False),  # kills nothing unless it says so
        (entry("burn", "2025-06-01", HECTARE, killed_pct=60), True),
        (entry("pile", "2025-06-01", HECTARE), False),
    ],
)
def test_what_makes_plots_old(line: object, is_old: bool) -> None:
    found = only(FakeStore([unit("A", HECTARE), fixed("p", 40), fixed("q", 44), line], grid=GRID))  # type: ignore[list-item]
    assert (found.plots_before_work == 2) is is_old
    assert (found.stems_per_acre is None) is is_old


def test_kills_since_are_of_the_cedars_alive_at_the_count() -> None:
    work = [
        entry("girdle", "2024-06-01", HECTARE, killed_pct=80),
        entry("girdle", "2025-06-01", HECTARE, killed_pct=50),
    ]
    # since the count half of what then lived was killed, a twentieth of the first stand
    assert only(FakeStore([unit("A", HECTARE), fixed("p", 8), fixed("q", 9), *work], grid=GRID)).plots == 0


@pytest.mark.parametrize(("share", "counts"), [(0.49, True), (0.51, False)])
def test_plots_without_a_place_stand_for_the_rest_while_most_of_it_is_untouched(share: float, counts: bool) -> None:
    cut = shapely.box(0, 0, 100 * share, 100)
    plots = [fixed(f"p{i}", n) for i, n in enumerate([50, 52, 54])]
    store = FakeStore([unit("A", HECTARE), *plots, entry("cut", "2025-06-01", cut)], grid=GRID)
    found = only(store)
    assert found.dense is (True if counts else None)
    assert any("no place on the map, and 49% of it was worked" in words for words in found.warnings) is counts
    # a point off the unit as it is drawn now is no better than none
    off = [fixed(f"o{i}", 52, at=(500, 500)) for i in range(3)]
    moved = only(FakeStore([unit("A", HECTARE), *off, entry("cut", "2025-06-01", cut)], grid=GRID))
    assert moved.dense is found.dense


def test_plots_without_a_day_are_not_taken_for_newer_than_the_work() -> None:
    store = FakeStore(
        [unit("A", HECTARE), fixed("p", 40, day=None), fixed("q", 44, day=None), entry("cut", "2020-06-01", HECTARE)],
        grid=GRID,
    )
    found = only(store)
    assert found.stems_per_acre is None
    assert any("load them with their day" in words for words in found.warnings)


def test_a_figure_taken_along_by_a_redrawn_outline_is_no_younger_for_it() -> None:
    first = unit("A", HECTARE, stems_per_acre=400.0, canopy_pct=80.0)
    drawn = unit(
        "A", HECTARE, stems_per_acre=400.0, canopy_pct=80.0, valid_from=date(2025, 9, 1), replaces=(first.uuid,)
    )
    rows = [first, drawn, entry("cut", "2025-06-01", HECTARE)]
    found = only(FakeStore(rows, grid=GRID))
    assert (found.stems_per_acre, found.canopy_pct, found.dense) == (None, None, None)
    # a figure written anew after the work is one of after the work
    fresh = unit(
        "A", HECTARE, stems_per_acre=12.0, canopy_pct=80.0, valid_from=date(2025, 10, 1), replaces=(drawn.uuid,)
    )
    again = only(FakeStore([*rows, fresh], grid=GRID))
    assert (again.stems_per_acre, again.canopy_pct, again.dense) == (12.0, None, False)


def test_acres_of_the_whole_are_those_that_the_plots_still_tell_of() -> None:
    other = shapely.box(100, 0, 200, 100)
    store = FakeStore(
        [
            unit("A", HECTARE), unit("B", other),
            *(fixed(f"a{i}", n, at=(80, 50)) for i, n in enumerate([40, 42, 44])),
            *(fixed(f"b{i}", n, unit_id="B") for i, n in enumerate([10, 12, 14])),
            entry("cut", "2025-06-01", WEST),
        ],
        grid=GRID,
    )  # fmt: skip
    whole = density(store).whole_property
    assert whole is not None
    assert whole.acres == pytest.approx(15_000 / M2_PER_ACRE, rel=1e-6)
    assert whole.acres_without_plots == pytest.approx(5_000 / M2_PER_ACRE, rel=1e-6)
    assert whole.stems_per_acre == pytest.approx((420 + 2 * 120) / 3, rel=1e-6)


def test_a_canopy_raster_from_before_the_work_is_not_the_canopy_of_now(tmp_path, monkeypatch) -> None:
    from habmap.jobs import density as job

    source = CanopySource(uuid="c", path="c.tif", crs_wkt="", vertical_unit="m", recorded_at=NOW)
    tall = {"A": UnitCanopy(canopy_pct=90.0, coverage_pct=100.0)}
    monkeypatch.setattr(job, "canopy_of_units", lambda source, units, **more: (tall, ()))
    standing = FakeStore([unit("A", HECTARE), source], grid=GRID)
    assert only(standing).canopy_pct == 90.0 and "too coarse" not in only(standing).rests_on
    cut = FakeStore([unit("A", HECTARE), source, entry("cut", "2026-03-02", HECTARE)], grid=GRID)
    found = only(cut)
    assert (found.canopy_pct, found.dense) == (None, None)
    assert "the canopy raster (90%) is older than the work here" in found.rests_on


# --- methods and strata --------------------------------------------------------------------------------------


def test_a_stratum_of_both_methods_counts_each_unit_by_its_own() -> None:
    """A8: A has fixed plots, B quarter points, C neither; all in one stratum."""
    store = FakeStore(
        [
            unit("A", HECTARE, stratum="hill"),
            unit("B", shapely.box(100, 0, 400, 100), stratum="hill"),
            unit("C", shapely.box(400, 0, 450, 100), stratum="hill"),
            *(fixed(f"a{i}", n) for i, n in enumerate([12, 13, 14])),
            *(quarter(f"b{i}", d, unit_id="B") for i, d in enumerate(EVEN_M)),
        ],
        grid=GRID,
    )
    found = density(store)
    whole, rows = found.whole_property, {one.unit_id: one for one in found.units}
    assert whole is not None
    # Pollard by hand: 4(32 − 1)/(π ΣR²)
    squares_m2 = sum(d * d for point in EVEN_M for d in point)
    of_b = 4 * 31 / (3.141592653589793 * squares_m2) * M2_PER_ACRE
    assert rows["B"].stems_per_acre == pytest.approx(of_b)
    assert whole.stems_per_acre == pytest.approx((130 + 3 * of_b) / 4, rel=1e-6)
    assert [(one.stratum, one.method, one.plots) for one in whole.strata] == [
        ("hill: A", "fixed", 3), ("hill: B", "quarter", 8)]  # fmt: skip
    assert whole.acres == pytest.approx(40_000 / M2_PER_ACRE, rel=1e-6)
    assert whole.acres_without_plots == pytest.approx(5_000 / M2_PER_ACRE, rel=1e-6)
    assert "in hill there are fixed plots and quarter points" in whole.rests_on
    assert whole.stems_per_acre_ci95_low is not None and "different kinds joined" in whole.rests_on
    # one estimate of a unit: the table's and the stratum's
    for one in whole.strata:
        row = rows[one.stratum.removeprefix("hill: ")]
        assert (one.stems_per_acre, one.stems_per_acre_ci95_low) == (row.stems_per_acre, row.stems_per_acre_ci95_low)


def test_a_foreign_plot_of_another_method_splits_its_stratum_too() -> None:
    store = FakeStore(
        [
            unit("A", HECTARE, stratum="thick"), unit("B", shapely.box(100, 0, 200, 100), stratum="thin"),
            *(fixed(f"a{i}", n) for i, n in enumerate([40, 42, 44])), fixed("x", 5, stratum="thin"),
            *(quarter(f"b{i}", d, unit_id="B") for i, d in enumerate(EVEN_M)),
        ],
        grid=GRID,
    )  # fmt: skip
    whole = density(store).whole_property
    assert whole is not None
    assert [(one.stratum, one.method) for one in whole.strata] == [("thick", "fixed"), ("thin: B", "quarter")]


def test_quarter_points_beside_fixed_plots_in_one_unit_are_named_with_their_figure() -> None:
    rows = [unit("A", HECTARE), *(fixed(f"a{i}", n) for i, n in enumerate([12, 13, 14]))]
    found = only(FakeStore([*rows, *(quarter(f"q{i}", d) for i, d in enumerate(EVEN_M))], grid=GRID))
    assert found.stems_per_acre == pytest.approx(130)
    assert any("8 quarter points not used" in words and "per acre)" in words for words in found.warnings)
    vacant = only(FakeStore([*rows, quarter("v", (None,) * 4)], grid=GRID))
    assert any(words.startswith("1 quarter point not used") for words in vacant.warnings)


def test_strata_that_plots_name_and_no_unit_carries_give_one_figure_everywhere() -> None:
    """A12: the table said 395 and the strata 332 from the same plots."""
    store = FakeStore(
        [
            unit("A", HECTARE), unit("B", shapely.box(100, 0, 200, 100)),
            *(fixed(f"n{i}", n, stratum="north") for i, n in enumerate([60, 62])),
            *(fixed(f"s{i}", n, stratum="south") for i, n in enumerate([10, 12, 14, 16])),
            *(fixed(f"b{i}", n, unit_id="B") for i, n in enumerate([30, 33])),
        ],
        grid=GRID,
    )  # fmt: skip
    found = density(store)
    assert found.whole_property is not None
    assert found.units[0].stems_per_acre == pytest.approx(174 / 0.6)
    assert found.whole_property.strata[0].stems_per_acre == found.units[0].stems_per_acre
    assert "in 2 strata, their sizes not known" in found.units[0].rests_on


# --- what is said --------------------------------------------------------------------------------------------


def test_quarter_points_always_say_what_they_take_for_granted() -> None:
    found = only(FakeStore([unit("A", HECTARE), *(quarter(f"q{i}", d) for i, d in enumerate(EVEN_M))], grid=GRID))
    assert found.limits_by == "quarter" and found.random_p is not None and found.random_p > 0.2
    assert "right only where stems stand at random, too low where they stand in clumps" in found.rests_on
    assert "the distances don't speak against it" in found.rests_on and "seldom would" not in found.rests_on


def test_clumped_quarter_points_get_no_limits_and_the_word_fixed_plots() -> None:
    # four points within clumps, four in the gaps between
    distances = [(0.3, 0.5, 0.4, 0.6)] * 4 + [(9.0, 12.0, 8.0, 15.0)] * 4
    found = only(FakeStore([unit("A", HECTARE), *(quarter(f"q{i}", d) for i, d in enumerate(distances))], grid=GRID))
    assert (found.stems_per_acre_ci95_low, found.stems_per_acre_ci95_high, found.limits_by) == (None, None, None)
    assert found.stems_per_acre is not None and found.stems_per_acre < 250 and found.dense is None
    assert found.more_plots is None and found.random_p is not None and found.random_p < 0.01
    assert "too uneven for stems at random (P under 0.01): no limits" in found.rests_on
    assert any("likely too low; use fixed plots" in words for words in found.warnings)
    # at a quarter of the limit or less, clumps cannot hide so many
    sparse = [quarter(f"q{i}", tuple(2 * d for d in point)) for i, point in enumerate(distances)]
    assert only(FakeStore([unit("A", HECTARE), *sparse], grid=GRID)).dense is False
    # its crowns come from the same stems, and the order of work calls it unknown, not sparse
    crowned = [quarter(f"q{i}", d, crown_ft=6.0) for i, d in enumerate(distances)]
    store = FakeStore([unit("A", HECTARE), *crowned], grid=GRID)
    assert only(store).canopy_pct is not None and only(store).dense is None
    (ranked,) = rank(store, today=NOW.date()).units
    assert "how dense it is now has not been measured" in ranked.reasons and ranked.parts["density"] is None
    one = only(FakeStore([unit("A", HECTARE), quarter("q", (1.0, 2.0, 3.0, 4.0))], grid=GRID))
    assert "too few to test" in one.rests_on


def test_points_with_every_quarter_vacant_say_so_and_give_nothing() -> None:
    found = only(FakeStore([unit("A", HECTARE), quarter("q", (None,) * 4)], grid=GRID))
    assert (found.stems_per_acre, found.plots) == (None, 1)
    nothing = "quarter points with every quarter vacant say nothing of how many stems there are"
    assert found.rests_on == nothing
    old = [fixed("o", 44, at=(80, 50)), fixed("p", 46, at=(81, 50)), entry("cut", "2025-06-01", EAST)]
    vacant = quarter("q", (None,) * 4, day="2025-07-01", at=(10, 50))
    beside = only(FakeStore([unit("A", HECTARE), vacant, *old], grid=GRID))
    assert beside.rests_on.startswith(f"{nothing}; 2 plots of 2025-01-15 from before")


def test_crown_cover_from_the_stems_of_each_plot() -> None:
    """A9: 10 stems of 6 ft and 20 of 12 ft on two plots of 1/10 acre, crowns added one by one."""
    plots = [fixed("p", 10, crown_ft=6.0), fixed("q", 20, crown_ft=12.0)]
    found = only(FakeStore([unit("A", HECTARE), *plots], grid=GRID))
    k = (10 * 3.141592653589793 * 9 + 20 * 3.141592653589793 * 36) / (0.2 * 43_560)
    assert found.canopy_pct == pytest.approx(100 * (1 - 2.718281828459045**-k))
    assert "crown cover from stems and a crown of 10.4 ft (by mean area), overlapping at random" in found.rests_on
    # a quarter point's crown is of the stems it measured
    points = [quarter("a", (1.0, None, None, None), crown_ft=12.0), quarter("b", (2.0, 3.0, 2.0, 3.0), crown_ft=6.0)]
    stems = stems_of(points)
    assert stems is not None and stems.crown_ft == pytest.approx(((144 + 4 * 36) / 5) ** 0.5)


def test_empty_plots_are_not_sure_of_nothing() -> None:
    found = only(FakeStore([unit("A", HECTARE), *(fixed(f"p{i}", 0) for i in range(3))], grid=GRID))
    # Poisson: 3.6889/0.3 acre, the plots being 12% of the ground: times √(1 − 0.3·4046.86/10,000)
    assert found.stems_per_acre_ci95_high == pytest.approx(12.296 * (1 - 0.3 * M2_PER_ACRE / 10_000) ** 0.5, abs=2e-3)
    assert "exact Poisson limits" in found.rests_on and found.limits_by == "poisson"


# --- limits of what is said ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("stems", "heights_ft", "level"),
    [
        ((25, 25), (5.0, 5.0), "restoration"),  # 250 stems per acre
        ((25, 24), (5.0, 5.9), "maintenance"),
        ((2, 3), (5.0, 7.0), "restoration"),  # 6 ft on the mean
        ((2, 3), (5.0, 6.98), "maintenance"),
        ((2, 3), (None, 5.99), "maintenance"),  # the mean of those measured
        ((2, 3), (None, None), None),
        ((25, 25), (None, None), "restoration"),
        (None, (6.0, 6.0), "restoration"),
        (None, (5.9, 5.9), None),
    ],
)
def test_what_kind_of_work_a_stand_needs(
    stems: tuple[int, int] | None, heights_ft: tuple[float | None, float | None], level: str | None
) -> None:
    """OSU Extension NREM-2876: maintenance under 6 ft and under 250 stems per acre, else restoration."""
    plots = [
        quarter(f"p{n}", (None,) * 4, height_ft=height) if stems is None else fixed(f"p{n}", stems[n], height_ft=height)
        for n, height in enumerate(heights_ft)
    ]
    assert only(FakeStore([unit("A", HECTARE), *plots], grid=GRID)).management_level == level


@pytest.mark.parametrize(
    ("days", "words", "warned"),
    [
        (("2025-01-15",), "1 plot of 2025-01-15 from before", "1 plot is older"),
        (("2025-01-15", "2024-03-02", None), "3 plots of 2024-03-02 to 2025-01-15 from before", "3 plots are older"),
        ((None, None), "2 plots without a day from before", "2 plots are older"),
    ],
)
def test_old_plots_are_named_by_their_days(days: tuple[str | None, ...], words: str, warned: str) -> None:
    plots = [fixed(f"p{n}", 40, day=day) for n, day in enumerate(days)]
    found = only(FakeStore([unit("A", HECTARE), *plots, entry("cut", "2025-06-01", HECTARE)], grid=GRID))
    assert f"{words} the work on their ground, not counted as now (400 stems per acre then)" in found.rests_on
    assert any(warned in line for line in found.warnings)
    assert any("plots without a day" in line for line in found.warnings) is (None in days)


def test_crown_cover_by_lines_before_the_raster_before_the_outline(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two lines of 100 and 300 ft with 30 and 60 ft under crowns: 90 of 400 ft."""
    from habmap.jobs import density as job

    lines = [
        fixed(f"l{n}", 0, method="line", line_ft=line_ft, intercepts_ft=under)
        for n, (line_ft, under) in enumerate([(100.0, (10.0, 20.0)), (300.0, (60.0,))])
    ]
    outline = unit("A", HECTARE, canopy_pct=80.0, stems_per_acre=100.0)
    source = CanopySource(uuid="c", path="c.tif", crs_wkt="", vertical_unit="m", recorded_at=NOW)

    def told(*rows: Row, coverage_pct: float = 100.0, too_coarse: bool = False) -> UnitDensity:
        tall = {"A": UnitCanopy(canopy_pct=40.0, coverage_pct=coverage_pct, too_coarse=too_coarse)}
        monkeypatch.setattr(job, "canopy_of_units", lambda source, units, **more: (tall if source else {}, ()))
        return only(FakeStore([outline, *rows], grid=GRID))

    found = told(*lines, source)
    assert found.canopy_pct == pytest.approx(22.5) and found.canopy_coverage_pct is None
    assert "crown cover from 2 lines, 400 ft together" in found.rests_on
    assert told(lines[0]).canopy_pct == pytest.approx(30.0)
    assert told(replace(lines[0], line_ft=0.5, intercepts_ft=(0.25,))).canopy_pct == pytest.approx(50.0)
    raster = told(source)
    assert (raster.canopy_pct, raster.canopy_coverage_pct) == (40.0, 100.0)
    assert "covers only" not in raster.rests_on and "too coarse" not in raster.rests_on
    assert "covers only" not in told(source, coverage_pct=99.5).rests_on
    assert "the raster covers only 99% of the unit" in told(source, coverage_pct=99.4).rests_on
    assert "its cells are too coarse for so small a unit" in told(source, too_coarse=True).rests_on
    assert told().canopy_pct == 80.0 and "as given with the unit's outline" in told().rests_on
    # a raster is of before the work where that covers half of the unit, on its day or later
    outline = unit("A", HECTARE)
    for day, east, is_old in (("2026-03-01", 50.2, True), ("2026-03-01", 49.8, False), ("2026-02-28", 90.0, False)):
        cut = entry("cut", day, shapely.box(0, 0, east, 100))
        assert ("the canopy raster (40%) is older" in told(source, cut).rests_on) is is_old


@pytest.mark.parametrize(("side_m", "is_said"), [(20.32, True), (20.15, False)])
def test_ground_without_plots_is_said_from_a_twentieth_of_an_acre(side_m: float, is_said: bool) -> None:
    """10 m by 20.32 m are 0.0502 acre, by 20.15 m 0.0498."""
    store = FakeStore(
        [
            unit("A", HECTARE), unit("B", shapely.box(100, 0, 200, 100)),
            unit("C", shapely.box(0, 200, 10, 200 + side_m)),
            *(fixed(f"{name}{n}", 40 + n, unit_id=name) for name in "AB" for n in range(3)),
        ],
        grid=GRID,
    )  # fmt: skip
    whole = density(store).whole_property
    assert whole is not None and whole.acres_without_plots == pytest.approx(10 * side_m / M2_PER_ACRE, rel=1e-5)
    assert ("acres lie in no sampled stratum" in whole.rests_on) is is_said
    assert whole.rests_on.startswith("6 plots in 2 strata, weighted by their 4.9 acres")
    assert "no interval" not in whole.rests_on and "counted in the stratum" not in whole.rests_on


def test_the_whole_property_says_what_it_has_no_interval_for() -> None:
    second = unit("B", shapely.box(100, 0, 200, 100))
    three = [fixed(f"a{n}", 40 + n) for n in range(3)]

    def whole(*rows: Row) -> PropertyDensity | None:
        return density(FakeStore([unit("A", HECTARE), second, *rows], grid=GRID)).whole_property

    assert whole(*three) is None
    single = whole(*three, fixed("b", 30, unit_id="B"))
    assert single is not None and single.stems_per_acre_ci95_low is None
    assert single.stems_per_acre == pytest.approx((410 + 300) / 2)
    assert single.rests_on.endswith("no interval: a stratum has one plot only")
    uneven = [(0.3, 0.5, 0.4, 0.6)] * 4 + [(9.0, 12.0, 8.0, 15.0)] * 4
    clumped = whole(*three, *(quarter(f"q{n}", d, unit_id="B") for n, d in enumerate(uneven)))
    assert clumped is not None and clumped.rests_on.endswith("no interval: quarter points look clumped")
    assert [(part.stratum, part.method) for part in clumped.strata] == [("unit A", "fixed"), ("unit B", "quarter")]
    # a plot that names a stratum which a unit carries counts there, and it is said
    store = FakeStore(
        [unit("A", HECTARE), unit("B", shapely.box(100, 0, 200, 100), stratum="low"), *three,
         fixed("x", 10, stratum="low"), *(fixed(f"b{n}", 30 + n, unit_id="B") for n in range(3))],
        grid=GRID,
    )  # fmt: skip
    named = density(store).whole_property
    assert named is not None and "1 plot counted in the stratum named there, not in its unit's" in named.rests_on
    assert [(part.stratum, part.plots, part.stems_per_acre) for part in named.strata] == [
        ("low", 4, pytest.approx(10 * (10 + 30 + 31 + 32) / 4)), ("unit A", 3, pytest.approx(410)),
    ]  # fmt: skip


def test_clumped_points_hide_up_to_four_times_what_they_say() -> None:
    """Of 16 quarters at 0.4 m and 16 at a distance d the Pollard estimate is 4·31/(π Σr²): d moves it past 250/4."""

    def told(far_m: float) -> tuple[float, bool | None]:
        distances = [(0.4,) * 4] * 4 + [(far_m,) * 4] * 4
        found = only(
            FakeStore([unit("A", HECTARE), *(quarter(f"q{n}", d) for n, d in enumerate(distances))], grid=GRID)
        )
        assert found.stems_per_acre is not None
        return found.stems_per_acre, found.dense

    # 62.5 an acre, a quarter of the limit, at 4·31·4046.86/(16π·62.5) = d² + 0.16
    at_m = (4 * 31 * M2_PER_ACRE / (16 * 3.141592653589793 * 62.5) - 0.16) ** 0.5
    assert told(at_m * 0.999) == (pytest.approx(62.6, abs=0.1), None)
    assert told(at_m * 1.001) == (pytest.approx(62.4, abs=0.1), False)
    # as many as the limit are dense, clumped or not
    dense_m = ((at_m**2 + 0.16) / 4 - 0.16) ** 0.5
    assert told(dense_m * 0.999)[1] is True and told(dense_m * 1.001)[1] is None


def test_one_stratum_keeps_its_own_limits_and_one_without_ground_of_now_is_left_out() -> None:
    hill = [unit("A", HECTARE, stratum="hill"), unit("B", shapely.box(100, 0, 200, 100), stratum="hill")]
    points = [quarter(f"q{n}", d, unit_id="AB"[n % 2]) for n, d in enumerate(EVEN_M)]
    whole = density(FakeStore([*hill, *points], grid=GRID)).whole_property
    assert whole is not None and len(whole.strata) == 1 and "different kinds" not in whole.rests_on
    (only_one,) = whole.strata
    assert whole.stems_per_acre_ci95_low == only_one.stems_per_acre_ci95_low is not None
    # a plot of A names the stratum of D, all of which was cut since: it stands for no ground
    gone = shapely.box(300, 0, 400, 100)
    rows = [
        unit("A", HECTARE), unit("B", shapely.box(100, 0, 200, 100)), unit("D", gone, stratum="low"),
        *(fixed(f"{name}{n}", 40 + n, unit_id=name) for name in "AB" for n in range(3)), fixed("x", 10, stratum="low"),
        entry("cut", "2025-06-01", gone),
    ]  # fmt: skip
    left = density(FakeStore(rows, grid=GRID)).whole_property
    assert left is not None and [part.stratum for part in left.strata] == ["unit A", "unit B"]


def test_plots_of_more_than_a_year_and_fewer_than_enough_are_warned_of() -> None:
    def warned(*days: str | None, method: str = "fixed") -> list[bool]:
        plots = [
            fixed(f"p{n}", 40 + n, day=day) if method == "fixed" else quarter(f"p{n}", EVEN_M[n], day=day)
            for n, day in enumerate(days)
        ]
        stems = stems_of(plots)
        assert stems is not None
        return [any(words in line for line in stems.warnings) for words in ("are taken together", "say little about")]

    many = ["2025-01-15"] * FEW_PLOTS
    assert warned(*many) == warned(*many[1:], "2026-01-16") == [False, False]  # 366 days
    assert warned(*many[1:], "2026-01-17") == warned(*many[2:], "2026-01-17", None) == [True, False]
    assert warned(*many[1:]) == [False, True]
    assert warned(*["2025-01-15"] * 2) == [False, True] and warned(*["2025-01-15"] * 3) == [False, False]


def test_what_stems_rest_on_is_said_word_by_word() -> None:
    """Three tenths of an acre of a hectare are 12%; a quarter point of two stems has two quarters vacant."""
    plots = [fixed(f"p{n}", 40 + n) for n in range(3)]
    found = stems_of(plots, ground_acres=10_000 / M2_PER_ACRE)
    assert found is not None and found.words == "3 fixed plots covering 12% of the ground, limits by Student's t"
    bare = stems_of(plots)
    assert bare is not None and bare.words == "3 fixed plots, limits by Student's t"
    vacant = stems_of([quarter("a", (1.0, 2.0, None, None)), quarter("b", (1.0, 2.0, 3.0, None))])
    assert vacant is not None and "2 quarter points, 3 of 8 quarters vacant (published factor" in vacant.words
    full = stems_of([quarter("a", (1.0, 2.0, 3.0, 4.0))])
    assert full is not None and "vacant" not in full.words
    # a fixed plot that lost its size is none; a vacant point beside one that is not still counts
    assert stems_of([fixed("p", 40, plot_acres=None)]) is None and stems_of([quarter("v", (None,) * 4)]) is None
    mixed = stems_of([*plots, quarter("q", EVEN_M[0]), quarter("v", (None,) * 4)])
    assert mixed is not None and mixed.plots == tuple(plots)
    assert any(
        line.startswith("2 quarter points not used") and "by the points alone" in line for line in mixed.warnings
    )


def test_plots_count_in_their_unit_from_their_own_day_on_and_those_without_a_day_always() -> None:
    first, later, undated = fixed("a", 1), fixed("b", 2, day="2025-02-01"), fixed("c", 3, day=None)
    told = [first, later, undated, fixed("d", 4, unit_id="B"), replace(first, unit_id=None)]
    for on, counts in (
        (date(2025, 1, 14), "c"), (date(2025, 1, 15), "ac"), (date(2025, 1, 31), "ac"), (date(2025, 2, 1), "abc"),
        (None, "abc"),
    ):  # fmt: skip
        found = plots_by_unit(told, on=on)
        assert "".join(plot.uuid for plot in found["A"]) == counts
        assert set(found) == ({"A"} if on == date(2025, 1, 14) else {"A", "B"})


def test_units_of_cedar_and_those_with_plots_are_told_of() -> None:
    squares = [shapely.box(x, 0, x + 100, 100) for x in (0, 100, 200, 300)]
    covers = ("cedar", "mixed", "grass", "hardwood")
    rows = [unit(name, square, cover=cover) for name, square, cover in zip("ABCD", squares, covers, strict=True)]
    found = density(FakeStore([*rows, fixed("p", 10, unit_id="D")], grid=GRID))
    assert [(one.unit_id, one.plots) for one in found.units] == [("A", 0), ("B", 0), ("D", 1)]


def test_crowns_that_were_measured_otherwise_call_a_stand_dense_though_its_points_are_clumped() -> None:
    distances = [(0.3, 0.5, 0.4, 0.6)] * 4 + [(9.0, 12.0, 8.0, 15.0)] * 4
    points = [quarter(f"q{n}", d, crown_ft=6.0) for n, d in enumerate(distances)]
    for canopy_pct, is_dense in ((80.0, True), (20.0, False)):
        store = FakeStore([unit("A", HECTARE, canopy_pct=canopy_pct), *points], grid=GRID)
        assert only(store).canopy_pct == canopy_pct and only(store).dense is is_dense


def test_a_stand_of_which_nothing_is_wrong_is_told_without_a_warning() -> None:
    plots = [fixed(f"p{n}", 40 + n) for n in range(FEW_PLOTS)]
    found = only(FakeStore([unit("A", HECTARE), *plots], grid=GRID))
    assert found.warnings == () and found.rests_on.startswith(f"{FEW_PLOTS} fixed plots covering")
    # old lines say nothing of stems, and are named all the same
    lines = [fixed(f"l{n}", 0, method="line", line_ft=100.0, intercepts_ft=(9.0,), plot_acres=None) for n in range(2)]
    store = FakeStore([unit("A", HECTARE), *lines, entry("cut", "2025-06-01", HECTARE)], grid=GRID)
    words = "2 plots of 2025-01-15 from before the work on their ground, not counted as now"
    assert only(store).rests_on == words and len(only(store).warnings) == 1


def test_of_plots_of_several_days_the_first_tells_what_was_worked_since_and_the_last_what_ground_they_are_of() -> None:
    """Three tenths of A are cut between two rounds of plots that have no place on the map."""
    cut = entry("cut", "2025-03-01", shapely.box(0, 0, 30, 100))

    def told(*days: str | None) -> tuple[float, UnitDensity]:
        rows = [unit("A", HECTARE), unit("B", shapely.box(100, 0, 200, 100)), cut]
        rows += [fixed(f"b{n}", 30 + n, unit_id="B") for n in range(3)]  # type: ignore[misc]
        store = FakeStore([*rows, *(fixed(f"a{n}", 40 + n, day=day) for n, day in enumerate(days))], grid=GRID)
        result = density(store)
        assert result.whole_property is not None
        return result.whole_property.acres * M2_PER_ACRE, result.units[0]

    whole_m2, found = told("2025-01-15", "2025-04-15")
    assert whole_m2 == pytest.approx(20_000, rel=1e-5) and any("30% of it was worked" in one for one in found.warnings)
    assert (found.measured_from, found.measured_to) == (date(2025, 1, 15), date(2025, 4, 15))
    whole_m2, found = told("2025-01-15", "2025-01-16")
    assert whole_m2 == pytest.approx(17_000, rel=1e-5) and any("30% of it was worked" in one for one in found.warnings)
    whole_m2, found = told("2025-04-15", "2025-04-15")
    assert whole_m2 == pytest.approx(20_000, rel=1e-5) and not any("was worked" in one for one in found.warnings)
    # one without a day may be newer than all work
    assert told("2025-01-15", None)[0] == pytest.approx(20_000, rel=1e-5)


def test_a_stratum_smaller_than_an_acre_counts_by_its_ground_and_clumps_are_named_before_single_plots() -> None:
    """A hectare and 900 m² beside it, 0.22 acre."""
    small = [
        unit("B", shapely.box(100, 0, 130, 30)),
        *(fixed(f"b{n}", 3 + n, unit_id="B", plot_acres=0.02) for n in (0, 1)),
    ]
    three = [unit("A", HECTARE), *(fixed(f"a{n}", 40 + n) for n in range(3))]
    whole = density(FakeStore([*three, *small], grid=GRID)).whole_property
    assert whole is not None and [part.stratum for part in whole.strata] == ["unit A", "unit B"]
    assert whole.acres == pytest.approx(10_900 / M2_PER_ACRE, rel=1e-5)
    assert whole.stems_per_acre == pytest.approx((410 * 10_000 + 175 * 900) / 10_900, rel=1e-5)
    uneven = [(0.3, 0.5, 0.4, 0.6)] * 4 + [(9.0, 12.0, 8.0, 15.0)] * 4
    clumped = [unit("C", shapely.box(200, 0, 300, 100))]
    clumped += [quarter(f"q{n}", d, unit_id="C") for n, d in enumerate(uneven)]  # type: ignore[misc]
    both = density(FakeStore([*three, *clumped, *small[:2]], grid=GRID)).whole_property
    assert both is not None and both.rests_on.endswith("no interval: quarter points look clumped")


def test_a_unit_s_days_are_those_of_the_plots_that_its_figure_rests_on() -> None:
    line = fixed("l", 0, day="2025-03-01", method="line", line_ft=100.0, intercepts_ft=(9.0,), plot_acres=None)
    found = only(FakeStore([unit("A", HECTARE), fixed("p", 4), fixed("q", 5, day="2025-01-20"), line], grid=GRID))
    assert (found.measured_from, found.measured_to) == (date(2025, 1, 15), date(2025, 1, 20))
    # of plots that give no figure the days are told all the same
    bare = only(FakeStore([unit("A", HECTARE), line, quarter("v", (None,) * 4)], grid=GRID))
    assert (bare.measured_from, bare.measured_to, bare.plots) == (date(2025, 1, 15), date(2025, 3, 1), 2)


def test_points_that_a_unit_s_fixed_plots_outdo_and_lines_from_elsewhere_split_no_stratum() -> None:
    rows = [unit("A", HECTARE, stratum="hill"), unit("B", shapely.box(100, 0, 200, 100))]
    rows += [fixed(f"{name}{n}", 40 + n, unit_id=name) for name in "AB" for n in range(3)]  # type: ignore[misc]
    points = [quarter(f"q{n}", d) for n, d in enumerate(EVEN_M)]
    line = fixed(
        "l", 0, unit_id="B", method="line", line_ft=100.0, intercepts_ft=(9.0,), plot_acres=None, stratum="hill"
    )
    whole = density(FakeStore([*rows, *points, line], grid=GRID)).whole_property
    assert whole is not None and [part.stratum for part in whole.strata] == ["hill", "unit B"]
    assert "each unit counts by its own" not in whole.rests_on


def test_points_that_have_limits_are_not_called_clumped_for_want_of_those_of_another_stratum() -> None:
    points = [quarter(f"q{n}", d) for n, d in enumerate(EVEN_M)]
    rows = [unit("A", HECTARE), unit("B", shapely.box(100, 0, 200, 100)), fixed("b", 30, unit_id="B")]
    whole = density(FakeStore([*rows, *points], grid=GRID)).whole_property
    assert whole is not None and whole.strata[0].stems_per_acre_ci95_low is not None
    assert whole.rests_on.endswith("no interval: a stratum has one plot only")
