"""Workers and commands killed, disks full, tiles broken: the same bytes in the end, and nothing half in the output."""

from __future__ import annotations

import contextlib
import json
import random
import re
import resource
import shutil
import signal
import subprocess
import time
from contextlib import suppress
from pathlib import Path

import numpy as np
import psutil
import pytest
import rasterio

from habmap.region.folder import sweep, write_file, write_part
from habmap.region.stands import sorting

#: Small parts: some hundred of them, so that there is something to kill all along.
PART_CELLS = "64"
KILLS = 4


def words_for(region: Path, words, output: Path, *more: object) -> list[str]:
    return words("region", "terrain", region / "stands.gpkg", region / "ground.tif", "-o", output,
                 "--part-cells", PART_CELLS, *more)  # fmt: skip


def workers_of(process: subprocess.Popen[str]) -> list[psutil.Process]:
    """Return the processes that do parts and the one that starts them: not what only keeps count of what is shared."""
    with suppress(psutil.NoSuchProcess):
        return [
            child
            for child in psutil.Process(process.pid).children(recursive=True)
            if "forkserver" in (line := " ".join(child.cmdline())) or "spawn_main" in line
        ]
    return []


def whole_parts(folder: Path) -> dict[str, int]:
    """Return the parts that are there, and when each was written."""
    return {path.name: path.stat().st_mtime_ns for path in folder.glob("part-*.bin")}


def wait_for(process: subprocess.Popen[str], folder: Path, count: int) -> None:
    """Wait until so many parts are whole."""
    limit = time.monotonic() + 120
    while len(whole_parts(folder)) < count:
        assert process.poll() is None, process.communicate()
        assert time.monotonic() < limit
        time.sleep(0.05)


def test_workers_killed_at_random_change_no_byte(region, wanted, words, tmp_path) -> None:
    output = tmp_path / "x.csv"
    folder = output.with_name("x.csv.parts")
    chance = random.Random(7)
    process = subprocess.Popen(
        words_for(region, words, output, "--workers", 2, "--json"),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    killed = 0
    while killed < KILLS and process.poll() is None:
        before = len(whole_parts(folder))
        workers = workers_of(process)
        if workers:
            with suppress(psutil.NoSuchProcess):
                chance.choice(workers).kill()
                killed += 1
        limit = time.monotonic() + 30
        while process.poll() is None and len(whole_parts(folder)) <= before and time.monotonic() < limit:
            time.sleep(0.02)
        time.sleep(chance.uniform(0, 0.3))
    told, said = process.communicate(timeout=240)
    assert process.returncode == 0, said
    assert killed == KILLS and json.loads(told)["retried"] >= 1
    assert output.read_bytes() == wanted
    assert not list(folder.glob(".*"))


def test_a_killed_command_goes_on_without_doing_whole_parts_again(region, wanted, words, tmp_path) -> None:
    output = tmp_path / "x.csv"
    folder = output.with_name("x.csv.parts")
    process = subprocess.Popen(
        words_for(region, words, output, "--workers", 2), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    wait_for(process, folder, 10)
    workers = workers_of(process)
    process.kill()
    process.wait()
    process.communicate()
    psutil.wait_procs(workers, timeout=60)  # they end when nobody asks any more
    assert not output.exists()
    before = whole_parts(folder)
    assert len(before) >= 10
    again = subprocess.run(
        words_for(region, words, output, "--workers", 2, "--resume", "--json"),
        capture_output=True,
        text=True,
        check=False,
    )
    assert again.returncode == 0, again.stderr
    answer = json.loads(again.stdout)
    assert answer["kept_parts"] == len(before) < answer["parts"]
    after = whole_parts(folder)
    assert {name: after[name] for name in before} == before
    assert output.read_bytes() == wanted


def test_a_damaged_part_is_done_again(region, wanted, run, words, tmp_path) -> None:
    output = tmp_path / "x.csv"
    told = subprocess.run(words_for(region, words, output, "--workers", 1), capture_output=True, check=False)
    assert told.returncode == 0
    part = sorted(output.with_name("x.csv.parts").glob("part-*.bin"))[3]
    data = bytearray(part.read_bytes())
    data[len(data) // 2] ^= 1
    part.write_bytes(data)
    output.unlink()
    again = subprocess.run(
        words_for(region, words, output, "--workers", 1, "--resume", "--json"),
        capture_output=True,
        text=True,
        check=False,
    )
    answer = json.loads(again.stdout)
    assert answer["kept_parts"] == answer["parts"] - 1
    assert output.read_bytes() == wanted


def still_works(process: psutil.Process) -> bool:
    with contextlib.suppress(psutil.NoSuchProcess):
        return process.status() != psutil.STATUS_ZOMBIE
    return False


def test_ctrl_c_ends_clean_and_says_how_to_go_on(region, words, tmp_path) -> None:
    output = tmp_path / "x.csv"
    process = subprocess.Popen(
        words_for(region, words, output, "--workers", 2), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    wait_for(process, output.with_name("x.csv.parts"), 4)
    workers = workers_of(process)
    process.send_signal(signal.SIGINT)
    _told, said = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "--resume" in said and "Traceback" not in said
    # an ended one whose parent is gone stays listed where nobody collects it (a container without an init)
    end = time.monotonic() + 20
    while any(map(still_works, workers)) and time.monotonic() < end:
        time.sleep(0.1)
    assert not [one for one in workers if still_works(one)]
    assert not output.exists()


@pytest.mark.parametrize("workers", ["1", "2"])
def test_a_full_disk_is_said_and_leaves_nothing_half(region, words, tmp_path, workers) -> None:
    # No file may grow beyond this: what a full disk is to a program, without a disk to fill.
    output = tmp_path / "x.csv"
    told = subprocess.run(
        words_for(region, words, output, "--workers", workers, "--part-cells", "4096"), capture_output=True, text=True,
        check=False, preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (60_000, 60_000)),
    )  # fmt: skip
    assert told.returncode == 3, told.stderr
    assert "cannot be" in told.stderr and "File too large" in told.stderr and "Traceback" not in told.stderr
    assert not output.exists()
    assert not [*tmp_path.rglob("part-*"), *tmp_path.rglob(".part-*")]


def test_a_tile_that_breaks_off_is_named(region, run, tmp_path) -> None:
    for tile in region.glob("tile-*.tif"):
        (tmp_path / tile.name).write_bytes(tile.read_bytes())
    broken = tmp_path / "tile-2.tif"
    broken.write_bytes(broken.read_bytes()[: broken.stat().st_size * 2 // 3])
    output = tmp_path / "x.csv"
    told = run("region", "terrain", region / "stands.gpkg", *sorted(tmp_path.glob("tile-*.tif")), "-o", output,
               "--workers", 2)  # fmt: skip
    assert told.returncode == 3
    # one library finds the end missing as it opens the file, another as it reads it
    assert "tile-2.tif" in told.stderr and re.search("cannot be read to its end|can be read", told.stderr)
    assert "Traceback" not in told.stderr
    assert not output.exists()


def test_two_runs_share_a_folder_of_parts_and_each_reads_its_own_tiles(region, run, tmp_path) -> None:
    tiles = sorted(region.glob("tile-*.tif"))
    for tile in tiles:
        with rasterio.open(tile) as source:
            heights, kept = source.read(1) * 1.5, source.profile
        with rasterio.open(tmp_path / tile.name, "w", **kept) as target:
            target.write(heights, 1)
            target.units = ("m",)
    others = sorted(tmp_path.glob("tile-*.tif"))
    shared = ("--parts", tmp_path / "shared", "--workers", 1)
    for name, own in {"plain": tiles, "steeper": others, "other-order": tiles[::-1]}.items():
        for words in ((), shared):
            output = tmp_path / f"{name}{len(words)}.csv"
            told = run("region", "terrain", region / "stands.gpkg", *own, "-o", output, *words)
            assert told.returncode == 0, told.stderr
        assert output.read_bytes() == (tmp_path / f"{name}0.csv").read_bytes(), name
    assert (tmp_path / "plain0.csv").read_bytes() != (tmp_path / "steeper0.csv").read_bytes()


def test_going_on_sees_that_a_tile_of_a_list_of_rasters_has_changed(region, run, tmp_path) -> None:
    shutil.copy(region / "ground.tif", tmp_path)
    with rasterio.open(tmp_path / "ground.tif") as source:
        made, size = source.profile, (source.width, source.height)
    (tmp_path / "all.vrt").write_text(
        f'<VRTDataset rasterXSize="{size[0]}" rasterYSize="{size[1]}"><SRS>{made["crs"].to_wkt()}</SRS>'
        f"<GeoTransform>{', '.join(map(str, made['transform'].to_gdal()))}</GeoTransform>"
        '<VRTRasterBand dataType="Float32" band="1">'
        "<NoDataValue>-9999</NoDataValue><UnitType>m</UnitType><SimpleSource>"
        '<SourceFilename relativeToVRT="1">ground.tif'
        "</SourceFilename><SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>"
    )
    words = (
        "region",
        "terrain",
        region / "stands.gpkg",
        tmp_path / "all.vrt",
        "-o",
        tmp_path / "o.csv",
        "--workers",
        1,
    )
    assert run(*words).returncode == 0
    first = (tmp_path / "o.csv").read_bytes()
    with rasterio.open(tmp_path / "ground.tif", "r+") as target:
        target.write(target.read(1) * 2, 1)
    assert run(*words, "--resume", "--overwrite").returncode == 0
    assert (tmp_path / "o.csv").read_bytes() != first


def test_what_lost_runs_left_half_written_goes_with_the_next(tmp_path) -> None:
    write_part(tmp_path / "stands-1.bin", {}, {})
    half = [tmp_path / name for name in (".stands-1.bin.0f", ".ground-1.vrt.0f", ".part-2.bin.0f")]
    for path in half:
        path.write_bytes(b"half")
    write_file(tmp_path / "ground-1.vrt", [b"whole"])
    sweep(tmp_path)
    assert [path.exists() for path in half] == [
        False,
        False,
        True,
    ]  # of the last nothing is whole yet: it is being made


def test_a_run_killed_while_it_sorts_leaves_nothing_that_a_later_one_reads(region, tmp_path) -> None:
    """The stands of a run that was killed, and of another one beside it, are in no part of the next."""
    boxes, about = np.full((1, 2, 2), 5.0), {"side": 64, "shape": (99, 99)}
    with sorting(tmp_path, **about) as killed:
        killed.add(7, np.array([b"of the killed run"], dtype=object), boxes)
        killed._flush()
        with sorting(tmp_path, **about) as own:
            own.add(0, np.array([b"its own"], dtype=object), boxes)
            (made,) = own.files()
    assert made.count == 1
    assert [path.name for path in tmp_path.iterdir()] == [made.path.name]
