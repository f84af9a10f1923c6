"""The map in words, for whoever cannot see or make out a drawing: what stage lies where, and what comes next."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from habmap.show import words
from habmap.show.page import bite
from habmap.show.records import Page, PageUnit, extent
from habmap.vocabulary import FEATURE_WORDS, PRACTICE_WORDS, STAGE_WORDS, STAGES

#: Units named one by one in a sentence; the table has them all.
_NAMED: Final = 4
#: Where a unit lies, by thirds of the ground from south to north and from west to east.
_WHERE: Final = (
    ("in the southwest", "in the south", "in the southeast"),
    ("in the west", "in the middle", "in the east"),
    ("in the northwest", "in the north", "in the northeast"),
)


def values(page: Page) -> dict[str, Any]:
    """Return the sentences for the template."""
    return {"map_in_words": map_in_words(page)}


def map_in_words(page: Page) -> tuple[str, ...]:
    """Return what the map shows as sentences: the order of work, then each stage and the units that hold most of it."""
    if not page.units:
        return ()
    lines = [*_order(page), bite.sentence(page), *_stages(page), *_latest(page), *_things(page)]
    return tuple(line for line in lines if line)


def where(page: Page, unit: PageUnit) -> str:
    """Return where in the property a unit's number stands, as ``in the northwest``."""
    west, south, east, north = extent(page)
    across = (unit.label_lonlat[0] - west) / max(east - west, 1e-9)
    up = (unit.label_lonlat[1] - south) / max(north - south, 1e-9)
    return _WHERE[min(2, max(0, int(up * 3)))][min(2, max(0, int(across * 3)))]


def _some(page: Page, units: Sequence[tuple[float, PageUnit]]) -> str:
    """Return the first few with where they lie and their acres, and how many more there are.

    One more is named rather than counted.
    """
    is_few = len(units) <= _NAMED + 1
    named = [
        f"{words.unit_title(unit)} {where(page, unit)} ({words.tenths(acres)})"
        for acres, unit in (units if is_few else units[:_NAMED])
    ]
    return words.joined(named) if is_few else f"{', '.join(named)} and {len(units) - _NAMED} more"


def _order(page: Page) -> list[str]:
    ordered = sorted((unit for unit in page.units if unit.order is not None), key=lambda unit: unit.order or 0)
    at_rest = words.waiting_sentence(page)
    if not ordered:
        return [at_rest]
    first, *following = ordered
    lines = [
        f"First in the order of work: {words.unit_title(first)}, {where(page, first)}, "
        f"{words.tenths(first.remaining_acres)} of its {words.tenths(first.acres)} acres remain."
    ]
    if following:
        told = _some(page, [(unit.remaining_acres, unit) for unit in following])
        lines.append(f"After it, with acres that remain: {told}.")
    return [*lines, at_rest]


def _stages(page: Page) -> list[str]:
    lines = []
    for stage in STAGES:
        holders = sorted(
            ((unit.stage_acres.get(stage, 0.0), unit) for unit in page.units),
            key=lambda pair: (-pair[0], pair[1].unit_id),
        )
        spoken = [(acres, unit) for acres, unit in holders if acres >= words.SPOKEN_ACRES]
        if not spoken:
            continue
        total = sum(acres for acres, _ in holders)
        name = STAGE_WORDS[stage]
        begin = f"{name[0].upper()}{name[1:]}, {words.tenths(total)} acres"
        if len(spoken) == 1:
            unit = spoken[0][1]
            lines.append(f"{begin}: all in {words.unit_title(unit)} {where(page, unit)}.")
            continue
        lines.append(f"{begin}: {_some(page, spoken)}.")
    return lines


def _latest(page: Page) -> list[str]:
    if not page.work:
        return []
    last = max(page.work, key=lambda work: work.entry.date)
    did = PRACTICE_WORDS[last.entry.practice]
    names = {unit.unit_id: words.unit_title(unit) for unit in page.units}
    inside = [
        names[unit_id]
        for unit_id, acres in sorted(last.unit_acres.items(), key=lambda item: -item[1])
        if unit_id in names and acres >= words.SPOKEN_ACRES
    ]
    place = f" in {words.joined(inside[:_NAMED])}" if inside else ""
    return [f"The latest work: {did} on {words.day_words(last.entry.date)}{place}, {words.tenths(last.acres)} acres."]


def _things(page: Page) -> list[str]:
    kinds = [FEATURE_WORDS[kind] for kind in FEATURE_WORDS if any(feature.kind == kind for feature in page.features)]
    if page.boundary is not None:
        kinds.insert(0, "property line")
    return [f"Also drawn: {words.joined(kinds)}."] if kinds else []
