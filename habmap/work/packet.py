"""What an inspector is shown of one contract item: its ground, the lines of the log it rests on, and what is open.

The acres are the practice report's own (`habmap.work.paperwork`); this only gathers what they rest on, and asks of it
what somebody who has to certify them would ask.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

import shapely
from shapely.geometry.base import BaseGeometry

from habmap.land.grid import LocalGrid
from habmap.measures import acres
from habmap.records import Entry, Unit
from habmap.vocabulary import DEFAULT_KILLED_PCT, KILLING, STATEMENTS
from habmap.work.ground import Ground, GroundPiece
from habmap.work.ledger import Correction
from habmap.work.paperwork import killing_practices
from habmap.work.paperwork_records import FORM_ROUNDING_ACRES, ItemGround
from habmap.work.photo_pairs import FoundPoint
from habmap.work.photo_points import SEEN_AREA_M2, seen_ground
from habmap.work.practice_report import Reported
from habmap.work.said import reported_question
from habmap.work.stages import GroundState

#: How the ground of a line came to be known.
How = Literal["walked", "whole", "drawn"]
Kind = Literal[
    "walked", "whole", "drawn", "reported", "assumed", "corrected", "told_late", "no_first_day", "early_or_late",
    "no_code", "no_pair", "no_checkup", "coming_back", "slash", "redrawn", "unit_gone", "claimed",
]  # fmt: skip
#: Questions about how a line was told: the owner's and the inspector's, of no copy for the public.
OWNERS_KINDS: Final[frozenset[Kind]] = frozenset(
    {"walked", "whole", "drawn", "reported", "assumed", "corrected", "told_late"}
)
#: A line told later than this after its work was told from memory (chosen, no source) [days].
LATE_DAYS: Final = 30
#: A whole unit drawn again from its own outline is the same to the last digits only.
_WHOLE_FRAC: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class LogLine:
    """One line of the log that the item rests on.

    Attributes
    ----------
    acres, here_acres
        Its whole patch, and its part on the item's worked ground [acre].
    corrections
        The rows that corrected it, in order.
    is_own, is_inside
        Whether its practice is one that the item pays for, and its day lies inside the item's.
    """

    number: int
    entry: Entry
    how: How
    acres: float
    here_acres: float
    corrections: tuple[Entry, ...]
    is_own: bool
    is_inside: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One thing that somebody who certifies the acres would ask.

    Attributes
    ----------
    acres
        The ground that it is about, or for ``walked`` the standard deviation [acre]; ``None``: none can be told.
    lines
        Numbers of the lines of the log that it is about.
    about
        Practices, units or days, as the kind wants them.
    """

    kind: Kind
    acres: float | None = None
    lines: tuple[int, ...] = ()
    about: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemPacket:
    """All that the packet tells of one item, but for pictures; ``kills``: its practices must bring ground to target."""

    place: str
    currency: str
    from_date: date
    to_date: date
    ground: ItemGround
    state: Ground
    kills: bool
    log: tuple[LogLine, ...]
    questions: tuple[Question, ...]

    def pieces(self) -> Iterator[tuple[str, GroundPiece]]:
        """Yield the worked pieces with the column that each stands in."""
        for number, column in self.ground.columns.items():
            yield column, self.state.pieces[number]

    @property
    def snag_acres(self) -> float:
        """Worked ground on which killed cedars still stand [acre]."""
        return acres(math.fsum(piece.area_m2 for _, piece in self.pieces() if piece.state.snag_frac > 0))


def item_packet(
    report: Reported,
    place: int,
    *,
    coded: Mapping[str, str],
    lines: Sequence[Correction],
    numbers: Mapping[str, int],
    versions: Sequence[Unit],
    points: Sequence[FoundPoint],
    day_of: Callable[[Entry], date],
    is_owner: bool,
) -> tuple[ItemPacket, tuple[FoundPoint, ...]]:
    """Return what the packet of one item tells, and the photo pairs that show some of its ground.

    Parameters
    ----------
    place
        The item's place in the contract.
    coded
        Practice → paperwork code.
    lines, numbers
        All lines of the log with what became of them, and what people call each by.
    points
        All photo points.
    day_of
        The local day on which a row was written.
    is_owner
        Whether it tells how the lines were told.
    """
    ground, state = report.ground[place], report.state
    code = ground.item.practice_code
    kills = killing_practices(code, coded)
    practices = kills or {practice for practice, own in coded.items() if own == code}
    log = log_lines(ground, state, practices=practices, lines=lines, numbers=numbers)
    worked = shapely.union_all([state.pieces[number].geometry for number in ground.columns])
    seen = [(point, view) for point in points if (view := _pair_view(point, worked, state.grid)) is not None]
    views = [view for _, view in seen]
    asked = questions(ground, state, log, coded=coded, pair_views=views, versions=versions, day_of=day_of)
    packet = ItemPacket(
        place=report.result.place,
        currency=report.result.currency,
        from_date=report.result.from_date,
        to_date=report.result.to_date,
        ground=ground,
        state=state,
        kills=bool(kills),
        log=log,
        questions=tuple(one for one in asked if is_owner or one.kind not in OWNERS_KINDS),
    )
    return packet, tuple(point for point, _ in seen)


def _pair_view(point: FoundPoint, worked: BaseGeometry, grid: LocalGrid | None) -> BaseGeometry | None:
    """Return the ground that a photo pair shows, where it shows some of the item's; ``None`` for all other photos."""
    if point.after is None or grid is None:
        return None
    spot = grid.to_grid(point.before.geometry)
    view = seen_ground(spot.x, spot.y, point.before.direction_deg)
    return view if shapely.intersection(view, worked).area >= SEEN_AREA_M2 else None


def log_lines(
    ground: ItemGround,
    state: Ground,
    *,
    practices: Collection[str],
    lines: Sequence[Correction],
    numbers: Mapping[str, int],
) -> tuple[LogLine, ...]:
    """Return all lines on the item's worked ground, by day; those of other practices show what became of it.

    Parameters
    ----------
    practices
        What the item pays for.
    lines
        All lines of the log with what became of them.
    numbers
        What people call each line by.
    """
    told = {line.root.entry_id: line for line in lines}
    here: defaultdict[str, list[float]] = defaultdict(list)
    for number in ground.columns:
        for entry_id in state.pieces[number].entry_ids:
            here[entry_id].append(state.pieces[number].area_m2)
    wanted = {entry_id for line in ground.lines for entry_id in line.entry_ids} | set(here)
    found = []
    for entry in state.entries:
        if entry.entry_id not in wanted or entry.practice in STATEMENTS or entry.patch is None:
            continue
        basis = told[entry.entry_id].basis if entry.entry_id in told else ()
        found.append(
            LogLine(
                number=numbers[entry.entry_id],
                entry=entry,
                how=_how(entry, entry.patch, state.units),
                acres=acres(state.patches[entry.entry_id].area),
                here_acres=acres(math.fsum(here[entry.entry_id])),
                corrections=tuple(row for row in basis if row.action == "amend"),
                is_own=entry.practice in practices,
                is_inside=not ground.item.is_early(entry.date) and not ground.item.is_late(entry.date),
            )
        )
    return tuple(found)


def _how(entry: Entry, patch: BaseGeometry, units: Sequence[Unit]) -> How:
    if entry.acres_sd is not None:
        return "walked"
    covered = [unit.geometry for unit in units if _is_covered(unit.geometry, patch)]
    return "whole" if covered and _is_covered(patch, shapely.union_all(covered)) else "drawn"


def _is_covered(ground: BaseGeometry, by: BaseGeometry) -> bool:
    return bool(shapely.difference(ground, by).area <= _WHOLE_FRAC * ground.area)


def questions(
    ground: ItemGround,
    state: Ground,
    log: Sequence[LogLine],
    *,
    coded: Collection[str],
    pair_views: Sequence[shapely.Geometry],
    versions: Sequence[Unit],
    day_of: Callable[[Entry], date],
) -> tuple[Question, ...]:
    """Return what would be asked, what touches the acres first.

    Parameters
    ----------
    coded
        Practices that have a practice code.
    pair_views
        Ground in view of the photo pairs beside the item, in grid meters.
    versions
        All versions of all units.
    day_of
        The local day on which a row was written.
    """
    own = [line for line in log if line.is_own]
    asked = [
        *_how_measured(ground, state, own),
        *_what_was_said(own, day_of),
        *_dates(ground, own),
        *_ground_now(ground, state, pair_views),
        *_paper(ground, state, coded),
        *_units(ground, state, own, versions),
    ]
    return tuple(asked)


def _numbers(lines: Sequence[LogLine]) -> tuple[int, ...]:
    return tuple(line.number for line in lines)


def _how_measured(ground: ItemGround, state: Ground, log: Sequence[LogLine]) -> Iterator[Question]:
    hows: tuple[How, ...] = ("walked", "whole", "drawn")
    for how in hows:
        lines = [line for line in log if line.how == how]
        if not lines:
            continue
        told = {line.entry.entry_id for line in lines}
        pieces = (state.pieces[number] for number in ground.columns)
        size = acres(math.fsum(piece.area_m2 for piece in pieces if not told.isdisjoint(piece.entry_ids)))
        if how == "walked":
            # of walks on different days, whose errors have nothing to do with each other
            size = math.sqrt(math.fsum((line.entry.acres_sd or 0.0) ** 2 for line in lines))
        yield Question(kind=how, acres=size, lines=_numbers(lines))


def _what_was_said(log: Sequence[LogLine], day_of: Callable[[Entry], date]) -> Iterator[Question]:
    if lines := [line for line in log if reported_question(line.entry, line.acres)]:
        yield Question(kind="reported", lines=_numbers(lines))
    unsaid = [line for line in log if line.entry.practice in KILLING and line.entry.killed_pct is None]
    if lines := [line for line in unsaid if DEFAULT_KILLED_PCT.get(line.entry.practice)]:
        yield Question(kind="assumed", lines=_numbers(lines))
    if lines := [line for line in log if line.corrections]:
        days = tuple(sorted({day_of(row).isoformat() for line in lines for row in line.corrections}))
        yield Question(kind="corrected", lines=_numbers(lines), about=days)
    if lines := [line for line in log if (day_of(line.entry) - line.entry.date).days > LATE_DAYS]:
        yield Question(kind="told_late", lines=_numbers(lines))


def _dates(ground: ItemGround, log: Sequence[LogLine]) -> Iterator[Question]:
    if ground.item.not_before is None:
        yield Question(kind="no_first_day")
    outside = [line for line in log if not line.is_inside]
    size = math.fsum(ground.total.apart_acres[column] for column in ("too_early", "late"))
    if outside:
        days = tuple(sorted({line.entry.date.isoformat() for line in outside}))
        yield Question(kind="early_or_late", acres=size, lines=_numbers(outside), about=days)


def _ground_now(ground: ItemGround, state: Ground, pair_views: Sequence[shapely.Geometry]) -> Iterator[Question]:
    applied = [state.pieces[number] for number, column in ground.columns.items() if column == "applied"]
    whole = shapely.union_all([piece.geometry for piece in applied])
    unseen = acres(shapely.difference(whole, shapely.union_all(list(pair_views))).area)
    if unseen >= FORM_ROUNDING_ACRES:
        yield Question(kind="no_pair", acres=unseen)
    meant: tuple[tuple[Kind, list[GroundPiece]], ...] = (
        ("no_checkup", [one for one in applied if not _is_looked_at(one.state)]),
        ("coming_back", [one for one in applied if one.stage == "coming_back"]),
        ("slash", [one for one in applied if one.state.felled_frac > 0]),
    )
    for kind, found in meant:
        size = acres(math.fsum(one.area_m2 for one in found))
        if size >= FORM_ROUNDING_ACRES:
            yield Question(kind=kind, acres=size)


def _is_looked_at(state: GroundState) -> bool:
    """Tell whether somebody looked after treated ground, as its first treatment left it; ground never treated is."""
    return state.first_treated is None or (state.last_look is not None and state.last_look >= state.first_treated)


def _paper(ground: ItemGround, state: Ground, coded: Collection[str]) -> Iterator[Question]:
    practice = {entry.entry_id: entry.practice for entry in state.entries}
    here = {practice[entry_id] for number in ground.columns for entry_id in state.pieces[number].entry_ids}
    if without := tuple(sorted(here - set(coded) - set(STATEMENTS))):
        yield Question(kind="no_code", about=without)
    if ground.total.apart_acres["elsewhere"] > 0:
        yield Question(kind="claimed", acres=ground.total.apart_acres["elsewhere"])


def _units(ground: ItemGround, state: Ground, log: Sequence[LogLine], versions: Sequence[Unit]) -> Iterator[Question]:
    known = {unit.unit_id for unit in state.units}
    if gone := tuple(unit_id for unit_id in ground.item.units if unit_id not in known):
        yield Question(kind="unit_gone", about=gone)
    first = min((line.entry.date for line in log), default=None)
    own = {line.unit_id for line in ground.lines}
    redrawn = sorted(
        {
            f"{unit.unit_id} on {unit.valid_from}"
            for unit in versions
            if unit.unit_id in own
            and unit.valid_from is not None
            and first is not None
            and unit.valid_from > first
            and unit.replaces
        }
    )
    if redrawn:
        yield Question(kind="redrawn", about=tuple(redrawn))
