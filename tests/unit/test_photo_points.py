"""Repeat photos paired on cases worked by hand."""

from __future__ import annotations

import itertools
import math
from datetime import UTC, datetime

import numpy as np
import pytest
from shapely import Point

from habmap.records import Photo
from habmap.work.photo_points import after_of, photo_points, same_spot_m, seen_ground, turned_deg


def photo(
    uuid: str, x_m: float, y_m: float, direction_deg: float | None, day: int, *, ref: str = "T", hour: int = 12
) -> Photo:
    """Return a photo whose position stands in meters already."""
    taken_at = datetime(2025, 1, day, hour, tzinfo=UTC)
    return Photo(
        uuid=uuid, file_name="", picture="", taken_at=taken_at, taken_on=taken_at.date(), geometry=Point(x_m, y_m),
        direction_deg=direction_deg, direction_ref=None if direction_deg is None else ref, recorded_at=taken_at,
        sha256="",
    )  # type: ignore[arg-type]  # fmt: skip


def paired(*photos: Photo, within_m: float = 15.0) -> tuple[tuple[Photo, ...], ...]:
    return photo_points(photos, {one.uuid: one.geometry for one in photos}, within_m=within_m)


def names(*photos: Photo) -> list[list[str]]:
    return [[one.uuid for one in point] for point in paired(*photos)]


def test_near_and_alike_belong_together() -> None:
    # 9 and 12: 15 m apart by Pythagoras, which is still within; 355° and 20° differ by 25°
    assert names(photo("a", 0, 0, 355, 1), photo("b", 9, 12, 20, 2)) == [["a", "b"]]


@pytest.mark.parametrize(
    "other",
    [
        photo("b", 9, 12.1, 355, 2),  # 15.08 m
        photo("b", 0, 0, 26, 2),  # 31° apart
        photo("b", 0, 0, 175, 2),  # the opposite way
        photo("b", 0, 0, 355, 2, ref="M"),  # another north
        photo("b", 0, 0, None, 2),  # no direction
    ],
)
def test_far_or_turned_or_unknown_do_not(other: Photo) -> None:
    assert names(photo("a", 0, 0, 355, 1), other) == [["a"], ["b"]]


def test_a_walk_and_a_turn_are_not_chained() -> None:
    walk = [photo(f"w{i}", 10.0 * i, 0, 0, 1 + i) for i in range(4)]  # each within 15 m of the one before
    assert names(*walk) == [["w0", "w1"], ["w2", "w3"]]
    turn = [photo(f"t{i}", 0, 0, 20.0 * i, 1 + i) for i in range(4)]  # 0°, 20°, 40°, 60°
    assert names(*turn) == [["t0", "t1"], ["t2", "t3"]]


def test_the_nearer_point_wins() -> None:
    a, b = photo("a", 0, 0, 0, 1), photo("b", 20, 0, 0, 2)
    # 8 m from a and 12 m from b
    assert names(a, b, photo("c", 8, 0, 0, 3)) == [["a", "c"], ["b"]]
    assert names(a, b, photo("c", 12, 0, 0, 3)) == [["a"], ["b", "c"]]


@pytest.mark.parametrize(
    ("first", "second"),
    [
        # the shares of the 15 m and of the 30° of each, squared and added, by hand
        (photo("a", 9, 0, 18, 1), photo("b", 0, 0, -27, 2)),  # 0.36 + 0.36 < 0 + 0.81
        (photo("a", 0, 0, 27.6, 1), photo("b", 13.5, 0, -6, 2)),  # 0 + 0.846 < 0.81 + 0.04
        (photo("a", 13.8, 0, 0, 1), photo("b", -3, 0, 27, 2)),  # 0.846 + 0 < 0.04 + 0.81
    ],
)
def test_distance_and_turn_weigh_by_their_squares(first: Photo, second: Photo) -> None:
    assert names(first, second, photo("c", 0, 0, 0, 3)) == [["a", "c"], ["b"]]


def test_the_order_of_the_files_does_not_matter() -> None:
    photos = [photo("a", 0, 0, 0, 1), photo("b", 20, 0, 0, 2), photo("c", 11, 0, 0, 3), photo("d", 3, 0, 5, 4)]
    wanted = names(*photos)
    assert all(names(*turned) == wanted for turned in itertools.permutations(photos))


def test_before_is_the_first_and_after_the_first_of_the_last_day() -> None:
    photos = [
        photo("late", 0, 0, 0, 9, hour=18), photo("noon", 0, 0, 0, 9), photo("first", 0, 0, 0, 1),
        photo("mid", 0, 0, 0, 5),
    ]  # fmt: skip
    (point,) = paired(*photos)
    after = after_of(point)
    assert point[0].uuid == "first"
    assert after is not None and after.uuid == "noon"
    (same_day,) = paired(photo("a", 0, 0, 0, 1), photo("b", 0, 0, 0, 1, hour=13))
    assert after_of(same_day) is None


def test_distance_limit_against_drawn_fixes() -> None:
    """99 of 100 pairs of fixes with 3 m per axis lie within the limit less the two meters of standing."""
    assert same_spot_m(3.0) == pytest.approx(14.88, abs=0.01)
    chance = np.random.default_rng(5)
    apart = np.hypot(*(chance.normal(0, 3.0, (2, 400_000)) - chance.normal(0, 3.0, (2, 400_000))))
    # the share of 400,000 draws has a standard error of 0.00016; five of them are allowed
    assert np.mean(apart <= same_spot_m(3.0) - 2.0) == pytest.approx(0.99, abs=0.0008)


def test_angles_close_over_north() -> None:
    assert [turned_deg(*two) for two in ((350, 10), (10, 350), (0, 180), (359.5, 0), (90, 90), (0, 725))] == [
        20, 20, 180, 0.5, 0, 5
    ]  # fmt: skip


def test_view_is_a_slice_of_a_circle() -> None:
    east = seen_ground(100, 200, 90, far_m=150, wide_deg=60)
    # a sixth of a circle, its rim drawn in 12 chords: (150² / 2) · 12 · sin 5°
    assert east.area == pytest.approx(150**2 / 2 * 12 * math.sin(math.radians(5)), rel=1e-12)
    assert east.bounds[0] == 100 and east.bounds[2] == pytest.approx(250)
    # as far to the left as to the right: 29° off the middle is seen, 31° is not
    for bearing_deg, is_seen in ((61, True), (59, False), (119, True), (121, False)):
        turn = math.radians(bearing_deg)
        assert east.contains(Point(100 + 140 * math.sin(turn), 200 + 140 * math.cos(turn))) is is_seen
    around = seen_ground(0, 0, None, far_m=150)
    assert around.bounds == pytest.approx((-50, -50, 50, 50))
