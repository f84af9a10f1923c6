"""The next bite on the map: its own mark, its line in the legend, and in words."""

from __future__ import annotations

from typing import Any

from habmap.show import words
from habmap.show.page import coordinates
from habmap.show.records import Page


def drawing(page: Page) -> dict[str, Any] | None:
    """Return what the script draws; ``None`` where no ground is to be cut next."""
    if page.bite is None:
        return None
    inside = page.bite.geometry.representative_point()
    return {"shape": coordinates.geojson(page.bite.geometry), "at": coordinates.pair((inside.x, inside.y))}


def values(page: Page) -> dict[str, Any]:
    """Return what the legend says of it; ``bite_words`` is empty where there is none."""
    return {"bite_words": "" if page.bite is None else legend_words(page)}


def legend_words(page: Page) -> str:
    """Return the bite's line in the legend."""
    assert page.bite is not None
    return f"where to cut next: {words.tenths(page.bite.acres)} acres in one piece, in {_title(page)}"


def sentence(page: Page) -> str:
    """Return the bite as a sentence, for whoever cannot make out the drawing; empty where there is none."""
    if page.bite is None:
        return ""
    beside = f", beside {words.joined(list(page.bite.beside))}" if page.bite.beside else ""
    return f"Where to cut next: {words.tenths(page.bite.acres)} acres in one piece, in {_title(page)}{beside}."


def _title(page: Page) -> str:
    assert page.bite is not None
    unit_id = page.bite.unit_id
    return next((words.unit_title(unit) for unit in page.units if unit.unit_id == unit_id), unit_id)
