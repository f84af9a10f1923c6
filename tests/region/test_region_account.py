"""`habmap region account`: every property as it is told on its own, added up; what cannot be read is listed."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import shutil
import sqlite3
import uuid
from contextlib import closing
from pathlib import Path

import jsonschema
import pytest

from habmap.api import json_schema
from habmap.place.ddl import META_GUARD, META_GUARD_NAME


@pytest.fixture(scope="module")
def properties(tmp_path_factory: pytest.TempPathFactory, demo_place: Path) -> Path:
    """Return a folder with the sample, another of its kind, a copy, a damaged one, a newer one and an empty folder."""
    folder = tmp_path_factory.mktemp("properties")
    for name in ("a", "b", "copy", "damaged", "newer", "pipe"):
        shutil.copytree(demo_place, folder / name)
    (folder / "damaged" / "place.gpkg").write_bytes((folder / "a" / "place.gpkg").read_bytes()[:5000])
    for name, lines in (
        ("newer", ["UPDATE habmap_meta SET schema_version = 9999"]),
        # another property, its guard taken off meanwhile
        ("b", [f"DROP TRIGGER {META_GUARD_NAME}", f"UPDATE habmap_meta SET place_id = '{uuid.UUID(int=7)}'",
               META_GUARD]),
    ):  # fmt: skip
        with closing(sqlite3.connect(folder / name / "place.gpkg")) as connection, connection:
            for line in lines:
                connection.execute(line)
    (folder / "empty").mkdir()
    (folder / "pipe" / "habmap.toml").unlink()
    os.mkfifo(folder / "pipe" / "habmap.toml")  # nothing waits for what will write to it
    settings = folder / "b" / "habmap.toml"
    settings.write_text(settings.read_text().replace('name = "Turtle Shell place (sample)"', 'name = "<b>Second</b>"'))
    return folder


def digests(folder: Path) -> dict[str, str]:
    return {
        str(path): hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(folder.rglob("*")) if path.is_file()
    }


def test_properties_add_up_and_those_that_cannot_be_read_are_listed(properties, run, tmp_path) -> None:
    before = digests(properties)
    output = tmp_path / "all.html"
    told = run("region", "account", properties, properties / "empty", "-o", output, "--workers", 2, "--json")
    assert told.returncode == 0, told.stderr
    answer = json.loads(told.stdout)
    assert digests(properties) == before  # only read
    alone = json.loads(run("--place", properties / "a", "acres", "--json").stdout)
    hours = json.loads(run("--place", properties / "a", "effort", "--json").stdout)
    week = json.loads(run("--place", properties / "a", "week", "--json", "--on", answer["on"]).stdout)
    assert [row["place"] for row in answer["places"]] == [alone["place"], "<b>Second</b>"]
    for row in answer["places"]:
        for name in ("acres", "treated_acres", "remaining_acres", "keep_acres", "coming_back_acres"):
            assert row[name] == alone["totals"][name]
        assert row["stage_acres"] == alone["totals"]["stage_acres"]
        assert (row["person_hours"], row["cost"]) == (hours["person_hours"], hours["cost"])
        assert row["week_items"] == sum(len(week[name]) for name in ("closes", "burn", "cut", "check"))
    assert answer["total"]["treated_acres"] == pytest.approx(2 * alone["totals"]["treated_acres"], rel=1e-15)
    assert answer["total"]["week_items"] == sum(row["week_items"] for row in answer["places"])
    assert [Path(fault["place"]).name for fault in answer["faults"]] == ["copy", "damaged", "newer", "pipe", "empty"]
    copied, damaged, newer, piped, _ = (fault["what"] for fault in answer["faults"])
    assert "counted once" in copied and "damaged" in damaged and "newer" in newer
    assert "a pipe or a device, not a file" in piped and "allow reading" not in piped
    rows = list(csv.DictReader(io.StringIO(output.with_suffix(".csv").read_text())))
    assert [row["place"] for row in rows] == [alone["place"], "<b>Second</b>", "all"]
    assert float(rows[2]["acres"]) == answer["total"]["acres"]
    page = output.read_text()
    assert "&lt;b&gt;Second&lt;/b&gt;" in page and "<b>Second" not in page
    assert f"{hours['cost']:,.2f}" in page and "not permission to cut, spray or burn" in page
    assert "http://" not in page and "https://" not in page and "<script" not in page
    calendar = output.with_suffix(".ics").read_text()
    uids = [line for line in calendar.splitlines() if line.startswith("UID:")]
    assert uids and len(set(uids)) == len(uids)


def test_the_public_learns_no_hours_money_folders_or_private_places(properties, run, tmp_path) -> None:
    output = tmp_path / "all.html"
    told = run("region", "account", properties, "-o", output, "--for", "public", "--workers", 1, "--json")
    assert told.returncode == 0, told.stderr
    public = json.loads(run("--place", properties / "a", "week", "--for", "public", "--json").stdout)
    owner = json.loads(run("--place", properties / "a", "effort", "--json").stdout)
    everything = told.stdout + "".join(path.read_text() for path in tmp_path.glob("all.*") if path.is_file())
    for secret in (
        str(properties),
        "damaged",
        "pipe",
        f"{owner['cost']:,.2f}",
        f"{owner['cost']:.1f}",
        "person_hours,",
    ):
        assert secret not in everything, secret
    answer = json.loads(told.stdout)
    assert all(row["person_hours"] is None and row["cost"] is None for row in answer["places"])
    assert answer["places"][0]["week_items"] == sum(len(public[name]) for name in ("closes", "burn", "cut", "check"))


def test_going_on_asks_only_what_changed(properties, run, tmp_path) -> None:
    here = tmp_path / "here"
    for name in ("a", "b"):
        shutil.copytree(properties / name, here / name)
    words = ("region", "account", here, "-o", tmp_path / "all.html", "--workers", 1, "--json", "--on", "2026-07-18")
    first = json.loads(run(*words).stdout)
    assert first["kept_parts"] == 0
    pages = {path.name: path.read_bytes() for path in tmp_path.glob("all.*") if path.is_file()}
    settings = here / "b" / "habmap.toml"
    settings.write_text(settings.read_text() + "\n# looked at\n")
    again = json.loads(run(*words, "--resume", "--overwrite").stdout)
    assert again["kept_parts"] == 1
    assert {path.name: path.read_bytes() for path in tmp_path.glob("all.*") if path.is_file()} == pages


def test_a_table_alone_and_nothing_to_read_are_refused(properties, run, tmp_path) -> None:
    assert run("region", "account", properties, "-o", tmp_path / "x.csv").returncode == 3
    told = run("region", "account", properties / "empty", "-o", tmp_path / "x.html")
    assert told.returncode == 3 and "none of these properties can be read" in told.stderr
    assert not list(tmp_path.glob("x.*ml"))


def test_a_busy_property_is_listed_and_the_rest_is_done(properties, run, tmp_path) -> None:
    here = tmp_path / "here"
    for name in ("a", "b"):
        shutil.copytree(properties / name, here / name)
    words = ("region", "account", here, "--workers", 1, "--json", "--on", "2026-07-18", "-o")
    with closing(sqlite3.connect(here / "a" / "place.gpkg", isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        told = run(*words, tmp_path / "busy.html")
        other.execute("ROLLBACK")
    assert told.returncode == 0, told.stderr
    answer = json.loads(told.stdout)
    assert [Path(row["folder"]).name for row in answer["places"]] == ["b"]
    assert [(Path(fault["place"]).name, fault["what"].split(":")[0]) for fault in answer["faults"]] == [("a", "busy")]
    assert "busy" in told.stderr and str(here / "a") in (tmp_path / "busy.html").read_text()
    # Asked again when it is free, the same parts and the one that was missing are the account of both.
    again = json.loads(run(*words, tmp_path / "busy.html", "--resume", "--overwrite").stdout)
    assert again["kept_parts"] == 1 and again["faults"] == [] and len(again["places"]) == 2
    jsonschema.validate(again, json_schema("region-account"))
