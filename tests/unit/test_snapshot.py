"""A property is read once for an answer, its ground cut once, its terrain summed once; and nothing old is told."""

from __future__ import annotations

import shutil
from collections import Counter
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from fakes import GRID, FakeStore, entry, unit
from shapely import Point, box

import habmap.jobs.ground
import habmap.jobs.map
import habmap.place.connection
import habmap.place.contents
import habmap.work.order_of_work
from habmap.cli.main import run
from habmap.errors import PlaceError
from habmap.jobs.acres import acres
from habmap.jobs.density import density
from habmap.jobs.effort import effort
from habmap.jobs.ground import ground
from habmap.jobs.public import public_view
from habmap.jobs.rank import rank
from habmap.jobs.snapshot import Snapshot, snapshot
from habmap.jobs.terrain import remaining_outlines, terrain, terrain_of_remaining, terrain_sums, unit_outlines
from habmap.place.elevation import Elevation
from habmap.place.store import GeoPackageStore
from habmap.records import Feature, Photo

TODAY = date(2026, 8, 1)


@pytest.fixture
def place(demo_place: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(demo_place, tmp_path / "sample"))


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """What is done from now on: connections, tables made into records, cuts, sums over the raster, orders of work."""
    found: Counter[str] = Counter()

    def count(module: object, name: str, what: str) -> None:
        done = getattr(module, name)

        def counting(*args: object, **kwargs: object) -> object:
            found[what] += 1
            return done(*args, **kwargs)

        monkeypatch.setattr(module, name, counting)

    count(habmap.place.connection, "connect", "connections")
    count(habmap.place.contents, "select", "tables read")
    count(habmap.jobs.ground, "cut_ground", "cuts")
    count(Elevation, "zone_tables", "terrain sums")
    count(habmap.work.order_of_work, "rank_units", "orders")
    # the next bite on the map looks at the ground of each place that it tries, which is no unit's
    monkeypatch.setattr(habmap.jobs.map, "next_bite", lambda *_args, **_kwargs: None)
    return found


@pytest.mark.parametrize(
    ("command", "cuts", "sums", "orders"),
    [
        ("handout --overwrite", 1, 1, 1),
        ("sheet --overwrite", 1, 1, 1),
        ("map --overwrite", 1, 1, 1),
        ("rank", 1, 1, 1),
        ("effort", 1, 1, 0),
        ("due", 1, 0, 0),
        ("schedule --from 2026-11-01 --to 2027-02-28 --hours-per-week 20", 1, 2, 1),
    ],
)
def test_an_answer_reads_cuts_and_sums_once(
    place: Path, counted: Counter[str], command: str, cuts: int, sums: int, orders: int
) -> None:
    with pytest.raises(SystemExit) as end:
        run(["--place", str(place), *command.split()])
    assert end.value.code == 0
    # one look at what the file is, and one reading of all tables
    assert counted["connections"] == 2
    assert counted["tables read"] == len(habmap.place.contents.TABLES)
    assert (counted["cuts"], counted["terrain sums"], counted["orders"]) == (cuts, sums, orders)


def test_a_line_of_the_log_reads_once_and_writes_once(place: Path, counted: Counter[str]) -> None:
    before = len(GeoPackageStore.open(place).entries())
    counted.clear()
    with pytest.raises(SystemExit) as end:
        run(["--place", str(place), "log", "checkup", "--unit", "C1", "--whole", "--date", "2026-07-30",
             "--live-stems-per-acre", "3"])  # fmt: skip
    assert end.value.code == 0
    assert counted["connections"] == 3  # what the file is, the reading, the write
    assert len(GeoPackageStore.open(place).entries()) == before + 1


def test_a_snapshot_gives_the_figures_of_the_store(place: Path) -> None:
    store = GeoPackageStore.open(place)
    kept = snapshot(store)
    for on in (None, date(2025, 6, 30)):
        assert acres(kept, on=on) == acres(store, on=on)
        assert density(kept, on=on) == density(store, on=on)
        assert terrain(kept, on=on) == terrain(store, on=on)
        assert rank(kept, on=on, today=TODAY) == rank(store, on=on, today=TODAY)
        assert effort(kept, on=on, today=TODAY) == effort(store, on=on, today=TODAY)
    for name in ("units", "unit_versions", "features", "boundary", "entries", "plots", "plot_rows", "elevation",
                 "canopy", "forecasts", "burns", "drawn_blocks", "photos", "sightings", "cover_frames", "rows",
                 "last_recorded"):  # fmt: skip
        assert getattr(kept, name)() == getattr(store, name)(), name
    assert kept.grid == store.grid and kept.settings == store.settings and kept.place_id == store.place_id


def test_terrain_summed_in_one_pass_for_several_is_that_of_each_alone(place: Path) -> None:
    alone = GeoPackageStore.open(place)
    together = snapshot(alone)
    whole, left = unit_outlines(together), remaining_outlines(together)
    far = [outline.buffer(300) for outline in whole.values()]  # reaches farther than either
    terrain_sums(together, far, whole.values(), left.values())
    assert terrain(together) == terrain(alone)
    assert terrain_of_remaining(together) == terrain_of_remaining(alone)


def test_a_write_drops_what_was_kept() -> None:
    store = FakeStore([unit("A1", box(0, 0, 100, 100))], grid=GRID)
    kept = snapshot(store)
    assert acres(kept).totals.treated_acres == 0
    assert snapshot(kept) is kept
    kept.append([entry("cut", "2026-01-05", box(0, 0, 100, 100))])
    assert len(kept.entries()) == 1
    assert acres(kept).totals.treated_acres == pytest.approx(100 * 100 / 4046.8564224)


def test_what_others_write_does_not_change_an_answer_halfway(place: Path) -> None:
    kept = snapshot(GeoPackageStore.open(place))
    before = kept.entries()
    GeoPackageStore.open(place).append([entry("mow", "2026-07-01", box(0, 0, 10, 10))])
    assert kept.entries() == before
    assert len(kept.rows()) + 1 == len(GeoPackageStore.open(place).rows())


def test_the_same_ground_on_two_days_is_cut_once(counted: Counter[str]) -> None:
    kept = snapshot(FakeStore([unit("A1", box(0, 0, 9, 9)), entry("cut", "2026-01-05", box(0, 0, 9, 4))], grid=GRID))
    newest, later, earlier = ground(kept), ground(kept, on=date(2026, 3, 1)), ground(kept, on=date(2025, 3, 1))
    assert (newest.on, later.on, earlier.on) == (date(2026, 1, 5), date(2026, 3, 1), date(2025, 3, 1))
    assert newest.pieces == later.pieces != earlier.pieces
    assert counted["cuts"] == 2


def test_the_public_view_of_a_snapshot_is_read_once_and_tells_no_more() -> None:
    nest = Feature(
        uuid="nest", kind="nest", name="N", sensitive=True, geometry=GRID.to_lonlat(Point(50, 50)),
        recorded_at=datetime(2025, 1, 1, tzinfo=UTC),
    )  # fmt: skip
    store = FakeStore(
        [unit("A1", box(0, 0, 100, 100)), nest, entry("cut", "2026-01-05", box(0, 0, 100, 50))], grid=GRID
    )
    kept = snapshot(store)
    seen = public_view(kept)
    assert isinstance(seen, Snapshot)
    assert public_view(kept) is seen is public_view(seen)
    assert seen.features() == () and len(kept.features()) == 1
    assert [line.patch for line in seen.entries()] == [line.patch for line in public_view(store).entries()]
    assert acres(seen) == acres(public_view(store))
    assert seen.rows() == ()


def test_a_damaged_table_stops_only_who_asks_for_it(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    read = habmap.place.contents.select

    def damaged(connection: object, table: object, rest: str, values: object) -> object:
        if table.record is Photo:  # type: ignore[attr-defined]
            raise PlaceError("a table is damaged", where="photos", mend="restore it")
        return read(connection, table, rest, values)  # type: ignore[arg-type]

    monkeypatch.setattr(habmap.place.contents, "select", damaged)
    kept = snapshot(GeoPackageStore.open(place))
    assert acres(kept).totals.acres > 0
    with pytest.raises(PlaceError, match="a table is damaged"):
        kept.photos()
