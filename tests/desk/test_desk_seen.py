"""What was seen or measured is written down by a form, with the rules and the words of its table."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import shapely
from desk_process import Running, done, hidden, words_of
from photo_makers import plain_jpeg
from small_places import GRID, make_place, square

import habmap
from habmap.desk.rooms.seen import KINDS
from habmap.jobs.load.tables import TABLES
from habmap.records import CoverFrame, Photo, Plot, Sighting

Run = Callable[..., Any]
#: The middle of the first square.
(SPOT,) = shapely.get_coordinates(GRID.to_lonlat(square(0).centroid)).tolist()


@pytest.fixture
def place(run_habmap: Run, tmp_path: Path) -> Path:
    return make_place(run_habmap, tmp_path / "seen", [("A", square(0), {}), ("B", square(1), {})])


@pytest.fixture
def open_desk(begin: Callable[..., Running], place: Path) -> tuple[Running, str]:
    desk = begin(place=place).enter()
    return desk, desk.key


def kept(place: Path, record: type[Any]) -> list[Any]:
    return list(habmap.open_place(place).all_of(record))


def saved(desk: Running, key: str, said: dict[str, Any]) -> str:
    """Look at what is filled in, save it twice, and return what the look said."""
    look = desk.post(f"/{key}/seen/look", said)
    assert look.status == 200, words_of(look)
    form = {"draft": hidden(look, "draft"), "once": hidden(look, "once")}
    for _ in range(2):
        answer = desk.post(f"/{key}/seen/save", form)
        assert answer.status == 303, words_of(answer)
    next_one = desk.get(answer.heads["location"])
    assert "Saved:" in words_of(next_one)
    return words_of(look)


def test_a_sighting_follows_the_rules_of_its_table_and_is_written_once(
    open_desk: tuple[Running, str], place: Path
) -> None:
    desk, key = open_desk
    form = desk.get(f"/{key}/seen?kind=sightings")
    for label in ("species", "day", "latitude", "longitude", "there, or looked for in vain"):
        assert label in words_of(form)
    assert f'href="/{key}/map?spot=sightings"' in form.text
    said = {"kind": "sightings", "eventDate": "2026-05-14", "scientificName": "Colinus virginianus",
            "individualCount": "3", "decimalLongitude": str(SPOT[0]), "decimalLatitude": str(SPOT[1])}  # fmt: skip
    wrong = desk.post(f"/{key}/seen/look", {**said, "scientificName": "", "individualCount": "2.5"})
    assert wrong.status == 422
    assert "Species is blank" in words_of(wrong) and "count is no whole number" in words_of(wrong).lower()
    assert "scientificName" not in words_of(wrong) and "individualCount" not in words_of(wrong)
    assert 'value="2.5"' in wrong.text  # what was filled in stays
    assert kept(place, Sighting) == []
    assert "lie outside every unit" in saved(desk, key, {**said, "decimalLatitude": "38.5"})
    saved(desk, key, said)
    told = sorted(kept(place, Sighting), key=lambda one: one.geometry.y)
    assert [(one.scientific_name, one.individual_count, one.seen_from) for one in told] == [
        ("Colinus virginianus", 3, date(2026, 5, 14))
    ] * 2
    assert told[0].geometry.coords[0] == pytest.approx(SPOT, abs=0)
    again = desk.post(f"/{key}/seen/look", said)
    assert "This is written down already" in words_of(again)


def test_all_plants_of_a_frame_are_one_form_and_the_next_frame_begins_from_it(
    open_desk: tuple[Running, str], place: Path
) -> None:
    desk, key = open_desk
    said = {"kind": "cover", "reading_id": "spring", "frame": "1", "date": "2026-05-14", "unit_id": "A",
            "species": ["Schizachyrium scoparium", "", "Bromus tectorum"], "group": ["", "", ""],
            "cover_class": ["3", "", ""], "cover_pct": ["", "", "12"], "native": ["yes", "", "no"]}  # fmt: skip
    torn = desk.post(f"/{key}/seen/look", {**said, "native": ["", "", "no"]})
    assert "Native is blank" in words_of(torn)
    assert "Schizachyrium scoparium" in torn.text
    told = saved(desk, key, said)
    assert "Schizachyrium scoparium, 3, yes" in told and "Bromus tectorum, 12, no" in told
    saved(desk, key, {"kind": "cover", "reading_id": "spring", "frame": "2", "date": "2026-05-14", "unit_id": "B"})
    frames = {one.frame: one for one in kept(place, CoverFrame)}
    # class 3 is 25 to 50 percent (Daubenmire 1959), its midpoint 37.5
    assert [(line.species, line.cover_pct, line.native) for line in frames["1"].lines] == [
        ("Bromus tectorum", 12.0, False), ("Schizachyrium scoparium", 37.5, True),
    ]  # fmt: skip
    assert frames["2"].lines == () and frames["2"].unit_id == "B"
    carried = desk.get(f"/{key}/seen?kind=cover&reading_id=spring&date=2026-05-14&unit_id=A")
    assert 'value="spring"' in carried.text and '<option value="A" selected>' in carried.text


def test_a_plot_asks_first_how_it_was_measured(open_desk: tuple[Running, str], place: Path) -> None:
    desk, key = open_desk
    ways = desk.get(f"/{key}/seen?kind=plots")
    assert "distances to the nearest stem in four quarters" in words_of(ways)
    form = words_of(desk.get(f"/{key}/seen?kind=plots&method=quarter"))
    assert "nearest stem in quarter 4" in form and "its radius" not in form
    said = {"kind": "plots", "method": "quarter", "plot_id": "P1", "unit_id": "A", "date": "2026-05-14",
            "d1": "3", "d2": "4", "d3": "", "d4": "5", "distance_unit": "m"}  # fmt: skip
    assert "unit of its distances" in words_of(desk.post(f"/{key}/seen/look", {**said, "distance_unit": ""}))
    saved(desk, key, said)
    saved(desk, key, {"kind": "plots", "method": "fixed", "plot_id": "P2", "lon": str(SPOT[0]), "lat": str(SPOT[1]),
                      "radius_ft": "26.33", "stems": "30"})  # fmt: skip
    plots = {one.plot_id: one for one in kept(place, Plot)}
    assert plots["P1"].distances_m == (3.0, 4.0, None, 5.0)
    assert plots["P2"].unit_id == "A"
    assert plots["P2"].plot_acres == pytest.approx(0.05, rel=1e-3)  # π · 26.33² ft² in acres of 43,560 ft²


def test_photos_of_a_spot_come_with_what_is_said_of_them(open_desk: tuple[Running, str], place: Path) -> None:
    desk, key = open_desk
    said = {"kind": "photos", "lon": str(SPOT[0]), "lat": str(SPOT[1]), "taken_at": "2026-05-14T09:30",
            "direction_deg": "90"}  # fmt: skip
    assert "No photo came" in words_of(desk.post(f"/{key}/seen/bring", said))
    page = done(desk, desk.post(f"/{key}/seen/bring", said, files={"file": ("gate.jpg", plain_jpeg())}))
    assert "done" in words_of(page), words_of(page)
    (photo,) = kept(place, Photo)
    assert photo.direction_deg == 90 and photo.geometry.coords[0] == pytest.approx(SPOT, abs=0)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind.key in TABLES], ids=lambda kind: kind.key)
def test_every_column_of_a_table_stands_in_its_form_under_a_name_of_its_own(
    kind: Any, open_desk: tuple[Running, str]
) -> None:
    desk, key = open_desk
    spec = TABLES[kind.key]
    ways = {one.only for one in spec.columns if one.only} or {("", "")}
    seen: set[str] = set()
    for name, word in ways:
        page = desk.get(f"/{key}/seen?kind={kind.key}" + (f"&{name}={word}" if name else ""))
        seen |= set(re.findall(r'<(?:input|select|textarea)[^>]* name="([^"]+)"', page.text))
    assert {one.name for one in spec.columns} - set(kind.left_out) - seen == set()
    labels = [one.label for one in spec.columns if one.name not in kind.left_out]
    assert len(set(labels)) == len(labels)
    assert not [label for label in labels if re.search(r"_|[a-z][A-Z]", label)]
