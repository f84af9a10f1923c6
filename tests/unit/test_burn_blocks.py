"""Burn blocks drawn in a file and saved by name, and work logged by a block's name."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
import shapely
from fakes import GRID, FakeStore, entry, ground_lonlat, unit
from shapely import MultiPolygon, box
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError, UsageError
from habmap.jobs.acres import acres
from habmap.jobs.burnsheet import burnsheet, past_burn
from habmap.jobs.check import check
from habmap.jobs.ground import ground, states_on
from habmap.jobs.load.layers import load_block
from habmap.jobs.log import log
from habmap.jobs.log_ground import block_ground
from habmap.place.load.block import checked_name
from habmap.place.settings import Settings
from habmap.records import DrawnBlock, Row, Unit
from habmap.records.said import BurnSaid, Said
from habmap.work.burn.block import _joined, block_name, burn_block, patch_name
from habmap.work.burn.past import _called
from habmap.work.burn.request import BurnRequest
from habmap.work.ground import Ground

NOW = datetime(2026, 3, 6, 15, tzinfo=UTC)
TODAY = date(2026, 3, 6)
BURN_DAY = date(2026, 3, 5)
BLOCK = box(0, 0, 100, 100)
WEATHER = BurnSaid(ignition="13:30", wind_from_deg=337.5)


def a_place(*, plan: dict[str, object] | None = None, more: Sequence[Row] = ()) -> FakeStore:
    """A hectare of cedar cut in winter, a second one beside it."""
    rows = [
        unit("C1", BLOCK),
        unit("C2", box(100, 0, 200, 100)),
        entry("cut", "2025-12-01", BLOCK, unit_ids=("C1",)),
        *more,
    ]
    return FakeStore(rows, settings=Settings.model_validate(plan or {}), grid=GRID)


# --- drawn blocks -------------------------------------------------------------------------------------------


def drawn(folder: Path, name: str, west: float, east: float) -> Path:
    path = folder / f"{name}.geojson"
    shape = json.loads(shapely.to_geojson(ground_lonlat(box(west, 0, east, 100))))
    path.write_text(json.dumps({"type": "Feature", "properties": {}, "geometry": shape}), encoding="utf-8")
    return path


def test_a_drawn_block_is_found_by_name_and_the_newest_counts(tmp_path: Path) -> None:
    store = a_place(plan={"burn": {"blocks": {"Both": ["C1", "C2"]}}})
    small, wide = drawn(tmp_path, "small", 0, 50), drawn(tmp_path, "wide", 0, 150)
    saved = load_block(store, name=" North bite ", path=small, now=NOW)
    assert (saved.name, saved.units, saved.replaced) == ("North bite", ("C1",), False)
    assert saved.acres == pytest.approx(5_000 / 4046.8564224, rel=1e-6)
    assert load_block(store, name="North bite", path=small, now=NOW).already_there
    with pytest.raises(InputError, match="another block"):
        load_block(store, name="North bite", path=wide, now=NOW)
    assert load_block(store, name="North bite", path=wide, now=NOW + timedelta(days=1), overwrite=True).replaced
    assert len(store.drawn_blocks()) == 2
    ask = BurnRequest(names=("North bite",), at=datetime(2026, 3, 1, 13), temp_f=60, rh_pct=40, wind_mph=5,
                      wind_from_deg=0)  # fmt: skip
    result = burnsheet(store, ask)
    assert result.units == ("C1", "C2")
    assert result.acres == pytest.approx(15_000 / 4046.8564224, rel=1e-6)
    with pytest.raises(InputError, match="by itself"):
        burnsheet(store, replace(ask, names=("North bite", "C1")))
    assert check(store, today=TODAY).faults == ()


@pytest.mark.parametrize("name", ["C1", "Both"])
def test_a_name_that_something_else_has_is_refused_and_told_by_check(tmp_path: Path, name: str) -> None:
    store = a_place(plan={"burn": {"blocks": {"Both": ["C1", "C2"]}}})
    with pytest.raises(InputError, match="is called so already"):
        load_block(store, name=name, path=drawn(tmp_path, "a", 0, 50), now=NOW)
    store.append([DrawnBlock(uuid="d", name=name, geometry=ground_lonlat(BLOCK), recorded_at=NOW)])
    assert any("called so too" in fault.what for fault in check(store, today=TODAY).faults)


@pytest.mark.parametrize("name", ["", "  ", "a\nb", "x" * 61, "C1:down"])
def test_names_that_cannot_be(name: str) -> None:
    with pytest.raises(UsageError):
        checked_name(name)


# --- logged by the block's name -----------------------------------------------------------------------------


def test_a_block_is_logged_by_the_name_that_burnsheet_takes(tmp_path: Path) -> None:
    left = box(0, 0, 40, 100)
    store = a_place(
        plan={"burn": {"blocks": {"Both": ["C1", "C2"], "Slash": ["C1:down", "C2"]}}},
        more=[entry("keep", "2025-11-01", left)],
    )
    load_block(store, name="North bite", path=drawn(tmp_path, "b", 0, 50), now=NOW)
    assert block_ground(store, ["North bite"], on=BURN_DAY) == (store.drawn_blocks()[0].geometry, ())
    whole, unit_ids = block_ground(store, ["Both"], on=BURN_DAY)
    assert unit_ids == ("C1", "C2")
    assert GRID.to_grid(whole).area == pytest.approx(20_000, rel=1e-9)
    pieces, unit_ids = block_ground(store, ["Slash"], on=BURN_DAY)
    assert unit_ids == ()
    assert GRID.to_grid(pieces).area == pytest.approx(16_000, rel=1e-9)
    with pytest.raises(InputError, match="no such unit"):
        block_ground(store, ["Nowhere"], on=BURN_DAY)
    # named twice it is the same; a block of the settings goes before a drawn one of its name
    assert block_ground(store, ["North bite", "North bite"], on=BURN_DAY)[0] is store.drawn_blocks()[0].geometry
    store.append([DrawnBlock(uuid="d", name="Both", geometry=ground_lonlat(left), recorded_at=NOW)])
    assert block_ground(store, ["Both"], on=BURN_DAY)[1] == ("C1", "C2")
    assert block_ground(store, ["Both", "Both"], on=BURN_DAY)[1] == ("C1", "C2")


def test_pieces_logged_as_burned_leave_no_slivers_behind() -> None:
    store = a_place(more=[entry("keep", "2025-11-01", box(0, 0, 40, 100))])
    patch, unit_ids = block_ground(store, ["C1:down"], on=BURN_DAY)
    done = log(store, practice="burn", date=BURN_DAY, patch=patch, said=Said(burned_pct=90), now=NOW, today=TODAY,
               unit_ids=unit_ids, burn=WEATHER)  # fmt: skip
    stages = acres(store).units[0].stage_acres
    assert stages.burned == pytest.approx(6_000 / 4046.8564224, rel=1e-9)
    assert stages.down < 1e-9
    again = past_burn(store, done.entry_id, today=TODAY).result
    assert set(again.stage_acres) == {"down"}
    assert again.acres == pytest.approx(stages.burned, rel=1e-9)


def test_a_whole_unit_is_not_logged_as_a_block() -> None:
    with pytest.raises(InputError, match="whole unit") as error:
        block_ground(a_place(), ["C1"], on=BURN_DAY)
    assert error.value.mend == "log all of it with --unit C1 --whole"


def test_a_block_is_called_by_its_names_and_by_its_units_where_they_say_more() -> None:
    assert block_name(["A", "B", "A"], ["A", "B"], is_patch=False) == "A, B"
    assert block_name(["A:down", "B"], ["A", "B"], is_patch=False) == "A:down, B"
    assert block_name(["Ridge"], ["A", "B"], is_patch=False) == "Ridge (A, B)"
    assert block_name(["Ridge"], [], is_patch=False) == "Ridge"
    assert block_name([], ["A", "B"], is_patch=True) == patch_name(["A", "B"]) == "a patch in A, B"
    assert patch_name([]) == "a patch outside every unit"


def test_the_ground_of_a_past_burn_is_called_by_its_units_or_the_block_that_it_is() -> None:
    def block(name: str, planar: BaseGeometry) -> DrawnBlock:
        return DrawnBlock(uuid=name, name=name, geometry=ground_lonlat(planar), recorded_at=NOW)

    line = entry("burn", "2026-03-05", BLOCK)
    drawn = [
        block("wide", box(0, 0, 200, 100)),
        block("old", BLOCK),
        block("new", BLOCK),
        block("far", box(9, 9, 20, 20)),
    ]
    assert _called(line, ("C1", "C2"), drawn) == "new (C1, C2)"
    assert _called(line, (), drawn) == "new"
    assert _called(line, ("C1",), drawn[:1]) == patch_name(("C1",))
    assert _called(replace(line, patch=None), ("C1",), drawn) == patch_name(("C1",))
    assert _called(replace(line, unit_ids=("B", "A")), ("A", "B"), drawn) == "B, A"


def test_grounds_that_lie_apart_by_a_hair_burn_as_one() -> None:
    """A hair is 5 cm broad."""
    one = _joined([box(0, 0, 100, 100), box(100.04, 0, 200, 100)])
    assert one.geom_type == "Polygon" and one.area == pytest.approx(20_000, abs=0.01)
    assert len(_joined([box(0, 0, 100, 100), box(100.2, 0, 200, 100)]).geoms) == 2  # type: ignore[union-attr]
    alone = box(0, 0, 100, 100).union(box(100.04, 0, 200, 100))
    assert _joined([alone]).equals(alone)


def test_states_under_a_patch_are_those_of_its_ground_and_no_hair_of_a_neighbor() -> None:
    """Ground of C1, and of C2 a strip of 100 m by 9 mm (0.9 m²) or 12 mm (1.2 m²); lines up to the day."""
    store = a_place(more=[entry("cut", "2026-01-10", box(100, 0, 200, 100)), entry("burn", "2026-02-01", BLOCK)])

    def stages(over_m: float, on: date, west_m: float = 0) -> list[str]:
        patch = ground_lonlat(box(west_m, 0, 100 + over_m, 100))
        return sorted(state.stage for state in states_on(store, patch, on=on, rows=store.entries()))

    assert stages(0.009, date(2026, 1, 31)) == ["down"] and stages(0.012, date(2026, 1, 31)) == ["down", "down"]
    assert stages(0.0, date(2026, 2, 1), 50) == ["burned"] and stages(50.0, date(2026, 1, 9)) == ["down", "standing"]
    assert (
        stages(900.0, date(2026, 1, 9), 300) == []
        and states_on(FakeStore(), ground_lonlat(BLOCK), on=TODAY, rows=()) == ()
    )


def test_states_under_a_patch_are_of_what_lies_under_it_in_the_grid() -> None:
    """A unit's mile-long side bends north of its parallel by 4 cm in its middle: 3 m² under a patch of 88 m."""
    shapes = box(-98.0092, 37.99, -97.9908, 38.0), box(-98.0005, 38.00000001, -97.9995, 38.0002)
    own, patch = (MultiPolygon([shape]) for shape in shapes)
    line, mile = replace(entry("cut", "2026-01-10", BLOCK), patch=own), replace(unit("C1", BLOCK), geometry=own)

    def stages(*units: Unit) -> list[str]:
        store = FakeStore([*units, line], grid=GRID)
        return sorted(state.stage for state in states_on(store, patch, on=TODAY, rows=(line,)))

    assert stages(mile) == ["down"]
    # the line reaches as far into the unit beyond
    assert stages(replace(mile, unit_id="C2", geometry=patch)) == ["down", "standing"]


def test_check_says_whether_a_unit_or_the_settings_have_a_block_s_name() -> None:
    for name, words in (("C1", "a unit is called so too"), ("Both", "a block of habmap.toml is called so too")):
        store = a_place(plan={"burn": {"blocks": {"Both": ["C1", "C2"]}}})
        store.append([DrawnBlock(uuid="d", name=name, geometry=ground_lonlat(BLOCK), recorded_at=NOW)])
        (fault,) = check(store, today=TODAY).faults
        assert fault.what.startswith(words)


def test_a_block_has_its_own_pieces_inside_and_all_others_beyond() -> None:
    """C1 is down but for 40 m left on purpose, C2 stands."""
    state = ground(a_place(more=[entry("keep", "2025-11-01", box(0, 0, 40, 100))]))

    def parts(*names: str, blocks: dict[str, list[str]] | None = None) -> tuple[list[str], list[str], tuple[str, ...]]:
        block = burn_block(names, None, state=state, blocks=blocks or {})
        inside, beyond = (sorted(f"{one.unit_id} {one.stage}" for one in some) for some in (block.inside, block.beyond))
        assert block.outline.area == pytest.approx(sum(one.area_m2 for one in block.inside), rel=1e-6)
        return inside, beyond, block.unit_ids

    assert parts("C1") == (["C1 down", "C1 keep"], ["C2 standing"], ("C1",))
    assert parts("C1:down") == (["C1 down"], ["C1 keep", "C2 standing"], ("C1",))
    assert parts("C2", "C1:keep", "C2") == (["C1 keep", "C2 standing"], ["C1 down"], ("C2", "C1"))
    assert parts("C1", "C1:down")[0] == ["C1 down", "C1 keep"]
    both = {"Both": ["C1:down", "C2"], "C1": ["C2"]}
    assert parts("Both", blocks=both) == (["C1 down", "C2 standing"], ["C1 keep"], ("C1", "C2"))
    assert parts("C1", blocks=both)[2] == ("C1",)  # a unit goes before a block of its name
    # and before a drawn block of its name, as one of the settings does
    half = [DrawnBlock(uuid=name, name=name, geometry=ground_lonlat(box(0, 0, 30, 100)), recorded_at=NOW)
            for name in ("C1", "Both", "Half")]  # fmt: skip
    for name, unit_ids, size_m2 in (("C1", ("C1",), 10_000), ("Both", ("C1", "C2"), 16_000), ("Half", ("C1",), 3_000)):
        found = burn_block([name], None, state=state, blocks={"Both": both["Both"]}, drawn=half)
        assert (found.unit_ids, round(found.outline.area)) == (unit_ids, size_m2)
    with pytest.raises(InputError, match="no such ground"):
        burn_block(["C2:down"], None, state=state, blocks={})
    for name in ("C2:nothing", ":down", "Z:down"):
        with pytest.raises(InputError, match="no such unit") as unknown:
            burn_block([name], None, state=state, blocks={})
        assert unknown.value.value == ("Z" if name == "Z:down" else name)
    # a patch where there is no ground at all, and one that a named unit has no ground of
    east = ground_lonlat(box(120, 0, 150, 100))
    with pytest.raises(InputError, match="no such ground"):
        burn_block([], east, state=Ground(None, None, (), ()), blocks={})
    patch = burn_block(["C2"], east, state=state, blocks={})
    assert (patch.unit_ids, round(patch.outline.area)) == (("C2",), 3_000)
    beyond = sorted((one.unit_id, round(one.area_m2)) for one in patch.beyond)
    assert beyond == [("C1", 4_000), ("C1", 6_000), ("C2", 7_000)]
    with pytest.raises(InputError, match="no ground in a unit that is named") as missed:
        burn_block(["C2", "C1"], east, state=state, blocks={})
    assert (missed.value.value, missed.value.allowed) == ("C1", "C2")
    with pytest.raises(InputError, match="no ground in a unit that is named") as missed:
        burn_block(["C2"], ground_lonlat(box(900, 0, 950, 100)), state=state, blocks={})
    assert missed.value.allowed == "the patch lies in no unit"
    for names in (["Half", "C2"], ["C2", "Half"]):
        with pytest.raises(InputError, match="by itself"):
            burn_block(names, None, state=state, blocks={}, drawn=half)
    assert burn_block(["Half", "Half"], None, state=state, blocks={}, drawn=half).unit_ids == ("C1",)
