"""Desks for tests: one that many tests attack, and one for each test that ends it."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from desk_process import Running, start_desk


@pytest.fixture(scope="session")
def desk_command() -> list[str]:
    """The installed command."""
    return [str(Path(sys.executable).with_name("habmap"))]


@pytest.fixture(scope="module")
def desk_place(demo_place: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample property, for this module's desk alone."""
    return Path(shutil.copytree(demo_place, tmp_path_factory.mktemp("desk_place") / "sample"))


@pytest.fixture(scope="module")
def desk(desk_command: list[str], desk_place: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """A desk on the sample property, entered as its own browser enters it."""
    running = start_desk(desk_command, tmp_path_factory.mktemp("desk_home"), place=desk_place).enter()
    yield running
    running.stop()


@pytest.fixture
def begin(desk_command: list[str], tmp_path: Path) -> Iterator[Callable[..., Running]]:
    """Start a desk of the test's own, in a home of its own unless one is given."""
    begun: list[Running] = []

    def started(*words: str, home: Path | None = None, place: Path | None = None) -> Running:
        begun.append(start_desk(desk_command, home or tmp_path / "home", *words, place=place))
        return begun[-1]

    yield started
    for one in begun:
        one.stop()
