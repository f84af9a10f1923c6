"""The map for the meeting: account, ground, order of work, elevation and features joined in one page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from habmap.jobs.acres import acres
from habmap.jobs.bite import next_bite
from habmap.jobs.ground import ground
from habmap.jobs.photos import page_photos
from habmap.jobs.ports import Store
from habmap.jobs.printing import Written, refuse_money, written
from habmap.jobs.public import public_view
from habmap.jobs.rank import rank
from habmap.jobs.response import response
from habmap.jobs.snapshot import snapshot
from habmap.jobs.terrain import remaining_outlines, terrain, terrain_sums, unit_outlines
from habmap.place.elevation import open_named
from habmap.place.writers import refuse_to_write, write_whole
from habmap.progress import Progress, Steps
from habmap.show.page.contents import Answers, page_of
from habmap.show.records import Page, PagePhotos
from habmap.show.relief import RELIEF_CELLS, Relief, draw_relief, relief_bounds
from habmap.vocabulary import Audience, file_mark
from habmap.work.ground import Ground
from habmap.work.response_records import UnitResponse
from habmap.work.terrain import DemInfo

#: What a page for paper is worked out in, and what the screen's takes besides.
PAPER_STEPS: Final = ("ground", "terrain", "relief", "order of work")
_SCREEN_STEPS: Final = ("photos", "what came up", "next bite")


@dataclass(frozen=True, kw_only=True)
class MapResult(Written):
    """What was written; ``numbered_units`` carry a number in the order of work."""

    units: int
    numbered_units: int


def draw_map(
    store: Store,
    *,
    target: Path,
    now: datetime,
    audience: Audience = "owner",
    on: date | None = None,
    with_hours: bool = False,
    with_cost: bool = False,
    overwrite: bool = False,
    progress: Progress | None = None,
) -> MapResult:
    """Write the self-contained map page.

    Parameters
    ----------
    target
        The HTML file to write; missing folders are made. It appears whole or not at all.
    now
        The moment of drawing (UTC); the page tells its day at the place.
    audience
        ``public`` leaves out names, notes, hours, costs and private features, in the file itself.
    on
        As of this day's work; ``None``: all work so far.
    with_hours, with_cost
        Tell person-hours, and cost, on the owner's page; never on one for the public.
    progress
        Called with how far it is: its named steps.

    Raises
    ------
    UsageError
        Hours or cost are asked for on a page for the public.
    PlaceError
        It cannot be written.
    InputError
        The file is already there and ``overwrite`` is false, its name is that of a property's own
        file, or the elevation that the place names cannot be read.
    """
    refuse_money(audience, with_hours=with_hours, with_cost=with_cost)
    from habmap.show.page.render import render_page  # the page's templates: paper, drawn from here too, has no need

    mark = file_mark("map", audience)
    refuse_to_write(target, overwrite=overwrite, replaces=mark)
    store = snapshot(store)
    steps = Steps(progress, *PAPER_STEPS, *_SCREEN_STEPS, "page")
    page = build_page(store, now=now, audience=audience, on=on, with_hours=with_hours, with_cost=with_cost, steps=steps)
    steps.begin("page")
    content = render_page(page).encode()
    write_whole(target, lambda path: path.write_bytes(content), overwrite=overwrite, make_folder=True, replaces=mark)
    steps.end()
    return MapResult(
        **written(store, page, target),
        units=len(page.units),
        numbered_units=sum(unit.order is not None for unit in page.units),
    )


def build_page(
    store: Store,
    *,
    now: datetime,
    audience: Audience,
    on: date | None = None,
    with_hours: bool = False,
    with_cost: bool = False,
    is_paper: bool = False,
    steps: Steps | None = None,
) -> Page:
    """Return the page's records: every figure from the jobs that print it elsewhere, so that none can differ.

    ``is_paper`` leaves out what only the screen shows: where to cut next, what came up, and the photo points. ``steps``
    have `PAPER_STEPS` among their names, and for the screen its own.
    """
    steps = steps or Steps()
    steps.begin("ground")
    whole = snapshot(store)
    store = public_view(whole) if audience == "public" else whole
    own = store.settings.place
    state = ground(store, on=on)
    steps.begin("terrain")
    has_slopes = store.elevation() is not None and bool(state.units)
    if has_slopes:  # one pass over the raster for what the next two ask
        sets = [unit_outlines(store, on=on).values(), remaining_outlines(store, on=on).values()]
        terrain_sums(store, *sets, progress=steps.within)
    drawn_on = now.astimezone(ZoneInfo(own.timezone)).date()
    steps.begin("relief")
    dem, relief = _relief(store, state, has_all=audience == "owner")
    steps.begin("order of work")
    slopes = terrain(store, on=on) if has_slopes else None
    order = {line.unit_id: line for line in rank(store, on=on, today=drawn_on).units} if state.units else {}
    photos, bite = PagePhotos(points=(), missing=()), None
    came_up: tuple[UnitResponse, ...] = ()
    if not is_paper:
        steps.begin("photos")
        photos = page_photos(store, audience=audience, on=on)
        steps.begin("what came up")
        came_up = response(store, on=on).units
        steps.begin("next bite")
        bite = next_bite(whole, on=on, today=drawn_on, audience=audience) if state.units else None
    return page_of(
        Answers(
            state=state,
            account=acres(store, on=on),
            limits=store.settings.stages,
            versions=store.unit_versions(),
            features=store.features(),
            boundary=store.boundary(),
            grid=store.grid,
            has_elevation=store.elevation() is not None,
            dem=dem,
            relief=relief,
            slopes=slopes,
            order=order,
            photos=photos,
            response=came_up,
            bite=bite,
        ),
        audience=audience,
        drawn_on=drawn_on,
        currency=own.currency,
        cedar=own.cedar,
        with_hours=with_hours,
        with_cost=with_cost,
    )


def _relief(store: Store, state: Ground, *, has_all: bool) -> tuple[DemInfo | None, Relief | None]:
    """Return what the elevation is and what is drawn of it.

    Where nothing else tells which ground it is about, that is all of it (``has_all``) or nothing.
    """
    source, boundary = store.elevation(), store.boundary()
    shown = [*(unit.geometry for unit in state.units), *(() if boundary is None else (boundary.geometry,))]
    if source is None or not (shown or has_all):
        return None, None
    with open_named(source) as elevation:
        bounds = relief_bounds(shown) if shown else elevation.bounds_lonlat()
        coarse = elevation.coarse_heights(bounds, RELIEF_CELLS)
        dem = elevation.info()
    heights_m = coarse.heights_m.astype("float64")
    return dem, draw_relief(heights_m, transform=coarse.transform, crs_wkt=coarse.crs_wkt)
