"""The account by season as a small drawing in ink and as a table: what was treated, and what then remained."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from markupsafe import Markup, escape

from habmap.show import words
from habmap.show.palette import INK, INK_SOFT, PAPER
from habmap.show.patterns import pattern_id
from habmap.show.records import Page
from habmap.work.season_account import SEASON_WORDS, Season, SeasonAccount

#: Width and height of the drawing, its ground line and the room over the tallest column [px].
_WIDTH: Final = 460.0
_HEIGHT: Final = 196.0
_BASE: Final = 166.0
_TOP: Final = 22.0
_LEFT: Final = 4.0
#: Widest column, and the share of a season's room that its column takes.
_WIDEST: Final = 64.0
_COLUMN_SHARE: Final = 0.62
#: Room that a season's name and its figures need [px]; with less, only every second, third … is written.
_NAME_WIDTH: Final = 70.0
#: Least height of a part of a column that takes a figure inside [px].
_FIGURE_HEIGHT: Final = 17.0


@dataclass(frozen=True, slots=True)
class SeasonLine:
    """One line of the table, its figures as they are written."""

    label: str
    treated: str
    cumulative: str
    remaining: str
    left: str
    hours: str
    cost: str


@dataclass(frozen=True, slots=True)
class _Column:
    name: str
    treated_acres: float
    remaining_acres: float
    left_acres: float = 0.0


def values(page: Page) -> dict[str, Any]:
    """Return what the template needs; ``season_lines`` is empty where there is nothing to tell."""
    account = page.seasons
    if account is None or not account.seasons or not page.units:
        return {"season_lines": ()}
    return {
        "season_lines": tuple(
            SeasonLine(
                label=_label(season, page),
                treated=words.tenths(season.treated_acres),
                cumulative=words.tenths(season.cumulative_treated_acres),
                remaining=words.tenths(season.remaining_acres),
                left=words.tenths(_left_acres(account, season)),
                hours="–" if season.person_hours is None else f"{season.person_hours:,.0f}",
                cost="–" if season.cost is None else f"{season.cost:,.0f}",
            )
            for season in account.seasons
        ),
        "season_left": any(_left_acres(account, season) >= words.SPOKEN_ACRES for season in account.seasons),
        "season_hours": page.with_hours,
        "season_cost": page.with_cost,
        "season_chart": Markup(_chart(account)),
        "season_sentence": sentence(account),
        "season_spent": spent(page, account.seasons),
        "season_words": SEASON_WORDS,
    }


def _label(season: Season, page: Page) -> str:
    return f"{season.label}, so far" if page.drawn_on <= season.last_day else season.label


def _left_acres(account: SeasonAccount, season: Season) -> float:
    """Return the cedar ground that was left on purpose at a season's end: neither treated nor remaining [acre]."""
    return max(0.0, account.start_remaining_acres - season.cumulative_treated_acres - season.remaining_acres)


def sentence(account: SeasonAccount) -> str:
    """Return what the drawing shows, in a sentence or two."""
    last = account.seasons[-1]
    best = max(account.seasons, key=lambda season: season.treated_acres)
    count = len(account.seasons)
    text = (
        f"Over {count} seasons, " if count > 1 else f"In the season {last.label}, "
    ) + f"{words.tenths(last.cumulative_treated_acres)} acres were treated for the first time"
    text += f"; of {words.tenths(account.start_remaining_acres)} acres of standing cedar "
    text += f"{words.tenths(last.remaining_acres)} remain"
    left = _left_acres(account, last)
    text += f", {words.tenths(left)} are left on purpose." if left >= words.SPOKEN_ACRES else "."
    if count > 1 and best.treated_acres >= words.SPOKEN_ACRES:
        text += f" The most was done in {best.label}: {words.tenths(best.treated_acres)} acres."
    return text


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


def _chart(account: SeasonAccount) -> str:
    columns = [
        _Column("before", 0.0, account.start_remaining_acres),
        *(
            _Column(s.label, s.cumulative_treated_acres, s.remaining_acres, _left_acres(account, s))
            for s in account.seasons
        ),
    ]
    tallest = max((one.treated_acres + one.remaining_acres + one.left_acres for one in columns), default=0.0)
    scale = (_BASE - _TOP) / tallest if tallest > 0 else 0.0
    room = (_WIDTH - _LEFT) / len(columns)
    width = min(_WIDEST, room * _COLUMN_SHARE)
    every = max(1, -int(-_NAME_WIDTH // room))
    last = len(columns) - 1
    parts = []
    for index, column in enumerate(columns):
        middle = _LEFT + room * (index + 0.5)
        # Counted from the last one, which must carry its figures.
        parts.append(_column(column, middle, width, scale, is_written=(last - index) % every == 0))
    return (
        f'<svg class="seasonchart" viewBox="0 0 {_WIDTH:.0f} {_HEIGHT:.0f}" role="img" '
        f'aria-label="{escape(sentence(account))}">'
        '<defs><pattern id="season-treated" patternUnits="userSpaceOnUse" width="7" height="7">'
        f'<rect width="7" height="7" fill="{PAPER}"/>'
        f'<path d="M-1,8L8,-1M-1,1L1,-1M6,8L8,6" fill="none" stroke="{INK}" stroke-width="1.1"/></pattern></defs>'
        f"{''.join(parts)}"
        f'<path d="M{_LEFT:.0f},{_BASE:.0f}H{_WIDTH - 2:.0f}" stroke="{INK}" stroke-width="1.5"/></svg>'
    )


def _column(column: _Column, middle: float, width: float, scale: float, *, is_written: bool) -> str:
    """Return one season's column: what remains stands on the ground line, then what is left, then what was treated."""
    left = middle - width / 2
    remains, treated = column.remaining_acres * scale, column.treated_acres * scale
    kept = column.left_acres * scale if column.left_acres >= words.SPOKEN_ACRES else 0.0
    found = []
    if remains > 0:
        found.append(_rect(left, _BASE - remains, width, remains, f"url(#{pattern_id('standing')})"))
    if kept > 0:
        found.append(_rect(left, _BASE - remains - kept, width, kept, f"url(#{pattern_id('keep')})"))
    if treated > 0:
        found.append(_rect(left, _BASE - remains - kept - treated, width, treated, "url(#season-treated)"))
    if is_written:
        found.append(_text(middle, _BASE + 18, column.name, INK_SOFT))
        if remains >= _FIGURE_HEIGHT and width >= 50:
            found.append(_text(middle, _BASE - remains / 2 + 5, words.tenths(column.remaining_acres), PAPER))
        if column.treated_acres >= words.SPOKEN_ACRES:
            found.append(_text(middle, _BASE - remains - kept - treated - 5, words.tenths(column.treated_acres), INK))
    return "".join(found)


def _rect(x: float, y: float, width: float, height: float, fill: str) -> str:
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" fill="{fill}" stroke="{INK}" '
        'stroke-width="1"/>'
    )


def _text(x: float, y: float, text: str, ink: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="middle" fill="{ink}">{escape(text)}</text>'
