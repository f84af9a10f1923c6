"""The parts of a burn sheet that were compared and measured, each as a section; nothing is worked out anew here."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Final

from habmap.measures import M_PER_MILE, ft, significant, unit_behind
from habmap.show.burn.sheet import SIDE_LETTERS, Section
from habmap.show.burn.words import (
    NOT_A_GO,
    days_name,
    kept_words,
    place_words,
    signed_words,
    span_words,
    unlimited_sentence,
)
from habmap.vocabulary import FEATURE_WORDS, wind_16
from habmap.work.burn.block_edges import CEDAR_FUEL_WORDS, Edge, TurnedEdge
from habmap.work.burn.fuel import UNKNOWN
from habmap.work.burn.result import BurnsheetResult
from habmap.work.burn.surroundings import (
    COLD_AIR_NEAR_M,
    END_WORDS,
    SCREEN_WORDS,
    NearPlace,
    SmokePlace,
)
from habmap.work.burn.written_plan import ITEMS, PLAN_KIND_WORDS, Compared, beside, distance_words
from habmap.work.plan_days import ComparedDay


def hour_words(time: str) -> str:
    """Return a local time as people write it."""
    return time.replace("T", " ")


def plan_section(result: BurnsheetResult) -> Section:
    """Return the weather compared with the burn plan: not met first; or that there is none."""
    kind = PLAN_KIND_WORDS[result.plan.kind]
    given = "as logged" if result.again else "weather"
    was = "was then" if result.again and result.again.plans_kept else "is"
    lines, days = result.prescription, result.plan_days
    has_any = bool(lines or days)
    if not result.plan_signed:
        return Section(
            title=f"No written plan for {kind} in force here",
            sentences=(
                f"There {was} no written plan for {kind} with author and date in habmap.toml, so nothing is compared. "
                "The weather is only set down here.",
            ),
            header=("item", given),
            rows=tuple(
                (
                    ITEMS[line.item][0],
                    _figure(line.value, ITEMS[line.item][1]) if line.value is not None else "not given",
                )
                for line in lines
            ),
            shares=(0.65, 0.35),
        )
    return Section(
        title=f"Compared with the burn plan for {kind}",
        sentences=(
            f"Plan by {signed_words(result.plan_signed, result.units)}; limits as copied into habmap.toml. "
            + (
                "Not met first. A comparison, not a decision."
                if lines or days
                else "It sets none, so nothing is compared."
            ),
        ),
        header=("item", given, "plan", "comparison"),
        rows=(
            *(_day_row(one, result) for one in days if one.comparison == "not met"),
            *(
                (
                    ITEMS[line.item][0] + (f" ({', '.join(line.unit_ids)})" if line.unit_ids != result.units else ""),
                    "not given"
                    if line.value is None
                    else _figure(line.value, ITEMS[line.item][1], line.low, line.high),
                    _limits(line),
                    _compared_words(line),
                )
                for line in lines
            ),
            *(_day_row(one, result) for one in days if one.comparison == "within"),
        ),
        shares=(0.34, 0.15, 0.19, 0.32),
        after=(
            *((NOT_A_GO,) if has_any else ()),
            *((unlimited_sentence(result),) if lines and result.unlimited else ()),
        ),
    )


def _day_row(one: ComparedDay, result: BurnsheetResult) -> tuple[str, ...]:
    return (days_name(one, result), f"{one.day:%m-%d}", f"{one.from_day} to {one.to_day}", one.comparison)


def _figure(value: float, unit: str, *limits: float | None) -> str:
    text = beside(value, limits)
    return f"{text}{unit_behind(unit)}"


#: A limit that no weather reaches stands for none.
NO_UPPER_END: Final = 99_999.0


def _limits(line: Compared) -> str:
    if line.low is None or line.high is None:
        return "no limit"
    if line.item != "wind_from_deg" and line.high >= NO_UPPER_END:
        return f"{beside(line.low)} or more"
    return f"{beside(line.low)} to {beside(line.high)}"


def _compared_words(line: Compared) -> str:
    if line.distance is None:
        return line.comparison
    unit = ITEMS[line.item][1]
    return f"{line.comparison}, by {distance_words(line.distance)}{unit_behind(unit)}"


def moisture_section(result: BurnsheetResult, most: int | None = None) -> Section:
    """Return the fine dead fuel moisture by face and slope, the driest first."""
    fuel = result.fuel
    driest = (
        f"None given: {result.fine_fuel_words}."
        if result.fine_fuel_moisture_pct is None
        else f"Driest ground of the block: {result.fine_fuel_moisture_pct:g}% ({result.fine_fuel_tables})."
    )
    cut = "no cut logged" if fuel.days_since_cut is None else f"{fuel.days_since_cut} days since the last cut"
    load = "not known" if fuel.fuel_lb_ac is None else f"{fuel.fuel_lb_ac:,.0f} lb/ac"
    look = "nobody logged a check-up" if fuel.look_date is None else f"check-up of {fuel.look_date}"
    shown = result.fuel_moisture[:most]
    return Section(
        title="Fine dead fuel moisture",
        sentences=(
            f"{driest} {_air_words(result)}{_clock(result)}",
            f"Needles {fuel.needles or 'not known'}, grass load {load} ({look}); {cut}.",
        ),
        header=("faces", "slope", "acres", "moisture"),
        rows=tuple(
            (_known(line.facing), _known(line.slope_class, " %"), f"{line.acres:.2f}",
             "none given" if line.pct is None else f"{line.pct:g}%")
            for line in shown
        ),
        shares=(0.28, 0.24, 0.24, 0.24),
        after=_left_out(len(result.fuel_moisture) - len(shown), "faces"),
    )  # fmt: skip


def _known(word: str, unit: str = "") -> str:
    return "not known" if word == UNKNOWN else f"{word}{unit}"


def _air_words(result: BurnsheetResult) -> str:
    if result.equilibrium_moisture_pct is None or result.vpd_kpa is None:
        return ""
    return (
        f"Equilibrium (Simard) {result.equilibrium_moisture_pct:.1f}%, vapor pressure deficit {result.vpd_kpa:.2f} "
        "kPa. "
    )


def _clock(result: BurnsheetResult) -> str:
    return "" if result.fine_fuel_clock_words is None else f"{result.fine_fuel_clock_words}. "


def _left_out(count: int, what: str) -> tuple[str, ...]:
    return (f"Left out for room: {count} of the {what}; `habmap burnsheet` prints them all.",) if count > 0 else ()


# --- edges --------------------------------------------------------------------------------------------------

_Same = tuple[str, str]
#: Stands for the words that the list has no room for in each row.
_FUEL_MARK: Final = " (fuel)"


def edge_keys(edges: Sequence[Edge]) -> dict[_Same, str]:
    """Number what lies beyond each side of the wind, the longest first: D1, D2, S1 …"""
    length_m: defaultdict[_Same, float] = defaultdict(float)
    for edge in edges:
        length_m[edge.listed_as] += edge.length_m
    counts: defaultdict[str, int] = defaultdict(int)
    keys: dict[_Same, str] = {}
    for same in sorted(length_m, key=lambda one: (list(SIDE_LETTERS).index(one[0]), -length_m[one])):
        counts[same[0]] += 1
        keys[same] = f"{SIDE_LETTERS[same[0]]}{counts[same[0]]}"
    return keys


def edges_section(result: BurnsheetResult, keys: dict[_Same, str], most: int) -> Section:
    """Return the edges by what lies beyond; where some have no room, not those downwind or beside cedar first."""
    groups: defaultdict[_Same, list[Edge]] = defaultdict(list)
    for edge in result.edges:
        groups[edge.listed_as].append(edge)
    kept = sorted(
        groups,
        key=lambda same: (
            same[0] != "downwind" and not same[1].endswith(CEDAR_FUEL_WORDS),
            -sum(edge.length_m for edge in groups[same]),
        ),
    )[:most]
    rows = []
    for same, key in keys.items():
        if same not in kept:
            continue
        members = groups[same]
        breaks = list(dict.fromkeys(edge.break_name or "mapped" for edge in members if edge.mapped_break))
        named = breaks[0] if len(breaks) == 1 else f"{len(breaks)} on the map"
        break_ft = sum(ft(edge.length_m) for edge in members if edge.mapped_break)
        walked_ft = sum(ft(edge.length_m) for edge in members if edge.boss_checked)
        walked = f"; walked {walked_ft:,.0f}" if walked_ft else ""
        rows.append(
            (
                key,
                f"{sum(ft(edge.length_m) for edge in members):,.0f}",
                _beyond_words(members[0]),
                f"{named}, {break_ft:,.0f}{walked}" if breaks else "none",
                _rises(members),
            )
        )
    left_out = [same for same in keys if same not in kept]
    totals = result.edge_totals
    return Section(
        title="Edges, and what lies beyond",
        sentences=(
            f"Feet: downwind {ft(totals.downwind_m):,.0f}, side {ft(totals.side_m):,.0f}, "
            f"upwind {ft(totals.upwind_m):,.0f}; perimeter {ft(totals.perimeter_m):,.0f}. A mapped break counts for "
            f"nothing until the burn boss has walked it{_walked_words(result.edges)}. Rises: feet of it where the "
            f"ground rises away{'' if _is_rise_known(result.edges) else ', ? = not known'}. (fuel): cedar beyond it.",
        ),
        header=("key", "feet", "beyond", "mapped break, ft", "rises"),
        rows=tuple(rows),
        shares=(0.08, 0.1, 0.45, 0.28, 0.09),
        after=(
            f"Left out for room, but lettered on the map: {', '.join(keys[same] for same in left_out)}; "
            f"{sum(ft(edge.length_m) for same in left_out for edge in groups[same]):,.0f} ft together. "
            "`habmap burnsheet` prints them all.",
        )
        if left_out
        else (),
    )


def _beyond_words(edge: Edge | TurnedEdge) -> str:
    return edge.beyond_words.removeprefix("unit ").replace(CEDAR_FUEL_WORDS, _FUEL_MARK)


def _rises(members: Sequence[Edge]) -> str:
    """Return the feet where the ground rises away; what no elevation covers is not taken for level ground."""
    rises_ft = sum(ft(edge.length_m) for edge in members if edge.upslope)
    unknown = "" if _is_rise_known(members) else "?"
    return f"{rises_ft:,.0f}{unknown}" if rises_ft else unknown or "none"


def _is_rise_known(edges: Sequence[Edge]) -> bool:
    return all(edge.upslope is not None for edge in edges)


def _walked_words(edges: Sequence[Edge]) -> str:
    return "; walked: so noted in habmap.toml for this day" if any(edge.boss_checked for edge in edges) else ""


def when_words(place: SmokePlace) -> str:
    """Say when a place lies downwind, in the local hours of a spell."""
    return "at ignition" if place.to_time is None else span_words([(place.from_time, place.to_time)])


def turned_section(result: BurnsheetResult, most: int) -> tuple[Section, ...]:
    """Return what is no downwind edge at ignition and becomes one, the soonest and longest first."""
    if not result.turned_edges:
        return ()
    shown = result.turned_edges[:most]
    return (
        Section(
            title="Edges that come to lie downwind later",
            header=("when", "wind", "feet", "faces", "beyond"),
            rows=tuple(
                (
                    span_words([(edge.from_time, edge.to_time)]),
                    wind_16(edge.wind_from_deg),
                    f"{ft(edge.length_m):,.0f}",
                    wind_16(edge.outward_deg),
                    _beyond_words(edge),
                )
                for edge in shown
            ),
            shares=(0.34, 0.1, 0.1, 0.1, 0.36),
            after=_left_out(len(result.turned_edges) - len(shown), "edges"),
            may_move=True,
        ),
    )


def _miles(length_m: float) -> str:
    return significant(length_m / M_PER_MILE, 2)


# --- surroundings -------------------------------------------------------------------------------------------------


def surroundings_section(result: BurnsheetResult, most: int | None = None) -> Section:
    """Return the sensitive places, the way of cold air, and lines, tanks, stacks and fences near.

    Parameters
    ----------
    most
        Most places that there is room for; with it the other lists are shortened too. Left out: all of everything.
    """
    looked = result.looked_within_m
    downwind = {(place.name, place.kind) for place in result.smoke}
    places: list[tuple[NearPlace, str]] = [(place, when_words(place)) for place in result.smoke]
    places += [(place, "near") for place in result.nearby if (place.name, place.kind) not in downwind]
    shown, hazards = places[:most], result.hazards[: most and 5]
    after = [f"{result.winds_words}.", *_left_out(len(places) - len(shown), "places")]
    if result.kept_from_fire:
        after.append(kept_words(result))
    others = [place_words(one) for one in result.inside if one not in result.kept_from_fire]
    if others:
        after.append(f"Also inside the block: {_listed(others, most and 8)}.")
    if result.cold_air is None:
        after.append("The way of cold night air is not known.")
    else:
        ways = result.cold_air
        near = _listed([f"{place_words(one)}, {ft(one.from_path_m):,.0f} ft" for one in ways.places], most and 4)
        after.append(
            f"Cold night air would run downhill {ft(ways.length_m):,.0f} ft from the lowest edge"
            f"{END_WORDS[ways.ends]}; within {ft(COLD_AIR_NEAR_M):,.0f} ft of its ways: "
            f"{near or 'no road or house on the map'}."
        )
    after.append(SCREEN_WORDS)
    within = f"the block or within {ft(looked.hazards):,.0f} ft"
    if hazards:
        named = ", ".join(
            f"{place_words(one)} ({'inside' if one.inside else f'{ft(one.distance_m):,.0f} ft'})" for one in hazards
        )
        after.append(f"In {within}: {named}.")
        after += _left_out(len(result.hazards) - len(hazards), "lines, tanks, stacks or fences")
    else:
        after.append(f"No power or gas line, tank, hay or fence is on the map in {within}.")
    return Section(
        title=f"Downwind (45° to either side, {_miles(looked.downwind)} mi) and near ({_miles(looked.sensitive)} mi)",
        sentences=() if places else ("Nothing sensitive is on the map downwind or near; a map may miss some.",),
        header=("place", "kind", "miles", "toward", "downwind"),
        rows=tuple(
            (place.name or "–", FEATURE_WORDS[place.kind], f"{place.distance_m / M_PER_MILE:.2f}",
             f"{wind_16(place.bearing_deg)} {place.bearing_deg:.0f}°", where)
            for place, where in shown
        ),
        shares=(0.28, 0.13, 0.11, 0.17, 0.31),
        after=tuple(after),
    )  # fmt: skip


def _listed(names: Sequence[str], most: int | None) -> str:
    """List names, and count those that there is no room for."""
    more = len(names) - len(names[:most])
    return "; ".join(names[:most]) + (f"; and {more} more" if more else "")
