"""Paper for day, sun or dusk: a part of the page that is all style and script."""

from __future__ import annotations

from typing import Any

from habmap.show.records import Page


def drawing(page: Page) -> None:
    """Return nothing: the colours are in the style."""


def values(page: Page) -> dict[str, Any]:
    """Return nothing: the words are in the template."""
    return {}
