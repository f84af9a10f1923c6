"""Places made for the tests of the page: squares in rows, as many as are asked for, straight into a store."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from fakes import entry, unit
from shapely import box

from habmap.jobs.map import draw_map
from habmap.place.store import GeoPackageStore
from habmap.records import Row
from habmap.vocabulary import Audience

NOW = datetime(2026, 8, 1, 12, tzinfo=UTC)
HOSTILE = '<img src=x onerror="document.title=1;alert(1)">'
HOSTILE_NAMES = (HOSTILE, "</script><script>alert(2)</script>", "שדה \u202eארז 🌲", "N" * 300)
_SIDE_M = 200.0


def squares(folder: Path, names: Sequence[str], *, place: str = "Squares", worked: int = 0) -> GeoPackageStore:
    """Make a place of square units side by side; the first ``worked`` of them have been cut, a strip each."""
    across = max(2, round(len(names) ** 0.5))
    rows: list[Row] = []
    for number, name in enumerate(names):
        x, y = (number % across) * _SIDE_M, (number // across) * _SIDE_M
        rows.append(unit(f"U{number:03d}", box(x, y, x + _SIDE_M - 10, y + _SIDE_M - 10), name=name))
        if number < worked:
            strip = box(x + 10, y + 10, x + 20 + number % 90, y + 150)
            rows.append(entry("cut", date(2025, 1, 1) + timedelta(days=number), strip))
    store = GeoPackageStore.create(folder, place)
    if rows:
        store.append(rows)
    return store


def drawn(store: GeoPackageStore, target: Path, *, audience: Audience = "owner") -> Path:
    """Draw the map of a place."""
    draw_map(store, target=target, now=NOW, audience=audience, overwrite=True)
    return target
