"""The rooms of the desk from outside: what they write the command tells too, once, never over somebody else's."""

from __future__ import annotations

import html
import json
import re
import tempfile
import threading
import time
import tomllib
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from desk_process import Answer, Running, done, hidden, words_of

Run = Callable[..., Any]
#: Files that name another file of this computer, as GDAL and XML let them.
VECTOR_VRT = (
    b'<OGRVRTDataSource><OGRVRTLayer name="p"><SrcDataSource>/etc/passwd</SrcDataSource></OGRVRTLayer>'
    b"</OGRVRTDataSource>"
)
RASTER_VRT = (
    b'<VRTDataset rasterXSize="1" rasterYSize="1"><VRTRasterBand band="1"><SimpleSource>'
    b"<SourceFilename>/etc/passwd</SourceFilename></SimpleSource></VRTRasterBand></VRTDataset>"
)
ENTITY = b'<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]><x>&e;</x>'


@pytest.fixture(scope="module")
def key(desk: Running) -> str:
    """The part of the address that is the sample property's."""
    desk.get(f"/{desk.key}/week")
    return desk.key


def lines(run: Run, place: Path) -> list[Any]:
    """Return every row of a log."""
    rows: list[Any] = run("history", "--json", place=place).json["entries"]
    return rows


MOWN = {"practice": "mow", "date": "2026-07-20", "unit": "G1", "whole": "yes", "who": "Ana & <b>Bo</b>"}


def test_a_look_writes_nothing_and_saving_twice_saves_once(
    desk: Running, key: str, desk_place: Path, run_habmap: Run
) -> None:
    before = len(lines(run_habmap, desk_place))
    look = desk.post(f"/{key}/log/preview", MOWN)
    assert "The ground of this line on a small map" in look.text
    assert look.status == 200, words_of(look)
    assert "Preview, nothing is written" in words_of(look)
    assert len(lines(run_habmap, desk_place)) == before
    said = {"draft": hidden(look, "draft"), "once": hidden(look, "once")}
    answers: list[Answer] = []
    both = [threading.Thread(target=lambda: answers.append(desk.post(f"/{key}/log/save", said))) for _ in range(4)]
    for one in both:
        one.start()
    for one in both:
        one.join()
    assert {answer.status for answer in answers} == {303}
    assert len({answer.heads["location"] for answer in answers}) == 1
    assert len(lines(run_habmap, desk_place)) == before + 1
    shown = desk.get(answers[0].heads["location"])
    assert "Saved. Mowed on Jul 20, 2026" in words_of(shown)
    assert "<b>Bo</b>" not in shown.text


def test_what_is_refused_is_told_in_the_words_of_the_form_and_keeps_what_was_filled_in(desk: Running, key: str) -> None:
    answer = desk.post(f"/{key}/log/preview", {**MOWN, "person_hours": "-3"})
    assert answer.status == 422
    words = words_of(answer)
    assert "This number cannot be" in words
    assert "person-hours" in words
    assert "--person-hours" not in words
    assert 'value="-3"' in answer.text
    assert "Ana &amp; &lt;b&gt;Bo&lt;/b&gt;" in answer.text
    for said, told in (
        ({**MOWN, "unit": ""}, "On which ground?"),
        ({**MOWN, "whole": ""}, "Was all of each unit covered?"),
        ({**MOWN, "date": "2026-02-30"}, "This is not a day"),
        ({**MOWN, "ground": "{}"}, "Several grounds are given"),
        ({**MOWN, "unit": "", "ground": "no outline"}, "drawn.geojson"),
        ({**MOWN, "person_hours": "many"}, "This is not a number"),
        ({**MOWN, "practice": "girdle"}, "what share of the cedars"),
    ):
        refused = desk.post(f"/{key}/log/preview", said)
        assert refused.status == 422, said
        assert told in words_of(refused), words_of(refused)
        assert str(desk.home) not in refused.text
        assert "habmap-desk-" not in refused.text  # where files that came are put is nobody's business


def test_a_line_is_corrected_after_a_look_and_never_over_somebody_elses_correction(
    desk: Running, key: str, desk_place: Path, run_habmap: Run
) -> None:
    page = desk.get(f"/{key}/history/correct?line=2")
    seen = hidden(page, "seen")
    fields = {
        name: html.unescape(value)
        for name, value in re.findall(r'<input id="field-[^"]+" name="([^"]+)" type="[^"]+" value="([^"]*)"', page.text)
    }
    practice = re.findall(r'<option value="([^"]+)" selected', page.text)[0]
    said = {**fields, "practice": practice, "line": "2", "seen": seen, "why": "read the notebook again", "note": "edge"}
    look = desk.post(f"/{key}/history/look", said)
    assert look.status == 200, words_of(look)
    assert "line 2 would read" in words_of(look)
    assert "<figure" not in look.text  # its ground stays
    before = len(lines(run_habmap, desk_place))
    # meanwhile the command corrects the same line
    assert run_habmap("correct", "2", "--why", "typed", "--note", "by hand", "--yes", place=desk_place).code == 0
    late = desk.post(f"/{key}/history/correct", {"draft": hidden(look, "draft"), "once": hidden(look, "once")})
    assert late.status == 422
    assert "was corrected or withdrawn since" in words_of(late)
    assert len(lines(run_habmap, desk_place)) == before + 1
    seen = hidden(desk.get(f"/{key}/history/correct?line=2"), "seen")
    look = desk.post(f"/{key}/history/look", {**said, "seen": seen})
    kept = desk.post(f"/{key}/history/correct", {"draft": hidden(look, "draft"), "once": hidden(look, "once")})
    assert kept.status == 303, words_of(kept)
    told = [line for line in lines(run_habmap, desk_place) if line["number"] == 2 and line["counts"]]
    assert [line["note"] for line in told] == ["edge"]
    # a field that is emptied is no longer said; it stays empty when the form is shown once more
    seen = hidden(desk.get(f"/{key}/history/correct?line=2"), "seen")
    emptied = {**said, "seen": seen, "note": "", "why": ""}
    assert "edge</textarea>" not in desk.post(f"/{key}/history/look", emptied).text
    look = desk.post(f"/{key}/history/look", {**emptied, "why": "it was the other line"})
    assert "Taken out: note." in words_of(look)
    desk.post(f"/{key}/history/correct", {"draft": hidden(look, "draft"), "once": hidden(look, "once")})
    told = [line for line in lines(run_habmap, desk_place) if line["number"] == 2 and line["counts"]]
    assert [(line["note"], line["cleared"]) for line in told] == [(None, ["note"])]
    assert "Taken out: note." in words_of(desk.get(f"/{key}/history"))


def test_undo_says_what_it_will_do_and_voids_it(desk: Running, key: str, desk_place: Path, run_habmap: Run) -> None:
    account = run_habmap("acres", "--json", place=desk_place).json
    before, unit = account["totals"], max(account["units"], key=lambda one: one["remaining_acres"])["unit_id"]
    look = desk.post(f"/{key}/log/preview", {"practice": "cut", "date": "2026-07-22", "unit": unit, "whole": "yes"})
    assert look.status == 200, words_of(look)
    assert "Chain saws and falling trees maim and kill" in words_of(look)
    saved = desk.post(f"/{key}/log/save", {"draft": hidden(look, "draft"), "once": hidden(look, "once")})
    assert run_habmap("acres", "--json", place=desk_place).json["totals"]["treated_acres"] > before["treated_acres"]
    number = re.findall(r"saved=(\d+)", saved.heads["location"])[0]
    history = desk.get(f"/{key}/history")
    assert f"undo the last line, {number}" in words_of(history)
    ask = desk.get(f"/{key}/history/void?line={number}")
    assert f"This withdraws line {number} itself" in words_of(ask)
    assert "cut on Jul 22, 2026" in words_of(ask)
    assert run_habmap("acres", "--json", place=desk_place).json["totals"]["treated_acres"] > before["treated_acres"]
    said = {"line": number, "seen": hidden(ask, "seen")}
    assert desk.post(f"/{key}/history/void", {**said, "why": " "}).status == 422
    assert desk.post(f"/{key}/history/void", {**said, "why": "wrong unit"}).status == 303
    after = run_habmap("acres", "--json", place=desk_place).json["totals"]
    assert after["treated_acres"] == pytest.approx(before["treated_acres"])
    assert desk.post(f"/{key}/history/void", {**said, "why": "again"}).status == 422


def test_a_room_shows_what_a_command_wrote_meanwhile(
    desk: Running, key: str, desk_place: Path, run_habmap: Run
) -> None:
    assert "typed at the prompt" not in words_of(desk.get(f"/{key}/history"))
    typed = ("log", "mow", "--date", "2026-07-25", "--unit", "G1", "--whole", "--note", "typed at the prompt")
    assert run_habmap(*typed, place=desk_place).code == 0
    assert "typed at the prompt" in words_of(desk.get(f"/{key}/history"))


def test_rooms_and_commands_tell_the_same_figures(desk: Running, key: str, desk_place: Path, run_habmap: Run) -> None:
    units = words_of(desk.get(f"/{key}/units"))
    for unit in run_habmap("acres", "--json", place=desk_place).json["units"]:
        assert f"{unit['acres']:,.2f} {unit['treated_acres']:,.2f} {unit['remaining_acres']:,.2f}" in units
    check = run_habmap("check", "--json", place=desk_place)
    if check.code == 0:
        assert "Everything is as it must be." in words_of(desk.get(f"/{key}/check"))
    week = run_habmap("week", "--json", place=desk_place).json
    shown = words_of(desk.get(f"/{key}/week"))
    for item in (*week["cut"], *week["check"], *week["forbidden"]):
        assert re.sub(r"\s+", " ", item["words"]) in shown


def test_settings_keep_their_comments_and_order(desk: Running, key: str, desk_place: Path) -> None:
    path = desk_place / "habmap.toml"
    before = path.read_text(encoding="utf-8")
    page = desk.get(f"/{key}/settings")
    seen = hidden(page, "seen")
    assert "gentler ground than this faces nowhere" in words_of(page)
    for name in ("terrain.flat_below_pct", "stages.target_pct", "seasons.drying_days", "gps.sigma_m"):
        assert f'name="key.{name}"' in page.text
    answer = desk.post(f"/{key}/settings/change", {"key.terrain.flat_below_pct": "6", "seen": seen})
    assert answer.status == 303, words_of(answer)
    after = path.read_text(encoding="utf-8")
    changed = [(old, new) for old, new in zip(before.splitlines(), after.splitlines(), strict=True) if old != new]
    assert len(changed) == 1
    assert changed[0][0].partition("#")[2] == changed[0][1].partition("#")[2]
    assert tomllib.loads(after)["terrain"]["flat_below_pct"] == 6
    # an older page is told so, and nothing is written over
    late = desk.post(f"/{key}/settings/change", {"key.terrain.flat_below_pct": "7", "seen": seen})
    assert late.status == 422
    assert "were changed by another page or program" in words_of(late)
    seen = hidden(desk.get(f"/{key}/settings"), "seen")
    for value in ("many", "-5", "[1", '"x" \nevil = 1'):
        refused = desk.post(f"/{key}/settings/change", {"key.terrain.flat_below_pct": value, "seen": seen})
        assert refused.status == 422, value
    broken = desk.post(f"/{key}/settings/replace", {"text": after + "\n[nothing]\nx = 1\n", "seen": seen})
    assert broken.status == 422
    assert path.read_text(encoding="utf-8") == after
    whole = after.replace("flat_below_pct = 6", "flat_below_pct = 5")
    assert desk.post(f"/{key}/settings/replace", {"text": whole.replace("\n", "\r\n"), "seen": seen}).status == 303
    assert path.read_bytes() == before.encode()


def test_a_file_with_faults_is_listed_by_row_and_nothing_of_it_is_loaded(
    desk: Running, key: str, desk_place: Path, run_habmap: Run
) -> None:
    before = len(lines(run_habmap, desk_place))
    table = "date,practice,unit_id,whole\n2026-07-01,mow,G1,yes\n2026-13-01,mow,G1,yes\n2026-07-01,dig,G1,yes\n"
    page = done(desk, desk.post(f"/{key}/load/bring", {"kind": "entries"}, files={"file": ("l.csv", table.encode())}))
    words = words_of(page)
    assert page.status == 422
    assert "row 3" in words
    assert "row 4" in words
    assert "2026-13-01" in words
    assert len(lines(run_habmap, desk_place)) == before
    again = re.findall(rf'href="(/{key}/load\?kind=entries&amp;draft=[^"]+)"', page.text)
    assert "Brought already: l.csv" in words_of(desk.get(html.unescape(again[0])))  # it need not be chosen anew
    good = table.splitlines(keepends=True)
    page = done(
        desk,
        desk.post(f"/{key}/load/bring", {"kind": "entries"}, files={"file": ("l.csv", "".join(good[:2]).encode())}),
    )
    assert "1 log line loaded" in words_of(page)
    assert len(lines(run_habmap, desk_place)) == before + 1
    assert not list(Path(tempfile.gettempdir()).glob("habmap-desk-*/*/l.csv"))  # what was brought is put away


@pytest.mark.parametrize(
    ("kind", "name", "content"),
    [
        ("units", "../../../etc/passwd.geojson", b'{"type": "FeatureCollection", "features": [{}]}'),
        ("units", "x.geojson", b"\x00" * 5000),
        ("units", "x.gml", ENTITY),
        ("units", "x.vrt", VECTOR_VRT),
        ("dem", "x.vrt", RASTER_VRT),
        ("entries", "x.xlsx", b"PK\x03\x04" + b"\xff" * 300),
        ("sightings", "x.csv", b"eventDate\n\xff\xfe\x00\n"),
        ("photos", "x.jpg", b"\xff\xd8\xff\xe1" + b"\x00" * 200),
    ],
)  # fmt: skip
def test_a_hostile_file_is_refused_in_words_and_changes_nothing(
    desk: Running, key: str, desk_place: Path, kind: str, name: str, content: bytes
) -> None:
    stamp = (desk_place / "place.gpkg").read_bytes()
    page = done(desk, desk.post(f"/{key}/load/bring", {"kind": kind}, files={"file": (name, content)}))
    words = words_of(page)
    assert "root:" not in words
    assert "Traceback" not in words
    assert "fault of the program" not in words
    assert (desk_place / "place.gpkg").read_bytes() == stamp
    if kind != "photos":  # a photo that cannot be read is left out, and named
        assert page.status == 422, words


def test_a_paper_for_the_public_tells_no_money_and_nobody(desk: Running, key: str, desk_place: Path) -> None:
    for paper, name in (("ledger", "log-public.csv"), ("map", "map-public.html")):
        answer = desk.post(f"/{key}/papers/make", {"paper": paper, "audience": "public"})
        page = done(desk, answer)
        assert "done" in words_of(page), words_of(page)
        work = re.findall(r"id=([\w-]+)", answer.heads["location"])[0]
        got = desk.get(f"/{key}/work/file?id={work}&name={name}")
        assert got.status == 200
        assert got.heads["content-disposition"].startswith("attachment")
        assert "sandbox" in got.heads["content-security-policy"]
        assert "Ana" not in got.text
        assert "cost" not in got.text.splitlines()[0]
        assert desk.get(f"/{key}/work/file?id={work}&name=..%2f..%2fplace.gpkg").status == 404
        assert desk.get(f"/{key}/work/file?id=guess&name={name}").status == 404
        # another property's address does not reach it
        assert desk.get(f"/0123456789/work/file?id={work}&name={name}").status == 404


def test_long_work_is_cancelled_and_leaves_nothing(desk: Running, key: str, desk_place: Path) -> None:
    answer = desk.post(f"/{key}/papers/make", {"paper": "handout", "audience": "owner"})
    work = re.findall(r"id=([\w-]+)", answer.heads["location"])[0]
    state = json.loads(desk.get(f"/{key}/work/state?id={work}").text)
    assert not state["is_over"]
    assert state["done_frac"] is None or 0 <= state["done_frac"] < 1
    assert "seconds so far" in state["time_words"]
    waiting = desk.get(f"/{key}/work?id={work}").text  # without a script it comes anew by itself
    assert '<meta http-equiv="refresh"' in waiting
    assert "<progress" in waiting
    assert 'aria-live="polite"' in waiting
    began = time.monotonic()
    assert desk.get(f"/{key}/papers").status == 200  # other rooms answer meanwhile
    assert time.monotonic() - began < 10
    assert desk.post(f"/{key}/work/cancel", {"id": work}).status == 303
    page = done(desk, answer)
    assert "was canceled" in words_of(page)
    assert desk.get(f"/{key}/work/file?id={work}&name=handout.pdf").status == 404


def test_a_unit_is_split_after_a_look_and_taken_back(
    desk: Running, key: str, desk_place: Path, run_habmap: Run
) -> None:
    def known() -> set[str]:
        return {unit["unit_id"] for unit in run_habmap("acres", "--json", place=desk_place).json["units"]}

    before = known()
    said = {"change": "merge", "into": "C4", "from": "2026-08-01", "units": ["C4", "C5"]}
    look = desk.post(f"/{key}/units/look", said)
    assert look.status == 200, words_of(look)
    assert known() == before
    saved = desk.post(f"/{key}/units/change", {"draft": hidden(look, "draft"), "once": hidden(look, "once")})
    assert saved.status == 303, words_of(saved)
    assert known() == before - {"C5"}
    look = desk.post(f"/{key}/units/look", {"change": "undo", "unit": "C4"})
    assert look.status == 200, words_of(look)
    saved = desk.post(f"/{key}/units/change", {"draft": hidden(look, "draft"), "once": hidden(look, "once")})
    assert saved.status == 303, words_of(saved)
    assert known() == before


def test_a_burn_sheet_carries_its_caution_and_names_no_permission(desk: Running, key: str) -> None:
    form = words_of(desk.get(f"/{key}/burn"))
    assert "Nothing here says that burning is safe or allowed" in form
    assert "C1, South Bluff" in form  # units by the names that people have for them
    assert desk.post(f"/{key}/burn/make", {"time": "2026-11-03T13:00"}).status == 422
    weather = {"temp_f": "60", "rh_pct": "45", "wind_mph": "8", "wind_from_deg": "NNW"}
    page = done(desk, desk.post(f"/{key}/burn/make", {"ground": "C1", "time": "2026-11-03T13:00", **weather}))
    words = words_of(page)
    assert "burn-sheet.pdf" in words, words
    assert "Nothing here says that burning is safe or allowed" in words


def test_only_folders_that_were_named_or_made_here_can_be_opened(
    desk: Running, demo_place: Path, tmp_path: Path
) -> None:
    import hashlib
    import os

    other = hashlib.sha256(os.fsencode(demo_place.resolve())).hexdigest()[:10]
    assert desk.get(f"/{other}/week").status == 404
    for name in ("../escape", "/etc/habmap", "..", "con", "a/../../b"):
        answer = desk.post("/start/make", {"name": name, "timezone": "America/Chicago"})
        assert answer.status == 303, words_of(answer)
    made = {path.name for path in (desk.home / "habmap").iterdir()}
    assert all(path.parent == desk.home / "habmap" for path in (desk.home / "habmap").iterdir())
    assert len(made) == 5
    assert not (desk.home / "escape").exists()


def test_a_hold_is_added_changed_and_taken_out_without_an_editor(
    desk: Running, key: str, desk_place: Path, run_habmap: Run
) -> None:
    path = desk_place / "habmap.toml"
    before = path.read_text(encoding="utf-8")
    held = len(tomllib.loads(before).get("hold", ()))
    settings = desk.get(f"/{key}/settings")
    assert "add a contract line" in words_of(settings) and "The burn plan for grass" in words_of(settings)
    form = desk.get(f"/{key}/settings/block?block=hold")
    assert "Ground on which nothing is to be done for a time" in words_of(form)
    said = {"block": "hold", "seen": hidden(form, "seen"), "key.unit": "C6", "key.reason": "a nest"}
    torn = desk.post(f"/{key}/settings/block", {**said, "key.from": "2026-05-01", "key.to": "2026-04-01"})
    assert "The hold ends before it begins" in words_of(torn)
    assert 'value="a nest"' in torn.text
    assert path.read_text(encoding="utf-8") == before
    answer = desk.post(f"/{key}/settings/block", {**said, "key.from": "2026-04-01"})
    assert answer.status == 303, words_of(answer)
    assert "Saved: a hold" in words_of(desk.get(answer.heads["location"]))
    assert tomllib.loads(path.read_text(encoding="utf-8"))["hold"][held] == {
        "unit": "C6", "reason": "a nest", "from": date(2026, 4, 1),
    }  # fmt: skip
    order = run_habmap("rank", "--json", "--on", "2026-08-01", place=desk_place).json["units"]
    assert next(one for one in order if one["unit_id"] == "C6")["on_hold"]
    again = desk.post(f"/{key}/settings/block", {**said, "key.unit": "C5"})  # from a page that is old by now
    assert "were changed by another page" in words_of(again)
    form = desk.get(f"/{key}/settings/block?block=hold&at={held}")
    assert 'value="a nest"' in form.text
    gone = desk.post(f"/{key}/settings/drop", {"block": "hold", "at": str(held), "seen": hidden(form, "seen")})
    assert gone.status == 303
    assert len(tomllib.loads(path.read_text(encoding="utf-8")).get("hold", ())) == held
    assert desk.get(f"/{key}/settings/block?block=hold&at=77").status == 422
    assert desk.get(f"/{key}/settings/block?block=place").status == 422
    path.write_text(before, encoding="utf-8")


def test_a_burn_plan_is_copied_from_paper_with_its_cautions(desk: Running, key: str, desk_place: Path) -> None:
    path = desk_place / "habmap.toml"
    before = path.read_text(encoding="utf-8")
    form = desk.get(f"/{key}/settings/block?block=burn_plan.piles")
    assert "Copy it from the plan that was written and signed" in words_of(form)
    assert "Nothing here says that burning is safe or allowed" in words_of(form)
    assert "40 to 70" not in words_of(form)  # no figure that could be taken for a plan
    said = {"block": "burn_plan.piles", "seen": hidden(form, "seen"), "key.author": "A. Boss",
            "key.date": "2026-01-31", "key.rh_pct": "50 to 90"}  # fmt: skip
    if 'name="at"' in form.text:
        said["at"] = "0"
    answer = desk.post(f"/{key}/settings/block", said)
    assert answer.status == 303, words_of(answer)
    assert tomllib.loads(path.read_text(encoding="utf-8"))["burn_plan"]["piles"]["rh_pct"] == [50, 90]
    path.write_text(before, encoding="utf-8")
