"""What came of a long work, in sentences: a command answers a record, and its keys are nothing to read on a page."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final

from habmap.measures import so_many
from habmap.show.load_words import load_words

Record = Mapping[str, Any]

#: Rows by what was loaded; a kind that is not here is called by its table (`habmap.jobs.load.tables.TABLES`).
_NOUNS: Final = {
    "units": "unit", "boundary": "property line", "features": "feature", "entries": "log line",
    "forecast": "forecast hour",
}  # fmt: skip


def outcome(answer: Any) -> tuple[str, ...]:
    """Return sentences on the record that a command answered; none where its file says it all."""
    if not isinstance(answer, Mapping):
        return ()
    said = _SAID.get(str(answer.get("schema", "")).removeprefix("habmap/").rpartition("/")[0])
    return () if said is None else tuple(said(answer))


def _loaded(told: Record) -> Iterator[str]:
    if "photos" in told:
        yield f"{so_many(told['loaded'], 'photo')} loaded." + _already(told)
        for one in told.get("left_out") or ():
            yield f"{one['file']} was left out: {one['why']}."
        if told["loaded"]:
            yield "Maps for the public show them too, unless they are marked private."
    elif "units_covered" in told:
        covered, off = told["units_covered"], len(told["units_off"])
        units = f" It reaches {covered} of {so_many(covered + off, 'unit')}." if covered + off else ""
        yield f"It is there, on cells of {(told.get('dem') or told['canopy'])['cell_m']:,.1f} m.{units}"
    elif "name" in told:
        yield f"The block {told['name']} is kept: {told['acres']:,.2f} acres."
    else:
        from habmap.jobs.load.tables import TABLES

        kind = told["kind"]
        yield load_words(told, noun=_NOUNS.get(kind) or TABLES[kind].noun)
        if told["kept_columns"]:
            yield f"Kept as they are: {', '.join(told['kept_columns'])}."


def _already(told: Record) -> str:
    number = told["already_there"]
    return f" {so_many(number, 'was', 'were')} there already." if number else ""


def _printed(told: Record) -> Iterator[str]:
    treated, remain = told["treated_acres"], told["remaining_acres"]
    yield f"{treated:,.1f} acres treated at least once, {remain:,.1f} remain, {told['on'] or 'before any work'}."
    if told.get("scale"):
        yield f"Its scale is 1:{told['scale']:,}, where it is printed at 100%, unfitted to the page."


def _burn_sheet(told: Record) -> Iterator[str]:
    yield f"{told['block']}, {told['acres']:,.2f} acres, {told['time'].replace('T', ' at ')}."
    if told["fine_fuel_moisture_pct"] is not None:
        yield f"Fine dead fuel moisture, at its driest there: {told['fine_fuel_moisture_pct']:,.0f}%."
    not_met = [one["item"] for one in told["prescription"] if one["comparison"] == "not met"]
    if not_met:
        yield f"Not met of the written plan: {', '.join(not_met)}."


def _rows(told: Record) -> Iterator[str]:
    if not told["rows"]:
        yield "Nothing is in it yet."


def _due(told: Record) -> Iterator[str]:
    yield f"{so_many(len(told['items']), 'thing')} due; {told['next_30']} of them begin in the next 30 days."


def _bite(told: Record) -> Iterator[str]:
    yield f"{told['acres']:,.2f} acres in {told['unit_id']}; {told['left_acres']:,.2f} remain there after it."


#: By the command that answers.
_SAID: Final[dict[str, Callable[[Record], Iterator[str]]]] = {
    "load": _loaded,
    "map": _printed, "sheet": _printed, "handout": _printed,
    "burnsheet": _burn_sheet,
    "export-ledger": _rows, "export-units": _rows, "export-gpx": _rows, "export-revisits": _rows,
    "due": _due,
    "bite": _bite,
}  # fmt: skip
