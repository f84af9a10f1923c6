"""``check`` in a process of its own: what it says of the file beside the rules."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from habmap.place.schema import SCHEMA_VERSION

Run = Callable[..., Any]


def test_the_version_of_the_file_is_said_in_words_and_in_json(tmp_path: Path, run_habmap: Run) -> None:
    place = tmp_path / "place"
    assert run_habmap("start", place, "--name", "Version").code == 0
    words = run_habmap("check", place=place)
    assert words.code == 0
    assert f"version {SCHEMA_VERSION}; this habmap writes version {SCHEMA_VERSION}." in words.out
    told = run_habmap("check", "--json", place=place).json
    assert (told["schema_version"], told["writes_schema_version"]) == (SCHEMA_VERSION, SCHEMA_VERSION)
