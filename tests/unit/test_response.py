"""Before and after on small squares: what counts on which side, what is left out, and what is never guessed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from itertools import count

import pytest
from fakes import GRID, FakeStore, entry, unit
from shapely import Point, box

from habmap.jobs.response import response
from habmap.land.density import crown_cover_pct
from habmap.records import CoverFrame, CoverLine, Entry, Look, Plot, Row, Sighting
from habmap.work.response import change, mean_cover
from habmap.work.response_records import ResponseResult, UnitResponse

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
