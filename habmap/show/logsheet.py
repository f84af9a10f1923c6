"""A blank log sheet for the truck: lines to fill in by hand, in the order of the table that reads them back."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from habmap.records import Entry, cell_facts, facts
from habmap.vocabulary import FIRE_CAUTION, PRACTICE_WORDS, SAW_CAUTION

#: What was done when and where, and then the facts of a line that the sheet asks for: columns of the table that reads
#: it back.
SHEET_COLUMNS: Final = (
    "date", "practice", "unit_id", "whole", *(one.cell for one in cell_facts(Entry) if one.is_on_sheet),
)  # fmt: skip
#: Narrowest column, and the room of a letter of its head [share of the width]; what is left goes to the note.
_NARROWEST: Final = 0.07
_LETTER: Final = 0.008
LETTER_LANDSCAPE_IN = (11.0, 8.5)
MARGIN_IN = 0.5
LINES = 14
#: Of the small print across the page; letters of its type are 0.065 in wide on average.
WIDTH_CHARACTERS = 150
WHOLE_WORDS = "whole: yes if all of the unit was worked. If it was a part of it, leave it blank and draw the ground."
SURE_WORDS = "sure: yes if reported_acres are right though the map measures the ground otherwise."


def _shares() -> list[tuple[str, float]]:
    """Return the share of the width that each column takes: long texts what the others leave."""
    long = [one.cell for one in facts(Entry).values() if one.is_long]
    shares = {name: max(_NARROWEST, _LETTER * (len(name) + 1)) for name in SHEET_COLUMNS if name not in long}
    left = (1 - sum(shares.values())) / max(1, len(set(SHEET_COLUMNS) & set(long)))
    return [(name, shares.get(name, left)) for name in SHEET_COLUMNS]


def write_log_sheet(path: Path, *, place: str, units: Sequence[tuple[str, str]]) -> None:
    """Write one Letter page (PDF, vector, fonts embedded) with blank lines, the units and the words to use.

    Parameters
    ----------
    units
        (unit_id, name) of every unit, printed so that nobody has to remember them.
    """
    import textwrap
    import warnings

    import matplotlib as mpl
    from matplotlib.backends.backend_pdf import FigureCanvasPdf
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D

    with mpl.rc_context({"pdf.fonttype": 42, "font.size": 9, "font.family": "DejaVu Sans", "text.parse_math": False}):
        figure = Figure(figsize=LETTER_LANDSCAPE_IN)
        width, height = LETTER_LANDSCAPE_IN
        left, right = MARGIN_IN / width, 1 - MARGIN_IN / width
        top, table_top, table_bottom = 1 - MARGIN_IN / height, 0.86, 0.32

        def text(x: float, y: float, words: str, size: float = 9, **more: Any) -> None:
            figure.text(x, y, words, size=size, va="top", **more)

        def rule(x: Sequence[float], y: Sequence[float], thickness: float) -> None:
            figure.add_artist(Line2D(x, y, color="black", linewidth=thickness))

        text(left, top, textwrap.shorten(f"Work log: {place}", 70), 15, family="DejaVu Serif")
        text(
            left,
            top - 0.045,
            "One line for each piece of work. Draw the ground on the map sheet if it is part of a unit.",
        )
        step = (table_top - table_bottom) / (LINES + 1)
        x = left
        for name, share in _shares():
            text(x + 0.004, table_top - 0.01, name, 9, weight="bold")
            rule([x, x], [table_top, table_bottom], 0.4)
            x += share * (right - left)
        rule([right, right], [table_top, table_bottom], 0.4)
        for line in range(LINES + 2):
            y = table_top - line * step
            rule([left, right], [y, y], 1.0 if line < 2 else 0.4)
        practices = ", ".join(f"{key} ({words})" if key != words else key for key, words in PRACTICE_WORDS.items())
        named = "; ".join(f"{unit_id} {name}".strip() for unit_id, name in units)
        y = table_bottom - 0.015
        listed = (f"practice: {practices}", f"unit_id: {named}", WHOLE_WORDS, SURE_WORDS)
        for words in (*listed, SAW_CAUTION, FIRE_CAUTION):
            lines = textwrap.wrap(words, WIDTH_CHARACTERS, max_lines=3, placeholder=" …")
            text(left, y, "\n".join(lines), 9)
            y -= 0.022 * len(lines) + 0.008
        with warnings.catch_warnings():
            # A name may hold signs that the font lacks: a box stands there, and the unit's label still tells.
            warnings.filterwarnings("ignore", message="Glyph")
            FigureCanvasPdf(figure).print_pdf(  # type: ignore[no-untyped-call]
                path, metadata={"Title": f"Work log: {place}", "CreationDate": None}
            )
