"""What must be so of the lines of the work log that count, and of the ground they cover."""

from __future__ import annotations

from collections.abc import Iterator

import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from habmap import measures
from habmap.jobs.checks.facts import Facts, Fault
from habmap.land.neighbors import overlaps
from habmap.records import Entry, faults
from habmap.vocabulary import KILLING, PRACTICES, WORKS, default_killed_pct
from habmap.work.ledger import conflicts
from habmap.work.reported import reported_question


def practices(facts: Facts) -> Iterator[Fault]:
    """Yield lines whose practice is not known, or that do not say what share they killed."""
    for entry in facts.entries:
        mend = "correct it with `habmap correct`"
        if entry.practice not in PRACTICES:
            what = f"the practice {entry.practice!r} is not known"
            yield facts.of_line(
                entry.entry_id, rule="practice", what=what, mend=f"{mend}; known: {', '.join(PRACTICES)}"
            )
        elif (
            entry.practice in KILLING
            and entry.killed_pct is None
            and default_killed_pct(entry.practice, cedar=facts.store.settings.place.cedar) is None
        ):
            what = f"`{entry.practice}` does not say what share it killed"
            yield facts.of_line(entry.entry_id, rule="practice", what=what, mend=f"{mend} --killed-pct")


def numbers(facts: Facts) -> Iterator[Fault]:
    """Yield lines that say what cannot be."""
    for entry in facts.entries:
        for one, value in faults(entry, Entry):
            yield facts.of_line(
                entry.entry_id,
                rule="number",
                what=one.broken(value),
                mend="correct it with `habmap correct`",
            )


def reported(facts: Facts) -> Iterator[Fault]:
    """Yield lines whose reported acres are far from their ground, and nobody confirmed them."""
    for entry in facts.entries:
        patch = facts.patches.get(entry.entry_id)
        question = None if patch is None or entry.is_sure else reported_question(entry, measures.acres(patch.area))
        if question is not None:
            yield facts.of_line(
                entry.entry_id,
                rule="reported",
                what=f"{question}; nobody confirmed it",
                mend="correct the figure or the ground with `habmap correct`, or confirm the figure: "
                f"`habmap correct {facts.numbers[entry.entry_id]} --reported-acres {entry.reported_acres:g} --yes "
                "--why T`",
            )


def corrections(facts: Facts) -> Iterator[Fault]:
    """Yield corrections that contradict each other."""
    for conflict in conflicts(facts.rows):
        yield facts.of_line(
            conflict.entry_id,
            rule="correction",
            what=conflict.words,
            mend="look at it with `habmap history` and settle it with `habmap correct` or `habmap void`",
        )


def patches(facts: Facts) -> Iterator[Fault]:
    """Yield lines whose ground is unusable or lies outside every unit that ever was."""
    sound = [shape for shape in facts.every_shape if shape.is_valid]
    tree = shapely.STRtree(sound)
    for entry in facts.entries:
        shape = facts.patches.get(entry.entry_id)
        if shape is None or shape.is_empty or not shape.is_valid:
            yield facts.of_line(
                entry.entry_id,
                rule="patch",
                what="its ground is missing or crosses itself",
                mend="give the right ground with `habmap correct --patch`",
            )
        elif not any(shapely.intersection(sound[i], shape).area > 0 for i in tree.query(shape)):
            yield facts.of_line(
                entry.entry_id,
                rule="patch",
                what=f"all {measures.acres(shape.area):,.2f} acres of it lie outside every unit",
                mend="load the unit it belongs to, or correct the ground with `habmap correct --patch`",
            )


def kept_ground(facts: Facts) -> Iterator[Fault]:
    """Yield work on ground that was left on purpose."""
    kept: BaseGeometry = MultiPolygon()
    for entry in facts.entries:  # in the order of work, keep before all else of its day
        patch = facts.patches.get(entry.entry_id)
        if patch is None or not patch.is_valid:
            continue
        if entry.practice == "keep":
            kept = kept.union(patch)
        elif entry.practice in WORKS:
            for shared in overlaps([kept, patch]):
                kept_acres = measures.acres(shared.area_m2)
                yield facts.of_line(
                    entry.entry_id,
                    rule="keep",
                    what=f"`{entry.practice}` on {entry.date} covers {kept_acres:,.2f} acres left on purpose",
                    mend="void the keep if it no longer holds, or correct the ground of the work",
                )


def dates(facts: Facts) -> Iterator[Fault]:
    """Yield lines dated after today."""
    for entry in facts.entries:
        if entry.date > facts.today:
            yield facts.of_line(
                entry.entry_id,
                rule="date",
                what=f"{entry.date} is after today, {facts.today}",
                mend="correct it with `habmap correct --date`",
            )
