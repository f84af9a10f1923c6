"""What a page shows, as plain records, and the page drawn from them: one HTML file that fetches nothing.

Nothing here reads a place: whoever asks fills the records. Text in them may be anything a person typed; it is escaped
by the template (HTML) or carried as JSON whose markup signs are escaped, and the script only ever sets ``textContent``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from importlib.resources import files
from typing import Literal

import branca.element
import folium
import jinja2
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from habmap.errors import HabmapError
from habmap.show.offline import LEAFLET_SCRIPT, LEAFLET_STYLE, POLICY_SLOT, seal
from habmap.show.relief import Relief
from habmap.vocabulary import PRIVATE_FEATURE_KINDS

Audience = Literal["owner", "public"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PageTerrain:
    """The lie of a unit's ground; ``None`` = not known (off the elevation)."""

    slope_mean_deg: float | None = None
    slope_mean_pct: float | None = None
    slope_p90_pct: float | None = None
    aspect_mean_deg: float | None = None
    facing: str | None = None
    sun_facing_pct: float | None = None
    hand_only_pct: float | None = None
    coverage_pct: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PageWork:
    """One line of the log and the ground it covered (lon/lat); for the public its private parts are ``None``.

    ``acres`` is of the whole patch, ``unit_acres`` the part of it in each unit it touches.
    """

    day: date
    practice: str
    acres: float
    unit_acres: Mapping[str, float]
    geometry: BaseGeometry
    killed_pct: float | None = None
    person_hours: float | None = None
    cost: float | None = None
    who: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PageUnit:
    """One unit: outline (lon/lat), where its number stands, its acres by stage, and why it comes when it comes."""

    unit_id: str
    name: str
    cover: str
    geometry: BaseGeometry
    label_lonlat: tuple[float, float]
    acres: float
    acres_sd: float | None
    stage_acres: Mapping[str, float]
    treated_acres: float
    remaining_acres: float
    order: int | None = None
    terrain: PageTerrain = PageTerrain()
    reasons: tuple[str, ...] = ()
    notes: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PagePiece:
    """All ground of one unit in one stage (lon/lat)."""

    unit_id: str
    stage: str
    geometry: BaseGeometry


@dataclass(frozen=True, slots=True, kw_only=True)
class PageFeature:
    """A road, house, creek or other thing (lon/lat)."""

    kind: str
    name: str
    geometry: BaseGeometry
    is_private: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """Everything one page shows; ``on`` is the day whose ground it shows, ``None`` before any work."""

    place: str
    audience: Audience
    on: date | None
    drawn_on: date
    currency: str
    acres: float
    treated_acres: float
    remaining_acres: float
    keep_acres: float
    coming_back_acres: float
    units: tuple[PageUnit, ...]
    pieces: tuple[PagePiece, ...]
    work: tuple[PageWork, ...]
    features: tuple[PageFeature, ...]
    boundary: MultiPolygon | None
    relief: Relief | None
    missing: tuple[str, ...]
    method: tuple[str, ...]
    cautions: tuple[str, ...]


class PrivateOnPublicPageError(HabmapError):
    """Something that only the owner may see was about to be drawn for the public."""


class _Drawing(branca.element.MacroElement):
    """The one line that hands folium's map to the page's own script."""

    _template = folium.template.Template(
        "{% macro script(this, kwargs) %}drawPlace({{ this._parent.get_name() }});{% endmacro %}"
    )


def template_text(name: str) -> str:
    """Return the text of a file under ``show/templates``."""
    return (files("habmap.show") / "templates" / name).read_text(encoding="utf-8")


def render_page(page: Page) -> str:
    """Return the page as one HTML text that opens from disk and fetches nothing.

    Raises
    ------
    PrivateOnPublicPageError
        A page for the public holds a private feature, a name, a note, hours or a cost.
    """
    # Here, because the sentences and figures are drawn from the records above.
    from habmap.show.drawing import drawing_json, extent
    from habmap.show.sheetparts import sheet_parts

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
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    figure._template = environment.from_string(
        template_text("page.html.j2"),
        globals={
            **sheet_parts(page),
            "policy": POLICY_SLOT,
            "drawing": drawing_json(page),
            "css": template_text("page.css"),
            "js": template_text("page.js"),
        },
    )
    return seal(_steady_names(figure.render(), paper))


def _steady_names(html: str, paper: folium.Map) -> str:
    """Give folium's elements the same names each time, so that the same place gives the same file."""
    for number, element in enumerate([paper, *paper._children.values()]):
        html = html.replace(element._id, f"{number:032x}")
    return html


def refuse_private(page: Page) -> None:
    """Raise :class:`PrivateOnPublicPageError` if records for the public hold what only the owner may see."""
    for feature in page.features:
        if feature.is_private or feature.kind in PRIVATE_FEATURE_KINDS:
            raise PrivateOnPublicPageError("a private feature is on a page for the public", value=feature.kind)
    for work in page.work:
        if any(value is not None for value in (work.who, work.note, work.cost, work.person_hours)):
            raise PrivateOnPublicPageError(
                "a log line on a page for the public tells who, a note, hours or cost", value=work.day
            )
    for unit in page.units:
        if unit.notes is not None:
            raise PrivateOnPublicPageError("a unit on a page for the public carries notes", value=unit.unit_id)
