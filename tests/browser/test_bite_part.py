"""The next bite as a person meets it: drawn with its own mark, named in the legend, gone when the ruler goes back."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.browser


def test_it_is_drawn_named_and_of_now_only(open_page: Callable[..., Any], sample_place: Path) -> None:
    seen = open_page(sample_place / "out" / "map.html")
    page = seen.page
    page.wait_for_selector("body[data-drawn=yes]")
    dots = page.locator("path.bite.dots")
    assert dots.count() == 1 and dots.bounding_box()["width"] > 5
    assert page.locator(".legend li.bite").is_visible()
    assert "where to cut next: 1.0 acres in one piece" in page.locator(".legend li.bite").inner_text()
    page.get_by_role("button", name="earlier").click()
    assert dots.count() == 0 and page.locator(".legend li.bite").is_hidden()
    page.get_by_role("button", name="now", exact=True).click()
    assert dots.count() == 1 and page.locator(".legend li.bite").is_visible()
    assert seen.complaints == []
