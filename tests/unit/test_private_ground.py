"""Nothing made for the public tells where a nest is: not by holes, small patches, edges, corners or sums."""

from __future__ import annotations

import inspect
import math
import random
import re
from collections.abc import Iterator
from dataclasses import asdict
from datetime import UTC, date, datetime
from typing import Any

import numpy as np
import pytest
import shapely
from fakes import GRID, FakeStore, entry, unit
from shapely import MultiPolygon, Point, box
from shapely.geometry.base import BaseGeometry

from habmap.jobs.export_layers import handheld, ledger_table, units_table
from habmap.jobs.handout import build_handout
from habmap.jobs.map import build_page
from habmap.jobs.ports import Store
from habmap.jobs.public import public_view, veil_words
from habmap.land.veil import CLEAR_WITHIN_M, LATTICE_M, RADIUS_M, veil
from habmap.measures import acres
from habmap.place.public_store import AS_IT_IS, NOTHING, REFUSED, PublicStore
from habmap.records import Boundary, Feature, Unit
from habmap.show.page.render import render_page
from habmap.show.records import Page
from habmap.vocabulary import Audience
from habmap.work.public_ground import _hold_together

NOW = datetime(2026, 8, 1, 12, tzinfo=UTC)
AUDIENCES: tuple[Audience, ...] = ("owner", "public")
UNITS = {"A": box(0, 0, 700, 500), "B": box(700, 0, 1500, 500)}


def a_nest(x: float, y: float, uuid: str = "nest") -> Feature:
    return Feature(uuid=uuid, kind="nest", name="", geometry=GRID.to_lonlat(Point(x, y)), recorded_at=NOW)


def a_store(*rows: Any) -> FakeStore:
    return FakeStore([*(unit(name, shape) for name, shape in UNITS.items()), *rows], grid=GRID)


def page_shapes(page: Page) -> Iterator[BaseGeometry]:
    yield from (piece.geometry for piece in page.pieces)
    yield from (work.geometry for work in page.work)
    yield from (feature.geometry for feature in page.features)
    yield from (Point(point.lonlat) for point in page.photo_points)
    yield from (Point(one.label_lonlat) for one in page.units)
    if page.history is not None:
        yield from (piece.geometry for piece in page.history.pieces)


def public_shapes(store: Store) -> list[BaseGeometry]:
    """Return every shape of every output for the public, in grid meters."""
    page = build_page(store, now=NOW, audience="public")
    handout = build_handout(store, now=NOW, today=NOW.date(), audience="public")
    found = [
        *page_shapes(page),
        *page_shapes(handout.page),
        *page_shapes(handout.then),
        *ledger_table(store, audience="public").shapes,
        *units_table(store, today=NOW.date(), audience="public").shapes,
        *(shape for _, _, shape in handheld(store, today=NOW.date(), audience="public").outlines),
    ]
    return [GRID.to_grid(shape) for shape in found]


def off_units_m(xy: np.ndarray) -> float:
    """Return how far a vertex lies from every corner that the units' own outlines have [m]."""
    corners = np.concatenate([shapely.get_coordinates(shape) for shape in UNITS.values()])
    return float(np.hypot(*(corners - xy).T).min())


def is_a_unit(shape: BaseGeometry) -> bool:
    return any(shape.symmetric_difference(outline).area < 1 for outline in UNITS.values())


def tells(shape: BaseGeometry, spot: Point, within_m: float) -> str | None:
    """Say what of a shape lies at a spot that is not a unit's own outline."""
    edges = shapely.union_all([outline.boundary for outline in UNITS.values()])
    drawn = shapely.difference(shapely.boundary(shape), edges.buffer(0.01))
    if shape.area and drawn.distance(spot) < within_m:
        return "an edge"
    for part in shapely.get_parts(shape):
        rings = [part.exterior, *part.interiors] if part.geom_type == "Polygon" else []
        for ring in rings[1:]:
            hole = shapely.Polygon(ring)
            if hole.centroid.distance(spot) < within_m and not is_a_unit(hole):
                return "a hole's middle"
        if rings and part.centroid.distance(spot) < 5 and not is_a_unit(part):
            return "a part's middle"
    return None


RADII_M = (15, 30, 60, 90, 130, 180, 200)


def random_log(rng: random.Random, spot: Point) -> list[Any]:
    ring_m = rng.choice(RADII_M)
    circle = spot.buffer(ring_m)
    rows = [
        entry("cut", "2025-02-01", MultiPolygon(list(polygons(UNITS["A"].difference(circle))))),
        entry(rng.choice(["other", "seed", "keep", "girdle", "spray"]), "2025-03-01", spot.buffer(rng.uniform(4, 40)),
              killed_pct=90),
        entry("keep", "2025-01-05", circle),
    ]  # fmt: skip
    if rng.random() < 0.5:  # a belt about the circle, in another unit too
        rows.append(entry("girdle", "2025-04-01", spot.buffer(ring_m + 25).difference(circle), killed_pct=90))
    if rng.random() < 0.5:
        rows.append(
            entry("burn", "2025-05-01", MultiPolygon(list(polygons(box(-80, -60, 1600, 580).difference(circle)))))
        )
    if rng.random() < 0.5:
        across = rng.uniform(50, 650)
        rows.append(entry("pile", "2025-06-01", box(0, 0, across, 500)))
    return rng.sample(rows, rng.randint(1, len(rows)))


def polygons(shape: BaseGeometry) -> Iterator[shapely.Polygon]:
    return (part for part in shapely.get_parts(shape) if part.geom_type == "Polygon")


@pytest.mark.parametrize("seed", range(20))
def test_no_shape_for_the_public_tells_the_place(seed: int) -> None:
    rng = random.Random(seed)
    spot = Point(rng.uniform(20, 680), rng.uniform(20, 480))
    store = a_store(a_nest(spot.x, spot.y), *random_log(rng, spot))
    shapes = public_shapes(store)
    assert [words for shape in shapes if (words := tells(shape, spot, CLEAR_WITHIN_M))] == []
    # No vertex where an edge met the outline of a unit. (Pieces have some where they nearly agree.)
    for patch in map(GRID.to_grid, ledger_table(store, audience="public").shapes):
        assert [
            xy
            for xy in shapely.get_coordinates(patch)
            if spot.distance(Point(xy)) < CLEAR_WITHIN_M and off_units_m(xy) > 0.01
        ] == []
    # Not one arc either, however far from the place: two perpendiculars on it would meet there.
    outlines = shapely.union_all([outline.boundary.buffer(0.1) for outline in UNITS.values()])
    edges = shapely.union_all([shapely.boundary(shape) for shape in shapes if shape.area]).difference(outlines)
    for radius_m in [*RADII_M, *(radius_m + 25 for radius_m in RADII_M)]:
        arc = shapely.boundary(spot.buffer(radius_m)).buffer(0.3)
        assert shapely.length(shapely.intersection(edges, arc)) < 60  # a straight front may graze it


def test_without_the_veil_the_same_law_finds_the_ring() -> None:
    """The law itself can fail: the owner's page tells the place."""
    spot = Point(300, 250)
    store = a_store(a_nest(300, 250), entry("cut", "2025-02-01", UNITS["A"].difference(spot.buffer(30))))
    page = build_page(store, now=NOW, audience="owner")
    assert any(tells(GRID.to_grid(piece.geometry), spot, CLEAR_WITHIN_M) for piece in page.pieces)


@pytest.mark.parametrize("seed", range(6))
def test_the_publics_figures_are_those_of_the_publics_drawing(seed: int) -> None:
    rng = random.Random(100 + seed)
    spot = Point(rng.uniform(20, 680), rng.uniform(20, 480))
    store = a_store(a_nest(spot.x, spot.y), *random_log(rng, spot))
    page = build_page(store, now=NOW, audience="public")
    for one in page.units:
        for stage, value in asdict(one.stage_acres).items():
            drawn = [GRID.to_grid(p.geometry).area for p in page.pieces if (p.unit_id, p.stage) == (one.unit_id, stage)]
            assert acres(math.fsum(drawn)) == pytest.approx(value, abs=1e-4)
    rows = {row["unit_id"]: row for row in units_table(store, today=NOW.date(), audience="public").rows}
    assert {name: row["treated_acres"] for name, row in rows.items()} == pytest.approx(
        {one.unit_id: one.treated_acres for one in page.units}
    )
    last = page.history.steps[-1].stage_acres if page.history else {"standing": page.totals.acres}
    assert sum(last.get(stage, 0.0) for stage in ("standing", "part_cut")) == pytest.approx(page.totals.remaining_acres)
    table = ledger_table(store, audience="public")
    assert len(table.rows) == len(page.work)
    assert not {"reported_acres", "acres_sd", "product", "product_rate", "who", "note", "cost"} & set(table.columns)


def test_edges_far_from_the_place_stay_and_work_counts_there() -> None:
    cut = box(900, 0, 1500, 500)
    store = a_store(
        a_nest(300, 250), entry("keep", "2025-01-01", Point(300, 250).buffer(30)), entry("cut", "2025-02-01", cut)
    )
    page = build_page(store, now=NOW, audience="public")
    assert [work.entry.practice for work in page.work] == ["cut"]
    assert page.totals.treated_acres == pytest.approx(acres(cut.area), rel=1e-6)
    front = shapely.LineString([(900, 50), (900, 450)])
    assert any(GRID.to_grid(p.geometry).boundary.buffer(0.1).covers(front) for p in page.pieces)


def test_ground_with_a_hole_counts_as_its_surroundings_and_a_small_patch_not_at_all() -> None:
    ring = UNITS["A"].difference(Point(300, 250).buffer(30))
    store = a_store(
        a_nest(300, 250), entry("cut", "2025-02-01", ring), entry("other", "2025-03-01", Point(300, 250).buffer(8))
    )
    page = build_page(store, now=NOW, audience="public")
    whole = round(acres(UNITS["A"].area), 3)
    assert [(work.entry.practice, round(work.acres, 3)) for work in page.work] == [("cut", whole)]
    owner = build_page(store, now=NOW, audience="owner")
    assert owner.totals.treated_acres == pytest.approx(acres(ring.area), rel=1e-6)


def test_two_halves_that_hardly_meet_are_not_told_as_both_everywhere() -> None:
    """A cut of 70% and a girdle of 50% meet on 50 m of 700; both together reach the target of 80%."""
    west, east = box(0, 0, 375, 500), box(325, 0, 700, 500)
    lines = (
        entry("cut", "2025-02-01", west, killed_pct=70.0),
        entry("girdle", "2025-03-01", east, killed_pct=50.0),
    )
    owner = build_page(a_store(a_nest(350, 250), *lines), now=NOW, audience="owner")
    assert owner.totals.treated_acres == pytest.approx(acres(50 * 500), rel=1e-6)  # 1 − 0.3 × 0.5 = 85% on the strip
    public = build_page(a_store(a_nest(350, 250), *lines), now=NOW, audience="public")
    assert public.totals.treated_acres == 0
    assert len(public.work) == 1


def test_the_page_says_the_same_of_itself_whether_or_not_there_is_a_nest() -> None:
    cut = entry("cut", "2025-02-01", UNITS["A"])
    bare, nest = (build_page(a_store(*rows), now=NOW, audience="public") for rows in ([cut], [a_nest(300, 250), cut]))
    assert bare.method == nest.method and bare.missing == nest.missing
    assert render_page(bare) == render_page(nest)


def test_no_corner_of_a_ring_is_in_the_public_file() -> None:
    ring = Point(300, 250).buffer(30)
    store = a_store(
        a_nest(300, 250), entry("cut", "2025-02-01", UNITS["A"].difference(ring)), entry("keep", "2025-01-01", ring)
    )
    owner, public = (render_page(build_page(store, now=NOW, audience=audience)) for audience in ("owner", "public"))
    for x, y in shapely.get_coordinates(GRID.to_lonlat(ring)).tolist():
        assert f"{round(x, 6)},{round(y, 6)}" in owner
        assert f"{round(x, 6)},{round(y, 6)}" not in public
        assert not all(str(round(number * 1e6)) in public for number in (x, y))


def test_what_is_drawn_depends_on_the_places_cell_alone() -> None:
    """Two days' copies, or a nest marked anew a few steps off, tell no more than one copy."""
    spots = [Point(x, y) for x in range(0, 700, 7) for y in range(0, 490, 7)]
    discs = {spot.wkt: veil([spot], key="a place").discs.wkt for spot in spots}
    # 700 × 490 m hold about 215 cells of 40 m.
    assert 200 <= len(set(discs.values())) <= 270
    for spot in spots:
        assert shapely.from_wkt(discs[spot.wkt]).buffer(1).covers(spot.buffer(CLEAR_WITHIN_M))
    assert veil([spots[0]], key="another place").discs.wkt != discs[spots[0].wkt]
    assert pytest.approx(CLEAR_WITHIN_M + LATTICE_M / 2**0.5) == RADIUS_M


def test_a_fence_about_a_grave_is_no_public_feature() -> None:
    fence = Feature(
        uuid="f", kind="fence", name="", geometry=GRID.to_lonlat(Point(300, 250).buffer(6).exterior), recorded_at=NOW
    )
    road_line = GRID.to_lonlat(shapely.LineString([(0, 260), (1500, 260)]))
    road = Feature(uuid="r", kind="road", name="Miller's", geometry=road_line, recorded_at=NOW)
    page = build_page(a_store(a_nest(300, 250), fence, road), now=NOW, audience="public")
    assert [(feature.kind, feature.name) for feature in page.features] == [("road", "Miller's")]


def test_ground_left_on_purpose_never_rides_on_a_public_handheld_as_remaining() -> None:
    store = a_store(a_nest(300, 250), entry("keep", "2025-01-01", Point(300, 250).buffer(30)))
    assert [name for name, _, _ in handheld(store, today=NOW.date(), audience="public").outlines] == [
        "A",
        "B",
        "B left",
    ]
    assert [name for name, _, _ in handheld(store, today=NOW.date()).outlines] == ["A", "A left", "B", "B left"]


def test_whatever_a_store_can_be_asked_somebody_decided_about() -> None:
    """A question that is added to the store is refused for the public until it is decided here."""
    asked = {name for name, _ in inspect.getmembers(Store) if not name.startswith("_")}
    decided = {name for name in vars(PublicStore) if not name.startswith("_")} | AS_IT_IS | NOTHING | REFUSED
    assert asked == decided


def test_units_go_by_their_public_name_or_their_label() -> None:
    named = unit("A", UNITS["A"], name="Widow Miller's eagle slope", extra={"public_name": "South slope"})
    plain = unit("B", UNITS["B"], name="Where Joe lives")
    store = FakeStore([named, plain, a_nest(300, 250), entry("cut", "2025-02-01", UNITS["B"])], grid=GRID)
    view = public_view(store)
    assert [one.name for one in view.units()] == ["South slope", ""]
    assert [one.name for one in public_view(view).units()] == ["South slope", ""]
    page = build_page(store, now=NOW, audience="public")
    handout = build_handout(store, now=NOW, today=NOW.date(), audience="public")
    told = [
        render_page(page), repr(handout), repr(units_table(store, today=NOW.date(), audience="public").rows),
        repr(handheld(store, today=NOW.date(), audience="public")),
    ]  # fmt: skip
    for words in told:
        assert not re.search("Miller|eagle|Joe", words)
        assert "South slope" in words
    assert "Where Joe lives" in render_page(build_page(store, now=NOW, audience="owner"))


def test_an_outline_that_tells_by_itself_is_said_to_the_owner_alone() -> None:
    spot = Point(300, 250)
    holed = FakeStore(
        [unit("A", UNITS["A"].difference(spot.buffer(30))), unit("N", spot.buffer(30)), a_nest(300, 250)], grid=GRID
    )
    island = FakeStore([unit("A", UNITS["A"]), unit("N", box(2000, 0, 2060, 60)), a_nest(2030, 30)], grid=GRID)
    bay = FakeStore([unit("A", UNITS["A"].difference(Point(300, 3).buffer(30))), a_nest(300, 3)], grid=GRID)
    for store, name in ((holed, "A, N"), (island, "N"), (bay, "A")):
        page = build_page(store, now=NOW, audience="public")
        words = veil_words(store, page)
        assert len(words) == 1 and f"the outline of {name} itself" in words[0]
        assert "private place" not in render_page(page)
    for plain in (a_store(a_nest(300, 250)), a_store(a_nest(300, 3)), a_store(a_nest(300, -3))):
        assert veil_words(plain, build_page(plain, now=NOW, audience="public")) == ()


def test_the_owner_is_told_by_how_much_the_acres_differ() -> None:
    store = a_store(a_nest(300, 250), entry("cut", "2025-02-01", UNITS["A"].difference(Point(300, 250).buffer(30))))
    told = veil_words(store, build_page(store, now=NOW, audience="public"))
    assert "86.49 treated" in told[0] and "85.79" in told[0]
    assert veil_words(store, build_page(store, now=NOW, audience="owner")) == ()


def test_a_hole_of_a_unit_about_a_private_place_is_closed_for_the_public() -> None:
    """Its middle was the nest's place in every file; the ground in it counts as what lies around it."""
    spot = Point(300, 250)
    outline = UNITS["A"].difference(spot.buffer(40)).difference(Point(80, 80).buffer(30))
    store = FakeStore(
        [unit("A", outline), unit("B", UNITS["B"]), a_nest(300, 250), entry("cut", "2025-02-01", outline)], grid=GRID
    )
    holes = [hole for shape in public_shapes(store) for hole in holes_of(shape)]
    assert holes and all(hole.centroid.distance(Point(80, 80)) < 1 for hole in holes)
    page = build_page(store, now=NOW, audience="public")
    assert page.totals.treated_acres == pytest.approx(acres(UNITS["A"].area - Point(80, 80).buffer(30).area), rel=1e-5)
    assert page.totals.remaining_acres == pytest.approx(acres(UNITS["B"].area), rel=1e-5)
    words = veil_words(store, page)
    assert any("outline of A has a hole about a private place" in said for said in words)
    assert "private place" not in render_page(page)
    standing = FakeStore([unit("A", outline), a_nest(300, 250)], grid=GRID)
    assert [name for name, _, _ in handheld(standing, today=NOW.date(), audience="public").outlines] == ["A"]


def test_a_hole_of_the_property_line_about_a_private_place_is_closed_for_the_public() -> None:
    line = MultiPolygon([box(-100, -100, 1600, 600).difference(Point(300, 250).buffer(40))])
    store = a_store(a_nest(300, 250), Boundary(uuid="line", geometry=GRID.to_lonlat(line), recorded_at=NOW))
    owners, publics = (build_page(store, now=NOW, audience=audience).boundary for audience in AUDIENCES)
    assert owners is not None and publics is not None
    assert [len(list(holes_of(GRID.to_grid(shape)))) for shape in (owners, publics)] == [1, 0]


def holes_of(shape: BaseGeometry) -> Iterator[shapely.Polygon]:
    return (
        shapely.Polygon(ring)
        for part in shapely.get_parts(shape)
        if part.geom_type == "Polygon"
        for ring in part.interiors
        if shapely.Polygon(ring).area > 1
    )


@pytest.mark.parametrize(("sides", "reach_m"), [(4, 280), (4, 190), (6, 190), (8, 190)])  # 280: a square of 1,300 ft
@pytest.mark.parametrize("turned_deg", [0, 20])
def test_a_ring_with_corners_about_a_place_is_not_told_by_the_lines_that_meet_it(
    sides: int, reach_m: float, turned_deg: int
) -> None:
    """Lines of work run up to a ring of straight sides, and go on from its corners."""
    spot = Point(350, 250)
    ring = shapely.Polygon([corner(spot, reach_m, 360 * at / sides + turned_deg) for at in range(sides)])
    rows = []
    for at in range(0, 5, 2):
        wedge = shapely.Polygon([spot, *(corner(spot, 3000, 72 * (at + part / 4)) for part in range(5))])
        ground = UNITS["A"].union(UNITS["B"]).intersection(wedge).difference(ring)
        rows.append(entry("cut", f"2025-0{at + 1}-01", MultiPolygon(list(polygons(ground)))))
    shapes = public_shapes(a_store(a_nest(spot.x, spot.y), *rows))
    outlines = shapely.union_all([outline.boundary.buffer(0.5) for outline in UNITS.values()])
    edges = shapely.union_all([shapely.boundary(shape) for shape in shapes if shape.area]).difference(outlines)
    assert shapely.length(edges.intersection(ring.boundary.buffer(0.5))) < 20


@pytest.mark.parametrize(
    ("sides", "spot"),
    [
        (8, Point(350, -150)),
        (8, Point(1640, 250)),
        (64, Point(350, -150)),
        (64, Point(-130, -90)),
        (64, Point(1640, 250)),
    ],
)
def test_a_wide_ring_about_a_place_beyond_the_units_is_not_told_by_the_arc_in_them(sides: int, spot: Point) -> None:
    ring = shapely.Polygon([corner(spot, 205, 360 * at / sides + 10) for at in range(sides)])
    ground = shapely.union_all(list(UNITS.values())).difference(ring)
    near = a_store(a_nest(spot.x, spot.y), entry("cut", "2025-02-01", ground))
    far = a_store(a_nest(spot.x, spot.y + 900), entry("cut", "2025-02-01", ground))
    outlines = shapely.union_all([outline.boundary.buffer(0.5) for outline in UNITS.values()])
    left = [
        shapely.length(shapely.union_all([shapely.boundary(shape) for shape in public_shapes(store) if shape.area])
                       .difference(outlines).intersection(ring.boundary.buffer(0.5)))
        for store in (near, far)
    ]  # fmt: skip
    assert left[0] < 5 < 40 < left[1]


@pytest.mark.parametrize(
    ("sides", "reach_m", "turned_deg", "spot"),
    [
        (8, 280, 254, Point(-114, -55)),  # a whole side: its corners' bisectors met at the place
        (8, 205, 119, Point(1640, -40)),
        (4, 280, 43, Point(1594, -143)),
        (12, 250, 38, Point(1595, -118)),
    ],
)
def test_two_sides_of_a_wide_ring_about_a_place_beyond_a_units_corner_are_not_told(
    sides: int, reach_m: float, turned_deg: float, spot: Point
) -> None:
    """The bisector of a corner that both sides keep one distance from leads to it."""
    ring = shapely.Polygon([corner(spot, reach_m, 360 * at / sides + turned_deg) for at in range(sides)])
    ground = shapely.union_all(list(UNITS.values())).difference(ring)
    outlines = shapely.union_all([outline.boundary.buffer(0.5) for outline in UNITS.values()])
    left = []
    for nest in (spot, Point(spot.x, spot.y + 900)):
        shapes = public_shapes(a_store(a_nest(nest.x, nest.y), entry("cut", "2025-02-01", ground)))
        edges = shapely.union_all([shapely.boundary(shape) for shape in shapes if shape.area]).difference(outlines)
        left.append(shapely.length(edges.intersection(ring.boundary.buffer(0.5))))
    assert left[0] < 5 < 100 < left[1]


def corner(spot: Point, reach_m: float, bearing_deg: float) -> tuple[float, float]:
    turn = math.radians(bearing_deg)
    return (spot.x + reach_m * math.sin(turn), spot.y + reach_m * math.cos(turn))


def test_what_leads_to_a_private_place_or_runs_round_it_is_no_public_feature() -> None:
    lines = {
        "lane": [(0, 250), (298, 250)],  # ends at the nest
        "fence": [(0, 480), (200, 480), (200, 150), (400, 150), (400, 350), (215, 350)],  # round it, from afar
        "road": [(0, 230), (310, 235), (700, 240)],  # passes
        "creek": [(0, 300), (200, 350), (300, 260), (420, 340), (900, 300)],  # winds
    }
    rows = [
        Feature(uuid=kind, kind=kind, name="", geometry=GRID.to_lonlat(shapely.LineString(xy)), recorded_at=NOW)
        for kind, xy in lines.items()
    ]
    far = Feature(
        uuid="far", kind="fence", name="", geometry=GRID.to_lonlat(box(1000, 100, 1100, 200).exterior), recorded_at=NOW
    )
    page = build_page(a_store(a_nest(300, 250), far, *rows), now=NOW, audience="public")
    assert sorted(feature.kind for feature in page.features) == ["creek", "fence", "road"]


def test_units_hold_together_where_their_days_overlap() -> None:
    def version(unit_id: str, first: int | None, last: int | None, **fields: object) -> Unit:
        first_day, last_day = (None if day is None else date(2026, 1, day) for day in (first, last))
        return unit(unit_id, box(0, 0, 9, 9), valid_from=first_day, valid_to=last_day, **fields)

    own = version("A", 5, 10)
    for first, last, is_held in (
        (None, None, True), (10, None, False), (9, None, True), (None, 5, False), (None, 6, True), (6, 7, True),
        (11, 12, False), (1, 4, False),
    ):  # fmt: skip
        other = version("B", first, last)
        assert _hold_together(own, other) is _hold_together(other, own) is is_held
    assert _hold_together(version("A", None, None), version("B", 5, None)) is True
    assert not _hold_together(own, version("A", None, None))
    assert not _hold_together(own, version("B", None, None, is_retired=True))
