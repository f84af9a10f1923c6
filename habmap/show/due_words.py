"""What is due, in words: why a row stands there, and the cautions that belong to it; and as days of a calendar.

A calendar is read weeks after it was made. So its words name days and never ages, say as of which log they are, and
what is on hold or closed on the day itself is told so.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Final

from habmap.measures import acres_words
from habmap.vocabulary import UPKEEP_WAYS, cautions_of
from habmap.work.calendar_day import DAY_BEFORE, THAT_MORNING, WEEK_BEFORE, CalendarDay
from habmap.work.closures import Closure, Closures, closure_of
from habmap.work.due_rows import GROUND_KINDS, SAME_GROUND, SPOTS, DueRow, acres_of
from habmap.work.seasons import COMING_BACK, WHAT_WORDS, DueItem, What

#: Said wherever upkeep burns are listed. Sources: OSU Extension NREM-2876 (every 3–5 years); the rest common practice.
TRADE_OFFS: Final = (
    "Upkeep every 3 to 5 years is the published range. Repeated spring fire can favor sumac; late-spring burns set "
    "fescue back and meet ground-nesting birds."
)
#: Said wherever slash is drying.
_DRYING_WORDS: Final = (
    "Drying days, here {first} to {last}, are your own setting: common practice, no source. Needles tell more: green "
    "is not dry, red is flashiest, dropped leaves heavier fuels. Days within them are no leave to burn."
)
#: Ground whose cedars are partly on the ground and partly standing dead is told so from these shares on [%].
_SHARE_WORTH_SAYING_PCT: Final = 0.5


def due_cautions(rows: Sequence[DueRow], *, has_snags: bool, drying_days: tuple[int, int]) -> tuple[str, ...]:
    """Return the cautions that belong to what is due."""
    upkeep = [part for row in rows if row.what == "upkeep" for part in row.parts]
    ways = {way for part in upkeep for way in (("cut",) if part.name == COMING_BACK else UPKEEP_WAYS)}
    found = [*cautions_of(("burn", *ways), has_snags=has_snags)]
    if any(row.what == "drying" for row in rows):
        found.append(_DRYING_WORDS.format(first=drying_days[0], last=drying_days[1]))
    return (*found, TRADE_OFFS)


def row_words(row: DueRow) -> str:
    """Say why a row stands there: where its parts differ, each with its acres and state; and the shares."""
    if row.what in SPOTS:
        return spot_words(row.parts)
    if row.what in SAME_GROUND:
        days = sorted({part.from_date for part in row.parts[1:] if part.from_date is not None})
        then = f"; again on {', '.join(map(str, days))}" if days else ""
        return f"{row.words}{then}"
    alike: defaultdict[tuple[str, date | None, str], list[DueItem]] = defaultdict(list)
    is_one = len({(part.state, part.words) for part in row.parts}) == 1
    for part in row.parts:
        alike[part.state, None if is_one else part.to_date, part.words].append(part)
    told = [row.words] if is_one else [_part_words(*key, acres_of(parts)) for key, parts in alike.items()]
    return "; ".join(filter(None, [*told, share_words(row)]))


def spot_words(spots: Sequence[DueItem]) -> str:
    """Say why spots are due again; those due for one reason together."""
    alike: defaultdict[str, list[str]] = defaultdict(list)
    for spot in spots:
        alike[spot.words].append(spot.name)
    return "; ".join(f"{', '.join(names)}: {words}" for words, names in alike.items())


def _part_words(state: str, last: date | None, words: str, acres: float | None) -> str:
    size = "" if acres is None else f"{acres_words(acres)} "
    until = "" if last is None else f" (to {last})"
    return f"{size}{state}{until}{': ' if words else ''}{words}"


def share_words(row: DueRow) -> str:
    """Say what share of the cedars lies felled and stands dead, where some stand dead; empty where none do."""
    if row.snag_pct is None or row.snag_pct < _SHARE_WORTH_SAYING_PCT:
        return ""
    felled = f"{row.felled_pct or 0:.0f}% of its cedars lie felled, " if row.what in ("drying", "piles") else ""
    return f"{felled}{row.snag_pct:.0f}% {'' if felled else 'of its cedars '}killed and left standing"


#: What the first and the last day of a thing are called; those not named have their one day.
_FIRST: Final[dict[What, str]] = {
    "drying": "drying days begin", "upkeep": "upkeep falls due", "checkup": "days for a check-up begin",
    "hold": "on hold from today", "closed_cut": "closed to cutting from today",
    "closed_burn": "closed to burning from today", "contract": "contract item may begin",
}  # fmt: skip
_LAST: Final[dict[What, str]] = {
    "drying": "last of the drying days", "upkeep": "last of the days for upkeep",
    "checkup": "last day for a check-up", "hold": "last day on hold", "closed_cut": "last day closed to cutting",
    "closed_burn": "last day closed to burning", "contract": "contract item due",
}  # fmt: skip
#: Late things of one kind are one event, on the day of the export; where they may be either, in the word `due` has.
_LATE: Final[dict[What, str]] = {
    "drying": "slash past its drying days, a question for the burn boss", "upkeep": "upkeep {state}",
    "checkup": "check-ups {state}", "contract": "contract items {state}", "photo": "photo points due again",
    "plot": "plots due again", "frame": "frames of plant cover due again",
}  # fmt: skip
#: What has no last day is late once its first has come.
_NO_END: Final = frozenset({"upkeep", *SPOTS})


# --- as days of a calendar ----------------------------------------------------------------------------------


def due_calendar(
    items: Iterable[DueItem], *, closures: Closures, on: date, is_public: bool, cautions: Sequence[str]
) -> tuple[CalendarDay, ...]:
    """Return the days of what is due that lie on ``on`` or after it, by day.

    Parameters
    ----------
    items
        As `habmap.work.seasons` gives them, not marked for holds: each day looks at its own.
    """
    together: defaultdict[str, list[DueItem]] = defaultdict(list)
    late: defaultdict[What, list[DueItem]] = defaultdict(list)
    for item in items:
        if item.state == "done":
            continue
        # What it counts from names the thing; its days and words may change and must not make a new one.
        key = [item.what, item.unit_id or "", item.name, str(item.since_date or "")]
        if item.what not in _FIRST:
            key.append(str(item.from_date))
        together["\x1f".join(key)].append(item)
        ends = item.to_date or (item.from_date if item.what in _NO_END else None)
        if item.what in _LATE and ((ends is not None and ends < on) or item.state == "overdue"):
            late[item.what].append(item)
    foot = " ".join([f"By the log as of {on}.", *cautions])
    days = [
        day
        for key, mine in together.items()
        for day in _days_of(key, mine, closures=closures, on=on, is_public=is_public, foot=foot)
    ]
    for what, mine in late.items():
        asked = [item for item in mine if _closed(item, closures, on=on) is None]
        days += [_late_day(what, asked, on=on, foot=foot)] if asked else []
    return tuple(sorted(days, key=lambda day: (day.day, day.summary)))


def _days_of(
    key: str, items: Sequence[DueItem], *, closures: Closures, on: date, is_public: bool, foot: str
) -> list[CalendarDay]:
    first = items[0]
    begins = min((item.from_date for item in items if item.from_date is not None), default=None)
    ends = max((item.to_date for item in items if item.to_date is not None), default=None)
    edges: list[tuple[str, date | None, str, tuple[timedelta, ...]]]
    if first.what not in _FIRST:
        edges = [("day", begins, WHAT_WORDS[first.what], (DAY_BEFORE, THAT_MORNING))]
    else:
        edges = [
            ("first", begins, _FIRST[first.what], (DAY_BEFORE,)),
            ("last", ends, _LAST[first.what], (WEEK_BEFORE, DAY_BEFORE)),
        ]
    words = "; ".join(dict.fromkeys(item.words for item in items if item.words))
    size = sum(item.acres or 0.0 for item in items)
    found = []
    for edge, day, title, alarms in edges:
        if day is None or day < on or (edge == "last" and day == begins):
            continue
        closed = _closed(first, closures, on=day)
        waits = "" if closed is None else f" ({closed.public_words if is_public else closed.words.split(':')[0]})"
        told = f"{acres_words(size)}: " if first.what in GROUND_KINDS and size else ""
        found.append(
            CalendarDay(
                key=f"{key}\x1f{edge}",
                summary=f"{_units_words(first.unit_id)}: {title}{waits}",
                description=f"{told}{words or title}. {foot}",
                day=day,
                # nobody is called to ground that rests: not on that day, nor on a day before it that is on hold itself
                alarms=tuple(
                    alarm
                    for alarm in alarms
                    if closed is None and _closed(first, closures, on=_day_of(alarm, before=day)) is None
                ),
            )
        )
    return found


def _day_of(alarm: timedelta, *, before: date) -> date:
    try:
        return (datetime.combine(before, time()) + alarm).date()
    except OverflowError:  # before the first day there is
        return before


def _closed(item: DueItem, closures: Closures, *, on: date) -> Closure | None:
    """Return what keeps anybody from a thing on a day; of one that names several units, where all of them rest."""
    units = (item.unit_id or "").split(";")
    found = [closure_of(replace(item, unit_id=unit_id or None), closures, on=on) for unit_id in units]
    return min((one for one in found if one), key=lambda one: one.last or date.max) if all(found) else None


def _late_day(what: What, items: Sequence[DueItem], *, on: date, foot: str) -> CalendarDay:
    """Return one event for all late things of a kind, on the day of the export."""
    units = ", ".join(dict.fromkeys(_units_words(item.unit_id) for item in items))
    by_unit = {item.unit_id: [one for one in items if one.unit_id == item.unit_id] for item in items}
    told = "; ".join(
        [f"{_units_words(unit_id)}: {spot_words(mine)}" for unit_id, mine in by_unit.items()]
        if what in SPOTS
        else [
            f"{_units_words(item.unit_id)}, {'' if item.acres is None else f'{acres_words(item.acres)}, '}"
            f"{'' if item.to_date is None else f'to {item.to_date}, '}{item.words}"
            for item in items
        ]
    )
    state = "overdue" if all(item.state == "overdue" for item in items) else "due"
    return CalendarDay(
        key=f"{what}\x1flate",
        summary=f"{_LATE[what].format(state=state)}: {units}",
        description=f"On {on}: {told}. {foot}",
        day=on,
        alarms=(THAT_MORNING,),
    )


def _units_words(unit_id: str | None) -> str:
    return "All units" if unit_id is None else unit_id.replace(";", ", ")
