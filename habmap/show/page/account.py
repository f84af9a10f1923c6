"""The parts of the page around the drawing: the account's rows and bars, the legend, and the sentences."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from markupsafe import Markup

from habmap.show import symbols, words
from habmap.show.palette import INK
from habmap.show.patterns import COVER_WORDS, cover_id, over_id, pattern_definitions, pattern_id
from habmap.show.records import Page, PageUnit, PageWork
from habmap.show.shares import SHARE_WORDS
from habmap.show.terrain_words import terrain_sentence
from habmap.vocabulary import (
    CEDAR_COVERS,
    FEATURE_WORDS,
    NOT_PERMISSION,
    PRIVATE_FEATURE_KINDS,
    STAGE_WORDS,
    STAGES,
)

_BAR_WIDTH: Final = 120.0
_BAR_HEIGHT: Final = 13.0
_LEAST_BAR: Final = 3.0
#: Names longer than this take three lines or more beside the bars [letters].
_LONG_NAME: Final = 26


@dataclass(frozen=True, slots=True)
class Row:
    """One unit in the account; ``history`` its work line by line, ``history_days`` their days."""

    number: int
    unit: PageUnit
    title: str
    is_cedar: bool
    bar: Markup
    acres_pm: str
    state: str
    terrain: str
    history: tuple[str, ...]
    history_days: tuple[str, ...]
    spent: str


@dataclass(frozen=True, slots=True)
class Group:
    """Rows under one heading."""

    heading: str
    rows: tuple[Row, ...]


def sheet_parts(page: Page) -> dict[str, Any]:
    """Return what the template fills in, by name."""
    return {
        "page": page,
        "as_of": "before any logged work" if page.on is None else words.day_words(page.on),
        "drawn_on": words.day_words(page.drawn_on),
        "numbered": any(unit.order is not None for unit in page.units),
        "headline": words.headline(page),
        "not_permission": NOT_PERMISSION,
        "also": words.also(page),
        "left_goal": words.left_sentence(page.totals),
        "tenths": words.tenths,
        "has_long_names": any(len(words.unit_title(unit)) > _LONG_NAME for unit in page.units),
        "groups": _groups(page),
        "ground_legend": [
            (Markup(symbols.legend_area(name)), called, words.tenths(acres), stage)
            for name, called, acres, stage in grounds(page)
        ],
        "edge_legend": {kind: Markup(symbols.legend_edge(kind)) for kind in symbols.EDGE_WORDS},
        "feature_legend": _feature_legend(page),
        "patterns": Markup(pattern_definitions()),
    }


def grounds(page: Page) -> list[tuple[str, str, float, str]]:
    """Return the kinds of ground that a legend tells: pattern, words, acres, and the stage where it is one.

    The stages first, then covers that are drawn over them, then dead trees among slash.
    """
    acres = {stage: sum(unit.stage_acres.get(stage, 0.0) for unit in page.units) for stage in STAGES}
    found = [(pattern_id(stage), STAGE_WORDS[stage], total, stage) for stage, total in acres.items()]
    for cover, called in COVER_WORDS.items():
        total = sum(unit.acres for unit in page.units if unit.cover == cover)
        found.append((cover_id(cover), f"of it {called}", total, ""))
    mixed = sum(share.acres for share in page.shares if share.kind == "both")
    found.append((over_id("both"), SHARE_WORDS["both"], mixed, ""))
    return [one for one in found if one[2] > 0]


def _groups(page: Page) -> list[Group]:
    largest_acres = max((unit.acres for unit in page.units), default=1.0)
    ordered = sorted((unit for unit in page.units if unit.order is not None), key=lambda unit: unit.order or 0)
    at_rest = words.waiting(page)
    cedar = [unit for unit in page.units if unit.order is None and not unit.waits and unit.cover in CEDAR_COVERS]
    open_ground = [unit for unit in page.units if unit.order is None and unit.cover not in CEDAR_COVERS]
    works: defaultdict[str, list[PageWork]] = defaultdict(list)
    for work in sorted(page.work, key=lambda work: work.entry.date):
        for unit_id in work.unit_acres:
            works[unit_id].append(work)
    groups = []
    number = 0
    for heading, units in (
        ("In order of work", ordered),
        ("On hold or closed to cutting for now", at_rest),
        ("Cedar ground, first treatment done" if ordered else "Cedar ground", cedar),
        ("Other ground", open_ground),
    ):
        rows = []
        for unit in units:
            number += 1
            rows.append(_row(number, unit, works[unit.unit_id], page.currency, largest_acres))
        if rows:
            groups.append(Group(heading, tuple(rows)))
    return groups


def _row(number: int, unit: PageUnit, works: Sequence[PageWork], currency: str, largest_acres: float) -> Row:
    sd = "" if unit.acres_sd is None else f"± {words.tenths(unit.acres_sd)}"
    worked = [work for work in works if work.unit_acres[unit.unit_id] >= words.SPOKEN_ACRES]
    return Row(
        number=number,
        unit=unit,
        title=words.unit_title(unit),
        is_cedar=unit.cover in CEDAR_COVERS,
        bar=_bar(unit, largest_acres),
        acres_pm=sd,
        state=words.stage_sentence(unit),
        terrain=terrain_sentence(unit.terrain),
        history=tuple(words.work_sentence(work, unit_id=unit.unit_id, currency=currency) for work in worked),
        history_days=tuple(work.entry.date.isoformat() for work in worked),
        spent=words.unit_spent(works, unit.unit_id, currency=currency),
    )


def _bar(unit: PageUnit, largest_acres: float) -> Markup:
    """Return a unit's acres by stage as a bar, as long as its acres are beside the largest unit's."""
    length = max(_LEAST_BAR, _BAR_WIDTH * unit.acres / max(largest_acres, 1e-9))
    x, parts = 0.6, []
    # Done ground first, so that the bars' dark ends line up as what is left.
    for stage in reversed(STAGES):
        share = unit.stage_acres.get(stage, 0.0) / unit.acres if unit.acres > 0 else 0.0
        if share > 0:
            parts.append(
                f'<rect x="{x:.2f}" y="0.6" width="{share * length:.2f}" height="{_BAR_HEIGHT - 1.2:.1f}" '
                f'fill="url(#{pattern_id(stage)})" stroke="{INK}" stroke-width="0.8"/>'
            )
            x += share * length
    return Markup(
        f'<svg class="bar" width="{_BAR_WIDTH + 2:.0f}" height="{_BAR_HEIGHT:.0f}" '
        f'viewBox="0 0 {_BAR_WIDTH + 2:.0f} {_BAR_HEIGHT:.0f}" aria-hidden="true">{"".join(parts)}</svg>'
    )


def _feature_legend(page: Page) -> list[tuple[Markup, str]]:
    shown: dict[str, Markup] = {}
    for feature in page.features:
        if feature.kind in shown:
            continue
        kind_of_shape = feature.geometry.geom_type
        if "Line" in kind_of_shape or "Ring" in kind_of_shape:
            sample = symbols.legend_line(feature.kind)
        elif "Polygon" in kind_of_shape and feature.kind == "pond":
            sample = symbols.legend_area(cover_id("water"))
        elif "Polygon" in kind_of_shape and feature.kind not in symbols.POINT_MARKS:
            sample = symbols.legend_line(feature.kind)
        else:
            sample = symbols.legend_mark(feature.kind)
        shown[feature.kind] = Markup(sample)
    return [
        (shown[kind], f"{FEATURE_WORDS[kind]} (private)" if kind in PRIVATE_FEATURE_KINDS else FEATURE_WORDS[kind])
        for kind in FEATURE_WORDS
        if kind in shown
    ]
