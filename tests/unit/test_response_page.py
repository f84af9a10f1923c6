"""What came up, drawn: nothing read shows nothing, words of persons are escaped, whiskers end at their limits."""

from __future__ import annotations

import re
from dataclasses import fields, replace
from datetime import date
from html.parser import HTMLParser

import pytest
from page_makers import page_totals

from habmap.show.page.render import render_page
from habmap.show.page.response import sentence
from habmap.show.records import Page
from habmap.work.response_records import UnitResponse
from habmap.work.response_regrowth import ComingBack, LookFound

#: Nothing read; what a test needs is put over it.
NOTHING = dict.fromkeys(one.name for one in fields(UnitResponse)) | {
    one.name: 0 for one in fields(UnitResponse) if one.type in ("int", "float")
}
UNIT = UnitResponse(
    **NOTHING
    | {  # type: ignore[arg-type]
        "unit_id": "A",
        "name": "South bench",
        "first_work_on": date(2025, 3, 1),
        "first_work": "cut",
        "read_before_on": date(2024, 6, 1),
        "read_after_on": date(2026, 6, 1),
        "native_cover_before_pct": 10.0,
        "native_cover_before_pct_ci95_low": 0.0,
        "native_cover_before_pct_ci95_high": 20.0,
        "native_cover_after_pct": 120.0,
        "native_cover_after_pct_ci95_low": 80.0,
        "native_cover_after_pct_ci95_high": 160.0,
        "native_cover_change_pct": 110.0,
        "native_cover_change_pct_ci95_low": 60.0,
        "native_cover_change_pct_ci95_high": 160.0,
        "canopy_before_pct": 70.0,
        "canopy_before_rests_on": "a guess",
        "coming_back": ComingBack(acres=0.0, looks=()),
        "words": "",
    }
)


HOSTILE = '</script><img src=x onerror="alert(1)">&\u2028"\'{{7*7}}'


class Tags(HTMLParser):
    """Every element of a page and its attributes."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))


def page(response: tuple[UnitResponse, ...] = ()) -> Page:
    return Page(
        place="Turnip Hollow", audience="public", on=None, drawn_on=date(2026, 5, 1), currency="USD",
        totals=page_totals(), units=(), pieces=(), work=(),
        features=(), boundary=None, relief=None, missing=(), method=(), cautions=(), response=response,
    )  # fmt: skip


def test_nothing_read_shows_nothing() -> None:
    assert "What has grown back" not in render_page(page())


def test_words_of_persons_stay_words() -> None:
    def seen(species: str) -> ComingBack:
        look = LookFound(
            on=date(2026, 5, 1), acres=1.0, live_stems_per_acre=None, seedlings_per_acre=None, tallest_ft=None,
            sprouts={species: 3},
        )  # fmt: skip
        return ComingBack(acres=0.0, looks=(look,))

    hostile = replace(UNIT, name=HOSTILE, canopy_before_rests_on=HOSTILE, coming_back=seen(HOSTILE))
    html = render_page(page(response=(hostile,)))
    plain = render_page(page(response=(replace(UNIT, coming_back=seen("elm")),)))
    assert [tag for tag, _ in Tags(html).tags] == [tag for tag, _ in Tags(plain).tags]
    assert not any(name.startswith("on") for _, attributes in Tags(html).tags for name in attributes)


def test_marks_and_whiskers_stand_on_one_scale_that_holds_all_of_it() -> None:
    html = render_page(page(response=(UNIT,)))
    chart = html[html.index('<svg class="responsechart"') :]
    chart = chart[: chart.index("</svg>")]
    # 160% does not fit on 100 or 150: the scale runs to 200
    assert ">200%<" in chart
    ticks = {
        float(text.split()[0].rstrip("%")): float(x)
        for x, text in re.findall(r'<text x="([\d.]+)"[^>]*middle"[^>]*>([^<]*)<', chart)
    }
    per_pct = (ticks[200.0] - ticks[0.0]) / 200
    whiskers = [tuple(map(float, ends)) for ends in re.findall(r"M([\d.]+),[\d.]+H([\d.]+)M", chart)]
    wanted = [(0.0, 20.0), (80.0, 160.0)]
    # a tenth of a pixel, as the drawing is written
    assert [tuple((x - ticks[0.0]) / per_pct for x in pair) for pair in whiskers] == [
        pytest.approx(pair, abs=0.1 / per_pct) for pair in wanted
    ]
    heads = [float(x) for x in re.findall(r'<ellipse cx="([\d.]+)"', chart)]
    assert [(x - ticks[0.0]) / per_pct for x in heads] == pytest.approx([10.0, 120.0], abs=0.1 / per_pct)
    assert "not read" in chart


def test_the_sentence_counts_and_claims_nothing() -> None:
    less, unsure = (
        replace(UNIT, native_cover_change_pct_ci95_low=low, native_cover_change_pct_ci95_high=high)
        for low, high in ((-9.0, -1.0), (-1.0, 9.0))
    )
    alone = replace(UNIT, native_cover_change_pct=None)
    assert sentence([UNIT, UNIT, less, unsure, alone]) == (
        "4 units were read before and after the first work there. Native plants cover more now in 2; they cover less "
        "in 1; the difference is one that chance alone could make in 1. It tells what was seen when, not what caused "
        "it."
    )
    assert sentence([unsure]).startswith("1 unit was read before and after the first work there. The difference is one")
    assert "nothing to compare yet" in sentence([alone])
