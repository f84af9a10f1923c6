"""What is due, asked from outside, and its calendar read back by another reader."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
import vobject
from small_places import make_place, square, with_settings

Run = Callable[..., Any]
SETTINGS = """
[[hold]]
unit = "C2"
reason = "sale not settled"
from = 2026-01-10

[[closed]]
work = "burn"
reason = "ground-nesting birds"
from = "04-15"
to = "07-31"

[[closed]]
work = "burn"
reason = "neighbor's wedding"
units = ["C1"]
from = 2026-03-07
to = 2026-03-08

[[closed]]
work = "cut"
reason = "deer season"
from = "11-15"
to = "01-05"

[[closed]]
work = "cut"
reason = "wet draw"
units = ["C2"]
from = 2026-02-01
to = 2026-02-28

[[burn_for]]
reason = "fescue"
units = ["G1"]
years = 3
from = "03-20"
to = "04-14"

[[contract]]
program = "EQIP"
item = "7"
practice_code = "314"
units = ["C1", "C2"]
planned_acres = 4.0
not_before = 2026-01-01
due = 2026-04-30

[[contract]]
program = "EQIP"
item = "8"
practice_code = "338"
units = ["G1"]
not_before = 2026-09-01
"""
ENTRIES = "a,2026-01-20,cut,C1,,10,\nb,2023-04-01,burn,G1,,4,\nc,2021-02-15,cut,K1,,6,\nd,2021-04-10,burn,K1,,3,\n"
ON = "2026-02-10"


@pytest.fixture(scope="module")
def master(tmp_path_factory: pytest.TempPathFactory, run_habmap: Run) -> Path:
    units = [
        ("C1", square(0), {}),
        ("C2", square(1), {}),
        ("G1", square(2), {"cover": "grass"}),
        ("K1", square(3), {}),
    ]
    return make_place(run_habmap, tmp_path_factory.mktemp("due") / "place", units, settings=SETTINGS, entries=ENTRIES)


@pytest.fixture
def place(master: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(master, tmp_path / "place"))


def items(run: Run, place: Path, on: str = ON) -> list[dict[str, Any]]:
    done = run("due", "--on", on, "--json", place=place)
    assert done.code == 0, done.err
    assert done.json["on"] == on
    found: list[dict[str, Any]] = done.json["items"]
    return found


def test_pieces_of_a_unit_are_one_row_with_their_parts_and_shares(run_habmap: Run, tmp_path: Path) -> None:
    """Two cuts of one unit, sixty and ten days old, beside a girdled strip: one row a kind, each date in its parts."""
    units = [("C1", square(0), {}), ("C2", square(1), {})]
    log = (
        "a,2026-01-01,girdle,C1,30,,\nb,2026-01-02,cut,C1,,,\nc,2026-01-11,cut,C2,50,,\nd,2026-02-20,cut,C2,,,\n"
        "e,2026-03-01,pile_burn,C2,,,\n"
    )
    place = make_place(run_habmap, tmp_path / "shares", units, entries=log)
    found = items(run_habmap, place, "2026-03-02")
    ground = [item for item in found if item["what"] not in ("hold", "closed_cut", "closed_burn", "contract")]
    assert len({(item["unit_id"], item["what"]) for item in ground}) == len(ground)
    (drying,) = of(found, "drying", "C1")
    # 30% of the cedars girdled; the cut takes the other 70% down
    assert (drying["felled_pct"], drying["snag_pct"]) == (pytest.approx(70), pytest.approx(30))
    assert "70% of its cedars lie felled, 30% killed and left standing" in drying["words"]
    (hand,) = of(found, "hand_check", "C2")
    # day 1 is today, days 3 and 7 are to come: one row, and the ground is counted once
    assert (hand["state"], hand["from_date"]) == ("due", "2026-03-02")
    assert [part["from_date"] for part in hand["parts"]] == ["2026-03-02", "2026-03-04", "2026-03-08"]
    assert "again on 2026-03-04, 2026-03-08" in hand["words"]
    assert hand["acres"] == pytest.approx(10_000 / 4046.8564224, rel=1e-6)


def of(found: list[dict[str, Any]], what: str, unit_id: str | None = None) -> list[dict[str, Any]]:
    return [item for item in found if item["what"] == what and (unit_id is None or item["unit_id"] == unit_id)]


def test_every_kind_of_thing_with_its_days(run_habmap: Run, master: Path) -> None:
    found = items(run_habmap, master)
    keys = {"unit_id", "what", "state", "acres", "since_date", "from_date", "to_date"}
    assert all(keys <= set(item) for item in found)

    (drying,) = of(found, "drying", "C1")
    # thirty and sixty days after 20 January
    assert (drying["state"], drying["from_date"], drying["to_date"]) == ("drying", "2026-02-19", "2026-03-21")
    assert drying["acres"] == pytest.approx(10_000 / 4046.8564224, rel=1e-6)

    (hold,) = of(found, "hold")
    assert (hold["unit_id"], hold["state"], hold["to_date"]) == ("C2", "in force", None)
    assert "no end" in hold["words"]

    # the yearly ban begins 64 days ahead; the dated one holds for its unit only
    bans = {(item["unit_id"], item["from_date"], item["to_date"], item["state"]) for item in of(found, "closed_burn")}
    assert bans == {(None, "2026-04-15", "2026-07-31", "coming"), ("C1", "2026-03-07", "2026-03-08", "coming")}
    # the yearly one is over (it ran over New Year) and comes back too far ahead; the dated one is in force
    assert [(item["unit_id"], item["state"]) for item in of(found, "closed_cut")] == [("C2", "in force")]

    # fescue every three years between its own days: 1 April 2026 lies inside them
    (fescue,) = of(found, "upkeep", "G1")
    assert (fescue["state"], fescue["from_date"], fescue["to_date"]) == ("coming", "2026-04-01", "2026-04-14")
    # K1 was burned on 10 April 2021; four years on is past
    (kept,) = of(found, "upkeep", "K1")
    assert (kept["state"], kept["since_date"]) == ("due", "2021-04-10")
    assert [item["state"] for item in of(found, "checkup", "K1")] == ["overdue"]

    states = {item["words"].split(" (")[0]: item["state"] for item in of(found, "contract")}
    assert states["EQIP 7"] == "due" and states["EQIP 8"] == "before its start date"


def test_a_contract_item_is_due_where_every_line_was_withdrawn(run_habmap: Run, tmp_path: Path) -> None:
    text = '[[contract]]\nprogram = "EQIP"\nitem = "7"\npractice_code = "314"\nplanned_acres = 4.0\ndue = 2026-04-30\n'
    log = "a,2026-01-20,cut,C1,,10,\n"
    place = make_place(run_habmap, tmp_path / "void", [("C1", square(0), {})], settings=text, entries=log)
    assert run_habmap("void", "1", "--why", "never was", "--who", "Ben", place=place).code == 0
    (item,) = of(items(run_habmap, place), "contract")
    assert (item["state"], item["words"]) == ("due", "EQIP 7 (314): 4.0 of 4.0 acres to do")
    assert run_habmap("rank", "--on", ON, place=place).code == 0


def test_a_ban_over_new_year_is_in_force_on_both_sides(run_habmap: Run, master: Path) -> None:
    for on in ("2025-12-31", "2026-01-05"):
        (ban,) = [item for item in of(items(run_habmap, master, on), "closed_cut") if item["unit_id"] is None]
        assert (ban["state"], ban["from_date"], ban["to_date"]) == ("in force", "2025-11-15", "2026-01-05")


def test_the_first_line_is_readable_alone(run_habmap: Run, master: Path) -> None:
    done = run_habmap("due", "--on", ON, place=master)
    first = done.out.splitlines()[0]
    assert "press" in first and ON in first and "the first:" in first
    words = (done.out + done.err).lower()
    assert "ready" not in words
    assert "burn boss" in words and "sumac" in words


def test_past_the_window_defers_to_the_burn_boss(run_habmap: Run, master: Path) -> None:
    (drying,) = of(items(run_habmap, master, "2026-03-22"), "drying")
    assert drying["state"] == "past its drying days" and "ask the burn boss" in drying["words"]


# --- calendar -----------------------------------------------------------------------------------------------


def events(path: Path) -> dict[str, Any]:
    """Read a calendar with vobject, a reader that has nothing to do with the writer; UIDs must not repeat."""
    calendar = vobject.readOne(path.read_text(encoding="utf-8"), validate=True)
    found = list(calendar.vevent_list)
    by_uid = {event.uid.value: event for event in found}
    assert len(by_uid) == len(found)
    return by_uid


def test_another_reader_takes_the_calendar(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    path = tmp_path / "due.ics"
    assert run_habmap("due", "--on", ON, "--ics", path, place=place).code == 0
    raw = path.read_bytes()
    # RFC 5545, 3.1: lines end in CRLF and hold at most 75 octets
    assert raw.endswith(b"\r\n") and all(len(line) <= 75 for line in raw.split(b"\r\n"))
    found = {event.summary.value: event for event in events(path).values()}
    # thirty and sixty days after 20 January; an all-day event ends on the day after its last (RFC 5545, 3.6.1)
    begins, ends = found["C1: drying days begin"], found["C1: last of the drying days"]
    assert (begins.dtstart.value, begins.dtend.value) == (date(2026, 2, 19), date(2026, 2, 20))
    assert (ends.dtstart.value, ends.dtend.value) == (date(2026, 3, 21), date(2026, 3, 22))
    # nine in the morning of the day before, and a week before the last day
    assert [alarm.trigger.value for alarm in ends.valarm_list] == [timedelta(days=-7, hours=9), timedelta(hours=-15)]
    assert found["All units: closed to burning from today"].dtstart.value == date(2026, 4, 15)
    assert found["C1, C2: contract item due"].dtstart.value == date(2026, 4, 30)
    words = raw.decode().replace("\r\n ", "")
    assert "ready" not in words.lower() and "days ago" not in words


def test_a_calendar_begins_on_its_day_and_has_single_days_with_alarms(
    run_habmap: Run, place: Path, tmp_path: Path
) -> None:
    for on in (ON, "2026-03-21", "2027-01-01"):
        path = tmp_path / f"{on}.ics"
        assert run_habmap("due", "--on", on, "--ics", path, place=place).code == 0
        found = events(path)
        assert found
        for event in found.values():
            assert event.dtstart.value >= date.fromisoformat(on)
            assert event.dtend.value - event.dtstart.value == timedelta(days=1)
            assert event.valarm_list and f"as of {on}" in event.description.value
    # K1 was burned on 10 April 2021, and its check-up of that fall was never logged: one event for all that is late
    late = [event for event in events(tmp_path / f"{ON}.ics").values() if "overdue" in event.summary.value]
    assert {event.dtstart.value for event in late} == {date.fromisoformat(ON)}
    assert any(event.summary.value == "check-ups overdue: K1" for event in late)


def test_a_public_calendar_tells_no_reason_and_no_contract(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    path = tmp_path / "public.ics"
    assert run_habmap("due", "--on", ON, "--ics", path, "--for", "public", place=place).code == 0
    words = path.read_text(encoding="utf-8").replace("\n ", "").lower()
    assert not [secret for secret in ("sale", "wedding", "eqip", "wet draw", "deer season") if secret in words]
    assert not any("on hold from" in name or "wet draw" in name for name in words.splitlines())
    done = run_habmap("due", "--on", ON, "--for", "public", "--json", place=place)
    (hold,) = of(done.json["items"], "hold")
    assert (hold["words"], hold["from_date"], hold["to_date"]) == ("", None, None)
    assert of(done.json["items"], "contract") == []


def test_a_later_export_updates_instead_of_doubling(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    first, second = tmp_path / "a.ics", tmp_path / "b.ics"
    assert run_habmap("due", "--on", ON, "--ics", first, place=place).code == 0
    # in between: a part of the contract is done, the hold gets its end, the drying days are changed
    log = ("log", "cut", "--date", "2026-02-10", "--unit", "K1", "--whole", "--killed-pct", "100")
    assert run_habmap(*log, place=place).code == 0
    text = (place / "habmap.toml").read_text(encoding="utf-8")
    text = text.replace("drying_days = [30, 60]", "drying_days = [40, 70]")
    text = text.replace("from = 2026-01-10\n", "from = 2026-01-10\nto = 2026-06-30\n")
    text = text.replace("planned_acres = 4.0", "planned_acres = 6.0")
    (place / "habmap.toml").write_text(text, encoding="utf-8")
    assert run_habmap("due", "--on", "2026-02-11", "--ics", second, place=place).code == 0
    old, new = events(first), events(second)
    kinds = (
        "C1: drying days begin", "C1: last of the drying days", "C1, C2: contract item due",
        "All units: closed to burning from today",
    )  # fmt: skip
    for summary in kinds:
        (before,) = [uid for uid, event in old.items() if event.summary.value == summary]
        (after,) = [uid for uid, event in new.items() if event.summary.value == summary]
        assert before == after, summary
        assert int(new[after].sequence.value) > int(old[before].sequence.value)
    drying = next(event for event in new.values() if event.summary.value == "C1: drying days begin")
    assert drying.dtstart.value == date(2026, 3, 1)


def test_a_calendar_is_not_overwritten_unasked(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    path = tmp_path / "due.ics"
    path.write_text("mine", encoding="utf-8")
    assert run_habmap("due", "--on", ON, "--ics", path, place=place).code in (2, 3)
    assert path.read_text(encoding="utf-8") == "mine"


# --- settings that cannot be ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ('[[hold]]\nunit = "C1"\nreason = "x"\nfrom = 2026-05-01\nto = 2026-04-01\n', 0, "ends before it begins"),
        ('[[closed]]\nwork = "burn"\nreason = "x"\nfrom = 2026-05-01\nto = 2026-04-01\n', 0, "ends before it begins"),
        ('[[closed]]\nwork = "cut"\nreason = "x"\nfrom = "05-01"\nto = 2026-04-01\n', 0, "both"),
        ('[[closed]]\nwork = "cut"\nreason = "x"\nfrom = "02-30"\nto = "03-05"\n', 3, ""),
        ('[[burn_for]]\nreason = "thistle"\n', 1, ""),
        ('[[burn_for]]\nreason = "cedar"\nfrom = "03-01"\n', 0, "both from and to"),
        ('[[contract]]\nprogram = "E"\nitem = "1"\npractice_code = "314"\nnot_before = 2027-01-01\ndue = 2026-01-01\n',
         0, "due lies before not_before"),
    ],
)  # fmt: skip
def test_bad_dates_are_refused_with_their_line(run_habmap: Run, place: Path, text: str, line: int, words: str) -> None:
    number = with_settings(place, text) + line
    done = run_habmap("due", "--on", ON, "--json", place=place)
    assert done.code == 3
    assert done.json["schema"] == "habmap/error/1"
    assert words in done.out
    assert f"line {number}," in done.out and "habmap.toml" in done.out


def test_units_that_are_not_here_are_pointed_out(run_habmap: Run, place: Path) -> None:
    with_settings(place, '[[closed]]\nwork = "burn"\nreason = "typo"\nunits = ["C9"]\nfrom = "01-01"\nto = "02-01"\n')
    done = run_habmap("check", place=place)
    assert done.code == 1 and "C9" in done.out
