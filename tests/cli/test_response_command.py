"""Sightings and cover from outside: loading, refusing whole, loading again, what `response` and the public page say."""

from __future__ import annotations

import json
import shutil
import uuid
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., Any]
UNITS = {
    "type": "FeatureCollection",
    "features": [
        {
            "type": "Feature",
            "properties": {"unit_id": "A", "name": "Bench", "cover": "cedar", "canopy_pct": 70},
            "geometry": {
                "type": "Polygon",
                "coordinates": [
                    [[-96.32, 37.06], [-96.318, 37.06], [-96.318, 37.062], [-96.32, 37.062], [-96.32, 37.06]]
                ],
            },
        }
    ],
}
SEEN_HEAD = "occurrenceID,eventDate,scientificName,individualCount,decimalLatitude,decimalLongitude"
COVER_HEAD = "reading_id,unit_id,lon,lat,date,frame,species,group,cover_class,cover_pct,native,canopy_pct"


@pytest.fixture
def place(run_habmap: Run, tmp_path: Path) -> Path:
    folder = tmp_path / "place"
    assert run_habmap("start", folder, "--name", "Test").code == 0
    units = tmp_path / "units.geojson"
    units.write_text(json.dumps(UNITS))
    assert run_habmap("load", "units", units, place=folder).code == 0
    assert run_habmap("log", "cut", "--date", "2025-01-10", "--unit", "A", "--whole", place=folder).code == 0
    return folder


def table(folder: Path, name: str, head: str, *rows: str) -> Path:
    path = folder.parent / name
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def told(run_habmap: Run, place: Path, *more: str) -> dict[str, Any]:
    done = run_habmap("response", "--json", *more, place=place)
    assert done.code == 0, done.err
    found: dict[str, Any] = done.json
    return found


def test_sightings_are_loaded_once_and_found_by_place(run_habmap: Run, place: Path) -> None:
    own = str(uuid.uuid4())
    file = table(
        place, "s.csv", SEEN_HEAD,
        f"{own},2024-09-14,Poecile carolinensis,2,37.061,-96.319",
        "b7,2026-05-14T07:30,Spiza americana,,37.061,-96.319",
        ",2026-05-30/2026-06-01,Danaus plexippus,3,37.0615,-96.3195",
        ",2026-05-30,Danaus plexippus,3,37.5,-96.3195",
    )  # fmt: skip
    first, again = (
        run_habmap("load", "sightings", file, place=place),
        run_habmap("load", "sightings", file, place=place),
    )
    assert (first.code, again.code) == (0, 0), first.err
    assert first.out.startswith("4 sightings loaded.")
    assert "1 of 4 sightings lie outside every unit" in first.err
    assert "0 sightings loaded. 4 were there already." in again.out
    unit = told(run_habmap, place)["units"][0]
    assert (unit["species_before"], unit["species_after"], unit["sightings_after"]) == (1, 2, 2)
    changed = table(place, "s2.csv", SEEN_HEAD, "b7,2026-05-14T07:30,Spiza americana,9,37.061,-96.319")
    refused = run_habmap("load", "sightings", changed, place=place)
    assert refused.code == 3 and "individual_count 9, before blank" in refused.err


def test_a_bad_table_of_sightings_lists_every_fault_and_loads_nothing(run_habmap: Run, place: Path) -> None:
    file = table(
        place, "s.csv", SEEN_HEAD + ",occurrenceStatus,establishmentMeans",
        "1,2026-05-14,Spiza americana,2,37.061,-96.319,present,native",
        "2,5.6.2026,Spiza americana,2,37.061,-96.319,,",
        "3,2026-05-14,,2,37.061,-96.319,,",
        "4,2026-05-14,Spiza americana,1.5,91,-96.319,,",
        "5,2026-05-14,Spiza americana,0,37.061,,present,local",
        "1,2026-05-15,Spiza americana,2,37.061,-96.319,present,native",
    )  # fmt: skip
    done = run_habmap("load", "sightings", file, "--json", place=place)
    assert done.code == 3 and len(done.json["faults"]) == 8
    for row, words in ((3, "eventDate"), (4, "scientificName is blank"), (5, "individualCount is no whole number"),
                       (5, "decimalLatitude is out of range"), (6, "contradict"), (6, "decimalLongitude is blank"),
                       (6, "unknown establishmentMeans"), (7, "the same occurrenceID")):  # fmt: skip
        assert any(words in fault["what"] and f"row {row}" in fault["where"] for fault in done.json["faults"]), words
    assert told(run_habmap, place)["units"][0]["sightings_after"] == 0


def test_columns_of_other_names_and_missing_ones(run_habmap: Run, place: Path) -> None:
    file = table(place, "s.csv", "when,bird,decimalLatitude,decimalLongitude", "2026-05-14,dickcissel,37.061,-96.319")
    refused = run_habmap("load", "sightings", file, place=place)
    assert refused.code == 3 and "no column eventDate, scientificName" in refused.err
    mapped = run_habmap(
        "load", "sightings", file, "--map", "eventDate=when", "--map", "scientificName=bird", place=place
    )
    assert mapped.code == 0, mapped.err
    unknown = run_habmap("load", "sightings", file, "--map", "color=bird", place=place)
    assert unknown.code == 2


def test_a_sighting_to_come_is_pointed_out(run_habmap: Run, place: Path) -> None:
    file = table(place, "s.csv", SEEN_HEAD, "1,2999-05-14,Spiza americana,2,37.061,-96.319")
    done = run_habmap("load", "sightings", file, place=place)
    assert done.code == 0 and "2999-05-14 is after today" in done.err
    assert run_habmap("check", place=place).code == 1


def test_cover_before_and_after(run_habmap: Run, place: Path) -> None:
    # classes 1, 2, 2, 3, 5 have the published mean of 31.0% (Daubenmire's midpoints)
    before = [
        f"r1,A,,,2024-09-01,{number},Bouteloua curtipendula,,{n},,yes,60" for number, n in enumerate((1, 2, 2, 3, 5))
    ]
    after = [
        "r2,,-96.319,37.061,2026-06-01,1,Bouteloua curtipendula,,,50,yes,0",
        "r2,,-96.319,37.061,2026-06-01,1,Bromus japonicus,,2,,no,0",
        "r2,A,,,2026-06-01,2,,,,,,0",  # nothing grew in it
        "r2,A,,,2026-06-01,3,,bare ground,4,,,0",
    ]
    file = table(place, "c.csv", COVER_HEAD, *before, *after)
    first, again = run_habmap("load", "cover", file, place=place), run_habmap("load", "cover", file, place=place)
    assert first.code == 0 and first.out.startswith("8 frames loaded."), first.err
    assert "8 were there already" in again.out
    unit = told(run_habmap, place)["units"][0]
    assert unit["native_cover_before_pct"] == pytest.approx(31.0)
    assert unit["native_cover_after_pct"] == pytest.approx(50 / 3)
    assert (unit["frames_before"], unit["frames_after"], unit["canopy_before_pct"], unit["canopy_after_pct"]) == (
        5,
        3,
        60,
        0,
    )
    assert (unit["species_before"], unit["species_after"]) == (1, 2)
    words = run_habmap("response", place=place).out
    assert words.startswith("1 unit was read before and after") and "31% (0 to 72)" in words
    early = told(run_habmap, place, "--on", "2025-12-31")
    assert (early["on"], early["units"][0]["frames_after"]) == ("2025-12-31", 0)


def test_a_bad_table_of_cover_lists_every_fault_and_loads_nothing(run_habmap: Run, place: Path) -> None:
    file = table(
        place, "c.csv", COVER_HEAD,
        "r1,A,,,2024-09-01,1,Bouteloua curtipendula,,2,,yes,",
        "r1,A,,,2024-09-01,1,bouteloua Curtipendula,,3,,yes,",
        "r1,A,,,2024-09-01,2,Bouteloua curtipendula,,7,,yes,",
        "r1,Z,,,2024-09-01,3,Bouteloua curtipendula,,2,,yes,",
        "r1,A,,,2024-09-01,4,Bouteloua curtipendula,,2,,,",
        "r1,A,,,2024-09-01,5,Bouteloua curtipendula,,,,yes,",
        "r1,A,,,2024-09-01,6,,,2,,,",
        "r1,A,,,2024-09-01,7,,,,,,",
        "r1,A,,,2024-09-01,7,Bouteloua curtipendula,,2,,yes,",
        "r1,A,,,2024-09-02,1,Rhus glabra,,2,,yes,",
        "r1,A,,,2024-09-01,8,Rhus glabra,,2,60,yes,",
        "r1,A,,,2024-09-01,9,Rhus glabra,,2.5,,yes,101",
    )  # fmt: skip
    done = run_habmap("load", "cover", file, "--json", place=place)
    assert done.code == 3 and len(done.json["faults"]) == 11
    for row, words in ((3, "twice in one frame"), (4, "cover_class is out of range"), (5, "unknown unit"),
                       (6, "native is blank"), (7, "the cover is blank"), (8, "a cover without a name"),
                       (10, "said to be blank"), (11, "different things"), (12, "different covers"),
                       (13, "cover_class is no whole number"), (13, "canopy_pct is out of range")):  # fmt: skip
        assert any(words in fault["what"] and f"row {row}" in fault["where"] for fault in done.json["faults"]), words
    assert told(run_habmap, place)["units"][0]["frames_before"] == 0


def test_a_frame_is_never_rewritten(run_habmap: Run, place: Path) -> None:
    one = table(place, "c.csv", COVER_HEAD, "r1,A,,,2024-09-01,1,Bouteloua curtipendula,,2,,yes,")
    other = table(place, "d.csv", COVER_HEAD, "r1,A,,,2024-09-01,1,Bouteloua curtipendula,,3,,yes,")
    assert run_habmap("load", "cover", one, place=place).code == 0
    refused = run_habmap("load", "cover", other, place=place)
    assert refused.code == 3 and "there already with other content" in refused.err


def test_joining_brings_both(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(place, copy)
    run_habmap("load", "cover", table(place, "c.csv", COVER_HEAD, "r1,A,,,2024-09-01,1,,,,,,"), place=copy)
    seen = table(place, "s.csv", SEEN_HEAD, "1,2026-05-14,Spiza americana,2,37.061,-96.319")
    run_habmap("load", "sightings", seen, place=copy)
    done = run_habmap("unite", copy, "--json", place=place)
    assert done.code == 0, done.err
    assert (done.json["added"]["sightings"], done.json["added"]["cover_frames"]) == (1, 1)
    assert run_habmap("check", place=place).code == 0


def test_an_empty_property_says_what_to_load(run_habmap: Run, tmp_path: Path) -> None:
    run_habmap("start", tmp_path / "new", "--name", "New")
    done = run_habmap("response", place=tmp_path / "new")
    assert done.code == 0 and "habmap load cover" in done.out
    assert told(run_habmap, tmp_path / "new") | {"method": None} == {
        "schema": "habmap/response/1", "place": "New", "on": None, "units": [], "sightings_outside": 0, "method": None,
    }  # fmt: skip


def test_the_public_page_tells_shares_and_counts_and_no_sighting(
    run_habmap: Run, demo_place: Path, repository: Path, tmp_path: Path
) -> None:
    page = tmp_path / "public.html"
    done = run_habmap("map", "-o", page, "--for", "public", place=demo_place)
    assert done.code == 0, done.err
    html = page.read_text(encoding="utf-8")
    assert "What has grown back" in html and 'class="responsechart"' in html
    rows = [line.split(",") for line in (repository / "sample_layers/sightings.csv").read_text().splitlines()]
    column = {name: number for number, name in enumerate(rows[0])}
    # no place, name or word of a sighting, nor who saw it
    for row in rows[1:]:
        for name in ("scientificName", "vernacularName", "recordedBy"):
            assert row[column[name]] not in html, row
        # the pair: one number alone may be that of a corner of some outline
        lon, lat = (f"{float(row[column[name]]):.6f}".rstrip("0") for name in ("decimalLongitude", "decimalLatitude"))
        assert f"{lon},{lat}" not in html and f"{lat},{lon}" not in html
        remark = row[column["occurrenceRemarks"]]
        assert not remark or remark not in html
    # the figures are those that the command prints
    unit = next(one for one in told(run_habmap, demo_place)["units"] if one["unit_id"] == "C1")
    before, after = unit["native_cover_before_pct"], unit["native_cover_after_pct"]
    assert f"Native plants covered {before:.0f}%" in html and f"and {after:.0f}%" in html
