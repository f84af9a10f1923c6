"""Jobs at the limits of what they join: each on ground, terrain and settings that a person can check in the head."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from fakes import GRID, FakeStore, entry, ground_lonlat, unit
from small_places import write_dem

from habmap.errors import HabmapError, InputError, PlaceError
from habmap.jobs.bite import bite
from habmap.jobs.burnsheet import BURN_STEPS, burnsheet, worked_out
from habmap.jobs.correct import amend
from habmap.jobs.due import due
from habmap.jobs.export_practices import contract_dates, export_practices, reported
from habmap.jobs.ground import ground, remaining_ground, states_on
from habmap.jobs.log import log, taken_by
from habmap.jobs.rank import rank
from habmap.jobs.schedule import schedule
from habmap.jobs.terrain import terrain
from habmap.jobs.week import week
from habmap.place.settings import Settings
from habmap.progress import Share, Steps
from habmap.records import ElevationSource, Unit
from habmap.records.said import BurnSaid, Said
from habmap.show.burn.words import LOOK_NEXT_SEASON
from habmap.vocabulary import SNAG_CAUTION, STUMP_WORDS
from habmap.work.burn.request import BurnRequest

NOW = datetime(2026, 3, 1, 18, tzinfo=UTC)
TODAY, DAY = date(2026, 3, 1), timedelta(days=1)
#: Four hectares in international acres.
ACRES_4_HA = 40_000 / 4_046.8564224
WEST, EAST = shapely.box(-500, 0, -300, 200), shapely.box(300, 0, 500, 200)


@pytest.fixture
def steep_east(tmp_path: Path) -> ElevationSource:
    """Heights that fall toward east by 10% west of the middle and by 70% east of it."""
    path = write_dem(tmp_path / "dem.tif", lambda east, north: east * -0.1 + east * -0.6 * (east > 0))
    return ElevationSource(uuid="e", path=str(path), crs_wkt=GRID.crs.to_wkt(), vertical_unit="m", recorded_at=NOW)


DAY_ON_A = BurnRequest(names=("A",), at=datetime(2026, 3, 1, 13), temp_f=60, rh_pct=40, wind_mph=5, wind_from_deg=270)


def test_a_bite_is_not_cut_on_ground_for_hands_alone_unless_it_is_asked_for(steep_east: ElevationSource) -> None:
    store = FakeStore([unit("A", WEST), unit("B", EAST), steep_east], grid=GRID)
    assert [one.hand_only_pct for one in terrain(store).units] == pytest.approx([0, 100], abs=1e-6)
    with pytest.raises(InputError, match="no ground to cut that a machine can work"):
        bite(store, acres=1.0, unit_id="B", today=TODAY)
    assert bite(store, acres=1.0, unit_id="B", hand_only=True, today=TODAY).unit_id == "B"
    assert bite(store, acres=1.0, unit_id="A", today=TODAY).hand_only_pct == pytest.approx(0, abs=1e-6)
    # Not asked for by name, the unit for hands alone is passed over.
    assert bite(store, acres=1.0, today=TODAY).unit_id == "A"


def test_the_order_of_work_says_what_is_amiss_with_the_elevation_it_rests_on(steep_east: ElevationSource) -> None:
    rows = [unit("A", WEST), unit("off", shapely.box(5_000, 0, 5_100, 100)), steep_east]
    told, warned = rank(FakeStore(rows, grid=GRID), today=TODAY), terrain(FakeStore(rows, grid=GRID)).warnings
    assert any("off" in words for words in warned)
    assert set(warned) <= set(told.warnings)


def test_a_place_without_ground_has_no_sheet_no_terrain_and_nothing_that_remains() -> None:
    empty = FakeStore()
    assert remaining_ground(empty) == {}
    assert states_on(empty, ground_lonlat(WEST), on=TODAY, rows=()) == ()
    with pytest.raises(InputError, match="no such ground to burn"):
        burnsheet(empty, BurnRequest(names=(), patch=ground_lonlat(WEST), at=datetime(2026, 3, 1, 12)))


@pytest.mark.parametrize(
    ("practice", "said", "next_steps"),
    [
        ("cut", Said(), (STUMP_WORDS,)),
        ("cut", Said(killed_pct=95.0), ()),
        ("burn", Said(), (LOOK_NEXT_SEASON,)),
        ("pile", Said(), ()),
    ],
)
def test_what_comes_next_is_said_of_work_that_leaves_it_open(practice: str, said: Said, next_steps: Any) -> None:
    store = FakeStore([unit("A", WEST)], grid=GRID)
    done = log(store, practice=practice, date=TODAY, patch=ground_lonlat(WEST), said=said, now=NOW, today=TODAY)
    assert done.next_steps == next_steps


def test_only_work_on_ground_takes_what_a_unit_is_to_keep() -> None:
    """Of 4 ha a fifth is to be left, 1.977 acres; cutting all of it takes that, a look or a line of no ground none."""
    settings = Settings.model_validate({"stages": {"leave_pct": [20, 30]}})
    store = FakeStore([unit("A", WEST), unit("B", EAST)], grid=GRID, settings=settings)
    (taken,) = taken_by(store, entry("cut", TODAY, WEST), rows=())
    assert (taken.unit_id, taken.after_acres) == ("A", 0.0)
    assert taken.least_acres == pytest.approx(0.2 * ACRES_4_HA, rel=1e-6)
    for row in (entry("checkup", TODAY, WEST, live_stems_per_acre=0.0), replace(entry("cut", TODAY, WEST), patch=None)):
        assert taken_by(store, row, rows=()) == ()
    # A look that finds nothing alive after a cut that left a third takes nothing either: the cut did.
    look = entry("checkup", TODAY, WEST, live_stems_per_acre=0.0)
    assert taken_by(store, look, rows=[entry("cut", "2026-02-01", WEST, killed_pct=66.0)]) == ()


def test_a_block_on_a_slope_has_its_uphill_edge_told_by_the_elevation_alone(steep_east: ElevationSource) -> None:
    """The ground falls to the east: it rises beyond the west edge and beyond no other."""
    rows = [unit("A", EAST, cover="grass")]
    told = burnsheet(FakeStore([*rows, steep_east], grid=GRID), DAY_ON_A).edges
    assert {edge.upslope for edge in told} == {True, False}
    for edge in told:
        middle = GRID.to_grid(edge.line).interpolate(0.5, normalized=True)
        assert edge.upslope is (middle.x < EAST.bounds[0] + 1.0), edge
    assert {edge.upslope for edge in burnsheet(FakeStore(rows, grid=GRID), DAY_ON_A).edges} == {None}


def test_a_report_is_of_lines_with_ground_up_to_its_last_day_and_that_day_too() -> None:
    rows = [unit("A", WEST), unit("B", EAST)]
    bare = replace(entry("cut", "2026-01-01", WEST), patch=None)
    with pytest.raises(InputError, match="no work in the log"):
        export_practices(FakeStore([*rows, bare], grid=GRID))
    store = FakeStore([*rows, bare, entry("cut", "2026-02-01", WEST), entry("cut", "2026-02-10", EAST)], grid=GRID)
    whole = export_practices(store)
    assert (whole.from_date, whole.to_date) == (date(2026, 2, 1), date(2026, 2, 10))
    assert whole.practice_acres == pytest.approx(2 * ACRES_4_HA, rel=1e-6)
    day = date(2026, 2, 10)
    for first, last, count in ((day, day, 1), (date(2026, 2, 1), date(2026, 2, 9), 1), (date(2026, 2, 2), day, 1)):
        told = export_practices(store, first=first, last=last)
        assert told.practice_acres == pytest.approx(count * ACRES_4_HA, rel=1e-6)
    # The ground that a report rests on is of its last day: what was cut later still stands in it.
    stands = {piece.unit_id: piece.stage for piece in reported(store, last=date(2026, 2, 9)).state.pieces}
    assert stands == {"A": "down", "B": "standing"}
    with pytest.raises(InputError, match="runs backwards"):
        export_practices(store, first=day, last=date(2026, 2, 9))


def test_what_a_contract_has_had_so_far_is_of_the_whole_log_up_to_the_day() -> None:
    item = {"program": "P", "item": "1", "practice_code": "314", "units": ["A"], "due": date(2026, 6, 1)}
    settings = Settings.model_validate({"contract": [item]})
    cut = entry("cut", "2020-02-01", WEST)
    for rows, applied in (((), 0.0), ((unit("A", WEST),), 0.0), ((unit("A", WEST), cut), ACRES_4_HA)):
        (line,) = contract_dates(FakeStore(rows, grid=GRID, settings=settings), settings, TODAY)
        assert line.applied_acres == pytest.approx(applied, rel=1e-6)
        assert "cut" in line.practices and "burn" not in line.practices
    store = FakeStore([unit("A", WEST), cut], grid=GRID, settings=settings)
    assert contract_dates(store, settings, date(2020, 1, 31))[0].applied_acres == 0.0


def test_a_hair_of_ground_under_a_patch_has_no_state_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    store, patch = (
        FakeStore([unit("A", WEST), unit("B", EAST)], grid=GRID),
        ground_lonlat(shapely.box(-310, 0, -299, 9)),
    )
    (piece,) = (piece for piece in ground(store).pieces if piece.unit_id == "A")
    under_m2 = piece.geometry.intersection(GRID.to_grid(patch)).area
    assert under_m2 == pytest.approx(90.0, rel=1e-6)
    for hair_m2, count in ((under_m2, 0), (np.nextafter(under_m2, 0), 1)):
        monkeypatch.setattr("habmap.jobs.ground.HAIR_M2", hair_m2)
        assert len(states_on(store, patch, on=TODAY, rows=())) == count


def test_cold_air_runs_down_the_slope_where_there_is_elevation(steep_east: ElevationSource) -> None:
    rows = [unit("A", WEST, cover="grass")]
    found = burnsheet(FakeStore([*rows, steep_east], grid=GRID), DAY_ON_A).cold_air
    assert found is not None and found.length_m > 0
    for path in found.paths:
        line = GRID.to_grid(shapely.LineString(path))
        assert line.coords[-1][0] > line.coords[0][0] + 100
    assert burnsheet(FakeStore(rows, grid=GRID), DAY_ON_A).cold_air is None


def test_one_piece_of_cedar_in_the_block_makes_its_downwind_edge_one_of_cedar() -> None:
    """Texas Tech asks at least 152 m of blackline downwind in juniper; of grass alone no source asks half of that."""
    grass, cedar = shapely.box(0, 0, 100, 100), shapely.box(-100, 0, 0, 100)

    def widest_ft(*rows: Unit) -> float:
        asked = replace(DAY_ON_A, names=tuple(row.unit_id for row in rows))
        return max(one.width_low_ft for one in burnsheet(FakeStore(rows, grid=GRID), asked).published_breaks)

    assert widest_ft(unit("A", grass, cover="grass"), unit("B", cedar)) == pytest.approx(152 / 0.3048, rel=0.02)
    assert widest_ft(unit("A", grass, cover="grass")) < 152 / 0.3048 / 2


def test_a_burn_sheet_tells_each_of_its_steps_once_and_in_order() -> None:
    told: list[Share] = []
    worked_out(FakeStore([unit("A", WEST, cover="grass")], grid=GRID), DAY_ON_A, steps=Steps(told.append, *BURN_STEPS))
    assert [(share.done, share.what) for share in told] == list(enumerate(BURN_STEPS))


@pytest.mark.parametrize(("days", "next_30", "next_90"), [(30, 1, 1), (31, 0, 1), (90, 0, 1), (91, 0, 0)])
def test_what_comes_within_30_and_90_days_is_counted_up_to_that_very_day(days: int, next_30: int, next_90: int) -> None:
    item = {"program": "P", "item": "1", "practice_code": "314", "units": ["A"], "planned_acres": 1.0}
    settings = Settings.model_validate({"contract": [item | {"due": TODAY + timedelta(days=days)}]})
    found = due(FakeStore([unit("A", WEST, cover="grass")], grid=GRID, settings=settings), on=TODAY)
    assert (found.next_30, found.next_90) == (next_30, next_90)


def test_ground_is_not_counted_by_lines_or_units_of_unknown_words() -> None:
    """What a later version may know is not left out in silence."""
    for rows in ([unit("A", WEST), entry("zapped", TODAY, WEST)], [unit("A", WEST, cover="moss")]):
        with pytest.raises(PlaceError, match=r"zapped|moss"):
            ground(FakeStore(rows, grid=GRID))


@pytest.mark.parametrize(
    ("practice", "said", "burn", "words"),
    [
        ("zap", Said(), None, "this practice is not known"),
        ("cut", Said(killed_pct=101.0), None, "101"),
        ("cut", Said(), None, "can grow from stumps"),  # of redberry juniper, the place's cedar
        ("mow", Said(), BurnSaid(ignition="13:30"), "mow"),
    ],
)
def test_what_cannot_be_said_of_work_is_refused_and_nothing_is_written(
    practice: str, said: Said, burn: BurnSaid | None, words: str
) -> None:
    settings = Settings.model_validate({"place": {"cedar": "redberry juniper"}})
    store = FakeStore([unit("A", WEST)], grid=GRID, settings=settings)
    with pytest.raises(HabmapError, match=words):
        log(store, practice=practice, date=TODAY, patch=ground_lonlat(WEST), said=said, burn=burn, now=NOW, today=TODAY)
    assert store.entries() == ()


def test_the_reported_acres_are_asked_about_once_and_agreed_to_or_not_written() -> None:
    """Ground of 9.88 acres said to have 5: only a yes writes it; a preview asks nobody and writes nothing."""
    asked: list[str] = []

    def answer(question: str, *, yes: bool) -> bool:
        asked.append(question)
        return yes

    def add(yes: bool, **how: bool) -> tuple[FakeStore, Any]:
        store = FakeStore([unit("A", WEST)], grid=GRID)
        said = Said(reported_acres=5.0)
        return store, log(
            store, practice="cut", date=TODAY, patch=ground_lonlat(WEST), said=said, now=NOW, today=TODAY,
            agree=partial(answer, yes=yes), **how,
        )  # fmt: skip

    with pytest.raises(InputError, match=r"9\.88"):
        add(False)
    store, done = add(True)
    assert len(asked) == 2 and store.entries()[0].is_sure and not done.preview
    store, looked = add(False, is_preview=True)
    assert len(asked) == 2 and store.entries() == () and looked.preview
    assert any("9.88" in words for words in looked.warnings)


@pytest.mark.parametrize(("practice", "pressed"), [("cut", 2), ("keep", 0), ("checkup", 0)])
def test_work_alone_is_told_of_holds_and_of_contracts_that_have_not_begun(practice: str, pressed: int) -> None:
    """A contract line of another unit, or one that begins that very day, tells nothing."""
    item = {"program": "P", "item": "1", "practice_code": "314", "units": ["A"], "not_before": TODAY + DAY}
    others = [item | {"item": "2", "units": ["B"]}, item | {"item": "3", "not_before": TODAY}]
    settings = Settings.model_validate(
        {
            "codes": {"keep": "314", "checkup": "314"},
            "contract": [item, *others],
            "hold": [{"unit": "A", "reason": "a nest", "from": TODAY, "to": TODAY}],
        }
    )
    store = FakeStore([unit("A", WEST), unit("B", EAST)], grid=GRID, settings=settings)
    done = log(
        store, practice=practice, date=TODAY, patch=ground_lonlat(WEST), said=Said(note="seen"), now=NOW, today=TODAY
    )
    assert sum("a nest" in words or "P item 1" in words for words in done.warnings) == pressed, done.warnings
    assert not any("P item 2" in words or "P item 3" in words for words in done.warnings)


def test_a_week_tells_owners_names_and_strangers_a_bite_no_larger_than_what_remains() -> None:
    """A tenth of a hectare is 0.247 acres, less than the usual acre; months off say so, others nothing."""
    small = shapely.box(0, 0, 20, 50)
    store = FakeStore([unit("A", small)], grid=GRID)
    ((mine,), (theirs,)) = (week(store, on=TODAY, audience=audience).cut for audience in ("owner", "public"))
    assert mine.words.startswith("Unit A:") and theirs.words.startswith("A:")
    for one in (mine, theirs):
        assert one.bite_acres == pytest.approx(1_000 / 4_046.8564224, rel=1e-6)
    assert week(store, on=TODAY).notes == ()
    off = Settings.model_validate({"effort": {"working_months": [1, 2, 12]}})
    resting = week(FakeStore([unit("A", small)], grid=GRID, settings=off), on=TODAY)
    assert resting.cut == () and len(resting.notes) == 1


def test_a_season_backwards_is_refused_and_cautions_are_of_the_units_it_lays_out() -> None:
    """Girdled, B has dead trees that stand; on hold it has no week, and its trees belong to no caution."""
    rates: dict[str, object] = {"effort": {"rates": {"cut": 8}}}
    rows = [unit("A", WEST), unit("B", EAST), entry("girdle", "2020-02-01", EAST, killed_pct=100.0)]
    held = rates | {"hold": [{"unit": "B", "reason": "a nest", "from": TODAY, "to": TODAY + 60 * DAY}]}
    for settings, laid in ((rates, {"A", "B"}), (held, {"A"})):
        store = FakeStore(rows, grid=GRID, settings=Settings.model_validate(settings))
        with pytest.raises(InputError):
            schedule(store, first=TODAY, last=TODAY - DAY, hours_per_week=9)
        found = schedule(store, first=TODAY, last=TODAY + 13 * DAY, hours_per_week=9)
        assert {item.unit_id for week in found.weeks for item in week.items} == laid
        assert (SNAG_CAUTION in found.cautions) is ("B" in laid)


def test_two_units_are_each_held_to_what_was_there_before() -> None:
    """A quarter of A was cut before: 7.41 of its 9.88 acres could still be left until the cut of both takes them."""
    settings = Settings.model_validate({"stages": {"leave_pct": [20, 30]}})
    store = FakeStore([unit("A", WEST), unit("B", EAST)], grid=GRID, settings=settings)
    rows = [entry("cut", "2026-02-01", shapely.box(-500, 0, -450, 200))]
    taken = taken_by(store, entry("cut", TODAY, shapely.MultiPolygon([WEST, EAST])), rows=rows)
    assert {one.unit_id: one.before_acres for one in taken} == {
        "A": pytest.approx(0.75 * ACRES_4_HA, rel=1e-6), "B": pytest.approx(ACRES_4_HA, rel=1e-6)
    }  # fmt: skip


def test_a_correction_is_written_at_once_and_asks_for_no_next_step_again() -> None:
    store = FakeStore([unit("A", WEST)], grid=GRID)
    first = log(store, practice="cut", date=TODAY, patch=ground_lonlat(WEST), said=Said(), now=NOW, today=TODAY)
    done = amend(store, first.entry_id, why="day", said=Said(), date=TODAY - DAY, now=NOW + DAY, today=TODAY + DAY)
    assert [row.action for row in store.entries()] == ["log", "amend"]
    assert (first.next_steps, done.next_steps) == ((STUMP_WORDS,), ())
