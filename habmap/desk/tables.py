"""Tables of the desk's pages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from habmap.desk.pages import day_text, figure


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table ready to be shown: its cells are words.

    Attributes
    ----------
    figures
        Numbers of the columns that hold figures and stand to the right.
    """

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    figures: frozenset[int] = frozenset()


def table(caption: str, heads: Sequence[str], rows: Sequence[Sequence[object]], *, decimals: int = 2) -> Table:
    """Return a table of values: numbers to some decimals, days as they are written, a dash for what is not known."""
    figures = frozenset(
        i for i in range(len(heads)) if any(_is_number(row[i]) for row in rows) and all(_fits(row[i]) for row in rows)
    )
    return Table(
        caption=caption,
        heads=tuple(heads),
        rows=tuple(tuple(_cell(value, decimals) for value in row) for row in rows),
        figures=figures,
    )


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _fits(value: object) -> bool:
    return value is None or _is_number(value)


def _cell(value: object, decimals: int) -> str:
    if value is None or value == "":
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return figure(value, decimals)
    if isinstance(value, date):
        return day_text(value).replace("-", "\N{NON-BREAKING HYPHEN}")
    return str(value)
