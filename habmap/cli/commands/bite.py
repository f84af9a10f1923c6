"""``habmap bite``: where the next acre or two lies, to be walked."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from habmap.cli.context import JsonOption, OnOption, OverwriteOption, Session
from habmap.cli.output import say, told_as_json
from habmap.errors import UsageError

if TYPE_CHECKING:
    from habmap.jobs.ports import Store
    from habmap.work.bite import BiteResult

#: Less or more is a slip of the finger, in acres and in hours.
LEAST: Final = 0.01
MOST: Final = 100_000


def command(
    context: typer.Context,
    acres: Annotated[float | None, typer.Option("--acres", help="How much ground.")] = None,
    hours: Annotated[
        float | None,
        typer.Option("--hours", help="Person-hours there are, at the log's own rate; with --acres too the lesser."),
    ] = None,
    unit_id: Annotated[
        str | None, typer.Option("--unit", help="In this unit (else in the one that comes next).")
    ] = None,
    hand_only: Annotated[
        bool, typer.Option("--hand-only", help="Take ground too steep for a machine as well.")
    ] = False,
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", metavar="FILE", help="Also write its outline, .gpx or .geojson."),
    ] = None,
    on: OnOption = None,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Say where to cut next. One contiguous piece beside opened ground, a lane or a firebreak, no scraps left."""
    _check(acres, hours, output)
    from habmap.jobs.bite import bite
    from habmap.measures import acres_words, hours_words

    session: Session = context.obj
    store = session.store()
    today = session.local_day()
    result = bite(store, acres=acres, hours=hours, unit_id=unit_id, hand_only=hand_only, on=on, today=today)
    if output is not None:
        _write(store, result, output, overwrite=overwrite)
    if told_as_json("bite", result, as_json=as_json):
        return
    called = f"{result.unit_id} ({result.unit_name})" if result.unit_name else result.unit_id
    takes = "" if result.person_hours is None else f", about {hours_words(result.person_hours)}"
    say(f"Cut {acres_words(result.acres)} in {called}{takes}.")
    say("")
    for reason in result.why:
        say(f"- {reason}.")
    if result.person_hours is not None:
        say(f"- the hours rest on {result.rests_on}.")
    say("")
    if output is not None:
        say(f"Its outline was written to {output}; {result.new_edge_ft:,.0f} ft of it are new edge to walk.")
    else:
        say(f"{result.new_edge_ft:,.0f} ft of its edge are new; -o FILE.gpx writes its outline to walk.")
    say(f"Holds and closed days as of {result.closed_on.isoformat()}.")
    for caution in session.cautions(result.cautions):
        say(caution)


def _check(acres: float | None, hours: float | None, output: Path | None) -> None:
    if acres is None and hours is None:
        raise UsageError("how much ground?", where="--acres, --hours", mend="give --acres, or --hours, or both")
    for option, value in (("--acres", acres), ("--hours", hours)):
        if value is not None and not LEAST <= value <= MOST:
            raise UsageError(
                "this is no amount to cut",
                where=option,
                value=value,
                allowed=f"{LEAST} to {MOST:,}",
                mend="give a number in these limits",
            )
    if output is not None:
        from habmap.place.writers import refuse_ending

        mend = "name a .gpx for a handheld, or a .geojson for a map"
        refuse_ending(output, ".gpx", ".geojson", what="the name of the file says what kind it is", mend=mend)


def _write(store: Store, result: BiteResult, output: Path, *, overwrite: bool) -> None:
    from shapely.geometry import shape

    from habmap.land.acreage import multipolygon
    from habmap.measures import acres_words
    from habmap.place.writers import gpx_text, write_layer, write_whole

    outline = shape(dict(result.geometry))
    title = f"{result.unit_id} next {acres_words(result.acres)}"
    if output.suffix.lower() == ".gpx":
        ground = multipolygon(outline)
        comment = "; ".join(
            [f"{acres_words(result.acres)} to cut next", *(f"beside {words}" for words in result.beside)]
        )
        text = gpx_text(name=store.settings.place.name, edges=[(title, comment, ground)])
        write_whole(output, lambda path: path.write_text(text, encoding="utf-8"), overwrite=overwrite)
        return
    row: dict[str, str | float | int | None] = {"unit_id": result.unit_id, "name": title, "acres": result.acres}
    write_whole(output, lambda path: write_layer(path, layer="bite", rows=[row], shapes=[outline]), overwrite=overwrite)
