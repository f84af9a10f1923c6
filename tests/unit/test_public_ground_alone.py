"""Whatever is told to strangers rests on the public's ground alone: asked of the property, or of what strangers may see
of it, each job answers the same.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

import pytest
from fakes import GRID, FakeStore, entry, unit
from shapely import MultiPolygon, Point, box
from shapely.geometry.base import BaseGeometry

from habmap.jobs.bite import next_bite
from habmap.jobs.due import calendar_days, due
from habmap.jobs.export_layers import due_again, handheld, ledger_table, units_table
from habmap.jobs.handout import build_handout
from habmap.jobs.map import build_page
from habmap.jobs.ports import Store
from habmap.jobs.public import public_view
from habmap.jobs.week import week
from habmap.place.settings import Settings
from habmap.records import Feature, Photo
from habmap.vocabulary import Audience

NOW, ON = datetime(2026, 8, 1, 12, tzinfo=UTC), date(2026, 8, 1)
NEST = Point(300, 250)
UNITS = {"A": box(0, 0, 700, 500), "B": box(700, 0, 1500, 500)}

WHY = "a lawsuit"
BAN = {"work": "burn", "from": "07-15", "to": "09-15", "reason": WHY}

Job = Callable[[Store, Audience], Any]
JOBS: dict[str, Job] = {
    "week": lambda store, audience: week(store, on=ON, audience=audience),
    "due": lambda store, audience: due(store, on=ON, audience=audience).items,
    "calendar": lambda store, audience: calendar_days(store, on=ON, audience=audience),
    "spots due again": lambda store, audience: due_again(store, on=ON, within_days=900, audience=audience),
    "bite": lambda store, audience: next_bite(store, today=ON, audience=audience),
    "ledger": lambda store, audience: ledger_table(store, audience=audience).shapes,
    "units": lambda store, audience: units_table(store, today=ON, audience=audience).rows,
    "handheld": lambda store, audience: handheld(store, today=ON, audience=audience).outlines,
    "map": lambda store, audience: build_page(store, now=NOW, audience=audience).pieces,
    "handout": lambda store, audience: build_handout(store, now=NOW, today=ON, audience=audience).page.pieces,
}


def photo(x: float, *, is_private: bool) -> Photo:
    moment = datetime(2025, 6, 1, 12, tzinfo=UTC)
    return Photo(
        uuid=f"photo {x}", file_name=f"{x}.jpg", picture=f"{x}.jpg", taken_at=moment, taken_on=moment.date(),
        geometry=GRID.to_lonlat(Point(x, 250)), direction_deg=0.0, direction_ref="T", recorded_at=NOW, sha256=f"{x}",
        is_private=is_private,
    )  # fmt: skip


@pytest.fixture
def store() -> FakeStore:
    """Two units: a nest in the first, with standing ground about it that all work left; photo points in the second."""

    def around(ground: BaseGeometry, radius_m: float) -> MultiPolygon:
        return MultiPolygon([ground.difference(NEST.buffer(radius_m))])

    return FakeStore(
        [
            *(unit(name, shape) for name, shape in UNITS.items()),
            Feature(uuid="nest", kind="nest", name="", geometry=GRID.to_lonlat(NEST), recorded_at=NOW),
            photo(1000, is_private=False),
            photo(1300, is_private=True),
            entry("cut", "2026-06-20", around(box(0, 0, 500, 500), 60)),
            entry("burn", "2022-02-01", around(box(0, 0, 400, 500), 90)),
        ],
        grid=GRID,
        settings=Settings.model_validate({"hold": [{"unit": "B", "reason": WHY}], "closed": [BAN]}),
    )


@pytest.mark.parametrize("name", JOBS)
def test_what_strangers_are_told_rests_on_what_they_may_see(name: str, store: FakeStore) -> None:
    job = JOBS[name]
    told = job(store, "public")
    assert told
    assert told == job(public_view(store), "public")
    assert told != job(store, "owner")  # so that the law can fail
    assert WHY not in repr(told)
