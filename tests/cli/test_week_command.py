"""The week as a person asks for it: one property, several, and the sample on one screen."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from small_places import make_place, square

Run = Callable[..., Any]
ON = "2026-02-15"
KEYS = {"unit_id", "what", "acres", "to_date", "words"}


@pytest.fixture(scope="module")
def places(tmp_path_factory: pytest.TempPathFactory, run_habmap: Run) -> list[Path]:
    found = []
    held = '[[hold]]\nunit = "B2"\nreason = "sale"\n'
    for number, (day, hold) in enumerate((("2026-01-10", ""), ("2026-01-01", held))):
        letter = "AB"[number]
        units = [(f"{letter}{n}", square(n), {}) for n in (1, 2, 3)]
        log = f"a,{day},cut,{letter}1,,10,\n"
        place = make_place(run_habmap, tmp_path_factory.mktemp("week") / "place", units, settings=hold, entries=log)
        text = (place / "habmap.toml").read_text(encoding="utf-8").replace('"Small"', f'"Place {letter}"')
        (place / "habmap.toml").write_text(text, encoding="utf-8")
        found.append(place)
    return found


def test_one_property(run_habmap: Run, places: list[Path]) -> None:
    done = run_habmap("week", "--on", ON, "--json", place=places[0])
    assert done.code == 0, done.err
    assert done.json["schema"] == "habmap/week/1" and done.json["on"] == ON
    for name in ("forbidden", "closes", "burn", "cut", "check"):
        assert all(set(item) >= KEYS for item in done.json[name])
    # cut on January 10: sixty days on is March 11
    assert [(item["unit_id"], item["to_date"]) for item in done.json["closes"]] == [("A1", "2026-03-11")]
    screen = run_habmap("week", "--on", ON, place=places[0]).out
    head, _, rest = screen.partition("\nForbidden or closed now: nothing")
    assert rest and " ".join(head.split()) == (
        "Week of 2026-02-15, Place A. Now: closing first: slash in A1 (2026-03-11); cut next in A2."
    )


def test_several_properties_are_one_list_and_a_damaged_one_is_named(
    run_habmap: Run, places: list[Path], tmp_path: Path
) -> None:
    broken = Path(shutil.copytree(places[0], tmp_path / "broken"))
    (broken / "place.gpkg").write_bytes(b"no GeoPackage")
    before = [(place / "place.gpkg").read_bytes() for place in places]
    done = run_habmap("week", "--on", ON, "--json", "--places", places[0], broken, places[1])
    assert done.code == 0, done.err
    assert [(item["place"], item["unit_id"], item["to_date"]) for item in done.json["closes"]] == [
        ("Place B", "B1", "2026-03-02"), ("Place A", "A1", "2026-03-11"),
    ]  # fmt: skip
    assert done.json["places"] == ["Place A", "Place B"]
    assert [fault["place"] for fault in done.json["faults"]] == [str(broken)]
    assert [(item["place"], item["unit_id"]) for item in done.json["forbidden"]] == [("Place B", "B2")]
    assert [(place / "place.gpkg").read_bytes() for place in places] == before
    text = run_habmap("week", "--on", ON, "--places", places[0], "--places", places[1], "--places", broken)
    assert "Place B: B2  on hold" in text.out and "Place A: A1  2.5 acres, slash" in text.out
    assert "Not read" in text.out and "broken" in text.out
    assert run_habmap("week", "--places", broken).code == 3
    assert run_habmap("week", broken).code == 2


@pytest.mark.parametrize("on", ["2024-12-01", "2025-03-01", "2026-01-20", "2026-06-01", "2026-11-25", "2027-10-01"])
def test_the_sample_s_week_is_one_screen(run_habmap: Run, demo_place: Path, on: str) -> None:
    done = run_habmap("week", "--on", on, place=demo_place)
    assert done.code == 0, done.err
    lines = (done.out + done.err).splitlines()
    assert len(lines) <= 24 and max(map(len, lines)) <= 80
    assert done.err == ""
