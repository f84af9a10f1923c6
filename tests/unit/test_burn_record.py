"""What is kept of a burn: in one transaction with its line, through corrections and joins, and made again from it."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from fakes import GRID, FakeStore, entry, ground_lonlat, unit
from shapely import box

from habmap.cli.burn_options import parsed_time
from habmap.errors import InputError, InputErrors, PlaceError, UsageError
from habmap.jobs.burnsheet import burnsheet, past_burn
from habmap.jobs.check import check
from habmap.jobs.correct import amend
from habmap.jobs.export_layers import ledger_table
from habmap.jobs.history import history
from habmap.jobs.load.tables import load_entries
from habmap.jobs.log import log
from habmap.jobs.unite import unite
from habmap.jobs.withdraw import void
from habmap.place.connection import connect
from habmap.place.settings import Settings
from habmap.place.store import GeoPackageStore
from habmap.records import BurnRecord, DrawnBlock, Entry, Forecast, ForecastHour, Notice, Row
from habmap.records.said import BurnSaid, Said
from habmap.records.written import as_moment, notice_of
from habmap.show.burn.sheet import hand_sections
from habmap.work.burn.observed import check_burn_said
from habmap.work.burn.request import BurnRequest
from habmap.work.burns import burn_of, record_id
from habmap.work.ledger import corrections
from habmap.work.logged import Logged

NOW = datetime(2026, 3, 6, 15, tzinfo=UTC)
TODAY = date(2026, 3, 6)
BURN_DAY = date(2026, 3, 5)
BLOCK = box(0, 0, 100, 100)
SHERIFF = Notice(who="Sheriff's office", when="2026-03-04 09:10", how="phone")
WEATHER = BurnSaid(
    ignition="13:30", temp_f=61, rh_pct=38, wind_mph=7, wind_from_deg=337.5, wind_height="eye", notices=(SHERIFF,)
)
PLAN: dict[str, object] = {
    "burn_plan": {"down_cedar": {"author": "P. Writer", "date": "2026-01-31", "rh_pct": [45, 70], "gust_mph": [0, 12]}}
}


def a_place(*, plan: dict[str, object] | None = None, more: Sequence[Row] = ()) -> FakeStore:
    """A hectare of cedar cut in winter, a second one beside it."""
    rows = [
        unit("C1", BLOCK),
        unit("C2", box(100, 0, 200, 100)),
        entry("cut", "2025-12-01", BLOCK, unit_ids=("C1",)),
        *more,
    ]
    return FakeStore(rows, settings=Settings.model_validate(plan or {}), grid=GRID)


def burned(store: FakeStore, said: BurnSaid | None = WEATHER, *, at: datetime = NOW) -> Logged:
    return log(
        store, practice="burn", date=BURN_DAY, patch=ground_lonlat(BLOCK), said=Said(burned_pct=80), now=at,
        today=TODAY, unit_ids=("C1",), burn=said,
    )  # fmt: skip


def counting(store: FakeStore) -> list[BurnRecord | None]:
    return [burn_of(line, store.burns()) for line in corrections(store.entries()) if line.root.practice != "cut"]


# --- what is said -------------------------------------------------------------------------------------------


def test_a_notice_is_who_when_how() -> None:
    assert notice_of("Sheriff's office; 2026-03-04T09:10 ; phone") == SHERIFF
    assert notice_of("Hill; Dale; 2026-03-04; a note").who == "Hill; Dale"


@pytest.mark.parametrize(
    "text",
    ["", "Sheriff", "Sheriff; phone", "; 2026-03-04; phone", "S; 2026-03-04; ", "S; 4 March; phone",
     "S; 2026-02-30; phone", "S; 2026-03-04 24:00; phone", "S; 2026-03-04 9:10; phone", "S | T; 2026-03-04; phone"],
)  # fmt: skip
def test_a_notice_that_cannot_be_read_is_refused(text: str) -> None:
    with pytest.raises(UsageError):
        notice_of(text)


@pytest.mark.parametrize("text", ["{}; 2026-03-04; phone", "Sheriff; 2026-03-04; {}", "Sheriff; 2026-03-04 {}; phone"])
def test_a_notice_has_a_length(text: str) -> None:
    with pytest.raises(UsageError, match="too long") as error:
        notice_of(text.format("x" * 201))
    assert "up to 200 characters" in (error.value.allowed or "")
    assert len(str(error.value)) < 1000


def test_a_notice_of_just_the_length_is_kept() -> None:
    assert len(notice_of(f"{'x' * 200}; 2026-03-04; {'y' * 200}").how) == 200


def test_a_table_says_which_notice_is_too_long(tmp_path: Path) -> None:
    with pytest.raises(InputErrors, match="too long") as error:
        load(a_place(), tmp_path, f"b1,2026-03-05,burn,C1,13:30,,,,Hill; 2026-03-04; {'x' * 9_000}")
    (fault,) = error.value.faults
    assert (fault.where or "").endswith("row 2, column told")
    assert "up to 200 characters" in (fault.allowed or "")


@pytest.mark.parametrize(("text", "kept"), [("2026-03-04", "2026-03-04"), ("2026-03-04T23:59", "2026-03-04 23:59")])
def test_moments_are_kept_in_one_form(text: str, kept: str) -> None:
    assert as_moment(text) == kept


@pytest.mark.parametrize(
    ("said", "option"),
    [
        ({"rh_pct": 101}, "--rh-pct"), ({"rh_pct": -1}, "--rh-pct"), ({"wind_from_deg": 400}, "--wind-from"),
        ({"temp_f": float("nan")}, "--temp-f"), ({"wind_mph": 7, "gust_mph": 5}, "--gust-mph, --wind-mph"),
        ({"shade_pct": 120}, "--shade-pct"), ({"wind_height": "roof"}, "--wind-height"),
        ({"plan_kind": "hay"}, "--plan-kind"), ({"ignition": "1:30 pm"}, "--observed-time"),
        ({"ignition": None, "temp_f": 60}, "--observed-time"),
    ],
)  # fmt: skip
def test_weather_that_cannot_be_is_refused(said: dict[str, object], option: str) -> None:
    with pytest.raises(UsageError) as error:
        check_burn_said(BurnSaid(**({"ignition": "13:30"} | said)), practice="burn")  # type: ignore[arg-type]
    assert error.value.where == option


def test_celsius_is_asked_about_unless_the_person_is_sure() -> None:
    said = BurnSaid(ignition="13:30", temp_f=31)
    with pytest.raises(UsageError, match="31 °C, which is 88 °F"):
        check_burn_said(said, practice="burn", month=7)
    check_burn_said(said, practice="burn", month=7, is_sure=True)


def test_weather_belongs_to_a_burn() -> None:
    with pytest.raises(UsageError, match="belong to a burn"):
        check_burn_said(WEATHER, practice="mow")
    check_burn_said(BurnSaid(), practice="mow")
    check_burn_said(WEATHER, practice="pile_burn")


# --- kept, corrected, withdrawn -----------------------------------------------------------------------------


def test_a_burn_is_kept_with_its_line_and_says_what_comes_next() -> None:
    store = a_place(plan=PLAN)
    done = burned(store)
    (record,) = store.burns()
    assert done.burn == record
    assert (record.entry_id, record.uuid) == (done.entry_id, record_id(done.entry_id))
    assert (record.ignition, record.rh_pct, record.notices) == ("13:30", 38, (SHERIFF,))
    assert record.plans is not None
    assert "down_cedar" in record.plans
    assert "next growing season" in done.next_steps[0]
    assert not log(
        store, practice="mow", date=TODAY, patch=ground_lonlat(BLOCK), said=Said(), now=NOW, today=TODAY
    ).next_steps


def test_nothing_said_keeps_nothing() -> None:
    store = a_place()
    assert burned(store, None).burn is None
    assert store.burns() == ()


def test_a_notice_after_the_burn_is_pointed_out() -> None:
    late = replace(SHERIFF, when="2026-03-06")
    done = burned(a_place(), replace(WEATHER, notices=(SHERIFF, late)))
    assert [words for words in done.warnings if "after the burn" in words] == [
        "Sheriff's office was told on 2026-03-06, after the burn of 2026-03-05"
    ]


def test_an_amendment_carries_the_burn_along_and_changes_what_it_names() -> None:
    store = a_place(plan=PLAN)
    first = burned(store)
    store._settings = Settings()
    plain = amend(store, first.entry_id, why="hours", said=Said(person_hours=6), now=NOW + timedelta(hours=1),
                  today=TODAY)  # fmt: skip
    assert plain.burn is not None
    assert (plain.burn.rh_pct, plain.burn.notices) == (38, (SHERIFF,))
    wetter = amend(store, first.entry_id, why="misread", said=Said(), burn=BurnSaid(rh_pct=48),
                   now=NOW + timedelta(hours=2), today=TODAY)  # fmt: skip
    (record,) = counting(store)
    assert record == wetter.burn
    assert record is not None
    assert (record.rh_pct, record.temp_f, record.ignition) == (48, 61, "13:30")
    assert record.plans == store.burns()[0].plans
    shown = [line.burn.rh_pct for line in history(store).entries if line.burn is not None]
    assert shown == [38, 38, 48]


def test_a_burn_that_was_none_has_no_record_and_gets_it_back_when_it_was_one() -> None:
    store = a_place()
    done = burned(store)
    amend(
        store, done.entry_id, why="it was mown", said=Said(), practice="mow", now=NOW + timedelta(hours=1), today=TODAY
    )
    assert counting(store) == [None]
    with pytest.raises(InputError, match="no burn"):
        past_burn(store, done.entry_id, today=TODAY)
    with pytest.raises(UsageError, match="belong to a burn"):
        amend(store, done.entry_id, why="x", said=Said(), burn=BurnSaid(rh_pct=40), now=NOW, today=TODAY)
    amend(store, done.entry_id, why="no, burned", said=Said(), practice="burn", now=NOW + timedelta(hours=2),
          today=TODAY)  # fmt: skip
    assert [record and record.rh_pct for record in counting(store)] == [38]


def test_a_withdrawn_burn_has_no_record() -> None:
    store = a_place()
    done = burned(store)
    void(store, done.entry_id, why="not burned", now=NOW + timedelta(hours=1))
    assert counting(store) == [None]
    assert check(store, today=TODAY).faults == ()
    with pytest.raises(InputError, match="withdrawn"):
        past_burn(store, done.entry_id, today=TODAY)


def test_an_amendment_asks_back_about_celsius() -> None:
    store = a_place()
    done = burned(store)
    wrong = {"why": "x", "said": Said(), "burn": BurnSaid(temp_f=-10), "now": NOW, "today": TODAY}
    with pytest.raises(InputError, match="or -10 °C, which is 14 °F"):
        amend(store, done.entry_id, **wrong)  # type: ignore[arg-type]
    assert amend(store, done.entry_id, **wrong, agree=lambda words: True).burn is not None  # type: ignore[arg-type]


def test_copies_corrected_apart_join_the_same_in_either_order() -> None:
    here = a_place()
    done = burned(here)
    there = FakeStore(here.rows(), grid=GRID)
    amend(
        here, done.entry_id, why="a", said=Said(), burn=BurnSaid(rh_pct=50), now=NOW + timedelta(hours=2), today=TODAY
    )
    amend(there, done.entry_id, why="b", said=Said(note="x"), burn=BurnSaid(temp_f=70), now=NOW + timedelta(hours=1),
          today=TODAY)  # fmt: skip
    first, second = FakeStore(here.rows(), grid=GRID), FakeStore(there.rows(), grid=GRID)
    assert unite(first, there).added["burns"] == 1
    unite(second, here)
    assert counting(first) == counting(second)
    (record,) = counting(first)
    assert record is not None
    # The later correction counts whole: it knew nothing of the other's temperature.
    assert (record.rh_pct, record.temp_f) == (50, 61)
    assert unite(first, second).known == len(second.rows())


def test_check_tells_a_record_without_its_line_and_values_that_cannot_be() -> None:
    stray = BurnRecord(uuid="b", entry_id="gone", recorded_at=NOW)
    store = a_place(more=[stray])
    done = burned(store)
    assert done.burn is not None
    store.append([replace(done.burn, uuid="twin", rh_pct=300.0, recorded_at=NOW + timedelta(hours=1))])
    faults = [fault.what for fault in check(store, today=TODAY).faults if fault.rule == "burn"]
    assert "its log line gone is not in this log" in faults
    assert faults.count(f"log line {done.entry_id} has 2 burn records") == 2
    assert "humidity is 300%, not 0 to 100%" in faults


def test_what_cannot_be_is_not_made_again() -> None:
    store = a_place()
    done = burned(store)
    assert done.burn is not None
    later = NOW + timedelta(hours=1)
    store.append([replace(done.burn, uuid="twin", plan_kind="x", wind_from_deg=180.0, recorded_at=later)])
    with pytest.raises(PlaceError, match="damaged"):
        past_burn(store, done.entry_id, today=TODAY)


@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31"])
def test_the_ends_of_the_calendar_have_no_burn_day(day: str) -> None:
    line = entry("burn", day, BLOCK)
    record = BurnRecord(uuid="b", entry_id=line.entry_id, ignition="13:00", wind_from_deg=180.0, recorded_at=NOW)
    with pytest.raises(InputError, match="no burn sheet"):
        past_burn(a_place(more=[line, record]), line.entry_id, today=TODAY)
    with pytest.raises(UsageError):
        parsed_time(f"{day}T13:00")


def test_it_comes_back_from_a_file_exactly_and_an_older_file_takes_it(tmp_path: Path) -> None:
    store = GeoPackageStore.create(tmp_path / "p", "Place")
    with closing(connect(store.path, 1)) as connection:
        for table in ("burns", "drawn_blocks"):
            connection.execute(f"DROP TABLE {table}")
            connection.execute("DELETE FROM gpkg_geometry_columns WHERE table_name = ?", (table,))
            connection.execute("DELETE FROM gpkg_contents WHERE table_name = ?", (table,))
        connection.commit()
    assert (store.burns(), store.drawn_blocks()) == ((), ())
    written = a_place(plan=PLAN)
    burned(written, replace(WEATHER, notices=(SHERIFF, Notice(who='"; DROP', when="2026-03-01", how="é | |"))))
    rows: list[Row] = [
        *written.rows(),
        DrawnBlock(uuid="d", name="North bite", geometry=ground_lonlat(BLOCK), recorded_at=NOW),
    ]
    store.append(rows)
    assert store.burns() == written.burns()
    (block,) = store.drawn_blocks()
    assert block.geometry.equals(ground_lonlat(BLOCK))
    assert store.storage_faults() == []


# --- made again ---------------------------------------------------------------------------------------------


def test_made_again_it_has_the_ground_before_and_the_plan_of_its_time() -> None:
    store = a_place(plan=PLAN)
    done = burned(store)
    store._settings = Settings()  # the plan has since been taken out of habmap.toml
    first, second = (past_burn(store, done.entry_id[:12], today=TODAY).result for _ in range(2))
    assert first == second
    assert set(first.stage_acres) == {"down"}
    assert not any("fire is logged" in words for words in first.block_words)
    assert first.time == "2026-03-05T13:30"
    assert first.notices == (SHERIFF,)
    assert first.again is not None
    assert (first.again.ground_on, first.again.plans_kept) == (date(2026, 3, 4), True)
    assert first.again.title == "as logged, made again on 2026-03-06"
    assert "Share that burned: 80% of the ground" in first.again.words
    assert f"habmap.toml had when this burn was logged, on {NOW:%Y-%m-%d}" in first.again.words[-1]
    lines = {line.item: line for line in first.prescription}
    assert (lines["rh_pct"].comparison, lines["rh_pct"].distance) == ("not met", 7)
    assert (lines["gust_mph"].comparison, lines["gust_mph"].value) == ("not given", None)
    # Without the log's hindsight the same question has other ground: the fire is on it.
    seen_now = burnsheet(store, BurnRequest(names=("C1",), at=datetime(2026, 3, 5, 13, 30), temp_f=61, rh_pct=38,
                                          wind_mph=7, wind_from_deg=337.5))  # fmt: skip
    assert "down" not in seen_now.stage_acres
    assert seen_now.notices == (SHERIFF,)
    assert seen_now.edge_totals == first.edge_totals
    assert seen_now.fuel_moisture == first.fuel_moisture


def test_what_nobody_wrote_is_not_given_even_where_a_forecast_has_it() -> None:
    hours = tuple(
        ForecastHour(at=datetime(2026, 3, 5, hour), temp_f=66, rh_pct=30, wind_mph=9, wind_from_deg=180)
        for hour in range(8, 20)
    )
    forecast = Forecast(uuid="f", file_name="f.csv", wind_height=None, hours=hours, recorded_at=NOW)
    store = a_place(plan=PLAN, more=[forecast])
    done = burned(store, BurnSaid(ignition="13:30", wind_from_deg=90))
    result = past_burn(store, done.entry_id, today=TODAY).result
    assert result.wind_from_deg == 90
    assert {line.comparison for line in result.prescription} == {"not given"}
    assert (result.fine_fuel_moisture_pct, result.equilibrium_moisture_pct, result.vpd_kpa) == (None, None, None)
    assert result.fine_fuel_words == "temperature or humidity is not given"
    for said in (BurnSaid(ignition="13:30", wind_from_deg=90, temp_f=61),
                 BurnSaid(ignition="13:30", wind_from_deg=90, rh_pct=38)):  # fmt: skip
        other = a_place(plan=PLAN)
        half = past_burn(other, burned(other, said).entry_id, today=TODAY).result
        assert (half.fine_fuel_moisture_pct, half.vpd_kpa) == (None, None)
        assert half.fine_fuel_words == "temperature or humidity is not given"
    assert (result.hours, result.forecast) == ((), None)
    assert all("mile an hour" not in line.rule for line in result.published_breaks)


def test_an_amended_burn_is_made_again_as_it_counts_now() -> None:
    store = a_place()
    done = burned(store)
    amend(store, done.entry_id, why="misread", said=Said(), burn=BurnSaid(wind_from_deg=90), date=date(2026, 3, 4),
          now=NOW + timedelta(hours=1), today=TODAY)  # fmt: skip
    result = past_burn(store, done.entry_id, today=TODAY).result
    assert (result.time, result.wind_from_deg) == ("2026-03-04T13:30", 90)


@pytest.mark.parametrize("said", [None, BurnSaid(notices=(SHERIFF,)), replace(WEATHER, wind_from_deg=None)])
def test_without_hour_or_wind_direction_it_is_refused_with_the_way_to_mend_it(said: BurnSaid | None) -> None:
    store = a_place()
    done = burned(store, said)
    with pytest.raises(InputError, match="hour of ignition and the direction") as error:
        past_burn(store, done.entry_id, today=TODAY)
    assert error.value.mend is not None
    assert "--wind-from" in error.value.mend


def test_notices_fill_their_rows_and_open_recipients_stay() -> None:
    told = (SHERIFF.who, SHERIFF.when, SHERIFF.how)
    rows = hand_sections(notify=("sheriff's office", "Dispatch"), middle_words="", crew_rows=1, notices=(told,))[0].rows
    assert rows == (told, ("Dispatch", "", ""), ("", "", ""))
    blank = hand_sections(notify=("Dispatch",), middle_words="", crew_rows=1)[0].rows
    assert blank == (("Dispatch", "", ""), ("", "", ""), ("", "", ""))


# --- tables -------------------------------------------------------------------------------------------------

HEAD = "whole,entry_id,date,practice,unit_id,observed_time,temp_f,rh_pct,wind_from_deg,told\n"


def load(store: FakeStore, folder: Path, *lines: str) -> int:
    path = folder / "log.csv"
    path.write_text(HEAD + "".join(f"yes,{line}\n" for line in lines), encoding="utf-8")
    return load_entries(store, path=path, today=TODAY, now=NOW).loaded


def test_a_table_may_carry_a_burns_weather_and_notices(tmp_path: Path) -> None:
    store = a_place()
    row = "b1,2026-03-05,burn,C1,13:30,61,38,337.5,Sheriff's office; 2026-03-04 09:10; phone | Hill; 2026-03-03; note"
    assert load(store, tmp_path, row, "m1,2026-03-05,mow,C2,09:00,50,60,,") == 2
    (record,) = store.burns()
    assert (record.rh_pct, record.ignition, record.plans) == (38, "13:30", None)
    assert [told.who for told in record.notices] == ["Sheriff's office", "Hill"]
    assert load(store, tmp_path, row) == 0
    with pytest.raises(InputErrors) as error:
        load(store, tmp_path, row.replace(",38,", ",45,"))
    assert "rh_pct 45.0, before 38.0" in str(error.value)
    result = past_burn(store, "b1", today=TODAY).result
    assert result.again is not None
    assert not result.again.plans_kept
    assert "none were kept with this burn" in result.again.words[-1]


def test_every_fault_of_a_burn_in_a_table_is_told_and_nothing_loaded(tmp_path: Path) -> None:
    store = a_place()
    before: list[Entry] = list(store.entries())
    with pytest.raises(InputErrors) as error:
        load(store, tmp_path, "b1,2026-03-05,burn,C1,1 pm,61,138,400,", "b2,2026-03-05,burn,C1,13:30,61,38,0,Hill")
    assert {part.where.rpartition("column ")[2] for part in error.value.faults if part.where} == {
        "observed_time", "rh_pct", "wind_from_deg", "told",
    }  # fmt: skip
    assert list(store.entries()) == before


def test_an_hour_that_the_clock_skips_is_refused_with_its_row(tmp_path: Path) -> None:
    # US clocks are put forward from 02:00 to 03:00 on 2026-03-08 (15 U.S.C. 260a: the second Sunday of March).
    store = a_place()
    with pytest.raises(InputErrors, match="never came") as error:
        load(store, tmp_path, "b1,2026-03-05,burn,C1,02:30,,,,", "b2,2026-03-08,burn,C1,02:30,,,,")
    (fault,) = error.value.faults
    assert (fault.where or "").endswith("row 3, column observed_time")
    assert len(list(store.entries())) == 1


def test_an_hour_that_comes_twice_is_kept_and_said(tmp_path: Path) -> None:
    store = a_place()
    path = tmp_path / "log.csv"
    path.write_text(
        f"{HEAD}yes,b1,2025-11-02,burn,C1,01:30,,,,\nyes,b2,2025-11-02,burn,C2,02:30,,,,\n", encoding="utf-8"
    )
    notes = load_entries(store, path=path, today=TODAY, now=NOW).warnings
    (note,) = [note for note in notes if "twice" in note]
    assert "row 2: 01:30 came twice on 2025-11-02" in note
    assert [record.ignition for record in store.burns()] == ["01:30", "02:30"]


def test_a_corrected_day_may_not_skip_the_burns_hour() -> None:
    store = a_place()
    done = burned(store, BurnSaid(ignition="02:30"))
    for day, when in ((date(2026, 3, 8), "never"), (date(2025, 11, 2), "once"), (date(2026, 3, 9), "once")):
        if when == "never":
            with pytest.raises(UsageError, match="never came"):
                amend(store, done.entry_id, why="day", said=Said(), now=NOW, today=TODAY, date=day)
        else:
            again = amend(store, done.entry_id, why="day", said=Said(), now=NOW, today=TODAY, date=day)
            assert not [words for words in again.warnings if "twice" in words]
    twice = amend(
        store, done.entry_id, why="day", said=Said(), now=NOW, today=TODAY, date=date(2025, 11, 2),
        burn=BurnSaid(ignition="01:30"),
    )  # fmt: skip
    assert [words for words in twice.warnings if "01:30 came twice on 2025-11-02" in words]


# --- all or nothing -----------------------------------------------------------------------------------------


def test_a_line_and_its_record_are_written_together_or_not_at_all(tmp_path: Path) -> None:
    store = GeoPackageStore.create(tmp_path / "p", "Place")
    store.append(a_place().rows())
    taken = BurnRecord(uuid="taken", entry_id="x", recorded_at=NOW)
    store.append([taken])
    before = store.rows()
    with pytest.raises(InputError):
        store.append([entry("burn", "2026-03-05", BLOCK), replace(taken, entry_id="y")])
    assert store.rows() == before


def test_an_exported_ledger_brings_its_burns_along(tmp_path: Path) -> None:
    written = a_place()
    burned(written)
    table = ledger_table(written)
    path = tmp_path / "ledger.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        lines = csv.DictWriter(file, table.columns)
        lines.writeheader()
        lines.writerows(table.rows)
    loaded = a_place()
    load_entries(loaded, path=path, today=TODAY, now=NOW + timedelta(days=9))
    (ours,), (theirs,) = written.burns(), loaded.burns()
    assert replace(theirs, entry_id=ours.entry_id, uuid=ours.uuid, recorded_at=NOW, plans=ours.plans) == ours
    public = ledger_table(written, audience="public")
    assert "told" not in public.columns
    assert not any("Sheriff" in str(cell) for row in public.rows for cell in row.values())
    assert "observed_time" not in ledger_table(a_place()).columns
