"""The practice report as a table for the form: its columns with the decimals of paperwork, totals and remarks below."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Final

from habmap.work.paperwork_records import AppliedLine, ItemTotal
from habmap.work.practice_report import PracticesResult

Cell = str | float | int | None
#: Columns of the practice table: keys of its lines, with the decimals that paperwork wants; ``None``: text.
PRACTICE_COLUMNS: Final = {
    "program": None, "item": None, "practice_code": None, "unit_id": None, "applied_acres": 1, "below_target_acres": 1,
    "treated_before_acres": 1, "too_early_acres": 1, "late_acres": 1, "on_hold_acres": 1, "elsewhere_acres": 1,
    "pass_acres": 1, "payment": 2, "first_date": None, "last_date": None, "method": None, "crew": None,
    "remarks": None,
}  # fmt: skip
#: Columns that say on paper what another key has: a sum is paid for the acres as they stand in the table.
_ON_PAPER: Final = {"payment": "paper_payment"}
PAID_WORDS: Final = (
    "Payment is the rate times the acres as they stand here, to a tenth and within the planned ones; totals add up the "
    "lines."
)


def practice_rows(result: PracticesResult) -> list[list[Cell]]:
    """Return the rows under the header `PRACTICE_COLUMNS`: the lines, then what is said of all of them."""
    rows: list[list[Cell]] = [[_cell(line, column) for column in PRACTICE_COLUMNS] for line in result.lines]
    rows.append([])
    rows.append(
        [f"{result.place}: work from {result.from_date} to {result.to_date}; horizontal acres, ground counted once."]
    )
    if any(item.paper_payment is not None for item in result.items):
        rows.append([PAID_WORDS])
    rows += [[words] for words in (*(_item_words(item, result) for item in result.items), *result.remarks)]
    rows.append(["Signature", None, None, None, None, None, None, "Date"])
    return rows


def looked_at(result: PracticesResult) -> Iterator[str]:
    """Yield what a person should look at before the report leaves the house."""
    yield from result.remarks
    yield from (f"{item.program} {item.item}: {words}".strip(" :") for item in result.items for words in item.remarks)
    yield from (f"{line.unit_id}, {line.practice_code}: {words}" for line in result.lines for words in line.remarks)


def _cell(line: AppliedLine, column: str) -> Cell:
    value = getattr(line, _ON_PAPER.get(column, column))
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
    if item.paper_payment is not None:
        parts.append(f"payment {item.paper_payment:,.2f} {result.currency} for {item.paper_acres:g} acres")
    name = f"{item.program} {item.item} ({item.practice_code})".strip()
    return "; ".join([f"All units, {name}: {', '.join(parts)}", *item.remarks])
