"""Overleaf of a sheet: the rest of its table, then all the work, unit by unit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from habmap.show.sheet.account import Account, work_told
from habmap.show.sheet.pen import LEADING, LEAST_PT, Pen, clipped, wrapped

_GUTTER_PT: Final = 18.0
_HEADING_PT: Final = 12.0
#: Width from which the work stands in three columns [pt].
_THREE_PT: Final = 900.0


@dataclass(slots=True)
class Overleaf:
    """Pages after the first, filled from the top; each begins with the sheet's own line of place and day."""

    dateline: str
    size: tuple[float, float]
    grow: float
    margin: float
    pens: list[Pen] = field(default_factory=list)
    top: float = 0.0

    @property
    def width(self) -> float:
        return self.size[0] - 2 * self.margin

    def turn(self) -> None:
        """Begin the next page."""
        self.pens.append(Pen(self.size, grow=self.grow, name=f"Overleaf {len(self.pens) + 1}"))
        heading = clipped(
            f"{self.dateline} · overleaf {len(self.pens)}", self.width, size_pt=_HEADING_PT, is_serif=True
        )
        self.pens[-1].block(self.margin, self.size[1] - self.margin + 3, [heading], size_pt=_HEADING_PT)
        self.top = self.size[1] - self.margin - 30

    def draw(self, account: Account, first: int, *, is_one_unit: bool) -> list[Pen]:
        """Draw all that had no room on the first page, whose table ends before an item; return the pages."""
        self.turn()
        if first < len(account.items):
            self._table(account, first)
        self._work(work_told(account, first, is_one_unit=is_one_unit))
        return self.pens

    def _table(self, account: Account, first: int) -> None:
        """Set the rest of the table in columns as wide as its names ask for, alike in length on its last page."""
        columns = account.columns(first, self.width, _GUTTER_PT)
        wide = (self.width - (columns - 1) * _GUTTER_PT) / columns
        while first < len(account.items):
            room = self.top - self.margin
            parts = account.shared_out(first, columns, wide, room)
            ends = [
                account.table(self.pens[-1], self.margin + k * (wide + _GUTTER_PT), self.top, wide, part)
                for k, part in enumerate(parts)
            ]
            first += sum(map(len, parts))
            self.top = min(ends) - 12
            if first < len(account.items):
                self.turn()

    def _work(self, lines: Sequence[tuple[str, bool]]) -> None:
        """Set the work in columns; a heading keeps two lines under it, a sentence holds together."""
        columns = 2 if self.width < _THREE_PT else 3
        wide = (self.width - _GUTTER_PT * (columns - 1)) / columns
        column, y = 0, self.top
        for text, is_heading in lines:
            broken = wrapped(text, wide, size_pt=LEAST_PT, is_bold=is_heading)
            for number, line in enumerate(broken):
                # Only a long text goes on further.
                together = 3 if is_heading else min(len(broken), 4) if number == 0 else 1
                if y - together * LEAST_PT * LEADING < self.margin:
                    column, y = column + 1, self.top
                    if column == columns:
                        self.turn()
                        column, y = 0, self.top
                elif is_heading and number == 0 and y < self.top:
                    y -= 5
                x = self.margin + column * (wide + _GUTTER_PT)
                y = self.pens[-1].block(x, y, [line], size_pt=LEAST_PT, is_bold=is_heading)
