"""What words a map sets on a piece of ground: a name in one to three lines, the newest work where it is the newest."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from habmap.land.grid import wkbs
from habmap.memory import remembered
from habmap.show import words
from habmap.show.records import PageWork
from habmap.vocabulary import PRACTICE_WORDS

_MOST_LINES: Final = 3


@dataclass(frozen=True, slots=True)
class WorkedGround:
    """Where a line of the log is the newest word on its ground.

    Attributes
    ----------
    newest
        Its ground (lon/lat) without that of all newer work; may be empty.
    until
        Index of the first later work on that ground; ``None`` where there is none.
    """

    newest: BaseGeometry
    until: int | None


def newest_work(work: Sequence[PageWork]) -> list[WorkedGround]:
    """Return for each line of the log, in the order given, where it is the newest; of one day, the later one counts."""
    shapes = np.array([_valid(wkb) for wkb in wkbs(one.geometry for one in work)], dtype=object)
    keys = wkbs(shapes)
    rank = {index: place for place, index in enumerate(sorted(range(len(work)), key=lambda k: (work[k].entry.date, k)))}
    tree = shapely.STRtree(shapes)
    found = []
    meeting = tree.query(shapes, "intersects")
    met: defaultdict[int, list[int]] = defaultdict(list)
    for index, other in meeting[:, ~shapely.touches(*shapes[meeting])].T.tolist():
        met[index].append(other)
    for index, shape in enumerate(shapes):
        later = sorted(other for other in met[index] if rank[other] > rank[index])
        left = _without(keys[index], tuple(keys[k] for k in later)) if later else shape
        found.append(WorkedGround(left, min(later, key=rank.__getitem__, default=None)))
    return found


@remembered
def _valid(wkb: bytes) -> BaseGeometry:
    return shapely.make_valid(shapely.from_wkb(wkb))


@remembered
def _without(shape: bytes, later: tuple[bytes, ...]) -> BaseGeometry:
    return shapely.difference(shapely.from_wkb(shape), shapely.union_all(shapely.from_wkb(later)))


def work_lines(work: PageWork) -> list[list[str]]:
    """Return the ways to say on the ground what was done and when, best first."""
    did, day = PRACTICE_WORDS[work.entry.practice], words.short_day(work.entry.date)
    return [[did, day], [f"{did} {day}"], [did, day[:3], str(work.entry.date.year)]]


def name_lines(name: str) -> list[list[str]]:
    """Return the ways to set a name in one, two and three lines, each with its longest line as short as it can be."""
    parts = name.split()
    ways = [[" ".join(parts)]]
    for count in range(2, min(_MOST_LINES, len(parts)) + 1):
        ways.append(_broken(parts, count))
    return ways


def _broken(parts: list[str], count: int) -> list[str]:
    """Break words into so many lines, the longest line as short as can be: the least width that fits them."""
    low, high = max(map(len, parts)), len(" ".join(parts))
    best = _filled(parts, high)
    while low <= high:
        width = (low + high) // 2
        lines = _filled(parts, width)
        if len(lines) <= count:
            best, high = lines, width - 1
        else:
            low = width + 1
    return best


def _filled(parts: list[str], width: int) -> list[str]:
    lines = [""]
    for part in parts:
        if lines[-1] and len(lines[-1]) + 1 + len(part) > width:
            lines.append(part)
        else:
            lines[-1] = f"{lines[-1]} {part}".strip()
    return lines
