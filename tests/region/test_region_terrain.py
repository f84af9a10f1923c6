"""`habmap region terrain`: the same to the last digit however the work is cut, and the figures of `habmap terrain`."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import geopandas
import jsonschema
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine

import habmap
from habmap.api import json_schema
from habmap.region import plan

PART_CELLS = "200"


def rows_of(data: bytes) -> dict[str, dict[str, str]]:
    return {row["unit_id"]: row for row in csv.DictReader(io.StringIO(data.decode()))}


def test_workers_parts_and_tiles_change_no_digit(region: Path, wanted: bytes, run, tmp_path: Path) -> None:
    tiles = sorted(region.glob("tile-*.tif"))
    for name, words in {
        "two": [region / "ground.tif", "--workers", 2, "--part-cells", PART_CELLS],
        "small": [region / "ground.tif", "--workers", 1, "--part-cells", 64],
        "tiles": [*tiles, "--workers", 2, "--part-cells", PART_CELLS],
    }.items():
        told = run("region", "terrain", region / "stands.gpkg", *words, "-o", tmp_path / f"{name}.csv", "--json")
        assert told.returncode == 0, told.stderr
        answer = json.loads(told.stdout)
        assert (answer["stands"], answer["off_stands"]) == (160, 2)
        assert answer["faults"] == [
            {"place": label, "what": "off the elevation: no figures"} for label in ("S7", "S29")
        ]
        jsonschema.validate(answer, json_schema("region-terrain"))
        assert answer["parts"] > 10 and answer["retried"] == 0 and answer["stands_per_core_second"] > 0
        assert (tmp_path / f"{name}.csv").read_bytes() == wanted, name
    assert "the first named counts: tile-0.tif over tile-2.tif" in told.stderr


def test_figures_are_those_of_a_property_of_their_own_to_the_last_digit(region, wanted, run, tmp_path) -> None:
    stands = geopandas.read_file(region / "stands.gpkg")
    apart: list[int] = []
    for at, shape in enumerate(stands.geometry):
        if not any(shape.intersects(stands.geometry[other]) for other in apart):
            apart.append(at)
    stands.loc[apart].to_file(tmp_path / "apart.gpkg")
    place = ("--place", tmp_path / "place")
    assert run("start", tmp_path / "place", "--name", "Apart").returncode == 0
    assert run(*place, "load", "units", tmp_path / "apart.gpkg").returncode == 0
    assert run(*place, "load", "dem", region / "ground.tif").returncode == 0
    answer = json.loads(run(*place, "terrain", "--json").stdout)
    rows = rows_of(wanted)
    assert len(answer["units"]) == len(apart) > 60
    for unit in answer["units"]:
        for name, text in rows[unit["unit_id"]].items():
            value = unit[name]
            plain = {"None": "", "True": "yes", "False": "no"}.get(repr(value))
            assert text == (str(value) if plain is None else plain), (unit["unit_id"], name)


def test_a_raster_is_known_by_where_it_lies_however_it_is_named(region, monkeypatch) -> None:
    monkeypatch.chdir(region)
    named, known = (
        plan.Elevations.of(plan.Ground(tiles=(path,))) for path in (Path("ground.tif"), region / "ground.tif")
    )
    assert named.stamps == known.stamps
    assert named.of_part(region, None, 1)[2] == known.of_part(region, None, 1)[2]


def test_every_format_holds_the_same(region, wanted, run, tmp_path) -> None:
    pytest.importorskip("pyarrow")
    rows = rows_of(wanted)
    outlines = geopandas.read_file(region / "stands.gpkg").to_crs("EPSG:4326")
    for suffix, read in ((".parquet", geopandas.read_parquet), (".gpkg", geopandas.read_file)):
        for again in ("a", "b"):
            told = run("region", "terrain", region / "stands.gpkg", region / "ground.tif", "--workers", 1,
                       "-o", tmp_path / f"{again}{suffix}")  # fmt: skip
            assert told.returncode == 0, told.stderr
        assert (tmp_path / f"a{suffix}").read_bytes() == (tmp_path / f"b{suffix}").read_bytes()
        frame = read(tmp_path / f"a{suffix}")
        assert frame.crs == "EPSG:4326" and list(frame["unit_id"]) == list(rows)
        assert shapely.equals_exact(frame.geometry.values, shapely.multipolygons(
            np.array(outlines.geometry.values).reshape(-1, 1)), tolerance=1e-12).all()  # fmt: skip
        for name in ("slope_mean_deg", "aspect_mean_deg", "coverage_pct", "heat_load_mean"):
            texts = [row[name] for row in rows.values()]
            assert np.array_equal(frame[name], [float(text) if text else np.nan for text in texts], equal_nan=True)
        assert [None if value != value else value for value in frame["facing"]] == [
            row["facing"] or None for row in rows.values()
        ]


def test_another_limit_is_answered_from_the_parts_that_are_there(region, run, tmp_path) -> None:
    def ask(name: str, *words: object) -> dict[str, object]:
        told = run("region", "terrain", region / "stands.gpkg", region / "ground.tif", "-o", tmp_path / name,
                   "--workers", 1, "--json", *words)  # fmt: skip
        assert told.returncode == 0, told.stderr
        answer: dict[str, object] = json.loads(told.stdout)
        return answer

    parts = ("--parts", tmp_path / "parts", "--part-cells", PART_CELLS)
    limits = ("--machine-limit-pct", 12, "--flat-below-pct", 8)
    first = ask("first.csv", *parts)
    second = ask("second.csv", *parts, *limits)
    fresh = ask("fresh.csv", *limits)
    assert first["kept_parts"] == 0 and second["kept_parts"] == second["parts"] == first["parts"]
    assert second["processor_seconds"] == 0 and fresh["kept_parts"] == 0
    assert (tmp_path / "second.csv").read_bytes() == (tmp_path / "fresh.csv").read_bytes()
    assert (tmp_path / "second.csv").read_bytes() != (tmp_path / "first.csv").read_bytes()
    # Other bearings, and a limit that cuts a slope class in two, are other sums.
    assert ask("third.csv", *parts, "--sun-facing-deg", 90, 270)["kept_parts"] == 0
    assert ask("fourth.csv", *parts, "--machine-limit-pct", 12.34)["kept_parts"] == 0


def test_stands_are_sorted_once_and_anew_when_their_layer_changes(region, tmp_path, monkeypatch) -> None:
    layer = tmp_path / "stands.gpkg"
    layer.write_bytes((region / "stands.gpkg").read_bytes())

    def ask(name: str) -> bytes:
        habmap.region_terrain(layer, [region / "ground.tif"], tmp_path / name, parts_folder=tmp_path / "parts")
        return (tmp_path / name).read_bytes()

    first = ask("first.csv")
    with monkeypatch.context() as patch:
        patch.setattr(plan, "_sorted", None)
        assert ask("again.csv") == first
    stands = geopandas.read_file(layer)
    stands.loc[3, "unit_id"] = "other"
    stands.to_file(layer)
    assert ask("renamed.csv") == first.replace(b"\nS3,", b"\nother,")
    for stands in (tmp_path / "parts").glob("stands-*.bin"):
        stands.unlink()
    assert ask("without.csv") == (tmp_path / "renamed.csv").read_bytes()


def test_tiles_of_other_systems_and_grids_are_refused_by_name(region, run, tmp_path) -> None:
    tiles = sorted(region.glob("tile-*.tif"))
    with rasterio.open(region / "tile-0.tif") as source:
        profile, heights = source.profile, source.read(1)
    position = profile["transform"]
    beside = Affine(position.a, 0, position.c + position.a / 2, 0, position.e, position.f)
    for name, changed in (("odd-system.tif", {"crs": "EPSG:26914"}), ("odd-grid.tif", {"transform": beside})):
        with rasterio.open(tmp_path / name, "w", **{**profile, **changed}) as target:
            target.write(heights, 1)
            target.units = ("m",)
    for odd, words in (("odd-system.tif", "another coordinate system"), ("odd-grid.tif", "do not lie on those")):
        told = run("region", "terrain", region / "stands.gpkg", *tiles, tmp_path / odd, "-o", tmp_path / "n.csv")
        assert told.returncode == 3
        assert odd in told.stderr and words in told.stderr and "tile-1.tif" not in told.stderr
        assert not (tmp_path / "n.csv").exists()


def test_unfit_outlines_are_named_and_nothing_is_written(region, run, tmp_path) -> None:
    stands = geopandas.read_file(region / "stands.gpkg")
    west, south = stands.total_bounds[:2]
    bow = shapely.Polygon([(west + 900, south + 900), (west + 1000, south + 1000), (west + 1000, south + 900),
                           (west + 900, south + 1000)])  # fmt: skip
    stands.loc[11, "geometry"] = bow
    stands.loc[13, "geometry"] = shapely.box(-1e9, -1e9, 1e9, 1e9)
    stands.to_file(tmp_path / "bow.gpkg")
    told = run("region", "terrain", tmp_path / "bow.gpkg", region / "ground.tif", "-o", tmp_path / "n.csv", "--json")
    assert told.returncode == 3
    fault = json.loads(told.stdout)
    assert fault["what"] == "2 faults found; nothing was written"
    crossing, endless = fault["faults"]
    assert "feature 12" in crossing["where"] and "crosses itself" in crossing["what"]
    assert "--repair" not in crossing["mend"]  # which this command has not
    assert "feature 14" in endless["where"] and "off the globe" in endless["what"]
    assert not (tmp_path / "n.csv").exists()


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["-o", "x.shp"], 3, ".parquet, .gpkg or .csv"),
        (["-o", "x.csv", "--id", "nobody"], 3, "no such column"),
        (["-o", "x.csv", "--workers", "0"], 2, "--workers"),
        (["-o", "x.csv", "--analysis-cell-m", "-3"], 2, "no such cell"),
        (["-o", "x.csv", "--vertical-unit", "yard"], 2, "unknown vertical unit"),
        (["-o", "x.csv", "--scheduler", "tcp://127.0.0.1:9", "--workers", "2"], 2, "either"),
    ],
)
def test_what_cannot_be_is_said_before_any_work(region, run, tmp_path, words, code, said) -> None:
    told = run("region", "terrain", region / "stands.gpkg", region / "ground.tif", *words, cwd=tmp_path)
    assert told.returncode == code and said in told.stderr
    assert not list(tmp_path.glob("x*.csv"))


def test_what_is_there_is_not_written_over(region, run, tmp_path) -> None:
    (tmp_path / "x.csv").write_text("mine")
    words = (
        "region",
        "terrain",
        region / "stands.gpkg",
        region / "ground.tif",
        "-o",
        tmp_path / "x.csv",
        "--workers",
        1,
    )
    told = run(*words)
    assert told.returncode == 3 and "--overwrite" in told.stderr
    assert (tmp_path / "x.csv").read_text() == "mine"
    assert run(*words, "--overwrite").returncode == 0
    (tmp_path / "x.csv").unlink()
    told = run(*words)
    assert told.returncode == 3 and "--resume" in told.stderr
    assert run(*words, "--resume").returncode == 0


def test_neither_cluster_nor_compiler_is_loaded_where_nobody_asks(region, run, tmp_path) -> None:
    import os

    quiet = {**os.environ, "PYTHONPROFILEIMPORTTIME": "1"}
    told = run("region", "terrain", region / "stands.gpkg", region / "ground.tif", "-o", tmp_path / "x.csv",
               "--workers", 1, env=quiet)  # fmt: skip
    assert told.returncode == 0
    for library in ("dask", "distributed", "numba"):
        assert f" {library}\n" not in told.stderr, library
