"""What is said and kept of a burn and made again of it, each rule just under and just over its limit."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from fakes import entry
from shapely import MultiPolygon, box

from habmap.errors import InputError, PlaceError, UsageError
from habmap.records import BurnRecord, Entry, Notice
from habmap.records.said import BurnSaid
from habmap.work.burn.observed import check_burn_said, hour_note
from habmap.work.burn.past import logged_burn
from habmap.work.burns import (
    burn_of,
    burn_record,
    ignition_of,
    moment_on,
    notices_of,
    record_faults,
    record_id,
)
from habmap.work.ledger import corrections

NOW = datetime(2026, 3, 6, 15, tzinfo=UTC)
DAY = date(2026, 3, 5)
CHICAGO = ZoneInfo("America/Chicago")
PLANE: Any = SimpleNamespace(to_grid=lambda shape: shape)
BOSS, CHIEF = (Notice(who=who, when="2026-03-04 09:10", how="phone") for who in ("Boss", "Chief"))


def refused(said: BurnSaid, **asked: Any) -> str | None:
    """Return where a refusal points; ``None`` where nothing is refused."""
    try:
        check_burn_said(said, **({"practice": "burn"} | asked))
    except UsageError as error:
        return error.where
    return None


@pytest.mark.parametrize(
    ("said", "asked", "where"),
    [
        ({"wind_mph": 7.0, "gust_mph": 7.0, "ignition": "13:30"}, {}, None),
        ({"wind_mph": 7.0, "gust_mph": 6.9, "ignition": "13:30"}, {}, "--gust-mph, --wind-mph"),
        ({"gust_mph": 6.9, "ignition": "13:30"}, {}, None), ({"wind_mph": 6.9, "ignition": "13:30"}, {}, None),
        # weather has its hour where that is asked; the hour, the kind of plan and notices alone are none
        ({"rh_pct": 40.0}, {}, "--observed-time"), ({"rh_pct": 40.0}, {"needs_hour": False}, None),
        ({"plan_kind": "grass", "notices": (BOSS,)}, {}, None), ({"ignition": "00:00"}, {}, None),
        ({"ignition": "24:00"}, {"needs_hour": False}, "--observed-time"),
        # 31 °F in July is asked back, in January not
        ({"temp_f": 31.0, "ignition": "13:30"}, {"month": 7}, "--temp-f"),
        ({"temp_f": 31.0, "ignition": "13:30"}, {"month": 7, "is_sure": True}, None),
        ({"temp_f": 31.0, "ignition": "13:30"}, {"month": 1}, None), ({"temp_f": 31.0, "ignition": "13:30"}, {}, None),
        ({"ignition": "13:30"}, {"month": 7}, None),
        # 8 March 2026 has no 2:30 in Chicago
        ({"ignition": "02:30"}, {"day": date(2026, 3, 8), "zone": CHICAGO}, "--observed-time"),
        ({"ignition": "03:00"}, {"day": date(2026, 3, 8), "zone": CHICAGO}, None),
        ({"ignition": "01:59"}, {"day": date(2026, 3, 8), "zone": CHICAGO}, None),
        ({"ignition": "02:30"}, {"day": date(2026, 3, 9), "zone": CHICAGO}, None),
        ({"ignition": "02:30"}, {"day": date(2026, 3, 8)}, None), ({"ignition": "02:30"}, {"zone": CHICAGO}, None),
        ({}, {"day": date(2026, 3, 8), "zone": CHICAGO}, None),
        # work without fire has no weather
        ({"rh_pct": 40.0, "notices": (BOSS,)}, {"practice": "mow"}, "--rh-pct, --told"),
        ({}, {"practice": "mow"}, None),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_where_it_stands(
    said: dict[str, Any], asked: dict[str, Any], where: str | None
) -> None:
    assert refused(BurnSaid(**said), **asked) == where


def test_an_hour_that_comes_twice_is_pointed_out() -> None:
    for clock, day, is_twice in (("01:30", 1, True), ("00:59", 1, False), ("02:00", 1, False), ("01:30", 2, False)):
        note = hour_note(clock, date(2026, 11, day), CHICAGO)
        assert (note is not None and note.startswith(f"{clock} came twice on 2026-11-01")) is is_twice
    assert hour_note(None, date(2026, 11, 1), CHICAGO) is None


def record(of: Entry, name: str = "r", *, at: datetime = NOW, **fields: Any) -> BurnRecord:
    return BurnRecord(uuid=name, entry_id=of.entry_id, recorded_at=at, **fields)


def test_the_record_of_the_counting_row_goes_before_that_of_the_line_and_of_one_row_s_the_later() -> None:
    line = entry("burn", DAY)
    amend = replace(line, entry_id="late", action="amend", target=line.entry_id, why="w",
                    recorded_at=line.recorded_at + timedelta(days=1))  # fmt: skip
    told, last = record(line, "z"), record(amend, "a")

    def counting(rows: list[Entry], *records: BurnRecord) -> BurnRecord | None:
        (found,) = corrections(rows)
        return burn_of(found, records)

    assert counting([line], told) is told and counting([line], last) is None
    assert counting([line, amend], told, last) is last is counting([line, amend], last, told)
    assert counting([line, amend], told) is told
    newer, twin = record(line, "b", at=NOW + timedelta(seconds=1)), record(line, "zz")
    assert counting([line], newer, told) is counting([line], told, newer) is newer
    assert counting([line], twin, told) is counting([line], told, twin) is twin
    assert counting([replace(line, practice="mow")], told) is None
    void = replace(amend, action="void")
    assert counting([line, void], told) is None


def test_what_a_record_may_hold_and_when_there_is_one() -> None:
    line = entry("burn", DAY)
    assert record_faults(record(line, ignition="13:30", notices=(BOSS, CHIEF))) == []
    bad = replace(CHIEF, when="4 March")
    told = record_faults(record(line, ignition="1:30", rh_pct=101.0, notices=(BOSS, bad)))
    assert len(told) == 3 and "humidity" in told[0]
    assert told[1:] == ["the time of ignition is '1:30'", "a notice was given '4 March'"]
    assert ignition_of(DAY, record(line)) is ignition_of(DAY, record(line, ignition="1:30")) is None
    assert ignition_of(DAY, record(line, ignition="23:59")) == datetime(2026, 3, 5, 23, 59) == moment_on(DAY, "23:59")
    kept = {"entry_id": line.entry_id, "now": NOW}
    assert burn_record(BurnSaid(), **kept) is None  # type: ignore[arg-type]
    empty = burn_record(BurnSaid(), is_kept=True, **kept)  # type: ignore[arg-type]
    assert empty == BurnRecord(uuid=record_id(line.entry_id), entry_id=line.entry_id, recorded_at=NOW)
    said = burn_record(BurnSaid(rh_pct=40.0), plans={"grass": {}}, **kept)  # type: ignore[arg-type]
    assert said is not None and (said.rh_pct, said.plans, said.uuid) == (40.0, {"grass": {}}, empty.uuid)


def test_notices_are_those_of_burns_of_that_day_on_more_than_a_square_meter_of_the_block() -> None:
    block = box(0, 0, 100, 100)

    def burn(day: date, east_m: float | None) -> Entry:
        patch = None if east_m is None else MultiPolygon([box(100 - east_m, 0, 200, 100)])
        return replace(entry("burn", day), patch=patch)

    def told(*lines: tuple[Entry, tuple[Notice, ...]]) -> tuple[Notice, ...]:
        records = [record(line, line.entry_id, notices=notices) for line, notices in lines]
        return notices_of([line for line, _ in lines], records, block, grid=PLANE, day=DAY)

    for east_m, is_there in ((0.0, False), (0.009999, False), (0.010001, True), (0.01005, True), (50.0, True)):
        assert told((burn(DAY, east_m), (BOSS,))) == ((BOSS,) if is_there else ())
    just: Any = replace(entry("burn", DAY), patch=MultiPolygon([box(0, 0, 1, 1)]))
    assert told((just, (BOSS,))) == ()
    assert told((burn(DAY, 9), (CHIEF, BOSS)), (burn(DAY, 9), (BOSS,))) == (CHIEF, BOSS)
    others = (burn(DAY + timedelta(days=1), 9), burn(DAY, None), replace(burn(DAY, 9), practice="mow"))
    assert told(*((line, (BOSS,)) for line in others), (burn(DAY, 9), (CHIEF,))) == (CHIEF,)
    assert notices_of([burn(DAY, 9)], [], block, grid=PLANE, day=DAY) == ()


def test_a_burn_is_made_again_where_its_line_tells_enough() -> None:
    cut, line = entry("cut", DAY, box(0, 0, 9, 9)), entry("burn", DAY, box(0, 0, 9, 9))
    whole = record(line, ignition="13:30", wind_from_deg=0.0, rh_pct=40.0, plan_kind="grass")
    found = logged_burn([cut, line], [whole], line.entry_id)
    assert (found.number, found.where) == (2, f"line 2 ({line.entry_id})")
    asked = found.request
    assert asked.at == datetime(2026, 3, 5, 13, 30)
    assert (asked.wind_from_deg, asked.rh_pct, asked.plan_kind) == (0.0, 40.0, "grass")
    assert (asked.names, asked.patch, asked.is_observed, asked.temp_f) == ((), line.patch, True, None)
    told = found.told(units=("A", "B"), drawn=(), today=date(2026, 4, 1))
    assert (told.number, told.ground_on, told.plans_kept, told.block) == (2, date(2026, 3, 4), False, "a patch in A, B")
    assert told.title == "as logged, made again on 2026-04-01"
    kept = logged_burn([line], [replace(whole, plans={})], "1").told(units=(), drawn=(), today=DAY)
    assert kept.plans_kept
    with pytest.raises(InputError, match="no burn"):
        logged_burn([cut, line], [whole], cut.entry_id)
    hour, wind = "--observed-time", "--wind-from"
    for records, missing in (
        ([], [hour, wind]), ([replace(whole, ignition=None)], [hour]), ([replace(whole, wind_from_deg=None)], [wind]),
        ([replace(whole, ignition="1:30")], [hour]),
    ):  # fmt: skip
        with pytest.raises(InputError, match="are needed") as error:
            logged_burn([cut, line], records, line.entry_id)
        assert error.value.value == f"not logged: {', '.join(missing)}"
        assert (error.value.mend or "").endswith(f" habmap correct 2 --why … {' … '.join(missing)} …")
    # what is damaged is told, up to 200 characters of it
    when = "x" * 300
    with pytest.raises(PlaceError, match="damaged") as damaged:
        logged_burn([line], [replace(whole, notices=(replace(BOSS, when=when),))], "1")
    assert damaged.value.value == f"a notice was given '{when}"[:199] + "…"
