"""Drawing the ground worked by hand on the map: what the pencil's script and words need.

The script turns each corner into the property's own equal-area grid and takes the planar area there, as
:func:`habmap.land.acreage.area_of_record_m2` does, so that the acres read while drawing are those that are logged.
"""

from __future__ import annotations

from typing import Any

from habmap.measures import M2_PER_ACRE, M_PER_FT
from habmap.show.records import Page
from habmap.vocabulary import KILLING, PRACTICE_WORDS, PRACTICES, default_killed_pct


def pencil_drawing(page: Page) -> dict[str, Any]:
    """Return what the script needs: the center of the grid (``None``: the drawing's own middle) and unit factors."""
    return {
        "place": page.place,
        "grid": None if page.grid_latlon is None else list(page.grid_latlon),
        "m2PerAcre": M2_PER_ACRE,
        "mPerFt": M_PER_FT,
    }


def pencil_values(page: Page) -> dict[str, Any]:
    """Return what the template needs: each practice, its words, and what its line in the log must say besides.

    Words in capitals stand for what only the person knows; without these the log refuses the line.
    """
    more = {"checkup": '--note "WHAT YOU SAW"'}
    for practice in KILLING:
        if default_killed_pct(practice, cedar=page.cedar) is None:
            more[practice] = "--killed-pct PERCENT"
    return {
        "pencil_practices": [(key, PRACTICE_WORDS[key], more.get(key, "")) for key in PRACTICES],
    }
