"""Lines of the work log: what was done, what was seen, and what was observed at a burn.

A field of these that a person fills in carries its fact (see `habmap.records.facts`), from which its option, its cell,
its range and all else follow. A field added from now on stands last, with a default.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any, Final, Literal

from habmap.records.facts import fact
from habmap.records.kept import kept
from habmap.records.weather import GUSTS, HUMIDITY, PLAN_KINDS, TEMPERATURE, WIND, WIND_FROM, WIND_HEIGHTS
from habmap.records.written import (
    BETWEEN_NOTICES,
    Notice,
    bearing_of,
    notice_of,
    notices_text,
    sprouts_of,
    sprouts_text,
)
from habmap.vocabulary import FIRE, KILLING

if TYPE_CHECKING:
    from shapely import MultiPolygon

#: A look is a line of its own.
_LOOK: Final = frozenset({"checkup"})
#: Longest id of another file that is kept [characters].
LONGEST_ID: Final = 400
#: More person-hours than this on one line of the log are taken for a slip of the pen (a crew of 40 for a month).
MAX_PERSON_HOURS: Final = 10_000.0


def _observed(words: str, **traits: Any) -> Any:
    return fact(words, practices=FIRE, **traits)


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What stood on a patch when somebody went to look; ``None`` = not looked at."""

    live_stems_per_acre: float | None = fact(
        "live cedars per acre",
        low=0,
        practices=_LOOK,
        metavar="N",
        help="live cedars per acre",
        tells="{:,.0f} live cedars per acre",
    )
    tallest_ft: float | None = fact(
        "tallest",
        unit="ft",
        low=0,
        practices=_LOOK,
        metavar="FT",
        help="the tallest live cedar",
        tells="the tallest {:g} ft",
    )
    seedlings_per_acre: float | None = fact(
        "seedlings per acre",
        low=0,
        practices=_LOOK,
        metavar="N",
        help="cedar seedlings per acre",
        tells="{:,.0f} seedlings per acre",
    )
    sprouts: tuple[tuple[str, int], ...] = fact(
        "sprouts",
        default=(),
        practices=_LOOK,
        metavar="SPECIES=N,…",
        help="sprouting hardwoods counted",
        reads=sprouts_of,
        writes=sprouts_text,
        tells="{1} {0} sprouts",
    )
    needles: Literal["green", "red", "dropped"] | None = fact(
        "needles", practices=_LOOK, help="the cut trees' needles", tells="needles {}"
    )
    fuel_lb_ac: float | None = fact(
        "grass load",
        unit="lb/ac",
        low=0,
        practices=_LOOK,
        metavar="LB",
        help="grass load, pounds per acre",
        tells="{:,.0f} lb of grass per acre",
    )
    stump_treated: bool | None = fact(
        "stump treatment", help="Whether stumps were treated", tells="stumps treated|stumps not treated"
    )  # fmt: skip


@kept("entries", "the work log: rows are added, never changed", noun="log line")
@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One row of the work log, append-only.

    Attributes
    ----------
    entry_id
        UUID of the row.
    action
        ``log`` for work; ``void`` and ``amend`` name the row they touch in ``target`` and say ``why``. An amending row
        carries the whole corrected content, not only the changed fields.
    patch
        Ground really covered, WGS 84 lon/lat. ``None`` only on a voiding row.
    unit_ids
        Units as the person named them (may be empty where the ground came from a walk or a file).
    killed_pct
        Share of the cedars alive there that morning that the work killed, 0–100; ``None`` = the practice's default.
    burned_pct
        Share of the patch's ground that the fire blackened, as the person saw it, 0–100.
    reported_acres, acres_sd
        What the person wrote; the standard deviation of a walked patch's acres.
    product, product_rate
        Spray or stump treatment as the person wrote it.
    source_id
        The line's own id in the file that it came from, where that is no UUID.
    is_sure
        Somebody confirmed ``reported_acres`` though the ground measures far from it.
    """

    entry_id: str
    recorded_at: datetime
    action: Literal["log", "void", "amend"] = "log"
    target: str | None = None
    why: str | None = fact("reason", is_private=True)
    practice: str = "other"
    date: date
    patch: MultiPolygon | None = None
    unit_ids: tuple[str, ...] = ()
    killed_pct: float | None = fact(
        "share killed",
        unit="%",
        low=0,
        high=100,
        practices=KILLING,
        is_on_sheet=True,
        metavar="P",
        help="Share of the cedars alive there that morning that was killed",
        tells="{:g}% of the cedars killed",
    )
    burned_pct: float | None = fact(
        "share burned",
        unit="%",
        low=0,
        high=100,
        practices=FIRE,
        is_on_sheet=True,
        metavar="P",
        help="Share of the ground that the fire blackened",
        tells="{:g}% of the ground burned",
    )
    person_hours: float | None = fact(
        "person-hours",
        low=0,
        high=MAX_PERSON_HOURS,
        is_private=True,
        is_on_sheet=True,
        metavar="H",
        help="Hours times people",
        tells="{:g} person-hours",
    )
    cost: float | None = fact(
        "cost",
        low=0,
        is_private=True,
        is_on_sheet=True,
        metavar="C",
        help="Money spent, in the place's currency",
        tells="cost {:,.2f}",
    )
    reported_acres: float | None = fact(
        "reported acres",
        low=0,
        is_above=True,
        is_private=True,
        is_on_sheet=True,
        metavar="A",
        help="Acres as somebody wrote them; kept beside ours",
    )
    acres_sd: float | None = fact("standard deviation of the acres", low=0, is_private=True, column="acres_sd")
    who: str | None = fact("who", is_private=True, is_on_sheet=True, metavar="W", help="Who did it")
    note: str | None = fact("note", is_private=True, is_long=True, is_on_sheet=True, metavar="T", help="Anything else")
    product: str | None = fact(
        "product",
        is_private=True,
        is_on_sheet=True,
        metavar="T",
        help="What was sprayed or put on stumps, as on the label",
    )
    product_rate: str | None = fact(
        "rate of the product",
        is_private=True,
        is_on_sheet=True,
        option="rate",
        metavar="T",
        help="Its rate, as the person wrote it",
    )
    look: Look | None = fact("look")
    source_id: str | None = fact("id in the file it came from", is_private=True, column="source_id", longest=LONGEST_ID)
    is_sure: bool = fact(
        "confirmed reported acres",
        default=False,
        is_private=True,
        is_on_sheet=True,
        column="sure",
        beside="reported_acres",
    )
    supersedes: tuple[str, ...] | None = None


@kept(
    "burns",
    "weather observed at burns, who was told before, and the plans then in force; each belongs to a row of the log",
    noun="burn record",
    is_later=True,
)
@dataclass(frozen=True, slots=True, kw_only=True)
class BurnRecord:
    """What was observed and done at a burn, beside its row of the log; ``None`` = nobody wrote it.

    Attributes
    ----------
    entry_id
        The logging or amending row that it was written with. An amending row's record carries the whole content.
    ignition
        Local civil time of day, ``HH:MM``; the day is the row's own.
    wind_height
        Where the wind was measured: ``20ft`` or ``eye``.
    plan_kind
        Which written plan: ``grass``, ``down_cedar`` or ``piles``.
    plans
        The written plans as ``habmap.toml`` had them when this was logged, as its ``[plan]`` section says them.
    """

    uuid: str
    entry_id: str
    ignition: str | None = _observed(
        "time of ignition",
        option="observed_time",
        column="observed_time",
        metavar="HH:MM",
        help="hour of ignition and of the weather",
    )
    temp_f: float | None = _observed(**TEMPERATURE, metavar="F", help="air temperature, Fahrenheit")
    rh_pct: float | None = _observed(**HUMIDITY, metavar="R", help="relative humidity, percent")
    wind_mph: float | None = _observed(**WIND, metavar="W", help="wind, miles an hour")
    wind_from_deg: float | None = _observed(
        **WIND_FROM, option="wind_from", reads=bearing_of, metavar="DEG|NNW", help="where the wind comes from"
    )
    gust_mph: float | None = _observed(**GUSTS, metavar="G", help="gusts, miles an hour")
    shade_pct: float | None = _observed("shade", unit="%", low=0, high=100, metavar="S", help="shade on the ground")
    days_since_rain: float | None = _observed(
        "days since rain", low=0, high=3_650, metavar="D", help="days since it rained"
    )
    mixing_height_ft: float | None = _observed(
        "mixing height", unit="ft", low=0, high=60_000, metavar="FT", help="mixing height, feet above ground"
    )
    transport_wind_mph: float | None = _observed(
        "transport wind", unit="mph", low=0, high=250, metavar="W", help="transport wind, miles an hour"
    )
    weather_elevation_ft: float | None = _observed(
        "weather taken at",
        unit="ft",
        low=-1_500,
        high=20_000,
        metavar="FT",
        help="height of the place of the weather",
    )
    wind_height: str | None = _observed("wind measured", choices=WIND_HEIGHTS, help="where the wind is measured")
    plan_kind: str | None = _observed("kind of plan", choices=PLAN_KINDS, help="which written plan")
    plans: dict[str, object] | None = fact("written plans", is_private=True)
    notices: tuple[Notice, ...] = _observed(
        "notices", default=(), option="told", column="told", is_private=True, metavar="WHO;WHEN;HOW",
        help="a notice given; repeat. Amending: all anew", reads=notice_of, writes=notices_text,
        between=BETWEEN_NOTICES,
    )  # fmt: skip
    recorded_at: datetime
