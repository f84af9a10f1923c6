"""What a burn sheet answers: the weather beside the written plan, and what lies around the block."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from habmap.records import Notice
from habmap.work.burn.block_edges import Edge, EdgeTotals, TurnedEdge
from habmap.work.burn.breaks import PublishedBreak
from habmap.work.burn.fuel import Fuel, FuelClass
from habmap.work.burn.hours import BurnHour
from habmap.work.burn.surroundings import ColdAir, NamedPlace, NearHazard, NearPlace, SmokePlace
from habmap.work.burn.written_plan import Compared, PlanInfo, PlanSigned
from habmap.work.plan_days import ComparedDay


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastUsed:
    """The forecast that a burn sheet goes by.

    Attributes
    ----------
    file_name
        Name of its file, without the folder.
    recorded_at
        When it was loaded into the property; ``None`` = handed over for this once.
    wind_height
        Where its wind is meant: ``20ft`` or ``eye``; ``None`` = nobody said.
    first, last
        Its first and last hour, local time.
    taken
        Items of the weather at ignition that were taken from it; the others were given.
    words
        All that in a sentence.
    """

    file_name: str
    recorded_at: dt.datetime | None
    wind_height: str | None
    first: str
    last: str
    taken: tuple[str, ...]
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PastBurn:
    """A past burn as logged, made again from the ledger.

    Attributes
    ----------
    entry_id, number, date
        The line of the log, what people call it by, and its day.
    made_on
        Local civil day on which it was made again.
    block
        The ground as people call it.
    burned_pct
        Share of the ground that the fire blackened [%]; ``None`` = nobody wrote it.
    ground_on
        Day whose evening the ground's stages are of: the last before the burn.
    plans_kept
        Whether the plans are those that were in force when the burn was logged; else they are today's.
    title
        What stands on every page.
    words
        All that in plain sentences, without the final stop.
    """

    entry_id: str
    number: int
    date: dt.date
    made_on: dt.date
    block: str
    burned_pct: float | None
    ground_on: dt.date
    plans_kept: bool
    title: str
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LookedWithin:
    """How far was looked: beyond an edge, downwind and all round for sensitive places, for lines and tanks [m]."""

    beyond: float
    downwind: float
    sensitive: float
    hazards: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BurnsheetResult:
    """Everything a burn boss would want in hand. Nothing in it is permission.

    Attributes
    ----------
    block
        The ground as it was named.
    slash_acres, snag_acres
        Ground of the block with felled cedar not yet gone, in piles too, and with cedar killed standing and still up.
    fine_fuel_tables
        Which part of the moisture tables was read; ``None`` where they give no figure.
    fine_fuel_clock_words
        What the tables leave unsaid of their hours, and what the other reading gives; ``None`` without a figure.
    turned_edges
        Outline that becomes a downwind edge in later hours of the forecast.
    winds_words
        Which winds were cast.
    inside, kept_from_fire
        Everything on the map that lies in the block, what must not be harmed first, and what of it must be kept from
        fire; for the crew alone.
    closed
        The owner's own closed days and holds that this burn falls on; the first of ``warnings``.
    unlimited
        What the plan sets no limit for, in words.
    plan_days
        The day of the burn beside the days of the year that the plan is for.
    plan_signed
        Who signed the limits that were compared with, by units.
    forecast
        The forecast that ``hours`` and what was not given of the weather are of; ``None`` = none.
    sheets
        Files that the burn sheet was written to.
    notices
        Who was told before, by the burns that the log has on this ground and day.
    again
        Set where this is a past burn as logged, made again.
    """

    place: str
    time: str
    block: str
    units: tuple[str, ...]
    acres: float
    stage_acres: dict[str, float]
    slash_acres: float
    snag_acres: float
    fuel: Fuel
    block_words: tuple[str, ...]
    plan: PlanInfo
    plan_signed: tuple[PlanSigned, ...]
    prescription: tuple[Compared, ...]
    not_checked: tuple[str, ...]
    wind_from_deg: float
    wind_height: str | None
    fine_fuel_moisture_pct: float | None
    fine_fuel_words: str
    fine_fuel_tables: str | None
    fine_fuel_clock_words: str | None
    fuel_moisture: tuple[FuelClass, ...]
    equilibrium_moisture_pct: float | None
    vpd_kpa: float | None
    edges: tuple[Edge, ...]
    edge_totals: EdgeTotals
    turned_edges: tuple[TurnedEdge, ...]
    published_breaks: tuple[PublishedBreak, ...]
    winds_words: str
    smoke: tuple[SmokePlace, ...]
    nearby: tuple[NearPlace, ...]
    inside: tuple[NamedPlace, ...]
    kept_from_fire: tuple[NamedPlace, ...]
    hazards: tuple[NearHazard, ...]
    looked_within_m: LookedWithin
    cold_air: ColdAir | None
    forecast: ForecastUsed | None
    hours: tuple[BurnHour, ...]
    notify: tuple[str, ...]
    cautions: tuple[str, ...]
    warnings: tuple[str, ...]
    closed: tuple[str, ...] = ()
    unlimited: tuple[str, ...] = ()
    plan_days: tuple[ComparedDay, ...] = ()
    sheets: tuple[str, ...] = ()
    notices: tuple[Notice, ...] = ()
    again: PastBurn | None = None
