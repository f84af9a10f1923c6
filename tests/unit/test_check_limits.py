"""What `check` finds in burns, blocks, readings and copies, one planted fault at a time, each rule at its limit."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from fakes import GRID, FakeStore, entry, ground_lonlat, unit
from shapely import MultiPolygon, Point, Polygon, box

from habmap.jobs.check import looked_at
from habmap.measures import M2_PER_ACRE
from habmap.place.settings import Settings
from habmap.records import (
    Boundary,
    BurnRecord,
    CanopySource,
    CoverFrame,
    CoverLine,
    DrawnBlock,
    ElevationSource,
    Entry,
    Feature,
    Forecast,
    ForecastHour,
    Notice,
    Photo,
    Plot,
    Row,
    Sighting,
)
from habmap.work.checks import burns, copies, log, readings, units
from habmap.work.checks.looked_at import Found, LookedAt

TODAY = date(2026, 6, 1)
NOW = datetime(2026, 1, 1, 12, tzinfo=UTC)
LATER = NOW + timedelta(days=1)
A, B = unit("A", box(0, 0, 100, 100), uuid="a"), unit("B", box(100, 0, 200, 100), uuid="b")
WEST = box(0, 0, 50, 100)


def place(*rows: Row, bare: bool = False, **settings: object) -> LookedAt:
    """Return two squares with more rows as copies hold them: what each stands in place of is as it says."""
    store = FakeStore([] if bare else [A, B], grid=GRID, settings=Settings.model_validate(settings))
    store.append(rows, is_copied=True)
    return looked_at(store, today=TODAY)


def words(found: Iterator[Found]) -> list[str]:
    return [one.what for one in found]


# --- burn records and blocks --------------------------------------------------------------------------------


def test_burn_records_of_no_line_of_one_line_twice_or_that_hold_what_cannot_be() -> None:
    line, cut = entry("burn", "2026-03-05", WEST), entry("cut", "2026-03-06", WEST)

    def record(name: str, of: Entry, **fields: Any) -> BurnRecord:
        return BurnRecord(uuid=name, entry_id=of.entry_id, recorded_at=fields.pop("at", NOW), **fields)

    def found(*rows: Row) -> list[tuple[str, str]]:
        return [(one.where, one.what) for one in burns.burns(place(line, *rows))]

    fine = record("r", line, ignition="13:30", notices=(Notice(who="S", when="2026-03-04 09:10", how="phone"),))
    assert found(fine) == []
    lost = record("r", entry("burn", "2026-01-01", WEST))
    assert found(lost) == [("burn record r", f"its log line {lost.entry_id} is not in this log")]
    # of two of one line both are named; the later counts, and what it holds is looked at
    old, new = record("z", line, ignition="25:00"), record("n", line, rh_pct=101.0, at=LATER)
    twice = f"log line {line.entry_id} has 2 burn records"
    *both, (where, what) = found(old, new)
    assert both == [("burn record z", twice), ("burn record n", twice)]
    assert where == "burn record n" and "humidity" in what and "101" in what
    assert found(record("r", line, ignition="25:00")) == [("burn record r", "the time of ignition is '25:00'")]
    told = record("r", line, notices=(Notice(who="S", when="4 March", how="phone"), fine.notices[0]))
    assert found(told) == [("burn record r", "a notice was given '4 March'")]
    # a record of work without fire does not count, and only its plans are looked at
    assert found(cut, record("r", cut, ignition="25:00")) == []
    broken = found(record("r", line, plans={"grass": 7}))
    assert broken == [("burn record r", "the written plans kept with it cannot be read")]


def test_blocks_that_cannot_be_used_or_are_called_like_something_else() -> None:
    def block(name: str, shape: MultiPolygon, *, at: datetime = NOW) -> DrawnBlock:
        return DrawnBlock(uuid=f"{name}{at}", name=name, geometry=shape, recorded_at=at)

    bow = MultiPolygon([Polygon([(-98, 38), (-97.99, 38.01), (-97.99, 38), (-98, 38.01)])])
    fine = ground_lonlat(WEST)
    told = list(burns.blocks(place(block("bow", bow), block("none", MultiPolygon()), block("fine", fine))))
    assert [(one.where, one.what.partition(":")[0], one.rule) for one in told] == [
        ("drawn block bow", "the outline is not usable", "burn"),
        ("drawn block none", "the outline is not usable", "burn"),
    ]  # fmt: skip
    # of one name the newest counts
    assert list(burns.blocks(place(block("N", bow), block("N", fine, at=LATER)))) == []
    assert len(list(burns.blocks(place(block("N", fine), block("N", bow, at=LATER))))) == 1
    named = burns.blocks(place(block("A", fine), block("Both", fine), burn={"blocks": {"Both": ["A", "B"]}}))
    assert [(one.where, one.what.partition(" is")[0], one.rule) for one in named] == [
        ("drawn block A", "a unit", "burn"), ("drawn block Both", "a block of habmap.toml", "burn"),
    ]  # fmt: skip


# --- sightings, frames and photos ---------------------------------------------------------------------------


def test_sightings_and_frames_of_no_unit_of_days_to_come_or_of_no_place() -> None:
    def frame(**fields: Any) -> CoverFrame:
        content = {"uuid": "f", "reading_id": "r", "frame": "1", "unit_id": "A", "read_on": TODAY, "recorded_at": NOW}
        return CoverFrame(**(content | fields))

    def sighting(x: float = -98.0, y: float = 38.0, **fields: Any) -> Sighting:
        content = {
            "uuid": "s", "occurrence_id": "o", "event_date": "2026-06-01", "seen_from": TODAY, "seen_to": TODAY,
            "scientific_name": "Spiza americana", "geometry": Point(x, y), "recorded_at": NOW,
        }  # fmt: skip
        return Sighting(**(content | fields))

    def found(row: Row) -> list[str]:
        return words(readings.seen(place(row)))

    tomorrow = TODAY + timedelta(days=1)
    assert found(frame()) == found(sighting()) == []
    assert found(frame(unit_id="Z")) == ["it names the unit 'Z', which is not here"]
    assert found(frame(read_on=tomorrow)) == ["it was read on 2026-06-02, which is after today, 2026-06-01"]
    # a frame's own figures and those of its lines
    wrong, wrong_line = frame(canopy_pct=101.0), frame(lines=(CoverLine(cover_pct=5.0), CoverLine(cover_pct=101.0)))
    assert len(found(wrong)) == len(found(wrong_line)) == 1 and found(wrong) != found(wrong_line)
    assert len(found(replace(wrong, lines=wrong_line.lines))) == 2
    assert found(sighting(seen_from=tomorrow, seen_to=tomorrow)) == [
        "it begins on 2026-06-02, which is after today, 2026-06-01"
    ]
    assert found(sighting(seen_to=tomorrow)) == []
    assert found(sighting(seen_to=date(2026, 5, 31))) == ["it ends on 2026-05-31, before it begins"]
    for x, y, is_there in ((180, 90, True), (-180, -90, True), (180.5, 0, False), (-180.5, 0, False), (0, 90.5, False),
                           (0, -90.5, False), (100, 100, False), (-181, -91, False)):  # fmt: skip
        assert found(sighting(x, y)) == ([] if is_there else ["it lies nowhere on the globe"])
    assert len(found(sighting(individual_count=-1))) == 1


def photo(name: str, *, version: int = 5, **fields: Any) -> Photo:
    """Return a photo whose id is made of what it says (version 5) or of chance (version 4)."""
    content = {
        "uuid": str(uuid.UUID(int=int.from_bytes(name.encode()), version=version)), "file_name": "p.jpg",
        "sha256": "0", "picture": f"{name}.jpg", "taken_at": NOW, "taken_on": NOW.date(), "recorded_at": NOW,
        "geometry": GRID.to_lonlat(Point(10, 10)), "direction_deg": None, "direction_ref": None, "supersedes": (),
    }  # fmt: skip
    return Photo(**(content | fields))


def test_photos_whose_picture_is_gone() -> None:
    there = place(photo("x"))
    assert words(readings.photos(there)) == ["its picture is gone from photos/, or spoiled: x.jpg"]
    there.held.append_with_pictures([], [("x.jpg", b"x")])  # type: ignore[attr-defined]
    assert words(readings.photos(there)) == []


# --- what copies wrote apart --------------------------------------------------------------------------------


def boundary(name: str, shape: Polygon, *supersedes: str, at: datetime = NOW) -> Boundary:
    return Boundary(uuid=name, geometry=ground_lonlat(shape), recorded_at=at, supersedes=supersedes)


def test_a_thing_that_two_copies_wrote_otherwise_is_named_with_the_row_that_counts() -> None:
    wide = box(0, 0, 90, 100)

    def apart(*rows: Row) -> list[tuple[str, str, str]]:
        return [(one.where, one.what, one.mend.partition(":")[0]) for one in copies.told_apart(place(*rows))]

    late = boundary("late", wide, at=LATER)
    ((where, what, mend),) = apart(late, boundary("early", WEST))
    assert where.endswith("row late") and mend == "load the right one with `habmap load boundary`"
    assert what == "the boundary was written apart in two copies, not alike: this row counts, not early"
    # alike they are no quarrel, nor is one written in sight of the other
    assert apart(boundary("x", wide), late) == apart(boundary("x", WEST), replace(late, supersedes=("x",))) == []
    # of three the one that differs
    three = apart(boundary("x", wide), boundary("z", WEST), boundary("y", WEST, at=NOW - timedelta(days=1)), late)
    assert three[0][1].endswith("this row counts, not y, z")

    def block(name: str, label: str, shape: Polygon) -> DrawnBlock:
        return DrawnBlock(uuid=name, name=label, geometry=ground_lonlat(shape), recorded_at=NOW, supersedes=())

    assert apart(block("1", "N", WEST), block("2", "S", wide)) == []
    ((where, what, mend),) = apart(block("1", "N", WEST), block("2", "N", wide))
    assert where.endswith("row 2") and what.startswith("the block N was written apart") and "load block" in mend
    for kind, said in ((ElevationSource, "elevation raster"), (CanopySource, "raster of canopy heights")):
        rows = [kind(uuid=path, path=path, crs_wkt="", vertical_unit="m", recorded_at=NOW, supersedes=())
                for path in ("1", "2")]  # fmt: skip
        ((where, what, _),) = apart(*rows)
        assert what == f"the {said} was written apart in two copies, not alike: this row counts, not 1"
    plots = [Plot(uuid=name, plot_id="7", method="fixed", unit_id="A", plot_acres=0.1, stems=n, measured_on=None,
                  geometry=None, recorded_at=NOW, supersedes=()) for n, name in enumerate("pq")]  # fmt: skip
    ((_, what, mend),) = apart(*plots)
    assert what.startswith("a row of ") and mend == "write it again as it is right"
    # forecasts stand beside each other
    hour = ForecastHour(at=datetime(2026, 3, 20, 14), temp_f=60, rh_pct=40, wind_mph=8, wind_from_deg=180)
    rows = [Forecast(uuid=name, file_name=name, wind_height=None, hours=(hour,), recorded_at=NOW, supersedes=())
            for name in "fg"]  # fmt: skip
    assert apart(*rows) == []


def test_of_photos_told_apart_the_one_told_anew_counts_whatever_the_clocks_said() -> None:
    first, anew = photo("a", recorded_at=LATER), photo("b", version=4, direction_deg=90.0, direction_ref="T")
    ((where, what),) = [(one.where, one.what) for one in copies.told_apart(place(first, anew))]
    assert where.endswith(f"row {anew.uuid}")
    assert what == f"the photo p.jpg was written apart in two copies, not alike: this row counts, not {first.uuid}"


def test_plots_that_copies_corrected_or_withdrew_in_different_ways() -> None:
    def row(name: str, *supersedes: str, at: datetime = NOW, **fields: Any) -> Plot:
        content = {"plot_id": "7", "method": "fixed", "unit_id": "A", "plot_acres": 0.1, "stems": 3,
                   "measured_on": None, "geometry": None}  # fmt: skip
        return Plot(uuid=name, recorded_at=at, supersedes=supersedes, **(content | fields))

    def told(*rows: Row) -> list[tuple[str, str]]:
        return [(one.where, one.what) for one in copies.plots(place(*rows))]

    first = row("a")
    assert told(first) == told(first, row("b", "a", stems=9)) == told(row("a"), row("b", at=LATER)) == []
    # two corrections alike but for why are no quarrel
    assert told(first, row("b", "a", stems=9, why="one"), row("c", "a", stems=9, why="other", at=LATER)) == []
    ((where, what),) = told(first, row("b", "a", stems=9), row("c", "a", stems=4, at=LATER))
    assert where == "plot 7" and what.startswith("two copies told it apart (") and "withdraws" not in what
    assert what.endswith("); that of 2026-01-02 counts")
    three = (row("b", "a", stems=9), row("c", "a", stems=4), row("d", "a", stems=9, at=LATER))
    ((_, what),) = told(first, *three)
    assert "stems" in what and "4" in what
    ((_, what),) = told(first, row("b", "a", is_void=True), row("c", "a", at=LATER))
    assert what == "two copies told it apart (one withdraws it, another does not); it stays withdrawn"
    ((_, what),) = told(first, row("b", "a", is_void=True, stems=9), row("c", "a", at=LATER))
    assert "; one withdraws it, another does not)" in what
    assert told(first, row("b", "a", is_void=True), row("c", "a", is_void=True, at=LATER)) == []


# --- units and lines ----------------------------------------------------------------------------------------


def test_the_account_is_held_to_a_millionth_of_a_square_meter_and_more_beyond_a_square_kilometer() -> None:
    def account(closure_m2: float, *, acres: float = 5.0, parts: tuple[float, ...] = (1, 2, 1, 1)) -> Any:
        treated, remaining, keep, other = parts
        totals = SimpleNamespace(
            acres=acres, treated_acres=treated, remaining_acres=remaining, keep_acres=keep,
            stage_acres=SimpleNamespace(other=other),
        )  # fmt: skip
        return SimpleNamespace(units=[SimpleNamespace(acres=acres)], closure_m2=closure_m2, totals=totals)

    def found(told: Any) -> list[str]:
        return words(units.closure(replace(place(), account=lambda: told)))

    assert found(account(0.0)) == found(account(1e-6)) == []
    (what,) = found(account(1.005e-6))
    assert what == "a unit's stages do not add up to its acres: 1e-06 m² apart"
    # of 4 km² four times as much is rounding
    large = 4e6 / M2_PER_ACRE
    parts = (large, 0.0, 0.0, 0.0)
    assert found(account(3.99e-6, acres=large, parts=parts)) == []
    assert len(found(account(4.06e-6, acres=large, parts=parts))) == 1
    half = 5e5 / M2_PER_ACRE
    assert found(account(1e-6, acres=half, parts=(half, 0, 0, 0))) == []
    # the parts of the totals, each of them
    for n in range(4):
        wrong = tuple(part + 1e-8 * (n == at) for at, part in enumerate((1.0, 2.0, 1.0, 1.0)))
        (what,) = found(account(0.0, parts=wrong))
        assert what.startswith("treated, remaining, kept and other acres make 5.00000001, the units 5")
    # a millionth of a square meter is 2.471e-10 acres; of a million acres the last digits of a double are more
    for over_acres, is_told in ((2.46e-10, False), (2.48e-10, True), (-2.46e-10, False), (-2.48e-10, True)):
        assert bool(found(account(0.0, parts=(1 + over_acres, 2, 1, 1)))) is is_told
    for over_acres, is_told in ((0.995e-6, False), (1.005e-6, True)):
        assert bool(found(account(0.0, acres=1e6, parts=(1e6 + over_acres, 0, 0, 0)))) is is_told
    none = SimpleNamespace(units=[], closure_m2=0.0, totals=account(0.0, acres=0.0, parts=(0, 0, 0, 0)).totals)
    assert found(none) == []
    bow = unit("C", Polygon([(0, 500), (100, 600), (100, 500), (0, 600)]))
    crossed = replace(place(bow), account=lambda: pytest.fail("no account is made of a crossed outline"))
    assert list(units.closure(crossed)) == []


def test_units_features_and_plots_that_say_what_cannot_be_are_told_by_their_rule() -> None:
    wide = unit("C", box(0, 500, 100, 600), cover="forest", canopy_pct=101.0)
    barn = Feature(uuid="f1", kind="palace", name="Inn", geometry=GRID.to_lonlat(Point(1, 1)), recorded_at=NOW)
    found = [(one.where, one.rule, one.mend.partition(" with")[0]) for one in units.covers(place(wide, barn))]
    assert found == [
        ("unit C", None, "load it again"), ("unit C", "number", "load it again as it is right"),
        ("feature Inn", None, "load it again"),
    ]  # fmt: skip


def test_versions_follow_what_is_here_and_end_no_sooner_than_they_begin() -> None:
    def found(*rows: Row) -> list[tuple[str, str]]:
        return [(one.where, one.what) for one in units.labels(place(*rows))]

    new = unit("C", box(0, 500, 100, 600), replaces=("a", "gone"), valid_from=date(2026, 1, 2))
    assert found(new) == [("unit C", "it follows a version that is not here")]
    assert found(replace(new, replaces=("a",))) == []
    again = unit("B", box(0, 500, 100, 600), uuid="b2")
    assert found(again) == [("unit B", "2 versions of this unit hold at the same time")]
    assert found(unit("", box(0, 500, 100, 600))) == [("units", "a unit has no unit_id")]


def test_settings_may_name_units_that_are_here() -> None:
    holds = [{"unit": name, "reason": "nest", "from": "2026-01-01"} for name in ("A", "Z", "B")]
    assert [(one.where, one.what) for one in units.named_units(place(hold=holds))] == [
        ("habmap.toml, [[hold]] nest", "it names the unit 'Z', which is not here")
    ]


def test_an_outline_s_acres_agree_with_the_ellipsoid_s_to_a_millionth(monkeypatch: pytest.MonkeyPatch) -> None:
    there = place()
    for share, is_told in ((1 - 0.995e-6, False), (1 + 0.995e-6, False), (1 - 1.005e-6, True), (1 + 1.005e-6, True)):
        area_m2 = {id(one.geometry): there.shapes[one.uuid].area / share for one in there.units}
        monkeypatch.setattr(units, "geodesic_area_m2", lambda shape, of=area_m2: of[id(shape)])
        told = list(units.outlines(there))
        assert [one.rule for one in told] == (["area", "area"] if is_told else [])
    # the limit itself is no difference
    there.shapes.update({one.uuid: box(0, 0, 1_000_001, 1) for one in there.units})
    monkeypatch.setattr(units, "geodesic_area_m2", lambda shape: 1e6)
    assert list(units.outlines(there)) == []
    monkeypatch.undo()
    empty = replace(unit("C", WEST), geometry=MultiPolygon())
    assert [one.where for one in units.outlines(place(empty))] == ["unit C"]


def test_lines_of_ground_that_lies_in_a_unit_by_its_edge_alone_lie_outside_and_old_outlines_count() -> None:
    def found(*rows: Row) -> list[str]:
        return words(log.patches(place(*rows)))

    assert found(entry("cut", "2026-01-05", box(200, 0, 300, 100))) == [
        f"all {1e4 / M2_PER_ACRE:,.2f} acres of it lie outside every unit"
    ]
    assert found(entry("cut", "2026-01-05", box(199, 0, 300, 100))) == []
    # where a unit was once there is no fault
    old = unit("C", box(0, 500, 100, 600), uuid="c1")
    new = unit("C", box(0, 900, 100, 999), uuid="c2", replaces=("c1",), valid_from=date(2026, 2, 1))
    assert found(old, new, entry("cut", "2026-01-05", box(0, 500, 100, 600))) == []
    crossed = Polygon([(0, 0), (100, 100), (100, 0), (0, 100)])
    assert found(entry("cut", "2026-01-05", crossed)) == ["its ground is missing or crosses itself"]
    bow = unit("D", Polygon([(0, 500), (100, 600), (100, 500), (0, 600)]))
    assert len(found(bow, entry("cut", "2026-01-05", box(0, 500, 100, 600)))) == 1


def test_ground_left_on_purpose_is_all_that_was_left_up_to_the_work() -> None:
    rows = [
        entry("keep", "2026-01-05", box(0, 0, 10, 100)), entry("keep", "2026-01-06", box(20, 0, 40, 100)),
        entry("keep", "2026-01-07", None), entry("cut", "2026-01-08", box(0, 0, 100, 100)),
        entry("keep", "2026-01-09", box(40, 0, 90, 100)), entry("checkup", "2026-01-10", box(0, 0, 100, 100)),
    ]  # fmt: skip
    acres = 30 * 100 / M2_PER_ACRE
    assert words(log.kept_ground(place(*rows))) == [f"`cut` on 2026-01-08 covers {acres:,.2f} acres left on purpose"]
    # ground that crosses itself is told by its own rule, and neither left nor worked here
    bow = Polygon([(0, 0), (90, 90), (90, 0), (0, 90)])
    for practice, other in (("keep", "cut"), ("cut", "keep")):
        crossed = entry(practice, "2026-01-05" if practice == "keep" else "2026-01-09", bow)
        assert words(log.kept_ground(place(crossed, entry(other, "2026-01-07", box(0, 0, 90, 90))))) == []
    assert words(log.kept_ground(place(*rows[::-1]))) == words(log.kept_ground(place(*rows)))


def test_what_a_line_or_a_rule_is_about_is_told_by_the_lines_that_count() -> None:
    first, second = entry("cut", "2026-01-05", WEST), entry("burn", "2026-01-06", None)
    there = place(first, second)
    assert there.of_line(second.entry_id, "w", "m") == Found(f"line {second.entry_id}", "w", "m", 2)
    assert there.of_line("nobody", "w", "m").number is None
    assert list(there.patches) == [first.entry_id] and set(there.shapes) == {"a", "b"} == {"a", "b"}
    assert there.patches[first.entry_id].area == pytest.approx(5000, rel=1e-9) and len(there.every_shape) == 2
    bare = LookedAt(
        held=there.held, today=TODAY, cedar="", blocks=(), named=(), account=lambda: pytest.fail("not asked"),
        can_read_plans=bool, grid=None, versions=(A,), units=(A,), rows=(first,),
    )  # fmt: skip
    assert (bare.shapes, bare.patches, bare.every_shape) == ({}, {}, []) and bare.entries == (first,)
    assert list(units.overlapping(replace(bare, units=()))) == []
