"""A real browser with the network cut, which writes down every request and every complaint of the page."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page


@dataclass
class Opened:
    """A page that was opened from disk, what it asked for and what it complained of."""

    page: Page
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)


@pytest.fixture
def open_page(browser: Browser) -> Iterator[Callable[..., Opened]]:
    """Open an HTML file from disk in a fresh window without any network."""
    contexts: list[Any] = []

    def opened(path: Path, *, width_px: int = 1400, height_px: int = 900) -> Opened:
        context = browser.new_context(viewport={"width": width_px, "height": height_px}, offline=True)
        contexts.append(context)
        seen = Opened(context.new_page())
        seen.page.on("request", lambda request: seen.requests.append(request.url))
        seen.page.on(
            "console",
            lambda message: seen.complaints.append(message.text) if message.type in ("error", "warning") else None,
        )
        seen.page.on("pageerror", lambda error: seen.complaints.append(str(error)))
        seen.page.on("dialog", lambda dialog: (seen.complaints.append(f"dialog {dialog.message}"), dialog.dismiss()))
        seen.page.goto(path.as_uri())
        return seen

    yield opened
    for context in contexts:
        context.close()


@pytest.fixture(scope="session")
def sample_place(demo_place: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample property with its map, in a folder into which these tests put more maps."""
    return Path(shutil.copytree(demo_place, tmp_path_factory.mktemp("browser") / "place"))
