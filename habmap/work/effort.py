"""Hours and money per acre from the place's own log: what its lines took on ground brought to target, and the rest."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product
from typing import Any, Final, Literal

from shapely import MultiPolygon

from habmap.errors import InputError
from habmap.land.grid import LocalGrid
from habmap.land.ratio import ratio_of_totals, t_limits
from habmap.measures import acres
from habmap.memory import remembered
from habmap.records import Entry
from habmap.vocabulary import FIRE, KILLING
from habmap.work.density_records import UnitDensity
from habmap.work.ground import CutUnit, Ground, GroundPiece
from habmap.work.priority import DenseLimits, is_dense_stand

#: Published figures, shown only as context (Ortmann et al. 1998, J. Range Manage. 51:158-163, abstract read): minutes
#: and dollars per hectare turned into hours and dollars per acre.
PUBLISHED_CONTEXT: Final = (
    "Published, as context only: cutting redcedar on rangeland in central Nebraska in 1993-94 took 362 minutes a "
    "hectare (2.44 hours an acre) and cost 62.92 dollars a hectare (25.46 an acre, dollars of then); after a burn 184 "
    "minutes (1.24 hours an acre) and 39.26 dollars (15.89 an acre). Ortmann and others 1998; the abstract does not "
    "say how many stems stood there. Your ground and your trees differ."
)

#: Fewer log lines than this in a class of ground say nothing of how it differs.
ENOUGH_LINES: Final = 3
#: Fewer log lines than this tell too little to say in words how far off a figure may be (common practice, no source).
TOO_FEW_LINES: Final = 5
TOO_FEW_WORDS: Final = "too few days logged to tell how far off"
DENSITY_CLASSES: Final = ("dense", "open")
SLOPE_CLASSES: Final = ("steep", "gentle")
#: What ground is split by, the finest first: the first in which every class has enough lines is used.
_SPLITS: Final = (("density", "slope"), ("density",), ("slope",))
_CLASSES: Final = {"density": DENSITY_CLASSES, "slope": SLOPE_CLASSES}


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """Ground that one line of the log brought to its target, and what that took in all its passes.

    Attributes
    ----------
    acres, spent
        The ground [acre], and person-hours or money.
    line
        ``entry_id`` of the line; what one line took on several units is one sample of a rate.
    density, slope
        One of ``DENSITY_CLASSES`` and of ``SLOPE_CLASSES``; ``None`` = not known.
    """

    acres: float
    spent: float
    line: str = ""
    density: str | None = None
    slope: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """What an acre takes, with 95% limits; limits ``None`` where the log is too short.

    ``rests_on`` says in words how many lines it comes from, or that it is an assumption.
    """

    per_acre: float
    low: float | None
    high: float | None
    samples: int
    rests_on: str


def rate(samples: Sequence[Sample]) -> Rate | None:
    """Return spent per acre as the ratio of totals with Student's t limits, never below 0; ``None`` without acres."""
    total_acres = sum(sample.acres for sample in samples)
    if total_acres <= 0:
        return None
    ratio = ratio_of_totals([sample.spent for sample in samples], [sample.acres for sample in samples])
    if ratio.se is None:
        return Rate(per_acre=ratio.value, low=None, high=None, samples=1, rests_on="one line of your own log")
    low, high = t_limits(ratio.value, ratio.se, ratio.pairs - 1)
    return Rate(
        per_acre=ratio.value,
        low=low,
        high=high,
        samples=ratio.pairs,
        rests_on=f"{ratio.pairs} lines of your own log",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """What an acre takes over all ground, and by classes of ground where the log has enough lines in each of them.

    ``split_by`` names what ``classes`` tells apart: ``density``, ``slope``, both or nothing.
    """

    overall: Rate | None
    split_by: tuple[str, ...] = ()
    classes: Mapping[tuple[str | None, ...], Rate] = field(default_factory=dict)

    def of(self, *, density: str | None = None, slope: str | None = None) -> Rate | None:
        """Return the rate of a class of ground, the overall one where its class is not known."""
        known = {"density": density, "slope": slope}
        return self.classes.get(tuple(known[one] for one in self.split_by), self.overall)

    def class_of(self, name: str, key: tuple[str | None, ...]) -> str | None:
        """Return the class of a key of ``classes`` by what it is split by; ``None`` where it is not."""
        return dict(zip(self.split_by, key, strict=True)).get(name)

    def lines_of(self, *, density: str | None = None) -> int:
        """Return on how many lines of the log the figures of a density class rest, by the class that has fewest."""
        own = [rate for key, rate in self.classes.items() if self.split_by[0] != "density" or key[0] == density]
        return min((rate.samples for rate in own), default=self.overall.samples if self.overall else 0)

    @property
    def split_words(self) -> str:
        """What is told apart, in words."""
        if not self.split_by:
            return "one rate for all ground"
        return " and ".join(f"{' and '.join(_CLASSES[one])} ground apart" for one in self.split_by)


def rates(samples: Sequence[Sample]) -> Rates:
    """Return rates from samples: overall, and by the finest split in which every class has enough lines."""
    overall = rate(_by_line(samples))
    for split_by in _SPLITS:
        classes = {
            key: _by_line([one for one in samples if tuple(getattr(one, name) for name in split_by) == key])
            for key in product(*(_CLASSES[name] for name in split_by))
        }
        if all(len(some) >= ENOUGH_LINES for some in classes.values()):
            found: dict[tuple[str | None, ...], Rate] = {
                key: own for key, some in classes.items() if (own := rate(some)) is not None
            }
            return Rates(overall=overall, split_by=split_by, classes=found)
    return Rates(overall=overall)


def _by_line(samples: Sequence[Sample]) -> list[Sample]:
    lines: dict[str, list[Sample]] = {}
    for number, one in enumerate(samples):
        lines.setdefault(one.line or str(number), []).append(one)
    return [
        Sample(acres=sum(one.acres for one in some), spent=sum(one.spent for one in some)) for some in lines.values()
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """What remains, low to high; ``None`` where no rate is known."""

    low: float | None
    middle: float | None
    high: float | None

    @classmethod
    def of(cls, record: object, name: str) -> Left:
        """Return three fields of a record as they are called by `fields`."""
        low, middle, high = (getattr(record, one) for one in (f"{name}_low", name, f"{name}_high"))
        return cls(low=low, middle=middle, high=high)

    def each(self, turned: Callable[[float], float]) -> Left:
        """Return all three turned; what is not known stays so."""
        low, middle, high = (None if one is None else turned(one) for one in (self.low, self.middle, self.high))
        return Left(low=low, middle=middle, high=high)

    def fields(self, name: str) -> dict[str, Any]:
        """Return the three as fields of a record: ``<name>_low``, ``<name>`` and ``<name>_high``."""
        return {f"{name}_low": self.low, name: self.middle, f"{name}_high": self.high}


def per_acre(own: Rate | None) -> Left:
    """Return what one acre takes."""
    if own is None:
        return Left(low=None, middle=None, high=None)
    return Left(low=own.low, middle=own.per_acre, high=own.high)


def left(acres: float, rate_per_acre: Rate | None) -> Left:
    """Return acres times a rate, with its limits."""
    return per_acre(rate_per_acre).each(lambda one: acres * one)


def no_rate(where: str) -> InputError:
    """Return the fault of hours that nothing is known of."""
    return InputError(
        "nothing says how many hours an acre takes",
        where=where,
        mend="log work with --person-hours, or write rates.cut under [effort] in habmap.toml",
    )


def left_on(acres: float, *, density: str | None, steep_frac: float | None, by: Rates) -> Left:
    """Return what ground of one density class takes, its steep and gentle shares each at their own rate where known.

    Parameters
    ----------
    steep_frac
        Share of the ground that is steep, 0–1; ``None`` = not known.
    """
    if "slope" not in by.split_by or steep_frac is None:
        return left(acres, by.of(density=density))
    return together(
        [
            left(acres * steep_frac, by.of(density=density, slope="steep")),
            left(acres * (1 - steep_frac), by.of(density=density, slope="gentle")),
        ]
    )


def assumed(per_acre: float) -> Rate:
    """Return a rate taken from ``habmap.toml``, marked as an assumption."""
    return Rate(per_acre=per_acre, low=None, high=None, samples=0, rests_on="an assumption in habmap.toml")


def together(parts: Sequence[Left]) -> Left:
    """Add what remains on several grounds; a limit that one of them lacks, the sum lacks.

    Limits are added as they are: wider than they need be where the rates are independent of one another.
    """
    return Left(
        low=total_known([part.low for part in parts]),
        middle=total_known([part.middle for part in parts]),
        high=total_known([part.high for part in parts]),
    )


def total_known(values: Sequence[float | None]) -> float | None:
    """Add values up; ``None`` where some are not known."""
    known = [value for value in values if value is not None]
    return sum(known) if len(known) == len(values) else None


def in_days(hours: Left, *, hours_per_day: float) -> Left:
    """Turn hours left into working days left."""
    return hours.each(lambda one: one / hours_per_day)


def slope_class(slope_mean_pct: float, *, machine_limit_pct: float) -> str:
    """Return ``steep`` above the machine limit, else ``gentle``."""
    return "steep" if slope_mean_pct > machine_limit_pct else "gentle"


#: Practices that clear standing cedars; their hours say what the rest will take. Fires are told beside them.
CLEARING: Final = KILLING - FIRE
#: What a line says that it took.
Spent = Literal["person_hours", "cost"]


def samples(
    state: Ground,
    spent: Spent,
    *,
    density: Mapping[str, str | None],
    slope: Mapping[str, str],
) -> list[Sample]:
    """Return one sample for each line that brought ground to its target, and each unit in which it did.

    Parameters
    ----------
    spent
        Which of what a line says that it took.
    density, slope
        Density class by ``unit_id``, slope class by ``entry_id``.

    Notes
    -----
    A line's hours are shared out by acres. Ground takes its share of every clearing pass up to the one that brought it
    to its target. Left out are ground on which one of these does not say its hours, ground below target, ground that a
    fire brought there, and work on ground that was there already.
    """
    if state.grid is None:
        return []
    return [
        Sample(acres=size, spent=took, line=line, density=density.get(unit.unit_id), slope=slope.get(line))
        for unit, cut in zip(state.units, state.by_unit, strict=True)
        for line, size, took in _of_unit(cut, spent, state.grid)
    ]


@remembered
def _of_unit(cut: CutUnit, spent: Spent, grid: LocalGrid) -> tuple[tuple[str, float, float], ...]:
    """Return of one unit the lines that brought ground to its target, with the acres and what these took."""
    by_id = {line.entry_id: line for line in cut.lines}
    if all(getattr(line, spent) is None for line in cut.lines):
        return ()
    found: defaultdict[str, list[tuple[float, float]]] = defaultdict(list)
    for piece in cut.pieces:
        first = piece.state.brought_to_target
        if first is None or first.practice not in CLEARING:
            continue
        shares = [
            None
            if entry.patch is None or (took := getattr(entry, spent)) is None
            else took * piece.area_m2 / grid.to_grid(entry.patch).area
            for entry in _passes(piece, by_id)
        ]
        known = [share for share in shares if share is not None]
        if len(known) == len(shares):
            found[first.entry_id].append((piece.acres, sum(known)))
    return tuple(
        (entry_id, sum(size for size, _ in parts), sum(took for _, took in parts)) for entry_id, parts in found.items()
    )


def _passes(piece: GroundPiece, by_id: Mapping[str, Entry]) -> list[Entry]:
    """Return the clearing lines up to the one that brought the ground to its target; two people's one day both."""
    first = piece.state.brought_to_target
    assert first is not None
    lines = [by_id[entry_id] for entry_id in piece.entry_ids]
    last = next(index for index, entry in enumerate(lines) if entry.entry_id == first.entry_id)
    return [
        entry
        for index, entry in enumerate(lines)
        if entry.practice in CLEARING
        and (index <= last or (entry.practice, entry.date) == (first.practice, first.date))
    ]


def density_classes(
    state: Ground, stands: Mapping[str, UnitDensity], *, limits: DenseLimits
) -> tuple[dict[str, str | None], dict[str, str | None]]:
    """Return the density class of each unit when its cleared ground was cleared, and of what remains now."""

    def word(is_dense: bool | None) -> str | None:
        return {True: "dense", False: "open", None: None}[is_dense]

    then: dict[str, str | None] = {}
    for unit in state.units:
        stand = stands.get(unit.unit_id)
        known = (stand.stems_per_acre_before_work if stand else None, unit.stems_per_acre)
        stems = next((one for one in known if one is not None), stand.stems_per_acre if stand else None)
        then[unit.unit_id] = word(is_dense_stand(stems_per_acre=stems, canopy_pct=unit.canopy_pct, limits=limits))
    return then, {unit_id: word(stand.dense) for unit_id, stand in stands.items()}


def follow_up(state: Ground, practices: tuple[str, ...]) -> tuple[tuple[str, ...], float]:
    """Return which follow-up practices the log gives hours for, and those hours together."""
    lines = [entry for entry in state.entries if entry.practice in practices and entry.person_hours is not None]
    done = tuple(practice for practice in practices if any(entry.practice == practice for entry in lines))
    return done, sum(entry.person_hours or 0.0 for entry in lines)


def pass_acres(state: Ground, entry: Entry) -> float:
    """Return the ground of one line of the log [acre]."""
    return acres(state.patches[entry.entry_id].area)


def timed_patches(state: Ground) -> dict[str, MultiPolygon]:
    """Return the ground of clearing lines that say their hours or cost, by ``entry_id``, in grid meters."""
    return {
        entry.entry_id: state.patches[entry.entry_id]
        for entry in state.entries
        if entry.practice in CLEARING
        and (entry.person_hours is not None or entry.cost is not None)
        and entry.entry_id in state.patches
    }
