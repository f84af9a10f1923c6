"""The main job, end to end, on the invented sample property."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Final

from habmap.jobs.acres import acres
from habmap.jobs.handout import write_handout
from habmap.jobs.load.layers import load_boundary, load_dem, load_features, load_photos, load_units
from habmap.jobs.load.tables import load_entries, load_table
from habmap.jobs.map import draw_map
from habmap.jobs.rank import rank
from habmap.jobs.sheet import write_sheet
from habmap.jobs.start import start
from habmap.jobs.terrain import terrain
from habmap.place.new_folder import SAMPLE_NAME, new_sample, sample_layers_folder
from habmap.place.store import GeoPackageStore
from habmap.progress import Progress, Steps
from habmap.show.demo_words import account_words, order_words, terrain_words

#: First day of the sample's units: before its first log line.
UNITS_FROM = date(2024, 9, 1)
MAP_FILE = Path("out") / "map.html"
SHEET_FILE = Path("out") / "sheet.pdf"
HANDOUT_FILE = Path("out") / "handout.pdf"
#: What it is made in.
_STEPS: Final = ("layers", "the log and tables", "photos", "account", "map", "sheet", "handout")

Tell = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoResult:
    """The sample property and the account of it.

    Attributes
    ----------
    place, folder
        Its name, and the folder it lies in.
    on
        Day of the newest log line.
    units
        How many there are.
    acres, treated_acres, remaining_acres, keep_acres, other_acres
        The account [acre]; the last four add up to the first.
    stage_acres
        Acres by stage, all stages [acre].
    first
        ``unit_id`` of the units whose tier is ``first``, best first, without those on hold or closed to cutting.
    map, sheet, handout
        The map file, the sheet and the four-page handout to print.
    """

    place: str
    folder: str
    on: date | None
    units: int
    acres: float
    treated_acres: float
    remaining_acres: float
    keep_acres: float
    other_acres: float
    stage_acres: dict[str, float]
    first: tuple[str, ...]
    map: str
    sheet: str
    handout: str


def demo(
    folder: Path,
    *,
    now: datetime,
    today: date,
    overwrite: bool = False,
    tell: Tell = lambda _: None,
    note: Tell = lambda _: None,
    progress: Progress | None = None,
) -> DemoResult:
    """Build the sample property in a folder and do the main job on it, whole or not at all.

    Parameters
    ----------
    folder
        A new or empty folder; with ``overwrite`` also one that holds the sample property already.
    now, today
        The moment of recording (UTC), and the local day.
    tell, note
        Called with a sentence after each step, and with each warning.
    progress
        Called with how far it is: its named steps.

    Raises
    ------
    PlaceError
        The folder holds something else, or cannot be written.
    """
    folder = folder.resolve()
    steps = Steps(progress, *_STEPS)
    with new_sample(folder, overwrite=overwrite) as draft:
        result = _done(draft, folder, now=now, today=today, tell=tell, note=note, steps=steps)
    steps.end()
    return result


def _done(draft: Path, folder: Path, *, now: datetime, today: date, tell: Tell, note: Tell, steps: Steps) -> DemoResult:
    steps.begin("layers")
    layers = sample_layers_folder()
    start(draft, name=SAMPLE_NAME, now=now)
    store = GeoPackageStore.open(draft)
    tell(f"Started: {SAMPLE_NAME}, an invented place; none of its land, names or people are real.")
    outline = load_boundary(store, path=layers / "boundary.gpkg", now=now)
    units = load_units(store, path=layers / "units.geojson", valid_from=UNITS_FROM, now=now)
    features = load_features(store, path=layers / "features.geojson", now=now)
    tell(
        f"Loaded: a boundary of {outline.acres or 0:,.1f} acres, {units.loaded} units, {features.loaded} roads, "
        "creeks, breaks and other features."
    )
    land = load_dem(store, path=layers / "elevation.tif", copy_into=draft, now=now)
    tell(f"Loaded: elevation in {land.dem.cell_m:g} m cells, {land.dem.crs}, heights in {land.dem.vertical_unit}.")
    steps.begin("the log and tables")
    log = load_entries(store, path=layers / "entries.csv", today=today, now=now)
    plots, cover, sightings = (
        load_table(store, kind, path=layers / f"{kind}.csv", today=today, now=now)
        for kind in ("plots", "cover", "sightings")
    )
    tell(f"Loaded: {log.loaded} lines of the work log, two seasons; {plots.loaded} sampling plots.")
    tell(f"Loaded: {cover.loaded} frames read for plant cover, {sightings.loaded} sightings.")
    steps.begin("photos")
    pictures = load_photos(store, folder=layers / "photos", now=now)
    tell(f"Loaded: {pictures.loaded} photos (drawings here) of three photo points, before and after.")
    for walk in sorted((layers / "walks").glob("*.gpx")):
        shutil.copyfile(walk, draft / "tracks" / walk.name)
    for brought in (outline, units, features, land, log, plots, cover, sightings):
        for warning in brought.warnings:
            note(warning)
    steps.begin("account")
    account = acres(store)
    tell(account_words(account))
    faces = terrain(store)
    tell(terrain_words(faces))
    order = rank(store, today=today)
    tell(order_words(order))
    steps.begin("map")
    drawn = draw_map(store, target=draft / MAP_FILE, now=now)
    for warning in drawn.warnings:
        note(warning)
    steps.begin("sheet")
    write_sheet(store, target=draft / SHEET_FILE, folder=draft, now=now)
    steps.begin("handout")
    write_handout(store, target=draft / HANDOUT_FILE, folder=draft, now=now, today=today)
    totals = account.totals
    stages = {name: float(getattr(totals.stage_acres, name)) for name in type(totals.stage_acres).__slots__}
    return DemoResult(
        place=SAMPLE_NAME,
        folder=str(folder),
        on=account.on,
        units=len(account.units),
        acres=totals.acres,
        treated_acres=totals.treated_acres,
        remaining_acres=totals.remaining_acres,
        keep_acres=totals.keep_acres,
        other_acres=totals.stage_acres.other,
        stage_acres=stages,
        first=tuple(unit.unit_id for unit in order.units if unit.tier == "first" and unit.closure is None),
        map=str(folder / MAP_FILE),
        sheet=str(folder / SHEET_FILE),
        handout=str(folder / HANDOUT_FILE),
    )
