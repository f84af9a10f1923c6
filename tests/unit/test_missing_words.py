"""What the public copies say where something is missing: nothing that only the steward could type."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Any

import pytest
from fakes import GRID, FakeStore, unit
from shapely import box

from habmap.jobs.map import build_page
from habmap.show.missing import for_the_owner, missing_words
from habmap.show.page.render import render_page
from habmap.vocabulary import STEEP_CAUTION, STEEP_CAUTION_PUBLIC, Audience

NOW = datetime(2026, 3, 6, 15, tzinfo=UTC)
NOTHING: dict[str, Any] = {"has_units": False, "has_elevation": False, "has_relief": False, "has_log": False}


def test_the_public_reads_no_command_and_the_owner_reads_what_mends_it() -> None:
    plain = missing_words(**NOTHING, audience="public")
    told = missing_words(**NOTHING, audience="owner")
    assert len(plain) == len(told) == 3
    assert not [words for words in plain if "`" in words or "habmap" in words or "load" in words]
    assert [words for words in told if "`habmap load units`" in words]
    assert [words for words in told if "`habmap load dem`" in words]
    assert for_the_owner(plain) == for_the_owner(told) == told


def test_what_is_there_is_not_missed() -> None:
    whole = dict.fromkeys(NOTHING, True)
    assert missing_words(**whole, audience="owner") == ()
    (off,) = missing_words(**(whole | {"has_relief": False}), audience="public")
    assert "does not reach" in off


def test_the_caution_for_steep_ground_differs_in_the_file_name_alone() -> None:
    assert "habmap.toml" in STEEP_CAUTION
    assert "habmap" not in STEEP_CAUTION_PUBLIC
    assert STEEP_CAUTION.partition(";")[0] == STEEP_CAUTION_PUBLIC.partition(";")[0]


def _read(store: FakeStore, audience: Audience) -> str:
    """What a reader sees, or is read out to them: scripts, styles and the file's own marks left out."""
    html = render_page(build_page(store, now=NOW, audience=audience))
    return re.sub(r"<(script|style)\b.*?</\1>|<meta\b[^>]*>", " ", html, flags=re.DOTALL)


@pytest.mark.parametrize("store", [FakeStore([], grid=GRID), FakeStore([unit("A", box(0, 0, 200, 200))], grid=GRID)])
def test_a_page_for_the_public_speaks_to_no_steward(store: FakeStore) -> None:
    plain = _read(store, "public")
    assert "The heights of this ground are not known" in plain
    assert "give it to whoever keeps the work log" in plain
    assert not re.findall(r"habmap|\.toml|`", plain)
    told = _read(store, "owner")
    assert "`habmap load dem`" in told
    assert "typed in the property’s folder" in told
