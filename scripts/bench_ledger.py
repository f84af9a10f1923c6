"""Time the acre account as the log grows: 500 units, at most six patches over any point.

Prints seconds of processor time (a busy machine does not spoil them) and ratios for 5,000, 10,000 and 20,000 patches.
The growth factor is how much longer twice the patches take, over 2: 1.0 is linear, and the project holds it at 1.3 or
less. It also times one more line being logged.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from habmap.jobs.acres import acres
from habmap.land.grid import LocalGrid
from habmap.place.settings import Settings
from habmap.records import Entry, Row, Unit

GRID = LocalGrid(38.0, -98.0)
UNITS_ACROSS, UNITS_UP = 25, 20
UNIT_M = 200.0
MAX_OVER_A_POINT = 6
CORNERS = 24
PRACTICES = ("cut", "cut", "burn", "pile", "pile_burn", "mow")
START = datetime(2024, 1, 1, tzinfo=UTC)


class ListStore:
    """Just enough of a store to time the account without the disk."""

    place_id = "bench"

    def __init__(self, units: list[Unit], entries: list[Entry]) -> None:
        self.settings = Settings()
        self.grid = GRID
        self._units = tuple(units)
        self._entries = tuple(entries)

    def units(self, on: date | None = None) -> tuple[Unit, ...]:
        return self._units

    def entries(self) -> tuple[Entry, ...]:
        return self._entries


def bench_units() -> list[Unit]:
    """Return 500 square units of about ten acres, edge to edge."""
    return [
        Unit(
            uuid=f"u{x}-{y}",
            unit_id=f"{x:02d}-{y:02d}",
            name="",
            cover="cedar",
            geometry=GRID.to_lonlat(
                MultiPolygon([shapely.box(x * UNIT_M, y * UNIT_M, (x + 1) * UNIT_M, (y + 1) * UNIT_M)])
            ),
            recorded_at=START,
        )
        for x in range(UNITS_ACROSS)
        for y in range(UNITS_UP)
    ]


def bench_entries(count: int, *, seed: int = 7) -> list[Entry]:
    """Return ``count`` lines on blobs that lie in jittered layers, so that no point is under more than six."""
    rng = np.random.default_rng(seed)
    per_layer = -(-count // MAX_OVER_A_POINT)
    width_m, height_m = UNITS_ACROSS * UNIT_M, UNITS_UP * UNIT_M
    cell_m = (width_m * height_m / per_layer) ** 0.5
    across = int(width_m // cell_m) + 1
    turns = np.linspace(0, 2 * np.pi, CORNERS, endpoint=False)
    entries = []
    for number in range(count):
        layer, slot = divmod(number, per_layer)
        shift_m = cell_m * layer / MAX_OVER_A_POINT
        x = (slot % across + 0.5) * cell_m + shift_m
        y = (slot // across + 0.5) * cell_m + shift_m
        radius_m = cell_m / 2 * rng.uniform(0.6, 1.0, CORNERS)  # within its own cell of its own layer
        blob = Polygon(np.column_stack([x + radius_m * np.cos(turns), y + radius_m * np.sin(turns)]))
        entries.append(
            Entry(
                entry_id=f"e{number:06d}",
                recorded_at=START + timedelta(minutes=number),
                practice=PRACTICES[layer],
                date=date(2024, 1, 1) + timedelta(days=60 * layer + slot % 50),
                patch=GRID.to_lonlat(MultiPolygon([blob])),
                killed_pct=float(rng.integers(4, 11) * 10) if PRACTICES[layer] == "cut" else None,
            )
        )
    return entries


def time_accounts(counts: list[int], *, repeats: int) -> list[float]:
    """Return the best of ``repeats`` times [s] for an account with each count of patches."""
    units = bench_units()
    times_s: list[float] = []
    for count in counts:
        store = ListStore(units, bench_entries(count))
        best_s = float("inf")
        for _ in range(repeats):
            began = time.process_time()
            result = acres(store)  # type: ignore[arg-type]
            best_s = min(best_s, time.process_time() - began)
        ratio = f"  {best_s / times_s[-1] / 2:5.2f} × linear" if times_s else ""
        print(f"{count:7,} patches  {best_s:7.2f} s{ratio}   closure {result.closure_m2:.1e} m²", flush=True)
        times_s.append(best_s)
    return times_s


def time_logging(counts: list[int]) -> list[float]:
    """Return the median time [s] that `habmap log` takes to add one line to a place that already holds each count."""
    from habmap.jobs.log import add_entry
    from habmap.place.store import GeoPackageStore

    times_s: list[float] = []
    for count in counts:
        with tempfile.TemporaryDirectory() as folder:
            store = GeoPackageStore.create(Path(folder) / "place", "Bench")
            entries = bench_entries(count + 20)
            rows: list[Row] = [*bench_units(), *entries[:count]]
            store.append(rows)
            spent_s = []
            for later, entry in enumerate(entries[count:]):
                # A day of its own, as new work has: lines of one day are compared with each other.
                line = replace(entry, date=date(2026, 1, 1) + timedelta(days=later))
                began = time.perf_counter()
                add_entry(store, line, today=date(2026, 12, 31), agree=lambda words: True)
                spent_s.append(time.perf_counter() - began)
            times_s.append(float(np.median(spent_s)))
            ratio = f"  {times_s[-1] / times_s[0]:5.2f} × the first" if len(times_s) > 1 else ""
            print(f"one more line after {count:7,}  {1000 * times_s[-1]:7.1f} ms{ratio}", flush=True)
    return times_s


def main() -> None:
    """Run the benchmark and print its figures."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--counts", type=int, nargs="+", default=[5_000, 10_000, 20_000])
    options.add_argument("--repeats", type=int, default=3)
    chosen = options.parse_args()
    time_accounts(chosen.counts, repeats=chosen.repeats)
    time_logging(chosen.counts)


if __name__ == "__main__":
    main()
