"""What a burn boss should know beside the figures, in words that measure and never allow."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Final

from habmap.jobs.burn.plan import Signed
from habmap.place.closed_days import closures, holds
from habmap.place.settings import Settings
from habmap.vocabulary import NEEDLE_WORDS
from habmap.work.burnday import PLAN_KIND_WORDS, PlanKind, Window
from habmap.work.ground import Ground, GroundPiece
from habmap.work.stages import UPKEEP_AFTER_DAYS

_AT_HEIGHT: Final = {"20ft": "at 20 ft", "eye": "at eye level", "": "height not said"}


def block_words(pieces: Sequence[GroundPiece], state: Ground, kind: PlanKind, *, on: date) -> tuple[str, ...]:
    """Say what there is to burn, and what there is not: reported, never refused."""
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
    live = sum(piece.acres for piece in pieces if piece.stage in {"standing", "part_cut"})
    if live >= 0.005:
        words.append(f"{live:.2f} acres of the block hold live standing cedars, which can torch and throw embers")
    kept = sum(piece.acres for piece in pieces if piece.stage == "keep")
    if kept >= 0.005:
        words.append(f"{kept:.2f} acres of the block are ground that the log leaves standing on purpose")
    snags = sum(piece.acres for piece in pieces if piece.state.snag_frac > 0)
    if snags >= 0.005:
        words.append(f"{snags:.2f} acres of the block hold cedars killed and left standing, which torch and drop limbs")
    told = {
        (piece.state.needles_seen, piece.state.needles)
        for piece in pieces
        if piece.state.needles is not None and piece.state.needles_seen is not None and piece.state.lying_frac > 0
    }
    words += [f"needles {needles} on {seen}: {NEEDLE_WORDS[needles]}" for seen, needles in sorted(told)]
    for other, what, does in (
        ("down_cedar", "cut slash on the ground", [piece.state.lying_frac > 0 for piece in pieces]),
        ("piles", "piles", [piece.state.piled_frac > 0 for piece in pieces]),
    ):
        there = sum(piece.acres for piece, has in zip(pieces, does, strict=True) if has)
        if there >= 0.005:
            beyond = f", for which the plan for {PLAN_KIND_WORDS[kind]}, compared here, is not written"
            words.append(f"{there:.2f} acres of the block hold {what}" + (beyond if kind != other else ""))
        if kind == other and not any(does):
            words.append(f"no {what} in the block by the log, so the plan for {PLAN_KIND_WORDS[kind]} finds none there")
    return tuple(words)


def block_name(names: Sequence[str], unit_ids: Sequence[str], *, is_patch: bool) -> str:
    """Return the block as it was named, with its units where that says more."""
    names = list(dict.fromkeys(names))
    units = ", ".join(unit_ids)
    if is_patch:
        return f"a patch in {units}" if units else "a patch outside every unit"
    named = ", ".join(names)
    if named == units or all(name.rpartition(":")[0] in unit_ids or name in unit_ids for name in names):
        return named
    return f"{named} ({units})" if units else named


def signed_words(signed: Sequence[Signed], unit_ids: Sequence[str]) -> str:
    """Return who signed the limits, with the units of each where they differ, and which units have no plan."""
    is_one = len(signed) == 1 and set(signed[0].unit_ids) >= set(unit_ids)
    words = " and ".join(
        f"{one.author}, {one.date}" + ("" if is_one else f", for {', '.join(one.unit_ids)}") for one in signed
    )
    without = [one for one in unit_ids if not any(one in each.unit_ids for each in signed)]
    return words + (f"; {', '.join(without)} has none with author and date" if without else "")


def warnings_for(
    *,
    request_at: datetime,
    is_twice: bool,
    wind_mph: float | None,
    wind_height: str | None,
    has_elevation: bool,
    has_features: bool,
    has_boundary: bool,
    walked_elsewhere: Sequence[str],
    is_level_unknown: bool,
    windows: Sequence[Window],
    class_pcts: Sequence[float],
    settings: Settings,
    unit_ids: Sequence[str],
) -> tuple[str, ...]:
    """Say the owner's own closed days and holds first, then what weakens the figures."""
    day = request_at.date()
    words = []
    for ban in closures(settings).bans:
        if ban.what == "closed_burn" and ban.has(day) and (not ban.units or set(ban.units) & set(unit_ids)):
            words.append(f"{day} is closed to burning by the owner: {ban.reason or 'no reason written'}")
    for hold in holds(settings):
        if hold.unit_id in unit_ids and hold.has(day):
            words.append(f"{hold.unit_id} is on hold: {hold.reason}")
    if is_twice:
        words.append(f"{request_at:%H:%M} comes twice on {day}: the clock is put back over it")
    if wind_mph == 0:
        words.append("with no wind its direction means little: any edge can turn into the downwind one")
    if wind_height is None:
        words.append("nobody said whether the wind is at 20 ft or at eye level; see which one the plan means")
    if not has_elevation:
        words.append(
            "no elevation covers this block: its faces are unknown, "
            + ("the driest figure of the tables is given, " if class_pcts else "")
            + "and rising ground and the way of cold air are not known"
        )
    if not has_features:
        words.append(
            "no roads, houses, lines or water are loaded: what lies around this block is not known, and an empty list "
            "says nothing; load them with `habmap load features FILE`"
        )
    if not has_boundary:
        words.append("no boundary is loaded, so where the property ends is not known")
    words += [
        f"[[burn.walked]] of {day} names {name!r}, and no edge of this block has a mapped break of that name"
        for name in walked_elsewhere
    ]
    if is_level_unknown:
        words.append("the block's height is not known, so the weather is taken as measured level with it")
    if any(window.is_plan and window.not_comparable for window in windows):
        words.append(
            f"the plan means its wind at another height than this one ({_AT_HEIGHT[wind_height or '']}), so wind and "
            "gusts are not compared with it"
        )
    for window in windows:
        limits = window.limits.get("fine_fuel_pct")
        if window.is_plan and limits and class_pcts and max(class_pcts) > limits[1] >= min(class_pcts):
            words.append(
                f"the dampest ground of the block is at {max(class_pcts):g} %, above the plan's {limits[1]:g} %"
            )
        if window.written_on is not None and window.written_on > day:
            words.append(f"the plan is dated {window.written_on}, after the day asked about")
    return tuple(words)
