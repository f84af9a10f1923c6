"""The ruler of seasons under the map: each day of work as a step, with its ground, its figures and its words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from habmap.memory import remembered
from habmap.show import words
from habmap.show.page import coordinates
from habmap.show.page.coordinates import text_of
from habmap.show.records import Page, PageDone, PageHistory, PageHistoryPiece, PageOldUnits, PageStep
from habmap.vocabulary import PRACTICE_WORDS, REMAINING, STAGE_WORDS, STAGES, TREATED
from habmap.work.acres import cedar_acres
from habmap.work.season_account import season_days, season_label, season_year

#: Decimals of acres in the file; a sum of a thousand such stays within half a thousandth of an acre.
_ACRE_DECIMALS: Final = 6
_STAGE_INDEX: Final = {stage: index for index, stage in enumerate(STAGES)}
#: From this share on, a day's acres are nearly all in one unit.
_NEARLY_ALL: Final = 0.9
#: Units named one by one in a sentence; of more, only how many.
_MOST_NAMED: Final = 4


def values(page: Page) -> dict[str, Any]:
    """Return what the template needs."""
    history = page.history
    return {"ruler": history is not None, "ruler_by_season": history is not None and _is_by_season(history)}


def drawing(page: Page) -> dict[str, Any] | None:
    """Return what the script needs; ``None`` for a page without steps."""
    history = page.history
    if history is None:
        return None
    ids = _ids(history)
    last = len(history.steps) - 1
    return {
        "units": [[unit_id, _title(unit_id, history)] for unit_id in history.unit_names],
        "stages": list(STAGES),
        "words": [STAGE_WORDS[stage] for stage in STAGES],
        "treated": [_STAGE_INDEX[stage] for stage in TREATED],
        "remaining": [_STAGE_INDEX[stage] for stage in REMAINING],
        "steps": [_step(step, ids, history, page, is_last=index == last) for index, step in enumerate(history.steps)],
        "seasons": _seasons(history),
        # The bars of every step are to the scale of the bars that the page opens with.
        "largest": max(unit.acres for unit in page.units),
        "patches": list(history.patch_steps),
        # As text within the text: it is read out only when the reader first moves the time.
        "shapes": _shapes(history, ids),
    }


def ruler_bytes(history: PageHistory) -> int:
    """Return about how much of the file a history takes, figures and words of the units' steps included [bytes]."""
    ids = _ids(history)
    spoken = 400 * len(history.steps)  # sentences of a step, about
    figures = sum(6 + 11 * len(stages) for step in history.steps for stages in step.units.values())
    return spoken + len(_shapes(history, ids)) + figures


def _ids(history: PageHistory) -> dict[str, int]:
    return {unit_id: index for index, unit_id in enumerate(history.unit_names)}


def _shapes(history: PageHistory, ids: Mapping[str, int]) -> str:
    pieces = ",".join(f"[{ids[piece.unit_id]},{_piece(piece)}]" for piece in history.pieces)
    return f'{{"pieces":[{pieces}],"old":{text_of([_old(old) for old in history.old_units])}}}'


@remembered
def _piece(piece: PageHistoryPiece) -> str:
    course: list[int] = []
    for step, stage in piece.stages:
        course += [step, -1 if stage is None else _STAGE_INDEX[stage]]
    return f"{text_of(course)},{text_of(coordinates.stepped_polygons(piece.geometry))}"


def _old(old: PageOldUnits) -> dict[str, Any]:
    return {
        "first": old.first_step,
        "last": old.last_step,
        "units": [[(unit.name or "").strip() or unit.unit_id, coordinates.pair(at)] for unit, at in old.units],
        "shapes": [coordinates.stepped_polygons(unit.geometry) for unit, _ in old.units],
    }


def _is_by_season(history: PageHistory) -> bool:
    return any(step.season is not None for step in history.steps)


def _seasons(history: PageHistory) -> list[list[Any]]:
    """Return every season that a step lies in or between: its name, its first and its last day as day numbers."""
    years = [season_year(step.day) for step in history.steps if step.day is not None]
    found = []
    for year in range(min(years), max(years) + 1):
        first, last = season_days(year)
        found.append([season_label(year), first.toordinal(), last.toordinal()])
    return found


def _step(step: PageStep, ids: Mapping[str, int], history: PageHistory, page: Page, *, is_last: bool) -> dict[str, Any]:
    when = when_words(step, page, is_last=is_last)
    return {
        "n": None if step.day is None else step.day.toordinal(),
        "when": when,
        "value": value_words(step, when),
        "said": said(step, history),
        "head": words.headline(page) if is_last else headline_then(step),
        "also": words.also(page) if is_last else also_then(step),
        "units": _changes(step, ids),
        "acres": _rounded(sum(map(_done_acres, step.done))),
        "all": [_rounded(step.stage_acres.get(stage, 0.0)) for stage in STAGES],
    }


def _changes(step: PageStep, ids: Mapping[str, int]) -> list[list[float]]:
    found = []
    for unit_id, stages in step.units.items():
        line: list[float] = [ids[unit_id]]
        for stage in STAGES:
            if stage in stages:
                line += [_STAGE_INDEX[stage], _rounded(stages[stage])]
        found.append(line)
    return found


def _rounded(acres: float) -> float:
    return round(acres, _ACRE_DECIMALS)


def when_words(step: PageStep, page: Page, *, is_last: bool) -> str:
    """Return the day of a step as it is said."""
    if step.day is None:
        return "before any work"
    if is_last and page.on is not None and page.on != step.day:
        return words.day_words(page.on)
    return words.day_words(step.day)


def value_words(step: PageStep, when: str) -> str:
    """Return a step as a screen reader says it: the day, and acres by practice."""
    parts = [
        f"{words.tenths(acres)} acres {PRACTICE_WORDS[done.practice]}"
        if (acres := _done_acres(done)) >= words.SPOKEN_ACRES
        else PRACTICE_WORDS[done.practice]
        for done in step.done
    ]
    if not parts:
        return when
    text = when if step.season is None else f"{when}, season {step.season}"
    return f"{text}: {', '.join(parts)}"


def said(step: PageStep, history: PageHistory) -> str:
    """Return what was done, in a neighbor's words."""
    if step.day is None:
        standing = step.stage_acres.get("standing", 0.0)
        if standing < words.SPOKEN_ACRES:
            return "Before any work."
        return f"Before any work: cedar stood on {words.tenths(standing)} acres."
    if not step.done:
        return "The units as they are drawn now; no work since the day before."
    sentences = []
    for index, done in enumerate(step.done):
        did = PRACTICE_WORDS[done.practice]
        acres = _done_acres(done)
        where = _where(done, history)
        if index == 0:
            start = f"{did[0].upper()}{did[1:]}"
            start += f" on {words.day_words(step.day)}" if step.season is None else f" in the season {step.season}"
        else:
            start = f"Also {did}" if step.season is not None else f"Also {did} that day"
        if acres < words.SPOKEN_ACRES:
            sentences.append(f"{start}.")
        else:
            sentences.append(f"{start}: {words.tenths(acres)} acres{where}.")
    return " ".join(sentences)


def _done_acres(done: PageDone) -> float:
    return sum(done.unit_acres.values()) + done.outside_acres


def _where(done: PageDone, history: PageHistory) -> str:
    spoken = {unit_id: acres for unit_id, acres in done.unit_acres.items() if acres >= words.SPOKEN_ACRES}
    outside = f", {words.tenths(done.outside_acres)} of them outside the units"
    tail = outside if spoken and done.outside_acres >= words.SPOKEN_ACRES else ""
    if not spoken:
        return " outside the units"
    largest_first = sorted(spoken.items(), key=lambda item: (-round(item[1], 1), item[0]))
    first_id, first_acres = largest_first[0]
    first = words.with_article(history.unit_names[first_id], first_id)
    if len(largest_first) == 1 and not tail:
        return f" on {first}"
    if first_acres >= _NEARLY_ALL * _done_acres(done):
        return f", nearly all on {first}"
    if len(spoken) > _MOST_NAMED:
        return f" in {len(spoken)} units{tail}"
    named = [
        f"{words.tenths(acres)} on {words.with_article(history.unit_names[unit_id], unit_id)}"
        for unit_id, acres in largest_first
    ]
    return f", {words.joined(named)}{tail}"


def headline_then(step: PageStep) -> str:
    """Return the answer of an earlier day in one sentence."""
    treated = _sum(step, TREATED)
    remaining = _sum(step, REMAINING)
    total = cedar_acres(step.stage_acres)
    if step.day is None:
        return f"Before any work: {words.tenths(total)} acres of cedar, none of them treated."
    by = f"by {words.day_words(step.day)}"
    if total < words.SPOKEN_ACRES:
        return f"No cedar ground was mapped {by}."
    if treated < words.SPOKEN_ACRES:
        return f"None of {words.tenths(total)} cedar acres treated {by}; {words.tenths(remaining)} remained."
    left = "nothing remained" if remaining < words.SPOKEN_ACRES else f"{words.tenths(remaining)} remained"
    return f"{words.tenths(treated)} of {words.tenths(total)} cedar acres treated at least once {by}; {left}."


def also_then(step: PageStep) -> str:
    """Return what the headline of an earlier day leaves out."""
    parts = []
    if (back := step.stage_acres.get("coming_back", 0.0)) >= words.SPOKEN_ACRES:
        parts.append(f"On {words.tenths(back)} of the treated acres cedar was coming back.")
    if (keep := step.stage_acres.get("keep", 0.0)) >= words.SPOKEN_ACRES:
        parts.append(f"{words.tenths(keep)} of the cedar acres were left on purpose.")
    return " ".join(parts)


def _sum(step: PageStep, stages: tuple[str, ...]) -> float:
    return sum(step.stage_acres.get(stage, 0.0) for stage in stages)


def _title(unit_id: str, history: PageHistory) -> str:
    return history.unit_names[unit_id].strip() or unit_id
