"""Time the next bite on a property of 300 acres, beside the order of work on the same property.

Prints seconds of processor time (a busy machine does not spoil them) and the ratio of the bite to the order of work,
which it asks first and goes by. The project holds a bite within 2 s on 300 acres; what a command costs before it begins
to work (Python, its libraries) is told by ``python3 -c "import geopandas"`` and not in these figures.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, date, datetime

import numpy as np
from shapely import MultiPolygon, Polygon

from habmap.jobs.bite import bite
from habmap.jobs.rank import rank
from habmap.jobs.snapshot import snapshot
from habmap.land.grid import LocalGrid
from habmap.measures import m2
from habmap.place.settings import Settings
from habmap.records import Entry, Unit

GRID = LocalGrid(38.0, -98.0)
TODAY = date(2026, 8, 1)
START = datetime(2024, 1, 1, tzinfo=UTC)
#: Six units of fifty acres each, walked: a corner every few meters, a little off.
UNITS, UNIT_ACRES, CORNERS = 6, 50.0, 500


def walked_stand(number: int) -> Polygon:
    """Return a ragged stand of fifty acres in its place in the row of stands [m]."""
    rng = np.random.default_rng(number)
    turns = np.linspace(0, 2 * np.pi, CORNERS, endpoint=False)
    reach = 1 + 0.15 * np.sin(3 * turns + number) + 0.05 * np.sin(11 * turns) + 0.004 * rng.standard_normal(CORNERS)
    size = (m2(UNIT_ACRES) / np.pi) ** 0.5
    middle = 2.6 * size * number
    return Polygon(np.column_stack([middle + size * reach * np.cos(turns), size * reach * np.sin(turns)]))


class ListStore:
    """Just enough of a store to time a bite without the disk."""

    place_id = "bench"

    def __init__(self) -> None:
        self.settings = Settings()
        self.grid = GRID
        shapes = [walked_stand(number) for number in range(UNITS)]
        self._units = tuple(
            Unit(
                uuid=f"u{number}", unit_id=f"C{number}", name="", cover="cedar",
                geometry=GRID.to_lonlat(MultiPolygon([shape])), stems_per_acre=300.0 + number, recorded_at=START,
            )
            for number, shape in enumerate(shapes)
        )  # fmt: skip
        self._entries = tuple(
            Entry(
                entry_id=f"e{number}", recorded_at=START, practice="cut", date=date(2026, 1, 10),
                patch=GRID.to_lonlat(MultiPolygon([shape.intersection(shape.centroid.buffer(120))])),
            )
            for number, shape in enumerate(shapes)
        )  # fmt: skip

    def held(self) -> ListStore:
        """Return itself: it holds what it reads."""
        return self

    def units(self, on: date | None = None) -> tuple[Unit, ...]:
        """Return the six stands."""
        return self._units

    def unit_versions(self) -> tuple[Unit, ...]:
        """Return the six stands."""
        return self._units

    def entries(self) -> tuple[Entry, ...]:
        """Return one cut in the middle of each."""
        return self._entries

    def features(self) -> tuple[()]:
        """Return nothing."""
        return ()

    def plots(self) -> tuple[()]:
        """Return nothing."""
        return ()

    def elevation(self) -> None:
        """Return nothing."""

    def canopy(self) -> None:
        """Return nothing."""


def took_s(job: Callable[[], object]) -> float:
    """Return the processor time of a job [s]."""
    before = time.process_time()
    job()
    return time.process_time() - before


def main() -> None:
    """Print the times and their ratio."""
    property_ = snapshot(ListStore())  # type: ignore[arg-type]
    order_s = took_s(lambda: rank(property_, today=TODAY))
    print(f"{UNITS * UNIT_ACRES:.0f} acres, {UNITS} stands of {CORNERS} corners")
    print(f"order of work       {order_s:6.2f} s")
    for acres in (1.0, 2.0, 10.0):
        bite_s = took_s(lambda acres=acres: bite(property_, acres=acres, today=TODAY))  # type: ignore[misc]
        print(f"bite of {acres:4.0f} acres {bite_s:9.2f} s, {bite_s / order_s:6.2f} of the order of work")


if __name__ == "__main__":
    main()
