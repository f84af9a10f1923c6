"""What is known of each unit joined into the order of work, one fact after another, by hand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from fakes import GRID, FakeStore, entry, unit
from shapely import box

from habmap.jobs.density import density
from habmap.jobs.ground import ground
from habmap.vocabulary import MACHINE_CAUTION, SNAG_CAUTION
from habmap.work.closures import Closure, Closures
from habmap.work.density_records import UnitDensity
from habmap.work.order_of_work import RankResult, order_of_work
from habmap.work.priority import NO_HEAT_LOAD, PARTS, DenseLimits, Ranked
from habmap.work.seasons import DatedBan, DueItem, HeldUnit
from habmap.work.terrain import UnitTerrain

DAY = date(2026, 3, 1)
#: A is all there, B is all cut, G is grass; A and B came with 400 stems an acre, above the limit of 250.
ROWS = [
    unit("A", box(0, 0, 100, 100), stems_per_acre=400.0, canopy_pct=20.0),
    unit("B", box(100, 0, 200, 100), stems_per_acre=400.0),
    unit("G", box(200, 0, 300, 100), cover="grass"),
    entry("cut", "2026-01-05", box(100, 0, 200, 100)),
]
STATE = ground(FakeStore(ROWS, grid=GRID))
OWLS = HeldUnit(unit_id="A", reason="owls", first=DAY, last=DAY)
TOO_EARLY = Closure(work="contract", reason="EQIP 1", last=date(2026, 4, 1))
FACE = UnitTerrain(facing="S", aspect_mean_deg=180.0, sun_facing_pct=82.0, coverage_pct=100.0, heat_load_mean=0.825,
                   hand_only_pct=20.0)  # fmt: skip


def order(**how: Any) -> RankResult:
    plain: dict[str, Any] = {
        "terrain": {"A": FACE}, "stands": {}, "upkeep": {}, "closures": Closures(bans=[], holds=[]), "contracts": [],
        "too_early": {}, "pressing": {}, "closed_on": DAY, "limits": DenseLimits(stems_per_acre=250, canopy_pct=50),
        "weights": dict.fromkeys(PARTS, 1.0),
    }  # fmt: skip
    return order_of_work(STATE, **(plain | how))


def of(unit_id: str, **how: Any) -> Ranked:
    return next(one for one in order(**how).units if one.unit_id == unit_id)


def item(what: str, acres: float | None, words: str, *, to_date: date | None = None) -> DueItem:
    return DueItem(unit_id="B", what=what, state="due", acres=acres, since_date=None, from_date=None,  # type: ignore[arg-type]
                   to_date=to_date, words=words, name="EQIP 2 (314)")  # fmt: skip


def test_the_face_of_a_unit_comes_from_its_terrain_and_level_ground_has_none() -> None:
    faced = of("A")
    assert (faced.tier, faced.facing_remaining, faced.aspect_remaining_deg) == ("first", "S", 180.0)
    assert faced.parts == pytest.approx(
        {"sun_facing": 0.82, "heat_load": 0.5, "density": 0.4, "remaining": 2.471 / 7.471, "near_open": 1.0,
         "gentle": 0.8, "near_seed": None}, abs=1e-4,
    )  # fmt: skip
    level = of("A", terrain={"A": replace(FACE, facing="flat")})
    assert (level.facing_remaining, level.aspect_remaining_deg) == ("flat", None)
    assert any(words.startswith("level ground") for words in level.reasons)
    rough = of("A", terrain={"A": replace(FACE, too_coarse=True)})
    assert any("roughly 80%" in words for words in rough.reasons) and not any("roughly" in one for one in faced.reasons)


@pytest.mark.parametrize(
    ("terrain", "warnings"),
    [
        (None, ("said before", "no elevation is loaded: no unit's face is known, so none can be first")),
        ({"A": FACE, "B": UnitTerrain()}, ("said before",)),
        ({"A": FACE, "B": replace(FACE, heat_load_mean=None)}, ("said before", NO_HEAT_LOAD)),
    ],
)
def test_what_is_not_known_of_the_terrain_is_warned_of(
    terrain: Mapping[str, UnitTerrain] | None, warnings: tuple[str, ...]
) -> None:
    result = order(terrain=terrain, warnings=["said before"])
    assert result.warnings == warnings
    assert (result.next_unit_id, result.closed_on, result.on) == ("A", DAY, date(2026, 1, 5))


def test_how_dense_a_unit_is_comes_from_its_plots_then_its_outline_and_a_low_guess_counts_as_unknown() -> None:
    measured: UnitDensity = next(one for one in density(FakeStore(ROWS, grid=GRID)).units if one.unit_id == "A")

    def told(stand: UnitDensity | None) -> tuple[float | None, tuple[str, ...]]:
        found = of("A", stands={} if stand is None else {"A": stand})
        return found.parts["density"], tuple(one for one in found.reasons if "dense" in one or "crowns" in one)

    assert told(None) == (0.4, ("crowns cover 20%", "dense"))
    thin = replace(measured, stems_per_acre=100.0, canopy_pct=None, dense=False)
    assert told(thin) == (0.1, ("not dense",))
    assert told(replace(thin, dense=None)) == (None, ("how dense it is now has not been measured",))
    nothing = replace(thin, stems_per_acre=None, dense=None)
    assert told(nothing) == told(replace(thin, dense=None))
    # what a raster tells of half of the unit only cannot reach a limit of half of all by 60%
    half = replace(nothing, canopy_pct=60.0, canopy_coverage_pct=50.0)
    assert told(half) == (0.6, ("crowns cover 60%", "how dense it is now has not been measured"))


def test_what_closes_a_unit_is_asked_of_cutting_while_cedars_remain_and_of_upkeep_after() -> None:
    no_cut = DatedBan(what="closed_cut", reason="fawns", first=DAY, last=DAY)
    no_fire = DatedBan(what="closed_burn", reason="dry", first=DAY, last=DAY)

    def closed(unit_id: str, *bans: DatedBan, held: bool = False, **how: Any) -> str | None:
        closures = Closures(bans=bans, holds=[OWLS] if held else [])
        found = of(unit_id, closures=closures, **how)
        assert found.on_hold is (held and unit_id == "A")
        return None if found.closure is None else found.closure.reason

    assert [closed("A"), closed("A", no_cut), closed("A", no_fire), closed("A", no_cut, held=True)] == [
        None, "fawns", None, "owls",
    ]  # fmt: skip
    assert [closed("B", no_cut), closed("B", no_fire), closed("B", no_cut, no_fire)] == [None, None, "dry"]
    # a contract's first day stands behind what is closed
    early = {"A": TOO_EARLY, "B": TOO_EARLY}
    assert [closed("A", too_early=early), closed("A", no_cut, too_early=early)] == ["EQIP 1", "fawns"]
    assert closed("B", too_early=early) is None
    assert order(too_early=early).next_unit_id is None


def test_upkeep_is_added_up_and_each_reason_said_once() -> None:
    asks = [item("upkeep", 1.0, "years"), item("upkeep", None, "years"), item("checkup", 0.5, "cedars")]
    kept = of("B", upkeep={"B": asks})
    assert kept.tier == "upkeep" and "1.5 acres ask for upkeep: years; cedars" in kept.reasons
    assert of("B").tier == "none"
    assert kept.parts["near_seed"] == 1.0  # A's cedars stand at its edge


def test_a_contract_item_that_presses_is_said_last() -> None:
    pressing = {"B": item("contract", 2.0, "EQIP 2", to_date=date(2026, 4, 2))}
    told = of("B", pressing=pressing)
    words = "contract EQIP 2 (314): due soon, by 2026-04-02, 2.0 acres to do"
    assert (told.pressing, told.contract_due, told.remarks) == (words, date(2026, 4, 2), (words,))
    held = of("A", pressing={"A": pressing["B"]}, closures=Closures(bans=[], holds=[OWLS]))
    assert held.remarks == ("on hold until 2026-03-01: owls", words)
    other = of("A", pressing=pressing)
    assert (other.pressing, other.contract_due, other.remarks) == (None, None, ())


def test_cautions_are_of_the_saw_of_the_log_s_machines_and_of_trees_left_dead() -> None:
    def cautions(*rows: Any) -> tuple[str, ...]:
        state = ground(FakeStore([*ROWS[:1], *rows], grid=GRID))
        return order_of_work(
            state, terrain=None, stands={}, upkeep={}, closures=Closures(bans=[], holds=[]), contracts=[], too_early={},
            pressing={}, closed_on=DAY, limits=DenseLimits(stems_per_acre=250, canopy_pct=50),
            weights=dict.fromkeys(PARTS, 1.0),
        ).cautions  # fmt: skip

    plain = cautions()
    assert plain and MACHINE_CAUTION not in plain and SNAG_CAUTION not in plain
    west = box(0, 0, 50, 100)
    assert MACHINE_CAUTION in cautions(entry("mulch", "2026-01-05", west))
    assert SNAG_CAUTION in cautions(entry("girdle", "2026-01-05", west, killed_pct=90.0))
