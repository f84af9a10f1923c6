"""``habmap export``: practice acres for paperwork, layers for other programs, outlines for a handheld."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from habmap.cli.context import JsonOption, OnOption, OverwriteOption, Session, parsed_date
from habmap.cli.output import print_json, print_table, rounded, say
from habmap.errors import UsageError

if TYPE_CHECKING:
    from habmap.jobs.export_layers import LayerTable
    from habmap.jobs.export_practices import PracticesResult
    from habmap.place.writers import Cell
    from habmap.work.paperwork import AppliedLine, ItemTotal


class Audience(StrEnum):
    """Who will see it."""

    owner = "owner"
    public = "public"


OutOption = Annotated[Path, typer.Option("--output", "-o", metavar="FILE", help="The file to write.")]
ForOption = Annotated[Audience, typer.Option("--for", help="public leaves out names, costs and notes.")]
FromOption = Annotated[
    date | None, typer.Option("--from", parser=parsed_date, metavar="YYYY-MM-DD", help="First day of the range.")
]
ToOption = Annotated[
    date | None, typer.Option("--to", parser=parsed_date, metavar="YYYY-MM-DD", help="Last day of the range.")
]

#: Columns of the practice table: keys of its lines, with the decimals that paperwork wants; ``None``: text.
PRACTICE_COLUMNS = {
    "program": None, "item": None, "practice_code": None, "unit_id": None, "applied_acres": 1, "below_target_acres": 1,
    "treated_before_acres": 1, "too_early_acres": 1, "late_acres": 1, "on_hold_acres": 1, "elsewhere_acres": 1,
    "pass_acres": 1, "payment": 2, "first_date": None, "last_date": None, "method": None, "crew": None,
    "remarks": None,
}  # fmt: skip


def register(app: typer.Typer) -> None:
    """Hang the commands on the app."""
    export = typer.Typer(help="Write acres for paperwork, layers, or outlines for a handheld.")
    app.add_typer(export, name="export")

    @export.command("practices")
    def practices(
        context: typer.Context,
        output: OutOption,
        program_year: Annotated[
            int | None, typer.Option(min=1900, max=2999, help="Program year, named after the year it ends in.")
        ] = None,
        first: FromOption = None,
        last: ToOption = None,
        audience: ForOption = Audience.owner,
        overwrite: OverwriteOption = False,
        as_json: JsonOption = False,
    ) -> None:
        """Write planned and applied acres per practice. Per contract item too, as .csv or .xlsx."""
        from habmap.jobs.export_practices import export_practices

        _suffix(output, ".csv", ".xlsx")
        if program_year is not None and (first or last):
            raise UsageError("give a program year or a range of days, not both", where="--program-year, --from, --to")
        session: Session = context.obj
        result = export_practices(session.store(), year=program_year, first=first, last=last, audience=audience.value)
        _write(output, _practice_writer(result), overwrite)
        if as_json:
            print_json("export-practices", result)
            return
        span = f"from {result.from_date} to {result.to_date}"
        applied_acres = sum(item.applied_acres for item in result.items)
        say(
            f"{applied_acres:.1f} applied acres of {result.practice_acres:.1f} practice acres worked {span}, "
            f"written to {output}."
        )
        for words in [
            *result.remarks,
            *(f"{i.program} {i.item}: {r}".strip(" :") for i in result.items for r in i.remarks),
            *(f"{line.unit_id}, {line.practice_code}: {r}" for line in result.lines for r in line.remarks),
        ]:
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
        audience: ForOption = Audience.owner,
        overwrite: OverwriteOption = False,
        as_json: JsonOption = False,
    ) -> None:
        """Write every line of the log that counts. As .csv (ground as WKT), .gpkg or .geojson."""
        from habmap.jobs.export_layers import ledger_table

        _suffix(output, ".csv", ".gpkg", ".geojson")
        session: Session = context.obj
        table = ledger_table(session.store(), audience=audience.value)
        _write(output, _table_writer(table, output), overwrite)
        _report("export-ledger", output, len(table.rows), "log line", audience, as_json=as_json)

    @export.command("units")
    def units(
        context: typer.Context,
        output: OutOption,
        on: OnOption = None,
        audience: ForOption = Audience.owner,
        overwrite: OverwriteOption = False,
        as_json: JsonOption = False,
    ) -> None:
        """Write the units with their acres by stage. As .gpkg or .geojson."""
        from habmap.jobs.export_layers import units_table

        _suffix(output, ".gpkg", ".geojson")
        session: Session = context.obj
        store = session.store()
        today = session.today(store.settings.place.timezone)
        table = units_table(store, on=on, today=today, audience=audience.value)
        _write(output, _table_writer(table, output), overwrite)
        _report("export-units", output, len(table.rows), "unit", audience, as_json=as_json)

    @export.command("gpx")
    def gpx(
        context: typer.Context,
        output: OutOption,
        on: OnOption = None,
        audience: ForOption = Audience.owner,
        overwrite: OverwriteOption = False,
        as_json: JsonOption = False,
    ) -> None:
        """Write unit edges and the ground that remains, for a handheld. Nests, graves and other features stay out."""
        from habmap.jobs.export_layers import handheld_outlines
        from habmap.place.writers import gpx_text

        _suffix(output, ".gpx")
        session: Session = context.obj
        store = session.store()
        today = session.today(store.settings.place.timezone)
        outlines = handheld_outlines(store, on=on, today=today, audience=audience.value)
        text = gpx_text(name=store.settings.place.name, edges=outlines)
        _write(output, lambda path: path.write_text(text, encoding="utf-8"), overwrite)
        _report("export-gpx", output, len(outlines), "outline", audience, as_json=as_json)

    @export.command("log-sheet")
    def log_sheet(context: typer.Context, output: OutOption, overwrite: OverwriteOption = False) -> None:
        """Write a blank log sheet to print. A .pdf, or as .csv the empty table that reads it back."""
        from habmap.place.writers import csv_text
        from habmap.show.logsheet import SHEET_COLUMNS, write_log_sheet

        _suffix(output, ".pdf", ".csv")
        session: Session = context.obj
        store = session.store()
        if output.suffix.lower() == ".csv":
            header = ["entry_id", *SHEET_COLUMNS]
            text = csv_text(header, [])
            _write(output, lambda path: path.write_bytes(text.encode("utf-8")), overwrite)
            say(f"An empty table was written to {output}; fill it in and load it with `habmap load entries`.")
            return
        named = [(unit.unit_id, unit.name) for unit in store.units()]
        _write(output, lambda path: write_log_sheet(path, place=store.settings.place.name, units=named), overwrite)
        say(f"A blank log sheet was written to {output}.")


def _report(command: str, output: Path, rows: int, what: str, audience: Audience, *, as_json: bool) -> None:
    if as_json:
        from habmap.jobs.export_layers import WrittenFile

        print_json(command, WrittenFile(path=str(output), rows=rows, audience=audience.value))
        return
    say(f"{rows} {what}{'' if rows == 1 else 's'} written to {output}.")


def _suffix(path: Path, *allowed: str) -> None:
    if path.suffix.lower() not in allowed:
        raise UsageError(
            "this kind of file is not written here",
            where="--output",
            value=path.name,
            allowed=", ".join(f"a name that ends in {suffix}" for suffix in allowed),
            mend="name the file with one of these endings",
        )


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


def _practice_cell(line: AppliedLine, column: str) -> Cell:
    value = getattr(line, column)
    if column == "remarks":
        return "; ".join(value)
    decimals = PRACTICE_COLUMNS[column]
    if decimals is not None:
        return None if value is None else round(value, decimals)
    return value.isoformat() if isinstance(value, date) else str(value)


def _item_words(item: ItemTotal, result: PracticesResult) -> str:
    """Return an item's totals as one line of text, so that no column adds them up twice."""
    parts = [f"{item.applied_acres:.1f} acres applied"]
    if item.planned_acres is not None:
        parts.append(f"{item.planned_acres:.1f} planned")
    if item.payment is not None:
        parts.append(f"payment {item.payment:,.2f} {result.currency}")
    name = f"{item.program} {item.item} ({item.practice_code})".strip()
    return "; ".join([f"All units, {name}: {', '.join(parts)}", *item.remarks])


def _practice_writer(result: PracticesResult) -> Callable[[Path], object]:
    from habmap.place.writers import csv_text, write_workbook

    rows: list[list[Cell]] = [[_practice_cell(line, column) for column in PRACTICE_COLUMNS] for line in result.lines]
    rows.append([])
    rows.append(
        [f"{result.place}: work from {result.from_date} to {result.to_date}; horizontal acres, ground counted once."]
    )
    rows += [[words] for words in (*(_item_words(item, result) for item in result.items), *result.remarks)]
    rows.append(["Signature", None, None, None, None, None, None, "Date"])

    def write(path: Path) -> None:
        if path.suffix.lower() == ".xlsx":
            write_workbook(path, [("practices", tuple(PRACTICE_COLUMNS), rows)])
        else:
            path.write_bytes(csv_text(tuple(PRACTICE_COLUMNS), rows).encode("utf-8-sig"))

    return write
