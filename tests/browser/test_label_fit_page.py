"""Words on the page stand on the ground that they name: measured in the browser, at four places of different shape."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import shapely
from label_places import NOW, PLACES
from shapely import box

from habmap.jobs.map import build_page
from habmap.show.on_own_ground import newest_work, work_lines
from habmap.show.page.render import render_page
from habmap.show.words import unit_title

pytestmark = pytest.mark.browser

#: Each mark that is seen, with the ground under its box: west, south, east, north [°].
_SEEN = """() => {
  const map = window[Object.keys(window).find((name) => name.startsWith("map_"))];
  const holder = map.getContainer(), corner = holder.getBoundingClientRect();
  const left = corner.left + holder.clientLeft, top = corner.top + holder.clientTop;
  const at = (x, y) => map.containerPointToLatLng([x - left, y - top]);
  return [...document.querySelectorAll(".mark:not(.hushed)")].map((mark) => {
    const b = mark.firstElementChild.getBoundingClientRect(), low = at(b.left, b.bottom), high = at(b.right, b.top);
    return {kind: mark.classList[1], said: mark.innerText, box: [low.lng, low.lat, high.lng, high.lat]};
  });
}"""


def _share(words: shapely.Geometry, ground: shapely.Geometry) -> float:
    return float(shapely.intersection(words, shapely.make_valid(ground)).area / words.area)


@pytest.mark.parametrize(("width_px", "height_px"), [(1400, 900), (390, 844)])
@pytest.mark.parametrize("name", PLACES)
def test_names_and_dates_lie_on_their_own_ground(
    open_page: Callable[..., Any], tmp_path: Path, name: str, width_px: int, height_px: int
) -> None:
    shown = build_page(PLACES[name](), now=NOW, audience="owner")
    path = tmp_path / "map.html"
    path.write_text(render_page(shown), encoding="utf-8")
    page = open_page(path, width_px=width_px, height_px=height_px).page
    page.wait_for_selector("body[data-drawn=yes]")
    dates = 0
    for step in range(4):
        marks = page.evaluate(_SEEN)
        houses = [box(*one["box"]) for one in marks if one["kind"] == "symbol"]
        for one in marks:
            words, said = box(*one["box"]), one["said"].replace("\n", " ")
            if one["kind"] == "unitname":
                (ground,) = [unit.geometry for unit in shown.units if unit_title(unit) == said]
                assert _share(words, ground) >= 0.8, (said, step)
            elif one["kind"] == "day" and said != "cut next":
                grounds = [
                    ground.newest
                    for work, ground in zip(shown.work, newest_work(shown.work), strict=True)
                    if said in [" ".join(lines) for lines in work_lines(work)]
                ]
                assert max(_share(words, ground) for ground in grounds) >= 0.8, (said, step)
                assert step > 0  # not while the whole property is seen
                dates += 1
            if one["kind"] in ("unitname", "day", "order"):
                assert not any(words.intersects(house) for house in houses), (said, step)
        page.get_by_role("button", name="zoom in").click()
    assert dates > 0 or name == "sixty"
