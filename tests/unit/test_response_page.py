"""What came up, drawn: nothing read shows nothing, words of persons are escaped, whiskers end at their limits."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser

import pytest

from habmap.show.page.render import render_page
from habmap.show.page.response import sentence
from habmap.show.records import Page
from habmap.show.response_records import PageResponse, PageShare

UNIT = PageResponse(
    unit_id="A",
    title="South bench",
    native_before=PageShare(pct=10.0, low=0.0, high=20.0),
    native_after=PageShare(pct=120.0, low=80.0, high=160.0),
    canopy_before=PageShare(pct=70.0),
    canopy_after=None,
    moved="more",
    lead="First cut.",
    more="Species noted.",
    coming_back="",
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


def page(response: tuple[PageResponse, ...] = ()) -> Page:
    return Page(
        place="Turnip Hollow", audience="public", on=None, drawn_on=date(2026, 5, 1), currency="USD", acres=0.0,
        treated_acres=0.0, remaining_acres=0.0, keep_acres=0.0, coming_back_acres=0.0, units=(), pieces=(), work=(),
        features=(), boundary=None, relief=None, missing=(), method=(), cautions=(), response=response,
    )  # fmt: skip


def test_nothing_read_shows_nothing() -> None:
    assert "What came up" not in render_page(page())


def test_words_of_persons_stay_words() -> None:
    hostile = replace(UNIT, title=HOSTILE, lead=HOSTILE, more=HOSTILE, coming_back=HOSTILE)
    html = render_page(page(response=(hostile,)))
    plain = render_page(page(response=(replace(UNIT, coming_back="x"),)))
    assert [tag for tag, _ in Tags(html).tags] == [tag for tag, _ in Tags(plain).tags]
    assert not any(name.startswith("on") for _, attributes in Tags(html).tags for name in attributes)


def test_marks_and_whiskers_stand_on_one_scale_that_holds_all_of_it() -> None:
    html = render_page(page(response=(UNIT,)))
    chart = html[html.index('<svg class="responsechart"') :]
    chart = chart[: chart.index("</svg>")]
    # 160 % does not fit on 100 or 150: the scale runs to 200
    assert ">200 %<" in chart
    ticks = {
        float(text.split()[0]): float(x)
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
    less = replace(UNIT, native_after=PageShare(pct=5.0), moved="less")
    unsure, alone = replace(UNIT, moved="unsure"), replace(UNIT, native_after=None, moved=None)
    assert sentence([UNIT, UNIT, less, unsure, alone]) == (
        "4 units were read before and after the first work there. Native plants cover more now in 2; they cover less "
        "in 1; the difference is one that chance alone could make in 1. It tells what was seen when, not what caused "
        "it."
    )
    assert sentence([unsure]).startswith("1 unit was read before and after the first work there. The difference is one")
    assert "nothing to compare yet" in sentence([alone])
