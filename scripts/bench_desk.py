"""Time the desk: from its start to the first page, and its rooms on a large property when they are warm.

Prints seconds and ratios. The start is held against ``import geopandas`` in a process of its own (at most 2 times it).
On 300 units under 3,000 patches, without elevation, each room's server time and the way from a line of the log to the
renewed map stand beside the time of `habmap.acres` on the same property, worked out anew (the goals on a quiet machine:
any room in 0.3 s, from log to map in 1.5 s). All times are of the wall clock: let the machine be quiet.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from urllib.parse import urlsplit

TOP = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TOP / "tests"), str(TOP / "scripts")]

import desk_process  # noqa: E402
from bench_ledger import bench_entries, bench_units  # noqa: E402
from desk_process import Running, start_desk  # noqa: E402

desk_process.PATIENCE_S = 300.0  # a busy machine takes long for the first map of a large property

HABMAP = [str(Path(sys.executable).with_name("habmap"))]
ROOMS = (
    "week", "log?practice=cut", "units", "history", "check", "settings", "papers", "grown", "burn", "map", "season",
    "load", "manual", "lead",
)  # fmt: skip


def timed(work: Callable[[], object]) -> float:
    """Return how long something took [s]."""
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def time_start(folder: Path, *, repeats: int) -> None:
    """Print how long the desk takes from its start to its first page, and to the first room of a property."""
    python = [sys.executable, "-c", "import geopandas"]
    import_s = min(timed(lambda: subprocess.run(python, check=True)) for _ in range(repeats))
    print(f"import geopandas          {import_s:6.2f} s")
    for name, place in (("first page", None), ("first room", folder)):
        spent_s = []
        for _ in range(repeats):
            with tempfile.TemporaryDirectory() as home:
                began = time.perf_counter()
                desk = start_desk(HABMAP, Path(home), place=place).enter()
                if place is not None:  # a page says meanwhile that the desk is being set up
                    desk.get(urlsplit(desk.address).path)
                spent_s.append(time.perf_counter() - began)
                desk.stop()
        ratio = f"{min(spent_s) / import_s:5.2f} × import geopandas"
        print(f"{name:<25} {min(spent_s):6.2f} s  {ratio}", flush=True)


def make_place(folder: Path, *, units: int, patches: int) -> None:
    """Make a property of square units under a log of blobs."""
    from habmap.place.store import GeoPackageStore

    store = GeoPackageStore.create(folder, "Bench")
    store.append([*bench_units()[:units], *bench_entries(patches)])


def time_rooms(folder: Path, *, repeats: int) -> None:
    """Print each room's time when it is warm, and from a logged line to the renewed map."""
    import habmap
    from habmap.memory import forget

    def anew() -> None:
        forget()  # what this process remembers of the time before
        habmap.acres(habmap.open_place(folder))

    acres_s = min(timed(anew) for _ in range(repeats))
    print(f"acres, worked out anew    {acres_s:6.2f} s")
    with tempfile.TemporaryDirectory() as home:
        desk = start_desk(HABMAP, Path(home), place=folder).enter()
        key = re.findall(r'href="/([0-9a-f]{10})/', desk.get("/").text)[0]
        for room in ROOMS:
            assert desk.get(f"/{key}/{room}").status == 200, room
            room_s = min(timed(lambda room=room: desk.get(f"/{key}/{room}")) for _ in range(repeats))  # type: ignore[misc]
            print(f"{room:<25} {room_s:6.2f} s  {room_s / acres_s:5.2f} × acres", flush=True)
        spent_s = [time_log_to_map(desk, key, number) for number in range(repeats)]
        print(f"{'log to renewed map':<25} {min(spent_s):6.2f} s  {min(spent_s) / acres_s:5.2f} × acres", flush=True)
        desk.stop()


def time_log_to_map(desk: Running, key: str, number: int) -> float:
    """Return how long it takes from saving a line that was looked at until the map shows it [s]."""
    said = {"practice": "mow", "date": f"2026-07-{number + 1:02d}", "unit": "00-00", "whole": "yes"}
    look = desk.post(f"/{key}/log/preview", said)
    sent = {name: re.findall(rf'name="{name}" value="([^"]+)"', look.text)[-1] for name in ("draft", "once")}

    def save_and_see() -> None:
        assert desk.post(f"/{key}/log/save", sent).status == 303
        assert desk.get(f"/{key}/map").status == 200

    return timed(save_and_see)


def main() -> None:
    """Run the benchmark and print its figures."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--units", type=int, default=300)
    options.add_argument("--patches", type=int, default=3_000)
    options.add_argument("--repeats", type=int, default=3)
    chosen, _ = options.parse_known_args()  # `dev.py bench` gives every benchmark the same words
    with tempfile.TemporaryDirectory() as top:
        folder = Path(top) / "place"
        make_place(folder, units=chosen.units, patches=chosen.patches)
        small = Path(top) / "small"
        make_place(small, units=20, patches=60)
        time_start(small, repeats=chosen.repeats)
        time_rooms(folder, repeats=chosen.repeats)


if __name__ == "__main__":
    main()
