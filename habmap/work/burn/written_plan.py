"""The written plan of a burn: which kind the ground asks for, its limits by unit, and the weather beside them.

Items are compared one by one, and nothing is concluded from them.
"""

from __future__ import annotations

import datetime as dt
import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final, Literal, Protocol

from habmap.measures import significant

PlanKind = Literal["grass", "down_cedar", "piles"]
Comparison = Literal["not met", "not given", "within", "no plan"]

#: What a plan may limit, in the order people read weather, with words and unit.
ITEMS: Final = {
    "temp_f": ("temperature", "°F"),
    "rh_pct": ("relative humidity", "%"),
    "wind_mph": ("wind", "mph"),
    "wind_from_deg": ("wind from", "°"),
    "gust_mph": ("gusts", "mph"),
    "fine_fuel_pct": ("fine dead fuel moisture, driest ground", "%"),
    "days_since_rain": ("days since rain", ""),
    "mixing_height_ft": ("mixing height", "ft"),
    "transport_wind_mph": ("transport wind", "mph"),
}
PLAN_KIND_WORDS: Final[dict[PlanKind, str]] = {
    "grass": "grass", "down_cedar": "down cedar", "piles": "piles",
}  # fmt: skip
_ORDER: Final[tuple[Comparison, ...]] = ("not met", "not given", "within", "no plan")


def short_name(item: str) -> str:
    """Return an item's name without what it is of."""
    return ITEMS[item][0].partition(",")[0]


#: What no figure here can know, said with every burn output.
NOT_CHECKED: Final = (
    "burn bans, red flag warnings and drought that day",
    "permits, smoke or air approval where it is required, and the law where the burn is",
    "whether the burn boss is qualified as the state, the insurer or the employer requires",
    "notices to neighbors, the fire department and dispatch",
    "crew, equipment, water, escape routes, contingency, and the nearest hospital and EMS",
    "the spot weather forecast, and the weather on site",
)


#: Words that hold a name's place: a line made of these alone names nobody (our own list, no source).
_PLACEHOLDERS: Final = """
    a an and author authors be blank boss burn by changeme date determined enter example field fill first fixme foo bar
    from full given here his her in initials insert is it its last lorem ipsum manager me myself n na name names nobody
    none no not null of or owner person placeholder plan planner please preparer prepared prescribed put sample sign
    signature signed signer someone somebody steward surname tba tbd test text the their this to todo type unknown
    unsigned who whoever whom whose wrote written writer write yet you your yours
"""
_NOBODY: Final = frozenset(_PLACEHOLDERS.split())


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanSigned:
    """Who signed the limits that some units were compared with, and when."""

    author: str
    date: dt.date
    unit_ids: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanInfo:
    """The written plan that was compared with; without author and date there is none in force here.

    Attributes
    ----------
    author, date
        Of the plan itself, else of the one unit's plan that there is.
    """

    kind: PlanKind
    author: str | None
    date: dt.date | None


def author_of(text: str | None) -> str | None:
    """Return who signed a plan; ``None`` where a text names nobody: blanks, dots, dashes, words that hold its place.

    Examples
    --------
    >>> author_of(" P. Writer "), author_of("who wrote and signed the plan"), author_of("…"), author_of("<your name>")
    ('P. Writer', None, None, None)
    """
    words = re.findall(r"[^\W\d_]+", (text or "").casefold())
    # "xxx" and a lone letter are no name; an initial beside another word may be.
    names = {word for word in words if word not in _NOBODY and (len(set(word)) > 1 or len(word) == 1)}
    is_named = any(len(word) > 1 for word in names) or bool(names and len(set(words)) > 1)
    return (text or "").strip() if is_named else None


class PlanSaid(Protocol):
    """What a written plan says: ``[low, high]`` by item of `ITEMS` (``None`` = no limit), who signed it and when."""

    @property
    def author(self) -> str | None: ...
    @property
    def date(self) -> dt.date | None: ...
    @property
    def wind_height(self) -> str | None: ...


class WrittenPlan(PlanSaid, Protocol):
    """One written plan; ``unit`` holds what it says otherwise for single units, by ``unit_id``."""

    @property
    def unit(self) -> Mapping[str, PlanSaid]: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """Limits of one written plan for some of the units; ``limits`` hold (low, high) by item.

    Attributes
    ----------
    author, written_on
        Without both there is no plan, and no comparison.
    wind_height
        Where the plan means its wind; ``None`` = it does not say.
    unit_ids
        Units that these limits are for.
    not_comparable
        Items that this weather cannot be held against: a wind measured at another height than the plan's.
    """

    unit_ids: tuple[str, ...]
    limits: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    author: str | None = None
    written_on: dt.date | None = None
    wind_height: str | None = None
    not_comparable: frozenset[str] = frozenset()

    @property
    def is_plan(self) -> bool:
        """Whether somebody signed and dated it."""
        return author_of(self.author) is not None and self.written_on is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """One item of the weather beside the plan's limits.

    Attributes
    ----------
    distance
        How far outside the limit the value lies for ``not met``, how far inside the nearer one for ``within``, in the
        item's unit; ``None`` where nothing was compared.
    unit_ids
        Units whose plan it is.
    """

    item: str
    value: float | None
    low: float | None
    high: float | None
    comparison: Comparison
    distance: float | None
    unit_ids: tuple[str, ...]


def compare(values: Mapping[str, float | None], windows: Sequence[Window]) -> tuple[Compared, ...]:
    """Compare weather with one or several plans: not met first, then not given, then within.

    Parameters
    ----------
    values
        By item of `ITEMS`; ``None`` or left out = not given.
    windows
        One, or one for each group of units whose plan differs. Items that a plan does not limit are not compared (see
        `unlimited`); without author and date every item comes back as ``no plan``.
    """
    found = []
    for window in windows:
        for item in ITEMS:
            limits = window.limits.get(item)
            value = None if item in window.not_comparable else values.get(item)
            comparison: Comparison
            if not window.is_plan:
                comparison, distance = "no plan", None
            elif limits is not None:
                comparison, distance = _comparison(item, value, limits)
            else:
                continue
            low, high = limits or (None, None)
            found.append(
                Compared(
                    item=item, value=value, low=low, high=high, comparison=comparison, distance=distance,
                    unit_ids=window.unit_ids,
                )
            )  # fmt: skip
    return tuple(sorted(_joined(found), key=lambda line: _ORDER.index(line.comparison)))


def _joined(lines: Sequence[Compared]) -> list[Compared]:
    """Return lines that differ by their units only as one, with the units of all."""
    found: dict[Compared, tuple[str, ...]] = {}
    for line in lines:
        alike = replace(line, unit_ids=())
        found[alike] = (*found.get(alike, ()), *line.unit_ids)
    return [replace(line, unit_ids=unit_ids) for line, unit_ids in found.items()]


def unlimited(windows: Sequence[Window]) -> tuple[str, ...]:
    """Return the items for which some signed plan names no limit."""
    return tuple(item for item in ITEMS if any(window.is_plan and item not in window.limits for window in windows))


def beside(value: float, limits: Iterable[float | None] = ()) -> str:
    """Return a figure as people write it, with as many digits as keep it on its own side of every limit.

    Examples
    --------
    >>> beside(24.99996), beside(24.99996, [25.0, 60.0]), beside(1800)
    ('25', '24.99996', '1,800')
    """
    known = [limit for limit in limits if limit is not None]
    for digits in range(5, 16):
        shown = float(f"{value:.{digits}g}")
        if all((shown < limit, shown > limit) == (value < limit, value > limit) for limit in known):
            return f"{value:,.{digits}g}"
    return repr(value)


def distance_words(distance: float) -> str:
    """Return how far a value lies from a limit; never nothing where there is something."""
    return significant(distance, 3) if distance >= 0.001 or distance == 0 else "less than 0.001"


def turn_deg(first_deg: float, second_deg: float) -> float:
    """Return the angle between two bearings, 0–180 [°]."""
    return abs((first_deg - second_deg + 180) % 360 - 180)


def _comparison(item: str, value: float | None, limits: tuple[float, float]) -> tuple[Comparison, float | None]:
    if value is None:
        return "not given", None
    low, high = limits
    if item == "wind_from_deg":
        # [0, 360] is every direction; any other pair is the way round from low to high, through north if need be.
        is_inside = high - low >= 360 or (value - low) % 360 <= (high - low) % 360
        distance = min(turn_deg(value, low), turn_deg(value, high))
    else:
        is_inside = low <= value <= high
        distance = min(value - low, high - value) if is_inside else max(low - value, value - high)
    return ("within" if is_inside else "not met"), distance


#: Measured where the plan means its wind, or not comparable.
_AT_A_HEIGHT: Final = frozenset({"wind_mph", "gust_mph"})


def plan_windows(plan: WrittenPlan, unit_ids: Sequence[str], *, wind_height: str | None) -> tuple[Window, ...]:
    """Return a plan's limits, one window for each group of units for which they are the same.

    Parameters
    ----------
    unit_ids
        Units of the block; none: the plan itself, for a patch in no unit.
    wind_height
        Where the wind is measured that they are for, ``20ft`` or ``eye``: a wind from another height than the plan's is
        not compared. ``None`` = nobody said.
    """
    groups: list[tuple[Window, list[str]]] = []
    for unit_id in unit_ids or ("",):
        said = [plan.unit[unit_id], plan] if unit_id in plan.unit else [plan]

        def first(name: str, said: Sequence[PlanSaid] = said) -> Any:
            return next((value for one in said if (value := getattr(one, name)) is not None), None)

        meant = first("wind_height")
        window = Window(
            unit_ids=(),
            limits={item: limits for item in ITEMS if (limits := first(item)) is not None},
            author=first("author"),
            written_on=first("date"),
            wind_height=meant,
            not_comparable=_AT_A_HEIGHT if None not in (meant, wind_height) and meant != wind_height else frozenset(),
        )
        alike = next((ids for one, ids in groups if one == window), None)
        if alike is None:
            alike = []
            groups.append((window, alike))
        alike += [unit_id] if unit_id else []
    return tuple(replace(window, unit_ids=tuple(ids)) for window, ids in groups)


def plans_signed(windows: Sequence[Window]) -> tuple[PlanSigned, ...]:
    """Return all that were compared with; units that are in none have no plan in force."""
    units: defaultdict[tuple[str, dt.date], list[str]] = defaultdict(list)
    for window in windows:
        if window.is_plan and window.author is not None and window.written_on is not None:
            units[window.author.strip(), window.written_on] += window.unit_ids
    return tuple(PlanSigned(author=who, date=day, unit_ids=tuple(ids)) for (who, day), ids in units.items())


def plan_info(plan: WrittenPlan, kind: PlanKind, signed: Sequence[PlanSigned]) -> PlanInfo:
    """Return the plan's own author and date, else those of the only one that was signed for these units."""
    author, date = (plan.author or "").strip() or None, plan.date
    if (author is None or date is None) and len(signed) == 1:
        author, date = signed[0].author, signed[0].date
    return PlanInfo(kind=kind, author=author, date=date)


def unsaid_words(windows: Sequence[Window]) -> tuple[str, ...]:
    """Say what a signed plan leaves unsaid: at what height it means the wind that it limits, and its other limits."""
    if not any(one.is_plan for one in windows):
        return ("the written burn plan: nothing was compared with it",)
    words: tuple[str, ...] = ("the written burn plan itself: only the limits copied into habmap.toml were compared",)
    if any(one.is_plan and one.wind_height is None and _AT_A_HEIGHT & set(one.limits) for one in windows):
        words += ("at what height the plan means its wind",)
    items = unlimited_words(windows)
    return (*words, *((f"what the plan sets no limit for: {', '.join(items)}",) if items else ()))


def unlimited_words(windows: Sequence[Window]) -> tuple[str, ...]:
    """Name what some signed plan sets no limit for."""
    return tuple(ITEMS[item][0] for item in unlimited(windows))
