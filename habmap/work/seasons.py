"""What is due on each piece of ground, and between which days. Compares dates; never says that anything may be done."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final, Literal

from habmap.measures import days_after
from habmap.vocabulary import NEEDLE_WORDS, OPEN_COVERS
from habmap.work.paperwork_records import Item
from habmap.work.stages import GroundState

What = Literal[
    "drying",
    "piles",
    "hand_check",
    "snag_check",
    "upkeep",
    "checkup",
    "photo",
    "plot",
    "frame",
    "hold",
    "closed_cut",
    "closed_burn",
    "contract",
]

#: Burned piles are checked for heat, and dead trees in a burn looked at, on these days after the fire (common
#: practice, no source), and before windy days.
HAND_CHECK_DAYS: Final = (1, 3, 7)
#: A look at the end of the growing season: first and last day (month, day). Common practice, no source.
LOOK_WINDOW: Final = ((9, 1), (10, 31))
#: Ground treated after this day (month, day) has its first whole growing season in the next year; a look up to it has
#: not seen that season.
FIRST_SEASON_UNTIL: Final = (6, 30)
#: How far ahead things are shown [days].
AHEAD_DAYS: Final = 90
#: The name of upkeep that a check-up asks for, where years after the last fire ask for the rest.
COMING_BACK: Final = "coming_back"
#: Stages on which upkeep is due some years after the last fire or mowing.
UPKEEP_STAGES: Final = frozenset({"burned", "slash_gone", "kept_up"})

WHAT_WORDS: Final[dict[What, str]] = {
    "drying": "felled slash", "piles": "piles standing", "hand_check": "check burned piles for heat",
    "snag_check": "look at dead standing trees after a fire", "upkeep": "upkeep", "checkup": "a check-up",
    "photo": "photo points due again", "plot": "plots due again", "frame": "frames of plant cover due again",
    "hold": "hold",
    "closed_cut": "closed to cutting", "closed_burn": "closed to burning", "contract": "contract item",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class DatedGround(GroundState):
    """What the log says of one piece of ground, with its unit and acres; ``last_pile_burn`` ``None`` = never."""

    unit_id: str
    cover: str
    acres: float
    last_pile_burn: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class UpkeepRule:
    """Why a unit is burned again, how often and between which days of the year (month, day).

    ``is_asked``: the place's settings name it, so that ground which never burned is due too.
    """

    reason: str
    years: float
    window: tuple[tuple[int, int], tuple[int, int]] | None = None
    is_asked: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class YearlyDays:
    """Days of every year, from one (month, day) to another; may run over the turn of the year."""

    first: tuple[int, int]
    last: tuple[int, int]

    def has(self, day: date) -> bool:
        """Tell whether a day lies within."""
        spot = (day.month, day.day)
        if self.first <= self.last:
            return self.first <= spot <= self.last
        return spot >= self.first or spot <= self.last

    def next_span(self, on: date) -> tuple[date, date]:
        """Return the span that a day lies in, or the next one after it."""
        for year in (on.year - 1, on.year, on.year + 1):
            first = _day(year, self.first)
            last = _day(year if self.first <= self.last else year + 1, self.last)
            if last >= on:
                return first, last
        raise AssertionError("a yearly span comes round within two years")  # pragma: no cover


@dataclass(frozen=True, slots=True, kw_only=True)
class YearlyBan(YearlyDays):
    """Days of every year on which the place's owner does not cut or burn."""

    what: Literal["closed_cut", "closed_burn"]
    reason: str
    units: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class DatedBan:
    """The same for one span of days only."""

    what: Literal["closed_cut", "closed_burn"]
    reason: str
    first: date
    last: date
    units: tuple[str, ...] = ()

    def has(self, day: date) -> bool:
        """Tell whether a day lies within."""
        return self.first <= day <= self.last

    def next_span(self, on: date) -> tuple[date, date] | None:
        """Return the span unless it is over."""
        return (self.first, self.last) if self.last >= on else None


Ban = YearlyBan | DatedBan


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldUnit:
    """Ground on which nothing is to be done for a time; an end of ``None`` is open."""

    unit_id: str
    reason: str
    first: date | None
    last: date | None

    def has(self, day: date) -> bool:
        """Tell whether the hold stands on a day."""
        return (self.first or date.min) <= day <= (self.last or date.max)


@dataclass(frozen=True, slots=True, kw_only=True)
class ContractDate:
    """One contract item, the acres applied under it, and the practices that it pays."""

    item: Item
    applied_acres: float
    practices: frozenset[str] = frozenset()

    @property
    def left_acres(self) -> float | None:
        """What is left of it [acre]; ``None``: it plans no acres."""
        planned = self.item.planned_acres
        return None if planned is None else max(0.0, planned - self.applied_acres)


@dataclass(frozen=True, slots=True, kw_only=True)
class DueItem:
    """One thing to know about.

    Attributes
    ----------
    unit_id
        ``None`` where it holds for the whole property.
    state
        Plain words on where it stands: ``drying``, ``in its drying days``, ``past its drying days``, ``due``,
        ``coming``, ``in force``, ``before its start date``, ``open``, ``overdue``, ``done``, ``on hold``, ``closed``.
    name
        What the thing is called as long as it is the same thing, while its words, dates and acres change.
    since_date, from_date, to_date
        What it counts from, and the days between which it falls; ``None`` = open.
    words
        Why, in words that stay true on any later day: dates, never ages.
    felled_pct, snag_pct
        Share of the cedars that once stood on this ground which lies felled, in piles or not, and which was killed and
        still stands [%]; ``None`` where it is not about ground.
    needles, needles_seen
        Of drying slash: what the last check-up since the felling saw, and when.
    """

    unit_id: str | None
    what: What
    state: str
    acres: float | None
    since_date: date | None
    from_date: date | None
    to_date: date | None
    words: str
    name: str = ""
    felled_pct: float | None = None
    snag_pct: float | None = None
    needles: str | None = None
    needles_seen: date | None = None


def ground_due(
    pieces: Iterable[DatedGround],
    *,
    on: date,
    drying_days: tuple[int, int],
    upkeep: dict[str, UpkeepRule],
    ahead_days: int = AHEAD_DAYS,
) -> tuple[DueItem, ...]:
    """Return what the ground itself asks for, pieces of one unit with one set of dates added up.

    Parameters
    ----------
    drying_days
        First and last day of the drying window, counted from the last cut.
    upkeep
        The upkeep rule of each unit by ``unit_id``.
    ahead_days
        How far ahead upkeep and check-ups are looked for [days].
    """
    ahead = days_after(on, ahead_days)
    return _added_up(
        (item, piece)
        for piece in pieces
        for item in (
            *_drying(piece, on, drying_days),
            *_piles(piece, on),
            *_after_fire(piece, on),
            *_upkeep(piece, on, ahead, upkeep[piece.unit_id]),
            *_look(piece, on, ahead),
        )
    )


def upkeep_of(pieces: Iterable[DatedGround], *, on: date, rule: UpkeepRule) -> tuple[DueItem, ...]:
    """Return what of `ground_due` is upkeep that is due by a day, of pieces under one rule."""
    return _added_up((item, piece) for piece in pieces for item in _upkeep(piece, on, on, rule) if item.state == "due")


def _added_up(asked: Iterable[tuple[DueItem, DatedGround]]) -> tuple[DueItem, ...]:
    found: defaultdict[DueItem, list[DatedGround]] = defaultdict(list)
    for item, piece in asked:
        found[item].append(piece)
    return tuple(_of_ground(item, mine) for item, mine in found.items())


def _of_ground(item: DueItem, pieces: Sequence[DatedGround]) -> DueItem:
    acres = math.fsum(piece.acres for piece in pieces)
    felled, snags = (
        math.fsum(piece.acres * share for piece, share in zip(pieces, shares, strict=True))
        for shares in (
            [piece.lying_frac + piece.piled_frac for piece in pieces],
            [piece.snag_frac for piece in pieces],
        )
    )
    return replace(
        item,
        acres=acres,
        felled_pct=100 * felled / acres if acres > 0 else None,
        snag_pct=100 * snags / acres if acres > 0 else None,
    )


def calendar_due(
    *, on: date, bans: Sequence[Ban], holds: Sequence[HeldUnit], contract: Sequence[ContractDate]
) -> tuple[DueItem, ...]:
    """Return holds, yearly no-cut and no-burn days, and contract dates that are in force or come up within 90 days."""
    ahead = days_after(on, AHEAD_DAYS)
    items: list[DueItem] = []
    for ban in bans:
        span = ban.next_span(on)
        if span is not None and span[0] <= ahead:
            first, last = span
            state = "in force" if first <= on else "coming"
            for unit_id in ban.units or (None,):
                items.append(_item(unit_id, ban.what, state, ban.reason, first=first, last=last, name=_ban_name(ban)))
    for hold in holds:
        if (hold.last is None or hold.last >= on) and (hold.first is None or hold.first <= ahead):
            state = "in force" if hold.first is None or hold.first <= on else "coming"
            words = hold.reason if hold.last else f"{hold.reason}; no end is written"
            name = f"{hold.reason} {hold.first or ''}"
            items.append(_item(hold.unit_id, "hold", state, words, first=hold.first, last=hold.last, name=name))
    for line in contract:
        items.append(_contract(line, on))
    return tuple(items)


def _drying(piece: DatedGround, on: date, drying_days: tuple[int, int]) -> Iterable[DueItem]:
    if piece.lying_frac <= 0 or piece.last_felled is None:
        return
    first, last = (days_after(piece.last_felled, n) for n in drying_days)
    is_green = piece.needles == "green" and piece.needles_seen is not None and piece.needles_seen >= first
    state = "drying" if on < first or is_green else "in its drying days" if on <= last else "past its drying days"
    words = f"felled {piece.last_felled}"
    if piece.needles is not None:
        seen = "" if piece.needles_seen is None else f" on {piece.needles_seen}"
        words += f"; needles {piece.needles}{seen}: {NEEDLE_WORDS[piece.needles]}"
    elif on >= first:
        words += "; no check-up since says whether its needles are green, red or dropped"
    if state == "past its drying days":
        words += "; ask the burn boss"
    item = _item(piece.unit_id, "drying", state, words, since=piece.last_felled, first=first, last=last)
    yield replace(item, needles=piece.needles, needles_seen=piece.needles_seen)


def _piles(piece: DatedGround, on: date) -> Iterable[DueItem]:
    if piece.piled_frac > 0:
        yield _item(piece.unit_id, "piles", "open", "piles not burned yet", since=piece.last_piled)


def _after_fire(piece: DatedGround, on: date) -> Iterable[DueItem]:
    """Yield the days on which burned piles, and dead trees that a fire went through, are looked at again."""
    checks: list[tuple[What, date, str]] = []
    if piece.last_pile_burn is not None:
        checks.append(("hand_check", piece.last_pile_burn, "the piles were burned"))
    if piece.last_fire is not None and piece.snag_frac > 0:
        after = "a fire among dead standing cedars, which smolder, throw embers and fall: look from out of reach"
        checks.append(("snag_check", piece.last_fire, after))
    for what, fire, after in checks:
        for n in HAND_CHECK_DAYS:
            day = days_after(fire, n)
            if day >= on:
                words = f"day {n} after {after}; also before any windy day"
                state = "due" if day == on else "coming"
                yield _item(piece.unit_id, what, state, words, since=fire, first=day, last=day)


def _upkeep(piece: DatedGround, on: date, ahead: date, rule: UpkeepRule) -> Iterable[DueItem]:
    if piece.stage == "coming_back":
        words = "the last check-up found live cedars above the limit"
        yield _item(
            piece.unit_id, "upkeep", "due", words, since=piece.last_look, first=piece.last_look, name=COMING_BACK
        )
        return
    last = max((day for day in (piece.last_fire, piece.last_treated) if day), default=None)
    is_open_ground = piece.stage == "other" and piece.cover in OPEN_COVERS
    are_skeletons = piece.stage == "dead_standing" and piece.last_fire is not None
    if not (piece.stage in UPKEEP_STAGES or is_open_ground or are_skeletons):
        return
    words = f"for {rule.reason}, every {rule.years:g} years"
    if last is None:
        if rule.is_asked:
            first, until = (None, None) if rule.window is None else _span(rule.window, on)
            state = "due" if first is None or first <= on else "coming"
            words += "; no burn or mowing of it is logged"
            yield _item(piece.unit_id, "upkeep", state, words, first=first, last=until)
        return
    asked = days_after(last, round(365.25 * rule.years))
    first, until, is_late = asked, None, False
    if rule.window is not None:
        opens, until = _span(rule.window, asked)
        is_late = until < on
        if is_late:
            opens, until = _span(rule.window, on)
            words += "; its days have passed once without it"
        first = max(opens, asked)
    if is_late or first <= ahead:
        state = "due" if first <= on else "overdue" if is_late else "coming"
        yield _item(piece.unit_id, "upkeep", state, words, since=last, first=first, last=until)


def _look(piece: DatedGround, on: date, ahead: date) -> Iterable[DueItem]:
    is_treated_ground = piece.first_treated is not None and piece.stage not in ("other", "keep")
    treated = piece.last_treated or piece.first_treated
    if treated is None or not (is_treated_ground or piece.snag_frac > 0):
        return
    since = treated
    year = treated.year if (treated.month, treated.day) <= FIRST_SEASON_UNTIL else treated.year + 1
    words = "end of the first growing season since the work"
    # An earlier look (at needles, say) has not seen what lived through the season.
    if piece.last_look is not None and piece.last_look > _day(year, FIRST_SEASON_UNTIL):
        year, words = max(year, piece.last_look.year + 1), "a year since the last check-up"
        since = piece.last_look
    if piece.snag_frac > 0:
        words += "; cedars were killed and left standing: which are dead, and what hangs loose"
    first, last = _day(year, LOOK_WINDOW[0]), _day(year, LOOK_WINDOW[1])
    if first <= ahead:
        state = "coming" if on < first else "due" if on <= last else "overdue"
        yield _item(piece.unit_id, "checkup", state, words, since=since, first=first, last=last)


def _contract(line: ContractDate, on: date) -> DueItem:
    paid, left = line.item, line.left_acres
    if left == 0:
        state = "done"
    elif paid.is_early(on):
        state = "before its start date"
    elif paid.is_late(on):
        state = "overdue"
    elif paid.due is not None and paid.due <= days_after(on, AHEAD_DAYS):
        state = "due"
    else:
        state = "open"
    name = f"{paid.name} ({paid.practice_code})"
    words = name if left is None else f"{name}: {left:.1f} of {paid.planned_acres:.1f} acres to do"
    units = ";".join(paid.units) or None
    item = _item(units, "contract", state, words, first=paid.not_before, last=paid.due, name=name)
    return replace(item, acres=left)


def _span(window: tuple[tuple[int, int], tuple[int, int]], on: date) -> tuple[date, date]:
    """Return the span of days of the year that a day lies in, or the next one after it."""
    return YearlyDays(first=window[0], last=window[1]).next_span(on)


def _item(
    unit_id: str | None,
    what: What,
    state: str,
    words: str,
    *,
    since: date | None = None,
    first: date | None = None,
    last: date | None = None,
    name: str = "",
) -> DueItem:
    return DueItem(
        unit_id=unit_id,
        what=what,
        state=state,
        acres=None,
        since_date=since,
        from_date=first,
        to_date=last,
        words=words,
        name=name or what,
    )


def _ban_name(ban: Ban) -> str:
    """Name a ban by its reason and its own days, so that two with one reason stay two."""
    if isinstance(ban, DatedBan):
        return f"{ban.reason} {ban.first}"
    return f"{ban.reason} {ban.first[0]:02d}-{ban.first[1]:02d}"


def _day(year: int, spot: tuple[int, int]) -> date:
    """Return a day of a year; 29 February becomes the 28th in common years, years off the calendar its end."""
    month, day = spot
    if not date.min.year <= year <= date.max.year:
        return date.min if year < date.min.year else date.max
    try:
        return date(year, month, day)
    except ValueError:
        return date(year, month, day - 1)
