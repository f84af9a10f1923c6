"""``habmap export``: practice acres for paperwork, layers for other programs, outlines for a handheld."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

import typer

from habmap.cli.burn_options import PAPERS, check_choice
from habmap.cli.commands.sheet import PaperSize
from habmap.cli.context import AudienceOption, For, JsonOption, OnOption, OverwriteOption, Session, day_option
from habmap.cli.output import print_json, print_table, progress_bar, rounded, say, steps_shown, told_as_json
from habmap.errors import UsageError
from habmap.measures import so_many

if TYPE_CHECKING:
    from shapely import MultiPolygon

    from habmap.show.layer_tables import LayerTable
    from habmap.show.logsheet import LogPaper
    from habmap.work.practice_report import PracticesResult
    from habmap.work.revisits import Revisit


OutOption = Annotated[Path, typer.Option("--output", "-o", metavar="FILE", help="The file to write.")]
ProgramYearOption = Annotated[
    int | None, typer.Option(min=1900, max=2999, help="Program year, named after the year it ends in.")
]
FromOption = Annotated[date | None, day_option("--from", "First day of the range.")]
ToOption = Annotated[date | None, day_option("--to", "Last day of the range.")]


def register(app: typer.Typer) -> None:
    """Hang the commands on the app."""
    export = typer.Typer(help="Write acres for paperwork, layers, or outlines for a handheld.")
    app.add_typer(export, name="export")

    @export.command("practices")
    def practices(
        context: typer.Context,
        output: OutOption,
        program_year: ProgramYearOption = None,
        first: FromOption = None,
        last: ToOption = None,
        audience: AudienceOption = For.OWNER,
        overwrite: OverwriteOption = False,
        as_json: JsonOption = False,
    ) -> None:
        """Write planned and applied acres per practice. Per contract item too, as .csv or .xlsx."""
        from habmap.jobs.export_practices import export_practices
        from habmap.show.practice_table import looked_at

        _suffix(output, ".csv", ".xlsx")
        _year_or_range(program_year, first, last)
        session: Session = context.obj
        with steps_shown("paperwork", "file") as steps:
            steps.begin("paperwork")
            result = export_practices(
                session.store(), year=program_year, first=first, last=last, audience=audience.value
            )
            steps.begin("file")
            _write(output, _practice_writer(result), overwrite)
        if told_as_json("export-practices", result, as_json=as_json):
            return
        span = f"from {result.from_date} to {result.to_date}"
        applied_acres = sum(item.applied_acres for item in result.items)
        say(
            f"{applied_acres:.1f} applied acres of {result.practice_acres:.1f} practice acres worked {span}, "
            f"written to {output}."
        )
        for words in looked_at(result):
            say(f"Look at this: {words}.")
        print_table(
            ["program", "item", "code", "planned", "applied", "short", "not counted"],
            [
                [
                    item.program,
                    item.item,
                    item.practice_code,
                    rounded(item.planned_acres, 1),
                    rounded(item.applied_acres, 1),
                    rounded(item.short_acres, 1),
                    rounded(sum(item.apart_acres.values()), 1),
                ]
                for item in result.items
            ],
        )

    @export.command("ledger")
    def ledger(
        context: typer.Context,
        output: OutOption,
        audience: AudienceOption = For.OWNER,
        overwrite: OverwriteOption = False,
        as_json: JsonOption = False,
    ) -> None:
        """Write every line of the log that counts. As .csv (ground as WKT), .gpkg or .geojson."""
        from habmap.jobs.export_layers import ledger_table

        _suffix(output, ".csv", ".gpkg", ".geojson")
        session: Session = context.obj
        with steps_shown("log", "file") as steps:
            steps.begin("log")
            table = ledger_table(session.store(), audience=audience.value)
            steps.begin("file")
            _write(output, _table_writer(table, output), overwrite)
        _report("export-ledger", output, len(table.rows), "log line", audience, as_json=as_json)

    @export.command("units")
    def units(
        context: typer.Context,
        output: OutOption,
        on: OnOption = None,
        audience: AudienceOption = For.OWNER,
        overwrite: OverwriteOption = False,
        as_json: JsonOption = False,
    ) -> None:
        """Write the units with their acres by stage. As .gpkg or .geojson."""
        from habmap.jobs.export_layers import units_table

        _suffix(output, ".gpkg", ".geojson")
        session: Session = context.obj
        today = session.local_day()
        with steps_shown("ground", "file") as steps:
            steps.begin("ground")
            table = units_table(session.store(), on=on, today=today, audience=audience.value)
            steps.begin("file")
            _write(output, _table_writer(table, output), overwrite)
        _report("export-units", output, len(table.rows), "unit", audience, as_json=as_json)

    @export.command("gpx")
    def gpx(
        context: typer.Context,
        output: OutOption,
        on: OnOption = None,
        audience: AudienceOption = For.OWNER,
        overwrite: OverwriteOption = False,
        as_json: JsonOption = False,
    ) -> None:
        """Write unit edges and remaining ground for a handheld.

        Photo points and plots too. Nests, graves and other features stay out. Parts under a tenth of an acre do too:
        what they add up to is said.
        """
        from habmap.jobs.export_layers import handheld
        from habmap.show.handheld import HandheldFile, scraps_words

        _suffix(output, ".gpx")
        session: Session = context.obj
        store = session.store()
        today = session.local_day()
        with steps_shown("ground", "file") as steps:
            steps.begin("ground")
            found = handheld(store, on=on, today=today, audience=audience.value)
            steps.begin("file")
            _write_gpx(output, store.settings.place.name, found.outlines, found.spots, overwrite, is_again=False)
        scraps = [one for one in found.remaining if one.scraps]
        if as_json:
            written = HandheldFile(
                path=str(output),
                rows=len(found.outlines),
                waypoints=len(found.spots),
                scraps=sum(one.scraps for one in scraps),
                scrap_acres=sum(one.scrap_acres for one in scraps),
                audience=audience.value,
            )
            print_json("export-gpx", written)
            return
        for one in scraps:
            say(f"Left out: {scraps_words(one.unit_id, one.scraps, one.scrap_acres)}.")
        told = f"{so_many(len(found.outlines), 'outline')} and {so_many(len(found.spots), 'waypoint')}"
        say(f"{told} written to {output}.")

    @export.command("revisits")
    def revisits(
        context: typer.Context,
        output: OutOption,
        on: OnOption = None,
        within_days: Annotated[
            int, typer.Option(min=0, max=36500, metavar="DAYS", help="Also what is due within so many days.")
        ] = 0,
        audience: AudienceOption = For.OWNER,
        overwrite: OverwriteOption = False,
        as_json: JsonOption = False,
    ) -> None:
        """Write what is to be looked at again as waypoints.

        Photo points, plots and cover frames that are due, for a handheld: after so many days as `habmap.toml` says, and
        at once where work changed what they show.
        """
        from habmap.jobs.export_layers import due_again
        from habmap.show.handheld import RevisitsFile, without_place_words

        _suffix(output, ".gpx")
        session: Session = context.obj
        store = session.store()
        day = on or session.local_day()
        with steps_shown("ground", "file") as steps:
            steps.begin("ground")
            found = due_again(store, on=day, within_days=within_days, audience=audience.value)
            spots = [one for one in found if one.lonlat is not None]
            steps.begin("file")
            _write_gpx(output, store.settings.place.name, (), spots, overwrite, is_again=True)
        if as_json:
            written = RevisitsFile(path=str(output), on=day, rows=len(spots), audience=audience.value, spots=found)
            print_json("export-revisits", written)
            return
        for words in without_place_words(found):
            say(f"Left out: {words}.")
        kinds = ", ".join(
            so_many(count, words)
            for kind, words in (("photo", "photo point"), ("plot", "plot"), ("frame", "cover frame"))
            if (count := sum(one.kind == kind for one in spots))
        )
        say(f"{so_many(len(spots), 'spot')} due again on {day}{f' ({kinds})' if kinds else ''} written to {output}.")

    @export.command("packet")
    def packet(
        context: typer.Context,
        output: OutOption,
        item: Annotated[str, typer.Option("--item", metavar="ITEM", help="Contract item, as habmap.toml has it.")],
        program_year: ProgramYearOption = None,
        first: FromOption = None,
        last: ToOption = None,
        paper: Annotated[PaperSize, typer.Option("--paper", help="The paper it is printed on.")] = PaperSize.LETTER,
        audience: AudienceOption = For.OWNER,
        overwrite: OverwriteOption = False,
        as_json: JsonOption = False,
    ) -> None:
        """Write one contract item for an inspector as a .pdf. Its ground, dates, log lines, map, photos and payment.

        Ground at target and first treated in time counts, once; all else stands apart, each with its acres. Private
        places are on no packet; one for the public leaves out names, program, rate and payment too.
        """
        from habmap.jobs.export_packet import export_packet

        _suffix(output, ".pdf")
        _year_or_range(program_year, first, last)
        session: Session = context.obj
        with progress_bar() as progress:
            result = export_packet(
                session.store(), item=item, target=output, now=session.now(), paper=paper.value, year=program_year,
                first=first, last=last, audience=audience.value, overwrite=overwrite, progress=progress,
            )  # fmt: skip
        if told_as_json("export-packet", result, as_json=as_json):
            return
        paid = "" if result.paper_payment is None else f", payment {result.paper_payment:,.2f}"
        say(
            f"{result.paper_acres:.1f} acres count{paid}; {so_many(result.pages, 'page')}, map at 1:{result.scale:,}, "
            f"{so_many(result.photo_pairs, 'photo pair')}, written to {output}."
        )
        for words in result.questions:
            say(f"Would be asked: {words}")

    @export.command("log-sheet")
    def log_sheet(
        context: typer.Context,
        output: OutOption,
        paper: Annotated[
            str, typer.Option("--paper", metavar="|".join(PAPERS), help="The paper it is printed on.")
        ] = PAPERS[0],
        overwrite: OverwriteOption = False,
    ) -> None:
        """Write a blank log sheet to print. A .pdf, or as .csv the empty table that reads it back."""
        from habmap.place.writers import csv_text
        from habmap.show.logsheet import SHEET_COLUMNS, log_sheet_pdf

        _suffix(output, ".pdf", ".csv")
        check_choice("--paper", paper, PAPERS)
        session: Session = context.obj
        store = session.store()
        if output.suffix.lower() == ".csv":
            header = ["entry_id", *SHEET_COLUMNS]
            text = csv_text(header, [])
            _write(output, lambda path: path.write_bytes(text.encode("utf-8")), overwrite)
            say(f"An empty table was written to {output}; fill it in and load it with `habmap load entries`.")
            return
        named = [(unit.unit_id, unit.name) for unit in store.units()]
        content = log_sheet_pdf(place=store.settings.place.name, units=named, paper=cast("LogPaper", paper))
        _write(output, lambda path: path.write_bytes(content), overwrite)
        say(f"A blank log sheet was written to {output}.")


def _report(command: str, output: Path, rows: int, what: str, audience: For, *, as_json: bool) -> None:
    if as_json:
        from habmap.show.layer_tables import WrittenFile

        print_json(command, WrittenFile(path=str(output), rows=rows, audience=audience.value))
        return
    say(f"{so_many(rows, what)} written to {output}.")


def _write_gpx(
    output: Path,
    place: str,
    outlines: Sequence[tuple[str, str, MultiPolygon]],
    spots: Sequence[Revisit],
    overwrite: bool,
    *,
    is_again: bool,
) -> None:
    from habmap.place.writers import Waypoint, gpx_text
    from habmap.show.handheld import KIND_WORDS, waypoint_name, waypoint_words

    waypoints = [
        Waypoint(
            name=waypoint_name(one),
            words=waypoint_words(one, is_again=is_again),
            kind=KIND_WORDS[one.kind],
            lonlat=one.lonlat,
        )
        for one in spots
        if one.lonlat is not None
    ]
    text = gpx_text(name=place, edges=outlines, waypoints=waypoints)
    _write(output, lambda path: path.write_text(text, encoding="utf-8"), overwrite)


def _year_or_range(year: int | None, first: date | None, last: date | None) -> None:
    if year is not None and (first or last):
        raise UsageError(
            "give a program year or a range of days, not both",
            where="--program-year, --from, --to",
            mend="leave out the one or the other",
        )


def _suffix(path: Path, *allowed: str) -> None:
    from habmap.place.writers import refuse_ending

    mend = "name the file with one of these endings"
    refuse_ending(path, *allowed, what="this kind of file is not written here", mend=mend)


def _write(path: Path, write: Callable[[Path], object], overwrite: bool) -> None:
    from habmap.place.writers import write_whole

    write_whole(path, write, overwrite=overwrite)


def _table_writer(table: LayerTable, output: Path) -> Callable[[Path], object]:
    from habmap.place.writers import csv_text, write_layer

    if output.suffix.lower() == ".csv":
        text = csv_text(table.columns, [[row[c] for c in table.columns] for row in table.rows])
        return lambda path: path.write_bytes(text.encode("utf-8"))
    # the layer carries the ground as a shape, so that it need not stand there twice
    rows = [{name: cell for name, cell in row.items() if name != "patch_wkt"} for row in table.rows]
    return lambda path: write_layer(path, layer=table.layer, rows=rows, shapes=table.shapes)


def _practice_writer(result: PracticesResult) -> Callable[[Path], object]:
    from habmap.place.writers import csv_text, write_workbook
    from habmap.show.practice_table import PRACTICE_COLUMNS, practice_rows

    rows = practice_rows(result)

    def write(path: Path) -> None:
        if path.suffix.lower() == ".xlsx":
            write_workbook(path, [("practices", tuple(PRACTICE_COLUMNS), rows)])
        else:
            path.write_bytes(csv_text(tuple(PRACTICE_COLUMNS), rows).encode("utf-8-sig"))

    return write
