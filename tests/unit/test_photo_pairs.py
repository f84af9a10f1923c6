"""Photo points as they are listed: their unit, the work between the pictures that they show, and what stays private."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from types import SimpleNamespace
from typing import Any

import pytest
from fakes import GRID, FakeStore, entry, unit
from shapely import MultiPolygon, Point, box

from habmap.jobs.photos import photos
from habmap.records import Feature, Photo, Row
from habmap.work.photo_pairs import PointLine, _looks_on_private, found_points

A = unit("A", box(0, 0, 100, 200))


def photo(
    name: str, day: int, *, at: tuple[float, float] = (50.0, 1.0), facing_deg: float | None = 0.0, **fields: object
) -> Photo:
    """Return a photo of a day of March from within the south edge of A, looking north unless said otherwise."""
    content: dict[str, object] = {
        "uuid": name, "file_name": f"{name}.jpg", "sha256": name.rjust(64, "0"), "picture": f"{name}.jpg",
        "taken_at": datetime(2026, 3, day, 18, tzinfo=UTC), "taken_on": date(2026, 3, day),
        "geometry": GRID.to_lonlat(Point(at)), "direction_deg": facing_deg,
        "direction_ref": None if facing_deg is None else "T", "recorded_at": datetime(2026, 4, 1, tzinfo=UTC),
    }  # fmt: skip
    return Photo(**(content | fields))  # type: ignore[arg-type]


def listed(*rows: Row, kept: Sequence[str] = ()) -> tuple[PointLine, ...]:
    store = FakeStore([A, *rows], grid=GRID)
    store.append_with_pictures([], [(name, b"x") for name in kept])
    return photos(store).points


def test_a_point_has_the_unit_that_it_was_given_else_the_one_around_it_else_none() -> None:
    assert [point.unit_id for point in listed(photo("a", 1))] == ["A"]
    assert [point.unit_id for point in listed(photo("a", 1, at=(50.0, -5.0)))] == [None]
    assert [point.unit_id for point in listed(photo("a", 1, at=(50.0, -5.0), unit_id="A"))] == ["A"]
    assert [point.unit_id for point in listed(photo("a", 1, unit_id="gone"))] == ["A"]


def test_a_pair_tells_its_days_its_pictures_and_the_work_in_view_between_them() -> None:
    """Work from one day to the other that lies for 100 m² in view, by its day; looks and what lies behind are none."""
    ahead = box(40, 50, 60, 60)
    lines = [
        entry(practice, f"2026-03-{day:02d}", ground)
        for practice, day, ground in (
            ("pile", 9, ahead), ("cut", 3, ahead), ("burn", 10, ahead), ("cut", 2, ahead), ("burn", 11, ahead),
            ("checkup", 5, ahead), ("cut", 6, box(40, 50, 49.9, 60)), ("cut", 7, box(40, -60, 60, -50)),
        )
    ]  # fmt: skip
    (point,) = listed(photo("a", 3), photo("b", 10), photo("c", 5), *lines, kept=["a.jpg"])
    assert (point.before, point.after, point.number) == (date(2026, 3, 3), date(2026, 3, 10), 1)
    assert [(one.practice, one.date.day, one.number) for one in point.work_between] == [
        ("cut", 3, 2), ("pile", 9, 1), ("burn", 10, 3),
    ]  # fmt: skip
    assert [(one.file_name, one.picture_there) for one in point.photos] == [
        ("a.jpg", True), ("c.jpg", False), ("b.jpg", False),
    ]  # fmt: skip
    assert (point.lon, point.lat) == pytest.approx((photo("a", 3).geometry.x, photo("a", 3).geometry.y))
    single = listed(photo("a", 3), *lines)[0]
    assert (single.after, single.work_between) == (None, ())
    result = photos(FakeStore([A, photo("a", 3), photo("b", 10), photo("d", 4, facing_deg=180.0)], grid=GRID))
    assert (result.photos, result.pairs, len(result.points), result.same_direction_deg) == (3, 1, 2, 30.0)
    assert photos(FakeStore()).points == ()


def test_work_shows_from_a_hundred_square_meters_on_in_the_order_of_its_days() -> None:
    plane: Any = SimpleNamespace(to_grid=lambda shape: shape)
    pair = [photo(name, day, facing_deg=None, geometry=Point(0, 0)) for name, day in (("a", 3), ("b", 10))]
    for north_m, is_told in ((10.0, True), (9.999, False)):
        work = [
            replace(entry("cut", f"2026-03-{day:02d}"), patch=MultiPolygon([box(0, 0, 10, north_m)])) for day in (9, 5)
        ]
        (point,) = found_points(pair, [], [], work, grid=plane, sigma_m=3.0)
        assert point.work == (tuple(work[::-1]) if is_told else ())
        assert (point.unit, point.is_private) == (None, False)
    assert found_points(pair, [], [], [], grid=None, sigma_m=3.0) == found_points(
        [], [], [], [], grid=plane, sigma_m=3.0
    )


def test_what_looks_at_a_private_place_or_lies_near_it_is_not_for_the_public() -> None:
    """A nest within 150 m of the camera, or in view: 400 m far, 45° to either side."""

    def is_public(x: float, y: float, **fields: object) -> bool:
        nest = Feature(uuid="n", kind="nest", name="owl", geometry=GRID.to_lonlat(Point(50.0 + x, 1.0 + y)),
                       recorded_at=datetime(2026, 1, 1, tzinfo=UTC))  # fmt: skip
        (point,) = listed(photo("a", 1, **fields), nest)  # type: ignore[arg-type]
        return point.for_public

    assert not is_public(0, 399) and is_public(0, 402)
    # 44.9° and 45.1° to one side and to the other
    assert not is_public(200, 200.7) and is_public(200.7, 200)
    assert not is_public(-200, 200.7) and is_public(-200.7, 200)
    assert not is_public(0, -149) and is_public(0, -151)
    # without a direction all around, a third as far
    assert not is_public(0, -149, facing_deg=None) and is_public(0, 151, facing_deg=None)
    assert not is_public(900, 900, is_private=True)
    # from the camera's own distance on, whichever way it looks
    away = photo("a", 1)
    assert [_looks_on_private(away, Point(0, 0), [Point(0, y)]) for y in (-150.0, -150.001)] == [True, False]
