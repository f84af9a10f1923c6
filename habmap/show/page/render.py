"""The page drawn from its records: one HTML file that opens from disk and fetches nothing.

Text of persons is escaped by the template (HTML) or carried as JSON whose markup signs are escaped, and the scripts
only ever set ``textContent``. What the script draws is JSON too: outlines at 1e-6 degree, nothing else left out or
thinned.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields
from datetime import date
from typing import Final, Protocol

from shapely.geometry.base import BaseGeometry

from habmap.show import symbols, words
from habmap.show.on_own_ground import name_lines, newest_work, work_lines
from habmap.show.page import coordinates
from habmap.show.page.account import sheet_parts
from habmap.show.page.coordinates import text_of
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
    unit_shapes = dict(zip((one.unit_id for one in page.units), _shapes(page.units), strict=True))
    unit_rooms = coordinates.rooms_texts([unit.geometry for unit in page.units])
    drawing = {
        "extent": text_of(extent(page)),
        "relief": text_of(None if page.relief is None else page.relief.extent),
        "units": _list(
            _object(
                id=text_of(unit.unit_id),
                name=text_of(words.unit_title(unit)),
                order=text_of(unit.order),
                at=text_of(coordinates.pair(unit.label_lonlat)),
                lines=text_of(["\n".join(lines) for lines in name_lines(words.unit_title(unit))]),
                rooms=rooms,
                says=text_of(f"{words.unit_title(unit)}: {_says(unit)}"),
                shape=unit_shapes[unit.unit_id],
            )
            for unit, rooms in zip(page.units, unit_rooms, strict=True)
        ),
        "pieces": _list(
            _object(unit=text_of(piece.unit_id), stage=text_of(piece.stage), shape=shape)
            for piece, shape in zip(page.pieces, _shapes(page.pieces), strict=True)
        ),
        "mixed": _list(
            _object(unit=text_of(one.unit_id), shape=shape)
            for one, shape in zip(page.shares, _shapes(page.shares), strict=True)
            if one.kind == "both"
        ),
        "patches": _list(_patches(page)),
        "features": _list(
            _object(
                kind=text_of(feature.kind),
                private=text_of(feature.is_private),
                name=text_of(words.feature_label(feature.name, feature.kind, feature.is_private)),
                shape=shape,
            )
            for feature, shape in zip(page.features, _shapes(page.features), strict=True)
        ),
        "covers": _list(
            _object(unit=text_of(unit.unit_id), cover=text_of(unit.cover), shape=unit_shapes[unit.unit_id])
            for unit in page.units
            if unit.cover in COVER_WORDS
        ),
        "edges": text_of(symbols.edges_for_script()),
        "dark": text_of(sorted(DARK_STAGES)),
        "symbols": text_of(symbols.for_script({feature.kind for feature in page.features})),
        "boundary": text_of(None if page.boundary is None else coordinates.geojson(page.boundary)),
        "contours": text_of(
            []
            if page.relief is None
            else [
                {"ft": line.height_ft, "index": line.is_index, "steps": coordinates.steps(line.lonlat)}
                for line in page.relief.contours
            ]
        ),
        **{part.name: text_of(None if part.drawing is None else part.drawing(page)) for part in PAGE_PARTS},
    }
    return _object(**drawing).translate(_MARKUP)


def _patches(page: Page) -> Iterator[str]:
    """Yield the ground of each line of the log with its words, and where it is the newest."""
    worked = newest_work(page.work)
    lines: dict[tuple[str, date], str] = {}  # many lines of the log say the same
    for work, one, whole, newest, shape in zip(
        page.work,
        worked,
        coordinates.rooms_texts([work.geometry for work in page.work]),
        coordinates.rooms_texts([one.newest for one in worked]),
        _shapes(page.work),
        strict=True,
    ):
        key = (work.entry.practice, work.entry.date)
        if key not in lines:
            lines[key] = text_of(["\n".join(way) for way in work_lines(work)])
        yield _object(
            lines=lines[key],
            rooms=whole,
            newest=newest if one.until is not None else "null",
            until="null" if one.until is None else str(one.until),
            shape=shape,
        )


class _Shaped(Protocol):
    @property
    def geometry(self) -> BaseGeometry: ...


def _shapes(drawn: Iterable[_Shaped]) -> list[str]:
    return coordinates.geojson_texts(one.geometry for one in drawn)


def _object(**values: str) -> str:
    """Return an object of values that are JSON already: what was told before is not written anew."""
    return "{" + ",".join(f'"{name}":{value}' for name, value in values.items()) + "}"


def _list(values: Iterable[str]) -> str:
    return f"[{','.join(values)}]"


def _says(unit: PageUnit) -> str:
    """Return a unit's acres in words; ground that is not cedar has none to treat."""
    if unit.cover not in CEDAR_COVERS:
        return f"{words.tenths(unit.acres)} acres, not cedar ground"
    treated, remaining = words.tenths(unit.treated_acres), words.tenths(unit.remaining_acres)
    return f"{treated} acres treated, {remaining} remaining of {words.tenths(unit.acres)}"
