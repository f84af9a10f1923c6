"""The page's sentences: a neighbor talking, with figures rounded as people say them."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from datetime import date
from typing import TYPE_CHECKING, Final

from habmap.vocabulary import FEATURE_WORDS, PRACTICE_WORDS, STAGE_WORDS, STAGES

if TYPE_CHECKING:
    from habmap.show.records import Page, PageUnit, PageWork
    from habmap.work.acres import TotalAcres, UnitAcres

_MONTHS: Final = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
#: Units at rest that are named one by one; of more, only how many.
_MOST_WAITING: Final = 2
#: Less than this is not spoken of [acre]; it rounds to 0.0.
SPOKEN_ACRES: Final = 0.05

#: Between a figure and the sign or short unit behind it, where a line must not end.
_BEFORE_UNIT: Final = re.compile(r"(?<=\d) (?=(?:°[FC]|(?:ft|mph|kPa|m)\b))")
NO_BREAK: Final = "\N{NO-BREAK SPACE}"


def round_step(most: float) -> int:
    """Return the largest of 1, 2, 5 × 10ⁿ that is no more than ``most`` and at least 1: the steps of a ruler.

    Examples
    --------
    >>> round_step(730), round_step(0.2)
    (500, 1)
    """
    if most < 1:
        return 1
    power = int(10 ** math.floor(math.log10(most)))
    return max(step * power for step in (1, 2, 5) if step * power <= most)


def unbroken(text: str) -> str:
    """Return a text whose figures keep their short unit on their own line: ``30 ft``, ``81 °F``.

    Examples
    --------
    >>> unbroken("from 81 °F to 30 ft") == f"from 81{NO_BREAK}°F to 30{NO_BREAK}ft"
    True
    """
    return _BEFORE_UNIT.sub(NO_BREAK, text)


def whole(value: float | None) -> int | None:
    """Return a figure to a whole number, where its tenths say nothing."""
    return None if value is None else round(value)


def tenths(acres: float) -> str:
    """Return acres to a tenth, as a sentence or a bill has them."""
    return f"{acres:,.1f}"


def day_words(day: date) -> str:
    """Return a day as it is said, ``February 14, 2026`` (never in the computer's own language)."""
    return f"{_MONTHS[day.month - 1]} {day.day}, {day.year}"


def short_day(day: date) -> str:
    """Return a day short enough for a map, ``Feb 14, 2026``."""
    return f"{_MONTHS[day.month - 1][:3]} {day.day}, {day.year}"


def headline(page: Page) -> str:
    """Return the answer in one sentence: treated, remaining, and what comes next."""
    if not page.units:
        return "No units are drawn yet."
    if page.totals.cedar_acres < SPOKEN_ACRES:
        return "No cedar ground is mapped here."
    done = f"{tenths(page.totals.treated_acres)} of {tenths(page.totals.cedar_acres)} cedar acres treated at least once"
    if page.totals.remaining_acres < SPOKEN_ACRES:
        return f"{done}; nothing remains."
    following = min(
        (unit for unit in page.units if unit.order is not None),
        key=lambda unit: unit.order or 0,
        default=None,
    )
    left = f"{done}; {tenths(page.totals.remaining_acres)} remain"
    if following is None:
        return f"{left}, all of it on hold or closed for now." if waiting(page) else f"{left}."
    return (
        f"{left}; next: {with_article(following.name, following.unit_id)}, {tenths(following.remaining_acres)} acres."
    )


def waiting(page: Page) -> list[PageUnit]:
    """Return the units with cedar left to treat that are on hold or closed to cutting."""
    return [unit for unit in page.units if unit.waits]


def waiting_sentence(page: Page, *, with_why: bool = True) -> str:
    """Return which ground rests and, where the page may say it, why; empty where none does."""
    units = waiting(page)
    if len(units) > _MOST_WAITING:
        return f"{len(units)} units are on hold, closed to cutting or waiting for now."
    told = [
        f"{with_article(unit.name, unit.unit_id)} is {unit.waits_why if with_why else unit.waits}" for unit in units
    ]
    return f"{joined([told[0][0].upper() + told[0][1:], *told[1:]])}." if told else ""


def also(page: Page) -> str:
    """Return what the headline leaves out: ground that rests, is left on purpose or coming back; empty if none."""
    parts = [waiting_sentence(page)] if waiting(page) else []
    if page.totals.coming_back_acres >= SPOKEN_ACRES:
        parts.append(f"On {tenths(page.totals.coming_back_acres)} of the treated acres cedar is coming back.")
    if left_sentence(page.totals):  # which says all of it; here only where it stands
        still = page.totals.still_to_leave_acres or 0.0
        more = f"still to leave: {tenths(still)}" if still >= SPOKEN_ACRES else "none to add"
        parts.append(f"Left on purpose: {tenths(page.totals.left_acres)} acres; {more}.")
    elif page.totals.keep_acres >= SPOKEN_ACRES:
        parts.append(f"{tenths(page.totals.keep_acres)} of the cedar acres are left on purpose.")
    return " ".join(parts)


def left_sentence(account: UnitAcres | TotalAcres) -> str:
    """Return what is left on purpose beside its goal; empty where no goal is set, or none worth saying."""
    goal = account.leave_target_acres
    if goal is None or goal[1] < SPOKEN_ACRES:
        return ""
    words = f"Left on purpose: {tenths(account.left_acres)} acres, where {tenths(goal[0])} to {tenths(goal[1])} are "
    words += "meant to stay"
    if (still := account.still_to_leave_acres or 0.0) >= SPOKEN_ACRES:
        words += f"; still to leave: {tenths(still)}"
    if (too_late := account.too_late_to_leave_acres or 0.0) >= SPOKEN_ACRES:
        words += f"; too late for {tenths(too_late)}"
    return f"{words}."


def beside_stages(units: Sequence[PageUnit]) -> list[str]:
    """Return where felled cedar lies and killed cedar stands as sentences, where the stages alone don't tell it."""
    found = []
    for size, stages, words in (
        (math.fsum(unit.slash_acres for unit in units), ("down", "piled"), "Felled cedar is on {} acres in all."),
        (
            math.fsum(unit.snag_acres for unit in units),
            ("dead_standing",),
            "Cedars killed and left standing are on {}.",
        ),
    ):
        told = math.fsum(unit.stage_acres.get(stage, 0.0) for unit in units for stage in stages)
        if tenths(size) != tenths(told) and abs(size - told) >= SPOKEN_ACRES:
            found.append(words.format(tenths(size)))
    return found


def unit_title(unit: PageUnit) -> str:
    """Return a unit's name, or its label where it has none."""
    return unit.name.strip() or unit.unit_id


def with_article(name: str, unit_id: str) -> str:
    """Return a unit as a sentence names it: ``the south bench``, a proper name as it is, else its label."""
    name = name.strip()
    if not name:
        return f"unit {unit_id}"
    first = name.split()[0]
    if first.lower() in {"the", "a", "an"}:
        return name[0].lower() + name[1:] if first == "The" else name
    # A plain name (South bench) reads as "the south bench"; one with a capital or figure further in is a proper name.
    if (
        name.isascii()
        and first.istitle()
        and first.isalpha()
        and name[1:] == name[1:].lower()
        and name.replace(" ", "").isalpha()
    ):
        return f"the {name[0].lower()}{name[1:]}"
    return name


def stage_sentence(unit: PageUnit) -> str:
    """Return what state a unit's ground is in, largest part first."""
    parts = sorted(
        ((unit.stage_acres.get(stage, 0.0), stage) for stage in STAGES),
        key=lambda part: (-part[0], STAGES.index(part[1])),
    )
    spoken = [f"{STAGE_WORDS[stage]} {tenths(acres)}" for acres, stage in parts if acres >= SPOKEN_ACRES]
    if not spoken:
        return f"{tenths(unit.acres)} acres."
    if len(spoken) == 1 and unit.stage_acres.get("other", 0.0) >= SPOKEN_ACRES:
        text = f"{unit.cover.capitalize()}, {tenths(unit.acres)} acres; not counted as cedar ground."
        return " ".join([text, *beside_stages([unit])])
    text = ", ".join(spoken)
    sentences = [f"{text[0].upper()}{text[1:]} acres.", *beside_stages([unit]), left_sentence(unit)]
    return " ".join(filter(None, sentences))


def work_sentence(work: PageWork, *, unit_id: str, currency: str) -> str:
    """Return one line of the log as it would be told of one unit: its own acres, and the day's where they are more."""
    did = PRACTICE_WORDS[work.entry.practice]
    text = f"{did[0].upper()}{did[1:]} on {day_words(work.entry.date)}: {tenths(work.unit_acres[unit_id])} acres"
    if tenths(work.acres) != tenths(work.unit_acres[unit_id]):
        text += f" here of {tenths(work.acres)} in all"
    if work.entry.killed_pct is not None:
        text += f", {work.entry.killed_pct:.0f}% of the cedars killed"
    if work.entry.person_hours is not None:
        text += f", {work.entry.person_hours:g} person-hours"
    if work.entry.cost is not None:
        text += f", {work.entry.cost:,.0f} {currency}"
    text += f", by {work.entry.who}." if work.entry.who else "."
    return f"{text} “{work.entry.note}”" if work.entry.note else text


def unit_spent(works: Iterable[PageWork], unit_id: str, *, currency: str) -> str:
    """Return the hours and the cost that lines of the log tell of a unit's ground; empty where they tell neither.

    A line that touched several units is shared out by its acres in each.
    """
    hours = cost = 0.0
    has_hours = has_cost = False
    for work in works:
        share = work.unit_acres.get(unit_id, 0.0) / work.acres if work.acres > 0 else 0.0
        if share <= 0:
            continue
        if work.entry.person_hours is not None:
            hours, has_hours = hours + share * work.entry.person_hours, True
        if work.entry.cost is not None:
            cost, has_cost = cost + share * work.entry.cost, True
    parts = [f"{hours:,.0f} person-hours"] if has_hours else []
    if has_cost:
        parts.append(f"{cost:,.0f} {currency}")
    if not parts:
        return ""
    return f"{' and '.join(parts)} so far, each day shared out by its acres here."


def feature_label(name: str, kind: str, is_private: bool) -> str:
    """Return what stands beside a feature on a map: its name; a private one without a name says what it is."""
    label = name.strip() or (FEATURE_WORDS[kind] if is_private else "")
    return f"{label} (private)" if is_private else label


def joined(words: Sequence[str]) -> str:
    """Return words joined as in a sentence."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
