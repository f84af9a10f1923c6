"""What must be so of the lines of the work log that count, and of the ground they cover."""

from __future__ import annotations

from collections.abc import Iterator

import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from habmap import measures
from habmap.land.neighbors import overlaps
from habmap.records import Entry, faults
from habmap.vocabulary import KILLING, PRACTICES, WORKS, default_killed_pct
from habmap.work.checks.looked_at import Found, LookedAt
from habmap.work.ledger import conflicts
from habmap.work.said import reported_question


def practices(place: LookedAt) -> Iterator[Found]:
    """Yield lines whose practice is not known, or that do not say what share they killed."""
    for entry in place.entries:
        mend = "correct it with `habmap correct`"
        is_unsaid = entry.practice in KILLING and entry.killed_pct is None
        if entry.practice not in PRACTICES:
            what = f"the practice {entry.practice!r} is not known"
            yield place.of_line(entry.entry_id, what, f"{mend}; known: {', '.join(PRACTICES)}")
        elif is_unsaid and default_killed_pct(entry.practice, cedar=place.cedar) is None:
            what = f"`{entry.practice}` does not say what share it killed"
            yield place.of_line(entry.entry_id, what, f"{mend} --killed-pct")


def numbers(place: LookedAt) -> Iterator[Found]:
    """Yield lines that say what cannot be."""
    for entry in place.entries:
        for one, value in faults(entry, Entry):
            yield place.of_line(entry.entry_id, one.broken(value), "correct it with `habmap correct`")


def reported(place: LookedAt) -> Iterator[Found]:
    """Yield lines whose reported acres are far from their ground, and nobody confirmed them."""
    for entry in place.entries:
        patch = place.patches.get(entry.entry_id)
        question = None if patch is None or entry.is_sure else reported_question(entry, measures.acres(patch.area))
        if question is not None:
            yield place.of_line(
                entry.entry_id,
                f"{question}; nobody confirmed it",
                "correct the figure or the ground with `habmap correct`, or confirm the figure: "
                f"`habmap correct {place.numbers[entry.entry_id]} --reported-acres {entry.reported_acres:g} --yes "
                "--why T`",
            )


def corrections(place: LookedAt) -> Iterator[Found]:
    """Yield corrections that contradict each other."""
    for conflict in conflicts(place.rows):
        yield place.of_line(
            conflict.entry_id,
            conflict.words,
            "look at it with `habmap history` and settle it with `habmap correct` or `habmap void`",
        )


def patches(place: LookedAt) -> Iterator[Found]:
    """Yield lines whose ground is unusable or lies outside every unit that ever was."""
    sound = [shape for shape in place.every_shape if shape.is_valid]
    tree = shapely.STRtree(sound)
    for entry in place.entries:
        shape = place.patches.get(entry.entry_id)
        if shape is None or shape.is_empty or not shape.is_valid:
            yield place.of_line(
                entry.entry_id,
                "its ground is missing or crosses itself",
                "give the right ground with `habmap correct --patch`",
            )
        elif not any(shapely.intersection(sound[i], shape).area > 0 for i in tree.query(shape)):
            yield place.of_line(
                entry.entry_id,
                f"all {measures.acres(shape.area):,.2f} acres of it lie outside every unit",
                "load the unit it belongs to, or correct the ground with `habmap correct --patch`",
            )


def kept_ground(place: LookedAt) -> Iterator[Found]:
    """Yield work on ground that was left on purpose."""
    kept: BaseGeometry = MultiPolygon()
    for entry in place.entries:  # in the order of work, keep before all else of its day
        patch = place.patches.get(entry.entry_id)
        if patch is None or not patch.is_valid:
            continue
        if entry.practice == "keep":
            kept = kept.union(patch)
        elif entry.practice in WORKS:
            for shared in overlaps([kept, patch]):
                kept_acres = measures.acres(shared.area_m2)
                yield place.of_line(
                    entry.entry_id,
                    f"`{entry.practice}` on {entry.date} covers {kept_acres:,.2f} acres left on purpose",
                    "void the keep if it no longer holds, or correct the ground of the work",
                )


def dates(place: LookedAt) -> Iterator[Found]:
    """Yield lines dated after today."""
    for entry in place.entries:
        if entry.date > place.today:
            yield place.of_line(
                entry.entry_id, f"{entry.date} is after today, {place.today}", "correct it with `habmap correct --date`"
            )
