"""The page as a file: sealed, escaped, honest about what is missing, and free of private things for the public."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import re
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from typing import Any

import numpy as np
import pytest
from affine import Affine
from page_makers import page_totals, page_unit, page_work
from PIL import Image
from pyproj import CRS, Transformer
from shapely import LineString, MultiPolygon, Point, box

from habmap.show.page.contents import told_reasons
from habmap.show.page.offline import POLICY_SLOT, UnsealedPageError, seal
from habmap.show.page.render import drawing_json, render_page
from habmap.show.records import Page, PageFeature, PagePiece, PageUnit, PrivateOnPublicPageError
from habmap.show.relief import draw_relief
from habmap.show.terrain_words import terrain_sentence
from habmap.show.words import also, beside_stages, headline, stage_sentence, unbroken, work_sentence
from habmap.work.closures import Closure
from habmap.work.priority import PARTS, Candidate, DenseLimits, rank_units
from habmap.work.terrain import UnitTerrain

HOSTILE = '</script><img src=x onerror="alert(1)">&\u2028"\'{{7*7}}'


def unit(unit_id: str = "A", name: str = "South bench", **given: Any) -> PageUnit:
    shape = MultiPolygon([box(-96.3210001, 37.06, -96.319, 37.062)])
    fields: dict[str, Any] = {
        "name": name, "geometry": shape, "label_lonlat": (-96.32, 37.061), "acres": 7.7,
        "stage_acres": {"standing": 6.44, "down": 1.26}, "treated_acres": 1.26, "remaining_acres": 6.44,
        "slash_acres": 1.26, "order": 1, "reasons": ("cedar", "faces south"),
    }  # fmt: skip
    return page_unit(unit_id, **fields | given)


TOTALS = page_totals(acres=46.8, treated_acres=14.21, remaining_acres=32.58)


def page(**given: Any) -> Page:
    one = unit()
    fields: dict[str, Any] = {
        "place": "Turnip Hollow", "audience": "owner", "on": date(2026, 4, 2), "drawn_on": date(2026, 5, 1),
        "currency": "USD", "totals": TOTALS, "units": (one,),
        "pieces": (PagePiece(unit_id="A", stage="standing", geometry=one.geometry),),
        "work": (), "features": (), "boundary": None, "relief": None, "missing": (), "method": ("Measured.",),
        "cautions": ("Take care.",),
    }  # fmt: skip
    return Page(**fields | given)


class Tags(HTMLParser):
    """All elements and what scripts and styles hold."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.inside: list[tuple[str, dict[str, str | None], str]] = []
        self._open: tuple[str, dict[str, str | None]] | None = None
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag in ("script", "style"):
            self._open = (tag, dict(attrs))
            self.inside.append((tag, dict(attrs), ""))

    def handle_data(self, data: str) -> None:
        if self._open:
            tag, attributes, text = self.inside[-1]
            self.inside[-1] = (tag, attributes, text + data)

    def handle_endtag(self, tag: str) -> None:
        if tag in ("script", "style"):
            self._open = None


def test_headline_says_treated_remaining_and_next() -> None:
    assert headline(page()) == (
        "14.2 of 46.8 cedar acres treated at least once; 32.6 remain; next: the south bench, 6.4 acres."
    )
    assert headline(page(totals=page_totals(treated_acres=3.0, remaining_acres=0.0))) == (
        "3.0 of 3.0 cedar acres treated at least once; nothing remains."
    )
    assert headline(page(units=(), totals=page_totals())) == "No units are drawn yet."
    assert headline(page(units=(unit(name=""),))).endswith("next: unit A, 6.4 acres.")
    assert headline(page(units=(unit(name="Hayrack Hill"),))).endswith("next: Hayrack Hill, 6.4 acres.")


def test_under_the_headline_stands_what_the_page_is_not() -> None:
    head = render_page(page()).partition("<header>")[2].partition("</header>")[0]
    assert "<h1>" in head and "A record of work, not permission to cut, spray or burn." in head.partition("</h1>")[2]


def test_sentences_tell_stage_terrain_and_work() -> None:
    assert stage_sentence(unit()) == "Cedars standing 6.4, cut, slash on ground 1.3 acres."
    part = {"standing": 5.0, "part_cut": 2.7}
    assert stage_sentence(unit(stage_acres=part, slash_acres=2.7, snag_acres=1.1)) == (
        "Cedars standing 5.0, part killed 2.7 acres. Felled cedar is on 2.7 acres in all. "
        "Cedars killed and left standing are on 1.1."
    )
    assert beside_stages([unit(stage_acres=part, slash_acres=1.2)] * 2) == ["Felled cedar is on 2.4 acres in all."]
    assert also(page()) == ""
    assert "not known" in terrain_sentence(None)
    told = terrain_sentence(
        UnitTerrain(slope_mean_deg=8.0, slope_mean_pct=14.1, aspect_mean_deg=202.5, facing="S", hand_only_pct=12.0)
    )
    assert told.startswith("Faces south-southwest; slope 14% on average (8.0°)")
    assert "12% is steeper than the machine limit" in told
    assert terrain_sentence(UnitTerrain(slope_mean_deg=1.0, slope_mean_pct=1.7)).startswith("Faces no one way")
    work = page_work(
        day=date(2026, 2, 14), practice="cut", unit_acres={"A": 1.26}, acres=1.26, geometry=box(0, 0, 1, 1),
        person_hours=9, who="Dale", note="north half",
    )  # fmt: skip
    assert work_sentence(work, unit_id="A", currency="USD") == (
        "Cut on February 14, 2026: 1.3 acres, 9 person-hours, by Dale. “north half”"
    )
    wider = replace(work, acres=4.04, entry=replace(work.entry, who=None, note=None))
    assert work_sentence(wider, unit_id="A", currency="USD") == (
        "Cut on February 14, 2026: 1.3 acres here of 4.0 in all, 9 person-hours."
    )


def test_policy_holds_the_hash_of_every_script_and_style_and_nothing_is_linked() -> None:
    html = render_page(page())
    tags = Tags(html)
    policy = next(
        a["content"] or "" for t, a in tags.tags if t == "meta" and a.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy.startswith("default-src 'none'; img-src data:;")
    assert "unsafe" not in policy
    runnable = [(tag, text) for tag, attributes, text in tags.inside if "type" not in attributes]
    assert {tag for tag, _ in runnable} == {"script", "style"}
    for _, text in runnable:
        assert f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'" in policy
    for tag, attributes in tags.tags:
        assert tag not in ("link", "iframe", "object", "embed", "base", "form")
        assert "src" not in attributes or attributes["src"].startswith("data:")  # type: ignore[union-attr]
        assert not any(name == "style" or name.startswith("on") for name in attributes), (tag, attributes)


def test_policy_stands_before_anything_it_governs() -> None:
    html = render_page(page())
    assert html.index("Content-Security-Policy") < min(html.index("<script"), html.index("<style"))


def test_a_link_without_a_vendored_file_is_an_error() -> None:
    for link in ('<script src="https://example.org/a.js"></script>', '<link rel="stylesheet" href="a.css">'):
        with pytest.raises(UnsealedPageError):
            seal(f"<head>{POLICY_SLOT}{link}</head>")
    with pytest.raises(UnsealedPageError):
        seal("<head></head>")


def test_leaflet_keeps_its_licence() -> None:
    html = render_page(page())
    assert "Redistribution and use in source and binary forms" in html


def test_hostile_text_stays_text() -> None:
    one = unit(unit_id=HOSTILE, name=HOSTILE, reasons=(HOSTILE,), notes=HOSTILE)
    html = render_page(
        page(
            place=HOSTILE,
            units=(one,),
            pieces=(PagePiece(unit_id=HOSTILE, stage="standing", geometry=one.geometry),),
            features=(PageFeature(kind="house", name=HOSTILE, geometry=Point(-96.32, 37.061)),),
            work=(
                page_work(
                    day=date(2026, 1, 2),
                    practice="cut",
                    unit_acres={HOSTILE: 1.0},
                    acres=1.0,
                    geometry=one.geometry,
                    who=HOSTILE,
                    note=HOSTILE,
                ),
            ),
        )
    )
    tags = Tags(html)
    assert not [attributes for tag, attributes in tags.tags if tag == "img"]
    drawing = next(text for _, attributes, text in tags.inside if attributes.get("id") == "drawing")
    assert not set("<>&\u2028") & set(drawing)
    assert json.loads(drawing)["units"][0]["name"] == HOSTILE
    row = next(attributes for tag, attributes in tags.tags if "data-unit" in attributes)
    assert row["data-unit"] == HOSTILE


def test_coordinates_are_kept_at_a_millionth_of_a_degree_and_none_is_left_out() -> None:
    drawn = json.loads(drawing_json(page()))
    ring = drawn["units"][0]["shape"]["coordinates"][0][0]
    assert len(ring) == 5
    assert {tuple(vertex) for vertex in ring} == {
        (-96.321, 37.06), (-96.319, 37.06), (-96.319, 37.062), (-96.321, 37.062),
    }  # fmt: skip


def test_public_page_refuses_private_things() -> None:
    nest = PageFeature(kind="nest", name="", geometry=Point(-96.32, 37.061))
    hidden = PageFeature(kind="gate", name="back way in", geometry=Point(-96.32, 37.061), is_private=True)
    work = page_work(day=date(2026, 1, 2), practice="cut", unit_acres={"A": 1.26}, acres=1.0, geometry=unit().geometry)
    public = page(audience="public")
    render_page(public)
    for bad in (
        {"features": (nest,)},
        {"features": (hidden,)},
        {"work": (replace(work, entry=replace(work.entry, who="Dale")),)},
        {"work": (replace(work, entry=replace(work.entry, note="north")),)},
        {"work": (replace(work, entry=replace(work.entry, cost=5.0)),)},
        {"work": (replace(work, entry=replace(work.entry, person_hours=5.0)),)},
        {"units": (unit(notes="spring"),)},
    ):
        with pytest.raises(PrivateOnPublicPageError):
            render_page(replace(public, **bad))


def test_the_public_reads_neither_holds_nor_contracts() -> None:
    closure = Closure(work=None, reason="eagles nest in the old oak", last=None)
    remarks = (closure.words, "on hold from 2027-01-01: eagles nest in the old oak", "contract EQIP 7: due 2027-01-01")
    (one,) = rank_units(
        [Candidate(unit_id="A", cover="cedar", remaining_acres=5.0, closure=closure, remarks=remarks)],
        limits=DenseLimits(stems_per_acre=250, canopy_pct=50),
        weights=dict.fromkeys(PARTS, 1.0),
    )
    assert told_reasons(one, "owner") == one.reasons and set(remarks) < set(one.reasons)
    public = told_reasons(one, "public")
    assert "on hold" in public
    assert not any(word in " ".join(public) for word in ("eagle", "oak", "EQIP", "2027"))


def test_private_features_on_the_owners_page_say_so() -> None:
    drawn = json.loads(
        drawing_json(page(features=(PageFeature(kind="nest", name="", geometry=Point(0, 0), is_private=True),)))
    )
    assert drawn["features"][0]["name"] == "nest (private)"


def test_the_same_page_gives_the_same_file() -> None:
    assert render_page(page()) == render_page(page())


def test_page_without_units_work_or_elevation_is_still_a_page() -> None:
    html = render_page(
        page(
            units=(),
            pieces=(),
            on=None,
            totals=page_totals(),
            missing=("No units.",),
        )
    )
    assert "No units are drawn yet." in html
    assert "before any logged work" in html


# --- relief ---------------------------------------------------------------------------------------------------
UTM_14N = CRS.from_epsg(32614).to_wkt()


def _plane(rise_per_row_m: float = 0.0, rise_per_column_m: float = 0.0) -> Any:
    rows, columns = np.mgrid[0:80, 0:80]
    heights = 300.0 + rows * rise_per_row_m + columns * rise_per_column_m
    return draw_relief(heights, transform=Affine(10, 0, 500_000, 0, -10, 4_100_000), crs_wkt=UTM_14N)


def _ink(relief: Any) -> Any:
    picture = Image.open(io.BytesIO(base64.b64decode(relief.image.partition(",")[2]))).convert("RGBA")
    seen = np.asarray(picture).astype(float)
    ink = np.where(seen[:, :, 0] > 128, -seen[:, :, 3], seen[:, :, 3])  # what is lit with paper has less than none
    return float(np.median(ink[30:50, 30:50]))


def test_shade_falls_on_ground_that_looks_away_from_the_northwest_sun() -> None:
    toward = _ink(_plane(rise_per_row_m=3, rise_per_column_m=3))  # falls to the northwest
    flat = _ink(_plane())
    away = _ink(_plane(rise_per_row_m=-3, rise_per_column_m=-3))  # falls to the southeast
    assert toward < flat < away


def test_contours_of_a_plane_lie_where_the_plane_has_that_height() -> None:
    relief = _plane(rise_per_column_m=1.0)  # 1 m up per 10 m east
    assert relief.contours
    to_utm = Transformer.from_crs("EPSG:4326", "EPSG:32614", always_xy=True)  # PROJ's way back is the outside check
    checked = 0
    for line in relief.contours:
        east_m = to_utm.transform(line.lonlat[:, 0], line.lonlat[:, 1])[0] - 500_000
        # Column c holds its center's height, 300 + c meters, so a height lies (height - 300 + 0.5) columns east.
        wanted_m = (line.height_ft * 0.3048 - 300 + 0.5) * 10
        if 100 < wanted_m < 700:  # nearer the ends the smoothing of unknown ground bends the line
            inner = np.abs(np.median(east_m) - wanted_m)
            assert inner < 2.0  # a fifth of a cell: bilinear turning and smoothing keep a plane a plane
            checked += 1
    assert checked >= 5


def test_contour_steps_add_up_to_the_line() -> None:
    relief = _plane(rise_per_column_m=1.0)
    drawn = json.loads(drawing_json(page(relief=relief)))["contours"][0]["steps"]
    rebuilt = np.cumsum(np.reshape(drawn, (-1, 2)), axis=0) / 1e6
    np.testing.assert_allclose(rebuilt, relief.contours[0].lonlat, atol=5.1e-7)


def test_no_heights_no_relief() -> None:
    nothing = np.full((20, 20), np.nan)
    assert draw_relief(nothing, transform=Affine(10, 0, 500_000, 0, -10, 4_100_000), crs_wkt=UTM_14N) is None


def test_flat_ground_is_drawn_without_dividing_by_nothing() -> None:
    relief = _plane()
    assert relief.exaggeration >= 1
    assert re.match(r"data:image/png;base64,", relief.image)
    assert render_page(page(relief=relief))


def test_lines_and_collections_are_drawn() -> None:
    from shapely import GeometryCollection

    shape = GeometryCollection([LineString([(0, 0), (1, 1)]), Point(0, 0)])
    drawn = json.loads(drawing_json(page(features=(PageFeature(kind="fence", name="x", geometry=shape),))))
    assert [part["type"] for part in drawn["features"][0]["shape"]["geometries"]] == ["LineString", "Point"]


def test_a_figure_and_its_unit_stay_on_one_line() -> None:
    lie = UnitTerrain(slope_mean_deg=8.0, slope_mean_pct=14.1, sun_facing_pct=62.0)
    html = render_page(page(units=(unit(terrain=lie),)))
    assert "slope 14% on average (8.0°). 62% of it" in html
    assert unbroken("5 meters, 3% 2 mphx 12 m. 30 ft") == "5 meters, 3% 2 mphx 12\xa0m. 30\xa0ft"
