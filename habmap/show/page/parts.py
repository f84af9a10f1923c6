"""The parts of the page beyond its map and account, each with files of its own.

A part named ``ruler`` has ``show/page/ruler.py`` (its records and figures), and under ``templates/page``:
``ruler.html.j2``, included by ``page.html.j2`` at its place; ``ruler.css``; and ``ruler.js``, which says
``PARTS.push((sheet) => { … sheet.place.ruler … })`` and finds its data where :attr:`Part.drawing` put it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from habmap.show.page import paper, photos, printing, reading, response, ruler, seasons, sorting
from habmap.show.page.pencil import pencil_drawing, pencil_values
from habmap.show.records import Page


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One part of the page.

    Attributes
    ----------
    name
        Of its files, its data and its place in the drawing.
    drawing
        What its script needs, as JSON values (nothing private on a page for the public).
    values
        What its template needs, by name.
    has_script
        Whether it has a ``.js`` file.
    """

    name: str
    drawing: Callable[[Page], Any]
    values: Callable[[Page], dict[str, Any]]
    has_script: bool = True


#: In the order in which their scripts run.
PARTS: Final[tuple[Part, ...]] = (
    Part(name="ruler", drawing=ruler.drawing, values=ruler.values),
    Part(name="seasons", drawing=seasons.drawing, values=seasons.values, has_script=False),
    Part(name="response", drawing=response.drawing, values=response.values, has_script=False),
    Part(name="sorting", drawing=sorting.drawing, values=sorting.values),
    Part(name="pencil", drawing=pencil_drawing, values=pencil_values),
    Part(name="photos", drawing=photos.drawing, values=photos.values),
    Part(name="reading", drawing=reading.drawing, values=reading.values),
    Part(name="paper", drawing=paper.drawing, values=paper.values),
    Part(name="printing", drawing=printing.drawing, values=printing.values),
)
