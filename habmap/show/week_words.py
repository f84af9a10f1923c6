"""A week in words: one line a thing, and all of them on one screen."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date
from typing import Final

from habmap.measures import acres_words, hours_words
from habmap.vocabulary import HEAT_CHECK, UPKEEP_WAYS, cautions_of
from habmap.work.burn.written_plan import PLAN_KIND_WORDS
from habmap.work.due_rows import SPOTS, acres_of, share_of
from habmap.work.plan_days import PlanDays
from habmap.work.seasons import COMING_BACK, DueItem
from habmap.work.week import FIRE_CHECKS, Ask, Barrier, Week, WeekItem, WeekResult, soonest

#: A screen: rows, and signs in a row.
SCREEN_ROWS: Final = 24
_COLUMNS: Final = 80
#: What each further property adds to the rows of several.
_ROWS_MORE: Final = 8
#: Waiting things named with what holds them up; of more, only how many.
_MOST_WAITING: Final = 3
#: Ground whose dead standing cedars are told from this share on [%].
_SNAGS_WORTH_SAYING_PCT: Final = 5.0

#: Reasons of the order of work that stand in columns or lines of their own.
_SAID_BESIDE: Final = ("acres remain", "acre remain", "ask for upkeep")

#: Less ground than this is told to a hundredth [acre].
_TENTHS_FROM: Final = 0.1

_NOUNS: Final = {
    "drying": "slash", "piles": "piles", "upkeep": "upkeep", "checkup": "check-up", "contract": "contract acres",
    "cut": "cutting", "photo": "photo points", "plot": "plots", "frame": "frames of plant cover",
    "hand_check": "burned piles", "snag_check": "dead standing cedars after a fire",
}  # fmt: skip
HEADS: Final = {
    "forbidden": "Forbidden or closed now",
    "closes": "Closes",
    "burn": "Only to consider for burning",
    "cut": "To cut",
    "check": "To check",
}
NOTHING: Final = {
    "forbidden": "nothing in habmap.toml, which knows no outside ban.",
    "closes": "no days end soon.",
    "burn": "nothing by the log and the plan's days.",
    "cut": "nothing.",
    "check": "nothing this week.",
}
SECTIONS: Final = tuple(HEADS)


def week_items(week: Week, name: str, *, place: str, on: date, is_public: bool) -> tuple[WeekItem, ...]:
    """Return the lines of one list of a week, soonest first."""
    if name == "forbidden":
        found = [
            WeekItem(
                place=place,
                unit_id=one.unit_id,
                what=one.what,
                acres=None,
                to_date=one.to_date,
                words=barrier_words(one, is_public=is_public),
                waits=tuple(_waiting_words(ask, with_unit=one.unit_id is None) for ask in one.waits),
            )
            for one in week.barriers
        ]
    else:
        asks: Sequence[Ask] = week.asks[name]  # type: ignore[index]
        found = [
            WeekItem(
                place=place,
                unit_id=one.unit_id,
                what=one.what,
                acres=one.acres,
                to_date=one.to_date,
                words=ask_words(one, on=on, is_for_fire=name == "burn"),
                bite_acres=one.bite_acres,
                bite_hours=one.bite_hours,
            )
            for one in asks
        ]
    return tuple(sorted(found, key=soonest))


def barrier_words(barrier: Barrier, *, is_public: bool) -> str:
    """Say what is forbidden, until when and why."""
    until = "" if barrier.to_date is None else f" until {barrier.to_date}"
    if barrier.what == "contract":
        return f"{barrier.reason} has not begun{until}; earlier work can forfeit payment"
    if barrier.what == "burn_plan":
        return f"the burn plan for {_plan_words(barrier.reason)} leaves these days out{until}"
    what = {"hold": "on hold", "closed_cut": "closed to cutting", "closed_burn": "closed to burning"}[barrier.what]
    why = "" if is_public or not barrier.reason else f": {barrier.reason}"
    return f"{what}{until}{why}"


def _waiting_words(ask: Ask, *, with_unit: bool) -> str:
    unit = f"{ask.unit_id} " if with_unit and ask.unit_id else ""
    size = "" if ask.acres is None else f" {ask.acres:,.1f}"
    return f"{unit}{_NOUNS[ask.what]}{size}"


def _plan_words(kind: str) -> str:
    return dict(PLAN_KIND_WORDS).get(kind, kind)  # type: ignore[call-overload,no-any-return]


def ask_words(ask: Ask, *, on: date, is_for_fire: bool) -> str:
    """Say what is asked and what speaks for it."""
    if ask.ranked is not None:
        return _cut_words(ask)
    if ask.what in SPOTS:
        labels = ", ".join(part.name for part in ask.parts[:_MOST_WAITING])
        more = "" if len(ask.parts) <= _MOST_WAITING else f" and {len(ask.parts) - _MOST_WAITING} more"
        return f"{_NOUNS[ask.what]} due again: {labels}{more}"
    first = ask.parts[0]
    if ask.what == "drying":
        return _slash_words(ask, on=on, is_for_fire=is_for_fire)
    if ask.what == "piles":
        return f"piles{_since(ask.parts, ' made')}{_by_plan(ask.plan, is_for_fire=is_for_fire)}"
    if ask.what == "upkeep":
        return _upkeep_words(ask, is_for_fire=is_for_fire)
    if ask.what == "hand_check":
        return f"burned piles{_since(ask.parts, ' of')}: for heat ({HEAT_CHECK}), and before wind"
    if ask.what == "snag_check":
        return f"dead standing cedars{_since(ask.parts, ' after the fire of')}: from out of reach, and before wind"
    if ask.what == "checkup":
        overdue = [part for part in ask.parts if part.state == "overdue"]
        size = acres_of(overdue) if len(overdue) < len(ask.parts) else None
        late = "" if not overdue else ", overdue" if size is None else f", {_size(size)} of it overdue"
        snags = "; which dead ones hang loose" if _snags(ask.parts) else ""
        return f"check-up{late}: what lives and comes up{snags}"
    state = f" ({first.state})" if first.state == "overdue" else ""
    return f"{first.words}{state}"


def _slash_words(ask: Ask, *, on: date, is_for_fire: bool) -> str:
    is_past = all(part.to_date is not None and part.to_date < on for part in ask.parts)
    told = [f"slash{_since(ask.parts, ' felled')}", _needles(ask.parts)]
    if snags := _snags(ask.parts):
        told.append(f"{snags:.0f}% stand dead")
    if is_past:
        told.append("past its drying days, ask the burn boss")
    elif is_for_fire and ask.past_acres is not None:
        told.append(f"{_size(ask.past_acres)} more are past their days")
    return f"{'; '.join(told)}{'' if is_past else _by_plan(ask.plan, is_for_fire=is_for_fire)}"


def _needles(parts: Iterable[DueItem]) -> str:
    seen = max(
        ((part.needles_seen, part.needles) for part in parts if part.needles_seen and part.needles), default=None
    )
    return "needles not seen since" if seen is None else f"needles {seen[1]} on {seen[0]!s}"


def _upkeep_words(ask: Ask, *, is_for_fire: bool) -> str:
    first = ask.parts[0]
    if first.name == COMING_BACK:
        how = "" if is_for_fire else ": pull or cut them while small"
        return f"cedars coming back by the check-up{_since(ask.parts, ' of')}{how}"
    how = _by_plan(ask.plan, is_for_fire=True) if is_for_fire else "; burning waits: mow, graze or pull"
    return f"upkeep {first.words.split(';')[0]}{_since(ask.parts, ', last')}{how}"


def _cut_words(ask: Ask) -> str:
    assert ask.ranked is not None
    unit = ask.ranked
    before = "" if not ask.passed else f"{', '.join(ask.passed)} would come first and must wait; "
    why = "; ".join(
        reason
        for reason in unit.reasons[1:]
        if reason not in unit.remarks and not any(words in reason for words in _SAID_BESIDE)
    )
    presses = "" if unit.pressing is None else f"; {unit.pressing}"
    return f"{before}{unit.name or unit.unit_id}: {why}{presses}"


def _by_plan(plan: PlanDays | None, *, is_for_fire: bool) -> str:
    if plan is None or not is_for_fire:
        return ""
    if not plan.is_signed:
        return "; no signed burn plan"
    return "; its burn plan names no days" if plan.days is None else "; within its burn plan's days"


def _since(parts: Sequence[DueItem], word: str) -> str:
    days = sorted({part.since_date for part in parts if part.since_date is not None})
    if not days:
        return ""
    return f"{word} {days[0]!s}" + ("" if len(days) == 1 else f" to {days[-1]!s}")


def _snags(parts: Sequence[DueItem]) -> float:
    share = share_of(parts, "snag_pct") or 0.0
    return share if share >= _SNAGS_WORTH_SAYING_PCT else 0.0


def week_cautions(week: Week, *, machines: Iterable[str], has_snags: bool) -> tuple[str, ...]:
    """Return the cautions that belong to what a week asks.

    Parameters
    ----------
    machines
        What the log's own clearing was done with.
    """
    is_after_fire = any(ask.what in FIRE_CHECKS for ask in week.asks["check"])
    asked = {way for ask in week.asks["cut"] for way in (_ways(ask) if ask.what == "upkeep" else ("cut", *machines))}
    if week.asks["burn"] or week.asks["closes"] or is_after_fire:
        asked.add("burn")
    return cautions_of(asked, has_snags=has_snags)


def _ways(ask: Ask) -> tuple[str, ...]:
    """Return how ground is kept up without fire."""
    return ("cut",) if ask.parts[0].name == COMING_BACK else UPKEEP_WAYS


def week_lines(result: WeekResult) -> list[str]:
    """Return a week as the lines of a screen: each list with its first things, and how many more there are."""
    several = len(result.places) > 1 or bool(result.faults)
    rows = SCREEN_ROWS + _ROWS_MORE * max(0, len(result.places) - 1)
    place = ", ".join(result.places) or "no property"
    head = _wrapped(f"Week of {result.on!s}, {place}. Now: {now_words(result)}.", "  ")
    foot = [row for words in (*result.notes, " ".join(result.cautions)) for row in _wrapped(words, "")]
    foot += [row for one in result.faults for row in _wrapped(f"Not read: {one.place}: {one.what}", "")]
    lists = {name: sorted(getattr(result, name), key=_is_no_fire_check) for name in SECTIONS}
    lists["forbidden"] = _alike_together(result.forbidden)
    drawn = {name: [_item_rows(item, several=several) for item in items] for name, items in lists.items()}
    left = rows - len(head) - len(SECTIONS) - len(foot)
    shown = dict.fromkeys(SECTIONS, 0)
    while True:  # one more of each list in turn, the first lists first, as long as it goes on the screen
        before = dict(shown)
        for name in SECTIONS:
            following = drawn[name][shown[name]] if shown[name] < len(drawn[name]) else None
            if following is not None and len(following) <= left:
                shown[name] += 1
                left -= len(following)
        if shown == before:
            break
    lines = head
    for name in SECTIONS:
        more = len(drawn[name]) - shown[name]
        count = f" (and {more} more: habmap due)" if more else ""
        lines.append(f"{HEADS[name]}{count}:{'' if drawn[name] else f' {NOTHING[name]}'}")
        lines += [row for rows_ in drawn[name][: shown[name]] for row in rows_]
    return [*lines, *foot]


def now_words(result: WeekResult) -> str:
    """Say in a line what comes first: fires to look after, what closes soonest, and where to cut next."""
    several = len(result.places) > 1

    def of(item: WeekItem) -> str:
        unit = (item.unit_id or "all").replace(";", ", ")
        return f"{unit} of {item.place}" if several else unit

    told = []
    if fires := [item for item in result.check if item.what in FIRE_CHECKS]:
        told.append(f"look after the {_NOUNS[fires[0].what]} in {of(fires[0])} on {fires[0].to_date}")
    to_come = [item for item in result.closes if item.to_date is not None and item.to_date >= result.on]
    if result.closes:
        first = (*to_come, *result.closes)[0]
        last = "" if first.to_date is None else f" ({first.to_date})"
        told.append(f"{'closing first' if to_come else 'overdue'}: {_NOUNS[first.what]} in {of(first)}{last}")
    if result.cut:
        first = next((item for item in result.cut if item.what == "cut"), result.cut[0])
        told.append(f"cut next in {of(first)}" if first.what == "cut" else f"cut what comes back in {of(first)}")
    else:
        shut = [item for item in result.forbidden if item.what == "closed_cut" and item.unit_id is None]
        told.append("nothing to cut" + (f", closed until {shut[0].to_date}" if shut else ""))
    if not (fires or result.closes or result.cut) and (result.burn or result.check):
        first = (*result.burn, *result.check)[0]
        told.insert(0, f"{_NOUNS[first.what]} to {'consider for burning' if result.burn else 'see to'} in {of(first)}")
    return "; ".join(told)


def _alike_together(items: Sequence[WeekItem]) -> list[WeekItem]:
    """Return what forbids with units of which the same is said on one line; those that keep something waiting first."""
    units: dict[tuple[object, ...], list[WeekItem]] = {}
    for item in items:
        units.setdefault((item.place, item.what, item.words, item.to_date, item.waits), []).append(item)
    joined = [
        alike[0]
        if len(alike) == 1
        else replace(alike[0], unit_id=";".join(sorted(item.unit_id or "all" for item in alike)))
        for alike in units.values()
    ]
    return sorted(joined, key=lambda item: not item.waits)


def _is_no_fire_check(item: WeekItem) -> bool:
    """Sort what may wake a fire before all else; the rest keeps its order."""
    return item.what not in FIRE_CHECKS


def _item_rows(item: WeekItem, *, several: bool) -> list[str]:
    place = f"{item.place}: " if several else ""
    return _wrapped(f"  {place}{(item.unit_id or 'all').replace(';', ', ')}  {item_words(item)}", "      ")


def item_words(item: WeekItem) -> str:
    """Say a line of a week without its unit: how much, what, until when, and what waits for it."""
    size = "" if item.acres is None else f"{_bite_words(item, item.acres)}, "
    until = "" if item.to_date is None or "until" in item.words else f"; to {item.to_date}"
    more = len(item.waits) - _MOST_WAITING
    waits = ", ".join([*item.waits[:_MOST_WAITING], *([f"{more} more"] if more > 0 else [])])
    return f"{size}{item.words}{until}{f'; waits: {waits}' if waits else ''}"


def _bite_words(item: WeekItem, acres: float) -> str:
    """Say how much ground it is; of ground to be cut what the next bite of it takes."""
    if item.bite_acres is None:
        return _size(acres)
    hours = "" if item.bite_hours is None else f", about {hours_words(item.bite_hours)}"
    if item.bite_acres > acres - 0.005:
        return f"all {_size(acres)} that remain{hours}"
    return f"next {_size(item.bite_acres).removesuffix(' acres')} of {_size(acres)}{hours}"


def _size(acres: float) -> str:
    return f"{acres:,.1f} acres" if acres >= _TENTHS_FROM else acres_words(acres)


def _wrapped(words: str, indent: str) -> list[str]:
    return textwrap.wrap(words, _COLUMNS, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)


def month_off_words(on: date) -> str:
    """Say why nothing is to be cut."""
    return f"Nothing is cut in {on:%Y-%m}: habmap.toml has this month as none of its working months."
