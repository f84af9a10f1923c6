"""The printed sheet: its scale measured on the paper itself, its marks, its words, and what the public must not see."""

from __future__ import annotations

import math
import re
import time
import unicodedata
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest
from fakes import GRID, FakeStore, entry, ground_lonlat, unit
from pdf_reading import closed_paths, pdf_streams, pdf_words, word_boxes
from pyproj import Geod
from shapely import LineString, Point, box
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError, UsageError
from habmap.jobs.sheet import write_sheet
from habmap.records import Feature, Row
from habmap.show.sheet.margin import north_words
from habmap.show.sheet.marks import stage_pattern, svg_outline
from habmap.show.sheet.paper import SCALES
from habmap.show.sheet.pdf import pdf_of
from habmap.show.sheet.pen import LEAST_PT, Pen, printable, text_width_pt, wrapped
from habmap.show.symbols import POINT_MARKS
from habmap.vocabulary import FIRE_CAUTION, SAW_CAUTION, STAGES

NOW = datetime(2026, 3, 1, 18, tzinfo=UTC)
#: An unusual outline [grid m], so that nothing else on the sheet can be taken for it.
OUTLINE = box(-211.0, -97.0, 211.0, 97.0)
PT_PER_M = 72 / 0.0254  # exact: 72 points to an inch of 25.4 mm


def _feature(kind: str, shape: BaseGeometry, name: str, *, sensitive: bool = False) -> Feature:
    return Feature(
        uuid=f"feature-{name}", kind=kind, name=name, sensitive=sensitive, geometry=GRID.to_lonlat(shape),
        recorded_at=NOW,
    )  # fmt: skip


def _store(*more: Row) -> FakeStore:
    return FakeStore(
        [
            unit("A1", OUTLINE, name="South bench", notes="the note of the owner"),
            unit("B2", box(220, -97, 400, 97), name="Far side", cover="grass"),
            entry("cut", "2026-02-14", box(-211, -97, 0, 97), person_hours=31, cost=777, who="Ossian", note="by hand"),
            *more,
        ],
        grid=GRID,
    )


def _write(store: FakeStore, path: Path, **options: object) -> object:
    return write_sheet(store, target=path, folder=path.parent, now=NOW, **options)  # type: ignore[arg-type]


@pytest.mark.poppler
@pytest.mark.parametrize("paper", ["letter", "tabloid", "a4", "a3"])
def test_the_scale_is_true_on_the_paper(tmp_path: Path, paper: str) -> None:
    """A unit of 422 by 194 m is so many points long as 1:N says, within 0.1%: in grid meters and on the ellipsoid."""
    path = tmp_path / "sheet.pdf"
    result = _write(_store(), path, paper=paper)
    scale = result.scale  # type: ignore[attr-defined]
    assert scale in SCALES
    assert f"1:{scale:,}" in pdf_words(path)
    sizes = [np.ptp(outline, axis=0) for outline in closed_paths(path)]
    wanted = np.array([422.0, 194.0]) * PT_PER_M / scale
    matching = [size for size in sizes if np.allclose(size, wanted, rtol=0.001)]
    assert matching, f"no outline of {wanted} pt among {len(sizes)}"
    # The same two sides by GeographicLib's geodesics (Karney 2013), which know nothing of our grid.
    west, south, east, north = GRID.to_lonlat(OUTLINE).bounds
    geod = Geod(ellps="WGS84")
    across_m = geod.inv(west, (south + north) / 2, east, (south + north) / 2)[2]
    up_m = geod.inv((west + east) / 2, south, (west + east) / 2, north)[2]
    assert matching[0] / PT_PER_M * scale == pytest.approx([across_m, up_m], rel=0.001)


@pytest.mark.parametrize(
    ("paper", "short_mm", "long_mm"),
    [("letter", 215.9, 279.4), ("tabloid", 279.4, 431.8), ("a4", 210, 297), ("a3", 297, 420)],  # ANSI Y14.1, ISO 216
)
def test_paper_has_its_size(tmp_path: Path, paper: str, short_mm: float, long_mm: float) -> None:
    path = tmp_path / "sheet.pdf"
    _write(_store(), path, paper=paper)
    box_ = re.search(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", path.read_bytes())
    assert box_ is not None
    sides_mm = sorted(float(side) / 72 * 25.4 for side in box_.groups())
    assert sides_mm == pytest.approx([short_mm, long_mm], abs=0.05)


def test_a_bigger_paper_never_makes_a_smaller_map(tmp_path: Path) -> None:
    scales = {
        paper: _write(_store(), tmp_path / f"{paper}.pdf", paper=paper).scale  # type: ignore[attr-defined]
        for paper in ("letter", "tabloid", "a4", "a3")
    }
    assert scales["tabloid"] < scales["letter"]
    assert scales["a3"] < scales["a4"]


@pytest.mark.poppler
def test_words_on_the_sheet_can_be_searched_and_fonts_are_embedded(tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    _write(_store(), path)
    words = pdf_words(path)
    # 422 by 194 m are 81,868 m2; an acre is 4,046.8564224 m2: 20.2 acres, half of it cut.
    assert "10.1 of 20.2 cedar acres treated at least once; 10.1 remain; next: the south bench, 10.1 acres." in words
    for part in (SAW_CAUTION, FIRE_CAUTION, "How these numbers were made", "True north is", "Feb 14, 2026", "meters"):
        assert part in words
    content = path.read_bytes()
    assert b"/FontFile2" in content  # TrueType programs inside the file (ISO 32000-1, 9.9)
    assert b"/Type3" not in content


@pytest.mark.poppler
def test_a_sheet_of_one_unit(tmp_path: Path) -> None:
    path = tmp_path / "unit.pdf"
    whole = _write(_store(), tmp_path / "whole.pdf")
    one = _write(_store(), path, unit_id="A1")
    assert one.scale < whole.scale  # type: ignore[attr-defined]
    assert (one.units, one.acres) == (1, pytest.approx(81_868 / 4_046.8564224))  # type: ignore[attr-defined]
    words = pdf_words(path)
    assert words.startswith("South bench: 10.1 of 20.2 cedar acres treated; 10.1 remain.")
    assert "Far side" not in words
    assert "Cut on February 14, 2026" in words


@pytest.mark.poppler
def test_the_public_sees_no_names_notes_costs_or_private_places(tmp_path: Path) -> None:
    store = _store(
        _feature("nest", Point(10, 10), "Owl nest"),
        _feature("house", Point(-50, 20), "Ferncastle home", sensitive=True),
        _feature("lane", LineString([(-200, 0), (200, 0)]), "Ferncastle lane"),
    )
    owner, public = tmp_path / "owner.pdf", tmp_path / "public.pdf"
    _write(store, owner, with_hours=True, with_cost=True)
    _write(store, public, audience="public")
    secrets = ("Ossian", "777", "31 person", "by hand", "Owl", "nest", "Ferncastle", "private")
    told, hidden = pdf_words(owner), pdf_words(public)
    assert [secret for secret in secrets if secret not in told] == []
    assert [secret for secret in secrets if secret in hidden] == []
    assert "made for the public" in hidden
    lines = sum(len(re.findall(r" m\n", content)) for content in pdf_streams(public))
    assert lines < sum(len(re.findall(r" m\n", content)) for content in pdf_streams(owner))


@pytest.mark.poppler
def test_hostile_names_are_only_words(tmp_path: Path) -> None:
    name = r"$\frac{1}{0}$ \input{x} (q) Tj % <b> ∑ 𐍈 " + "W" * 300
    store = FakeStore([unit("$U_1^", OUTLINE, name=name)], grid=GRID)
    path = tmp_path / "sheet.pdf"
    _write(store, path)
    words = pdf_words(path)
    assert r"$\frac{1}{0}$ \input{x}" in words
    assert "□" in words  # a letter that the faces lack is shown as an open box


def test_the_same_place_gives_the_same_file(tmp_path: Path) -> None:
    for name in ("a.pdf", "b.pdf"):
        _write(_store(), tmp_path / name)
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


@pytest.mark.poppler
def test_many_units_go_on_overleaf_and_none_is_lost(tmp_path: Path) -> None:
    units = [
        unit(
            f"U{number:02d}",
            box(60 * (number % 10), 60 * (number // 10), 60 * (number % 10) + 55, 60 * (number // 10) + 55),
        )
        for number in range(70)
    ]
    path = tmp_path / "sheet.pdf"
    result = _write(FakeStore(units, grid=GRID), path)
    assert result.pages > 1  # type: ignore[attr-defined]
    words = pdf_words(path)
    assert "more units overleaf" in words
    assert [one.unit_id for one in units if one.unit_id not in words] == []


def test_faults_are_said_and_nothing_is_written(tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    with pytest.raises(InputError, match="no ground to draw"):
        _write(FakeStore(), path)
    with pytest.raises(InputError, match="no such unit"):
        _write(_store(), path, unit_id="Z9")
    with pytest.raises(UsageError, match="PDF"):
        _write(_store(), tmp_path / "sheet.png")
    apart = FakeStore([unit("A", box(0, 0, 50, 50)), unit("B", box(1.9e6, 0, 1.9e6 + 50, 50))], grid=GRID)
    assert _write(apart, tmp_path / "far.pdf").scale >= 10_000_000  # type: ignore[attr-defined]
    assert sorted(file.name for file in tmp_path.iterdir()) == ["far.pdf"]
    path.write_text("mine")
    with pytest.raises(InputError, match="already there"):
        _write(_store(), path)
    assert path.read_text() == "mine"
    _write(_store(), path, overwrite=True)
    assert path.read_bytes().startswith(b"%PDF-")


@pytest.mark.poppler
def test_before_any_work_and_as_of_a_day(tmp_path: Path) -> None:
    before = _write(_store(), tmp_path / "before.pdf", on=date(2026, 2, 13))
    assert (before.treated_acres, before.pages) == (0.0, 1)  # type: ignore[attr-defined]
    assert "0.0 of 20.2 cedar acres" in pdf_words(tmp_path / "before.pdf")


def test_svg_arcs_and_curves_become_the_right_outlines() -> None:
    """A tank is a circle of radius 5 about (7, 7); its bounds follow from that alone."""
    path, _ = POINT_MARKS["well"]
    left, top, right, bottom = svg_outline(path).bounds
    assert (left, top, right, bottom) == pytest.approx((2, 2, 7 + 5, 12), abs=0.02)
    # A half circle turned the other way: from (2, 12) over the top to (7, 12), radius 2.5.
    _, top, _, bottom = svg_outline("M2,12A2.5,2.5 0 1 1 7,12Z").bounds
    assert (top, bottom) == pytest.approx((9.5, 12), abs=0.02)
    # T mirrors the control point: a wave of q3,-3 6,0 t6,0 goes 1.5 up, then 1.5 down (Bezier's middle).
    wave = svg_outline("M1,5q3,-3 6,0t6,0").vertices
    middles = [np.array([1, 3, 3, 1]) / 8 @ wave[start : start + 4] for start in (0, 3)]
    assert np.array([*middles, wave[-1]]) == pytest.approx(np.array([(4, 3.5), (10, 6.5), (13, 5)]))


def test_every_stage_has_a_pattern_on_paper() -> None:
    plain = [stage for stage in STAGES if not stage_pattern(stage).marks]
    assert plain == ["standing", "other"]


def test_true_north_is_said_on_the_side_where_it_lies() -> None:
    """East of the grid's middle, in the north, meridians lean left as they go north: convergence is positive."""
    east_of_middle = GRID.convergence_deg(GRID.lon + 1, GRID.lat)
    north = GRID.to_grid(LineString([(GRID.lon + 1, GRID.lat), (GRID.lon + 1, GRID.lat + 0.01)]))
    (x0, y0), (x1, y1) = north.coords
    lean_deg = math.degrees(math.atan2(x1 - x0, y1 - y0))  # negative: to the left
    assert lean_deg == pytest.approx(-east_of_middle, abs=0.01)
    assert f"{abs(lean_deg):.2f}° left" in north_words(east_of_middle)
    assert f"{abs(lean_deg):.2f}° right" in north_words(-east_of_middle)


def test_lines_are_never_wider_than_their_room() -> None:
    text = "Ground worked twice is counted once " + "W" * 80 + " and so on"
    lines = wrapped(text, 120, size_pt=LEAST_PT)
    assert max(text_width_pt(line, size_pt=LEAST_PT, is_serif=True) for line in lines) <= 120
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")
    assert printable("a\nb\t\x07") == "a b"


@pytest.mark.poppler
def test_the_owners_copy_says_so_and_tells_money_only_when_asked(tmp_path: Path) -> None:
    """The store's lines tell 31 hours and 777 of money; the owner's sheet holds neither unless it is asked for."""
    told = {}
    for name, options in (("plain", {}), ("hours", {"with_hours": True}), ("cost", {"with_cost": True})):
        _write(_store(), tmp_path / f"{name}.pdf", **options)
        told[name] = pdf_words(tmp_path / f"{name}.pdf")
    assert all("owner's copy, holds private places" in words for words in told.values())
    assert [("777" in words, "31 person-hours" in words) for words in told.values()] == [
        (False, False), (False, True), (True, False),
    ]  # fmt: skip
    _write(_store(), tmp_path / "public.pdf", audience="public")
    public = pdf_words(tmp_path / "public.pdf")
    assert "made for the public" in public and "owner's copy" not in public
    with pytest.raises(UsageError, match="never stand in a copy for the public"):
        _write(_store(), tmp_path / "no.pdf", audience="public", with_cost=True)


@pytest.mark.poppler
def test_the_public_finds_the_way_by_roads_and_water_and_reads_no_other_name(tmp_path: Path) -> None:
    store = FakeStore(
        [
            unit("A1", OUTLINE, name="Ossian's corner"),
            *(
                Feature(uuid=f"f{place}", kind=kind, name=name, geometry=GRID.to_lonlat(shape), recorded_at=NOW)
                for place, (kind, name, shape) in enumerate(
                    (
                        ("road", "County Road 9", LineString([(-211, -60), (211, -60)])),
                        ("creek", "Otter Creek", LineString([(-211, 60), (211, 60)])),
                        ("pond", "Mill Pond", box(-30, -20, 30, 20)),
                        ("house", "Ferncastle home", Point(-150, 20)),
                        ("lane", "Ferncastle drive", LineString([(-200, 0), (-60, 0)])),
                        ("fence", "Haddock fence", LineString([(100, -40), (100, 40)])),
                    )
                )
            ),
        ],
        grid=GRID,
    )
    kept, withheld = ("County Road 9", "Otter Creek", "Mill Pond"), ("Ferncastle", "Haddock", "Ossian")
    for audience in ("owner", "public"):
        path = tmp_path / f"{audience}.pdf"
        write_sheet(store, target=path, folder=tmp_path, now=NOW, audience=audience)  # type: ignore[arg-type]
        words = pdf_words(path)
        assert [name for name in kept if name not in words] == []
        assert [name for name in withheld if name in words] == (list(withheld) if audience == "owner" else [])


@pytest.mark.poppler
@pytest.mark.parametrize("is_serif", [True, False])
@pytest.mark.parametrize("is_bold", [True, False])
def test_a_text_is_as_wide_as_it_is_measured(is_serif: bool, is_bold: bool, tmp_path: Path) -> None:
    """Each text as one word of the page, so that ``pdftotext`` tells how wide the file sets it."""
    texts = [
        "ToAVoidWAVES,Type;fieryoffice:1,170.4of2,331.7acres(±0.4)—Łąka,Ötztal№", "AV", "fi", "W",
        "P.T.Kowalski’s“FarField”", "Приве\u0301т", "Ελληνικά", "ქართ→½″",
    ]  # fmt: skip
    sizes_pt = (9.0, 12.0, 28.0)
    pen = Pen((1600, 40 * len(texts) * len(sizes_pt)))
    style = {"is_serif": is_serif, "is_bold": is_bold}
    asked = [(text, size_pt) for size_pt in sizes_pt for text in texts]
    for row, (text, size_pt) in enumerate(asked):
        pen.text(30, 10 + 40 * row, text, size_pt=size_pt, halo_pt=1.0, **style)  # type: ignore[arg-type]
    (tmp_path / "wide.pdf").write_bytes(pdf_of([pen], title="wide"))
    ((_, read),) = word_boxes(tmp_path / "wide.pdf")
    assert sorted(text for text, _ in read) == sorted(unicodedata.normalize("NFC", text) for text, _ in asked)
    rows = sorted(read, key=lambda one: -one[1][3])
    for (text, size_pt), (_, (left, _, right, _)) in zip(asked, rows, strict=True):
        wide_pt = text_width_pt(text, size_pt=size_pt, **style)  # type: ignore[arg-type]
        assert (left, right) == pytest.approx((30, 30 + wide_pt), abs=0.001), text


@pytest.mark.poppler
def test_words_of_every_script_can_be_found(tmp_path: Path) -> None:
    """Also where signs are set from right to left and change with their neighbors, and beyond the first plane."""
    pen = Pen((400, 300))
    texts = ("Otter Creek", "Привет", "שלום עולם", "مرحبا بالعالم", "card 🂡", "日本")
    for row, text in enumerate(texts):
        pen.text(200, 270 - 40 * row, text, size_pt=14, halo_pt=1.5, align="center")
    (tmp_path / "words.pdf").write_bytes(pdf_of([pen], title="words"))
    read = pdf_words(tmp_path / "words.pdf")
    plain = unicodedata.normalize("NFKC", re.sub("[\u202a-\u202e]", "", read))  # as viewers search
    assert [text for text in (*texts[:-1], "□□") if text not in plain] == []


def test_no_line_ends_between_a_figure_and_its_unit() -> None:
    text = "Slope 14% on average, rising 30 ft in 200 m by the creek. " * 6
    for width_pt in range(60, 200, 7):
        lines = wrapped(text, width_pt, size_pt=LEAST_PT)
        assert not [line for line in lines if re.match(r"(%|ft|m)\b|%", line)]
        assert " ".join(lines) == text.strip()  # with plain spaces, as it is read and copied
    # Where not even both have room, they are parted as any other words.
    assert wrapped("100%", text_width_pt("100", size_pt=LEAST_PT) + 3, size_pt=LEAST_PT, is_serif=False) == [
        "100",
        "%",
    ]


def test_ground_helper_agrees() -> None:
    assert GRID.to_grid(ground_lonlat(OUTLINE)).area == pytest.approx(422 * 194, rel=1e-9)


@pytest.mark.poppler
def test_a_name_and_a_note_without_end_lose_nothing_and_take_no_age(tmp_path: Path) -> None:
    note = " ".join(f"word{number}" for number in range(1500))
    store = FakeStore([unit("A" * 300, OUTLINE, name="W" * 6000, notes=note)], grid=GRID)
    path = tmp_path / "sheet.pdf"
    started = time.process_time()
    result = _write(store, path, unit_id="A" * 300)
    assert time.process_time() - started < 20  # 2 to 3 s; a width measured letter by letter took minutes
    assert result.pages > 1  # type: ignore[attr-defined]
    words = pdf_words(path)
    assert "The whole story is overleaf." in words
    assert "word0 " in words
    assert "word1499" in words
