"""What the page's script draws, as JSON: outlines at 1e-6 degree, nothing else left out or thinned."""

from __future__ import annotations

import json
from typing import Final

from habmap.show import symbols, words
from habmap.show.on_own_ground import name_lines, newest_work, work_lines
from habmap.show.page import coordinates
from habmap.show.page.parts import PAGE_PARTS
from habmap.show.palette import DARK_STAGES
from habmap.show.patterns import COVER_WORDS
from habmap.show.records import Page, PageUnit, extent
from habmap.show.templating import DIRECTION_SIGNS
from habmap.vocabulary import CEDAR_COVERS

#: JSON signs that would end or open markup inside a script element, or break a line in old engines.
_MARKUP: Final = (
    str.maketrans({"<": "\\u003c", ">": "\\u003e", "&": "\\u0026", "\u2028": "\\u2028", "\u2029": "\\u2029"})
    | DIRECTION_SIGNS
)


def drawing_json(page: Page) -> str:
    """Return the drawing as JSON that is safe inside a ``<script>`` element, whatever names it holds."""
    worked = newest_work(page.work)
    drawing = {
        "extent": extent(page),
        "relief": None if page.relief is None else page.relief.extent,
        "units": [
            {
                "id": unit.unit_id,
                "name": words.unit_title(unit),
                "order": unit.order,
                "at": coordinates.pair(unit.label_lonlat),
                "lines": ["\n".join(lines) for lines in name_lines(words.unit_title(unit))],
                "rooms": rooms,
                "says": f"{words.unit_title(unit)}: {_says(unit)}",
                "shape": coordinates.geojson(unit.geometry),
            }
            for unit, rooms in zip(page.units, coordinates.rooms([one.geometry for one in page.units]), strict=True)
        ],
        "pieces": [
            {"unit": piece.unit_id, "stage": piece.stage, "shape": coordinates.geojson(piece.geometry)}
            for piece in page.pieces
        ],
        "mixed": [
            {"unit": one.unit_id, "shape": coordinates.geojson(one.geometry)}
            for one in page.shares
            if one.kind == "both"
        ],
        "patches": [
            {
                "lines": ["\n".join(lines) for lines in work_lines(work)],
                "rooms": whole,
                "newest": newest if one.until is not None else None,
                "until": one.until,
                "shape": coordinates.geojson(work.geometry),
            }
            for work, one, whole, newest in zip(
                page.work,
                worked,
                coordinates.rooms([work.geometry for work in page.work]),
                coordinates.rooms([one.newest for one in worked]),
                strict=True,
            )
        ],
        "features": [
            {
                "kind": feature.kind,
                "private": feature.is_private,
                "name": words.feature_label(feature.name, feature.kind, feature.is_private),
                "shape": coordinates.geojson(feature.geometry),
            }
            for feature in page.features
        ],
        "covers": [
            {"unit": unit.unit_id, "cover": unit.cover, "shape": coordinates.geojson(unit.geometry)}
            for unit in page.units
            if unit.cover in COVER_WORDS
        ],
        "edges": symbols.edges_for_script(),
        "dark": sorted(DARK_STAGES),
        "symbols": symbols.for_script({feature.kind for feature in page.features}),
        "boundary": None if page.boundary is None else coordinates.geojson(page.boundary),
        "contours": []
        if page.relief is None
        else [
            {"ft": line.height_ft, "index": line.is_index, "steps": coordinates.steps(line.lonlat)}
            for line in page.relief.contours
        ],
        **{part.name: None if part.drawing is None else part.drawing(page) for part in PAGE_PARTS},
    }
    return json.dumps(drawing, allow_nan=False, ensure_ascii=False, separators=(",", ":")).translate(_MARKUP)


def _says(unit: PageUnit) -> str:
    """Return a unit's acres in words; ground that is not cedar has none to treat."""
    if unit.cover not in CEDAR_COVERS:
        return f"{words.tenths(unit.acres)} acres, not cedar ground"
    treated, remaining = words.tenths(unit.treated_acres), words.tenths(unit.remaining_acres)
    return f"{treated} acres treated, {remaining} remaining of {words.tenths(unit.acres)}"
