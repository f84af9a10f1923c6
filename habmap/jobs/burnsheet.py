"""Burn sheet: the weather beside the written plan, and what lies on each side of the fire. It decides nothing.

Of a burn that is in the log its day is made again from what was logged.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final, cast
from zoneinfo import ZoneInfo

import shapely

from habmap.errors import InputError
from habmap.jobs.ground import ground
from habmap.jobs.ports import Store
from habmap.jobs.snapshot import snapshot
from habmap.land.grid import LocalGrid
from habmap.measures import acres
from habmap.place.closed_days import closures, plan_days
from habmap.place.ground_readings import block_terrain
from habmap.place.named_units import settings_of_now
from habmap.place.past_store import PastStore
from habmap.progress import Steps
from habmap.show.burn.words import block_words, closed_words, past_burn_words, warnings_for
from habmap.vocabulary import FIRE_CAUTION, SNAG_CAUTION
from habmap.work.burn.block import block_name, burn_block, kind_by_ground
from habmap.work.burn.block_edges import burn_edges, edge_totals, holds_cedar_fuel, outline_of, turned_edges
from habmap.work.burn.block_terrain import BlockTerrain, cold_air_paths
from habmap.work.burn.breaks import published_breaks
from habmap.work.burn.forecast import forecast_used, ignition_weather, wind_height, with_forecast
from habmap.work.burn.fuel import driest_pct, fuel_classes, fuel_there
from habmap.work.burn.hours import burn_hours
from habmap.work.burn.past import logged_burn
from habmap.work.burn.request import BurnRequest
from habmap.work.burn.result import BurnsheetResult, LookedWithin
from habmap.work.burn.surroundings import (
    HAZARD_NEAR_M,
    cold_air,
    downwind_places,
    inside_places,
    kept_from_fire,
    near_hazards,
    nearby_places,
)
from habmap.work.burn.winds import winds_cast, winds_words
from habmap.work.burn.written_plan import (
    NOT_CHECKED,
    WrittenPlan,
    compare,
    plan_info,
    plan_windows,
    plans_signed,
    unlimited_words,
    unsaid_words,
)
from habmap.work.burns import notices_of
from habmap.work.clock import is_skipped
from habmap.work.fuel_moisture import (
    DEAD_FUEL_WORDS,
    NO_AIR_WORDS,
    Air,
    clock_words,
    equilibrium_moisture_simard_1968,
    other_clock,
    tables_used_words,
    vapour_pressure_deficit_kpa,
    why_no_tables,
)
from habmap.work.ground import GroundPiece
from habmap.work.plan_days import PLAN_DAYS_WORDS, compared_days
from habmap.work.said import has_snags

#: What a burn sheet is worked out in.
BURN_STEPS: Final = ("ground", "elevation", "edges", "weather and surroundings")
#: What the writing of its sheets is told in after that.
SHEET_STEPS: Final = ("relief", "pages")


@dataclass(frozen=True, slots=True)
class Burnsheet:
    """A burn sheet worked out: what it was asked of, the weather at ignition by item, the answer, and its ground."""

    store: Store
    weather: Mapping[str, float | None]
    result: BurnsheetResult
    pieces: tuple[GroundPiece, ...]


def burnsheet(store: Store, request: BurnRequest) -> BurnsheetResult:
    """Compare a day's weather with the written plan and say what surrounds the burn.

    Raises
    ------
    InputError
        The hour never comes, a unit is not known, the weather is incomplete, or the elevation cannot be read.
    """
    return worked_out(store, request).result


def worked_out(store: Store, request: BurnRequest, *, steps: Steps | None = None) -> Burnsheet:
    """Return the burn sheet with what it was worked out of; else as `burnsheet`.

    ``steps`` have `BURN_STEPS` among their names.
    """
    steps = steps or Steps()
    steps.begin("ground")
    store = snapshot(store)
    settings, day, zone = store.settings, request.at.date(), ZoneInfo(store.settings.place.timezone)
    if is_skipped(request.at, zone) and not request.is_observed:
        raise InputError(
            "this hour never comes: the clock is put forward over it",
            where="--time",
            value=request.at.isoformat(timespec="minutes"),
            allowed=f"an hour that a clock in {settings.place.timezone} shows",
            mend="give the time of ignition on the property's own clock",
        )
    state = ground(store, on=day)
    block = burn_block(
        request.names, request.patch, state=state, blocks=settings.burn.blocks, drawn=store.drawn_blocks()
    )
    grid, pieces, own_m2 = cast("LocalGrid", state.grid), block.inside, float(block.outline.area)
    request, not_used = with_forecast(request, store.forecasts())
    weather = ignition_weather(request, not_used)
    features, boundary = store.features(), store.boundary()
    steps.begin("elevation")
    dem = block_terrain(
        store.elevation(),
        block.outline,
        grid.dense_edges([grid.to_lonlat(block.outline)]),
        grid=grid,
        terrain=settings.terrain,
    )
    middle = shapely.point_on_surface(block.outline)
    above_ft = dem.above_ft(middle, request.weather_elevation_ft) if dem else None
    air = _air(request, weather, above_ft, lat_deg=float(grid.to_lonlat(middle).y))
    classes = fuel_classes(air, dem, own_m2)
    driest = driest_pct(classes)
    kind = request.plan_kind or kind_by_ground(pieces)
    plan: WrittenPlan = getattr(settings.burn_plan, kind)
    height = wind_height(request)
    windows = plan_windows(plan, block.unit_ids, wind_height=height)
    signed = plans_signed(windows)
    days = {unit_id: plan_days(settings, kind, unit_id) for unit_id in block.unit_ids or ("",)}
    has_no_days = any(one.is_signed and one.days is None for one in days.values())
    used = forecast_used(request, weather, zone)
    wind_from_deg = weather["wind_from_deg"] or 0.0
    walked = {walk.break_ for walk in settings.burn.walked if walk.date == day}
    steps.begin("edges")
    outline = outline_of(
        block.outline,
        others=block.beyond,
        covers={unit.unit_id: unit.cover for unit in state.units},
        features=features,
        boundary=boundary,
        grid=grid,
        within_m=settings.burn.beyond_within_m,
        on=day,
    )
    edges = burn_edges(
        outline,
        wind_from_deg=wind_from_deg,
        surface=dem.surface if dem else None,
        rising_above_pct=settings.terrain.flat_below_pct,
        walked=walked,
    )
    steps.begin("weather and surroundings")
    winds = winds_cast(request.at, wind_from_deg, request.forecast)
    fuel = fuel_there(pieces, state, day)
    within = LookedWithin(
        beyond=settings.burn.beyond_within_m,
        downwind=settings.burn.downwind_within_m,
        sensitive=settings.burn.sensitive_within_m,
        hazards=HAZARD_NEAR_M,
    )
    result = BurnsheetResult(
        place=settings.place.name,
        time=request.at.isoformat(timespec="minutes"),
        block=block_name(request.names, block.unit_ids, is_patch=request.patch is not None),
        units=block.unit_ids,
        acres=acres(own_m2),
        stage_acres=block.stage_acres,
        slash_acres=block.acres_where(lambda state: state.felled_frac > 0),
        snag_acres=block.acres_where(lambda state: state.snag_frac > 0),
        fuel=fuel,
        block_words=block_words(pieces, state, kind, on=day, is_compared=bool(signed)),
        plan=plan_info(plan, kind, signed),
        plan_signed=signed,
        # A calm has no direction that a plan could be held against.
        prescription=compare(
            {
                **weather,
                "wind_from_deg": None if weather["wind_mph"] == 0 else weather["wind_from_deg"],
                "fine_fuel_pct": driest,
            },
            windows,
        ),
        not_checked=(*NOT_CHECKED, *unsaid_words(windows)),
        wind_from_deg=wind_from_deg,
        wind_height=height,
        fine_fuel_moisture_pct=driest,
        fine_fuel_words=(why_no_tables(air) if air else NO_AIR_WORDS) or DEAD_FUEL_WORDS,
        fine_fuel_tables=tables_used_words(air) if air is not None and driest is not None else None,
        fine_fuel_clock_words=None if air is None or driest is None else _clock_words(air, dem, own_m2, driest, zone),
        fuel_moisture=classes,
        equilibrium_moisture_pct=equilibrium_moisture_simard_1968(air.temp_f, air.rh_pct) if air else None,
        vpd_kpa=vapour_pressure_deficit_kpa(air.temp_f, air.rh_pct) if air else None,
        edges=edges,
        edge_totals=edge_totals(edges),
        turned_edges=turned_edges(outline, winds),
        published_breaks=published_breaks(
            edges,
            wind_mph=weather["wind_mph"],
            has_cedar=any(holds_cedar_fuel(piece) for piece in pieces),
            tallest_ft=fuel.tallest_ft,
        ),
        winds_words=winds_words(winds),
        smoke=downwind_places(block.outline, features, grid=grid, winds=winds, within_m=within.downwind),
        nearby=nearby_places(block.outline, features, grid=grid, within_m=within.sensitive),
        inside=inside_places(block.outline, features, grid=grid),
        kept_from_fire=inside_places(block.outline, kept_from_fire(features), grid=grid),
        hazards=near_hazards(block.outline, features, grid=grid),
        looked_within_m=within,
        cold_air=cold_air(block.outline, cold_air_paths(dem.surface, block.outline), features, grid=grid)
        if dem
        else None,
        forecast=used,
        hours=burn_hours(
            request.forecast,
            plan_windows(plan, block.unit_ids, wind_height=used.wind_height if used else None),
            ignition=air,
            wind_from_deg=wind_from_deg,
            at=request.at,
            classes=classes,
            zone=zone,
        ),
        notify=settings.burn.notify,
        notices=notices_of(store.entries(), store.burns(), block.outline, grid=grid, day=day),
        # a dead tree beside the block falls into it, or torches
        cautions=(
            FIRE_CAUTION,
            DEAD_FUEL_WORDS,
            *((SNAG_CAUTION,) if has_snags(block.states_within(within.beyond)) else ()),
        ),
        warnings=not_used,
        closed=closed_words(closures(settings_of_now(store)), day, block.unit_ids),
        unlimited=(*unlimited_words(windows), *((PLAN_DAYS_WORDS,) if has_no_days else ())),
        plan_days=compared_days(days, day),
    )
    warnings = warnings_for(
        result,
        weather=weather,
        windows=windows,
        walked=walked,
        zone=zone,
        has_elevation=dem is not None,
        has_features=bool(features),
        has_boundary=boundary is not None,
        is_level_unknown=request.weather_elevation_ft is not None and above_ft is None,
    )
    return Burnsheet(store, weather, replace(result, warnings=(*result.closed, *not_used, *warnings)), pieces)


def _air(
    request: BurnRequest, weather: Mapping[str, float | None], above_ft: float | None, *, lat_deg: float
) -> Air | None:
    temp_f, rh_pct = weather["temp_f"], weather["rh_pct"]
    if temp_f is None or rh_pct is None:
        return None
    return Air(
        at=request.at,
        temp_f=temp_f,
        rh_pct=rh_pct,
        shade_pct=request.shade_pct,
        above_weather_ft=above_ft,
        lat_deg=lat_deg,
    )


def _clock_words(air: Air, dem: BlockTerrain | None, block_m2: float, driest: float, zone: ZoneInfo) -> str:
    is_daylight = bool(air.at.replace(tzinfo=zone).dst())
    other = fuel_classes(other_clock(air, is_daylight=is_daylight), dem, block_m2)
    return clock_words(driest, driest_pct(other), is_daylight=is_daylight)


def past_burn(store: Store, entry: str, *, today: dt.date, steps: Steps | None = None) -> Burnsheet:
    """Make the burn sheet of a logged burn again.

    Parameters
    ----------
    entry
        The line of the log: its id, the beginning of it, or the id it was imported with.
    today
        The local civil day at the place.
    steps
        As in `worked_out`.

    Raises
    ------
    InputError
        There is no such line or it is withdrawn, it is no burn, or its hour or the direction of its wind were not
        logged. No other weather is asked for: what is missing is said to be not given.
    """
    burn = logged_burn(store.entries(), store.burns(), entry)
    record = burn.record
    then = PastStore(store, before=burn.line.date, plans=record.plans, where=burn.where)
    sheet = worked_out(cast("Store", then), burn.request, steps=steps)
    past = burn.told(units=sheet.result.units, drawn=store.drawn_blocks(), today=today)
    logged_on = record.recorded_at.astimezone(ZoneInfo(store.settings.place.timezone)).date()
    past = replace(past, words=past_burn_words(past, logged_on if past.plans_kept else None))
    return replace(sheet, result=replace(sheet.result, block=past.block, notices=record.notices, again=past))
