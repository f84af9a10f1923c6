"""Cells of a person's table, field by field: read as what they should be, faults gathered instead of stopping."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable, Collection, Mapping, Sequence
from datetime import date, datetime, time
from typing import Any, Final

from habmap.errors import HabmapError, InputError, printable
from habmap.place.days import days_meant, moments_meant, readings_words
from habmap.records import LONGEST_TEXT

_NUMBER: Final = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_YES: Final = frozenset({"yes", "y", "true", "t", "1", "x"})
_NO: Final = frozenset({"no", "n", "false", "f", "0", ""})
#: A patch drawn by hand may have a very long outline [characters].
LONGEST_OUTLINE: Final = 16_000_000
_KEPT_CONTROLS: Final = frozenset("\n\t")


class Cells:
    """One row's cells by field name.

    Every reading method returns ``None`` for a blank cell, and for an unfit one after adding a fault to ``faults``.

    Parameters
    ----------
    values
        Cell of each field that the file has.
    where
        File and row, for messages.
    faults, notes
        Lists that faults and notes on what was changed are added to.
    dates
        Fields that a spreadsheet holds as a real date; their text is ISO.
    names
        How a message names the cell of a field; ``None``: by the field.
    """

    def __init__(
        self,
        values: Mapping[str, Any],
        *,
        where: str,
        faults: list[HabmapError],
        notes: list[str],
        dates: Collection[str] = (),
        names: Mapping[str, str] | None = None,
    ) -> None:
        self._values = values
        self._dates = dates
        self._names = names
        self._where = where
        self._faults = faults
        self._notes = notes

    def note(self, words: str) -> None:
        """Add something to look at about the row."""
        self._notes.append(f"{self._where}: {words}")

    def fault(
        self, what: str, field: str, *, value: object = None, allowed: str | None = None, mend: str | None = None
    ) -> None:
        """Add a fault of one cell."""
        self._faults.append(
            InputError(
                what,
                where=f"{self._where}, {f'column {field}' if self._names is None else self._names.get(field, field)}",
                value=None if value is None else printable(str(value)),
                allowed=allowed,
                mend=mend or "mend that cell and load the file again",
            )
        )

    def text(
        self,
        field: str,
        *,
        required: bool = False,
        longest: int = LONGEST_TEXT,
        one_line: bool = True,
        is_date: bool = False,
    ) -> str | None:
        """Return a cell's words, trimmed; whole numbers lose their ``.0``, control characters go with a note.

        A real date is a fault but where the words are to be one (``is_date``).
        """
        raw = self._values.get(field)
        if isinstance(raw, float) and raw.is_integer():
            raw = int(raw)
        text = "" if raw is None else str(raw)
        kept = frozenset() if one_line else _KEPT_CONTROLS
        clean = "".join(
            character
            for character in text.replace("\r\n", "\n")
            if character in kept or unicodedata.category(character) not in {"Cc", "Cs"}
        ).strip()
        if clean != text.replace("\r\n", "\n").strip():
            self._notes.append(f"{self._where}, column {field}: control characters were left out")
        if not clean:
            if required:
                self.fault(f"{field} is blank", field, value="blank", allowed="a text", mend="fill it in")
            return None
        if field in self._dates and not is_date:
            self.fault(
                f"the spreadsheet holds a date where {field} is a text",
                field,
                value=clean,
                allowed="the text as it was meant",
                mend="format the cell as text and type it anew: spreadsheets turn such as 1-2 into a date",
            )
            return None
        if len(clean) > longest:
            self.fault(
                f"{field} is too long",
                field,
                value=f"{len(clean):,} characters",
                allowed=f"up to {longest:,} characters",
            )
            return None
        return clean

    def number(
        self,
        field: str,
        *,
        low: float = -math.inf,
        high: float = math.inf,
        above: float | None = None,
        turn: Callable[[float], float] | None = None,
        turned: str = "{}",
    ) -> float | None:
        """Return a cell's finite number within ``low`` and ``high``, and more than ``above`` where that is given.

        ``turn`` turns it first into the unit of the range, ``turned`` words that range, which stands at ``{}``.
        """
        raw = self._values.get(field)
        if isinstance(raw, bool):
            value = math.nan
        elif isinstance(raw, int | float):
            value = float(raw)
        else:
            text = "" if raw is None else number_text(field, str(raw))
            if not text:
                return None
            value = float(text) if _NUMBER.fullmatch(text) else math.nan
        allowed = _range_words(low, high, above)
        if turn is not None:
            value, allowed = turn(value), turned.format(allowed)
        if not math.isfinite(value):
            self.fault(f"{field} is not a number", field, value=raw, allowed=allowed)
            return None
        if not low <= value <= high or (above is not None and value <= above):
            self.fault(f"{field} is out of range", field, value=raw, allowed=allowed)
            return None
        return value

    def written(self, field: str) -> str:
        """Return what stands in a cell, trimmed."""
        raw = self._values.get(field)
        return "" if raw is None else str(raw).strip()

    def is_date(self, field: str) -> bool:
        """Tell whether a spreadsheet holds a real date there."""
        return field in self._dates

    def is_blank(self, field: str) -> bool:
        """Tell whether nothing stands in a cell."""
        return not self.written(field)

    def day(self, field: str) -> date | None:
        """Return a cell's day: a real date, an ISO day, or one written so that it can mean one day only."""
        text = self.written(field)
        if not text:
            return None
        # a real date that has a time as well still names its day
        readings = days_meant(text[:10] if field in self._dates else text)
        if len(readings) == 1:
            return readings[0]
        self._not_one(field, text, readings, what="a date", allowed="YYYY-MM-DD, a day that exists")
        return None

    def moment(self, field: str, *, at: time, allowed: str) -> datetime | None:
        """Return a cell's day and time, ``at`` a time where it names none; blank is ``None``."""
        text = self.written(field)
        if not text:
            return None
        readings = moments_meant(text) or tuple(datetime.combine(day, at) for day in days_meant(text))
        if len(readings) == 1:
            return readings[0]
        self._not_one(field, text, readings, what="a moment", allowed=allowed)
        return None

    def written_day(self, field: str, *, longest: int) -> str | None:
        """Return what a cell says of a day, a month or a span of days as written; what can only be one day as ISO."""
        text = self.text(field, required=True, longest=longest, is_date=True)
        if text is None:
            return None
        readings = days_meant(text) or moments_meant(text)
        if len(readings) > 1:
            self._not_one(field, text, readings, what="a date", allowed="")
            return None
        return text if not readings or text.startswith(str(readings[0])[:10]) else readings[0].isoformat()

    def _not_one(self, field: str, text: str, readings: tuple[date, ...], *, what: str, allowed: str) -> None:
        """Add the fault of a text that is no day or moment, or can be read as two."""
        if readings:
            self.fault(
                f"{field} can mean two days",
                field,
                value=text,
                allowed=f"either {readings_words(readings)}, written so",
                mend="write it with the year first, YYYY-MM-DD",
            )
            return
        self.fault(f"{field} is not {what}", field, value=text, allowed=allowed)

    def choice(self, field: str, known: Sequence[str]) -> str | None:
        """Return one of the known words, upper or lower case in the file; blank is ``None``."""
        text = self.text(field)
        if text is None:
            return None
        word = next((word for word in known if word.casefold() == text.casefold()), None)
        if word is None:
            self.fault(f"unknown {field}", field, value=text, allowed=", ".join(known), mend="use one of these words")
        return word

    def flag(self, field: str) -> bool | None:
        """Return yes or no; blank is ``None``."""
        raw = self._values.get(field)
        if raw is None or isinstance(raw, bool):
            return raw
        text = str(int(raw) if isinstance(raw, float) and raw.is_integer() else raw).strip().casefold()
        if not text:
            return None
        if text in _YES or text in _NO:
            return text in _YES
        self.fault(f"{field} is neither yes nor no", field, value=raw, allowed="yes or no")
        return None


def number_text(field: str, text: str) -> str:
    """Return a number's text, without the sign of a field that is in percent."""
    text = text.strip()
    return text.removesuffix("%").rstrip() if field.endswith("_pct") else text


def _range_words(low: float, high: float, above: float | None) -> str:
    if above is not None:
        return f"more than {above:g}" + (f", at most {high:g}" if math.isfinite(high) else "")
    if math.isfinite(low) and math.isfinite(high):
        return f"{low:g} to {high:g}"
    return f"{low:g} or more" if math.isfinite(low) else "a finite number"
