"""What leaves the place: paperwork, ledgers that load back, handheld outlines, log sheets, and what must stay."""

from __future__ import annotations

import csv
import io
import json
import shutil
import xml.etree.ElementTree as ET
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

SUFFIXES = ["csv", "gpkg", "geojson"]


def square(west: float, south: float, side: float = 0.004) -> dict[str, Any]:
    ring = [[west, south], [west + side, south], [west + side, south + side], [west, south + side], [west, south]]
    return {"type": "Polygon", "coordinates": [ring]}


def layer(path: Path, rows: list[tuple[dict[str, Any], dict[str, Any]]]) -> Path:
    features = [{"type": "Feature", "properties": values, "geometry": shape} for values, shape in rows]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    return path


def ok(done: Any) -> Any:
    assert done.code == 0, done.err + done.out
    return done


def started(run: Callable[..., Any], folder: Path) -> Path:
    """A place with two neighbors, the first partly cut by one hand and burned by another."""
    ok(run("start", str(folder), "--name", "=Export()"))
    units = layer(
        folder.parent / "units.geojson",
        [
            ({"unit_id": "C1", "name": "Bench", "cover": "cedar"}, square(-98.0, 38.0)),
            ({"unit_id": "C2", "name": "=HYPERLINK(1)", "cover": "cedar"}, square(-97.996, 38.0)),
        ],
    )
    ok(run("load", "units", str(units), place=folder))
    return folder


@pytest.fixture(scope="module")
def master(tmp_path_factory: pytest.TempPathFactory, run_habmap: Callable[..., Any]) -> Path:
    top = tmp_path_factory.mktemp("export")
    folder = started(run_habmap, top / "place")
    patch = layer(top / "patch.geojson", [({}, square(-97.9981234567890123, 38.0011111111111111, 0.0033))])
    log = ("log", "cut", "--date", "2026-01-05", "--patch", str(patch), "--who", "Ada", "--person-hours", "9")
    ok(run_habmap(*log, "--cost", "120", "--note", "=1+1", place=folder))
    ok(run_habmap("log", "cut", "--date", "2026-02-05", "--unit", "C2", "--whole", "--who", "Bo", place=folder))
    ok(run_habmap("log", "burn", "--date", "2026-03-05", "--patch", str(patch), place=folder))
    look = ("log", "checkup", "--date", "2026-06-05", "--patch", str(patch), "--live-stems-per-acre", "60")
    ok(run_habmap(*look, "--sprouts", "sumac=3", place=folder))
    return folder


@pytest.fixture
def place(master: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(master, tmp_path / "place"))


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_an_exported_ledger_loads_back_to_the_same_account(
    run_habmap: Callable[..., Any], place: Path, tmp_path: Path, suffix: str
) -> None:
    table = tmp_path / f"ledger.{suffix}"
    ok(run_habmap("export", "ledger", "-o", str(table), place=place))
    other = started(run_habmap, tmp_path / "other")
    assert ok(run_habmap("load", "entries", str(table), "--json", place=other)).json["loaded"] == 4
    mine, theirs = (ok(run_habmap("acres", "--json", place=p)).json for p in (place, other))
    for one, two in zip(mine["units"], theirs["units"], strict=True):
        assert one["stage_acres"] == pytest.approx(two["stage_acres"], abs=1e-12)
    # and into the place it came from it is no news
    again = ok(run_habmap("load", "entries", str(table), "--json", place=place)).json
    assert (again["loaded"], again["already_there"]) == (0, 4)


def test_a_public_ledger_has_no_names_costs_or_notes(
    run_habmap: Callable[..., Any], place: Path, tmp_path: Path
) -> None:
    table = tmp_path / "ledger.csv"
    ok(run_habmap("export", "ledger", "-o", str(table), "--for", "public", place=place))
    text = table.read_text(encoding="utf-8")
    assert not any(word in text for word in ("Ada", "Bo", "120", "1+1", "who", "cost", "note"))


def test_handheld_outlines_are_gpx_and_leave_private_places_out(
    run_habmap: Callable[..., Any], place: Path, tmp_path: Path
) -> None:
    nest = {"type": "Point", "coordinates": [-97.999, 38.001]}
    features = layer(tmp_path / "features.geojson", [({"kind": "nest", "name": "Secret nest"}, nest)])
    ok(run_habmap("load", "features", str(features), place=place))
    out = tmp_path / "out.gpx"
    ok(run_habmap("export", "gpx", "-o", str(out), place=place))
    root = ET.parse(out).getroot()
    names = [e.text for e in root.iter("{http://www.topografix.com/GPX/1/1}name")]
    assert {"C1", "C1 left", "C2"} <= set(names) and "C2 left" not in names
    assert "Secret" not in out.read_text(encoding="utf-8")
    assert "Bench: edge" in out.read_text(encoding="utf-8")
    shared = tmp_path / "shared.gpx"
    done = ok(run_habmap("export", "gpx", "-o", str(shared), "--for", "public", "--json", place=place)).json
    assert (done["schema"], done["audience"]) == ("habmap/export-gpx/1", "public")
    assert done["rows"] == len([e for e in ET.parse(shared).getroot() if e.tag.endswith("trk")])
    assert "Bench" not in shared.read_text(encoding="utf-8") and "C1 left" in shared.read_text(encoding="utf-8")


def test_units_layer_carries_stage_acres(run_habmap: Callable[..., Any], place: Path, tmp_path: Path) -> None:
    out = tmp_path / "stages.geojson"
    ok(run_habmap("export", "units", "-o", str(out), place=place))
    rows = {f["properties"]["unit_id"]: f["properties"] for f in json.loads(out.read_text())["features"]}
    account = {u["unit_id"]: u for u in ok(run_habmap("acres", "--json", place=place)).json["units"]}
    assert rows["C1"]["remaining_acres"] == pytest.approx(account["C1"]["remaining_acres"])


def with_contract(place: Path) -> None:
    settings = place / "habmap.toml"
    extra = '\n[[contract]]\nprogram = "P"\nitem = "7"\npractice_code = "314"\nunits = ["C1"]\nplanned_acres = 30.0\n'
    extra += 'not_before = 2026-01-10\n[[hold]]\nunit = "C2"\nreason = "nesting"\nfrom = 2026-02-01\n'
    settings.write_text(settings.read_text(encoding="utf-8") + extra, encoding="utf-8")


def test_practices_count_ground_once_and_point_out_early_work_and_holds(
    run_habmap: Callable[..., Any], place: Path, tmp_path: Path
) -> None:
    with_contract(place)
    out = tmp_path / "practices.csv"
    done = ok(run_habmap("export", "practices", "-o", str(out), "--program-year", "2026", "--json", place=place)).json
    item = next(i for i in done["items"] if i["program"] == "P")
    # the same ground under two codes counts for each; under two items of one code it would count once
    by_practice = {
        line["practice_code"]: line for line in ok(run_habmap("acres", "--json", place=place)).json["practices"]
    }
    assert done["practice_acres"] == pytest.approx(
        sum(by_practice[code]["inside_acres"] for code in ("314", "338")), rel=1e-9
    )
    assert item["applied_acres"] < 0.01 + item["planned_acres"] and item["short_acres"] > 0
    line = next(line for line in done["lines"] if line["program"] == "P")
    assert line["too_early_acres"] > 0 and any("before 2026-01-10" in words for words in line["remarks"])
    rows = list(csv.reader(io.StringIO(out.read_text(encoding="utf-8-sig"))))
    assert rows[-1][0] == "Signature"
    # acres as paperwork wants them, and a column sum is the report's own: totals stand beside the table, in words
    table = [dict(zip(rows[0], row, strict=False)) for row in rows[1 : 1 + len(done["lines"])]]
    for name in ("applied_acres", "too_early_acres", "pass_acres"):
        assert [row[name] for row in table] == [f"{line[name]:.1f}" for line in done["lines"]]
    assert all(len(row) <= 1 for row in rows[1 + len(done["lines"]) : -1])
    assert any(row and row[0].startswith("All units, P 7 (314): ") for row in rows)
    # no cell may be run as a formula by a spreadsheet
    assert not [cell for row in rows for cell in row if cell[:1] in ("=", "+", "@")]


def test_the_workbook_holds_text_as_text(run_habmap: Callable[..., Any], place: Path, tmp_path: Path) -> None:
    out = tmp_path / "practices.xlsx"
    ok(run_habmap("export", "practices", "-o", str(out), place=place))
    with zipfile.ZipFile(out) as book:
        sheet = book.read("xl/worksheets/sheet1.xml").decode()
    assert "<f>" not in sheet and "<v>" in sheet


def test_a_log_sheet_prints_and_its_table_reads_back(
    run_habmap: Callable[..., Any], place: Path, tmp_path: Path
) -> None:
    ok(run_habmap("export", "log-sheet", "-o", str(tmp_path / "sheet.pdf"), place=place))
    data = (tmp_path / "sheet.pdf").read_bytes()
    assert data.startswith(b"%PDF-") and b"/FontFile2" in data  # TrueType, embedded
    table = tmp_path / "sheet.csv"
    ok(run_habmap("export", "log-sheet", "-o", str(table), place=place))
    header = table.read_text(encoding="utf-8").strip().split(",")
    values = {
        "date": "2026-07-01",
        "practice": "mow",
        "unit_id": "C2",
        "whole": "yes",
        "person_hours": "3",
        "who": "Ada",
    }
    table.write_text(",".join(header) + "\n" + ",".join(values.get(name, "") for name in header) + "\n")
    assert ok(run_habmap("load", "entries", str(table), "--json", place=place)).json["loaded"] == 1


def test_nothing_is_overwritten_and_unknown_kinds_are_refused(
    run_habmap: Callable[..., Any], place: Path, tmp_path: Path
) -> None:
    out = tmp_path / "ledger.csv"
    out.write_text("mine")
    assert run_habmap("export", "ledger", "-o", str(out), place=place).code == 3
    assert out.read_text() == "mine"
    ok(run_habmap("export", "ledger", "-o", str(out), "--overwrite", place=place))
    assert run_habmap("export", "ledger", "-o", str(tmp_path / "ledger.docx"), place=place).code == 2


def test_work_outside_every_unit_is_pointed_out_in_the_report(
    run_habmap: Callable[..., Any], place: Path, tmp_path: Path
) -> None:
    # 0.002° a side, half of it south of the units: 175.6 m × 111 m is 4.82 acres (111,319.5 m a degree along the
    # equator, about cos 38° of it here; 110,994 m a degree of the meridian there).
    astray = layer(tmp_path / "astray.geojson", [({}, square(-97.995, 37.999, 0.002))])
    ok(run_habmap("log", "pile", "--date", "2026-07-01", "--patch", str(astray), place=place))
    report = ("export", "practices", "-o", str(tmp_path / "astray.csv"), "--json")
    done = ok(run_habmap(*report, place=place)).json
    assert any("4.8 acres of 384 lie outside every unit" in remark for remark in done["remarks"])


def test_work_beside_a_contract_is_reported_too(run_habmap: Callable[..., Any], place: Path, tmp_path: Path) -> None:
    with_contract(place)  # names C1 alone, and C2 is on hold from February on
    report = ("export", "practices", "-o", str(tmp_path / "p.csv"))
    told = ok(run_habmap(*report, place=place)).out
    assert "were worked on 2026-02-05 although on hold: nesting; not counted here." in told
    done = ok(run_habmap(*report, "--overwrite", "--json", place=place)).json
    of_code = [item for item in done["items"] if item["practice_code"] == "314"]
    assert [item["program"] for item in of_code] == ["P", ""]
    assert {line["unit_id"] for line in done["lines"] if line["practice_code"] == "314" and not line["program"]} == {
        "C2"
    }
    c2 = next(u for u in ok(run_habmap("acres", "--json", place=place)).json["units"] if u["unit_id"] == "C2")
    # all of C2 was cut, a part of it while on hold
    assert of_code[1]["applied_acres"] + of_code[1]["apart_acres"]["on_hold"] == pytest.approx(c2["acres"], rel=1e-9)
    assert 0 < of_code[1]["apart_acres"]["on_hold"] < c2["acres"]


def test_a_log_sheet_with_signs_that_no_font_has_is_written_in_silence(
    run_habmap: Callable[..., Any], place: Path, tmp_path: Path
) -> None:
    rows = [({"unit_id": "C9", "name": "\U0001f332 grove", "cover": "cedar"}, square(-98.01, 38.0))]
    ok(run_habmap("load", "units", str(layer(tmp_path / "grove.geojson", rows)), place=place))
    done = ok(run_habmap("export", "log-sheet", "-o", str(tmp_path / "sheet.pdf"), place=place))
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF") and "Warning" not in done.err


def test_a_public_practice_report_has_no_contract_names_rates_reasons_or_crew(
    run_habmap: Callable[..., Any], place: Path, tmp_path: Path
) -> None:
    with_contract(place)
    settings = place / "habmap.toml"
    text = settings.read_text(encoding="utf-8").replace('program = "P"', 'program = "PROGTOKEN"\nrate = 4321.5')
    settings.write_text(text.replace('reason = "nesting"', 'reason = "eagle TOKEN"'), encoding="utf-8")
    seen = []
    for suffix in ("csv", "xlsx"):
        out = tmp_path / f"public.{suffix}"
        line = ("export", "practices", "-o", str(out), "--for", "public", "--json")
        done = ok(run_habmap(*line, place=place))
        seen += [done.out, done.err]
        if suffix == "csv":
            seen.append(out.read_text(encoding="utf-8-sig"))
        else:
            with zipfile.ZipFile(out) as book:
                seen += [book.read(name).decode("utf-8", "replace") for name in book.namelist()]
        owner = ok(run_habmap("export", "practices", "-o", str(tmp_path / f"own.{suffix}"), "--json", place=place)).json
        # the acres are the same, item by item
        figures = [(i["practice_code"], i["planned_acres"], i["applied_acres"]) for i in owner["items"]]
        assert [(i["practice_code"], i["planned_acres"], i["applied_acres"]) for i in done.json["items"]] == figures
        assert any("although on hold" in words for one in done.json["lines"] for words in one["remarks"])
        assert {line["crew"] for line in done.json["lines"]} == {""} != {line["crew"] for line in owner["lines"]}
    assert not [word for word in ("TOKEN", "4321", "Ada") for text in seen if word in text]


def test_a_public_handheld_shows_no_gap_around_a_nest(
    run_habmap: Callable[..., Any], place: Path, tmp_path: Path
) -> None:
    nest = {"type": "Point", "coordinates": [-97.9992, 38.0005]}
    ok(run_habmap("load", "features", str(layer(tmp_path / "f.geojson", [({"kind": "nest"}, nest)])), place=place))
    kept = layer(tmp_path / "keep.geojson", [({}, square(-97.99934567, 38.00034567, 0.0003))])
    ok(run_habmap("log", "keep", "--date", "2026-04-01", "--patch", str(kept), place=place))
    texts = {}
    for audience in ("owner", "public"):
        out = tmp_path / f"{audience}.gpx"
        ok(run_habmap("export", "gpx", "-o", str(out), "--for", audience, place=place))
        texts[audience] = out.read_text(encoding="utf-8")
    assert "97.99934567" in texts["owner"] and "C1 left" in texts["owner"]
    assert "97.9993456" not in texts["public"] and "C1 left" not in texts["public"]
