"""What lies beyond each edge of a block, and which way edges face and the ground rises, on squares in the grid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from fakes import GRID, ground_lonlat
from pyproj import Geod
from shapely import LineString, MultiPolygon, Polygon, box
from shapely.geometry.base import BaseGeometry

from habmap.land.downhill import Surface
from habmap.measures import acres
from habmap.records import Boundary, Feature
from habmap.vocabulary import STAGES
from habmap.work.burn.block import Block, kind_by_ground
from habmap.work.burn.block_edges import (
    Edge,
    Outline,
    burn_edges,
    edge_totals,
    holds_cedar_fuel,
    outline_of,
    turned_edges,
)
from habmap.work.burn.winds import HourWind
from habmap.work.ground import GroundPiece
from habmap.work.stages import GroundState

NOW = datetime(2026, 3, 1, tzinfo=UTC)
BLOCK = box(0, 0, 100, 100)


def piece(unit_id: str, shape: BaseGeometry, stage: str = "standing", **state: object) -> GroundPiece:
    assert isinstance(shape, Polygon | MultiPolygon)
    return GroundPiece(
        unit_id=unit_id, stage=stage, state=GroundState(stage=stage, **state), entry_ids=(), geometry=shape,  # type: ignore[arg-type]
        area_m2=shape.area, acres=acres(shape.area),
    )  # fmt: skip


def feature(kind: str, shape: BaseGeometry, name: str | None = None) -> Feature:
    return Feature(uuid=f"{kind}{name}", kind=kind, name=name, geometry=GRID.to_lonlat(shape), recorded_at=NOW)


def outline(
    *others: GroundPiece,
    features: Sequence[Feature] = (),
    boundary: BaseGeometry | None = None,
    block: Polygon = BLOCK,
    within_m: float = 30.0,
    covers: dict[str, str] | None = None,
) -> Outline:
    """Return the outline of a block, every unit of cedar unless said otherwise."""
    land = None if boundary is None else Boundary(uuid="b", geometry=ground_lonlat(boundary), recorded_at=NOW)
    return outline_of(
        block, others=others, covers={one.unit_id: "cedar" for one in others} | (covers or {}), features=features,
        boundary=land, grid=GRID, within_m=within_m, on=date(2026, 3, 20),
    )  # fmt: skip


def north(of: Outline, **how: object) -> Edge:
    """Return the one edge that faces north, in a wind from the south."""
    content: dict[str, object] = {"wind_from_deg": 180.0, "surface": None, "rising_above_pct": 5.0}
    (edge,) = (one for one in burn_edges(of, **(content | how)) if one.side == "downwind")  # type: ignore[arg-type]
    return edge


def strip(from_m: float, to_m: float = 60.0) -> Polygon:
    """Return ground north of the block, so far from it."""
    return box(-50, 100 + from_m, 150, 100 + to_m)


def road(at_m: float) -> LineString:
    return LineString([(-50, 100 + at_m), (150, 100 + at_m)])


@pytest.mark.parametrize(
    ("unit_m", "road_m", "off_m", "beyond", "break_name"),
    [
        # the road in front, at the same distance, and behind the unit that begins before it, where it is a break still
        (10, 5, None, "road", "R"), (5, 10, None, "N", "R"), (None, 10, None, "road", "R"), (10, None, None, "N", None),
        # drawn up to three meters inside the edge, or a unit's edge nearer by less than that
        (0, -2.99, None, "road", "R"), (0, -3.01, None, "N", None), (0, 2.99, None, "road", "R"),
        (0, 3.01, None, "N", "R"),
        # the property ends first
        (10, None, 5, "off the property", None), (5, None, 10, "N", None), (None, None, 10, "off the property", None),
        (None, 10, 5, "off the property", "R"), (None, 5, 10, "road", "R"), (20, 10, 5, "off the property", "R"),
        (5, 10, 20, "N", "R"), (20, 10, 15, "road", "R"), (None, None, None, "unmapped ground", None),
        # at the edge itself where it ends within half a meter of it
        (0.4, None, 0.502, "N", None), (0.4, None, 0.498, "off the property", None),
        (-0.015, None, 0.3, "off the property", None),
        # and what lies farther than is looked is not seen
        (29.9, None, None, "N", None), (30.1, None, None, "unmapped ground", None),
    ],
)  # fmt: skip
def test_the_first_thing_met_going_out_lies_beyond_an_edge_and_breaks_behind_it_are_still_named(
    unit_m: float | None, road_m: float | None, off_m: float | None, beyond: str, break_name: str | None
) -> None:
    edge = north(
        outline(
            *([] if unit_m is None else [piece("N", strip(unit_m))]),
            features=[] if road_m is None else [feature("road", road(road_m), "R")],
            boundary=None if off_m is None else box(-900, -900, 900, 100 + off_m),
        )
    )
    assert (edge.beyond, edge.break_name, edge.mapped_break) == (beyond, break_name, break_name is not None)
    assert edge.beyond_stage == ("standing" if beyond == "N" else None)
    words = {"N": "unit N: cedars standing: cedar fuel beyond this edge", "road": "road: R",
             "unmapped ground": "nothing mapped within 98 ft"}  # fmt: skip
    assert edge.beyond_words == words.get(beyond, beyond)


def test_a_break_counts_as_walked_by_a_name_of_its_own_alone() -> None:
    def walked(*names: str, shape: BaseGeometry | None = None, name: str | None = None, kind: str = "creek") -> bool:
        there = [feature(kind, shape or road(5), name)]
        return north(outline(features=there), walked=set(names)).boss_checked

    assert walked("Elm", name="Elm") and not walked("Oak", name="Elm") and not walked(name="Elm")
    assert not walked("creek") and not walked("creek", "  ", name="  ") and not walked("creek", "", name="")
    # water that is a unit is a break by its unit's name
    pond = outline(piece("P", strip(5), "other"), covers={"P": "water"})
    assert (north(pond).break_name, north(pond).beyond_words) == ("P", "unit P: water")
    assert north(pond, walked={"P"}).boss_checked and not north(pond, walked={"Q"}).boss_checked
    assert north(outline(piece("P", strip(5), "other"), covers={"P": "crop"})).break_name is None
    # only roads, water and firebreaks are breaks
    for kind, name in (("fence", None), ("lane", "X"), ("line", "X")):
        assert north(outline(features=[feature(kind, road(5), "X")])).break_name == name
    assert north(outline(features=[feature("pond", road(5))])).beyond_words == "water: pond"


def test_ground_holds_cedar_fuel_by_its_stage_or_by_the_least_share_felled_or_dead() -> None:
    live = [stage for stage in STAGES if holds_cedar_fuel(piece("N", BLOCK, stage))]
    assert sorted(live) == ["coming_back", "keep", "part_cut", "standing"]
    for share in ("lying_frac", "piled_frac", "snag_frac"):
        assert holds_cedar_fuel(piece("N", BLOCK, "burned", **{share: 1e-6}))
    assert not holds_cedar_fuel(piece("N", BLOCK, "burned", charred_frac=1.0, killed_frac=1.0))


def test_leftovers_of_drawing_are_no_ground_beyond() -> None:
    for width_m, beyond in ((0.0398, "unmapped ground"), (0.0402, "N")):
        assert north(outline(piece("N", strip(10, 10 + width_m)))).beyond == beyond


def test_ground_that_rises_by_the_limit_or_more_is_upslope() -> None:
    """A plane that rises by a quarter toward north, known up to 40 m north of the block."""
    south_m, cell_m = -50.0, 10.0
    rows = np.arange(20) * cell_m + south_m
    plane = Surface(np.repeat(rows[:, None] * 0.25, 20, axis=1), -50.0, south_m, cell_m)

    def upslope(limit_pct: float, block: Polygon = BLOCK) -> dict[str, set[bool | None]]:
        edges = burn_edges(outline(block=block), wind_from_deg=180.0, surface=plane, rising_above_pct=limit_pct)
        return {side: {one.upslope for one in edges if one.side == side} for side in ("downwind", "side", "upwind")}

    assert upslope(25.0) == {"downwind": {True}, "side": {False}, "upwind": {False}}
    assert upslope(25.1) == {"downwind": {False}, "side": {False}, "upwind": {False}}
    assert upslope(0.0) == {"downwind": {True}, "side": {True}, "upwind": {False}}
    # from 140 m on nobody knows the height: it is asked for 20 m out
    for north_m, is_upslope in ((119.9, True), (120.1, None), (125.0, None)):
        assert upslope(5.0, box(0, 0, 100, north_m))["downwind"] == {is_upslope}


@pytest.mark.parametrize("east_m", [-200_000.0, 200_000.0])
def test_edges_face_true_bearings_far_from_the_middle_of_the_grid(east_m: float) -> None:
    """Against PROJ's geodesics: the way from the middle of the edge that faces grid north to a point beyond it."""
    block = box(east_m, 0, east_m + 100, 100)
    edges = burn_edges(outline(block=block), wind_from_deg=180.0, surface=None, rising_above_pct=5.0)
    (edge,) = (one for one in edges if one.side == "downwind")
    ends = [GRID.to_lonlat(shape) for shape in (box(east_m + 50, 100, east_m + 50.001, 100.001),
                                                box(east_m + 50, 1100, east_m + 50.001, 1100.001))]  # fmt: skip
    (lon, lat), (lon2, lat2) = ((shape.bounds[0], shape.bounds[1]) for shape in ends)
    azimuth_deg = Geod(ellps="WGS84").inv(lon, lat, lon2, lat2)[0] % 360
    assert azimuth_deg > 1 and abs(azimuth_deg - 360) > 1  # the grid is turned here
    assert edge.outward_deg == pytest.approx(azimuth_deg, abs=0.02)
    assert edge.length_m == pytest.approx(100.0)
    assert list(edge.line.bounds) == pytest.approx(
        GRID.to_lonlat(box(east_m, 100, east_m + 100, 100.0)).bounds, abs=1e-7
    )


def test_edges_stand_by_side_then_length_and_add_up() -> None:
    block = box(0, 0, 300, 100)
    there = outline(features=[feature("road", LineString([(100, 105), (300, 105)]), "R")], block=block)
    edges = burn_edges(there, wind_from_deg=180.0, surface=None, rising_above_pct=5.0)
    assert [(one.side, round(one.length_m), one.beyond) for one in edges] == [
        ("downwind", 200, "road"), ("downwind", 100, "unmapped ground"), ("side", 100, "unmapped ground"),
        ("side", 100, "unmapped ground"), ("upwind", 300, "unmapped ground"),
    ]  # fmt: skip
    totals = edge_totals(edges)
    assert [totals.downwind_m, totals.side_m, totals.upwind_m, totals.perimeter_m] == pytest.approx(
        [300, 200, 300, 800]
    )


def test_an_edge_of_one_short_bit_is_an_edge_like_others() -> None:
    level = Surface(np.zeros((30, 30)), -100.0, -100.0, 10.0)
    edges = burn_edges(outline(block=box(0, 0, 100, 4)), wind_from_deg=180.0, surface=level, rising_above_pct=5.0)
    assert [(one.side, round(one.length_m), one.upslope, len(one.coordinates)) for one in edges] == [
        ("downwind", 100, False, 2), ("side", 4, False, 2), ("side", 4, False, 2), ("upwind", 100, False, 2),
    ]  # fmt: skip


def test_an_edge_is_drawn_with_bends_of_a_hundredth_of_a_meter_and_more() -> None:
    for bend_m, corners in ((0.00995, 2), (0.01005, 3)):
        bent = Polygon([(0, 0), (100, 0), (100, 100), (50, 100 + bend_m), (0, 100)])
        assert len(north(outline(block=bent)).coordinates) == corners


def test_edges_that_turn_downwind_stand_by_their_first_hour_then_by_length() -> None:
    """A south wind; an hour later west, so that the east edge is downwind; then north: the south edge; then calm."""
    at = datetime(2026, 3, 20, 14)
    winds = [HourWind(at + timedelta(hours=n), deg) for n, deg in enumerate([180.0, 270.0, 0.0, None, 270.0])]
    there = outline(piece("E", box(105, 0, 160, 40)), block=BLOCK)
    turned = turned_edges(there, winds)
    assert [(one.from_time[-5:], one.to_time[-5:], one.side, round(one.length_m), one.beyond, one.wind_from_deg)
            for one in turned] == [
        ("15:00", "15:00", "side", 60, "unmapped ground", 270.0), ("15:00", "15:00", "side", 40, "E", 270.0),
        ("16:00", "16:00", "upwind", 100, "unmapped ground", 0.0),
        ("18:00", "18:00", "side", 60, "unmapped ground", 270.0), ("18:00", "18:00", "side", 40, "E", 270.0),
    ]  # fmt: skip
    assert turned_edges(there, winds[:1]) == ()


def test_winds_blow_by_true_bearings_where_the_grid_is_turned() -> None:
    """True bearings are the grid's and 30°: a south wind comes from the grid's 150° and drives fire to its 330°."""
    there = replace(outline(), turn_deg=30.0)
    edges = burn_edges(there, wind_from_deg=180.0, surface=None, rising_above_pct=5.0)
    # north faces 30° off that, west 60°, east 120° and south 150°: each two are one run that faces between them
    told = sorted((one.side, round(one.outward_deg), round(one.length_m)) for one in edges)
    assert told == [("downwind", 345, 200), ("side", 165, 200)]
    # from 300° it drives to the grid's 90°: east turns downwind, and south, square to it, does not
    at = datetime(2026, 3, 20, 14)
    (turned,) = turned_edges(there, [HourWind(at, 180.0), HourWind(at + timedelta(hours=1), 300.0)])
    assert (turned.side, round(turned.outward_deg), round(turned.length_m)) == ("side", 120, 100)


def test_the_plan_that_a_block_asks_for_is_that_of_the_most_ground() -> None:
    def kind(*parts: tuple[float, str, dict[str, float]]) -> str:
        return kind_by_ground([piece("A", box(0, 0, width_m, 10), stage, **state) for width_m, stage, state in parts])

    piles, slash = {"piled_frac": 0.5, "lying_frac": 0.4}, {"piled_frac": 0.4, "lying_frac": 0.4}
    assert kind((10, "piled", piles)) == "piles" and kind((10, "piled", slash)) == "down_cedar"
    assert kind((10, "other", {"lying_frac": 0.01})) == "down_cedar"
    assert kind((10, "part_cut", {})) == kind((10, "dead_standing", {})) == "down_cedar"
    assert kind((10, "burned", {})) == kind((10, "standing", {})) == kind() == "grass"
    grass = ("burned", {})
    assert kind((10, "piled", piles), (11, *grass)) == "grass" and kind((11, "piled", piles), (10, *grass)) == "piles"
    assert kind((6, *grass), (10, "piled", piles), (6, *grass)) == "grass"
    # of as much ground of each the one with more fire in it
    assert kind((10, *grass), (10, "down", slash), (10, "piled", piles)) == "piles"
    assert kind((10, *grass), (10, "down", slash)) == "down_cedar"


def test_a_block_tells_its_ground_by_stage_the_most_first_and_what_lies_beside_it() -> None:
    inside = (piece("A", box(0, 0, 10, 100), "down", lying_frac=0.5), piece("A", box(10, 0, 70, 100), "burned"),
              piece("B", box(70, 0, 100, 100), "down"))  # fmt: skip
    beyond = (piece("N", strip(20.0), "keep"), piece("S", box(0, -60, 100, -30), "piled"))
    block = Block(unit_ids=("A", "B"), outline=BLOCK, inside=inside, beyond=beyond)
    assert list(block.stage_acres.items()) == [
        ("burned", pytest.approx(acres(6000))), ("down", pytest.approx(acres(4000))),
    ]  # fmt: skip
    assert block.acres_where(lambda state: state.lying_frac > 0) == pytest.approx(acres(1000))
    assert [state.stage for state in block.states_within(20.0)] == ["down", "burned", "down", "keep"]
    assert [state.stage for state in block.states_within(19.9)] == ["down", "burned", "down"]
