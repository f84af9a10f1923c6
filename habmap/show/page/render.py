"""The page drawn from its records: one HTML file that opens from disk and fetches nothing.

Text of persons is escaped by the template (HTML) or carried as JSON whose markup signs are escaped, and the scripts
only ever set ``textContent``. What the script draws is JSON too: outlines at 1e-6 degree, nothing else left out or
thinned.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, fields
from typing import Final

from habmap.show import symbols, words
from habmap.show.on_own_ground import name_lines, newest_work, work_lines
from habmap.show.page import coordinates
from habmap.show.page.account import sheet_parts
from habmap.show.page.leaflet import branca_element, folium
from habmap.show.page.offline import LEAFLET_SCRIPT, LEAFLET_STYLE, POLICY_SLOT, seal
from habmap.show.page.parts import PAGE_PARTS
from habmap.show.palette import DARK_STAGES
from habmap.show.patterns import COVER_WORDS
from habmap.show.records import Page, PageUnit, extent, refuse_private
from habmap.show.templating import DIRECTION_SIGNS, ENVIRONMENT, template_text
from habmap.vocabulary import CEDAR_COVERS, file_mark


class _Drawing(branca_element.MacroElement):
    """The one line that hands folium's map to the page's own script."""

    _template = folium.template.Template(
        "{% macro script(this, kwargs) %}drawPlace({{ this._parent.get_name() }});{% endmacro %}"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """What stands around the page where a program serves it: HTML of that program's own.

    Attributes
    ----------
    head, top, foot
        At the end of the head, above the page, below it.
    pencil, pencil_words
        In place of the file that a drawn outline is saved as, and what the pencil says to do next.
    """

    head: str = ""
    top: str = ""
    foot: str = ""
    pencil: str = ""
    pencil_words: str = ""


def render_page(page: Page, *, around: Around | None = None) -> str:
    """Return the page as one HTML text that opens from disk and fetches nothing.

    Raises
    ------
    PrivateOnPublicPageError
        A page for the public holds a private feature, a name, a note, hours or a cost.
    """
    if page.audience == "public":
        refuse_private(page)
    west, south, east, north = extent(page)
    paper = folium.Map(
        location=((south + north) / 2, (west + east) / 2), tiles=None, zoom_control=False, attribution_control=False,
        zoom_snap=0, zoom_delta=0.5, box_zoom=False, max_zoom=22,
    )  # fmt: skip
    # Leaflet alone: none of the other people's buttons, icons and styles that folium brings along.
    paper.default_js = [("leaflet", LEAFLET_SCRIPT)]
    paper.default_css = [("leaflet_css", LEAFLET_STYLE)]
    folium.map.CustomPane("relief", z_index=420, pointer_events=False).add_to(paper)
    if page.relief is not None:
        folium.raster_layers.ImageOverlay(
            page.relief.image,
            bounds=[[page.relief.south, page.relief.west], [page.relief.north, page.relief.east]],
            pane="relief",
        ).add_to(paper)
    _Drawing().add_to(paper)  # type: ignore[no-untyped-call]
    figure = paper.get_root()
    names = [part.name for part in PAGE_PARTS]
    scripts = [part.name for part in PAGE_PARTS if part.has_script]
    figure._template = ENVIRONMENT.from_string(
        template_text("page/page.html.j2"),
        globals={
            **sheet_parts(page),
            **{name: value for part in PAGE_PARTS if part.values for name, value in part.values(page).items()},
            "policy": POLICY_SLOT,
            "mark": file_mark("map", page.audience),
            "around": around,
            "drawing": drawing_json(page),
            "css": "\n".join(template_text(f"page/{name}.css") for name in ("page", *names)),
            "js": "\n".join(template_text(f"page/{name}.js") for name in ("page", "outline", *scripts)),
        },
    )
    sealed = seal(_steady_names(figure.render(), paper))
    return sealed if around is None else _surrounded(sealed, around)


def _surrounded(sealed: str, around: Around) -> str:
    """Put what stands around the page into its slots: names and notes in it are escaped, and cannot hold one."""
    for name in (one.name for one in fields(around)):
        sealed = sealed.replace(f"<!--around:{name}-->", getattr(around, name))
    return sealed


def _steady_names(html: str, paper: folium.Map) -> str:
    """Give folium's elements the same names each time, so that the same place gives the same file."""
    for number, element in enumerate([paper, *paper._children.values()]):
        html = html.replace(element._id, f"{number:032x}")
    return html


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
