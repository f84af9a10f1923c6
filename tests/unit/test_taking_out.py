"""A correction takes out what a line should never have said; the line stays on record, and so does the correction."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from fakes import GRID, FakeStore, unit
from shapely import MultiPolygon, box

from habmap.errors import HabmapError, InputError, UsageError
from habmap.jobs.correct import amend
from habmap.jobs.history import history
from habmap.jobs.log import log
from habmap.jobs.withdraw import void
from habmap.records import BurnRecord, Look
from habmap.records.said import BurnSaid, Said
from habmap.show.ledger_words import line_words
from habmap.show.logged_words import changes_sentences
from habmap.work.burns import burn_of
from habmap.work.ledger import corrections, effective_entries
from habmap.work.logged import Logged

MOMENT = datetime(2026, 3, 2, 18, tzinfo=UTC)
DAY = date(2026, 3, 1)
SQUARE = box(0, 0, 300, 300)
GROUND = GRID.to_lonlat(MultiPolygon([SQUARE]))


@pytest.fixture
def store() -> FakeStore:
    return FakeStore([unit("C1", SQUARE)], grid=GRID)


def logged(store: FakeStore, practice: str, **said: Any) -> Logged:
    burn = said.pop("burn", None)
    return log(
        store, practice=practice, date=DAY, patch=GROUND, said=Said(**said), burn=burn, now=MOMENT, today=DAY,
        agree=lambda words: True,
    )  # fmt: skip


def corrected(store: FakeStore, *clear: str, minutes: int = 5, **more: Any) -> Logged:
    said = more.pop("said", Said())
    moment = MOMENT + timedelta(minutes=minutes)
    return amend(store, "1", why="never measured", said=said, clear=clear, now=moment, today=DAY, **more)


def test_what_is_taken_out_is_gone_and_the_rest_stays(store: FakeStore) -> None:
    logged(store, "cut", person_hours=6.0, cost=90.0, note="windy", who="Ann", reported_acres=40.0)
    done = corrected(store, "person-hours", "--note", "reported_acres")
    (line,) = effective_entries(store.entries())
    assert (line.person_hours, line.note, line.reported_acres) == (None, None, None)
    assert (line.cost, line.who, line.practice, line.date, line.is_sure) == (90.0, "Ann", "cut", DAY, False)
    assert done.cleared == ("person_hours", "reported_acres", "note")
    assert changes_sentences(done)[0] == "Taken out: person-hours, reported acres and note."
    first, second = history(store).entries
    assert (first.person_hours, first.note, first.cleared) == (6.0, "windy", ())
    assert second.cleared == done.cleared
    assert "Taken out: person-hours, reported acres and note." in line_words(second, ZoneInfo("UTC"), {})
    void(store, done.entry_id, why="it was measured", now=MOMENT + timedelta(hours=1), agree=lambda words: True)
    (line,) = effective_entries(store.entries())
    assert (line.person_hours, line.note, line.reported_acres) == (6.0, "windy", 40.0)


def test_of_a_burn_the_weather_too_even_all_of_it(store: FakeStore) -> None:
    def weather() -> BurnRecord | None:
        return burn_of(corrections(store.entries())[0], store.burns())

    logged(store, "burn", burn=BurnSaid(ignition="13:30", temp_f=60.0, rh_pct=45.0))
    corrected(store, "temp-f")
    left = weather()
    assert left is not None and (left.temp_f, left.rh_pct) == (None, 45.0)
    corrected(store, "rh-pct", "observed-time", minutes=10)
    left = weather()
    assert left is not None and (left.temp_f, left.rh_pct, left.ignition) == (None, None, None)  # not the record below
    assert [one.cleared for one in history(store).entries] == [(), ("temp_f",), ("ignition", "rh_pct")]
    corrected(store, minutes=15, said=Said(note="the grass was green"))
    left = weather()
    assert left is not None and (left.temp_f, left.rh_pct) == (None, None)


def test_parts_of_a_look_are_taken_out_one_by_one(store: FakeStore) -> None:
    logged(store, "checkup", look=Look(seedlings_per_acre=30.0, sprouts=(("little bluestem", 4),)), note="few")
    corrected(store, "sprouts")
    (line,) = effective_entries(store.entries())
    assert line.look == Look(seedlings_per_acre=30.0)
    corrected(store, "seedlings-per-acre", minutes=10)
    (line,) = effective_entries(store.entries())
    assert (line.look, line.note) == (None, "few")
    with pytest.raises(UsageError, match="what was seen"):
        corrected(store, "note", minutes=15)


@pytest.mark.parametrize(
    ("clear", "more", "kind", "word"),
    [
        (["colour"], {}, UsageError, "nothing of this name"),
        (["practice"], {}, UsageError, "nothing of this name"),
        (["cost"], {}, InputError, "says nothing of its cost"),
        (["temp-f"], {}, InputError, "says nothing of its temperature"),
        (["note"], {"said": Said(note="calm")}, UsageError, "at once"),
        (["killed-pct"], {}, UsageError, "must say what share"),
    ],
)
def test_what_cannot_be_taken_out_is_refused_and_nothing_written(
    store: FakeStore, clear: list[str], more: dict[str, Any], kind: type[HabmapError], word: str
) -> None:
    logged(store, "girdle", killed_pct=50.0, note="windy")
    rows = store.entries()
    with pytest.raises(kind, match=word):
        corrected(store, *clear, **more)
    assert store.entries() == rows
