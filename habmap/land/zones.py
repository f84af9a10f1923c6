"""Terrain figures of polygons, as sums over exact cell shares that can be added piece by piece."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray

from habmap.land.facerules import SLOPE_CLASS_PCT, FaceRules
from habmap.land.pieces import PLAIN_SUMS, PieceSums
from habmap.land.terrain import Floats, GroundSteps

Ints = NDArray[np.int64]

#: Outlines whose slope classes are gone through at once: few enough to stay near the processor.
_AT_ONCE: Final = 512
_FLAT_CUT, _SUN_CUT, _HAND_CUT = (PLAIN_SUMS.index(name) for name in ("flat_cut_m2", "sun_cut_m2", "hand_cut_m2"))
#: Widest span of classes that is laid out whole where pieces are added by machine code.
_WIDE_CLASSES: Final = 100_000


def _one_by_one(work: Callable[[int], None], numbers: Sequence[int]) -> None:
    for number in numbers:
        work(number)


class ZoneSums(ABC):
    """Sums over the ground of many outlines, one row each; slope classes of pieces may still be apart.

    Attributes
    ----------
    plain
        Shape ``(outlines, len(PLAIN_SUMS))``. In order: ground with a valid gradient [m²]; Σ area × slope [° m²];
        Σ area × gradient toward east, toward north, and its length [m²]; Σ area × heat load, and the ground for which
        its equation holds [m²]; flat and flat sun-facing ground, and hand-only ground, of the one slope class that the
        limit cuts in two [m²].
    """

    __slots__ = ()
    plain: Floats

    @abstractmethod
    def part(self, first: int, end: int) -> ZoneSums:
        """Return some rows."""

    @abstractmethod
    def table(self) -> ZoneTable:
        """Return all of it put together."""

    def __len__(self) -> int:
        return len(self.plain)

    def sums(self, name: str) -> Floats:
        """Return one of the `PLAIN_SUMS` of each outline."""
        return self.plain[:, PLAIN_SUMS.index(name)]

    def by_slope(self, rules: FaceRules) -> tuple[Floats, ...]:
        """Return the slope that 90% of the ground does not exceed [%], and all, flat, sun-facing, hand-only ground."""
        found = np.empty((5, len(self)))

        def fill(first: int) -> None:
            end = min(first + _AT_ONCE, len(self))
            found[:, first:end] = self.part(first, end).table().of_few_classes(rules)

        self._do_each(fill, range(0, len(self), _AT_ONCE))
        return tuple(found)

    def _do_each(self, work: Callable[[int], None], numbers: Sequence[int]) -> None:
        _one_by_one(work, numbers)


@dataclass(frozen=True, slots=True)
class ZoneTable(ZoneSums):
    """Sums with each outline's slope classes added up.

    Attributes
    ----------
    plain
        As `ZoneSums` has it.
    class_ends
        Where each outline's slope classes end, a 0 in front.
    classes
        Slope classes of 0.1% that occur (class ``k`` is ``k/10`` to ``(k+1)/10`` %), ascending within an outline.
    class_m2
        Of each class its ground, its sun-facing ground, and its ground at its own lower limit exactly,
        shape ``(classes, 3)`` [m²].
    """

    plain: Floats
    class_ends: Ints
    classes: Ints
    class_m2: Floats

    def part(self, first: int, end: int) -> ZoneTable:
        """Return some rows."""
        begin, finish = int(self.class_ends[first]), int(self.class_ends[end])
        return ZoneTable(
            self.plain[first:end],
            self.class_ends[first : end + 1] - begin,
            self.classes[begin:finish],
            self.class_m2[begin:finish],
        )

    def table(self) -> ZoneTable:
        """Return itself."""
        return self

    def of_few_classes(self, rules: FaceRules) -> tuple[Floats, ...]:
        """Return what `by_slope` does, of so few outlines that their classes stay near the processor."""
        ground, sun, at_limit = self.class_m2.T
        has_any = np.diff(self.class_ends) > 0
        starts, ends = self.class_ends[:-1][has_any], self.class_ends[1:][has_any]
        flat, hand = rules.flat_limit, rules.hand_limit

        def total(parts: Floats) -> Floats:
            # Each outline's classes by themselves: a sum does not depend on what lies beside it.
            found = np.zeros(len(self))
            found[has_any] = np.add.reduceat(parts, starts) if len(starts) else 0.0
            return found

        ground_m2 = total(ground)
        p90 = np.full(len(self), np.nan)
        p90[has_any] = _with_tenth_above(self.classes, ground, ends, 0.1 * ground_m2[has_any])
        is_flat = self.classes < flat.whole_classes
        flat_m2 = total(np.where(is_flat, ground, 0.0)) + self.plain[:, _FLAT_CUT]
        sun_m2 = total(np.where(is_flat, 0.0, sun)) - self.plain[:, _SUN_CUT]
        if hand.cut_class >= 0:
            hand_m2 = total(np.where(self.classes > hand.cut_class, ground, 0.0)) + self.plain[:, _HAND_CUT]
        else:  # ground of the limit itself is not hand-only
            hand_m2 = total(
                np.where(self.classes >= hand.whole_classes, ground, 0.0)
                - np.where(self.classes == hand.whole_classes, at_limit, 0.0)
            )
        return p90, ground_m2, flat_m2, sun_m2, hand_m2


DoEach: TypeAlias = Callable[[Callable[[int], None], Sequence[int]], None]


class AddClasses(Protocol):
    """Adds up pieces' slope classes, outline by outline: how many each has, which, and their ground."""

    def __call__(self, by_owner: Ints, low: Ints, high: Ints) -> tuple[Ints, Ints, Floats]:
        """Add those of the outlines whose pieces begin and end so in the order, with their lowest and highest class."""


@dataclass(frozen=True, slots=True)
class ZonePieces(ZoneSums):
    """Sums of outlines whose pieces' slope classes are added up where they are asked for, some rows at a time.

    Attributes
    ----------
    plain
        As `ZoneSums` has it.
    by_owner
        Where each outline's pieces end among all that are known to `add`, the first one's beginning in front.
    low, high
        Lowest and highest slope class of each outline; 0 and −1 where it has none.
    add
        Adds up the classes.
    do_each
        Does work for each number, on several threads or one.
    """

    plain: Floats
    by_owner: Ints
    low: Ints
    high: Ints
    add: AddClasses
    do_each: DoEach

    @classmethod
    def of(
        cls,
        pieces: Iterable[tuple[Ints, PieceSums]],
        *,
        count: int,
        adding: Callable[..., AddClasses] | None = None,
        do_each: DoEach = _one_by_one,
    ) -> ZonePieces:
        """Gather pieces.

        Parameters
        ----------
        pieces
            Their outlines' numbers, and their sums, in the order in which they are to be added.
        count
            How many outlines there are.
        adding
            Makes a quicker way to add up slope classes: `habmap.land.fused.FusedSums.adding`.
        do_each
            Does work for each number.
        """
        owners, sums = zip(*pieces, strict=True) if (pieces := list(pieces)) else ((), ())
        owner = np.concatenate([np.empty(0, dtype=np.int64), *owners])
        plain_of = np.concatenate([np.empty((0, len(PLAIN_SUMS))), *(part.plain for part in sums)])
        lengths = np.concatenate([np.empty(0, dtype=np.int64), *(part.class_counts for part in sums)])
        # within its part, and first and last of its classes
        starts = np.concatenate([np.empty(0, dtype=np.int64), *(_starts(part.class_counts) for part in sums)])
        firsts = np.concatenate([np.empty(0, dtype=np.int64), *(_ends_of(part, last=False) for part in sums)])
        lasts = np.concatenate([np.empty(0, dtype=np.int64), *(_ends_of(part, last=True) for part in sums)])
        order = np.argsort(owner, kind="stable")
        by_owner = np.searchsorted(owner[order], np.arange(count + 1))

        plain = np.zeros((count, len(PLAIN_SUMS)))
        for column in range(len(PLAIN_SUMS)):
            plain[:, column] = np.bincount(owner, weights=plain_of[:, column], minlength=count)
        has_any = lengths > 0
        low, high = np.full(count, np.iinfo(np.int64).max), np.full(count, -1)
        np.minimum.at(low, owner[has_any], firsts[has_any])
        np.maximum.at(high, owner, lasts)
        low = np.where(high < 0, 0, low)
        if adding is None or (high - low).max(initial=0) >= _WIDE_CLASSES:
            adding = _adding
        return cls(plain, by_owner, low, high, adding(sums, starts, lengths, order), do_each)

    def part(self, first: int, end: int) -> ZonePieces:
        """Return some rows."""
        own = slice(first, end)
        return ZonePieces(
            self.plain[own], self.by_owner[first : end + 1], self.low[own], self.high[own], self.add, self.do_each
        )

    def _do_each(self, work: Callable[[int], None], numbers: Sequence[int]) -> None:
        self.do_each(work, numbers)

    def table(self) -> ZoneTable:
        """Return it with all slope classes added up."""
        counts, classes, class_m2 = self.add(self.by_owner, self.low, self.high)
        return ZoneTable(self.plain, np.concatenate([[0], np.cumsum(counts)]), classes, class_m2)


def _with_tenth_above(classes: Ints, ground: Floats, ends: Ints, above_m2: Floats) -> Floats:
    """Return the slope above which each outline has so much ground [%], from its steepest class downward."""
    at, rest = ends - 1, above_m2.copy()
    going = np.arange(len(at))
    while len(going := going[rest[going] > ground[at[going]]]):
        rest[going] -= ground[at[going]]
        at[going] -= 1
    return np.asarray((classes[at] + (1.0 - rest / ground[at])) * SLOPE_CLASS_PCT)


def _starts(counts: Ints) -> Ints:
    """Return where each of things begins that lie one after another."""
    return np.asarray(np.cumsum(counts) - counts, dtype=np.int64)


def _ends_of(part: PieceSums, *, last: bool) -> Ints:
    """Return the first or the last class of each piece; -1 where it has none."""
    found = np.full(len(part.class_counts), -1, dtype=np.int64)
    has_any = part.class_counts > 0
    at = _starts(part.class_counts) + (part.class_counts - 1 if last else 0)
    found[has_any] = part.classes[at[has_any]]
    return found


def _adding(sums: Sequence[PieceSums], starts: Ints, lengths: Ints, order: Ints) -> AddClasses:
    """Return what adds up slope classes of pieces, in plain steps."""
    part = np.repeat(np.arange(len(sums)), [len(one.class_counts) for one in sums])

    def add(by_owner: Ints, low: Ints, high: Ints) -> tuple[Ints, Ints, Floats]:
        counts = np.zeros(len(low), dtype=np.int64)
        found = []
        for zone in np.flatnonzero(np.diff(by_owner)):
            own = [
                (sums[part[at]].classes[reach], sums[part[at]].class_m2[reach])
                for at in order[by_owner[zone] : by_owner[zone + 1]]
                for reach in [slice(starts[at], starts[at] + lengths[at])]
            ]
            keys = np.unique(np.concatenate([classes for classes, _ in own]))
            areas = np.zeros((len(keys), 3))
            for classes, class_m2 in own:
                areas[np.searchsorted(keys, classes)] += class_m2  # no class stands twice in a piece
            is_there = areas[:, 0] > 0
            counts[zone] = is_there.sum()
            found.append((keys[is_there], areas[is_there]))
        keys = np.concatenate([np.empty(0, dtype=np.int64), *(of_zone for of_zone, _ in found)])
        return counts, keys, np.concatenate([np.empty((0, 3)), *(areas for _, areas in found)])

    return add


@dataclass(frozen=True, slots=True, kw_only=True)
class GradientTile:
    """A rectangle of analysis cells with its ground gradient.

    Attributes
    ----------
    first_row, first_col
        Place of the rectangle in the raster's grid of analysis cells.
    east, north
        Ground gradient [m/m], shape ``(rows, cols)``, NaN where not valid.
    steps
        Ground steps of an analysis cell.
    lat_deg, lat_per_row_deg, lat_per_col_deg
        Latitude of the middle of the rectangle's first cell, and its change per step [°].
    """

    first_row: int
    first_col: int
    east: Floats
    north: Floats
    steps: GroundSteps
    lat_deg: float
    lat_per_row_deg: float
    lat_per_col_deg: float
