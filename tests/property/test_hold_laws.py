"""Ground that is on hold or closed is recommended by no sentence, number or file, whatever is held and when."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta

import hypothesis.strategies as st
from drawn_logs import FEW
from fakes import GRID, FakeStore, entry, unit
from hypothesis import given
from shapely import box

from habmap.cli.commands.rank import next_words
from habmap.jobs.due import calendar_days, due
from habmap.jobs.export_layers import handheld, units_table
from habmap.jobs.handout import build_handout
from habmap.jobs.map import build_page
from habmap.jobs.rank import rank
from habmap.jobs.schedule import schedule
from habmap.place.settings import Settings
from habmap.show import words
from habmap.show.demo_words import order_words
from habmap.show.handout import words as room_words
from habmap.show.page.reading import map_in_words
from habmap.vocabulary import Audience

TODAY = date(2026, 5, 4)
NOW = datetime(2026, 5, 4, 18, tzinfo=UTC)
NAMES = {"C1": "Aspen Bench", "C2": "Birch Bench", "C3": "Cherry Bench", "C4": "Dogwood Bench"}
#: What sends a person somewhere; the next name after it is where.
SENDS = re.compile(
    r"(?:Go to|[Nn]ext(?: comes| is)?:?|on hold or closed:|First in the order of work:|After it[^:]*:|Beside it[^:]*:"
    r"|the first:|Cutting on|begin with|then|upkeep:)\s+([^.;]*)"
)
SECRET = "gray owl"

UNITS = st.sampled_from(sorted(NAMES))
DAYS = st.integers(-400, 400).map(lambda n: TODAY + timedelta(days=n))


@st.composite
def spans(draw: st.DrawFn) -> dict[str, object]:
    first, last = draw(st.none() | DAYS), draw(st.none() | DAYS)
    if first is not None and last is not None and last < first:
        first, last = last, first
    return {"from": first, "to": last}


HOLDS = st.lists(st.tuples(UNITS, spans()), max_size=5)
CLOSED = st.lists(st.tuples(st.lists(UNITS, max_size=2), DAYS, st.integers(0, 200)), max_size=2)


def at_rest(holds: Iterable[tuple[str, dict[str, object]]], closed: Iterable[tuple[list[str], date, int]]) -> set[str]:
    """Return the units at rest on ``TODAY``, by the words of the settings themselves."""
    resting = {
        unit_id
        for unit_id, span in holds
        if (span["from"] or date.min) <= TODAY <= (span["to"] or date.max)  # type: ignore[operator]
    }
    for named, first, days in closed:
        if first <= TODAY <= first + timedelta(days=days):
            resting |= set(named or NAMES)
    return resting


def resting_on(holds: Iterable[tuple[str, dict[str, object]]], on: date) -> set[str]:
    """Return the units on hold on a day, by the words of the settings themselves."""
    return {
        unit_id
        for unit_id, span in holds
        if (span["from"] or date.min) <= on <= (span["to"] or date.max)  # type: ignore[operator]
    }


def resting_all_week(holds: Iterable[tuple[str, dict[str, object]]]) -> set[str]:
    """Return the units on hold on each of seven days."""
    found = [resting_on(holds, TODAY + timedelta(days=n)) for n in range(7)]
    return set.intersection(*found)


def sent_to(texts: Iterable[str]) -> set[str]:
    """Return the units that sentences send people to."""
    told = " ".join(found for text in texts for found in SENDS.findall(text))
    return {unit_id for unit_id, name in NAMES.items() if name in told or re.search(rf"\b{unit_id}\b", told)}


@FEW
@given(holds=HOLDS, closed=CLOSED, audience=st.sampled_from(["owner", "public"]))
def test_nothing_at_rest_is_recommended_anywhere(
    holds: list[tuple[str, dict[str, object]]], closed: list[tuple[list[str], date, int]], audience: Audience
) -> None:
    settings = Settings.model_validate(
        {
            "hold": [{"unit": unit_id, "reason": SECRET, **span} for unit_id, span in holds],
            "closed": [
                {"work": "cut", "reason": SECRET, "units": named, "from": first, "to": first + timedelta(days=days)}
                for named, first, days in closed
            ],
            "effort": {"rates": {"cut": 8}, "hours_per_week": 20},
            "contract": [
                {"program": "EQIP", "item": str(n), "practice_code": "314", "units": [unit_id], "planned_acres": 9,
                 "due": date(2026, 4, 1)} for n, unit_id in enumerate(NAMES)
            ],
        }
    )  # fmt: skip
    rows = [
        unit(unit_id, box(300 * n, 0, 300 * n + 200, 200), name=name) for n, (unit_id, name) in enumerate(NAMES.items())
    ]
    rows += [
        entry("cut", "2026-03-01", box(0, 0, 40, 200)),
        entry("cut", "2020-03-01", box(300, 0, 340, 200)),
        entry("burn", "2020-06-01", box(300, 0, 340, 200)),
        entry("cut", "2025-03-01", box(600, 0, 640, 200)),
    ]  # fmt: skip
    store = FakeStore(rows, settings=settings, grid=GRID)
    resting = at_rest(holds, closed)
    held = at_rest(holds, [])

    order = rank(store, today=TODAY)
    open_units = [line.unit_id for line in order.units if line.unit_id not in resting]
    assert order.next_unit_id == (open_units[0] if open_units else None)
    assert {line.unit_id for line in order.units if line.on_hold} == held
    texts = [next_words(order), order_words(order)]

    page = build_page(store, now=NOW, audience=audience)
    assert {one.unit_id for one in page.units if one.order is not None} == set(NAMES) - resting
    assert all(one.waits for one in page.units if one.unit_id in resting)
    texts += [words.headline(page), words.also(page), *map_in_words(page)]
    handout = build_handout(store, now=NOW, today=TODAY, audience=audience)
    told = [
        room_words.comes_next(handout),
        *room_words.asked(handout),
        *room_words.remaining_sentences(handout),
    ]
    told += [
        line for one in handout.next_units for line in (room_words.unit_heading(one), room_words.unit_reasons(one))
    ]
    texts += told
    if audience == "public":
        public = [words.headline(page), words.also(page), *map_in_words(page), *told]
        public += [reason for one in page.units for reason in (*one.reasons, one.waits, one.waits_why)]
        assert not any(SECRET in text for text in public)
    assert not sent_to(texts) & resting, (texts, resting)

    calendar = due(store, on=TODAY)
    pressing = [
        item
        for item in calendar.items
        if item.state in ("due", "overdue", "in its drying days", "past its drying days")
    ]
    assert not {item.unit_id for item in pressing if item.what not in ("closed_cut", "closed_burn", "hold")} & held
    for day in calendar_days(store, on=TODAY, audience=audience):
        assert day.day >= TODAY
        assert not (audience == "public" and SECRET in f"{day.summary} {day.description}")
        if day.key.startswith(("hold", "closed_", "contract")):
            continue
        if day.key.endswith("\x1flate"):
            named = set(day.summary.rpartition(": ")[2].split(", "))
            assert not named & held, day.summary
        elif (name := day.summary.split(":")[0]) in resting_on(holds, day.day):
            assert "(on hold" in day.summary, day.summary

    (begun,) = schedule(store, first=TODAY, last=TODAY + timedelta(days=6), hours_per_week=30).weeks
    assert not {item.unit_id for item in begun.items if item.what in ("cut", "pile")} & resting
    assert not {item.unit_id for item in begun.items if item.what != "hand_check"} & resting_all_week(holds)

    for name, _, _ in handheld(store, today=TODAY, audience=audience).outlines:
        unit_id, _, rest = name.partition(" ")
        assert not (rest == "left" and unit_id in resting), name
    waiting = {row["unit_id"] for row in units_table(store, today=TODAY, audience=audience).rows if row["waits"]}
    assert waiting == resting


def test_a_hold_that_is_still_to_come_is_not_told_as_held() -> None:
    settings = Settings.model_validate(
        {"hold": [{"unit": "C1", "reason": "nest", "from": date(2027, 4, 1)}], "effort": {"rates": {"cut": 8}}}
    )
    store = FakeStore([unit("C1", box(0, 0, 200, 200), name="Aspen Bench")], settings=settings, grid=GRID)
    order = rank(store, today=TODAY)
    assert order.next_unit_id == "C1" and not order.units[0].on_hold
    assert "on hold from 2027-04-01: nest" in order.units[0].reasons
    assert not any(reason.startswith(("held", "on hold until", "on hold,")) for reason in order.units[0].reasons)
    later = rank(store, today=date(2027, 4, 1))
    assert later.next_unit_id is None and later.units[0].on_hold
    assert (
        next_words(later)
        == "No unit can come next now. C1 (Aspen Bench) would come first but is on hold, no end is written: nest."
    )
