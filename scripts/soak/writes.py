"""Commands that write, and what must hold of a property whatever cut them off: before or after, never between."""

from __future__ import annotations

import os
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from soak.law import run_words
from soak.property import LAT, LON, MORE_ENTRIES, STEP, geojson, gpx, picture, square, valid_files

#: Own files of a property that hold words of a person; pictures and walks are named by rows and lines.
SETTINGS, STORE = "habmap.toml", "place.gpkg"


@dataclass(frozen=True, slots=True)
class Write:
    """One command that writes: its words after ``--place DIR``, files beside it, and what it writes for others."""

    name: str
    words: tuple[str, ...]
    files: Mapping[str, bytes] = field(default_factory=dict)
    output: str | None = None


def writes() -> tuple[Write, ...]:
    """Return every command that writes rows, and those that write files for others."""
    files = valid_files()
    more = {
        "photos/two.jpg": picture(90),
        "photos/photos.csv": b"file,lon,lat,taken_at,private\ntwo.jpg,-97.9995,38.0005,2025-09-15,no\n",
    }
    across = [[LON + 2.5 * STEP, LAT - STEP], [LON + 2.5 * STEP, LAT + 2 * STEP]]
    line = {"line.geojson": geojson(("LineString", across, {}))}
    redrawn = {"r.geojson": geojson(("Polygon", square(0, 0, 0.9), {}))}
    return (
        Write("log", ("log", "cut", "--date", "2026-04-02", "--unit", "B", "--whole")),
        Write("log a burn", ("log", "burn", "--date", "2026-04-02", "--unit", "A", "--whole", "--temp-f", "60", "--observed-time", "10:00")),
        Write("log a walk", ("log", "cut", "--track", "t.gpx"), {"t.gpx": gpx(column=1)}),
        Write("correct", ("correct", "1", "--why", "x", "--killed-pct", "50", "--yes")),
        Write("void", ("void", "1", "--why", "x", "--yes")),
        Write("load units", ("load", "units", "u.geojson"), {"u.geojson": files["load units"]["u.geojson"]}),
        Write("load entries", ("load", "entries", "e.csv"), {"e.csv": MORE_ENTRIES}),
        Write("load plots", ("load", "plots", "p.csv"), {"p.csv": files["load plots"]["p.csv"].replace(b"\np", b"\nq")}),
        Write("load forecast", ("load", "forecast", "w.csv"), {"w.csv": files["load forecast"]["w.csv"].replace(b"2026-03-06", b"2026-03-07")}),
        Write("load photos", ("load", "photos", "photos"), more),
        Write("load boundary", ("load", "boundary", "b.geojson", "--overwrite"), {"b.geojson": geojson(("Polygon", square(-0.3, -0.5, 4.5), {}))}),
        Write("load dem", ("load", "dem", "d.tif", "--copy", "--overwrite"), {"d.tif": files["load dem"]["d.tif"]}),
        Write("load block", ("load", "block", "k.geojson", "--name", "new"), {"k.geojson": redrawn["r.geojson"]}),
        Write("trace", ("trace", "t.gpx", "--unit-id", "W", "--cover", "cedar"), {"t.gpx": gpx(column=4)}),
        Write("unit redraw", ("unit", "redraw", "C", "r.geojson", "--trim"), {"r.geojson": geojson(("Polygon", square(2, 0, 0.9), {}))}),
        Write("unit split", ("unit", "split", "C", "--by", "line.geojson"), line),
        Write("unit retire", ("unit", "retire", "C")),
        Write("feature void", ("feature", "void", "lane", "--why", "x")),
        Write("map", ("map", "-o", "m.html"), output="m.html"),
        Write("export ledger", ("export", "ledger", "-o", "l.csv"), output="l.csv"),
        Write("export units", ("export", "units", "-o", "u.gpkg"), output="u.gpkg"),
        Write("sheet", ("sheet", "-o", "s.pdf"), output="s.pdf"),
    )  # fmt: skip


def laid_out(template: Path, folder: Path, write: Write) -> tuple[Path, Path]:
    """Copy the property and put a command's files beside it; return the place and the folder of work."""
    shutil.rmtree(folder, ignore_errors=True)
    place, work = folder / "place", folder / "work"
    shutil.copytree(template, place)
    work.mkdir()
    for name, content in write.files.items():
        (work / name).parent.mkdir(parents=True, exist_ok=True)
        (work / name).write_bytes(content)
    return place, work


def row_count(place: Path) -> int:
    """Return how many rows a property holds."""
    from habmap.place.store import GeoPackageStore

    return len(GeoPackageStore.open(place).rows())


def broken(place: Path, *, before: int, after: int, is_told: bool, settings: Sequence[bytes]) -> str | None:
    """Say what is wrong with a property after a write was cut off, if anything.

    Parameters
    ----------
    before, after
        How many rows there were, and are once the write is whole.
    is_told
        Whether a person was told that it was done.
    settings
        The texts that the settings may have.
    """
    from habmap.errors import HabmapError
    from habmap.place.store import GeoPackageStore

    try:
        store = GeoPackageStore.open(place)
        rows = store.rows()
        faults = store.storage_faults()
    except HabmapError as error:
        return f"it does not open: {error}"
    if len(rows) not in (before, after):
        return f"{len(rows)} rows, where there were {before} and should be {after}"
    if is_told and len(rows) != after:
        return f"what was acknowledged is not there: {len(rows)} rows of {after}"
    if faults:
        return f"its file has faults: {faults}"
    if (place / SETTINGS).read_bytes() not in settings:
        return "the settings are neither as before nor as after"
    for row in rows:
        picture = getattr(row, "picture", None)
        if isinstance(picture, str) and store.picture(picture) is None:
            return f"a photo's picture is not there: {picture}"
    checked = run_words(["--place", str(place), "check"])
    if checked.code != 0:
        return f"check ended with {checked.code}: {(checked.out + checked.err)[:600]}"
    return None


def half_written(work: Path, write: Write, whole: bytes) -> str | None:
    """Say whether a file for others is there and not whole."""
    if write.output is None or not (work / write.output).exists():
        return None
    size = os.path.getsize(work / write.output)  # noqa: PTH202 - one number
    return f"{write.output} is there with {size:,} bytes of {len(whole):,}" if size < 0.9 * len(whole) else None
