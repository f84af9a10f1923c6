"""Which plots count as now, and how strata of two methods are weighted, on squares drawn in the grid."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
import shapely
from fakes import GRID, FakeStore, entry, unit

from habmap.jobs.density import density
from habmap.jobs.rank import rank
from habmap.measures import M2_PER_ACRE
from habmap.records import CanopySource, Plot
from habmap.work.density_records import UnitDensity

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
    from habmap.work.density_records import UnitCanopy

    source = CanopySource(uuid="c", path="c.tif", crs_wkt="", vertical_unit="m", recorded_at=NOW)
    tall = {"A": UnitCanopy(canopy_pct=90.0, coverage_pct=100.0)}
    monkeypatch.setattr(job, "canopy_of_units", lambda source, units, **more: (tall, ()))
    standing = FakeStore([unit("A", HECTARE), source], grid=GRID)
    assert only(standing).canopy_pct == 90.0
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
    from habmap.work.stems import stems_of

    stems = stems_of(points)
    assert stems is not None and stems.crown_ft == pytest.approx(((144 + 4 * 36) / 5) ** 0.5)


def test_empty_plots_are_not_sure_of_nothing() -> None:
    found = only(FakeStore([unit("A", HECTARE), *(fixed(f"p{i}", 0) for i in range(3))], grid=GRID))
    # Poisson: 3.6889/0.3 acre, the plots being 12% of the ground: times √(1 − 0.3·4046.86/10,000)
    assert found.stems_per_acre_ci95_high == pytest.approx(12.296 * (1 - 0.3 * M2_PER_ACRE / 10_000) ** 0.5, abs=2e-3)
    assert "exact Poisson limits" in found.rests_on and found.limits_by == "poisson"
