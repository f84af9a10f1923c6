"""What a page, sheet or handout says where something is not there: plain words, and for the owner what mends it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from habmap.vocabulary import Audience

NO_UNITS: Final = "No units are drawn yet, so there are no acres to count."
NO_ELEVATION: Final = "The heights of this ground are not known: slopes, faces, shade and contours are missing."
NOTHING_LOGGED: Final = "Nothing is logged yet: the map shows the ground as it was before any work."
OFF_THE_ELEVATION: Final = "The elevation does not reach this ground: shade and contours are missing."
#: The same for whoever keeps the property: a stranger can do nothing with a command.
_FOR_THE_OWNER: Final = {
    NO_UNITS: "No units are drawn yet, so there are no acres to count: load them with `habmap load units`.",
    NO_ELEVATION: "No elevation is loaded: slopes, faces, shade and contours are missing (`habmap load dem`).",
}


def missing_words(
    *, has_units: bool, has_elevation: bool, has_relief: bool, has_log: bool, audience: Audience
) -> tuple[str, ...]:
    """Say in whole sentences what is not there.

    Parameters
    ----------
    has_elevation, has_relief
        Whether any elevation is loaded, and whether it reaches the ground shown.
    audience
        ``public``: without commands and names of files.
    """
    words = []
    if not has_units:
        words.append(NO_UNITS)
    if not has_elevation:
        words.append(NO_ELEVATION)
    elif not has_relief and has_units:
        words.append(OFF_THE_ELEVATION)
    if not has_log:
        words.append(NOTHING_LOGGED)
    return for_the_owner(words) if audience == "owner" else tuple(words)


def for_the_owner(words: Sequence[str]) -> tuple[str, ...]:
    """Return the same with what mends it: who makes a copy for the public is the owner and reads this on the screen."""
    return tuple(_FOR_THE_OWNER.get(one, one) for one in words)
