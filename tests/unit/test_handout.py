"""The handout's pages: both maps at one true scale, type large enough for a room, and nothing private in public."""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from fakes import GRID, FakeStore, entry, unit
from label_places import ten_acres
from page_makers import page_unit
from pdf_reading import pdf_streams, pdf_text, pdf_words
from pyproj import Geod
from shapely import LineString, Point, box

from habmap.errors import InputError, UsageError
from habmap.jobs.acres import acres
from habmap.jobs.effort import effort
from habmap.jobs.ground import ground
from habmap.jobs.handout import build_handout, write_handout
from habmap.place.settings import Settings
from habmap.records import Feature
from habmap.show.handout import pages as pages_module
from habmap.show.handout.records import HandoutUnit, refuse_private_handout
from habmap.show.handout.words import by_season, due, unit_reasons
from habmap.show.records import PrivateOnPublicPageError
from habmap.show.sheet.pen import Pen
from habmap.vocabulary import FIRE_CAUTION, SAW_CAUTION
from habmap.work.season_account import season_account

NOW = datetime(2026, 3, 1, 18, tzinfo=UTC)
TODAY = date(2026, 3, 1)
#: An unusual outline [grid m], so that nothing else on the page can be taken for it.
OUTLINE = box(-211.0, -97.0, 211.0, 97.0)
PT_PER_M = 72 / 0.0254  # exact: 72 points to an inch of 25.4 mm
PAPERS = ("letter", "tabloid", "a4", "a3")
SETTINGS = Settings.model_validate(
    {
        "place": {"name": "Bellwether"},
        "effort": {"hours_per_week": 10},
        "contract": [
            {"program": "EQIP", "item": "7", "practice_code": "314", "units": ["A1"], "planned_acres": 12,
             "due": "2027-09-30"}
        ],
        "hold": [{"unit": "A1", "reason": "the owl at the ford", "from": "2026-01-01"}],
    }
)  # fmt: skip


#: The same with the hold still to come: A1 may be named as what comes next.
COMING = SETTINGS.model_copy(update={"hold": (SETTINGS.hold[0].model_copy(update={"from_": date(2026, 5, 1)}),)})


def _feature(kind: str, planar: object, name: str, *, sensitive: bool = False) -> Feature:
    return Feature(
        uuid=f"feature-{name}", kind=kind, name=name, sensitive=sensitive, geometry=GRID.to_lonlat(planar),
        recorded_at=NOW,
    )  # fmt: skip


def _store(settings: Settings = SETTINGS) -> FakeStore:
    return FakeStore(
        [
            unit(
                "A1", OUTLINE, name="South bench", notes="the note of the owner", extra={"public_name": "South bench"}
            ),
            unit("B2", box(220, -97, 400, 97), name="Far side", cover="grass"),
            entry(
                "cut", "2024-12-14", box(-211, -97, -111, 97), person_hours=21, cost=333, who="Ossian", note="by hand"
            ),
            entry("cut", "2026-02-14", box(-111, -97, -11, 97), person_hours=31, cost=777, who="Ossian"),
            _feature("nest", Point(560, 10), "Owl nest"),
            _feature("house", Point(-640, 20), "Ferncastle home", sensitive=True),
            _feature("lane", LineString([(-200, 0), (200, 0)]), "Ferncastle lane"),
        ],
        settings=settings,
        grid=GRID,
    )


def _write(store: FakeStore, path: Path, **options: object) -> object:
    return write_handout(store, target=path, folder=path.parent, now=NOW, today=TODAY, **options)  # type: ignore[arg-type]


@dataclass(frozen=True)
class _Text:
    page: int
    words: str
    size_pt: float
    x_pt: float
    y_pt: float


def _pages(path: Path) -> list[str]:
    found = pdf_streams(path)
    assert len(found) in (4, 5)
    return found


def _texts(path: Path) -> list[_Text]:
    """Return each set line of words with its size and place, read from the page's own operators (ISO 32000-1, 9.4)."""
    found = []
    for number, content in enumerate(_pages(path), 1):
        for match in re.finditer(r"([-\d.]+) ([-\d.]+) Tm /\S+ ([\d.]+) Tf.*?ET", content, re.DOTALL):
            strings = re.findall(r"\(((?:\\.|[^\\)])*)\)", match[0], re.DOTALL)
            words = re.sub(r"\\(.)", r"\1", "".join(strings))
            found.append(_Text(number, words, float(match[3]), float(match[1]), float(match[2])))
    return found


def _covered(path: Path) -> list[tuple[str, str]]:
    """Return the words whose bodies (the middle half of their boxes) lie over one another."""
    boxes = pdf_text(path, "-bbox")
    found = []
    for page in boxes.split("<page ")[1:]:
        words = [
            (float(left), float(top), float(right), float(bottom), word)
            for left, top, right, bottom, word in re.findall(
                r'xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">([^<]*)<', page
            )
        ]
        bodies = [
            (left + 0.5, top + (bottom - top) / 4, right - 0.5, bottom - (bottom - top) / 4, word)
            for left, top, right, bottom, word in words
        ]
        found += [
            (one[4], other[4])
            for index, one in enumerate(bodies)
            for other in bodies[index + 1 :]
            if one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
        ]
    return found


def _outlines(content: str, wanted_pt: np.ndarray) -> list[np.ndarray]:
    """Return the sizes of all straight-sided closed outlines on a page that have the wanted size, within 0.1%."""
    number = r"-?[\d.]+"
    sizes = []
    for path in re.findall(rf"({number} {number} m\n(?:{number} {number} l\n)+)h", content):
        points = np.array([[float(part) for part in line.split()[:2]] for line in path.strip().split("\n")])
        sizes.append(np.ptp(points, axis=0))
    return [size for size in sizes if np.allclose(size, wanted_pt, rtol=0.001)]


@pytest.mark.poppler
@pytest.mark.parametrize("paper", PAPERS)
def test_both_maps_have_one_true_scale(tmp_path: Path, paper: str) -> None:
    """A unit of 422 by 194 m is so many points long on both maps as 1:N says: in grid meters and on the ellipsoid."""
    path = tmp_path / "handout.pdf"
    result = _write(_store(), path, paper=paper)
    pages = _pages(path)
    then, order = result.now_scale, result.order_scale  # type: ignore[attr-defined]
    first = _outlines(pages[0], np.array([422.0, 194.0]) * PT_PER_M / then)
    assert first
    before = result.before_scale  # type: ignore[attr-defined]
    assert before >= then and _outlines(pages[0], np.array([422.0, 194.0]) * PT_PER_M / before)
    assert _outlines(pages[2], np.array([422.0, 194.0]) * PT_PER_M / order)
    words = pdf_words(path)
    assert f"1:{then:,}" in words
    assert f"1:{order:,}" in words
    # The same two sides by GeographicLib's geodesics (Karney 2013), which know nothing of our grid.
    west, south, east, north = GRID.to_lonlat(OUTLINE).bounds
    geod = Geod(ellps="WGS84")
    across_m = geod.inv(west, (south + north) / 2, east, (south + north) / 2)[2]
    up_m = geod.inv((west + east) / 2, south, (west + east) / 2, north)[2]
    assert first[0] / PT_PER_M * then == pytest.approx([across_m, up_m], rel=0.001)


@pytest.mark.poppler
@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_a_room_can_read_it_and_nothing_runs_off(tmp_path: Path, paper: str) -> None:
    """24 pt for what the room reads; only the foot and the scale are smaller, and never under 12 pt (look, issue)."""
    path = tmp_path / "handout.pdf"
    result = _write(_store(), path, paper=paper)
    texts = _texts(path)
    assert {text.page for text in texts} == {1, 2, 3, 4, 5}
    assert min(text.size_pt for text in texts) >= 12
    assert result.least_room_pt >= 24  # type: ignore[attr-defined]
    box_ = re.search(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", path.read_bytes())
    assert box_ is not None
    width, height = map(float, box_.groups())
    assert width > height
    for page in (1, 2, 3, 4):
        small = [text for text in texts if text.page == page and text.size_pt < 24]
        foot_top = max(text.y_pt for text in small if text.words.startswith("How these numbers"))
        for text in small:
            is_scale = re.fullmatch(r"[\d,]+|feet|meters|N", text.words)
            assert text.y_pt <= foot_top + 14 or is_scale, text
        large = [text for text in texts if text.page == page and text.size_pt >= 24]
        highest = sorted({text.y_pt for text in large})[-2:]  # the place's name, and the sentence under it
        assert max(text.size_pt for text in large if text.y_pt in highest) >= 28
        assert min(text.x_pt for text in large) >= 20
        assert max(text.y_pt for text in large) <= height - 20
    for text in texts:
        assert 0 < text.x_pt < width
        assert 0 < text.y_pt < height
    assert _covered(path) == []


@pytest.mark.poppler
def test_fonts_are_embedded_and_words_can_be_searched(tmp_path: Path) -> None:
    path = tmp_path / "handout.pdf"
    _write(_store(), path)
    content = path.read_bytes()
    assert b"/FontFile2" in content  # TrueType programs inside the file (ISO 32000-1, 9.9)
    assert b"/Type3" not in content
    words = pdf_words(path)
    assert words.count("How these numbers were made") == 5
    assert words.count("drawn March 1, 2026") == 5
    assert words.count("Bellwether") == 10  # on top of each page, and in its foot
    assert words.count(SAW_CAUTION) == words.count(FIRE_CAUTION) == 1  # once, in full; the other pages point there
    assert words.count("The cautions on page 2 belong to this page too.") == 4
    for part in ("Before any work", "Feb 14, 2026", "July 1 to June 30", "What help is asked"):
        assert part in words


@pytest.mark.poppler
def test_figures_on_the_pages_are_the_librarys(tmp_path: Path) -> None:
    store = _store()
    path = tmp_path / "handout.pdf"
    result = _write(store, path, with_hours=True, with_cost=True)
    totals, spent, seasons = (
        acres(store).totals,
        effort(store, today=TODAY),
        season_account(ground(store)).seasons,
    )
    assert result.seasons == seasons  # type: ignore[attr-defined]
    assert result.treated_acres == totals.treated_acres  # type: ignore[attr-defined]
    assert result.person_hours_left == spent.person_hours_left  # type: ignore[attr-defined]
    words = pdf_words(path)
    # 100 by 194 m cut in each of two seasons: 19,400 m2 of 4,046.8564224 m2 an acre are 4.8 acres, twice 9.6 (9.587).
    assert "9.6 of 20.2 cedar acres treated at least once; 10.6 remain" in words
    for season in seasons:
        assert f"{season.treated_acres:.1f}" == "4.8"
        assert season.label in words
    assert "Acres worked so far: cut 9.6." in words
    # 21 and 31 hours, 333 and 777 of money, to two digits
    assert "So far: about 52 person-hours and $1,100." in words
    # two days of cutting are too few to tell a room what the rest would take, or about how far off that may be
    assert spent.person_hours_left is not None
    assert f"{spent.person_hours_left:,.0f}" not in words and "too few days logged to tell" in words
    assert "EQIP 7 (314)" in words
    assert "the owl at the ford" in words


@pytest.mark.poppler
def test_the_public_sees_no_hours_costs_names_or_private_places(tmp_path: Path) -> None:
    owner, public = tmp_path / "owner.pdf", tmp_path / "public.pdf"
    _write(_store(), owner, with_hours=True, with_cost=True)
    result = _write(_store(), public, audience="public")
    told, hidden = pdf_words(owner), pdf_words(public)
    for secret in ("$", "person-hours", "EQIP", "owl at the ford"):
        assert secret in told
    for secret in (
        "USD",
        "$",
        "hours",
        "EQIP",
        "owl",
        "Owl",
        "nest (",
        "Ferncastle",
        "Ossian",
        "777",
        "1,110",
        "by hand",
    ):
        assert secret not in hidden
    assert "made for the public" in hidden
    assert "South bench: 10.6 acres" in hidden
    assert "What help is asked" in hidden
    assert result.person_hours_left is None  # type: ignore[attr-defined]
    assert all(season.person_hours is None and season.cost is None for season in result.seasons)  # type: ignore[attr-defined]


def test_a_story_for_the_public_that_tells_too_much_is_refused() -> None:
    owner = build_handout(_store(COMING), now=NOW, today=TODAY, audience="owner", with_hours=True, with_cost=True)
    public = build_handout(_store(COMING), now=NOW, today=TODAY, audience="public")
    refuse_private_handout(public)
    for field in ("effort", "contract", "next_units", "due", "account", "page"):
        with pytest.raises(PrivateOnPublicPageError):
            refuse_private_handout(replace(public, **{field: getattr(owner, field)}))


@pytest.mark.poppler
def test_help_is_the_stewards_own_list_or_from_the_figures(tmp_path: Path) -> None:
    held = _write(_store(), tmp_path / "held.pdf").asks  # type: ignore[attr-defined]
    assert not any("south bench" in text for text in held)
    assert "The south bench is on hold" in pdf_words(tmp_path / "held.pdf")
    derived = _write(_store(COMING), tmp_path / "a.pdf").asks  # type: ignore[attr-defined]
    assert derived[0] == "Cutting on the south bench: 10.6 acres."
    assert "your own list goes under [handout]" in pdf_words(tmp_path / "a.pdf")
    own = ("A trailer in March", "Two $aws & <hands>", *(f"The {number}th wish of many" for number in range(20)))
    settings = Settings.model_validate({"handout": {"ask": own}})
    assert _write(_store(settings), tmp_path / "b.pdf", audience="public").asks == own  # type: ignore[attr-defined]
    assert _covered(tmp_path / "b.pdf") == []
    words = pdf_words(tmp_path / "b.pdf")
    assert "Two $aws & <hands>" in words
    assert re.search(r"And \d+ more\.", words)


@pytest.mark.poppler
@pytest.mark.parametrize(
    ("store", "said"),
    [
        (FakeStore(), ("No units are drawn yet.", "There is no ground to draw yet.", "No work is logged yet.")),
        (
            FakeStore([unit("A1", OUTLINE)], grid=GRID),
            ("0.0 of 20.2 cedar acres", "Nothing is logged yet", "No elevation is loaded", "now is not measured"),
        ),
        (FakeStore([unit("G", OUTLINE, cover="grass")], grid=GRID), ("No cedar ground is mapped here.",)),
    ],
    ids=["nothing", "no log", "no cedar"],
)
def test_places_that_lack_something_say_so_on_four_pages(
    tmp_path: Path, store: FakeStore, said: tuple[str, ...]
) -> None:
    path = tmp_path / "handout.pdf"
    result = _write(store, path)
    assert result.pages == 4  # type: ignore[attr-defined]
    words = pdf_words(path)
    for part in said:
        assert part in words
    assert words.count("How these numbers were made") == 4


def test_many_seasons_are_counted() -> None:
    rows = [entry("cut", f"{year}-12-03", box(0, -97, 10 * (year - 2010), 97)) for year in range(2012, 2026)]
    handout = build_handout(FakeStore([unit("A1", OUTLINE), *rows], grid=GRID), now=NOW, today=TODAY, audience="owner")
    assert "in 14 seasons" in by_season(handout)


@pytest.mark.poppler
def test_numerals_never_cover_one_another(tmp_path: Path) -> None:
    squares = [(60 * (number % 12), 60 * (number // 12)) for number in range(120)]
    rows = [unit(f"U{number:03d}", box(x, y, x + 55, y + 55)) for number, (x, y) in enumerate(squares)]
    path = tmp_path / "handout.pdf"
    _write(FakeStore(rows, grid=GRID), path)
    assert _covered(path) == []
    left_out = re.search(r"On (\d+) of the units there is no room for a numeral", pdf_words(path))
    numerals = [one for one in _texts(path) if one.page == 3 and one.words.isdigit() and one.size_pt == 24]
    assert left_out is not None
    assert len(numerals) + int(left_out[1]) == 120
    assert {"1", "2", "3", "4"} <= {one.words for one in numerals}


def test_nothing_due_reads_as_leave_to_burn() -> None:
    """Cut 15, 45 and 200 days before: the calendar's window (30 to 60 days) is not put on a wall."""
    parts = [box(-211, -97, -100, 97), box(-100, -97, 0, 97), box(0, -97, 100, 97)]
    days = ["2026-02-14", "2026-01-15", "2025-08-13"]
    rows = [unit(f"A{number}", part) for number, part in enumerate(parts)]
    rows += [entry("cut", day, part) for day, part in zip(days, parts, strict=True)]
    handout = build_handout(FakeStore(rows, grid=GRID), now=NOW, today=TODAY, audience="owner")
    told = "; ".join(due(handout))
    assert "slash past its drying days: 1" in told
    assert "slash younger than its drying days: 1" in told
    assert "slash in its drying days (no leave to burn: the burn boss and the written plan decide): 1" in told
    assert "window" not in told


def test_reasons_are_said_plainly() -> None:
    lies = SimpleNamespace(aspect_remaining_deg=181.0, sun_facing_remaining_pct=66.4)
    where: dict[str, Any] = {"geometry": OUTLINE, "label_lonlat": (0.0, 0.0), "stage_acres": {}, "remaining_acres": 3.0}
    stand: Any = SimpleNamespace(dense=True, stems_per_acre=1234.0)
    bench = HandoutUnit(unit=page_unit("B", cover="mixed", order=1, ranked=lies, **where), stand=stand)
    assert unit_reasons(bench) == "Faces south, 66% sun-facing. Thick cedars among hardwoods, about 1,200 to the acre."
    by_crowns: Any = SimpleNamespace(dense=True, stems_per_acre=91.0, canopy_pct=78.4)
    covered = replace(bench, stand=by_crowns, is_dense_by_crowns=True)
    assert unit_reasons(covered) == "Faces south, 66% sun-facing. Thick cedars among hardwoods: crowns cover 78%."
    unknown = HandoutUnit(unit=page_unit("C", order=2, **where))
    assert unit_reasons(unknown) == "Which way it faces is not known. How thick its cedars stand now is not measured."


def test_the_same_place_gives_the_same_file(tmp_path: Path) -> None:
    for name in ("a.pdf", "b.pdf"):
        _write(_store(), tmp_path / name)
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


@pytest.mark.poppler
def test_faults_are_said_and_nothing_is_written(tmp_path: Path) -> None:
    path = tmp_path / "handout.pdf"
    with pytest.raises(UsageError, match="PDF"):
        _write(_store(), tmp_path / "handout.png")
    assert list(tmp_path.iterdir()) == []
    path.write_text("mine")
    with pytest.raises(InputError, match="already there"):
        _write(_store(), path)
    assert path.read_text() == "mine"
    hostile = FakeStore([unit("$U_1^", OUTLINE, name=r"$\frac{1}{0}$ \input{x} (q) " + "W" * 400)], grid=GRID)
    _write(hostile, path, overwrite=True)
    assert path.read_bytes().startswith(b"%PDF-")
    assert _covered(path) == []


def test_wide_ground_is_drawn_larger_than_two_columns_beside_a_legend_allow(tmp_path: Path) -> None:
    """4,200 by 900 m: left of a key 246 pt wide Letter has 468 pt for the map at most."""
    wide = [unit(f"W{i}", box(420 * i, 0, 420 * (i + 1), 900), name=f"Strip {i}") for i in range(10)]
    path = tmp_path / "wide.pdf"
    result = _write(FakeStore(wide, settings=SETTINGS, grid=GRID), path, paper="letter")
    scale = result.now_scale  # type: ignore[attr-defined]
    assert 4200 * PT_PER_M / scale > 468
    # Stages, titles, scale and foot keep clear of one another all the same.
    large = sorted({text.y_pt for text in _texts(path) if text.page == 1 and text.size_pt >= 24})
    assert all(b - a >= 20 or b - a < 3 for a, b in itertools.pairwise(large))


def test_a_season_without_work_is_said_and_every_promised_unit_is_told(tmp_path: Path) -> None:
    """Work in 2024-25 alone, read in August 2026 after an empty season; three units promised, three told."""
    rows = [unit(f"U{n}", box(100 * n, 0, 100 * n + 90, 200), name=f"A long name for unit {n}") for n in range(5)]
    rows.append(entry("cut", "2024-12-01", box(0, 0, 40, 200)))
    rows.append(entry("cut", "2026-07-02", box(0, 0, 20, 200)))  # the same ground: nothing for the first time
    store = FakeStore(rows, grid=GRID)
    late = date(2026, 8, 1)
    handout = build_handout(store, now=datetime(2026, 8, 1, 12, tzinfo=UTC), today=late, audience="owner")
    assert "in 1 of 2 seasons (2026-27 so far: none)" in by_season(handout)
    path = tmp_path / "handout.pdf"
    _write(store, path)
    third = [one for one in _texts(path) if one.page == 3]
    promised = re.findall(r"unit (\d)", " ".join(one.words for one in third if one.size_pt > 27))
    told = re.findall(r"\d\. A long name for unit (\d)", " ".join(one.words for one in third if one.size_pt == 24))
    assert promised and set(promised) <= set(told)


@pytest.mark.poppler
def test_money_and_hours_stand_on_the_owners_handout_only_when_asked(tmp_path: Path) -> None:
    told = {}
    for name, options in (("plain", {}), ("hours", {"with_hours": True}), ("cost", {"with_cost": True})):
        _write(_store(), tmp_path / f"{name}.pdf", **options)
        words = pdf_words(tmp_path / f"{name}.pdf")
        assert words.count("owner's copy, holds private places") == 5
        told[name] = ("$1,100" in words, "52 person-hours" in words, "EQIP" in words)
    assert told == {"plain": (False, False, False), "hours": (False, True, False), "cost": (True, False, True)}


@pytest.mark.poppler
def test_no_sentence_of_what_remains_is_cut_off(tmp_path: Path) -> None:
    name = "Pasture number {} along the old county line road"
    rows = [unit(f"L{n}", box(200 * n, 0, 200 * n + 200, 90 + n), name=name.format(n)) for n in range(12)]
    path = tmp_path / "handout.pdf"
    _write(FakeStore(rows, grid=GRID), path)
    fourth = " ".join(one.words for one in _texts(path) if one.page == 4)
    assert "…" not in fourth
    assert re.search(r"And \d more\.", fourth)
    assert "the largest parts" in fourth


def test_no_numeral_covers_a_house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The house stands in the middle of the one unit, where its numeral would stand."""
    kept: list[Any] = []
    real, text = pages_module.draw_numerals, Pen.text

    def draw_numerals(pen: Pen, frame: Any, *units: Any, **more: Any) -> int:
        kept.append((frame, []))
        return real(pen, frame, *units, **more)

    def told_text(pen: Pen, x: float, y: float, words: str, **style: Any) -> None:
        if kept:
            kept[-1][1].append((x, y, words, style))
        text(pen, x, y, words, **style)

    monkeypatch.setattr(pages_module, "draw_numerals", draw_numerals)
    monkeypatch.setattr(Pen, "text", told_text)
    _write(ten_acres(), tmp_path / "handout.pdf")
    ((frame, told),) = kept
    house = frame.on_paper(GRID.to_lonlat(Point(100, 100)))
    x, y, _, style = next(one for one in told if one[2] == "1" and one[3].get("align") == "center")
    size = style["size_pt"]
    assert not box(x - size / 3, y, x + size / 3, y + 0.7 * size).intersects(house.buffer(6))
