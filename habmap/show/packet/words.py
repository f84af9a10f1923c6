"""Every sentence of the packet: the answer, the payment, what would be asked, and how its acres were made."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from typing import Final

from habmap.show.words import joined, short_day, tenths
from habmap.vocabulary import PRACTICE_WORDS
from habmap.work.packet import LATE_DAYS, ItemPacket, LogLine, Question
from habmap.work.paperwork_records import APART, FORM_ROUNDING_ACRES, PAPER_DECIMALS, ItemTotal

#: What stands apart, in a sentence of its own.
APART_WORDS: Final = {
    "below_target": "worked, but the share of cedars killed is below the unit's target",
    "treated_before": "at target before, by work before the report's days or under another code",
    "too_early": "worked before the item's first day",
    "late": "worked after the due date",
    "on_hold": "worked while on hold",
    "elsewhere": "claimed by another item and counted there",
}
#: More days or units than these are counted, not listed.
_MOST_LISTED: Final = 6
HOW_WORDS: Final = {"walked": "walked", "whole": "whole unit", "drawn": "drawn"}
HOW_MADE: Final = (
    "Acres are horizontal (map) acres of 4,046.856 square meters in an equal-area grid of the property's own. The "
    "edges of units and of every line of the log cut the ground into pieces; each piece stands in one column only, so "
    "that no acre counts twice, however often it was worked. In practices that kill cedars a piece counts when one "
    "line of the log, inside the item's days, first brought the share of cedars killed to the unit's target; shares of "
    "several passes combine as 1 − (1 − p)(1 − q). In other practices it counts once for work inside the days. Rows "
    "are rounded to a tenth and the total adds up the rows; payment is the rate times these acres."
)
LOG_WORDS: Final = (
    "Acres here: the part of the line on this item's worked ground; lines overlap, so these do not add up to the acres "
    "that count. Killed: the share of the cedars alive that day that was killed, as somebody wrote it. Not paid: work "
    "that this item's practice code does not name."
)
GROUND_WORDS: Final = (
    "Ground: walked by GPS (± one standard deviation of the whole walk), told as a whole unit, or drawn on a map or in "
    "a file."
)


def item_name(total: ItemTotal) -> str:
    """Return what the item is called, with its practice code."""
    return f"{total.program} {total.item}".strip() + f" ({total.practice_code})"


def headline(packet: ItemPacket) -> str:
    """Return the answer in one sentence."""
    total = packet.ground.total
    paper = paper_acres(packet, "applied")
    planned = "" if total.planned_acres is None else f" of {total.planned_acres:,g} planned"
    name = item_name(total)
    return f"{name[0].upper()}{name[1:]}: {tenths(paper)} acres{planned} count."


def paper_acres(packet: ItemPacket, column: str) -> float:
    """Return a column's acres as the packet prints them everywhere: the rows' tenths added up [acre]."""
    rows = (float(getattr(line, f"{column}_acres")) for line in packet.ground.lines)
    return round(math.fsum(round(acres, PAPER_DECIMALS) for acres in rows), PAPER_DECIMALS)


def dateline(packet: ItemPacket, *, made_on: date, is_public: bool) -> str:
    """Return place, days of the report and the day it was made."""
    days = f"work from {short_day(packet.from_date)} to {short_day(packet.to_date)}"
    return f"{packet.place} · {days} · made {short_day(made_on)}{' · made for the public' if is_public else ''}"


def facts(packet: ItemPacket) -> list[tuple[str, str]]:
    """Return what the contract says of the item, by name."""
    item = packet.ground.item
    found = [
        ("Units", ", ".join(item.units) or "all units of the property"),
        ("First day", "none named" if item.not_before is None else short_day(item.not_before)),
        ("Due", "none named" if item.due is None else short_day(item.due)),
        ("Planned", "not named" if item.planned_acres is None else f"{item.planned_acres:g} acres"),
    ]
    if item.rate is not None:
        found.append(("Rate", f"{item.rate:,.2f} {packet.currency} per acre"))
    inside = [line.entry.date for line in packet.log if line.is_own and line.is_inside]
    if inside:
        found.append(("Work inside the days", f"{short_day(min(inside))} to {short_day(max(inside))}"))
    return found


def counts_words(packet: ItemPacket) -> str:
    """Return what the column of ground that counts holds."""
    if packet.kills:
        return "ground that work inside the item's days first brought to its unit's target share of cedars killed."
    return "ground worked inside the item's days, once."


def apart_sentences(packet: ItemPacket) -> list[str]:
    """Return each kind of worked ground that does not count, and why."""
    acres = packet.ground.total.apart_acres
    found = [f"{_some(paper_acres(packet, column))} {APART_WORDS[column]}." for column in APART if acres[column] > 0]
    return found or ["All worked ground of the item counts."]


def payment_sentence(packet: ItemPacket) -> str:
    """Return the payment as rate times printed acres; empty without a rate."""
    total = packet.ground.total
    if total.rate is None or total.paper_payment is None:
        return ""
    sum_words = f"{total.rate:,.2f} × {total.paper_acres:g} acres = {total.paper_payment:,.2f} {packet.currency}"
    beyond = round(paper_acres(packet, "applied") - total.paper_acres, 1)
    more = f" ({tenths(beyond)} acres beyond the planned ones are not paid)" if beyond > 0 else ""
    return f"Payment at the rate: {sum_words}{more}. The agency's own figures decide."


def line_row(line: LogLine, *, is_owner: bool) -> list[str]:
    """Return one line of the log as the cells of its row."""
    entry = line.entry
    killed = "" if entry.killed_pct is None else f"{entry.killed_pct:g}%"
    sd = "" if entry.acres_sd is None or not is_owner else f" ± {entry.acres_sd:.2f}"
    row = [
        str(line.number), short_day(entry.date), PRACTICE_WORDS[entry.practice], f"{line.here_acres:.2f}{sd}",
        f"{line.acres:.2f}", killed, "not paid" if not line.is_own else "inside" if line.is_inside else "outside",
    ]  # fmt: skip
    return [*row, HOW_WORDS[line.how], entry.who or ""] if is_owner else row


def question_sentence(question: Question) -> str:
    """Return what would be asked, with its figure, as a sentence."""
    lines = _lines(question.lines)
    acres = "" if question.acres is None else _some(question.acres)
    about = _listed([PRACTICE_WORDS.get(one, one) for one in question.about])
    verb = "was" if len(question.lines) == 1 else "were"
    rest = "rests" if len(question.lines) == 1 else "rest"
    words = {
        "walked": f"{lines} {verb} walked by GPS: ± {question.acres or 0:.2f} acres is one standard deviation of these "
        "walks together, taken as independent.",
        "whole": f"{lines} {rest} on a whole unit's outline ({acres} of the item's ground): nobody walked the edge of "
        "the work. Was all of it worked?",
        "drawn": f"{lines} {rest} on an outline that was drawn or came from a file ({acres}); how true it is, the file "
        "does not say.",
        "reported": f"{lines}: the acres that somebody wrote differ from the ground by a tenth and more.",
        "assumed": f"{lines}: nobody wrote the share of cedars killed; all were taken as killed, which a stump with a "
        "green limb is not.",
        "corrected": f"{lines} {verb} corrected afterwards (on {about}). What changed, and why, stands in the log's "
        "history.",
        "told_late": f"{lines} {verb} written down more than {LATE_DAYS} days after the work.",
        "no_first_day": "The item names no first day, so that work before its approval cannot be told from work after. "
        "Work dated before approval can forfeit payment.",
        "early_or_late": f"{lines} {verb} done outside the item's days ({about}); {acres} of ground "
        "stand apart for it. Work dated before the first day can forfeit payment.",
        "no_code": f"Work without a practice code lies on this ground ({about}): it counts for no item.",
        "no_pair": f"{acres} of the ground that counts are in no photo pair's view.",
        "no_checkup": f"Nobody has logged a check-up on {acres} of the ground that counts since it was treated.",
        "coming_back": f"On {acres} of the ground that counts the last check-up found cedars coming back.",
        "slash": f"{acres} of the ground that counts still hold felled cedar, lying or in piles.",
        "redrawn": f"Outlines were redrawn after the first work: {about}. Acres are those of the outlines of now.",
        "unit_gone": f"The contract names {about}, which no unit on the map is called.",
        "claimed": f"{acres} are claimed by another item too, and count there.",
    }
    text = words[question.kind]
    return text[0].upper() + text[1:]


def coordinate(lon: float, lat: float) -> str:
    """Return a place as people read it aloud: to a hundred-thousandth of a degree, about a yard."""
    return f"{abs(lat):.5f}° {'N' if lat >= 0 else 'S'}, {abs(lon):.5f}° {'E' if lon >= 0 else 'W'}"


def _listed(words: Sequence[str]) -> str:
    """Return words joined, of many only how many and the first and last of them."""
    if len(words) > _MOST_LISTED:
        return f"{len(words)} in all, {words[0]} to {words[-1]}"
    return joined(words) if words else ""


def _lines(numbers: Sequence[int]) -> str:
    if not numbers:
        return "No line"
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    told = [
        word
        for run in runs
        for word in ([f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(number) for number in run])
    ]
    return f"line{'' if len(numbers) == 1 else 's'} {joined(told)}"


def _some(acres: float) -> str:
    """Return acres to a tenth, and never 0.0 where there is some."""
    return f"{tenths(acres)} acres" if acres >= FORM_ROUNDING_ACRES else f"under {FORM_ROUNDING_ACRES:g} acre"
