"""Laws that the acre account obeys whatever was logged."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import hypothesis.strategies as st
import pytest
import shapely
from drawn_logs import FEW, MANY, UNITS, entries, logs, polygons
from fakes import GRID, FakeStore, entry, unit
from hypothesis import given
from shapely import Polygon, box
from shapely.affinity import scale, translate

from habmap.jobs.acres import acres
from habmap.land.acreage import pieces
from habmap.land.neighbors import overlaps
from habmap.measures import M2_PER_ACRE
from habmap.records import Entry, Unit
from habmap.vocabulary import KILLING, PRACTICES
from habmap.work.acres import AcresResult
from habmap.work.stages import ground_state


def account(log: list[Entry], units: list[Unit] = UNITS) -> AcresResult:
    return acres(FakeStore([*units, *log], grid=GRID))


def same(one: AcresResult, other: AcresResult, *, tolerance_acres: float = 1e-9) -> None:
    for ours, theirs in zip(one.units, other.units, strict=True):
        assert ours.unit_id == theirs.unit_id
        for stage in ours.stage_acres.__slots__:
            assert getattr(ours.stage_acres, stage) == pytest.approx(
                getattr(theirs.stage_acres, stage), abs=tolerance_acres
            )
    assert {(p.practice, p.entries) for p in one.practices} == {(p.practice, p.entries) for p in other.practices}
    for ours_p, theirs_p in zip(one.practices, other.practices, strict=True):
        assert (ours_p.acres, ours_p.pass_acres) == pytest.approx(
            (theirs_p.acres, theirs_p.pass_acres), abs=tolerance_acres
        )


@FEW
@given(logs)
def test_parts_sum_to_the_whole(log: list[Entry]) -> None:
    result = account(log)
    assert result.closure_m2 <= 1e-6
    for line, drawn in zip(result.units, UNITS, strict=True):
        assert line.acres * M2_PER_ACRE == pytest.approx(GRID.to_grid(drawn.geometry).area, abs=1e-6)
        parts = line.treated_acres + line.remaining_acres + line.keep_acres + line.stage_acres.other
        assert parts == pytest.approx(line.acres, abs=1e-9)
    for practice in result.practices:
        # Plain polygon algebra on the same patches, patch after patch.
        ground = shapely.union_all([GRID.to_grid(e.patch) for e in log if e.practice == practice.practice and e.patch])
        assert practice.acres * M2_PER_ACRE == pytest.approx(ground.area, abs=1e-5)
        assert practice.acres <= practice.pass_acres + 1e-9


@FEW
@given(logs, st.randoms(use_true_random=False))
def test_the_order_in_which_same_day_work_is_written_does_not_matter(log: list[Entry], shuffler: object) -> None:
    one_day = [replace(line, date=date(2024, 5, 5)) for line in log]
    moments = [(line.recorded_at, line.entry_id) for line in one_day]
    shuffler.shuffle(moments)  # type: ignore[attr-defined]
    other_order = [
        replace(line, recorded_at=moment, entry_id=entry_id)
        for line, (moment, entry_id) in zip(one_day, moments, strict=True)
    ]
    same(account(one_day), account(other_order))


@FEW
@given(logs, entries(tuple(p for p in PRACTICES if p not in ("checkup", "keep"))))
def test_more_work_never_lowers_treated_acres(log: list[Entry], more: Entry) -> None:
    before, after = account(log), account([*log, more])
    for ours, theirs in zip(before.units, after.units, strict=True):
        assert theirs.treated_acres >= ours.treated_acres - 1e-9


@MANY
@given(st.lists(entries(), max_size=12))
def test_shares_felled_and_left_standing_are_parts_of_the_share_killed(log: list[Entry]) -> None:
    state = ground_state(log, target_frac=0.8, leave_stems_per_acre=25)
    shares = (state.lying_frac, state.charred_frac, state.piled_frac, state.snag_frac)
    assert all(0 <= share <= 1 for share in shares)
    assert sum(shares) <= state.killed_frac + 1e-12
    assert (state.brought_to_target is not None) == (state.killed_frac >= 0.8 - 1e-9)
    frac = 0.0
    for kill in state.kills:
        assert kill.killed_before_frac == frac
        frac = kill.killed_after_frac
    assert frac == state.killed_frac


@MANY
@given(st.data())
def test_more_work_never_takes_ground_out_of_the_treated(data: st.DataObject) -> None:
    """The same law on one spot, where many more histories can be tried."""
    days = st.integers(0, 5).map(lambda step: date(2024, 1, 1) + timedelta(days=110 * step))

    def lines(practices: tuple[str, ...]) -> st.SearchStrategy[Entry]:
        return st.builds(
            lambda practice, day, killed, live: entry(
                practice, day, killed_pct=killed if practice in KILLING else None, live_stems_per_acre=live
            ),
            st.sampled_from(practices),
            days,
            st.sampled_from([0.0, 30.0, 50.0, 80.0, 100.0]),
            st.sampled_from([0.0, 80.0]),
        )

    log = data.draw(st.lists(lines(PRACTICES), max_size=8))
    more = data.draw(lines(tuple(p for p in PRACTICES if p not in ("checkup", "keep"))))
    before = ground_state(log, target_frac=0.8, leave_stems_per_acre=25)
    after = ground_state([*log, more], target_frac=0.8, leave_stems_per_acre=25)
    assert after.is_treated or not before.is_treated
    assert after.killed_frac >= before.killed_frac - 1e-12


@FEW
@given(logs, entries())
def test_voiding_equals_never_having_logged(log: list[Entry], slip: Entry) -> None:
    end = entry("other", "2024-01-01", action="void", target=slip.entry_id, why="a slip")
    with_void, without = account([*log, slip, end]), account(log)
    assert with_void == without


@FEW
@given(logs, entries(), entries())
def test_amending_equals_having_logged_it_right(log: list[Entry], slip: Entry, right: Entry) -> None:
    change = replace(right, action="amend", target=slip.entry_id, why="a slip")
    straight = replace(right, entry_id=slip.entry_id, recorded_at=slip.recorded_at)
    assert account([*log, slip, change]) == account([*log, straight])


@FEW
@given(logs)
def test_where_a_ring_starts_and_which_way_it_runs_do_not_matter(log: list[Entry]) -> None:
    def turned(shape: shapely.MultiPolygon) -> shapely.MultiPolygon:
        parts = []
        for part in shape.geoms:
            ring = list(part.exterior.coords)[:-1]
            middle = len(ring) // 2
            parts.append(Polygon([*ring[middle:], *ring[:middle]][::-1]))
        return shapely.MultiPolygon(parts)

    units = [replace(drawn, geometry=turned(drawn.geometry)) for drawn in UNITS]
    lines = [replace(line, patch=turned(line.patch)) for line in log if line.patch]
    same(account(log), account(lines, units))


@FEW
@given(st.lists(polygons(), min_size=1, max_size=5), st.floats(0.1, 10), st.floats(-5e4, 5e4), st.floats(-5e4, 5e4))
def test_scaling_and_shifting_scale_and_keep_the_pieces(
    patches: list[Polygon], factor: float, dx_m: float, dy_m: float
) -> None:
    units = [box(0, 0, 200, 150), box(200, 0, 400, 150)]

    def sums(
        of_units: list[Polygon], of_patches: list[Polygon]
    ) -> dict[tuple[tuple[int, ...], tuple[int, ...]], float]:
        found: dict[tuple[tuple[int, ...], tuple[int, ...]], float] = {}
        for piece in pieces(of_units, of_patches):
            key = (piece.units, piece.patches)
            found[key] = found.get(key, 0.0) + piece.area_m2
        return found

    def moved(shape: Polygon) -> Polygon:
        return translate(scale(shape, factor, factor, origin=(0, 0)), dx_m, dy_m)

    before, after = sums(units, patches), sums([moved(u) for u in units], [moved(p) for p in patches])
    for key in before.keys() | after.keys():
        # Moving by 50 km costs digits: 1e-11 m per coordinate along some kilometers of edge.
        assert after.get(key, 0.0) == pytest.approx(before.get(key, 0.0) * factor**2, abs=1e-5 * max(factor, 1))


@FEW
@given(st.lists(polygons(), min_size=2, max_size=6))
def test_overlaps_found_are_those_of_plain_algebra(shapes: list[Polygon]) -> None:
    found = {(pair.first, pair.second): pair.area_m2 for pair in overlaps(shapes)}
    for second in range(len(shapes)):
        for first in range(second):
            shared = shapes[first].intersection(shapes[second])
            if (first, second) in found:
                assert found[(first, second)] == pytest.approx(shared.area, abs=1e-9)
            else:
                # Nowhere wider than a hair: its area is then at most half its outline's length times the hair.
                assert shared.area <= shared.length / 2 * 0.05 + 1e-9


@FEW
@given(polygons())
def test_half_and_then_half_of_the_rest_is_75_percent(patch: Polygon) -> None:
    log = [entry("cut", "2024-01-01", patch, killed_pct=50), entry("girdle", "2024-02-01", patch, killed_pct=50)]
    whole = [unit("A", box(-300, -300, 700, 700), target_pct=75.0)]
    result = account(log, whole)
    assert result.totals.stage_acres.down == pytest.approx(patch.area / M2_PER_ACRE, abs=1e-9)
    harder = [replace(whole[0], target_pct=75.1)]
    assert account(log, harder).totals.stage_acres.part_cut == pytest.approx(patch.area / M2_PER_ACRE, abs=1e-9)


@FEW
@given(logs, st.floats(20, 180))
def test_splitting_a_unit_loses_no_acre_of_any_stage(log: list[Entry], cut_at_m: float) -> None:
    halves = [unit("A1", box(0, 0, cut_at_m, 150)), unit("A2", box(cut_at_m, 0, 200, 150)), *UNITS[1:]]
    # The grid's straight edges and the new corners on them part by less than a micrometre.
    assert account(log, halves).totals.treated_acres == pytest.approx(account(log).totals.treated_acres, abs=1e-7)
