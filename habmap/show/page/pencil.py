"""Drawing the ground worked by hand on the map: what the pencil's script and words need.

The script turns each corner into the property's own equal-area grid and takes the planar area there, as
:func:`habmap.land.acreage.area_of_record_m2` does, so that the acres read while drawing are those that are logged.
"""

from __future__ import annotations

from typing import Any, Final

from habmap.measures import M2_PER_ACRE, M_PER_FT
from habmap.show.records import Page
from habmap.vocabulary import DEFAULT_KILLED_PCT, KILLING, PRACTICE_WORDS, PRACTICES

#: Words in capitals stand for what only the person knows; without these the log refuses the line.
_MORE_SAID: Final = dict.fromkeys(KILLING - DEFAULT_KILLED_PCT.keys(), "--killed-pct PERCENT") | {
    "checkup": '--note "WHAT YOU SAW"'
}


def pencil_drawing(page: Page) -> dict[str, Any]:
    """Return what the script needs: the centre of the grid (``None``: the drawing's own middle) and unit factors."""
    return {
        "place": page.place,
        "grid": None if page.grid_latlon is None else list(page.grid_latlon),
        "m2PerAcre": M2_PER_ACRE,
        "mPerFt": M_PER_FT,
    }


def pencil_values(_page: Page) -> dict[str, Any]:
    """Return what the template needs: each practice, its words, and what its line in the log must say besides."""
    return {
        "pencil_practices": [(key, PRACTICE_WORDS[key], _MORE_SAID.get(key, "")) for key in PRACTICES],
    }
