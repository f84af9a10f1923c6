"""How a person writes what is no plain number or word: bearings, clocks, notices and counts of sprouts."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Final

from habmap.errors import UsageError
from habmap.vocabulary import WINDS_16

#: A notice is a line of a form: each of its parts is at most this long [characters] (no source).
LONGEST_NOTICE_PART: Final = 200
#: Between the notices of one cell.
BETWEEN_NOTICES: Final = "|"
_CLOCK: Final = re.compile(r"(?:[01]\d|2[0-3]):[0-5]\d")


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """Somebody told before a burn: who, when (``YYYY-MM-DD HH:MM``, local, or the day alone) and how."""

    who: str
    when: str
    how: str


def bearing_of(text: str) -> float:
    """Read the direction that the wind comes from: degrees, or one of sixteen names [°].

    Raises
    ------
    UsageError
        It is neither.
    """
    name = text.strip().upper()
    if name in WINDS_16:
        return WINDS_16.index(name) * 22.5
    try:
        value = float(name)
    except ValueError:
        value = math.nan
    if not 0 <= value <= 360:
        raise UsageError(
            "this is not a direction that wind comes from",
            where="--wind-from",
            value=text,
            allowed=f"0 to 360 degrees, true north, or {', '.join(WINDS_16)}",
            mend="write it like 200 or SSW; 0 and 360 are north",
        )
    return value % 360


def sprouts_of(text: str) -> tuple[tuple[str, int], ...]:
    """Read ``species=n,species=n``: how many sprouting stumps or stems of each species were counted.

    Raises
    ------
    UsageError
        The text does not read so, a count is no whole number from 0 up, or a species comes twice.
    """
    found: dict[str, int] = {}
    for part in text.split(","):
        species, equals, count = (piece.strip() for piece in part.partition("="))
        if not (equals and species and count.isascii() and count.isdigit()) or species in found:
            raise UsageError(
                "the sprouts cannot be read",
                where="--sprouts",
                value=part,
                allowed="species=n,species=n with each species once and whole numbers",
                mend="write them like hackberry=4,elm=2",
            )
        found[species] = int(count)
    return tuple(found.items())


def sprouts_text(sprouts: Iterable[tuple[str, int]]) -> str:
    """Write counts of sprouts so that they read back as the same."""
    return ",".join(f"{species}={count}" for species, count in sprouts)


def is_clock(text: str) -> bool:
    """Tell whether a text is a time of day, ``HH:MM``."""
    return _CLOCK.fullmatch(text) is not None


def is_moment(text: str) -> bool:
    """Tell whether a text is a day, or a day and a time of day: ``2026-03-02`` or ``2026-03-02 09:10``."""
    day, _, clock = text.partition(" ")
    try:
        date.fromisoformat(day)
    except ValueError:
        return False
    return len(day) == 10 and (text == day or is_clock(clock))


def as_moment(text: str) -> str | None:
    """Return a day and time as they are kept, or ``None`` where the text is neither."""
    plain = " ".join(text.strip().replace("T", " ").split())
    return plain if is_moment(plain) else None


def notice_of(text: str) -> Notice:
    """Read ``who; when; how``.

    Raises
    ------
    UsageError
        A part is missing or too long, or the moment cannot be read.
    """
    parts = [part.strip() for part in text.rsplit(";", 2)]
    longest = max(len(part) for part in parts)
    if longest > LONGEST_NOTICE_PART:
        raise UsageError(
            "this notice is too long",
            where="--told",
            value=f"a part of {longest:,} characters",
            allowed=f"who; when; how, each in up to {LONGEST_NOTICE_PART} characters",
            mend="say it in a few words, and the rest in the note of the line",
        )
    moment = as_moment(parts[1]) if len(parts) == 3 else None
    if moment is None or not parts[0] or not parts[2] or BETWEEN_NOTICES in text:
        raise UsageError(
            "this notice cannot be read",
            where="--told",
            value=text,
            allowed="who; when (YYYY-MM-DD HH:MM, or the day alone); how, each in up to "
            f"{LONGEST_NOTICE_PART} characters; in a cell several with {BETWEEN_NOTICES} between, in one notice none",
            mend='write it like "Sheriff\'s office; 2026-03-02 09:10; phone"',
        )
    return Notice(who=parts[0], when=moment, how=parts[2])


def notices_text(notices: Iterable[Notice]) -> str:
    """Write notices as one cell, so that they read back as the same."""
    return f" {BETWEEN_NOTICES} ".join(f"{told.who}; {told.when}; {told.how}" for told in notices)
