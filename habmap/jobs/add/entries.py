"""Load log lines from a person's table or layer: all of it, or none."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
import shapely
from shapely import MultiPolygon
from shapely.errors import ShapelyError

from habmap.errors import InputError, UsageError
from habmap.jobs.add.identity import Identities, differing
from habmap.jobs.add.position import known_units_words
from habmap.jobs.add.result import AddResult
from habmap.jobs.add.rows import Rows, Ways
from habmap.jobs.burn.columns import BURN_FIELDS, burn_differences, burn_of_cells
from habmap.jobs.log import REPORTED_TOLERANCE_FRAC, shares
from habmap.jobs.ports import Store
from habmap.jobs.said import MAX_PERSON_HOURS, NEEDLES, look_of
from habmap.land.grid import LocalGrid, grid_around
from habmap.measures import acres
from habmap.place.cells import Cells
from habmap.place.ledger_files import read_ledger
from habmap.place.shapes import as_ground, as_valid, lonlat_shape, multipolygon
from habmap.place.tables import TableRow
from habmap.place.userfiles import printable
from habmap.vocabulary import DEFAULT_KILLED_PCT, KILLING, PRACTICES
from habmap.work.records import BurnRecord, Entry, Look, Unit

ENTRY_FIELDS: Final = (
    "entry_id", "date", "practice", "unit_id", "patch_wkt", "killed_pct", "burned_pct", "person_hours", "cost",
    "reported_acres", "acres_sd", "who", "note", "product", "product_rate", "live_stems_per_acre", "tallest_ft",
    "seedlings_per_acre", "needles", "fuel_lb_ac", "sprouts", "stump_treated",
)  # fmt: skip
#: Filled in on a look only; whether stumps were treated belongs to a cut as well.
LOOK_FIELDS: Final = ("live_stems_per_acre", "tallest_ft", "seedlings_per_acre", "needles", "fuel_lb_ac", "sprouts")
#: Row content that makes the identity of a row without an ``entry_id``.
_IDENTITY_FIELDS: Final = tuple(name for name in ENTRY_FIELDS if name != "entry_id")
_NEEDED: Final[tuple[str | Ways, ...]] = ("date", "practice", (("unit_id",), ("patch_wkt",)))


def add_entries(
    store: Store,
    *,
    path: Path,
    today: date,
    now: datetime,
    columns: Mapping[str, str] | None = None,
    layer: str | None = None,
) -> AddResult:
    """Load log lines from a table or a layer; a line that is there already with the same content is no news.

    Parameters
    ----------
    store
        The property.
    path
        UTF-8 CSV, or a GeoPackage or GeoJSON layer whose shapes are the ground. A row of a table gives its ground by
        ``unit_id`` (several joined by ``;``: whole units, as drawn now) or by ``patch_wkt`` (lon/lat, WGS 84 [°]),
        which counts where both are given. A burn may carry its weather and notices (``BURN_FIELDS``).
    today
        Local civil day at the place; later dates are pointed out.
    now
        Moment of recording, UTC.
    columns
        Field → column of the file, where the names differ.

    Raises
    ------
    InputErrors
        Every fault of the table, with its row.
    InputError
        The file as a whole is unfit, or a column is missing.

    Notes
    -----
    An ``entry_id`` that is no UUID becomes the UUIDv5 of (place, text) and is kept as ``source_id``. A blank one
    becomes the UUIDv5 of the row's content, so that loading a file twice adds nothing.
    """
    table = read_ledger(path, layer=layer)
    rows = Rows(table, (*ENTRY_FIELDS, *BURN_FIELDS), needed=_NEEDED, renames=columns)
    reader = _Reader(store, rows, now)
    entries = [(row, entry) for row in table.rows if (entry := reader.entry(row)) is not None]
    known = {entry.entry_id: entry for entry in store.entries()}
    burns = {record.entry_id: record for record in store.burns()}
    has_burns = any(name in rows.found for name in BURN_FIELDS)
    fresh: list[tuple[str, Entry]] = []
    first_row: dict[str, int] = {}
    already = 0
    for row, entry in entries:
        before = known.get(entry.entry_id)
        if before is None:
            known[entry.entry_id] = entry
            first_row[entry.entry_id] = row.number
            fresh.append((rows.where(row), entry))
            continue
        differences = _differing(entry, before)
        if has_burns:
            earlier_burn = (
                reader.burns.get(entry.entry_id) if entry.entry_id in first_row else burns.get(entry.entry_id)
            )
            differences += burn_differences(reader.burn_of_row[row.number], earlier_burn)
        if not differences:
            already += 1
            continue
        earlier = first_row.get(entry.entry_id)
        rows.faults.append(
            InputError(
                "the same entry_id with other content",
                where=f"{rows.where(row)}; first said in {f'row {earlier}' if earlier else 'the log'}",
                value="; ".join(differences),
                allowed="each entry_id once; the log is never rewritten",
                mend="give the new line its own entry_id, or correct the old one with `habmap amend`",
            )
        )
    rows.refuse_faults()
    notes = list(rows.notes)
    total_acres = 0.0
    if fresh:
        patches = [entry.patch for _where, entry in fresh if entry.patch is not None]
        grid = store.grid or grid_around(patches)
        notes += _ground_notes(store, fresh, grid, today)
        records = [reader.burns[entry.entry_id] for _where, entry in fresh if entry.entry_id in reader.burns]
        store.append([*(entry for _where, entry in fresh), *records])
        total_acres = acres(sum(grid.to_grid(patch).area for patch in patches))
    notes += rows.not_read()
    return AddResult(kind="entries", loaded=len(fresh), already_there=already, acres=total_acres, warnings=tuple(notes))


class _UnitsByDay:
    """The units as drawn on any day, read from the store once for each span of days without a change."""

    def __init__(self, store: Store) -> None:
        self._store = store
        versions = store.unit_versions()
        changes = {day for unit in versions for day in (unit.valid_from, unit.valid_to) if day is not None}
        self._changes = sorted(changes)
        self._by_span: dict[int, dict[str, Unit]] = {}
        self._current = {unit.unit_id: unit for unit in store.units()}

    def on(self, day: date) -> dict[str, Unit]:
        """Return the units of a day by ``unit_id``; those not yet, or no longer, drawn then are left out."""
        span = bisect_right(self._changes, day)
        if span not in self._by_span:
            self._by_span[span] = {unit.unit_id: unit for unit in self._store.units(day)}
        return self._by_span[span]

    def known(self, day: date | None) -> dict[str, Unit]:
        """Return the units that a line of a day may name: as drawn now, or on that day where a unit is no more."""
        return self._current if day is None else self.on(day) | self._current


class _Reader:
    """Turns rows of one table into entries."""

    def __init__(self, store: Store, rows: Rows, now: datetime) -> None:
        self._units = _UnitsByDay(store)
        self._rows = rows
        self._now = now
        self._identities = Identities(store.place_id, field="entry_id", content=_IDENTITY_FIELDS)
        self._zone = ZoneInfo(store.settings.place.timezone)
        #: What rows say of their burns: by row, and of each line as its first row says it.
        self.burn_of_row: dict[int, BurnRecord | None] = {}
        self.burns: dict[str, BurnRecord] = {}

    def entry(self, row: TableRow) -> Entry | None:
        """Return a row as an entry; ``None`` after adding to the faults what is wrong with it."""
        before = len(self._rows.faults)
        values, cells = self._rows.values(row), self._rows.cells(row)
        practice = cells.choice("practice", PRACTICES) or "other"
        day = cells.day("date")
        killed_pct = cells.number("killed_pct", low=0, high=100)
        is_blank = not values.get("killed_pct", "").strip()
        if is_blank and practice in KILLING and practice not in DEFAULT_KILLED_PCT:
            cells.fault(
                f"{practice} must say what share of the cedars it killed",
                "killed_pct",
                value="blank",
                allowed="0 to 100, of the cedars alive there that morning",
                mend="fill it in",
            )
        unit_ids = tuple(
            dict.fromkeys(part.strip() for part in (cells.text("unit_id") or "").split(";") if part.strip())
        )
        identity = self._identities.of(cells, values, row.number)
        if identity.twin_of is not None:
            self._rows.notes.append(
                f"{self._rows.where(row)} says the same as row {identity.twin_of}; both are kept: ground counts once, "
                "hours and cost count twice"
            )
        entry = Entry(
            entry_id=identity.uuid,
            source_id=identity.source_id,
            recorded_at=self._now,
            practice=practice,
            date=day or date.min,
            patch=self._patch(cells, unit_ids, day),
            unit_ids=unit_ids,
            killed_pct=killed_pct,
            burned_pct=cells.number("burned_pct", low=0, high=100),
            person_hours=cells.number("person_hours", low=0, high=MAX_PERSON_HOURS),
            cost=cells.number("cost", low=0),
            reported_acres=cells.number("reported_acres", above=0),
            acres_sd=cells.number("acres_sd", low=0),
            who=cells.text("who"),
            note=cells.text("note", one_line=False),
            product=cells.text("product"),
            product_rate=cells.text("product_rate"),
            look=self._look(cells, practice),
        )
        burn = burn_of_cells(cells, entry=entry, zone=self._zone)
        self.burn_of_row[row.number] = burn
        if burn is not None:
            self.burns.setdefault(entry.entry_id, burn)
        return entry if len(self._rows.faults) == before else None

    def _patch(self, cells: Cells, unit_ids: tuple[str, ...], day: date | None) -> MultiPolygon | None:
        known = self._units.known(day)
        unknown = [unit_id for unit_id in unit_ids if unit_id not in known]
        if unknown:
            cells.fault(
                "unknown unit",
                "unit_id",
                value=", ".join(unknown),
                allowed=known_units_words(known),
                mend="name units of the property, several joined by ;",
            )
        wkt = cells.text("patch_wkt")
        if wkt is not None:
            return _wkt_patch(wkt, cells)
        if not unit_ids:
            cells.fault(
                "the row names no ground",
                "unit_id",
                value="blank",
                allowed="unit_id (several joined by ;) or patch_wkt",
                mend="fill in one of them",
            )
        if unknown or not unit_ids:
            return None
        then = {} if day is None else self._units.on(day)
        for unit_id in unit_ids:
            if unit_id in then and then[unit_id].uuid != known[unit_id].uuid:
                cells.note(f"unit {printable(unit_id)} was drawn otherwise on {day}; its outline of today is taken")
        outlines = [known[unit_id].geometry for unit_id in unit_ids]
        # A single outline is kept vertex for vertex, so that work on all of a unit leaves nothing of it.
        return outlines[0] if len(outlines) == 1 else multipolygon(shapely.union_all(outlines))

    def _look(self, cells: Cells, practice: str) -> Look | None:
        needles = cells.choice("needles", NEEDLES, required=False)
        sprouts = cells.text("sprouts")
        try:
            look = look_of(
                live_stems_per_acre=cells.number("live_stems_per_acre", low=0),
                tallest_ft=cells.number("tallest_ft", low=0),
                seedlings_per_acre=cells.number("seedlings_per_acre", low=0),
                needles=needles,
                fuel_lb_ac=cells.number("fuel_lb_ac", low=0),
                sprouts=sprouts,
                stump_treated=cells.flag("stump_treated"),
            )
        except UsageError as error:
            cells.fault("the sprouts cannot be read", "sprouts", value=error.value, allowed=error.allowed)
            return None
        if look is not None and practice != "look":
            filled = [name for name in LOOK_FIELDS if getattr(look, name) not in (None, ())]
            if filled:
                cells.fault(
                    f"what stands there now belongs to a look, not to {practice}",
                    filled[0],
                    allowed="blank",
                    mend="make the look a row of its own",
                )
        return look


def _wkt_patch(wkt: str, cells: Cells) -> MultiPolygon | None:
    try:
        shape = shapely.from_wkt(wkt)
    except (ShapelyError, NotImplementedError) as error:  # the latter for curves
        cells.fault(
            "patch_wkt cannot be read",
            "patch_wkt",
            value=f"{printable(wkt, longest=40)} ({printable(str(error))})",
            allowed="POLYGON or MULTIPOLYGON, longitude latitude",
        )
        return None
    try:
        checked = lonlat_shape(shapely.to_wkb(shape), None, where="")
        ground = as_ground(checked, where="")
        as_valid(ground, where="", repair=False, repaired=[])
    except InputError as error:
        spot = (error.where or "").removeprefix(", ")
        cells.fault(
            f"patch_wkt: {error.what}",
            "patch_wkt",
            value=spot or error.value,
            allowed=error.allowed,
            mend="mend the outline, or load it from a file with `habmap log --patch`",
        )
        return None
    return ground


def _differing(entry: Entry, before: Entry) -> list[str]:
    """Say field by field what differs from the line that is there; the ground only where the row itself drew it."""
    differences = differing(entry, before, besides=("entry_id", "source_id", "patch"))
    # Whole units may have been redrawn since: naming them again is no other content.
    if not differences and not entry.unit_ids and not _same_ground(entry.patch, before.patch):
        differences.append("another patch")
    return differences


def _same_ground(one: MultiPolygon | None, other: MultiPolygon | None) -> bool:
    if one is None or other is None:
        return one is other
    return bool(np.all(shapely.equals_identical(shapely.normalize(one), shapely.normalize(other))))


def _ground_notes(store: Store, fresh: Sequence[tuple[str, Entry]], grid: LocalGrid, today: date) -> list[str]:
    notes = []
    by_day = _UnitsByDay(store)
    for where, entry in fresh:
        if entry.date > today:
            notes.append(f"{where}: {entry.date} is after today, {today}")
        if entry.patch is None:
            continue
        patch_acres = acres(grid.to_grid(entry.patch).area)
        reported = entry.reported_acres
        if reported is not None and abs(reported - patch_acres) > REPORTED_TOLERANCE_FRAC * patch_acres:
            notes.append(f"{where}: {reported:,.2f} acres reported, the ground given measures {patch_acres:,.2f}")
        if not entry.unit_ids:
            _units, outside_acres = shares(entry.patch, list(by_day.known(entry.date).values()), grid=grid)
            if outside_acres > patch_acres / 2:
                notes.append(f"{where}: {outside_acres:,.2f} of {patch_acres:,.2f} acres lie outside every unit")
    return notes
