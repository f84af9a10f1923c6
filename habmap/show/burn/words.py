"""What a burn boss should know beside the figures, in words that measure and never allow."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from datetime import date, datetime, tzinfo
from typing import Final

from habmap.measures import so_many, unit_behind
from habmap.records import WIND_HEIGHT_WORDS, BurnRecord, Notice, facts, value_of
from habmap.vocabulary import FEATURE_WORDS, NEEDLE_WORDS
from habmap.work.burn.result import BurnsheetResult, PastBurn
from habmap.work.burn.surroundings import NamedPlace
from habmap.work.burn.written_plan import ITEMS, PLAN_KIND_WORDS, PlanKind, PlanSigned, Window, distance_words
from habmap.work.clock import comes_twice
from habmap.work.closures import Closures
from habmap.work.ground import Ground, GroundPiece
from habmap.work.plan_days import PLAN_DAYS_WORDS, ComparedDay
from habmap.work.stages import UPKEEP_AFTER_DAYS


def block_words(
    pieces: Sequence[GroundPiece], state: Ground, kind: PlanKind, *, on: date, is_compared: bool
) -> tuple[str, ...]:
    """Say what there is to burn, and what there is not: reported, never refused.

    Parameters
    ----------
    is_compared
        Whether there is a signed plan of this kind; without one nothing is said of what it is written for.
    """
    covers = {unit.unit_id: unit.cover for unit in state.units}
    words = []
    for unit_id in dict.fromkeys(piece.unit_id for piece in pieces):
        own = [piece for piece in pieces if piece.unit_id == unit_id]
        total = sum(piece.acres for piece in own)
        fresh = [
            piece
            for piece in own
            if piece.state.last_fire is not None and (on - piece.state.last_fire).days < UPKEEP_AFTER_DAYS
        ]
        if covers[unit_id] == "water":
            words.append(f"{unit_id} is water: nothing there to burn")
        elif fresh and sum(piece.acres for piece in fresh) > 0.999 * total:
            fire = max(piece.state.last_fire for piece in fresh if piece.state.last_fire is not None)
            words.append(f"{unit_id}: fire is logged on all of it, last on {fire}: little or nothing there to burn")
        elif fresh:
            words.append(f"{unit_id}: {sum(piece.acres for piece in fresh):.2f} acres had fire within the last season")
        elif all(piece.stage == "slash_gone" and piece.state.felled_frac == 0 for piece in own):
            words.append(f"{unit_id}: the log says the slash is gone: no slash there to burn")

    def held(is_so: Callable[[GroundPiece], bool], text: str) -> list[str]:
        acres = sum(piece.acres for piece in pieces if is_so(piece))
        return [f"{acres:.2f} acres of the block {text}"] if acres >= 0.005 else []

    words += held(
        lambda piece: piece.stage in {"standing", "part_cut"},
        "hold live standing cedars, which can torch and throw embers",
    )
    words += held(lambda piece: piece.stage == "keep", "are ground that the log leaves standing on purpose")
    words += held(
        lambda piece: piece.state.snag_frac > 0, "hold cedars killed and left standing, which torch and drop limbs"
    )
    told = {
        (piece.state.needles_seen, piece.state.needles)
        for piece in pieces
        if piece.state.needles is not None and piece.state.needles_seen is not None and piece.state.lying_frac > 0
    }
    words += [f"needles {needles} on {seen}: {NEEDLE_WORDS[needles]}" for seen, needles in sorted(told)]
    plan = f"the plan for {PLAN_KIND_WORDS[kind]}"
    slash: tuple[tuple[PlanKind, str, Callable[[GroundPiece], bool]], ...] = (
        ("down_cedar", "cut slash on the ground", lambda piece: piece.state.lying_frac > 0),
        ("piles", "piles", lambda piece: piece.state.piled_frac > 0),
    )
    for other, what, is_there in slash:
        words += held(
            is_there,
            f"hold {what}" + (f", for which {plan}, compared here, is not written" * (is_compared and kind != other)),
        )
        if kind == other and not any(is_there(piece) for piece in pieces):
            words.append(f"no {what} in the block by the log" + f", so {plan} finds none there" * is_compared)
    return tuple(words)


def signed_words(signed: Sequence[PlanSigned], unit_ids: Sequence[str]) -> str:
    """Return who signed the limits, with the units of each where they differ, and which units have no plan."""
    is_one = len(signed) == 1 and set(signed[0].unit_ids) >= set(unit_ids)
    words = " and ".join(
        f"{one.author}, {one.date}" + ("" if is_one else f", for {', '.join(one.unit_ids)}") for one in signed
    )
    without = [one for one in unit_ids if not any(one in each.unit_ids for each in signed)]
    return words + (f"; {', '.join(without)} has none with author and date" if without else "")


def answer(result: BurnsheetResult) -> str:
    """Return what the comparison found, worst first, in a few sentences."""
    ground = f"{result.block}, {result.acres:.2f} acres, {result.time.replace('T', ' ')}"
    kind = PLAN_KIND_WORDS[result.plan.kind]
    if not result.plan_signed:
        there = (
            "was in habmap.toml when it was logged" if result.again and result.again.plans_kept else "is in habmap.toml"
        )
        return (
            f"{ground}: no written plan for {kind} with author and date {there}, so nothing is compared. "
            "The weather is only set down below."
        )
    not_met = _named(result, "not met")
    not_given = _named(result, "not given")
    words = f"{ground}, compared with the burn plan for {kind} by {signed_words(result.plan_signed, result.units)}. "
    words += (
        "" if result.prescription or result.plan_days else "It sets no limits in habmap.toml, so nothing is compared. "
    )
    words += f"Not met: {not_met}. " if not_met else ""
    words += f"Not given: {not_given}. " if not_given else ""
    words += f"{unlimited_sentence(result)} " if result.unlimited and result.prescription else ""
    return words + "This is a comparison and decides nothing; what was not checked stands below."


#: Under every column of comparisons.
NOT_A_GO: Final = "“Within” compares one number with one limit. It is not a go."


def unlimited_sentence(result: BurnsheetResult) -> str:
    """Say what the plan sets no limit for."""
    return f"This plan sets no limit for: {', '.join(result.unlimited)}."


def kept_words(result: BurnsheetResult) -> str:
    """Name what lies inside the block and must be kept from fire; nothing where the map shows none."""
    named = "; ".join(place_words(one) for one in result.kept_from_fire)
    return f"Inside the block, to be kept from fire: {named}." if named else ""


def place_words(place: NamedPlace) -> str:
    """Name a place and its kind, as far as it has a name."""
    return f"{FEATURE_WORDS[place.kind]} {place.name}".strip()


def days_name(one: ComparedDay, result: BurnsheetResult) -> str:
    """Call the days of the year that a plan is for, and name its units where others have other days."""
    return PLAN_DAYS_WORDS + ("" if one.unit_ids == result.units else f" ({', '.join(one.unit_ids)})")


def _named(result: BurnsheetResult, comparison: str) -> str:
    found = [
        f"{days_name(one, result)} (the plan is for {one.from_day} to {one.to_day})"
        for one in result.plan_days
        if one.comparison == comparison
    ]
    for line in result.prescription:
        if line.comparison == comparison:
            name, unit = ITEMS[line.item]
            far = "" if line.distance is None else f"{distance_words(line.distance)}{unit_behind(unit)}"
            units = f" on {', '.join(line.unit_ids)}" if line.unit_ids != result.units else ""
            found.append(f"{name}{f' (by {far})' if far else ''}{units}")
    return ", ".join(found)


def span_words(spans: Sequence[tuple[str, str]], most: int | None = None) -> str:
    """Return runs of hours in words, each day named where it begins: ``03-13 15:00; 23:00 to 03-14 08:00``."""
    words, day = [], ""
    for span in spans[:most]:
        ends = []
        for time in dict.fromkeys(span):
            ends.append(time[5:].replace("T", " ") if time[5:10] != day else time[11:])
            day = time[5:10]
        words.append(" to ".join(ends))
    left_out = len(spans) - len(words)
    return "; ".join(words) + (f"; and {so_many(left_out, 'more time')} later" if left_out > 0 else "")


def closed_words(closures: Closures, day: date, unit_ids: Collection[str]) -> tuple[str, ...]:
    """Say which of the owner's own closed days and holds a burn falls on."""
    closed = (
        f"{day} is closed to burning by the owner: {ban.reason or 'no reason written'}"
        for ban in closures.bans
        if ban.what == "closed_burn" and ban.has(day) and (not ban.units or set(ban.units) & set(unit_ids))
    )
    held = (
        f"{hold.unit_id} is on hold: {hold.reason}"
        for hold in closures.holds
        if hold.unit_id in unit_ids and hold.has(day)
    )
    return tuple(dict.fromkeys((*closed, *held)))


def warnings_for(
    result: BurnsheetResult,
    *,
    weather: Mapping[str, float | None],
    windows: Sequence[Window],
    walked: Collection[str],
    zone: tzinfo,
    has_elevation: bool,
    has_features: bool,
    has_boundary: bool,
    is_level_unknown: bool,
) -> tuple[str, ...]:
    """Say what weakens the figures.

    Parameters
    ----------
    weather, windows
        The weather at ignition by item, and the plan's limits that it was held against.
    walked
        Breaks that the burn boss walked that day.
    is_level_unknown
        Whether the weather's height is known and the block's is not.
    """
    at = datetime.fromisoformat(result.time)
    day, pcts = at.date(), [line.pct for line in result.fuel_moisture if line.pct is not None]
    no_figure = "the driest figure of the tables is given, " if pcts else ""
    unmet = set(walked) - {edge.break_name for edge in result.edges if edge.boss_checked}
    rules = (
        (comes_twice(at, zone), f"{at:%H:%M} comes twice on {day}: the clock is put back over it"),
        (
            weather["wind_mph"] == 0,
            "with no wind its direction means little: any edge can turn into the downwind one",
        ),
        (
            result.wind_height is None,
            "the height of the wind, 20 ft or eye level, was not given; see which one the plan means",
        ),
        (
            not has_elevation,
            f"no elevation covers this block: its faces are unknown, {no_figure}and rising ground and the way of cold "
            "air are not known",
        ),
        (
            not has_features,
            "no roads, houses, lines or water are loaded: what lies around this block is not known, and an empty list "
            "says nothing; load them with `habmap load features FILE`",
        ),
        (not has_boundary, "no boundary is loaded, so where the property ends is not known"),
        *(
            (
                True,
                f"[[burn.walked]] of {day} names {name!r}, and no edge of this block has a mapped break of that name",
            )
            for name in sorted(unmet)
        ),
        (
            is_level_unknown,
            "the block's height is not known, so the weather is taken as measured level with it",
        ),
        (
            any(window.is_plan and window.not_comparable for window in windows),
            f"the plan means its wind at another height than this one ({height_words(result.wind_height)}), so wind "
            "and gusts are not compared with it",
        ),
    )
    words = [text for applies, text in rules if applies]
    for window in windows:
        limits = window.limits.get("fine_fuel_pct")
        if window.is_plan and limits and pcts and max(pcts) > limits[1] >= min(pcts):
            words.append(f"the dampest ground of the block is at {max(pcts):g}%, above the plan's {limits[1]:g}%")
        if window.written_on is not None and window.written_on > day:
            words.append(f"the plan is dated {window.written_on}, after the day of this sheet")
    return tuple(dict.fromkeys(words))


def height_words(height: str | None, unsaid: str = "height not given") -> str:
    """Say where the wind is meant."""
    return WIND_HEIGHT_WORDS.get(height or "", unsaid)


#: Said of everything in a past burn made again that the log has no date for.
AS_TODAY: Final = "roads, houses, lines, distances and closed days are as the property has them today"


def past_burn_words(past: PastBurn, plans_from: date | None) -> tuple[str, ...]:
    """Say what a past burn made again goes by; ``plans_from`` is the day of the plans kept with it."""
    burned = "not given" if past.burned_pct is None else f"{past.burned_pct:g}% of the ground"
    return (
        f"Log line {past.number} {past.title}",
        f"Share that burned: {burned}",
        f"The ground is as the log has it on {past.ground_on}, before the work of that day; {AS_TODAY}",
        f"The plan's limits are those that habmap.toml had when this burn was logged, on {plans_from}"
        if plans_from
        else "The plan's limits are those of habmap.toml today: none were kept with this burn",
    )


# --- a burn in the log --------------------------------------------------------------------------------------

#: Said after a burn is logged.
LOOK_NEXT_SEASON: Final = (
    "What the fire killed shows in the next growing season: look at it then, log that with `habmap log checkup`, and "
    "correct the share killed of this line with `habmap correct --killed-pct`"
)


def late_notices(notices: Sequence[Notice], day: date) -> tuple[str, ...]:
    """Point out notices that were given after the day of the burn."""
    return tuple(
        f"{told.who} was told on {told.when}, after the burn of {day}" for told in notices if told.when[:10] > str(day)
    )


def burn_words(burn: BurnRecord | None) -> list[str]:
    """Say what was observed at a burn and who was told, as plain sentences without the final stop."""
    return [] if burn is None else [*observed_words(burn), *map(notice_words, burn.notices)]


def observed_words(record: BurnRecord) -> list[str]:
    """Say the weather as it was observed, in one sentence without its stop; nothing where nobody wrote any."""
    numbers = [(one, value_of(record, one)) for one in facts(BurnRecord).values() if one.is_number]
    parts = [f"{one.words} {one.said(value)}" for one, value in numbers if value is not None]
    parts += [f"wind measured {height_words(record.wind_height)}"] if record.wind_height in WIND_HEIGHT_WORDS else []
    if record.ignition is None and not parts:
        return []
    return [", ".join([f"Observed at {record.ignition or 'an hour not given'}", *parts])]


def notice_words(told: Notice) -> str:
    """Say who was told, when and how, without the final stop."""
    return f"Notices logged: {told.who}, {told.when}, {told.how}"
