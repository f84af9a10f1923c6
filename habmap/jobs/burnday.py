"""Burn day: the weather beside the written plan, and what lies on each side of the fire. It decides nothing."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import shapely
from shapely import MultiPolygon, Polygon

from habmap.errors import InputError
from habmap.jobs.burn.block import burn_block
from habmap.jobs.burn.forecast import (
    ForecastUsed,
    forecast_gust,
    forecast_used,
    wind_height,
    with_forecast,
)
from habmap.jobs.burn.ground import burn_ground
from habmap.jobs.burn.plan import (
    PlanInfo,
    Signed,
    height_words,
    kind_by_ground,
    plan_info,
    plan_windows,
    plans_signed,
    unlimited_words,
)
from habmap.jobs.burn.record import Again, logged_notices
from habmap.jobs.burn.words import block_name, block_words, warnings_for
from habmap.jobs.ground import ground
from habmap.jobs.named_units import settings_of_now
from habmap.jobs.ports import Store
from habmap.measures import M_PER_FT, acres
from habmap.records import Notice
from habmap.vocabulary import FIRE_CAUTION, SNAG_CAUTION
from habmap.work.burn.breaks import PublishedBreak, published_breaks
from habmap.work.burn.flanks import (
    Edge,
    EdgeTotals,
    TurnedEdge,
    burn_edges,
    edge_totals,
    holds_cedar_fuel,
    outline_of,
    turned_edges,
)
from habmap.work.burn.fuel import Fuel, FuelClass, fuel_classes, fuel_there, table_class
from habmap.work.burn.hours import BurnHour, burn_hours, hour_of
from habmap.work.burn.relief import BurnGround, cold_air_paths
from habmap.work.burn.request import BurnRequest
from habmap.work.burn.surroundings import (
    HAZARD_NEAR_M,
    ColdAir,
    InsidePlace,
    NearHazard,
    NearPlace,
    SmokePlace,
    cold_air,
    downwind_places,
    inside_places,
    near_hazards,
    nearby_places,
)
from habmap.work.burn.winds import winds_cast, winds_words
from habmap.work.burnday import ITEMS, NOT_CHECKED, Compared, Window, compare
from habmap.work.clock import comes_twice, is_skipped
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
from habmap.work.said import has_snags


@dataclass(frozen=True, slots=True, kw_only=True)
class LookedWithin:
    """How far was looked: beyond an edge, downwind and all round for sensitive places, for lines and tanks [m]."""

    beyond: float
    downwind: float
    sensitive: float
    hazards: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BurnDayResult:
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
    inside
        Everything on the map that lies in the block, what must not be harmed first; for the crew alone.
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
    plan_signed: tuple[Signed, ...]
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
    inside: tuple[InsidePlace, ...]
    hazards: tuple[NearHazard, ...]
    looked_within_m: LookedWithin
    cold_air: ColdAir | None
    forecast: ForecastUsed | None
    hours: tuple[BurnHour, ...]
    notify: tuple[str, ...]
    cautions: tuple[str, ...]
    warnings: tuple[str, ...]
    sheets: tuple[str, ...] = ()
    notices: tuple[Notice, ...] = ()
    again: Again | None = None


def burnday(store: Store, request: BurnRequest) -> BurnDayResult:
    """Compare a day's weather with the written plan and say what surrounds the burn.

    Raises
    ------
    InputError
        The hour never comes, a unit is not known, the weather is incomplete, or the elevation cannot be read.
    """
    settings = store.settings
    zone = ZoneInfo(settings.place.timezone)
    if is_skipped(request.at, zone) and not request.is_observed:
        raise InputError(
            "this hour never comes: the clock is put forward over it",
            where="--time",
            value=request.at.isoformat(timespec="minutes"),
            allowed=f"an hour that a clock in {settings.place.timezone} shows",
            mend="give the time of ignition on the property's own clock",
        )
    state = ground(store, on=request.at.date())
    chosen = burn_block(request.names, request.patch, settings=settings, state=state, saved=store.drawn_blocks())
    unit_ids, block, pieces, grid = chosen.unit_ids, chosen.outline, chosen.inside, state.grid
    if grid is None:
        raise InputError("the property holds no ground yet", mend="load its units with `habmap load units FILE`")
    request, not_used = with_forecast(store, request)
    weather = _weather(request, not_used)
    dem = burn_ground(store, grid, block)
    features = store.features()
    above_ft = _above_weather_ft(request, block, dem)
    lat_deg = float(grid.to_lonlat(shapely.point_on_surface(block)).y)
    air = _air(request, weather, above_ft, lat_deg)
    wind_from_deg = weather["wind_from_deg"] or 0.0
    classes = fuel_classes(air, dem, float(block.area))
    driest = min((line.pct for line in classes if line.pct is not None), default=None)
    kind = request.plan_kind or kind_by_ground(pieces)
    windows = plan_windows(settings, kind, unit_ids, wind_height=wind_height(request))
    used = forecast_used(store, request)
    signed = plans_signed(windows)
    values: dict[str, float | None] = {
        **weather,
        # A calm has no direction that a plan could be held against.
        "wind_from_deg": None if weather["wind_mph"] == 0 else weather["wind_from_deg"],
        "gust_mph": request.gust_mph if request.gust_mph is not None else forecast_gust(request),
        "fine_fuel_pct": driest,
        "days_since_rain": request.days_since_rain,
        "mixing_height_ft": request.mixing_height_ft,
        "transport_wind_mph": request.transport_wind_mph,
    }
    walked = {walk.break_ for walk in settings.burn.walked if walk.date == request.at.date()}
    boundary = store.boundary()
    outline = outline_of(
        block,
        others=chosen.beyond,
        covers={unit.unit_id: unit.cover for unit in state.units},
        features=features,
        boundary=boundary,
        grid=grid,
        within_m=settings.burn.beyond_within_m,
        on=request.at.date(),
    )
    edges = burn_edges(
        outline,
        wind_from_deg=wind_from_deg,
        surface=dem.surface if dem else None,
        rising_above_pct=settings.terrain.flat_below_pct,
        walked=walked,
    )
    totals = edge_totals(edges)
    winds = winds_cast(request.at, wind_from_deg, request.forecast)
    around = [piece for piece in chosen.beyond if _is_beside(piece, block, settings.burn.beyond_within_m)]
    fuel = fuel_there(pieces, state, request.at.date())
    return BurnDayResult(
        place=settings.place.name,
        time=request.at.isoformat(timespec="minutes"),
        block=block_name(request.names, unit_ids, is_patch=request.patch is not None),
        units=unit_ids,
        acres=acres(float(block.area)),
        stage_acres=_stage_acres(pieces),
        slash_acres=math.fsum(piece.acres for piece in pieces if piece.state.felled_frac > 0),
        snag_acres=math.fsum(piece.acres for piece in pieces if piece.state.snag_frac > 0),
        fuel=fuel,
        block_words=block_words(pieces, state, kind, on=request.at.date()),
        plan=plan_info(settings, kind, signed),
        plan_signed=signed,
        prescription=compare(values, windows),
        not_checked=(*NOT_CHECKED, *height_words(settings, kind, windows), *unlimited_words(windows)),
        wind_from_deg=wind_from_deg,
        wind_height=wind_height(request),
        fine_fuel_moisture_pct=driest,
        fine_fuel_words=(why_no_tables(air) if air else NO_AIR_WORDS) or DEAD_FUEL_WORDS,
        fine_fuel_tables=tables_used_words(air) if air is not None and driest is not None else None,
        fine_fuel_clock_words=None if air is None or driest is None else _clock_words(air, dem, block, driest, zone),
        fuel_moisture=classes,
        equilibrium_moisture_pct=equilibrium_moisture_simard_1968(air.temp_f, air.rh_pct) if air else None,
        vpd_kpa=vapour_pressure_deficit_kpa(air.temp_f, air.rh_pct) if air else None,
        edges=edges,
        edge_totals=totals,
        turned_edges=turned_edges(outline, winds),
        published_breaks=published_breaks(
            edges,
            wind_mph=weather["wind_mph"],
            has_cedar=any(holds_cedar_fuel(piece) for piece in pieces),
            tallest_ft=fuel.tallest_ft,
        ),
        winds_words=winds_words(winds),
        smoke=downwind_places(block, features, grid=grid, winds=winds, within_m=settings.burn.downwind_within_m),
        nearby=nearby_places(block, features, grid=grid, within_m=settings.burn.sensitive_within_m),
        inside=inside_places(block, features, grid=grid),
        hazards=near_hazards(block, features, grid=grid),
        looked_within_m=LookedWithin(
            beyond=settings.burn.beyond_within_m,
            downwind=settings.burn.downwind_within_m,
            sensitive=settings.burn.sensitive_within_m,
            hazards=HAZARD_NEAR_M,
        ),
        cold_air=cold_air(block, cold_air_paths(dem.surface, block), features, grid=grid) if dem else None,
        forecast=used,
        hours=_hours(
            request,
            plan_windows(settings, kind, unit_ids, wind_height=used.wind_height if used else None),
            wind_from_deg,
            classes,
            above_ft,
            lat_deg,
            zone,
        ),
        notify=settings.burn.notify,
        notices=logged_notices(store, block, grid=grid, day=request.at.date()),
        cautions=_cautions([*pieces, *around]),
        warnings=not_used
        + warnings_for(
            request_at=request.at,
            is_twice=comes_twice(request.at, zone),
            wind_mph=weather["wind_mph"],
            wind_height=wind_height(request),
            has_elevation=dem is not None,
            has_features=bool(features),
            has_boundary=boundary is not None,
            walked_elsewhere=sorted(walked - {edge.break_name for edge in edges if edge.boss_checked}),
            is_level_unknown=request.weather_elevation_ft is not None and above_ft is None,
            windows=windows,
            class_pcts=[line.pct for line in classes if line.pct is not None],
            settings=settings_of_now(store),
            unit_ids=unit_ids,
        ),
    )


def _weather(request: BurnRequest, not_used: Sequence[str]) -> dict[str, float | None]:
    """Return temperature, humidity and wind, from the request first, else from the forecast's hour.

    Raises
    ------
    InputError
        One of them is nowhere to be had; all that are missing are named.
    """
    hour = hour_of(request.forecast, request.at)
    found: dict[str, float | None] = {}
    missing = []
    for item in ("temp_f", "rh_pct", "wind_mph", "wind_from_deg"):
        said: float | None = getattr(request, item)
        told = said if said is not None else (getattr(hour, item) if hour else None)
        found[item] = told
        if told is None and (not request.is_observed or item == "wind_from_deg"):
            missing.append(ITEMS[item][0])
    if missing:
        raise InputError(
            "the weather at ignition is not complete",
            where="the forecast, at the hour of --time",
            value="; ".join((f"no {', no '.join(missing)}", *not_used)),
            allowed="temperature, humidity, wind and its direction, given or in the forecast",
            mend="give them with --temp-f, --rh-pct, --wind-mph and --wind-from, or load a forecast that reaches it: "
            "`habmap load forecast FILE`",
        )
    return found


def _air(request: BurnRequest, weather: dict[str, float | None], above_ft: float | None, lat_deg: float) -> Air | None:
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


def _above_weather_ft(request: BurnRequest, block: Polygon | MultiPolygon, dem: BurnGround | None) -> float | None:
    """Return how far the block's middle lies above the place of the weather; ``None`` = taken as level [ft]."""
    if request.weather_elevation_ft is None or dem is None:
        return None
    middle = shapely.get_coordinates(shapely.point_on_surface(block))[0].tolist()
    height_m = dem.surface.height_m(middle[0], middle[1])
    return None if height_m != height_m else height_m / M_PER_FT - request.weather_elevation_ft


def _stage_acres(pieces: Sequence[GroundPiece]) -> dict[str, float]:
    found: defaultdict[str, float] = defaultdict(float)
    for piece in pieces:
        found[piece.stage] += piece.acres
    return dict(sorted(found.items(), key=lambda item: -item[1]))


def _hours(
    request: BurnRequest,
    windows: Sequence[Window],
    wind_from_deg: float,
    classes: Sequence[FuelClass],
    above_ft: float | None,
    lat_deg: float,
    zone: ZoneInfo,
) -> tuple[BurnHour, ...]:
    if not request.forecast:
        return ()
    return burn_hours(
        request.forecast,
        windows,
        ignition=request.at,
        ignition_wind_from_deg=wind_from_deg,
        classes=[table_class(line.facing, line.slope_class) for line in classes],
        shade_pct=request.shade_pct,
        above_weather_ft=above_ft,
        lat_deg=lat_deg,
        zone=zone,
    )


def _clock_words(air: Air, dem: BurnGround | None, block: Polygon | MultiPolygon, driest: float, zone: ZoneInfo) -> str:
    is_daylight = bool(air.at.replace(tzinfo=zone).dst())
    other = other_clock(air, is_daylight=is_daylight)
    pcts = [line.pct for line in fuel_classes(other, dem, float(block.area)) if line.pct is not None]
    return clock_words(driest, min(pcts, default=None), is_daylight=is_daylight)


def _is_beside(piece: GroundPiece, block: Polygon | MultiPolygon, within_m: float) -> bool:
    return bool(shapely.dwithin(piece.geometry, block, within_m))


def _cautions(pieces: Sequence[GroundPiece]) -> tuple[str, ...]:
    """Return the cautions for a block and the ground beside it: a dead tree there falls into it, or torches."""
    found = [FIRE_CAUTION, DEAD_FUEL_WORDS]
    if has_snags(piece.state for piece in pieces):
        found.append(SNAG_CAUTION)
    return tuple(found)
