"""A small share of each kind of the soak (`dev.py soak`), and what it found before."""

from __future__ import annotations

import errno
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import zipfile
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import geopandas
import numpy
import pytest
import rasterio
import shapely
from pyproj import CRS
from rasterio.transform import from_origin

from habmap.errors import HabmapError, InputError, PlaceError
from habmap.jobs.density import density
from habmap.jobs.load.layers import load_dem, load_photos
from habmap.jobs.rank import rank
from habmap.place import connection as connection_module
from habmap.place.connection import words_for
from habmap.place.elevation import open_elevation
from habmap.place.layers import read_layer
from habmap.place.store import GeoPackageStore
from habmap.place.wkb import bounds_of


@pytest.fixture
def layer(tmp_path: Path) -> Callable[[str], Path]:
    """One unit as a layer of a kind."""

    def made(suffix: str) -> Path:
        frame = geopandas.GeoDataFrame(
            {"unit_id": ["A"], "cover": ["cedar"]}, geometry=[shapely.box(-98, 38, -97.99, 38.01)], crs=4326
        )
        path = tmp_path / f"layer.{suffix}"
        frame.to_file(path)
        return path

    return made


def test_a_share_of_each_kind_finds_nothing(repository: Path, tmp_path: Path) -> None:
    words = ["-m", "soak", "--share", "--workers", "1", "--seed", "7", "--keep", str(tmp_path)]
    done = subprocess.run(
        [sys.executable, *words], cwd=repository / "scripts", capture_output=True, text=True, timeout=600, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    kinds = {line.partition(":")[0] for line in done.stdout.splitlines() if "0 faults" in line}
    assert kinds >= {"fuzz", "copies", "kills", "crowd"}, done.stdout


def test_all_that_writes_is_tried() -> None:
    """A new command, or a new act of the desk, is a row of `soak.writes`: of what writes, or of what only reads."""
    from soak.writes import unnamed

    assert unnamed() == []


# --- what it found ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("count", ["many", b"\x00\x01"])
def test_a_count_that_is_no_number_disagrees(count: object, layer: Callable[[str], Path]) -> None:
    path = layer("gpkg")
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE gpkg_ogr_contents SET feature_count = ?", (count,))
    with pytest.raises(InputError, match="disagree"):
        read_layer(path)


def test_a_coordinate_system_that_is_no_text_is_refused(layer: Callable[[str], Path], tmp_path: Path) -> None:
    path = layer("shp")
    words = path.with_suffix(".prj").read_bytes()
    assert b"Greenwich" in words
    path.with_suffix(".prj").write_bytes(words.replace(b"Greenwich", b"Gree\xb9wich"))
    with zipfile.ZipFile(tmp_path / "layer.zip", "w") as packed:
        for part in tmp_path.glob("layer.*"):
            if part.suffix != ".zip":
                packed.write(part, part.name)
    with pytest.raises(InputError, match="cannot be read as a layer"):
        read_layer(tmp_path / "layer.zip")


def test_a_zip_with_a_nameless_member_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "u.zip"
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr("x", b"")
    path.write_bytes(path.read_bytes().replace(b"x", b"\0"))  # a name ends where its first zero byte stands
    with pytest.raises(InputError, match="broken"):
        read_layer(path)


def test_a_geopackage_whose_inner_words_are_no_text_is_refused(layer: Callable[[str], Path]) -> None:
    path = layer("gpkg")
    path.write_bytes(path.read_bytes().replace(b"CREATE T", b"CREATE \xd2"))
    with pytest.raises(InputError, match="cannot be read"):
        read_layer(path)


def test_a_coordinate_system_with_an_unknown_unit_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    from pyproj.exceptions import ProjError

    from habmap.land import datum

    def refuse(*_words: object, **_more: object) -> None:
        raise ProjError("Input is not a transformation.: (Internal Proj Error: unitconvert: unknown xy_in unit)")

    monkeypatch.setattr(datum, "TransformerGroup", refuse)
    with pytest.raises(InputError, match="cannot be turned"):
        datum.transformer_to_wgs84(CRS.from_epsg(4269), where="b.zip")


def test_a_raster_whose_words_are_no_text_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "h.tif"
    how = {"driver": "GTiff", "width": 9, "height": 9, "count": 1, "dtype": "float32", "crs": "EPSG:32614"}
    with rasterio.open(path, "w", transform=from_origin(5e5, 4.2e6, 10, 10), **how) as target:
        target.write(numpy.ones((1, 9, 9), "float32"))
        target.units = ("meterly",)
    path.write_bytes(path.read_bytes().replace(b"meterly", b"meter\x80y"))
    with pytest.raises(InputError, match="can be read"), open_elevation(path, vertical_unit=None):
        pass


def test_what_the_raster_library_cannot_quote_of_a_damaged_file_is_not_on_the_screen(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """GDAL says which name within the file it could not read; rasterio's log fails at its letters."""
    path = tmp_path / "h.tif"
    how = {"driver": "GTiff", "width": 9, "height": 9, "count": 1, "dtype": "float32", "crs": "EPSG:32614"}
    with rasterio.open(path, "w", transform=from_origin(5e5, 4.2e6, 10, 10), **how) as target:
        target.write(numpy.ones((1, 9, 9), "float32"))
        target.update_tags(day="today")
    data = path.read_bytes()
    assert b"<Item name=" in data
    path.write_bytes(data.replace(b"<Item name=", b"<It\xffm name=", 1))
    with pytest.raises(InputError, match="which unit"), open_elevation(path, vertical_unit=None):
        pass
    assert capsys.readouterr().err == ""


def test_a_raster_whose_position_is_off_the_globe_brings_no_warning_of_a_library(tmp_path: Path) -> None:
    path = tmp_path / "h.tif"
    how = {"driver": "GTiff", "width": 9, "height": 9, "count": 1, "dtype": "float32", "crs": "EPSG:5070"}
    with rasterio.open(path, "w", transform=from_origin(-98, -5e299, 1e-4, 1e-4), **how) as target:
        target.write(numpy.ones((1, 9, 9), "float32"))
    with pytest.raises(InputError, match="no size on the ground"), open_elevation(path, vertical_unit="m"):
        pass


def test_a_raster_whose_keys_gdal_does_not_know_is_refused(tmp_path: Path) -> None:
    """The raster library tells some of GDAL's complaints by an error that is none of its own public ones."""
    from rasterio._err import CPLE_AppDefinedError

    path = tmp_path / "h.tif"
    how = {"driver": "GTiff", "width": 9, "height": 9, "count": 1, "dtype": "float32", "crs": "EPSG:32614"}
    with rasterio.open(path, "w", transform=from_origin(5e5, 4.2e6, 10, 10), **how) as target:
        target.write(numpy.ones((1, 9, 9), "float32"))
    with pytest.raises(InputError, match="can be read"), open_elevation(path, vertical_unit="m"):
        raise CPLE_AppDefinedError(1, 1, "Key 2057 of unknown type.")


def test_a_stored_kind_of_feature_that_nobody_knows_is_its_own_word() -> None:
    from habmap.vocabulary import FEATURE_WORDS

    assert FEATURE_WORDS["Inf"] == "Inf"
    assert "Inf" not in FEATURE_WORDS


def test_a_stored_file_whose_inner_names_are_no_text_is_damaged(tmp_path: Path) -> None:
    store = GeoPackageStore.create(tmp_path / "place", "Small", timezone="America/Chicago")
    data = store.path.read_bytes()
    at = data.index(b"CREATE TABLE entries")
    store.path.write_bytes(data[:at] + b"CREATE \xc1ABLE" + data[at + 12 :])
    with pytest.raises(PlaceError, match="damaged") as caught:
        GeoPackageStore.open(tmp_path / "place")
    assert caught.value.where and caught.value.mend


def test_a_stored_arc_is_damage_and_no_fault_of_the_program() -> None:
    arc = bytes.fromhex("47500000e6100000010800000003000000") + bytes(48)  # GP, WGS 84; CIRCULARSTRING of 3
    with pytest.raises(PlaceError, match="damaged"):
        bounds_of(arc)


@pytest.fixture
def synced(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """What was put on the disk by a sync of Python's own, in that order."""
    found: list[Path] = []
    true_fsync = os.fsync
    monkeypatch.setattr(
        os, "fsync", lambda number: (found.append(Path(f"/proc/self/fd/{number}").resolve()), true_fsync(number))[1]
    )
    return found


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no sync of a folder")
def test_a_new_property_is_on_the_disk_before_it_is_told(tmp_path: Path, synced: list[Path]) -> None:
    """A power cut right after "made" left a property whose settings held no bytes."""
    from habmap.jobs.start import start

    folder = tmp_path.resolve() / "new"
    start(folder, name="New", timezone="America/Chicago", now=datetime(2026, 1, 1, tzinfo=UTC))
    (settings,) = [at for at, path in enumerate(synced) if path.suffix == ".toml"]
    assert synced.index(folder) > settings  # its name follows its bytes
    assert synced.count(folder) == 2  # the store's name, then that of the settings: only with them it is a property
    assert folder.parent in synced


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no sync of a folder")
@pytest.mark.parametrize("what", ["photos", "dem"])
def test_names_of_kept_files_are_on_the_disk_before_it_is_told(
    what: str, tmp_path: Path, demo_place: Path, repository: Path, synced: list[Path]
) -> None:
    """A power cut right after "loaded" must not take the picture, or the elevation, of a row that stays."""
    from habmap.cli.main import run

    place = Path(shutil.copytree(demo_place, tmp_path / "place"))
    folder = place / ("photos" if what == "photos" else "elevation")
    shutil.rmtree(folder)
    source = repository / "sample_layers" / ("photos" if what == "photos" else "elevation.tif")
    more = [] if what == "photos" else ["--copy", "--overwrite"]
    with pytest.raises(SystemExit) as ended:
        run(["--place", str(place), "load", what, str(source), *more])
    assert ended.value.code == 0
    assert any(folder.iterdir())
    assert folder.resolve() in synced


def test_plots_whose_sizes_another_program_took_away_say_nothing(demo_place: Path, tmp_path: Path) -> None:
    store = GeoPackageStore.open(Path(shutil.copytree(demo_place, tmp_path / "place")))
    with closing(sqlite3.connect(store.path)) as connection, connection:
        connection.execute("ALTER TABLE plots DROP COLUMN plot_acres")
    assert {unit.stems_per_acre for unit in density(store).units if unit.rests_on == "fixed"} <= {None}
    assert rank(store, today=date(2026, 8, 1)).units


def test_a_page_of_many_properties_without_a_name_is_refused(tmp_path: Path, run_habmap: Any) -> None:
    done = run_habmap("region", "account", tmp_path, "-o", "", "--workers", "1", "--json")
    assert done.code in (2, 3)
    assert done.json["where"] == "-o"


class Failing:
    """A connection whose commit is done, and fails to say so."""

    def __init__(self, true: sqlite3.Connection) -> None:
        self._true = true

    def __getattr__(self, name: str) -> Any:
        return getattr(self._true, name)

    def execute(self, statement: str, *more: Any) -> Any:
        done = self._true.execute(statement, *more)
        if statement == "COMMIT":
            raise sqlite3.OperationalError("disk I/O error")
        return done


def fail_to_say_it_is_written(monkeypatch: pytest.MonkeyPatch) -> None:
    """From now on all that is committed is on the disk, and told as failed."""
    true_connect = connection_module.connect
    monkeypatch.setattr(connection_module, "connect", lambda *words, **more: Failing(true_connect(*words, **more)))


def test_a_commit_that_fails_leaves_no_row_without_its_picture(
    demo_place: Path, tmp_path: Path, repository: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk's last sync may fail when all is written: the rows are there, and so must be their pictures."""
    place = Path(shutil.copytree(demo_place, tmp_path / "place"))
    with closing(sqlite3.connect(place / "place.gpkg")) as connection, connection:
        connection.executescript(
            "DROP TABLE photos; DELETE FROM gpkg_geometry_columns WHERE table_name = 'photos';"
            "DELETE FROM gpkg_contents WHERE table_name = 'photos'"
        )
    shutil.rmtree(place / "photos")
    store = GeoPackageStore.open(place)

    fail_to_say_it_is_written(monkeypatch)
    with pytest.raises(PlaceError, match="disk I/O") as caught:
        load_photos(store, folder=repository / "sample_layers" / "photos", now=datetime(2026, 8, 1, tzinfo=UTC))
    monkeypatch.undo()
    rows = GeoPackageStore.open(place).photos()
    assert rows, caught.value
    assert all(store.picture(row.picture) is not None for row in rows)


def test_a_commit_that_fails_leaves_no_row_without_its_raster(
    demo_place: Path, tmp_path: Path, repository: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = Path(shutil.copytree(demo_place, tmp_path / "place"))
    raster = Path(shutil.copy(repository / "sample_layers" / "elevation.tif", tmp_path / "another.tif"))
    store = GeoPackageStore.open(place)
    fail_to_say_it_is_written(monkeypatch)
    with pytest.raises(PlaceError, match="disk I/O"):
        load_dem(store, path=raster, now=datetime(2026, 8, 1, tzinfo=UTC), copy_into=place, overwrite=True)
    monkeypatch.undo()
    source = GeoPackageStore.open(place).elevation()
    assert source is not None and Path(source.path).name == "another.tif" and Path(source.path).is_file()


def test_of_a_disk_that_fails_on_and_on_the_first_error_is_told(
    demo_place: Path, tmp_path: Path, repository: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = Path(shutil.copytree(demo_place, tmp_path / "place"))
    raster = Path(shutil.copy(repository / "sample_layers" / "elevation.tif", tmp_path / "another.tif"))
    store = GeoPackageStore.open(place)

    def refuse(*_words: object, **_more: object) -> None:
        raise OSError(errno.EIO, "the disk fails")

    def fail_to_write(*_words: object, **_more: object) -> None:
        monkeypatch.setattr(Path, "unlink", refuse)
        raise PlaceError("the row cannot be written", where="there", mend="look at the disk")

    monkeypatch.setattr(store, "append", fail_to_write)
    with pytest.raises(PlaceError, match="the row cannot be written"):
        load_dem(store, path=raster, now=datetime(2026, 8, 1, tzinfo=UTC), copy_into=place, overwrite=True)


@pytest.mark.parametrize("name", ["SQLITE_IOERR_FSYNC", "SQLITE_IOERR_DIR_FSYNC"])
def test_a_disk_that_fails_at_the_last_sync_is_not_told_as_nothing_written(name: str, tmp_path: Path) -> None:
    """The row may be there: whoever reads "nothing was written" writes it twice."""

    class DiskError(sqlite3.OperationalError):
        sqlite_errorname = name

    with pytest.raises(PlaceError) as caught, words_for(tmp_path / "place.gpkg"):
        raise DiskError("disk I/O error")
    assert "nothing was" not in str(caught.value)
    assert "habmap history" in str(caught.value)


def test_a_pipe_in_place_of_a_journal_is_not_waited_for(tmp_path: Path) -> None:
    store = GeoPackageStore.create(tmp_path / "place", "Small", timezone="America/Chicago")
    pipe = store.path.with_name("place.gpkg-journal")
    os.mkfifo(pipe)
    held = os.open(pipe, os.O_RDWR)  # so that this test does not wait where the program would
    with pytest.raises(InputError, match="pipe or a device") as caught:
        GeoPackageStore.open(tmp_path / "place")
    os.close(held)
    assert "place.gpkg-journal" in str(caught.value.where)


def test_a_device_beside_a_layer_or_a_raster_is_refused(layer: Callable[[str], Path], tmp_path: Path) -> None:
    shapes = layer("shp")
    shapes.with_suffix(".DBF.xml").symlink_to(os.devnull)
    with pytest.raises(InputError, match="pipe or a device"):
        read_layer(shapes)
    path = tmp_path / "h.tif"
    how = {"driver": "GTiff", "width": 9, "height": 9, "count": 1, "dtype": "float32", "crs": "EPSG:32614"}
    with rasterio.open(path, "w", transform=from_origin(5e5, 4.2e6, 10, 10), **how) as target:
        target.write(numpy.ones((1, 9, 9), "float32"))
    (tmp_path / "H.TFW").symlink_to(os.devnull)
    with pytest.raises(InputError, match="pipe or a device"), open_elevation(path, vertical_unit="m"):
        pass


@pytest.mark.parametrize(
    ("before", "after"), [("flat_below_pct = 5", "flat_below_pct = 1e308"), ("rate = 150", "rate = 1e308")]
)
def test_a_setting_that_no_figure_can_be_made_of_is_refused(before: str, after: str, tmp_path: Path) -> None:
    store = GeoPackageStore.create(tmp_path / "place", "Small", timezone="America/Chicago")
    path = tmp_path / "place" / "habmap.toml"
    item = '\n[[contract]]\nprogram = "Grass"\nitem = "G-1"\npractice_code = "314"\nplanned_acres = 4\nrate = 150\n'
    text = path.read_text(encoding="utf-8") + item
    path.write_text(text, encoding="utf-8")
    assert GeoPackageStore.open(tmp_path / "place").place_id == store.place_id
    assert before in text
    path.write_text(text.replace(before, after, 1), encoding="utf-8")
    with pytest.raises(InputError, match="1000000000"):
        GeoPackageStore.open(tmp_path / "place")


@pytest.mark.parametrize("more", ["x = " + "[" * 50_000 + "]" * 50_000, "[" + ".".join("a" * 20_000) + "]\nx = 1"])
def test_settings_far_too_deep_are_refused(more: str, tmp_path: Path) -> None:
    GeoPackageStore.create(tmp_path / "place", "Small", timezone="America/Chicago")
    path = tmp_path / "place" / "habmap.toml"
    path.write_text(f"{path.read_text(encoding='utf-8')}\n{more}\n", encoding="utf-8")
    with pytest.raises(InputError, match="far too deep"):
        GeoPackageStore.open(tmp_path / "place")


def test_collections_within_collections_are_no_ground(tmp_path: Path, demo_place: Path) -> None:
    """Deep ones ended the process: GEOS follows each within the other."""
    deep = "GEOMETRYCOLLECTION(" * 40_000 + "POINT(0 0)" + ")" * 40_000
    table = tmp_path / "e.csv"
    table.write_text(f'date,practice,patch_wkt\n2026-04-02,mow,"{deep}"\n', encoding="utf-8")
    words = ["-m", "habmap", "--place", str(demo_place), "load", "entries", str(table)]
    done = subprocess.run([sys.executable, *words], capture_output=True, text=True, check=False)
    assert done.returncode == 3
    assert "collections within collections" in done.stderr


def test_a_kept_picture_larger_than_memory_is_spoiled(tmp_path: Path) -> None:
    """A stranger's copy may hold a file with holes, of any size."""
    from habmap.place.pictures import MOST_BYTES, read_picture

    path = tmp_path / "photos" / f"{'0' * 32}.jpg"
    path.parent.mkdir()
    for size, is_read in ((1000, True), (MOST_BYTES + 1, False)):
        with path.open("wb") as file:
            file.write(b"\xff\xd8")
            file.seek(size - 2)
            file.write(b"\xff\xd9")
        assert (read_picture(tmp_path, path.name) is not None) == is_read


def test_a_bite_of_next_to_nothing_is_refused(run_habmap: Any, demo_place: Path) -> None:
    refused = run_habmap("bite", "--acres", "1e-300", "--json", place=demo_place)  # it was looked for without end
    assert (refused.code, refused.json["where"], refused.json["allowed"]) == (2, "--acres", "0.01 to 100,000")


def test_no_refusal_repeats_a_book() -> None:
    error = HabmapError("w" * 9_000, where="x" * 9_000, value="y" * 9_000, mend="shorten it")
    assert max(map(len, (error.what, error.where, error.value or ""))) == 1_000


@pytest.mark.parametrize(
    "words",
    [("history", "Z"), ("manual", "nothing"), ("load", "units", "u.kml", "--from", "soon"), ("bite", "--acres", "1e9")],
)
def test_every_refusal_says_where_and_how_to_mend(words: tuple[str, ...], demo_place: Path, run_habmap: Any) -> None:
    spoken = run_habmap(*words, place=demo_place)
    assert spoken.code in (2, 3)
    assert "where: " in spoken.err and "fix: " in spoken.err
    if words[0] != "manual":
        record = run_habmap(*words, "--json", place=demo_place).json
        assert record["where"] and record["mend"]


def test_a_folder_with_a_name_that_no_disk_takes_is_refused(tmp_path: Path) -> None:
    from habmap.jobs.start import start

    with pytest.raises(PlaceError, match="cannot be made") as caught:
        start(tmp_path / ("9" * 400), name="New", timezone="America/Chicago", now=datetime(2026, 1, 1, tzinfo=UTC))
    assert caught.value.where and caught.value.mend
    assert not any(tmp_path.iterdir())


def test_a_refused_region_leaves_no_folder_of_parts(tmp_path: Path, run_habmap: Any) -> None:
    units = tmp_path / "u.geojson"
    square = {"type": "Polygon", "coordinates": [[[0, 0], [0.001, 0], [0.001, 0.001], [0, 0]]]}
    units.write_text(json.dumps({"type": "Feature", "properties": {}, "geometry": square}))
    (tmp_path / "d.tif").write_bytes(b"II*\x00nothing")
    done = run_habmap("region", "terrain", units, tmp_path / "d.tif", "-o", tmp_path / "out.csv", "--workers", "1")
    assert done.code == 3
    assert sorted(path.name for path in tmp_path.iterdir()) == ["d.tif", "u.geojson"]
