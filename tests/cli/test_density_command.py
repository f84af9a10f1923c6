"""Plots in, densities out, through the real command."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from small_places import make_place, square

from habmap.measures import M2_PER_ACRE

Run = Callable[..., Any]
SQUARE = [[-98.0, 38.0], [-97.99, 38.0], [-97.99, 38.01], [-98.0, 38.01], [-98.0, 38.0]]
MITCHELL_M = ["1.1,1.6,2.3,3.0", "2.8,3.7,0.9,2.2", "2.8,1.1,3.2,1.4", "1.3,0.8,0.7,3.1", "1.5,2.4,3.3,1.7"]


@pytest.fixture(scope="module")
def master(tmp_path_factory: pytest.TempPathFactory, run_habmap: Callable[..., Any]) -> Path:
    tmp_path = tmp_path_factory.mktemp("plots")
    folder = tmp_path / "place"
    assert run_habmap("start", str(folder), "--name", "Plots").code == 0
    units = tmp_path / "units.geojson"
    units.write_text(
        json.dumps(
            {
                "type": "FeatureCollection",
                "features": [
                    {
                        "type": "Feature",
                        "properties": {"unit_id": "C1", "name": "Bench", "cover": "cedar", "stems_per_acre": 40},
                        "geometry": {"type": "Polygon", "coordinates": [SQUARE]},
                    }
                ],
            }
        )
    )
    assert run_habmap("load", "units", str(units), place=folder).code == 0
    return folder


@pytest.fixture
def place(master: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(master, tmp_path / "place"))


def loaded(run: Callable[..., Any], place: Path, text: str) -> Any:
    table = place.parent / "plots.csv"
    table.write_text(text, encoding="utf-8")
    return run("load", "plots", str(table), "--json", place=place)


def test_eight_fixed_plots_replace_the_outline_s_own_guess(run_habmap: Callable[..., Any], place: Path) -> None:
    rows = "".join(f"p{i},C1,fixed,0.05,{n}\n" for i, n in enumerate([12, 7, 15, 9, 4, 11, 18, 10]))
    assert loaded(run_habmap, place, "plot_id,unit_id,method,plot_acres,stems\n" + rows).json["loaded"] == 8
    unit = run_habmap("density", "--json", place=place).json["units"][0]
    # worked with the plain formulas: s 87.994, t(7) 2.364624
    assert unit["stems_per_acre"] == pytest.approx(215.0)
    assert unit["stems_per_acre_ci95_low"] == pytest.approx(141.44, abs=0.01)
    assert unit["stems_per_acre_ci95_high"] == pytest.approx(288.56, abs=0.01)
    assert unit["plots"] == 8 and unit["dense"] is False and "8 fixed plots" in unit["rests_on"]


@pytest.mark.parametrize(("unit", "factor"), [("m", 1.0), ("ft", 1 / 0.3048)])
def test_quarter_points_by_position_in_metres_and_feet(
    run_habmap: Callable[..., Any], place: Path, unit: str, factor: float
) -> None:
    rows = [
        f"q{i},-97.995,38.005,quarter,{','.join(str(float(d) * factor) for d in line.split(','))},{unit}\n"
        for i, line in enumerate(MITCHELL_M)
    ]
    done = loaded(run_habmap, place, "plot_id,lon,lat,method,d1,d2,d3,d4,distance_unit\n" + "".join(rows))
    assert done.code == 0, done.err
    unit_line = run_habmap("density", "--json", place=place).json["units"][0]
    # Mitchell, arXiv:1010.3303v2: 2402.10 stems per hectare
    assert unit_line["stems_per_acre"] * 10_000 / M2_PER_ACRE == pytest.approx(2402.10, abs=0.01)
    assert unit_line["stems_per_acre_ci95_low"] < unit_line["stems_per_acre"] < unit_line["stems_per_acre_ci95_high"]


def test_line_intercept_gives_crown_cover(run_habmap: Callable[..., Any], place: Path) -> None:
    text = "plot_id,unit_id,method,line_ft,intercepts_ft\nl1,C1,line,100,12.5;7.5;20\nl2,C1,line,100,\n"
    assert loaded(run_habmap, place, text).code == 0
    # Canfield 1941 (from memory): length under crowns over length of line; 40 of 200 ft
    assert run_habmap("density", "--json", place=place).json["units"][0]["canopy_pct"] == pytest.approx(20.0)
    assert loaded(run_habmap, place, text.replace("l1", "l3").replace("20\n", "90\n")).code == 3


def test_loading_twice_is_no_news(run_habmap: Callable[..., Any], place: Path) -> None:
    text = "plot_id,unit_id,method,radius_ft,stems\np1,C1,fixed,26.33,9\n"
    assert loaded(run_habmap, place, text).json["loaded"] == 1
    again = loaded(run_habmap, place, text).json
    assert (again["loaded"], again["already_there"]) == (0, 1)
    refused = loaded(run_habmap, place, text.replace(",9", ",8"))
    assert refused.code == 3 and "p1: stems 8, before 9" in refused.json["value"]


def test_a_day_counts_only_what_was_measured_by_then(run_habmap: Callable[..., Any], place: Path) -> None:
    text = "plot_id,unit_id,method,plot_acres,stems,date\na,C1,fixed,0.1,9,2025-03-01\nb,C1,fixed,0.1,21,2026-03-01\n"
    assert loaded(run_habmap, place, text).code == 0
    then, now = (run_habmap("density", *words, "--json", place=place).json for words in (("--on", "2025-12-31"), ()))
    assert (then["on"], then["units"][0]["plots"], then["units"][0]["stems_per_acre"]) == ("2025-12-31", 1, 90.0)
    assert (now["units"][0]["plots"], now["units"][0]["stems_per_acre"]) == (2, pytest.approx(150.0))
    assert "As of: what was measured by 2025-12-31" in run_habmap("density", "--on", "2025-12-31", place=place).out
    assert "As of: all that was measured" in run_habmap("density", place=place).out


def test_two_plots_are_said_to_be_few(run_habmap: Callable[..., Any], place: Path) -> None:
    loaded(run_habmap, place, "plot_id,unit_id,method,plot_acres,stems\na,C1,fixed,0.1,9\nb,C1,fixed,0.1,12\n")
    assert "say little" in run_habmap("density", "--json", place=place).json["units"][0]["warnings"][0]


def test_the_first_line_is_readable_alone(run_habmap: Run, place: Path) -> None:
    rows = "".join(f"p{i},C1,fixed,0.05,{n}\n" for i, n in enumerate([40, 44, 42]))
    loaded(run_habmap, place, "plot_id,unit_id,method,plot_acres,stems\n" + rows)
    first = run_habmap("density", place=place).out.splitlines()[0]
    assert first.startswith("1 of 1 units is dense (250 stems per acre or more")


def test_all_sampled_ground_by_the_acres_of_its_strata(run_habmap: Run, tmp_path: Path) -> None:
    units = [("A", square(0), {"stratum": "thick"}), ("B", square(1), {"stratum": "thick"}), ("C", square(2), {})]
    folder = make_place(run_habmap, tmp_path / "strata", units)
    rows = "".join(f"{name}{i},{name},fixed,0.1,{n}\n" for name, counts in (("A", (38, 42)), ("C", (8, 12)))
                   for i, n in enumerate(counts))  # fmt: skip
    rows += "B0,B,fixed,0.1,40\n"
    assert loaded(run_habmap, folder, "plot_id,unit_id,method,plot_acres,stems\n" + rows).code == 0
    whole = run_habmap("density", "--json", place=folder).json["whole_property"]
    # 400 stems an acre on two of three squares, 100 on the third
    assert whole["stems_per_acre"] == pytest.approx(300, rel=1e-6)
    assert [(one["stratum"], one["plots"]) for one in whole["strata"]] == [("thick", 3), ("unit C", 2)]
    assert whole["stems_per_acre_ci95_low"] < 300 < whole["stems_per_acre_ci95_high"]
    assert "All sampled ground together: 300" in run_habmap("density", place=folder).out


def test_a_quarter_used_twice_is_refused(run_habmap: Run, place: Path) -> None:
    table = place.parent / "twice.csv"
    table.write_text("plot_id,unit_id,method,d1,d2,d3,distance_unit\nq,C1,quarter,1,2,3,m\n", encoding="utf-8")
    done = run_habmap("load", "plots", table, "--map", "d4=d3", "--json", place=place)
    assert done.code == 3 and "two quarters" in done.json["what"]
    table.write_text("plot_id,unit_id,method,d1,d2,d2,d4,distance_unit\nq,C1,quarter,1,2,3,4,m\n", encoding="utf-8")
    assert run_habmap("load", "plots", table, place=place).code == 3
    # and one point with two contents
    rows = "q,C1,quarter,1,2,3,4,m\nq,C1,quarter,1,2,3,5,m\n"
    table.write_text("plot_id,unit_id,method,d1,d2,d3,d4,distance_unit\n" + rows, encoding="utf-8")
    assert run_habmap("load", "plots", table, place=place).code == 3
    assert run_habmap("density", "--json", place=place).json["units"][0]["plots"] == 0


def test_vacant_quarters_use_the_published_factor(run_habmap: Run, place: Path) -> None:
    # Mitchell, arXiv:1010.3303v2, Table 11: a fifth of the quarters vacant, factor 0.6418
    rows = "".join(f"q{i},C1,quarter,2,2,2,{'' if i < 4 else 2},m\n" for i in range(5))
    loaded(run_habmap, place, "plot_id,unit_id,method,d1,d2,d3,d4,distance_unit\n" + rows)
    unit = run_habmap("density", "--json", place=place).json["units"][0]
    assert unit["stems_per_acre"] == pytest.approx(0.6418 / 4 * M2_PER_ACRE, rel=1e-4)
    assert "4 of 20 quarters vacant" in unit["rests_on"]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("p,C1,,,fixed,0.05,,-1,,,,,", "stems is out of range"),
        ("p,C1,,,fixed,0.05,,1.5,,,,,", "a whole number"),
        ("p,C1,,,fixed,,,3,,,,,", "needs its size"),
        ("p,C1,,,fixed,0.05,60,3,,,,,", "different sizes"),
        ("p,C9,,,fixed,0.05,,3,,,,,", "unknown unit"),
        ("p,,-90,38,fixed,0.05,,3,,,,,", "outside every unit"),
        ("p,C1,,,quarter,,,,-1,2,3,4,m", "d1 is out of range"),
        ("p,C1,,,quarter,,,,1,2,3,4,yd", "unknown distance_unit"),
        ("p,C1,,,quarter,,,,1,2,3,4,", "does not say the unit of its distances"),
        ("p,C1,,,quarter,,,,1,2,0,4,m", "d3 is out of range"),
        ("p,C1,,,quarter,,,,1,2,near,4,m", "d3"),
        ("p,C1,,,guess,0.05,,3,,,,,", "unknown method"),
    ],
)
def test_bad_rows_load_nothing(run_habmap: Callable[..., Any], place: Path, row: str, words: str) -> None:
    header = "plot_id,unit_id,lon,lat,method,plot_acres,radius_ft,stems,d1,d2,d3,d4,distance_unit\n"
    good = "good,C1,,,fixed,0.05,,3,,,,,\n"
    done = loaded(run_habmap, place, header + good + row + "\n")
    assert done.code == 3
    assert words in json.dumps(done.json)
    assert run_habmap("density", "--json", place=place).json["units"][0]["plots"] == 0


@pytest.mark.parametrize(("last_day", "is_said"), [("2024-10-30", False), ("2026-06-01", True)])
def test_plots_of_two_rounds_taken_together_are_pointed_out(
    run_habmap: Callable[..., Any], place: Path, last_day: str, is_said: bool
) -> None:
    rows = "".join(f"p{i},C1,fixed,0.05,{20 - i},{day}\n" for i, day in enumerate(["2024-09-14"] * 4 + [last_day] * 4))
    loaded(run_habmap, place, "plot_id,unit_id,method,plot_acres,stems,date\n" + rows)
    unit = run_habmap("density", "--json", place=place).json["units"][0]
    assert any("2024-09-14 to 2026-06-01 are taken together" in line for line in unit["warnings"]) is is_said
    assert unit["plots"] == 8
    then = run_habmap("density", "--json", "--on", "2024-09-30", place=place).json["units"][0]
    assert then["plots"] == 4
    assert not any("taken together" in line for line in then["warnings"])


def test_a_column_of_plots_that_is_not_read_is_named(run_habmap: Callable[..., Any], place: Path) -> None:
    done = loaded(run_habmap, place, "plot_id,unit_id,method,plot_acres,stems,statum\np1,C1,fixed,0.1,9,north\n")
    assert done.code == 0
    assert [line for line in done.json["warnings"] if "not read" in line and "statum" in line]


def test_plots_from_before_the_cut_are_not_the_stand_of_now(run_habmap: Run, tmp_path: Path) -> None:
    folder = make_place(run_habmap, tmp_path / "cut", [("A", square(0), {}), ("B", square(2), {})])
    rows = "".join(f"{name}{i},{name},fixed,0.1,{n},2025-01-15\n" for name in "AB" for i, n in enumerate((48, 50, 52)))
    assert loaded(run_habmap, folder, "plot_id,unit_id,method,plot_acres,stems,date\n" + rows).code == 0
    done = run_habmap("log", "cut", "--date", "2025-06-01", "--unit", "A", "--whole", place=folder)
    assert done.code == 0, done.err
    told = run_habmap("density", place=folder)
    assert told.out.startswith("1 of 2 units is dense")
    assert "Not measured since the work there: A." in told.out
    assert "(500 stems per acre then)" in told.out and "measure what remains" in told.err
    cut, left = run_habmap("density", "--json", place=folder).json["units"]
    assert (cut["stems_per_acre"], cut["dense"], cut["plots"], cut["plots_before_work"]) == (None, None, 0, 3)
    assert (left["stems_per_acre"], left["dense"]) == (pytest.approx(500), True)
    then = run_habmap("density", "--on", "2025-05-31", "--json", place=folder).json["units"][0]
    assert (then["stems_per_acre"], then["dense"]) == (pytest.approx(500), True)


def test_mixed_methods_and_what_quarter_points_take_for_granted(run_habmap: Run, tmp_path: Path) -> None:
    units = [("A", square(0), {"stratum": "hill"}), ("B", square(1), {"stratum": "hill"})]
    folder = make_place(run_habmap, tmp_path / "mixed", units)
    rows = "".join(f"a{i},A,fixed,0.1,{n},,,,,\n" for i, n in enumerate((12, 13, 14)))
    rows += "".join(f"b{i},B,quarter,,,{line},m\n" for i, line in enumerate(MITCHELL_M))
    header = "plot_id,unit_id,method,plot_acres,stems,d1,d2,d3,d4,distance_unit\n"
    assert loaded(run_habmap, folder, header + rows).code == 0
    told = run_habmap("density", place=folder)
    # Mitchell's 2402.10 per hectare is 972.1 an acre; half of each square's ground
    assert (
        "All sampled ground together: 551 (" in told.out and "each unit counts by its own method and acres" in told.out
    )
    assert "  hill: A: 130 (" in told.out and "  hill: B: 972 (" in told.out
    assert "Quarter points are right only where stems stand at random." in told.out and "use fixed plots" in told.out


def test_empty_plots_print_their_poisson_limit(run_habmap: Run, place: Path) -> None:
    rows = "".join(f"p{i},C1,fixed,0.1,0\n" for i in range(3))
    assert loaded(run_habmap, place, "plot_id,unit_id,method,plot_acres,stems\n" + rows).code == 0
    unit = run_habmap("density", "--json", place=place).json["units"][0]
    # χ²(0.975; 2)/2 = 3.6889 over 0.3 acre (Garwood 1936)
    assert (unit["stems_per_acre"], unit["stems_per_acre_ci95_low"]) == (0, 0)
    assert unit["stems_per_acre_ci95_high"] == pytest.approx(12.296, abs=1e-3)
    assert "exact Poisson limits" in run_habmap("density", place=place).out
