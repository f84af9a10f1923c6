"""Before and after on small squares: what counts on which side, what is left out, and what is never guessed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from itertools import count

import pytest
from fakes import GRID, FakeStore, entry, unit
from shapely import MultiPolygon, Point, box

from habmap.jobs.response import response
from habmap.land.density import crown_cover_pct
from habmap.place.settings import Settings
from habmap.records import CoverFrame, CoverLine, Entry, Look, Plot, Row, Sighting
from habmap.work.ground import Ground, cut_ground
from habmap.work.response import change, mean_cover
from habmap.work.response_records import ResponseResult, UnitResponse
from habmap.work.response_units import _by_unit

NOW = datetime(2026, 8, 1, tzinfo=UTC)
SQUARE = box(0, 0, 200, 200)
GRASS = CoverLine(species="Schizachyrium scoparium", cover_pct=15.0, native=True)
BROME = CoverLine(species="Bromus japonicus", cover_pct=37.5, native=False)
CEDAR = CoverLine(species="Juniperus virginiana", cover_pct=62.5, native=True)
UNKEYED = CoverLine(species="Panicum sp.", cover_pct=2.5, native=None)
LITTER = CoverLine(group="litter", cover_pct=85.0)
_numbers = count(1)


def frame(day: str, *lines: CoverLine, canopy_pct: float | None = None, unit_id: str = "A") -> CoverFrame:
    number = next(_numbers)
    return CoverFrame(
        uuid=f"frame-{number}",
        reading_id=day,
        frame=str(number),
        unit_id=unit_id,
        read_on=date.fromisoformat(day),
        canopy_pct=canopy_pct,
        lines=lines,
        recorded_at=NOW,
    )


def seen(
    first: str, name: str, *, last: str | None = None, at: tuple[float, float] = (100, 100), **more: object
) -> Sighting:
    content: dict[str, object] = {
        "uuid": f"seen-{next(_numbers)}",
        "event_date": first,
        "seen_from": date.fromisoformat(first),
        "seen_to": date.fromisoformat(last or first),
        "scientific_name": name,
        "geometry": GRID.to_lonlat(Point(*at)),
        "recorded_at": NOW,
    }
    return Sighting(**(content | more))  # type: ignore[arg-type]


def asked(rows: Sequence[Row], *, on: date | None = None) -> ResponseResult:
    return response(FakeStore([unit("A", SQUARE), *rows], grid=GRID), on=on)


def only(rows: Sequence[Row], *, on: date | None = None) -> UnitResponse:
    return asked(rows, on=on).units[0]


CUT = entry("cut", "2025-03-01", SQUARE)


def test_frames_without_the_plant_count_as_nothing() -> None:
    found = only(
        [
            CUT,
            frame("2024-09-01", GRASS),
            frame("2024-09-01"),
            frame("2026-06-01", GRASS, BROME),
            frame("2026-06-01", GRASS),
        ]
    )
    assert (found.native_cover_before_pct, found.native_cover_after_pct, found.native_cover_change_pct) == (
        7.5,
        15.0,
        7.5,
    )
    assert (found.frames_before, found.frames_after) == (2, 2)
    # Welch: the only spread is that of 15 and 0, se 7.5 with one degree of freedom, t(1) = 12.706 (tables)
    assert found.native_cover_change_pct_ci95_low == pytest.approx(7.5 - 12.706 * 7.5, abs=0.01)
    assert found.native_cover_change_pct_ci95_high == 100.0
    assert (found.native_cover_after_pct_ci95_low, found.native_cover_after_pct_ci95_high) == (15.0, 15.0)


def test_native_is_what_was_written_and_cedars_and_litter_are_neither() -> None:
    found = only([CUT, frame("2024-09-01", GRASS, BROME, CEDAR, UNKEYED, LITTER)])
    assert found.native_cover_before_pct == 15.0
    assert found.unknown_cover_before_pct == 2.5
    assert (found.species_before, found.native_species_before) == (3, 1)


def test_the_last_round_before_stands_beside_the_newest_after() -> None:
    rows = [
        frame("2023-09-01", BROME),
        frame("2024-09-01", GRASS),
        frame("2025-06-01"),
        frame("2026-06-01", GRASS, GRASS),
    ]
    found = only([CUT, *rows])
    assert (found.read_before_on, found.read_after_on) == (date(2024, 9, 1), date(2026, 6, 1))
    assert (found.native_cover_before_pct, found.native_cover_after_pct) == (15.0, 30.0)
    # every round counts among what was noted
    assert (found.species_frames_before, found.species_before) == (2, 2)


def test_a_round_read_over_some_days_is_one_round() -> None:
    rows = [
        replace(frame("2026-06-01", GRASS), reading_id="r"),
        replace(frame("2026-06-03"), reading_id="r"),
        replace(frame("2026-06-03", GRASS), reading_id="other"),
        replace(frame("2026-06-02", BROME), reading_id="yet another"),
        replace(frame("2026-04-01", BROME), reading_id="r"),  # of the same reading, but long before
    ]
    found = only([CUT, *rows])
    assert (found.frames_after, found.read_after_on) == (3, date(2026, 6, 3))
    assert found.native_cover_after_pct == 10.0


def test_the_very_day_and_a_stay_around_it_count_on_neither_side() -> None:
    rows = [
        frame("2025-03-01", GRASS),
        seen("2025-02-20", "Danaus plexippus", last="2025-03-10"),
        seen("2025-03-01", "X y"),
    ]
    found = only([CUT, *rows])
    assert (found.frames_before, found.frames_after, found.species_before, found.species_after) == (0, 0, 0, 0)
    assert found.left_out == 3


def test_only_killing_and_fire_are_work_and_a_run_over_the_edge_is_none() -> None:
    logged = [
        entry("graze", "2024-01-01", SQUARE),
        entry("keep", "2024-02-01", SQUARE),
        entry("burn", "2024-03-01", box(-50, 0, 1, 200)),  # half a hundredth of the unit
        entry("girdle", "2024-04-01", box(0, 0, 50, 200), killed_pct=50),
    ]
    found = only(logged)
    assert (found.first_work_on, found.first_work) == (date(2024, 4, 1), "girdle")
    assert found.worked_pct == pytest.approx(25, abs=1e-6)


def test_without_work_everything_is_before_and_says_so() -> None:
    found = only([frame("2026-06-01", GRASS)])
    assert (found.read_before_on, found.first_work_on, found.native_cover_after_pct) == (date(2026, 6, 1), None, None)
    assert "from before" in found.words


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ([CUT], "nothing to compare"),
        ([CUT, frame("2024-09-01", GRASS)], "nothing to compare"),
        ([CUT, frame("2026-09-01", GRASS)], "nothing was read before the work"),
    ],
)
def test_one_side_alone_is_no_comparison(rows: list[Row], said: str) -> None:
    found = only(rows)
    assert said in found.words
    assert found.native_cover_change_pct is None and found.frames_compared is None


def test_no_sentence_claims_a_cause() -> None:
    result = asked([CUT, frame("2024-09-01"), frame("2026-09-01", GRASS), seen("2026-05-01", "Danaus plexippus")])
    text = " ".join(one.words for one in result.units).lower()
    assert not any(word in text for word in ("because", "thanks to", "due to", "led to", "improved", "caused"))
    assert any("not what caused it" in line for line in result.method)


def test_absent_sightings_other_spellings_and_cedars_add_no_species() -> None:
    found = only(
        [
            CUT,
            seen("2026-05-01", "Spiza americana", establishment_means="native"),
            seen("2026-05-02", "spiza  Americana"),
            seen("2026-05-03", "Colinus virginianus", is_present=False, individual_count=0),
            seen("2026-05-04", "Juniperus virginiana"),
            seen("2026-05-05", "Sturnus vulgaris", establishment_means="introduced"),
        ]
    )
    assert (found.species_after, found.native_species_after, found.sightings_after) == (2, 1, 5)


def test_sightings_belong_where_they_lie_and_unsure_ones_are_told() -> None:
    result = asked(
        [
            CUT,
            seen("2026-05-01", "A b", at=(100, 100), uncertainty_m=50.0),
            seen("2026-05-01", "C d", at=(190, 100), uncertainty_m=50.0),
            seen("2026-05-01", "A b", at=(110, 100), uncertainty_m=50.0),
            seen("2026-05-01", "E f", at=(900, 100)),
        ]
    )
    found = result.units[0]
    assert (found.species_after, found.sightings_unsure, result.sightings_outside) == (2, 1, 1)
    # where two outlines of one edge overlap by a hair, a sighting is the first unit's
    beside = unit("B", box(199.96, 0, 300, 200))
    both = asked([CUT, beside, seen("2026-05-01", "A b", at=(199.98, 100))]).units
    assert [(one.unit_id, one.species_after) for one in both] == [("A", 1), ("B", 0)]


def test_a_day_asked_for_hides_what_came_later() -> None:
    rows = [CUT, frame("2024-09-01"), frame("2025-06-01", GRASS), frame("2026-06-01", BROME), seen("2026-05-01", "A b")]
    found = only(rows, on=date(2025, 12, 31))
    assert (found.read_after_on, found.species_after) == (date(2025, 6, 1), 1)
    assert only(rows, on=date(2025, 1, 1)).first_work_on is None
    assert asked(rows).on == date(2026, 6, 1)


def test_equally_many_frames_are_compared() -> None:
    before = [frame("2024-09-01", GRASS), frame("2024-09-01", GRASS, BROME)]
    after = [frame("2026-06-01", GRASS), frame("2026-06-01", BROME), frame("2026-06-01", GRASS, UNKEYED)]
    found = only([CUT, *before, *after])
    assert (found.frames_compared, found.frame_species_before) == (2, 2.0)
    # of three pairs after: {grass, brome}, {grass, unkeyed}, {grass, brome, unkeyed}: 7/3 species
    assert found.frame_species_after == pytest.approx(7 / 3)


def test_frames_read_by_groups_alone_tell_no_number_of_species() -> None:
    grasses = CoverLine(group="native grasses", cover_pct=37.5, native=True)
    found = only([CUT, frame("2024-09-01", grasses), frame("2024-09-01", grasses), frame("2026-06-01", GRASS)])
    assert (found.native_cover_before_pct, found.native_cover_after_pct) == (37.5, 15.0)
    assert (found.species_frames_before, found.species_frames_after) == (0, 1)
    assert found.frames_compared is None and found.frame_species_before is None


def test_canopy_comes_from_frames_then_lines_then_stems_then_the_outline() -> None:
    def plot(day: str, **given: object) -> Plot:
        name = f"plot-{next(_numbers)}"
        content: dict[str, object] = {
            "uuid": name,
            "plot_id": name,
            "unit_id": "A",
            "measured_on": date.fromisoformat(day),
            "recorded_at": NOW,
        }
        return Plot(**(content | given))  # type: ignore[arg-type]

    lines = [
        plot("2026-06-01", method="line", line_ft=100.0, intercepts_ft=(20.0,)),
        plot("2026-06-01", method="line", line_ft=300.0, intercepts_ft=(40.0, 20.0)),
    ]
    stems = plot("2024-09-01", method="fixed", plot_acres=0.1, stems=20, crown_ft=10.0)
    store = FakeStore([unit("A", SQUARE, canopy_pct=66.0), CUT, stems, *lines], grid=GRID)
    found = response(store).units[0]
    assert found.canopy_before_pct == pytest.approx(crown_cover_pct(200.0, crown_ft=10.0))
    # 20 of 100 ft and 60 of 300 ft: a fifth of each, so no spread
    assert (found.canopy_after_pct, found.canopy_after_on) == (pytest.approx(20.0), date(2026, 6, 1))
    assert found.canopy_after_pct_ci95_high == pytest.approx(20.0)
    store.append([frame("2026-06-02", canopy_pct=4.0), frame("2026-06-02", canopy_pct=8.0)])
    assert response(store).units[0].canopy_after_pct == 6.0
    outline = response(FakeStore([unit("A", SQUARE, canopy_pct=66.0), CUT], grid=GRID)).units[0]
    assert (outline.canopy_before_pct, outline.canopy_after_pct) == (66.0, None)


def test_what_comes_back_is_the_last_look_on_each_ground() -> None:
    def look(day: str, planar: object, **given: object) -> Entry:
        return entry("checkup", day, planar, look=Look(**given))  # type: ignore[arg-type]

    west, east = box(0, 0, 100, 200), box(100, 0, 200, 200)
    found = only(
        [
            look("2025-02-01", SQUARE, live_stems_per_acre=800),  # before the work
            CUT,
            look("2025-09-01", SQUARE, live_stems_per_acre=90, seedlings_per_acre=300),
            look("2026-06-01", east, live_stems_per_acre=40, sprouts=(("sumac", 12),), tallest_ft=2.0),
        ]
    )
    assert [one.on for one in found.coming_back.looks] == [date(2026, 6, 1), date(2025, 9, 1)]
    assert found.coming_back.looks[0].sprouts == {"sumac": 12}
    assert [one.acres for one in found.coming_back.looks] == pytest.approx([west.area / 4046.8564224] * 2)
    assert "300 cedar seedlings an acre" in found.words and "sumac (12)" in found.words


@pytest.mark.parametrize(
    ("day", "on", "side"),
    [
        ("2025-02-28", None, "before"), ("2025-03-01", None, None), ("2025-03-02", None, "after"), (None, None, None),
        ("2026-05-02", date(2026, 5, 1), None), ("2026-05-01", date(2026, 5, 1), "after"),
    ],
)  # fmt: skip
def test_a_line_counts_on_the_side_of_its_day_and_up_to_the_day_asked_about(
    day: str | None, on: date | None, side: str | None
) -> None:
    """The work was done on March 1, 2025; a line under crowns for a fifth of it."""
    content = {"plot_id": "L", "recorded_at": NOW, "method": "line", "line_ft": 100.0, "intercepts_ft": (20.0,),
               "measured_on": date.fromisoformat(day) if day else None}  # fmt: skip
    for unit_id, sides in (("A", side), (None, None)):
        found = only([CUT, Plot(uuid="L", unit_id=unit_id, **content)], on=on)  # type: ignore[arg-type]
        got = {"before": found.canopy_before_pct, "after": found.canopy_after_pct}
        assert got == {one: 20.0 if one == sides else None for one in ("before", "after")}


def test_the_canopy_before_is_that_of_the_outline_as_it_was_then() -> None:
    old = unit("A", SQUARE, canopy_pct=70.0)
    redrawn = unit("A", SQUARE, canopy_pct=5.0, replaces=(old.uuid,), valid_from=date(2025, 6, 1))
    found = response(FakeStore([old, redrawn, CUT], grid=GRID)).units[0]
    assert (found.canopy_before_pct, found.canopy_before_on) == (70.0, None)


# --- layers that are summed ----------------------------------------------------------------------------------


def _native(name: str, cover_pct: float) -> CoverLine:
    return CoverLine(species=name, cover_pct=cover_pct, native=True)


def test_summed_layers_are_said_and_their_limits_stay_within_what_can_be() -> None:
    """A35: 109% and 42% (0 to 583) were printed without a word."""
    thick = [_native("Andropogon gerardii", 85.0), _native("Sorghastrum nutans", 62.5)]
    frames = [frame("2026-05-01", *thick), frame("2026-05-01", thick[0], _native("Helianthus mollis", 2.5))]
    found = only(frames)
    # (147.5 + 87.5)/2; t(1) = 12.706 gives 117.5 ± 381, but three plants cover no more than 300% and no less than none
    assert found.native_cover_before_pct == pytest.approx(117.5)
    assert (found.native_cover_before_pct_ci95_low, found.native_cover_before_pct_ci95_high) == (0.0, 300.0)
    assert found.native_plants_before == 3
    assert "Native plants covered 118% (0 to 300), the layers of 3 plants summed, in 2 frames" in found.words
    assert any("layers" in line and "may pass 100%" in line for line in asked(frames).method)


def test_one_plant_alone_covers_no_more_than_all_the_ground() -> None:
    frames = [frame("2026-05-01", _native("Andropogon gerardii", pct), CEDAR, LITTER) for pct in (97.5, 62.5)]
    found = only(frames)
    assert (found.native_cover_before_pct_ci95_low, found.native_cover_before_pct_ci95_high) == (0.0, 100.0)
    assert "summed" not in found.words


def test_a_change_is_no_larger_than_the_two_sides_can_differ() -> None:
    before, after = mean_cover([0.0, 15.0], plants=1), mean_cover([90.0, 10.0, 170.0], plants=2)
    moved = change(before, after)
    assert moved.points == pytest.approx(82.5)
    assert moved.ci95_low is not None and moved.ci95_low >= -100
    assert moved.ci95_high == 200.0
    back = change(after, before)
    assert (back.ci95_low, back.ci95_high) == (-200.0, pytest.approx(-moved.ci95_low))


def test_ground_without_cedars_is_told_only_where_something_was_read_seen_or_done() -> None:
    rows = [
        unit("read", box(300, 0, 400, 100), cover="grass"), replace(frame("2026-06-01", GRASS), unit_id="read"),
        unit("seen", box(400, 0, 500, 100), cover="grass", canopy_pct=5.0), seen("2026-06-01", "Liatris", at=(450, 50)),
        unit("burned", box(500, 0, 600, 100), cover="grass"), entry("burn", "2025-03-01", box(500, 0, 600, 100)),
        unit("nothing", box(600, 0, 700, 100), cover="grass"),
    ]  # fmt: skip
    assert [one.unit_id for one in asked(rows).units] == ["A", "burned", "read", "seen"]


def test_a_unit_drawn_after_its_first_work_is_told_as_it_is_drawn() -> None:
    untouched = response(FakeStore([unit("A", SQUARE, canopy_pct=60.0)], grid=GRID)).units[0]
    assert untouched.canopy_before_pct == 60.0
    late = unit("A", SQUARE, valid_from=date(2026, 1, 1), canopy_pct=60.0)
    (found,) = response(FakeStore([late, CUT, frame("2026-06-01", GRASS)], grid=GRID)).units
    assert (found.unit_id, found.native_cover_after_pct) == ("A", 15.0)


# --- sides, rounds and canopy at their limits ----------------------------------------------------------------


def test_a_round_reaches_back_a_month_within_one_reading() -> None:
    """A reading is the day's own unless named; of reading r the frames of 31 days before count, of 32 not."""
    rows = [replace(frame(day, GRASS), reading_id="r") for day in ("2026-07-02", "2026-06-01", "2026-05-31")]
    found = only([CUT, *rows])
    assert (found.frames_after, found.read_after_on, found.species_frames_after) == (2, date(2026, 7, 2), 3)
    # canopy by the frames of the round that have it, on the round's last day
    rows = [CUT, frame("2026-06-01"), frame("2026-06-01", canopy_pct=30.0), frame("2026-06-01", canopy_pct=50.0)]
    canopy = only(rows)
    assert (canopy.canopy_after_pct, canopy.canopy_after_on, canopy.canopy_after_rests_on) == (
        40.0, date(2026, 6, 1), "2 frames",
    )  # fmt: skip
    assert (canopy.canopy_after_pct_ci95_low, canopy.canopy_after_pct_ci95_high) == (0.0, 100.0)
    rows = [replace(frame(day, canopy_pct=30.0), reading_id="r") for day in ("2026-06-03", "2026-06-01")]
    assert only([CUT, *rows]).canopy_after_on == date(2026, 6, 3)


def test_frames_and_sightings_stand_on_the_side_of_their_days_and_none_on_the_day_itself() -> None:
    rows = [
        frame("2025-02-28", GRASS), frame("2025-03-02", BROME),
        seen("2025-02-27", "A b", last="2025-02-28"), seen("2025-03-02", "C d", last="2025-03-05"),
        seen("2025-02-28", "E f", last="2025-03-01"), seen("2025-03-01", "G h", last="2025-03-02"),
    ]  # fmt: skip
    found = only([CUT, *rows])
    assert (found.frames_before, found.frames_after, found.sightings_before, found.sightings_after) == (1, 1, 1, 1)
    assert (found.species_before, found.species_after, found.left_out) == (2, 2, 2)
    assert (found.native_species_before, found.native_species_after) == (1, 0)
    # up to the day asked about, that day with it
    assert only([CUT, *rows], on=date(2025, 3, 5)).sightings_after == 1
    cut_off = asked([CUT, *rows], on=date(2025, 3, 4))
    assert (cut_off.units[0].sightings_after, cut_off.units[0].frames_after, cut_off.on) == (0, 1, date(2025, 3, 4))
    assert only([CUT, *rows], on=date(2025, 3, 2)).frames_after == 1
    assert only([CUT, *rows], on=date(2025, 3, 1)).frames_after == 0


def test_without_a_day_the_newest_of_lines_frames_and_sightings_is_it() -> None:
    look = frame("2026-06-01", GRASS)
    assert asked([CUT]).on == date(2025, 3, 1)
    assert asked([CUT, look]).on == date(2026, 6, 1)
    assert asked([CUT, look, seen("2026-06-01", "A b", last="2026-06-07")]).on == date(2026, 6, 7)
    assert asked([]).on is None


def test_a_species_is_native_where_anybody_said_so() -> None:
    again = seen("2026-05-02", "A b", establishment_means="introduced")
    for means, is_native in (("native", 1), ("nativeReintroduced", 1), ("introduced", 0), (None, 0)):
        sightings = [seen("2026-05-01", "A b", establishment_means=means), again]
        found = only([CUT, *sightings])
        assert (found.species_after, found.native_species_after) == (1, is_native)
    lines = [CoverLine(species="A b", cover_pct=1.0, native=said) for said in (None, False, True)]
    assert only([CUT, frame("2026-06-01", *lines[:2])]).native_species_after == 0
    assert only([CUT, frame("2026-06-01", lines[2]), again]).native_species_after == 1


def test_a_frame_with_one_plant_named_tells_of_species_whatever_else_it_holds() -> None:
    grasses = CoverLine(group="native grasses", cover_pct=37.5, native=True)
    found = only([CUT, frame("2026-06-01", GRASS, grasses), frame("2026-06-01", grasses), frame("2026-06-01", LITTER)])
    # bare litter tells that there was no plant; groups of plants alone tell of none
    assert (found.frames_after, found.species_frames_after) == (3, 2)
    assert found.native_plants_after == 2


def state_of() -> Ground:
    return cut_ground((unit("A", SQUARE),), (), grid=GRID, limits=Settings().stages)


def test_a_sighting_is_unsure_where_its_error_reaches_past_the_edge() -> None:
    def unsure(error_m: float | None) -> int:
        return only([CUT, seen("2026-05-01", "A b", at=(190, 100), uncertainty_m=error_m)]).sightings_unsure

    assert [unsure(error) for error in (None, 9.99, 10.01)] == [0, 0, 1]
    assert asked([seen("2026-05-01", "A b", at=(200, 100))]).sightings_outside == 0  # on the very edge is inside
    # before there is a grid, or a unit, all lie outside; none is none
    spot = seen("2026-05-01", "A b")
    for rows, ground in (([spot], Ground(None, None, (), ())), ([spot], Ground(None, GRID, (), ())), ([], state_of())):
        assert _by_unit(ground, rows) == ({}, {}, len(rows))
    # up to the very edge is not past it: the middle of the grid, 10 m from the edge to the last digit
    state = replace(state_of(), unit_shapes={"A": MultiPolygon([box(-10, -50, 50, 50)])})
    for error_m, beyond in ((10.0, 0), (10.000001, 1)):
        _, unsure_in, _ = _by_unit(state, [seen("2026-05-01", "A b", at=(0, 0), uncertainty_m=error_m)])
        assert unsure_in["A"] == beyond


def _line(number: int, line_ft: float | None, *under_ft: float, day: str = "2026-06-01", **fields: object) -> Plot:
    content: dict[str, object] = {
        "uuid": f"line-{number}-{day}", "plot_id": f"L{number}", "unit_id": "A", "measured_on": date.fromisoformat(day),
        "recorded_at": NOW, "method": "line", "line_ft": line_ft, "intercepts_ft": under_ft,
    }  # fmt: skip
    return Plot(**(content | fields))  # type: ignore[arg-type]


def test_canopy_by_lines_has_student_s_limits_and_only_the_newest_day_counts() -> None:
    """18, 20 and 22 of 100 ft: 20%, its standard error 2/√3, t(2) = 4.303 (tables): 15.03 to 24.97."""
    old = _line(9, 100.0, 90.0, day="2026-05-31")
    found = only([CUT, old, *(_line(n, 100.0, feet) for n, feet in enumerate((18.0, 20.0, 22.0)))])
    assert (found.canopy_after_pct, found.canopy_after_on) == (pytest.approx(20.0), date(2026, 6, 1))
    assert found.canopy_after_rests_on == "3 lines, 300 ft together"
    assert found.canopy_after_pct_ci95_low == pytest.approx(15.03, abs=0.005)
    assert found.canopy_after_pct_ci95_high == pytest.approx(24.97, abs=0.005)
    # longer lines weigh more, no crown covers more than all the ground, and one line has no limits
    high = only([CUT, _line(1, 100.0, 100.0), _line(2, 300.0, 270.0)])
    assert (high.canopy_after_pct, high.canopy_after_pct_ci95_high) == (pytest.approx(92.5), 100.0)
    one = only([CUT, _line(1, 100.0, 10.0, 15.0)])
    assert (one.canopy_after_pct, one.canopy_after_pct_ci95_low, one.canopy_after_pct_ci95_high) == (25.0, None, None)
    # before its stems do, a line tells the canopy; plots without crowns tell none
    fixed: dict[str, object] = {"method": "fixed", "plot_acres": 0.1, "stems": 20}
    stems = _line(3, None, day="2026-06-02", **fixed, crown_ft=10.0)
    assert only([CUT, stems, _line(1, 100.0, 25.0)]).canopy_after_pct == 25.0
    by_stems = only([CUT, stems])
    assert by_stems.canopy_after_rests_on == "stems of 1 plot and a crown of 10.0 ft by mean area"
    assert (by_stems.canopy_after_on, by_stems.canopy_after_pct_ci95_low) == (date(2026, 6, 2), None)
    assert only([CUT, _line(3, None, **fixed)]).canopy_after_pct is None
    # a line whose length another program took away hides neither older lines nor stems
    bare = _line(5, None, 10.0, day="2026-06-05")
    assert only([CUT, bare, _line(1, 100.0, 25.0)]).canopy_after_pct == 25.0
    assert only([CUT, bare, stems]).canopy_after_on == date(2026, 6, 2)


def test_the_outline_before_is_the_last_that_held_up_to_the_day_of_the_work() -> None:
    """Three drawings: from the beginning, from February 1 and from a day at the edge of the work of March 1."""

    def canopy(third_from: date, *, second_to: date | None = None) -> float | None:
        first = unit("A", SQUARE, canopy_pct=70.0, valid_to=date(2025, 2, 1))
        second = unit("A", SQUARE, canopy_pct=60.0, replaces=(first.uuid,), valid_from=date(2025, 2, 1))
        third = unit("A", SQUARE, canopy_pct=5.0, replaces=(second.uuid,), valid_from=third_from)
        return response(FakeStore([first, second, third, CUT], grid=GRID)).units[0].canopy_before_pct

    assert canopy(date(2025, 2, 28)) == 5.0
    assert canopy(date(2025, 3, 1)) == 60.0
    assert canopy(date(2025, 3, 2)) == 60.0
    # one that was taken back never held, whenever it was written
    first = unit("A", SQUARE, canopy_pct=70.0)
    second = unit("A", SQUARE, canopy_pct=60.0, replaces=(first.uuid,), valid_from=date(2025, 2, 1))
    back = unit("A", SQUARE, canopy_pct=5.0, replaces=(second.uuid, first.uuid), valid_from=date(2025, 3, 9))
    assert response(FakeStore([first, second, back, CUT], grid=GRID)).units[0].canopy_before_pct == 70.0


def test_work_over_a_hundredth_of_a_unit_is_the_first_and_less_ran_over_its_edge() -> None:
    """The unit is 200 m wide: a strip of 2.01 m is 1.005%, of 1.99 m less than one."""
    cut = entry("cut", "2024-04-01", box(100, 0, 200, 200))
    for width_m, first in ((2.015, date(2024, 3, 1)), (1.99, date(2024, 4, 1))):
        found = only([entry("burn", "2024-03-01", box(-50, 0, width_m, 200)), cut])
        assert found.first_work_on == first
        assert found.worked_pct == pytest.approx(50 + width_m / 2, abs=1e-4)


def test_looks_count_after_the_first_work_on_ground_from_a_twentieth_of_an_acre() -> None:
    """10 m by 20.3 m are 0.05016 acre, by 20.1 m 0.0497; a look on the day of the work is none since."""

    def looks(day: str, north_m: float, **said: object) -> list[float]:
        look = Look(**said)  # type: ignore[arg-type]
        found = only([CUT, entry("checkup", day, box(0, 0, 10, north_m), look=look)])
        return [round(one.acres, 4) for one in found.coming_back.looks]

    assert looks("2025-03-02", 20.3, live_stems_per_acre=0.0) == [0.0502]
    assert looks("2025-03-02", 20.1, live_stems_per_acre=0.0) == []
    assert looks("2025-03-01", 200, live_stems_per_acre=0.0) == []
    assert looks("2025-03-02", 200, seedlings_per_acre=0.0) == looks("2025-03-02", 200, sprouts=(("sumac", 3),)) != []
    assert looks("2025-03-02", 200, tallest_ft=3.0) == []  # it tells of no tree that grows again
    # ground on which too many live is coming back, with its acres
    found = only([CUT, entry("checkup", "2025-09-01", box(0, 0, 100, 200), live_stems_per_acre=26.0)])
    assert found.coming_back.acres == pytest.approx(20_000 / 4046.8564224, rel=1e-6)
