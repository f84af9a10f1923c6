"""The next bite on the map page: the one that `bite` names, never on held ground, nor where it tells of a nest."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime

import pytest
import shapely
from fakes import GRID, FakeStore, entry, ground_lonlat, unit
from shapely import Point, box

from habmap.jobs.bite import bite
from habmap.jobs.map import build_page
from habmap.place.settings import Settings
from habmap.records import Feature
from habmap.show.page.reading import map_in_words
from habmap.show.page.render import drawing_json, render_page
from habmap.vocabulary import Audience
from habmap.work.bite import USUAL_BITE_ACRES

NOW = datetime(2026, 5, 4, 18, tzinfo=UTC)
TODAY = date(2026, 5, 4)


def stand(**settings: object) -> FakeStore:
    rows = [
        unit("C1", box(0, 0, 300, 200), name="Aspen Bench"),
        unit("C2", box(400, 0, 600, 200), name="Birch Bench"),
        entry("cut", "2026-01-10", box(0, 0, 50, 200)),
    ]
    return FakeStore(rows, settings=Settings.model_validate(settings), grid=GRID)


@pytest.mark.parametrize("audience", ["owner", "public"])
def test_the_page_draws_the_bite_that_the_command_names(audience: Audience) -> None:
    store = stand()
    page = build_page(store, now=NOW, audience=audience)
    named = bite(store, acres=USUAL_BITE_ACRES, today=TODAY)
    assert page.bite is not None and page.bite.unit_id == named.unit_id
    drawn = page.bite.geometry
    assert drawn.symmetric_difference(shapely.geometry.shape(dict(named.geometry))).area == 0
    shape = json.loads(drawing_json(page))["bite"]["shape"]
    assert shapely.geometry.shape(shape).hausdorff_distance(drawn) < 2e-6
    assert "where to cut next: 1.0 acres in one piece" in render_page(page)
    assert any(line.startswith("Where to cut next: 1.0 acres") for line in map_in_words(page))


def test_held_ground_is_never_drawn_as_next_and_without_ground_nothing_is() -> None:
    page = build_page(stand(hold=[{"unit": "C1", "reason": "sale"}]), now=NOW, audience="owner")
    assert page.bite is not None and page.bite.unit_id == "C2"
    both = [{"unit": name, "reason": "sale"} for name in ("C1", "C2")]
    page = build_page(stand(hold=both), now=NOW, audience="owner")
    assert page.bite is None and json.loads(drawing_json(page))["bite"] is None
    assert "cut next" not in render_page(page).partition("<script>")[0]


def test_a_unit_that_would_tell_of_a_nest_has_no_bite_on_the_copy_for_the_public() -> None:
    nest = Point(160, 100)
    rows = [
        unit("C1", box(0, 0, 300, 200), name="Aspen Bench"),
        entry("cut", "2026-01-10", box(0, 0, 50, 200)),
        entry("keep", "2026-01-11", nest.buffer(25)),
        Feature(uuid="nest", kind="nest", name="owl", geometry=GRID.to_lonlat(nest), recorded_at=NOW),
    ]
    store = FakeStore(rows, grid=GRID)
    own = build_page(store, now=NOW, audience="owner").bite
    kept = ground_lonlat(nest.buffer(25))
    assert own is not None and own.geometry.intersection(kept).area < 1e-12  # never on ground left on purpose
    assert build_page(store, now=NOW, audience="public").bite is None
