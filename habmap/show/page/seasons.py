"""The account by season as a table with a bar in each line: what was treated, and what then remained."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import starmap
from typing import Any, Final

from markupsafe import Markup

from habmap.show import symbols, words
from habmap.show.palette import INK
from habmap.show.patterns import pattern_id
from habmap.show.records import Page
from habmap.show.season_bars import PART_WORDS, Part, SeasonBar, season_bars, seasons_sentence
from habmap.work.season_account import SEASON_WORDS, Season

#: What each part of a bar is filled with: dark is cedar that stands, as everywhere on the page.
_FILLS: Final[dict[Part, str]] = {
    "before": "season-before",
    "added": "season-added",
    "keep": pattern_id("keep"),
    "standing": pattern_id("standing"),
}


@dataclass(frozen=True, slots=True)
class SeasonLine:
    """One line of the table, its figures as they are written."""

    label: str
    is_under_way: bool
    bar: Markup
    treated: str
    cumulative: str
    remaining: str
    left: str
    hours: str
    cost: str


def values(page: Page) -> dict[str, Any]:
    """Return what the template needs; ``season_lines`` is empty where there is nothing to tell."""
    account = page.seasons
    if account is None or not account.seasons or not page.units:
        return {"season_lines": ()}
    before, *bars = season_bars(account, today=page.drawn_on)
    shown = {kind for bar in bars for kind, _, _ in bar.parts}
    return {
        "season_before": _line(before, None),
        "season_lines": tuple(starmap(_line, zip(bars, account.seasons, strict=True))),
        "season_left": any(bar.left_acres >= words.SPOKEN_ACRES for bar in bars),
        "season_hours": page.with_hours,
        "season_cost": page.with_cost,
        "season_key": [
            (Markup(symbols.legend_area(_FILLS[kind])), PART_WORDS[kind]) for kind in _FILLS if kind in shown
        ],
        "season_sentence": seasons_sentence(account, today=page.drawn_on),
        "season_spent": spent(page, account.seasons),
        "season_words": SEASON_WORDS,
    }


def _line(bar: SeasonBar, season: Season | None) -> SeasonLine:
    hours, cost = (None, None) if season is None else (season.person_hours, season.cost)
    return SeasonLine(
        label=bar.label,
        is_under_way=bar.is_under_way,
        bar=_drawn(bar),
        treated="–" if season is None else words.tenths(bar.treated_acres),
        cumulative="–" if season is None else words.tenths(bar.cumulative_treated_acres),
        remaining=words.tenths(bar.remaining_acres),
        left="–" if season is None else words.tenths(bar.left_acres),
        hours="–" if hours is None else f"{hours:,.0f}",
        cost="–" if cost is None else f"{cost:,.0f}",
    )


def _drawn(bar: SeasonBar) -> Markup:
    """Return a bar that is as long as its place on the screen lets it be; its figures stand beside it."""
    rects = "".join(
        f'<rect x="{100 * start:.3f}%" y="0.5" width="{100 * length:.3f}%" height="17" fill="url(#{_FILLS[kind]})" '
        f'stroke="{INK}"/>'
        for kind, start, length in bar.parts
    )
    return Markup(f'<svg class="seasonbar" width="100%" height="18" aria-hidden="true">{rects}</svg>')


def spent(page: Page, seasons: Sequence[Season]) -> str:
    """Return hours and cost of all seasons as a sentence; empty where the steward did not ask for them."""
    parts = []
    hours = [season.person_hours for season in seasons if season.person_hours is not None]
    cost = [season.cost for season in seasons if season.cost is not None]
    if page.with_hours:
        parts.append(f"{sum(hours):,.0f} person-hours" if hours else "no hours")
    if page.with_cost:
        parts.append(f"{sum(cost):,.0f} {page.currency}" if cost else "no cost")
    if not parts:
        return ""
    return f"So far the log tells of {' and '.join(parts)}; a line that does not say is not counted."
