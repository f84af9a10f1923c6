"""The line that the map page gives for what was drawn must be one that the log takes."""

from __future__ import annotations

import shlex
from dataclasses import replace
from datetime import date

import pytest
from page_makers import page_totals

from habmap.errors import UsageError
from habmap.records.said import Said
from habmap.show.page.pencil import pencil_drawing, pencil_values
from habmap.show.records import Page
from habmap.vocabulary import PRACTICE_WORDS, PRACTICES
from habmap.work.said import check_said

PAGE = Page(
    place="A place", audience="public", on=None, drawn_on=date(2026, 8, 1), currency="USD", totals=page_totals(),
    units=(), pieces=(), work=(), features=(), boundary=None,
    relief=None, missing=(), method=(), cautions=(), grid_latlon=(37.0, -96.3),
)  # fmt: skip


def _said(more: str) -> Said:
    words = shlex.split(more)
    given = dict(zip(words[::2], words[1::2], strict=True))
    assert given.keys() <= {"--killed-pct", "--note"}
    assert all(value.isupper() for value in given.values())  # capitals: the person's to fill in
    return Said(killed_pct=90 if "--killed-pct" in given else None, note=given.get("--note"))


def test_every_practice_is_offered_in_words_and_says_besides_just_what_the_log_asks_for() -> None:
    offered = pencil_values(PAGE)["pencil_practices"]
    assert [(key, words) for key, words, _more in offered] == [(key, PRACTICE_WORDS[key]) for key in PRACTICES]
    for key, _words, more in offered:
        check_said(_said(more), practice=key)
        if more:
            with pytest.raises(UsageError):
                check_said(_said(""), practice=key)


def test_a_cedar_that_grows_from_its_stumps_is_asked_for_its_share() -> None:
    asked = {
        key for key, _words, more in pencil_values(replace(PAGE, cedar="redberry juniper"))["pencil_practices"] if more
    }
    assert asked == {"cut", "mulch", "pull", "girdle", "spray", "checkup"}


def test_the_script_gets_the_grid_that_the_acres_of_record_are_measured_in() -> None:
    drawing = pencil_drawing(PAGE)
    assert drawing["grid"] == [37.0, -96.3] and drawing["place"] == "A place"
    # The international acre: 43,560 ft² of 0.3048 m a side (85 Fed. Reg. 62698), exactly.
    assert drawing["m2PerAcre"] == pytest.approx(4046.8564224, rel=1e-15) and drawing["mPerFt"] == 0.3048
