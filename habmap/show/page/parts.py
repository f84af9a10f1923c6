"""The parts of the page beyond its map and account, each with files of its own.

A part named ``ruler`` has under ``templates/page``: ``ruler.html.j2``, included by ``page.html.j2`` at its place;
``ruler.css``; and ``ruler.js``, which says ``PARTS.push((sheet) => { … sheet.place.ruler … })`` and finds its data
where :attr:`Part.drawing` put it. What is worked out for them lies in ``show/page/ruler.py``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from habmap.show.page import bite, photos, reading, response, ruler, seasons
from habmap.show.page.pencil import pencil_drawing, pencil_values
from habmap.show.records import Page


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One part of the page.

    Attributes
    ----------
    name
        Of its files, its data and its place in the drawing.
    values
        What its template needs, by name, beyond what the account has; ``None``: no more.
    drawing
        What its script needs, as JSON values (nothing private on a page for the public); ``None``: nothing.
    has_script
        Whether it has a ``.js`` file.
    """

    name: str
    values: Callable[[Page], Mapping[str, Any]] | None = None
    drawing: Callable[[Page], Any] | None = None
    has_script: bool = True


def _unrounded_acres(page: Page) -> dict[str, list[float]]:
    """Return each unit's acres with all decimals, so that the line which sums rows without room on paper is true."""
    return {unit.unit_id: [unit.acres, unit.treated_acres, unit.remaining_acres] for unit in page.units}


#: In the order in which their scripts run.
PAGE_PARTS: Final[tuple[Part, ...]] = (
    Part(name="ruler", values=ruler.values, drawing=ruler.drawing),
    Part(name="seasons", values=seasons.values, has_script=False),
    Part(name="response", values=response.values, has_script=False),
    Part(name="sorting"),
    Part(name="pencil", values=pencil_values, drawing=pencil_drawing),
    Part(name="bite", values=bite.values, drawing=bite.drawing),
    Part(name="photos", values=photos.values, drawing=photos.drawing),
    Part(name="reading", values=reading.values),
    Part(name="paper"),
    Part(name="printing", drawing=_unrounded_acres),
)
