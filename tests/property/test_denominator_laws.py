"""Every screen, sheet and file counts against one acreage of cedar ground, on any day, whatever was logged."""

from __future__ import annotations

import math
import re
from datetime import UTC, date, datetime

import pytest
from drawn_logs import FEW, UNITS, logs
from fakes import GRID, FakeStore
from hypothesis import given

from habmap.cli.commands.acres import answer
from habmap.jobs.acres import acres
from habmap.jobs.handout import build_handout
from habmap.jobs.map import build_page
from habmap.measures import M2_PER_ACRE
from habmap.records import Entry
from habmap.show import words
from habmap.show.page.ruler import headline_then
from habmap.show.sheet.sheet import Sheet, _only, headline

NOW = datetime(2027, 1, 1, 12, tzinfo=UTC)
#: The cedar units as they are drawn, by shapely's own planar area: not by the account that is tried here.
CEDAR_M2 = {one.unit_id: GRID.to_grid(one.geometry).area for one in UNITS if one.cover == "cedar"}
TOTAL = words.tenths(math.fsum(CEDAR_M2.values()) / M2_PER_ACRE)
DENOMINATOR = re.compile(r"(?:of|Before any work:) ([\d,.]+) (?:cedar acres|acres of cedar)")


def said(text: str) -> str:
    found = DENOMINATOR.search(text)
    assert found is not None, text
    return found.group(1)


@FEW
@given(entries=logs)
def test_one_denominator_on_every_screen_and_any_day(entries: list[Entry]) -> None:
    store = FakeStore([*UNITS, *entries], grid=GRID)
    for day in (None, date(2024, 6, 1), date(2025, 3, 1)):
        account = acres(store, on=day)
        totals = account.totals
        assert totals.treated_acres + totals.remaining_acres + totals.keep_acres == pytest.approx(totals.cedar_acres)
        page = build_page(store, now=NOW, audience="owner", on=day)
        told = [answer(account), words.headline(page)]
        told += [headline_then(step) for step in (page.history.steps if page.history else ())]
        assert {said(text) for text in told} == {TOTAL}
        handout = build_handout(store, now=NOW, today=date(2027, 1, 1), audience="owner", on=day)
        assert (
            words.tenths(handout.account.start_remaining_acres)
            == words.tenths(handout.page.totals.cedar_acres)
            == TOTAL
        )
        if page.seasons is not None:
            assert words.tenths(page.seasons.start_remaining_acres) == TOTAL
        for unit_id, area_m2 in CEDAR_M2.items():
            one = headline(Sheet(page=_only(page, unit_id), grid=GRID, unit_id=unit_id, neighbors=()))
            assert said(one) == words.tenths(area_m2 / M2_PER_ACRE)
