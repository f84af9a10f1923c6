"""The main job, end to end, on the invented sample property."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

from habmap.errors import HabmapError, PlaceError
from habmap.jobs.acres import acres
from habmap.jobs.handout import write_handout
from habmap.jobs.load.entries import load_entries
from habmap.jobs.load.layers import load_boundary, load_features, load_units
from habmap.jobs.load.photos import load_photos
from habmap.jobs.load.rasters import load_dem
from habmap.jobs.load.tables import load_table
from habmap.jobs.map import draw_map
from habmap.jobs.rank import rank
from habmap.jobs.sheet import write_sheet
from habmap.jobs.start import start
from habmap.jobs.terrain import terrain
from habmap.place.samples import SAMPLE_NAME, sample_layers_folder
from habmap.place.schema import STORE_FILE
from habmap.place.settings import SETTINGS_FILE, read_settings
from habmap.place.store import GeoPackageStore
from habmap.work.acres import AcresResult
from habmap.work.order_of_work import RankResult
from habmap.work.terrain import TerrainResult

#: First day of the sample's units: before its first log line.
UNITS_FROM = date(2024, 9, 1)
MAP_FILE = Path("out") / "map.html"
SHEET_FILE = Path("out") / "sheet.pdf"
HANDOUT_FILE = Path("out") / "handout.pdf"

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

    Raises
    ------
    PlaceError
        The folder holds something else, or cannot be written.
    """
    folder = folder.resolve()
    _refuse_to_lose(folder, overwrite=overwrite)
    layers = sample_layers_folder()
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".habmap-demo-", dir=folder.parent) as workshop:
            draft = Path(workshop) / "place"
            result = _done(draft, layers, now=now, today=today, tell=tell, note=note)
            _put(draft, folder, Path(workshop) / "before")
    except HabmapError:
        raise
    except OSError as error:
        raise PlaceError(
            "the sample property cannot be written there",
            where=str(folder),
            value=error.strerror or error,
            mend="choose a folder that you may write to",
        ) from error
    return replace(
        result,
        folder=str(folder),
        map=str(folder / MAP_FILE),
        sheet=str(folder / SHEET_FILE),
        handout=str(folder / HANDOUT_FILE),
    )


def _refuse_to_lose(folder: Path, *, overwrite: bool) -> None:
    """Refuse a folder with anything in it but, when told to overwrite, an earlier sample property."""
    if not folder.exists():
        return
    if not folder.is_dir():
        raise PlaceError("this is a file, not a folder", where=str(folder), mend="name a new folder")
    try:
        is_empty = not any(folder.iterdir())
    except OSError as error:
        raise PlaceError("the folder cannot be read", where=str(folder), value=error.strerror) from error
    if is_empty:
        return
    if not overwrite:
        raise PlaceError(
            "there is something in this folder already",
            where=str(folder),
            allowed="a new or an empty folder",
            mend="choose another folder, or add --overwrite if it holds an earlier sample property",
        )
    if not ((folder / SETTINGS_FILE).is_file() and (folder / STORE_FILE).is_file()):
        raise PlaceError(
            "this folder is not a habmap property; it stays as it is",
            where=str(folder),
            allowed="an earlier sample property",
            mend="choose another folder",
        )
    name = read_settings(folder).place.name
    if name != SAMPLE_NAME:
        raise PlaceError(
            "this folder holds a property of your own; the sample never replaces that",
            where=str(folder),
            value=name,
            allowed=SAMPLE_NAME,
            mend="choose another folder",
        )


def _put(draft: Path, folder: Path, before: Path) -> None:
    """Move the finished property into its place; what was there goes with the workshop."""
    if folder.exists():
        folder.rename(before)
    try:
        draft.rename(folder)
    except OSError:
        if before.exists():
            before.rename(folder)
        raise


def _done(draft: Path, layers: Path, *, now: datetime, today: date, tell: Tell, note: Tell) -> DemoResult:
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
    land = load_dem(store, path=layers / "elevation.tif", vertical_unit=None, copy_into=draft, overwrite=False, now=now)
    tell(f"Loaded: elevation in {land.dem.cell_m:g} m cells, {land.dem.crs}, heights in {land.dem.vertical_unit}.")
    log = load_entries(store, path=layers / "entries.csv", today=today, now=now)
    plots = load_table(store, "plots", path=layers / "plots.csv", now=now)
    tell(f"Loaded: {log.loaded} lines of the work log, two seasons; {plots.loaded} sampling plots.")
    cover = load_table(store, "cover", path=layers / "cover.csv", today=today, now=now)
    sightings = load_table(store, "sightings", path=layers / "sightings.csv", today=today, now=now)
    tell(f"Loaded: {cover.loaded} frames read for plant cover, {sightings.loaded} sightings.")
    pictures = load_photos(store, folder=layers / "photos", now=now)
    tell(f"Loaded: {pictures.loaded} photos (drawings here) of three photo points, before and after.")
    for walk in sorted((layers / "walks").glob("*.gpx")):
        shutil.copyfile(walk, draft / "tracks" / walk.name)
    for warning in (
        *outline.warnings,
        *units.warnings,
        *features.warnings,
        *land.warnings,
        *log.warnings,
        *plots.warnings,
        *cover.warnings,
        *sightings.warnings,
    ):
        note(warning)
    account = acres(store)
    tell(_account_words(account))
    faces = terrain(store)
    tell(_terrain_words(faces))
    order = rank(store, today=today)
    tell(_rank_words(order))
    drawn = draw_map(store, target=draft / MAP_FILE, now=now)
    for warning in drawn.warnings:
        note(warning)
    write_sheet(store, target=draft / SHEET_FILE, folder=draft, now=now)
    write_handout(store, target=draft / HANDOUT_FILE, folder=draft, now=now, today=today)
    totals = account.totals
    stages = {name: float(getattr(totals.stage_acres, name)) for name in type(totals.stage_acres).__slots__}
    return DemoResult(
        place=SAMPLE_NAME,
        folder=str(draft),
        on=account.on,
        units=len(account.units),
        acres=totals.acres,
        treated_acres=totals.treated_acres,
        remaining_acres=totals.remaining_acres,
        keep_acres=totals.keep_acres,
        other_acres=totals.stage_acres.other,
        stage_acres=stages,
        first=tuple(unit.unit_id for unit in order.units if unit.tier == "first" and unit.closure is None),
        map=str(draft / MAP_FILE),
        sheet=str(draft / SHEET_FILE),
        handout=str(draft / HANDOUT_FILE),
    )


def _account_words(account: AcresResult) -> str:
    totals = account.totals
    return (
        f"Account: {totals.treated_acres:,.1f} acres treated at least once, {totals.remaining_acres:,.1f} remain, "
        f"{totals.keep_acres:,.1f} left on purpose, {totals.stage_acres.other:,.1f} not cedar ground; "
        f"together {totals.acres:,.1f}."
    )


def _terrain_words(faces: TerrainResult) -> str:
    known = [unit for unit in faces.units if unit.slope_mean_pct is not None]
    steepest = max(known, key=lambda unit: unit.slope_mean_pct or 0.0)
    return (
        f"Terrain: slope and facing of {len(known)} units; the steepest is {steepest.unit_id}, "
        f"{steepest.slope_mean_pct:,.0f} % on average."
    )


def _rank_words(order: RankResult) -> str:
    first = next((unit for unit in order.units if unit.unit_id == order.next_unit_id), None)
    if first is None:
        return "Order of work: nothing is left to cut that is neither on hold nor closed."
    return f"Order of work: next comes {first.unit_id}, {first.name}: {'; '.join(first.reasons)}."
