"""What can be asked from Python: open a property, load files, ask, and get the records that the commands print as JSON.

Every function takes an open property first and everything else by name. Results are frozen records: their fields are
the keys of the JSON, in the same units (`to_json` writes it, ``habmap/schema/`` describes it). Like the commands, and
unlike all below it, this module reads the clock: where a figure depends on today and no day is given, today is taken,
in the property's own time zone.
"""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, get_args
from zoneinfo import ZoneInfo

from habmap.errors import UsageError

if TYPE_CHECKING:
    from habmap.jobs.check import Checked
    from habmap.jobs.due import DueResult
    from habmap.jobs.load.result import LoadResult
    from habmap.jobs.map import MapResult
    from habmap.jobs.ports import Store
    from habmap.place.load.rasters import DemLoaded
    from habmap.place.store import GeoPackageStore
    from habmap.work.acres import AcresResult
    from habmap.work.bite import BiteResult
    from habmap.work.burn.request import BurnRequest
    from habmap.work.burn.result import BurnsheetResult
    from habmap.work.density_records import DensityResult
    from habmap.work.effort_account import EffortResult
    from habmap.work.log_history import HistoryResult
    from habmap.work.order_of_work import RankResult
    from habmap.work.photo_pairs import PhotosResult
    from habmap.work.response_records import ResponseResult
    from habmap.work.schedule_result import ScheduleResult
    from habmap.work.terrain import TerrainResult
    from habmap.work.week import WeekResult

#: What `load` takes.
Loadable = Literal["boundary", "units", "features", "dem", "entries", "plots", "cover", "sightings"]
#: Where the record of each answer stands: command → (module, class). Their JSON schemas are generated from this.
ANSWERS: dict[str, tuple[str, str]] = {
    "acres": ("habmap.work.acres", "AcresResult"),
    "bite": ("habmap.work.bite", "BiteResult"),
    "burnsheet": ("habmap.work.burn.result", "BurnsheetResult"),
    "check": ("habmap.jobs.check", "Checked"),
    "density": ("habmap.work.density_records", "DensityResult"),
    "due": ("habmap.jobs.due", "DueResult"),
    "effort": ("habmap.work.effort_account", "EffortResult"),
    "export-packet": ("habmap.show.packet.packet", "PacketResult"),
    "export-practices": ("habmap.work.practice_report", "PracticesResult"),
    "history": ("habmap.work.log_history", "HistoryResult"),
    "photos": ("habmap.work.photo_pairs", "PhotosResult"),
    "rank": ("habmap.work.order_of_work", "RankResult"),
    "region-account": ("habmap.region.records", "RegionAccount"),
    "region-terrain": ("habmap.region.records", "RegionTerrain"),
    "response": ("habmap.work.response_records", "ResponseResult"),
    "schedule": ("habmap.work.schedule_result", "ScheduleResult"),
    "terrain": ("habmap.work.terrain", "TerrainResult"),
    "week": ("habmap.work.week", "WeekResult"),
}


def open_place(folder: str | Path) -> GeoPackageStore:
    """Open a property's folder.

    Parameters
    ----------
    folder
        The folder that ``habmap start`` made.

    Returns
    -------
    GeoPackageStore
        The property; nothing is kept open between calls.

    Raises
    ------
    PlaceError
        The folder is no property, its file is damaged, or a newer habmap made it.
    InputError
        ``habmap.toml`` has faults.

    Examples
    --------
    >>> place = habmap.open_place(folder)
    >>> place.settings.place.timezone
    'America/Chicago'
    """
    from habmap.place.store import GeoPackageStore

    return GeoPackageStore.open(Path(folder))


def start(folder: str | Path, *, name: str, timezone: str | None = None) -> GeoPackageStore:
    """Make a new property's folder with commented settings, and open it.

    Parameters
    ----------
    folder
        A folder that is new or empty of property files.
    name
        What the property is called.
    timezone
        IANA name, such as ``America/Chicago``; ``None`` takes this computer's.

    Raises
    ------
    PlaceError
        There is a property already, or the folder cannot be written.

    Examples
    --------
    >>> habmap.start(fresh / "mine", name="My place", timezone="America/Chicago").units()
    ()
    """
    from habmap.jobs.start import start as job

    job(Path(folder), name=name, now=this_moment(), timezone=timezone)
    return open_place(folder)


def load(place: GeoPackageStore, what: Loadable, path: str | Path) -> LoadResult | DemLoaded:
    """Load a file whole or not at all; what is there already with the same content is passed over.

    Parameters
    ----------
    what
        ``boundary``, ``units``, ``features`` (layers), ``dem`` (elevation raster), ``entries``, ``plots``, ``cover``
        or ``sightings`` (tables).

    Raises
    ------
    UsageError
        Something else is asked for.
    InputErrors
        The file has faults; every one is told with its place, and nothing is loaded.

    Examples
    --------
    >>> mine = habmap.start(fresh / "loaded", name="My place", timezone="America/Chicago")
    >>> habmap.load(mine, "units", layers / "units.geojson").loaded > 0
    True
    """
    from habmap.jobs.load.layers import load_boundary, load_dem, load_features, load_units
    from habmap.jobs.load.tables import load_entries, load_table

    path, now = Path(path), this_moment()
    if what not in get_args(Loadable):
        mend = f"one of {', '.join(get_args(Loadable))}; the command `habmap load` knows more"
        raise UsageError("that cannot be loaded so", where="what", value=what, mend=mend)
    if what == "boundary":
        return load_boundary(place, path=path, now=now)
    if what == "units":
        return load_units(place, path=path, valid_from=today_at(place), now=now)
    if what == "features":
        return load_features(place, path=path, now=now)
    if what == "dem":
        return load_dem(place, path=path, vertical_unit=None, copy_into=None, overwrite=False, now=now)
    if what == "entries":
        return load_entries(place, path=path, today=today_at(place), now=now)
    return load_table(place, what, path=path, today=today_at(place), now=now)


def acres(place: Store, *, on: dt.date | None = None) -> AcresResult:
    """Return the account: acres by stage, treated, remaining and left on purpose, per unit and in all [acre].

    Parameters
    ----------
    place
        An open property.
    on
        Replay the log up to and with this day; ``None`` is the day of the newest line.

    Examples
    --------
    >>> total = habmap.acres(place).totals
    >>> parts = total.treated_acres + total.remaining_acres + total.keep_acres + total.stage_acres.other
    >>> abs(parts - total.acres) < 1e-6
    True
    """
    from habmap.jobs.acres import acres as job

    return job(place, on=on)


def terrain(place: Store, *, on: dt.date | None = None) -> TerrainResult:
    """Return slope [degree, percent], aspect [degree from true north] and sun-facing share [%] per unit.

    Raises
    ------
    PlaceError
        No elevation raster is loaded, or it cannot be read.

    Examples
    --------
    >>> first = habmap.terrain(place).units[0]
    >>> 0 <= first.sun_facing_pct <= 100
    True
    """
    from habmap.jobs.terrain import terrain as job

    return job(place, on=on)


def density(place: Store, *, on: dt.date | None = None) -> DensityResult:
    """Return stems per acre with 95% limits and crown cover [%] per unit, from plots of today's ground.

    Examples
    --------
    >>> all(unit.plots >= 0 for unit in habmap.density(place).units)
    True
    """
    from habmap.jobs.density import density as job

    return job(place, on=on)


def rank(place: Store, *, on: dt.date | None = None, today: dt.date | None = None) -> RankResult:
    """Return the order of work with the reason for each unit; nothing on hold or closed is next.

    Parameters
    ----------
    today
        The day by which holds and closed days count; ``None`` is the property's own today.

    Examples
    --------
    >>> order = habmap.rank(place, today=datetime.date(2026, 8, 1))
    >>> order.units[0].tier
    'first'
    """
    from habmap.jobs.rank import rank as job

    return job(place, on=on, today=today or today_at(place))


def bite(
    place: Store,
    *,
    acres: float | None = None,
    hours: float | None = None,
    unit_id: str | None = None,
    hand_only: bool = False,
    on: dt.date | None = None,
    today: dt.date | None = None,
) -> BiteResult:
    """Return where to cut next: one contiguous piece of ground of about so many acres, and why there.

    Parameters
    ----------
    acres, hours
        How much ground [acre], or person-hours at the log's own rate; with both the lesser.
    unit_id
        In this unit; ``None`` is the one that comes next.
    hand_only
        Take ground too steep for a machine as well.
    today
        The day by which holds and closed days count; ``None`` is the property's own today.

    Examples
    --------
    >>> found = habmap.bite(place, acres=1.0, today=datetime.date(2026, 8, 1))
    >>> abs(found.acres - 1.0) <= 0.03, found.geometry["type"]
    (True, 'Polygon')
    """
    from habmap.jobs.bite import bite as job

    return job(
        place, acres=acres, hours=hours, unit_id=unit_id, hand_only=hand_only, on=on, today=today or today_at(place)
    )


def due(place: Store, *, on: dt.date | None = None) -> DueResult:
    """Return everything that is due on a day (today), with its acres and dates.

    Examples
    --------
    >>> all(item.what for item in habmap.due(place, on=datetime.date(2026, 8, 1)).items)
    True
    """
    from habmap.jobs.due import due as job

    return job(place, on=on or today_at(place))


def week(place: Store, *, on: dt.date | None = None, audience: Literal["owner", "public"] = "owner") -> WeekResult:
    """Return what the week that begins on a day asks: what is forbidden, closes, may be considered, is cut, is checked.

    Parameters
    ----------
    on
        Its first day; ``None``: today.
    audience
        ``public`` tells no reasons, contracts or private places.

    Examples
    --------
    >>> habmap.week(place, on=datetime.date(2026, 1, 20)).cut[0].unit_id
    'C1'
    """
    from habmap.jobs.week import week as job

    return job(place, on=on or today_at(place), audience=audience)


def effort(place: Store, *, on: dt.date | None = None, today: dt.date | None = None) -> EffortResult:
    """Return person-hours and cost so far, the pace [acre per person-hour], and what the rest would take.

    Examples
    --------
    >>> habmap.effort(place, today=datetime.date(2026, 8, 1)).person_hours > 0
    True
    """
    from habmap.jobs.effort import effort as job

    return job(place, on=on, today=today or today_at(place))


def schedule(place: Store, *, first: dt.date, last: dt.date, hours_per_week: float) -> ScheduleResult:
    """Return the work of a season laid into its weeks, and what does not fit and why.

    Parameters
    ----------
    first, last
        First and last day of the season.
    hours_per_week
        Person-hours that there are each week.

    Examples
    --------
    >>> season = habmap.schedule(
    ...     place, first=datetime.date(2026, 11, 2), last=datetime.date(2027, 2, 28), hours_per_week=20
    ... )
    >>> all(sum(item.person_hours for item in week.items) < 20.0001 for week in season.weeks)
    True
    """
    from habmap.jobs.schedule import schedule as job

    return job(place, first=first, last=last, hours_per_week=hours_per_week)


def burnsheet(place: Store, request: BurnRequest) -> BurnsheetResult:
    """Compare the weather with the written burn plan and tell what lies around the block; never permission to burn.

    Parameters
    ----------
    request
        Which ground, which hour, which weather: `habmap.BurnRequest`.

    Examples
    --------
    >>> asked = habmap.BurnRequest(
    ...     names=("C1",), at=datetime.datetime(2026, 11, 3, 13), temp_f=60, rh_pct=45, wind_mph=8, wind_from_deg=340
    ... )
    >>> {line.comparison for line in habmap.burnsheet(place, asked).prescription}  # the sample has no signed plan
    {'no plan'}
    """
    from habmap.jobs.burnsheet import burnsheet as job

    return job(place, request)


def response(place: Store, *, on: dt.date | None = None) -> ResponseResult:
    """Return native plant cover [%] and species before and after the work, per unit.

    Examples
    --------
    >>> len(habmap.response(place).units) > 0
    True
    """
    from habmap.jobs.response import response as job

    return job(place, on=on)


def photos(place: Store, *, on: dt.date | None = None) -> PhotosResult:
    """Return the photo points and their pairs of before and after.

    Examples
    --------
    >>> len(habmap.photos(place).points) > 0
    True
    """
    from habmap.jobs.photos import photos as job

    return job(place, on=on)


def history(place: Store, *, unit_id: str | None = None) -> HistoryResult:
    """Return everything ever recorded, or all about one unit, corrections and withdrawn lines too.

    Examples
    --------
    >>> lines = habmap.history(place, unit_id="C1").entries
    >>> 0 < len(lines) < len(habmap.history(place).entries)
    True
    """
    from habmap.jobs.history import history as job

    return job(place, unit_id=unit_id)


def check(place: Store, *, today: dt.date | None = None) -> Checked:
    """Look at every rule that the property must obey, and return what does not.

    Examples
    --------
    >>> habmap.check(place, today=datetime.date(2026, 8, 1)).faults
    ()
    """
    from habmap.jobs.check import check as job

    return job(place, today=today or today_at(place))


def write_map(place: GeoPackageStore, path: str | Path, *, audience: Literal["owner", "public"] = "owner") -> MapResult:
    """Write the map, one HTML file that opens without a network; a file that is there is not replaced.

    Parameters
    ----------
    audience
        ``public`` leaves out names of people, notes, hours, costs and private places.

    Examples
    --------
    >>> page = habmap.write_map(place, fresh / "map.html", audience="public")
    >>> page.units == len(place.units())
    True
    """
    from habmap.jobs.map import draw_map

    return draw_map(place, target=Path(path), now=this_moment(), audience=audience)


def to_json(answer: object) -> str:
    """Return an answer as the JSON that its command prints: one object, unrounded numbers, ``null`` for unknown.

    Raises
    ------
    TypeError
        It is no answer of a function of this module.

    Examples
    --------
    >>> json.loads(habmap.to_json(habmap.acres(place)))["schema"]
    'habmap/acres/1'
    """
    names = {found: command for command, found in ANSWERS.items()}
    command = names.get((type(answer).__module__, type(answer).__name__))
    if command is None:
        raise TypeError(f"{type(answer).__name__} is no answer of habmap: {', '.join(ANSWERS)}")
    return json.dumps(json_record(command, answer), allow_nan=False, ensure_ascii=False)


def json_record(command: str, answer: object) -> dict[str, Any]:
    """Return an answer as the one object that a command prints under ``--json``."""
    from pydantic import TypeAdapter

    return {"schema": f"habmap/{command}/1", **TypeAdapter(type(answer)).dump_python(answer, mode="json")}


def json_schema(command: str) -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a command's answer, derived from its record."""
    from importlib import import_module

    from pydantic import TypeAdapter

    module, name = ANSWERS[command]
    schema = TypeAdapter(getattr(import_module(module), name)).json_schema(mode="serialization")
    schema["properties"] = {"schema": {"const": f"habmap/{command}/1"}, **schema["properties"]}
    schema["required"] = ["schema", *schema.get("required", [])]
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def this_moment() -> dt.datetime:
    """Return the present moment in UTC, as rows are written by."""
    return dt.datetime.now(dt.UTC)


def today_at(place: Store) -> dt.date:
    """Return the local civil day at a property."""
    return dt.datetime.now(ZoneInfo(place.settings.place.timezone)).date()
