"""How far a job is: counted by the job, rising to its end, with words and a pace that invent nothing."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
import shapely
from fakes import GRID, FakeStore, entry, unit
from shapely import box

from habmap.desk.long_work import Pace
from habmap.jobs.burnsheet import BURN_STEPS, SHEET_STEPS, worked_out
from habmap.jobs.burnsheet_files import write_burn_sheets
from habmap.jobs.demo import demo
from habmap.jobs.export_packet import export_packet
from habmap.jobs.handout import write_handout
from habmap.jobs.load.layers import load_boundary, load_dem
from habmap.jobs.load.tables import load_entries, load_forecast
from habmap.jobs.map import draw_map
from habmap.jobs.sheet import write_sheet
from habmap.jobs.terrain import terrain
from habmap.place.new_folder import sample_layers_folder
from habmap.place.settings import Settings
from habmap.place.store import GeoPackageStore
from habmap.progress import PROGRESS_LINES, Share, Steps, counted, read_share
from habmap.show.progress_words import left_words, progress_words
from habmap.work.burn.request import BurnRequest

NOW, TODAY = datetime(2026, 8, 1, 12, tzinfo=UTC), date(2026, 8, 1)


def burn_sheets(store: Any, folder: Path, told: Callable[[Share], None]) -> None:
    """Work a burn sheet out and write it, as the command does."""
    steps = Steps(told, *BURN_STEPS, *SHEET_STEPS)
    unit_id = store.units()[0].unit_id
    at = datetime(2026, 3, 1, 13)
    request = BurnRequest(names=(unit_id,), at=at, temp_f=70.0, rh_pct=50.0, wind_mph=8.0, wind_from_deg=0.0)
    write_burn_sheets(worked_out(store, request, steps=steps), targets=[folder / "burn.html"], now=NOW, steps=steps)
    steps.end()


def contracted() -> FakeStore:
    """Return a property with one contract item and its work."""
    item = {"program": "P", "item": "1", "practice_code": "314", "units": ["A"], "not_before": "2025-01-01"}
    ground = box(0, 0, 100, 100)
    return FakeStore(
        [unit("A", ground), entry("cut", "2025-03-01", ground, killed_pct=95.0)],
        settings=Settings.model_validate({"contract": [item]}),
        grid=GRID,
    )


JOBS: dict[str, tuple[Callable[..., Any], tuple[str, ...]]] = {
    "map": (
        lambda store, folder, told: draw_map(store, target=folder / "map.html", now=NOW, progress=told),
        ("ground", "terrain", "relief", "order of work", "photos", "what came up", "next bite", "page", ""),
    ),
    "sheet": (
        lambda store, folder, told: write_sheet(
            store, target=folder / "sheet.pdf", folder=folder, now=NOW, audience="public", progress=told
        ),
        ("ground", "terrain", "relief", "order of work", "drawing", ""),
    ),
    "handout": (
        lambda store, folder, told: write_handout(
            store, target=folder / "handout.pdf", folder=folder, now=NOW, today=TODAY, audience="public", progress=told
        ),
        (
            "ground", "terrain", "relief", "order of work", "what is due", "photos", "hours and season", "drawing", "",
        ),
    ),
    "demo": (
        lambda store, folder, told: demo(folder / "sample", now=NOW, today=TODAY, progress=told),
        ("layers", "the log and tables", "photos", "account", "map", "sheet", "handout", ""),
    ),
    "packet": (
        lambda store, folder, told: export_packet(
            contracted(), item="1", target=folder / "packet.pdf", now=NOW, progress=told
        ),
        ("work of the item", "photos", "drawing", ""),
    ),
    "burn sheet": (burn_sheets, (*BURN_STEPS, *SHEET_STEPS, "")),
}  # fmt: skip


@pytest.mark.parametrize("name", JOBS)
def test_a_paper_tells_each_step_once_and_ends_at_all(demo_place: Path, tmp_path: Path, name: str) -> None:
    job, names = JOBS[name]
    told: list[Share] = []
    job(GeoPackageStore.open(demo_place), tmp_path, told.append)
    assert tuple(dict.fromkeys(share.what for share in told)) == names
    shares = [share.done_frac for share in told]
    assert shares == sorted(shares)
    assert {share.count for share in told} == {len(names) - 1}
    assert [share.done for share in told if share.within is None] == list(range(len(names)))
    assert told[-1].done_frac == 1.0
    if "terrain" in names:  # it counts its tiles
        tiles = [share.within for share in told if share.what == "terrain" and share.within is not None]
        assert tiles
        assert tiles[-1].done == tiles[-1].count


def test_a_table_counts_its_rows_before_it_is_written(demo_place: Path) -> None:
    store, table = GeoPackageStore.open(demo_place), sample_layers_folder() / "entries.csv"
    rows = len(list(csv.reader(table.read_text(encoding="utf-8").splitlines()))) - 1
    told: list[Share] = []
    load_entries(store, path=table, today=TODAY, now=NOW, progress=told.append)
    counts = [share.within.done for share in told if share.within is not None]
    assert counts == list(range(1, rows + 1))
    assert [share.what for share in told if share.within is None] == ["reading", "writing", ""]
    assert {share.within.count for share in told if share.within is not None} == {rows}


def test_a_forecast_counts_its_rows_a_boundary_and_a_raster_tell_their_steps(demo_place: Path, tmp_path: Path) -> None:
    place = Path(shutil.copytree(demo_place, tmp_path / "place"))
    store, layers = GeoPackageStore.open(place), sample_layers_folder()
    hourly: list[Share] = []
    load_forecast(store, path=layers / "forecast.csv", now=NOW, progress=hourly.append)
    hours = len(layers.joinpath("forecast.csv").read_text(encoding="utf-8").splitlines()) - 1
    assert [share.within.done for share in hourly if share.within is not None] == list(range(1, hours + 1))
    outer: list[Share] = []
    outline = tmp_path / "outer.geojson"
    outline.write_text(shapely.to_geojson(box(-97.2, 36.0, -97.0, 36.2)), encoding="utf-8")
    load_boundary(store, path=outline, now=NOW, overwrite=True, progress=outer.append)
    assert [share.what for share in outer] == ["reading", "writing", ""]
    heights, copied = tmp_path / "high.tif", tmp_path / "other"
    heights.write_bytes(layers.joinpath("elevation.tif").read_bytes() + bytes(9 * 2**20))  # what follows is not read
    told: list[Share] = []
    load_dem(store, path=heights, now=NOW, copy_into=copied, overwrite=True, progress=told.append)
    assert list(dict.fromkeys(share.what for share in told)) == ["reading", "copying", "writing", ""]
    done = [share.within.done for share in told if share.within is not None]
    assert done == sorted(done) and done[0] < done[-1] == told[1 + len(done)].within.count  # type: ignore[union-attr]
    (copy,) = copied.rglob("high.tif")
    assert copy.read_bytes() == heights.read_bytes()


@pytest.mark.parametrize("what", ["ledger", "units", "gpx", "revisits", "practices"])
def test_an_export_tells_its_steps_to_whoever_asks_for_lines(
    what: str, demo_place: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, run_habmap: Callable[..., Any]
) -> None:
    monkeypatch.setenv(PROGRESS_LINES, "1")
    ending = {"ledger": "csv", "units": "geojson", "practices": "csv"}.get(what, "gpx")
    year = ["--program-year", "2026"] if what == "practices" else []
    done = run_habmap("export", what, "-o", tmp_path / f"out.{ending}", *year, place=demo_place)
    assert done.code == 0, done.err
    told = [share for line in done.err.split("\n") if (share := read_share(line)) is not None]
    assert [share.done for share in told] == [0, 1, 2]
    assert told[-1].done_frac == 1.0


def test_of_very_many_parts_not_each_is_told() -> None:
    told: list[Share] = []
    assert list(counted(range(1_001), told.append, what="rows")) == list(range(1_001))
    assert len(told) <= 202
    assert told[-1].done == 1_001


def test_terrain_counts_tiles_that_are_done(demo_place: Path) -> None:
    told: list[Share] = []
    terrain(GeoPackageStore.open(demo_place), progress=told.append)
    assert [share.done for share in told] == sorted(share.done for share in told)
    assert told[0].done < told[-1].done == told[-1].count
    assert {share.what for share in told} == {"tiles of elevation"}


def test_steps_only_rise_whatever_a_job_within_begins_again() -> None:
    told: list[Share] = []
    steps = Steps(told.append, "ground", "terrain", "page")
    for name in ("ground", "terrain"):
        steps.begin(name)
    for done in (1, 2, 0, 2):  # another pass over the same ground starts from nothing
        steps.within(Share(done=done, count=2, what="tiles"))
    for name in ("ground", "terrain", "page"):
        steps.begin(name)
    steps.end()
    assert [progress_words(share) for share in told] == [
        "step 1 of 3: ground",
        "step 2 of 3: terrain",
        "step 2 of 3: terrain, 1 of 2 tiles",
        "step 2 of 3: terrain, 2 of 2 tiles",
        "step 2 of 3: terrain, 2 of 2 tiles",
        "step 3 of 3: page",
        "all steps done",
    ]
    assert [read_share(share.line()) for share in told] == told
    with pytest.raises(ValueError, match="tuple"):
        steps.begin("a step that nobody counted")


def test_a_line_that_is_not_of_progress_is_left_to_people() -> None:
    for line in ("warning: 3 of 5", "", Share(done=1, count=2, what="photos").line()[:9]):
        assert read_share(line) is None


def test_time_left_comes_of_the_pace_alone() -> None:
    pace = Pace()
    assert pace.left_s(0.0) is None  # nothing was told
    for done, at in ((1, 10.0), (2, 12.0), (3, 14.0)):
        pace.tell(Share(done=done, count=11, what="photos"), at)
        assert pace.left_s(at) is None  # too few to tell a pace
    pace.tell(Share(done=5, count=11, what="photos"), 18.0)
    assert pace.left_s(18.0) == 12.0  # 4 in 8 s, 6 are left
    assert pace.left_s(20.0) == 10.0
    assert pace.left_s(31.0) is None  # it should be over by its pace, and is not
    pace.tell(Share(done=11, count=11, what="photos"), 32.0)
    assert pace.left_s(32.0) is None
    assert left_words(None, is_step=False) == ""
    assert left_words(8.4, is_step=False) == "about 8 seconds left"
    assert left_words(180.0, is_step=True) == "about 3 minutes left in this step"


def test_named_steps_are_not_alike_and_tell_no_time() -> None:
    pace = Pace()
    for done in range(6):
        pace.tell(Share(done=done, count=8, what=f"step {done}", is_step=True), done * 10.0)
        assert pace.left_s(done * 10.0) is None
    for done in range(6):  # tiles within a step are counted anew
        tiles = Share(done=done, count=8, what="tiles")
        pace.tell(Share(done=6, count=8, what="terrain", is_step=True, within=tiles), 100.0 + done)
    assert pace.left_s(105.0) == 3.0
