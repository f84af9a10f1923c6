"""``habmap region``: many properties, and very many stands over big elevation, by any number of workers."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from habmap.cli.context import AudienceOption, For, JsonOption, OnOption, OverwriteOption
from habmap.cli.load.rasters import known_vertical_unit
from habmap.cli.output import print_table, say, told_as_json, warn
from habmap.errors import UsageError
from habmap.measures import so_many

if TYPE_CHECKING:
    from collections.abc import Callable

    from habmap.region.records import RegionAccount, RegionTerrain

WorkersOption = Annotated[
    int | None,
    typer.Option("--workers", metavar="N", min=1, help="Processes on this machine; unless said, one a processor."),
]
SchedulerOption = Annotated[
    str | None,
    typer.Option(
        "--scheduler", metavar="ADDRESS", help="A running dask.distributed cluster, such as tcp://10.0.0.5:8786."
    ),
]
ResumeOption = Annotated[bool, typer.Option("--resume", help="Go on from the parts that are whole.")]
OutputOption = Annotated[Path, typer.Option("-o", "--output", metavar="FILE", help="The file to write.")]
#: How often progress is told where no terminal shows a bar [s].
_TELL_EVERY_S = 10.0


def register(app: typer.Typer) -> None:
    """Add the commands."""
    region = typer.Typer(help="Many properties or stands at once.", no_args_is_help=True)
    region.command("terrain")(terrain_command)
    region.command("account")(account_command)
    app.add_typer(region, name="region")


def terrain_command(
    units: Annotated[Path, typer.Argument(metavar="UNITS", help="A layer of stands; they may overlap.")],
    tiles: Annotated[list[Path], typer.Argument(metavar="DEM…", help="Elevation: one raster, a .vrt, or many tiles.")],
    output: OutputOption,
    workers: WorkersOption = None,
    scheduler: SchedulerOption = None,
    resume: ResumeOption = False,
    layer: Annotated[str | None, typer.Option("--layer", metavar="NAME", help="Which layer of UNITS.")] = None,
    id_column: Annotated[
        str | None, typer.Option("--id", metavar="COLUMN", help="The stands' labels: unit_id, else the row's number.")
    ] = None,
    vertical_unit: Annotated[
        str | None, typer.Option("--vertical-unit", metavar="m|ft|us-ft", help="Unit of the heights, if no file says.")
    ] = None,
    analysis_cell_m: Annotated[
        str, typer.Option("--analysis-cell-m", metavar="M|native", help="Finer elevation is averaged to about this.")
    ] = "10",
    flat_below_pct: Annotated[float, typer.Option("--flat-below-pct", min=0, help="Gentler ground faces nowhere.")] = 5,
    sun_facing_deg: Annotated[
        tuple[float, float], typer.Option("--sun-facing-deg", help="First and last bearing that face the sun.")
    ] = (112.5, 247.5),
    machine_limit_pct: Annotated[
        float, typer.Option("--machine-limit-pct", min=0, help="Steeper ground is for hands only.")
    ] = 30,
    parts: Annotated[
        Path | None, typer.Option("--parts", metavar="DIR", help="Folder of parts, to share with other runs.")
    ] = None,
    part_cells: Annotated[
        int,
        typer.Option("--part-cells", metavar="N", min=64, help="Side of the ground of one part, in cells as stored."),
    ] = 4096,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Write every figure of `terrain` for any number of stands as GeoParquet, GeoPackage or CSV.

    The figures are the same to the last digit whatever the workers, their order and what was lost on the way. What is
    whole stays in FILE.parts: --resume goes on from it, and another --flat-below-pct or --machine-limit-pct is answered
    from it at once.
    """
    from habmap.land.facerules import FaceRules
    from habmap.region.engine import engine_for
    from habmap.region.plan import Asked, Ground
    from habmap.region.terrain import region_terrain

    rules = FaceRules(flat_below_pct=flat_below_pct, sun_facing_deg=sun_facing_deg, machine_limit_pct=machine_limit_pct)
    ground = Ground(
        tiles=tuple(dict.fromkeys(tiles)), vertical_unit=known_vertical_unit(vertical_unit),
        analysis_cell_m=_cell(analysis_cell_m), rules=rules,
    )  # fmt: skip
    asked = Asked(
        units=units, output=output, layer=layer, id_column=id_column, parts_folder=parts, part_cells=part_cells,
        is_resumed=resume, overwrite=overwrite, ground=ground,
    )  # fmt: skip
    with _told("stands", resume=asked.folder) as told:
        result = region_terrain(asked, lambda: engine_for(workers=workers, scheduler=scheduler), told=told)
    if told_as_json("region-terrain", result, as_json=as_json):
        return
    _say_terrain(result)


def _cell(text: str) -> Any:
    if text == "native":
        return "native"
    try:
        size = float(text)
    except ValueError:
        size = 0.0
    if not 0 < size < 1e6:
        raise UsageError(
            "no such cell",
            where="--analysis-cell-m",
            value=text,
            allowed="meters above 0, or native",
            mend="give the side of a cell in meters, or native",
        )
    return size


def _say_terrain(result: RegionTerrain) -> None:
    say(f"Terrain of {result.stands:,} stands was written to {result.written}.")
    if result.off_stands:
        names = ", ".join(fault.place for fault in result.faults[:5])
        more = "" if result.off_stands <= 5 else f" and {result.off_stands - 5:,} more"
        warn(f"{result.off_stands:,} stands lie off the elevation and have no figures: {names}{more}")
    kept = f", {result.kept_parts} of them whole before" if result.kept_parts else ""
    again = f", {result.retried} begun anew" if result.retried else ""
    rate = result.stands_per_core_second
    pace = "" if rate is None else f"; {rate:,.0f} stands a second and processor"
    count = f"{so_many(result.parts, 'part')}"
    say(f"{count}{kept}{again}; {result.workers} workers, {result.seconds:,.0f} s{pace}.")
    say(f"The parts lie in {result.parts_folder}: another limit is answered from them at once; they may be deleted.")


def account_command(
    places: Annotated[list[Path], typer.Argument(metavar="PLACES…", help="Properties' folders, or folders of them.")],
    output: OutputOption,
    on: OnOption = None,
    audience: AudienceOption = For.OWNER,
    workers: WorkersOption = None,
    scheduler: SchedulerOption = None,
    resume: ResumeOption = False,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Roll up many properties: acres, what this week asks, hours and money, as one page, one table and one calendar.

    Properties are only read. One that is damaged, busy or of a newer habmap is listed, and the rest is done. FILE is
    the page (.html); its table (.csv) and calendar (.ics) lie beside it under the same name.
    """
    from datetime import UTC, datetime

    from habmap.region.account import AskedAccount, region_account
    from habmap.region.engine import engine_for

    asked = AskedAccount(
        places=tuple(places), output=output, audience=audience.value, on=on,
        today=datetime.now(UTC).astimezone().date(), is_resumed=resume, overwrite=overwrite,
    )  # fmt: skip
    with _told("properties", resume=asked.folder) as told:
        result = region_account(asked, lambda: engine_for(workers=workers, scheduler=scheduler), told=told)
    for fault in result.faults:
        warn(f"{fault.place}: {fault.what}")
    if told_as_json("region-account", result, as_json=as_json):
        return
    _say_account(result)


def _say_account(result: RegionAccount) -> None:
    total, count = result.total, len(result.places)
    say(
        f"{so_many(count, 'property')}, {total.acres:,.1f} acres: "
        f"{total.treated_acres:,.1f} treated, {total.remaining_acres:,.1f} remaining; "
        f"written to {', '.join(result.written)}."
    )
    print_table(
        ["property", "acres", "treated", "remaining", "left on purpose", "this week", "hours", "cost"],
        [
            [
                row.place, row.acres, row.treated_acres, row.remaining_acres, row.keep_acres, row.week_items,
                row.person_hours, row.cost,
            ]
            for row in (*result.places, total)
        ],
    )  # fmt: skip


@contextmanager
def _told(things: str, *, resume: Path) -> Iterator[Callable[[int, int], None]]:
    """Tell how many are done, how fast it goes and how long it takes still; of Ctrl-C how to go on."""
    began = time.perf_counter()
    last = began
    first: list[int] = []
    is_terminal = sys.stderr.isatty()

    def told(done: int, count: int) -> None:
        nonlocal last
        now = time.perf_counter()
        first.append(done) if not first else None
        if done < count and now - last < (0.2 if is_terminal else _TELL_EVERY_S):
            return
        last = now
        rate = (done - first[0]) / (now - began) if now > began else 0.0
        left = f", {(count - done) / rate:,.0f} s left" if rate and done < count else ""
        words = f"{done:,} of {count:,} {things} done" + (f", {rate:,.0f} a second{left}" if rate else "")
        sys.stderr.write(f"\r{words}\x1b[K" if is_terminal else f"{words}\n")
        sys.stderr.flush()

    try:
        yield told
    except KeyboardInterrupt:
        sys.stderr.write("\n" if is_terminal else "")
        warn(f"stopped; what is whole stays in {resume}: give the same command with --resume to go on")
        raise
    finally:
        if is_terminal:
            sys.stderr.write("\r\x1b[K")
