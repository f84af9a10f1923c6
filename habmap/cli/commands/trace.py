"""``habmap trace``: a GPS walk becomes ground."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from habmap.cli import work_options as options
from habmap.cli.context import JsonOption, Session
from habmap.cli.output import print_table, say, told_as_json, warn

if TYPE_CHECKING:
    from habmap.work.traced import TraceResult


def command(
    context: typer.Context,
    files: Annotated[list[Path], typer.Argument(metavar="GPX…", help="GPX, KML or GeoJSON walks, taken as one walk.")],
    swath_ft: options.SwathOption = None,
    start: options.FromOption = None,
    end: options.ToOption = None,
    unit_id: Annotated[
        str | None, typer.Option("--unit-id", metavar="ID", help="Keep the ground as a new unit.")
    ] = None,
    cover: Annotated[
        str | None, typer.Option("--cover", metavar="C", help="The new unit's cover: cedar, mixed, grass, …")
    ] = None,
    name: Annotated[str | None, typer.Option("--name", help="What people call the new unit.")] = None,
    trim: Annotated[
        bool, typer.Option("--trim", help="Cut the new unit back to the edges of units that are there.")
    ] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Check and show everything; write nothing.")] = False,
    travel: options.TravelOption = "foot",
    as_json: JsonOption = False,
) -> None:
    """Turn a GPS walk into clean ground with acres and how sure.

    A walk around the ground gives what lies inside; a working track needs --swath-ft and gives what was covered.
    Nothing is kept without --unit-id and --cover.
    """
    from habmap.jobs.trace import trace as turn
    from habmap.place.settings import SETTINGS_FILE
    from habmap.work.traced import Window

    session: Session = context.obj
    # Looking at a walk needs no property; its settings and grid count where there is one.
    has_place = (session.folder / SETTINGS_FILE).exists()
    needs_place = unit_id is not None or session.folder != Path()
    store = session.store() if has_place or needs_place else None
    result = turn(
        store,
        files,
        now=session.now(),
        swath_ft=swath_ft,
        travel=travel,
        window=Window(start, end),
        unit_id=unit_id,
        cover=cover,
        name=name,
        trim=trim,
        dry_run=dry_run,
    )
    if told_as_json("trace", result, as_json=as_json):
        return
    _print(result, timezone="UTC" if store is None else store.settings.place.timezone)
    if store is None:
        warn("no property here: the default GPS settings were used, and times of day are UTC")


def _print(result: TraceResult, *, timezone: str) -> None:
    from zoneinfo import ZoneInfo

    from habmap.measures import M_PER_FT, ft

    article = "an" if result.kind == "edge walk" else "a"
    sure = "" if result.acres_sd is None else f" (standard deviation {result.acres_sd:,.2f} from the fixes' own error)"
    covered = "" if result.swath_ft is None else f", a swath of {result.swath_ft:g} ft along it"
    say(f"This looks like {article} {result.kind}{covered}: {result.acres:,.2f} acres{sure}.")
    if result.is_added:
        say(f"Unit {result.unit_id} was added.")
    elif result.unit_id is not None:
        say(f"Unit {result.unit_id} could be added; nothing was kept (--dry-run).")
    else:
        say("Nothing was kept: give --unit-id and --cover to keep it as a unit, or log work on it with log --track.")
    rows: list[tuple[str, object]] = [
        ("acres", result.acres),
        ("acres on the ellipsoid", result.geodesic_acres),
        ("perimeter, ft", result.perimeter_m / M_PER_FT),
        ("closed with straight lines, ft", ft(result.closed_gap_m)),
        ("fixes read", result.fixes),
        ("fixes used", result.kept_fixes),
    ]
    rows += [(f"dropped: {one.reason}", one.count) for one in result.dropped]
    if result.loops_dissolved:
        rows.append(("loops smaller than the GPS error dissolved", result.loops_dissolved))
    if result.holes_closed:
        rows.append(("small holes closed", result.holes_closed))
    if result.started_at is not None and result.ended_at is not None:
        for word, moment in (("from", result.started_at), ("to", result.ended_at)):
            rows.append((f"{word}, {timezone}", f"{moment.astimezone(ZoneInfo(timezone)):%Y-%m-%d %H:%M}"))
    print_table(("what", "figure"), [(what, f"{v:,.2f}" if isinstance(v, float) else str(v)) for what, v in rows])
    for note in result.notes:
        warn(note)
