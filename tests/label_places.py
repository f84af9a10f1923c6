"""Four places of different shape, to look at where their words stand; invented, all about the grid of `fakes`."""

from __future__ import annotations

from datetime import UTC, datetime

from fakes import GRID, FakeStore, entry, unit
from shapely import LineString, Point, Polygon, box

from habmap.records import Feature, Row

NOW = datetime(2026, 9, 1, 18, tzinfo=UTC)


def _feature(kind: str, shape: Point | LineString, name: str) -> Feature:
    return Feature(uuid=f"f-{name}", kind=kind, name=name, recorded_at=NOW, geometry=GRID.to_lonlat(shape))


def winding() -> FakeStore:
    """Units with bays and necks, work laid over work, houses in the middle of the ground."""
    crook = Polygon([(-700, 0), (-100, 0), (-100, 90), (-560, 90), (-560, 420), (-700, 420)])
    inner = Polygon([(-540, 110), (-100, 110), (-100, 420), (-540, 420)])
    east = Polygon([(-80, 0), (500, 60), (420, 420), (-80, 300)])
    rows: list[Row] = [
        unit("A1", crook, name="Old Orchard Bench Below the Spring"),
        unit("A2", inner, name="North Thicket"),
        unit("A3", east, name="Pond Ridge"),
        entry("cut", "2024-12-07", box(-80, 60, 250, 260)),
        entry("burn", "2025-03-11", box(-80, 60, 250, 260)),
        entry("mow", "2026-07-04", box(-80, 60, 120, 260)),
        entry("cut", "2026-01-20", box(-540, 110, -400, 300)),
        _feature("house", Point(-320, 265), "Home place"),
        _feature("building", Point(190, 170), "Hay barn"),
        _feature("creek", LineString([(-700, 500), (-200, 440), (500, 460)]), "Turtle Creek"),
    ]
    return FakeStore(rows, grid=GRID)


def steep() -> FakeStore:
    """One wide and three long, a property three times as high as wide."""
    rows: list[Row] = [
        unit(f"S{k}", Polygon([(0, 400 * k), (560, 400 * k + 150), (560, 400 * k + 500), (0, 400 * k + 380)]),
             name=name)
        for k, name in enumerate(["Lower Breaks", "Saddle above the Breaks", "Rim", "West-facing Canyon Wall"])
    ]  # fmt: skip
    rows += [entry("cut", "2025-11-02", box(20, 450, 90, 760)), entry("pile", "2026-01-15", box(200, 900, 520, 1100))]
    return FakeStore(rows, grid=GRID)


def ten_acres() -> FakeStore:
    """One unit of ten acres."""
    rows: list[Row] = [
        unit("T1", box(0, 0, 201, 201), name="Home Ten"),
        entry("cut", "2026-02-14", box(0, 0, 90, 120)),
        _feature("house", Point(100, 100), "Home place"),
    ]
    return FakeStore(rows, grid=GRID)


def sixty() -> FakeStore:
    """Sixty small units with long names."""
    rows: list[Row] = [
        unit(
            f"L{k}",
            box(k % 10 * 130, k // 10 * 110, k % 10 * 130 + 130 - 8 * (k % 5), k // 10 * 110 + 110),
            name=f"Pasture number {k} along the old county line road",
        )
        for k in range(60)
    ]
    rows += [
        entry(
            "cut", f"2025-{1 + k % 12:02d}-10", box(k % 10 * 130, k // 10 * 110, k % 10 * 130 + 60, k // 10 * 110 + 70)
        )
        for k in range(0, 60, 4)
    ]
    return FakeStore(rows, grid=GRID)


PLACES = {"winding": winding, "steep": steep, "ten acres": ten_acres, "sixty": sixty}
