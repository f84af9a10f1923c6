"""The sentences of the handout: a neighbor talking to a room."""

from __future__ import annotations

from typing import Final

from habmap.measures import significant, so_many
from habmap.show import words
from habmap.show.handout.records import Handout, HandoutDue, HandoutUnit
from habmap.show.records import PageUnit
from habmap.show.season_bars import worked_seasons
from habmap.vocabulary import PRACTICE_WORDS, WIND_WORDS, wind_16
from habmap.work.effort import TOO_FEW_LINES
from habmap.work.effort_account import EffortResult
from habmap.work.seasons import WHAT_WORDS


def by_season(handout: Handout) -> str:
    """Return what the seasons did, in one sentence."""
    seasons = handout.account.seasons
    if not handout.page.units:
        return "No units are drawn yet, so no season has acres."
    if not seasons:
        start = words.tenths(handout.account.start_remaining_acres)
        return f"Nothing is logged yet: {start} acres of cedar as they stood at the start."
    best, last = max(seasons, key=lambda season: season.treated_acres), seasons[-1]
    if best.treated_acres < words.SPOKEN_ACRES:
        return f"No acres were treated for the first time yet; {words.tenths(last.remaining_acres)} remain."
    when = worked_seasons(seasons, today=handout.due_on)
    done = f"{words.tenths(last.cumulative_treated_acres)} acres treated at least once {when}"
    if len(seasons) == 1:
        return f"{done}; {words.tenths(last.remaining_acres)} remain."
    return f"{done}, the most in {best.label}: {words.tenths(best.treated_acres)} acres."


def practices(handout: Handout) -> str:
    """Return what was done on how much ground, all seasons together."""
    spoken = [
        (practice, acres)
        for practice, acres in handout.practices
        if acres >= words.SPOKEN_ACRES and practice not in ("keep", "checkup")  # neither is work on the ground
    ]
    if not spoken:
        return "No work is logged yet."
    told = ", ".join(f"{PRACTICE_WORDS[practice]} {words.tenths(acres)}" for practice, acres in spoken)
    return f"Acres worked so far: {told}."


def running(handout: Handout) -> str:
    """Return a word on the season that is not over on the account's own day; empty where it is."""
    seasons, on = handout.account.seasons, handout.page.on
    if seasons and on is not None and on < seasons[-1].last_day:
        return f"The season {seasons[-1].label} is told up to {words.day_words(on)}."
    return ""


def left_on_purpose(handout: Handout) -> str:
    """Return where cedar left on purpose is counted; empty where none is."""
    if handout.page.totals.keep_acres < words.SPOKEN_ACRES:
        return ""
    return "Cedar left on purpose remains until the season in which it was marked, and is in no column after it."


# --- what comes next ----------------------------------------------------------------------------------------


def comes_next(handout: Handout, most: int = 3) -> str:
    """Return what comes next, the first ``most`` units, in one sentence."""
    if not handout.page.units:
        return "What comes next cannot be said: no units are drawn yet."
    at_rest = words.waiting_sentence(handout.page, with_why=False)
    if not handout.next_units:
        return at_rest or "Nothing waits: no cedar ground here asks for work."
    first, *others = [_name(one) for one in handout.next_units[:most]]
    return f"Next: {first}{f', then {words.joined(others)}' if others else ''}. {at_rest}".rstrip()


def _name(one: HandoutUnit) -> str:
    return words.with_article(one.unit.name, one.unit.unit_id)


def unit_heading(one: HandoutUnit) -> str:
    """Return a unit's numeral, name and acres."""
    acres = one.unit.remaining_acres if one.unit.remaining_acres >= words.SPOKEN_ACRES else one.upkeep_acres
    return f"{one.unit.order}. {words.unit_title(one.unit)}, {words.tenths(acres)} acres"


def unit_reasons(one: HandoutUnit) -> str:
    """Return why a unit stands where it does, as one would tell it over a fence."""
    if one.unit.remaining_acres < words.SPOKEN_ACRES:
        sentences = ["Treated once; young cedars or the years ask for another pass."]
    else:
        sentences = [_faces(one.unit), _thick(one)]
    return " ".join([*sentences, *(f"{remark[0].upper()}{remark[1:]}." for remark in one.remarks if remark)])


def _faces(unit: PageUnit) -> str:
    lie = unit.ranked
    if lie is None or lie.sun_facing_remaining_pct is None:
        return "Which way it faces is not known."
    if lie.aspect_remaining_deg is None:
        return "It faces no one way."
    way, sunny_pct = f"Faces {WIND_WORDS[wind_16(lie.aspect_remaining_deg)]}", lie.sun_facing_remaining_pct
    return f"{way}." if sunny_pct < 0.5 else f"{way}, {sunny_pct:.0f}% sun-facing."


def _thick(one: HandoutUnit) -> str:
    among, stand = " among hardwoods" if one.unit.cover == "mixed" else "", one.stand
    if stand is None or stand.dense is None:
        return f"How thick its cedars stand{among} now is not measured."
    count = "" if stand.stems_per_acre is None else f", about {two_digits(stand.stems_per_acre)} to the acre"
    if one.is_dense_by_crowns and stand.canopy_pct is not None:
        count = f": crowns cover {stand.canopy_pct:.0f}%"
    return f"{'Thick' if stand.dense else 'Thin'} cedars{among}{count}."


def due(handout: Handout) -> list[str]:
    """Return what is due, what presses first, as one sentence after another."""
    items = [item for item in handout.due if item.what != "checkup"]  # asked for on the last page, as eyes
    if not items:
        if handout.due:
            return ["Nothing but check-ups is due now or in the 90 days to come."]
        return [f"Nothing is due on {words.day_words(handout.due_on)}, nor in the 90 days after it."]
    lines = [_due(item, is_first=not number) for number, item in enumerate(items)]
    opening = "Now" if items[0].state == "in force" else "Due"
    return [f"{opening}: {lines[0]}", *lines[1:]]


#: On a wall that might be taken for leave to burn: what decides stands beside it.
_SLASH: Final = {
    "drying": "slash younger than its drying days",
    "past its drying days": "slash past its drying days",
    "in its drying days": "slash in its drying days (no leave to burn: the burn boss and the written plan decide)",
}


def _due(item: HandoutDue, *, is_first: bool) -> str:
    name = WHAT_WORDS[item.what]
    if item.what == "piles":
        name = "piles not burned yet" + (f", {item.state}" if item.state != "open" else "")
    elif item.state in ("on hold", "closed"):
        name += f", {item.state}"
    elif item.what == "drying":
        name = _SLASH.get(item.state, f"{name}, {item.state}")
    elif item.state != "due":
        name += f", {item.state}"
    if item.words:
        return f"{name}: {item.words}{_span(item)}"
    if not item.units:
        return f"{name}{_span(item)}"
    return f"{name}: {so_many(item.units, 'unit') if is_first else item.units}"


def _span(item: HandoutDue) -> str:
    """Return the days of a closed time or a hold; what the ground asks for has none here."""
    if item.what not in ("closed_burn", "closed_cut", "hold") or item.to_date is None:
        return ""
    since = "" if item.from_date is None else f" {words.short_day(item.from_date)}"
    return f",{since} to {words.short_day(item.to_date)}"


# --- what it costs, and help --------------------------------------------------------------------------------


def remains(handout: Handout) -> str:
    """Return the last page's sentence."""
    page, effort = handout.page, handout.effort
    if not page.units:
        return "What remains cannot be said: no units are drawn yet."
    if page.totals.remaining_acres < words.SPOKEN_ACRES:
        return "No cedar ground remains to be treated; what is asked now is upkeep and a watchful eye."
    text = f"{words.tenths(page.totals.remaining_acres)} acres remain"
    if effort is not None and page.with_hours and effort.person_hours_left is not None and not _is_few(effort):
        text += f"; at our own pace that is about {two_digits(effort.person_hours_left)} person-hours"
    return f"{text}. Help is welcome."


def two_digits(value: float) -> str:
    """Return a figure as a room remembers it: two digits, the rest zeros."""
    return significant(value, 2)


def _money(value: float, currency: str) -> str:
    return f"${two_digits(value)}" if currency == "USD" else f"{two_digits(value)} {currency}"


def _is_few(effort: EffortResult) -> bool:
    return effort.lines < TOO_FEW_LINES


def effort_sentences(handout: Handout) -> list[str]:
    """Return hours and money so far and to come, as far as they are told and the log is long enough to tell."""
    page, effort = handout.page, handout.effort
    assert effort is not None
    has_left = page.totals.remaining_acres >= words.SPOKEN_ACRES
    hours, left = page.with_hours, effort.person_hours_left
    spent = [f"{two_digits(effort.person_hours)} person-hours"] if hours and effort.person_hours > 0 else []
    spent += [_money(effort.cost, effort.currency)] if page.with_cost and effort.cost > 0 else []
    lines = [f"So far: about {' and '.join(spent)}." if spent else "The log tells nothing of it yet."]
    if not has_left:
        return [*lines, *handout.contract, "No acres remain whose hours could be told."]
    if left is None:
        lines.append("What the rest would take is not known: no line of the log gives its hours.")
    elif _is_few(effort):
        lines.append("What the rest would take: too few days logged to tell.")
    if left is not None and not _is_few(effort):
        if hours:
            lines.append(
                f"Clearing the rest: about {two_digits(left)} person-hours"
                f"{_range(effort.person_hours_left_low, effort.person_hours_left_high)}."
            )
        if page.with_cost and effort.cost_left:
            lines.append(f"It would cost about {_money(effort.cost_left, effort.currency)}.")
        if hours and effort.finish is not None and effort.hours_per_week is not None:
            without = ", without ground on hold" if effort.finish_without else ""
            lines.append(f"At {effort.hours_per_week:g} hours a week it ends about {effort.finish:%B %Y}{without}.")
        if hours:
            slash = effort.follow_up.person_hours_left
            lines.append(
                "Piling, burning and upkeep come on top."
                if slash is None
                else f"Slash work: about {two_digits(slash)} hours more; upkeep comes on top."
            )
        if hours and effort.person_days_left:
            a_day = page.totals.remaining_acres / effort.person_days_left
            lines.append(
                f"An acre takes about {two_digits(left / page.totals.remaining_acres)} hours: a helper’s day is about "
                f"{significant(a_day, 2)} acres."
            )
    return [*lines, *handout.contract]


def _range(low: float | None, high: float | None) -> str:
    return "" if low is None or high is None else f" ({two_digits(low)} to {two_digits(high)})"


#: Units whose remaining acres are told one by one.
_MOST_PARTS: Final = 6


def remaining_sentences(handout: Handout) -> list[str]:
    """Return what remains in acres alone, for a copy without hours or money."""
    units = [unit for unit in handout.page.units if unit.remaining_acres >= words.SPOKEN_ACRES]
    if not units:
        return ["No acres remain to be treated for the first time."]
    units.sort(key=lambda unit: -unit.remaining_acres)
    largest = "; the largest parts" if len(units) > _MOST_PARTS else ""
    lines = [f"Cedar remains on {so_many(len(units), 'unit')}{largest}:"]
    return lines + [
        f"{words.unit_title(unit)}: {words.tenths(unit.remaining_acres)} acres"
        + (f", {unit.waits}." if unit.waits else ".")
        for unit in units[:_MOST_PARTS]
    ]


def asked(handout: Handout) -> list[str]:
    """Return the help that is asked: the steward's own list, else what the figures themselves ask for."""
    if handout.ask:
        return [text.strip() for text in handout.ask if text.strip()]
    lines = []
    first = next((one for one in handout.next_units if one.unit.remaining_acres >= words.SPOKEN_ACRES), None)
    if first is not None:
        hours, few = first.person_hours_left, handout.effort is None or _is_few(handout.effort)
        lines.append(
            f"Cutting on {_name(first)}: {words.tenths(first.unit.remaining_acres)} acres"
            + ("." if hours is None or few else f", about {two_digits(hours)} person-hours.")
        )
    if handout.lying_acres >= words.SPOKEN_ACRES:
        lying = words.tenths(handout.lying_acres)
        lines.append(f"People trained and equipped for saw or machine work: {lying} acres lie cut.")
    looks = sum(item.units for item in handout.due if item.what == "checkup" and item.state in ("due", "overdue"))
    if looks:
        lines.append(f"Eyes: {so_many(looks, 'unit')} should be walked and checked.")
    lines.append("Tell us of nests, graves and old sites before work begins there.")
    lines.append("On a burn day keep the roads clear, and leave the fire to its crew.")
    return lines
