"""The state of a piece of ground, from the work done on it: its stage and what lies or stands dead there."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

from habmap.errors import InputError
from habmap.records import Entry
from habmap.vocabulary import DEFAULT_KILLED_PCT, FIRE, KILLING, STAGES, TREATED, WORKS
from habmap.work.ledger import day_order

#: A fire this long after the one before is upkeep; a fire sooner is the same burn season.
UPKEEP_AFTER_DAYS: Final = 300
#: Shares are decimal fractions in binary: 1 − 0.5 × 0.4 must reach 0.8.
_SHARE_TOLERANCE: Final = 1e-9

#: How far along ground is; killing practices move it forward only.
_FORWARD: Final = (
    "standing", "part_cut", "dead_standing", "down", "piled", "burned", "slash_gone", "kept_up",
)  # fmt: skip

#: What a practice does to ground of a stage; the columns are the stages in the order of ``vocabulary.STAGES``.
#: A stage's name: it becomes that. ``.``: no change. ``share``: the killed share decides, and never moves it backward.
#: ``fire``: a fire that brings the share to the target leaves ground burned where trees were cut, else dead_standing.
#: ``again``: kept_up when the last fire there is 300 days gone. ``live``: coming_back when a look found more live
#: cedars than the limit.
STAGE_TABLE: Final[dict[str, dict[str, str]]] = {
    practice: dict(zip(STAGES, cells.split(), strict=True))
    for practice, cells in {
        #             stand part  dead   down       piled      burned     slash_gone kept_up coming  keep other
        "keep":      "keep  keep  .      .          .          .          .          .       .       .    .",
        "cut":       "share share share  share      share      kept_up    kept_up    .       kept_up .    .",
        "mulch":     "share share share  share      share      share      share      share   kept_up .    .",
        "pull":      "share share share  share      share      kept_up    kept_up    .       kept_up .    .",
        "girdle":    "share share share  share      share      share      share      share   kept_up .    .",
        "spray":     "share share share  share      share      share      share      share   kept_up .    .",
        "pile":      ".     .     piled  piled      .          piled      .          .       .       .    .",
        "haul":      ".     .     .      slash_gone slash_gone slash_gone .          .       .       .    .",
        "burn":      "fire  fire  burned burned     slash_gone again      again      again   again   .    .",
        "pile_burn": ".     .     .      slash_gone slash_gone slash_gone .          .       .       .    .",
        "mow":       ".     .     .      .          .          kept_up    kept_up    .       kept_up .    .",
        "graze":     ".     .     .      .          .          kept_up    kept_up    .       kept_up .    .",
        "checkup":   ".     .     live   live       live       live       live       live    .       .    .",
        "seed":      ".     .     .      .          .          .          .          .       .       .    .",
        "other":     ".     .     .      .          .          .          .          .       .       .    .",
    }.items()
}  # fmt: skip

#: Places that a killed cedar can be in: lying where it fell, lying there after a fire, in a pile, standing dead.
_PLACES: Final = ("lying", "charred", "piled", "snag")
#: What a practice does to the cedars that once stood on a piece, whatever its stage: where those go that it kills, and
#: what becomes of those in each place. A practice not listed changes none of them.
#: A place's name, or ``gone``: they go there. ``.``: they stay as they are.
#: ``target``: gone once the killed share has reached the target, as stage slash_gone has it: such mulching shreds it.
#: ``dead``: into the piles where the target is reached and nothing felled is there: only they can have been piled.
#: ``logged``: they stay where piles are logged, since they were felled after the piling; where none are, the slash that
#: lay there was piled without a line of its own, and is gone.
#: Slash in piles is on the ground until it is burned or hauled. A fire takes all slash of its patch, whatever share of
#: the ground it blackened, and leaves what stands dead standing; what it charred counts as gone unless it is piled
#: afterwards. Cedars that came up after the work are in no share.
SHARE_TABLE: Final[dict[str, dict[str, str]]] = {
    practice: dict(zip(("killed", *_PLACES), cells.split(), strict=True))
    for practice, cells in {
        #             killed lying   charred piled  snag
        "cut":       "lying  .       .       .      .",
        "mulch":     "gone   target  target  target .",
        "pull":      "lying  .       .       .      .",
        "girdle":    "snag   .       .       .      .",
        "spray":     "snag   .       .       .      .",
        "pile":      ".      piled   piled   .      dead",
        "haul":      ".      gone    gone    gone   .",
        "burn":      "snag   charred .       gone   .",
        "pile_burn": ".      logged  gone    gone   .",
    }.items()
}  # fmt: skip
#: Practices that bring live cedars to the ground.
FELLING: Final = frozenset(practice for practice, row in SHARE_TABLE.items() if row["killed"] == "lying")
#: Practices that leave what they kill standing, and those that leave nothing of it.
LEAVES_SNAGS: Final = frozenset(practice for practice, row in SHARE_TABLE.items() if row["killed"] == "snag")
LEAVES_NOTHING: Final = frozenset(practice for practice, row in SHARE_TABLE.items() if row["killed"] == "gone")


@dataclass(frozen=True, slots=True)
class Kill:
    """What one line of the log killed on a piece: its share of the first cedars killed before and after it, 0–1."""

    entry_id: str
    date: date
    practice: str
    killed_before_frac: float
    killed_after_frac: float


@dataclass(frozen=True, slots=True)
class GroundState:
    """What the log says of one piece of ground; shares are of the cedars that once stood there, 0–1.

    Attributes
    ----------
    stage
        One of ``vocabulary.STAGES``.
    since
        Day on which it came into this stage; ``None`` = from the beginning.
    killed_frac
        Share that the work killed.
    lying_frac, piled_frac
        Shares felled and not yet gone: those lying where they fell, and those in piles.
    charred_frac
        Share felled that a fire went over where it lay: gone, unless it is piled afterwards.
    snag_frac
        Share killed standing and not yet gone.
    felled_ever
        Whether trees were cut or pulled there, ever.
    last_felled, last_piled, last_fire, last_look
        Last day of cutting or pulling, from which slash dries; of piling; of a burn or burned piles; of a look.
    first_treated
        Day on which it first reached a treated stage.
    last_treated
        Last day of any work that kills, clears, burns or keeps up.
    live_stems_per_acre
        What the last look that counted found.
    needles, needles_seen
        Needle color of the last check-up since the last felling that told it, and its day.
    kills
        The lines that killed, in the order of the work; of one practice told twice for a day the one that counts.
    brought_to_target
        The line that first brought the killed share to the unit's target, whatever the stage; ``None`` = none yet.
    """

    stage: str
    since: date | None = None
    killed_frac: float = 0.0
    lying_frac: float = 0.0
    charred_frac: float = 0.0
    piled_frac: float = 0.0
    snag_frac: float = 0.0
    felled_ever: bool = False
    last_felled: date | None = None
    last_piled: date | None = None
    last_fire: date | None = None
    last_look: date | None = None
    first_treated: date | None = None
    last_treated: date | None = None
    live_stems_per_acre: float | None = None
    needles: str | None = None
    needles_seen: date | None = None
    kills: tuple[Kill, ...] = ()
    brought_to_target: Kill | None = None

    @property
    def felled_frac(self) -> float:
        """Return the share felled and not yet gone, in piles or not."""
        return self.lying_frac + self.piled_frac

    @property
    def is_treated(self) -> bool:
        """Whether the ground has been treated at least once."""
        return self.stage in TREATED


@dataclass(frozen=True, slots=True)
class _Limits:
    target_frac: float
    leave_stems_per_acre: float


@dataclass(frozen=True, slots=True)
class _Killed:
    """Share killed and whether anything was felled, this entry's work included."""

    frac: float
    felled_ever: bool


def stage_before_work(*, is_cedar: bool) -> str:
    """Return the stage of ground on which nothing was done."""
    return "standing" if is_cedar else "other"


def ground_state(
    entries: Iterable[Entry], *, target_frac: float, leave_stems_per_acre: float, is_cedar: bool = True
) -> GroundState:
    """Return the state of ground on which these entries, and no others, were done.

    Parameters
    ----------
    entries
        Effective entries (no voiding or amending rows), in any order.
    target_frac
        Share killed at which ground counts as treated, above 0 to 1.
    leave_stems_per_acre
        Live cedars per acre that treated ground may hold before it is coming back [1/acre].
    is_cedar
        Whether the unit's first cover counts as cedar ground; if not, the stage is ``other`` whatever was done.

    Raises
    ------
    InputError
        An entry kills but does not say how much, and its practice has no default (girdle, spray).

    Notes
    -----
    Shares combine as 1 − Π(1 − p), p being the share of the cedars alive that morning. The same practice written twice
    for one day counts once, with the larger share. Ground left on purpose stays so until its keep entry is voided.
    """
    course = Course(target_frac=target_frac, leave_stems_per_acre=leave_stems_per_acre, is_cedar=is_cedar)
    return course.states(sorted(entries, key=day_order))[-1]


@dataclass(frozen=True, slots=True)
class _Told:
    """The state after a line, the state before it and the line: of one told twice for a day, the larger."""

    state: GroundState
    before: GroundState
    line: Entry | None


class Course:
    """What becomes of ground line by line; of lists that begin alike the beginning is worked out once.

    Parameters and rules are those of `ground_state`.
    """

    def __init__(self, *, target_frac: float, leave_stems_per_acre: float, is_cedar: bool) -> None:
        self._limits = _Limits(target_frac, leave_stems_per_acre)
        start = GroundState(stage_before_work(is_cedar=is_cedar))
        self._start = _Told(start, start, None)
        self._after: dict[tuple[int, int], tuple[_Told, _Told, Entry]] = {}

    def states(self, ordered: Iterable[Entry]) -> tuple[GroundState, ...]:
        """Return the state before any work, and after each of these lines, which are in the order of work."""
        told, found = self._start, [self._start.state]
        for line in ordered:
            key = (id(told), id(line))
            if key not in self._after:
                self._after[key] = (self._next(told, line), told, line)  # what is named by its id must stay
            told = self._after[key][0]
            found.append(told.state)
        return tuple(found)

    def _next(self, told: _Told, line: Entry) -> _Told:
        last = told.line
        if last and line.practice in KILLING and (last.practice, last.date) == (line.practice, line.date):
            if killed_frac(line) <= killed_frac(last):
                return told
            return _Told(_worked(told.before, line, self._limits), told.before, line)
        return _Told(_worked(told.state, line, self._limits), told.state, line)


def killed_frac(entry: Entry) -> float:
    """Return the share of that morning's live cedars that an entry killed, 0–1."""
    if entry.practice not in KILLING:
        return 0.0
    pct = entry.killed_pct if entry.killed_pct is not None else DEFAULT_KILLED_PCT.get(entry.practice)
    if pct is None:
        raise InputError(
            f"{entry.practice} does not say what share of the cedars it killed",
            where=f"log line {entry.entry_id}, {entry.date}",
            allowed="killed_pct from 0 to 100",
            mend="amend the line with its share killed",
        )
    return pct / 100


def _worked(state: GroundState, entry: Entry, limits: _Limits) -> GroundState:
    share = killed_frac(entry)
    is_felling = entry.practice in FELLING and share > 0
    # A share is 1 less something, so that 1 less it is exact: a line that kills nothing moves it by no rounding.
    killed = _Killed(1 - (1 - state.killed_frac) * (1 - share), state.felled_ever or is_felling)
    rule = STAGE_TABLE.get(entry.practice, {}).get(state.stage, ".")
    stage = _RULES[rule](state, killed, entry, limits) if rule in _RULES else rule
    found = entry.look.live_stems_per_acre if entry.practice == "checkup" and entry.look else None
    day = entry.date
    seen = entry.look.needles if entry.practice == "checkup" and entry.look else None
    # What was seen on slash says nothing of what is felled after it.
    needles, needles_seen = (None, None) if is_felling else (state.needles, state.needles_seen)
    kill = Kill(entry.entry_id, day, entry.practice, state.killed_frac, killed.frac)
    is_first_at_target = state.brought_to_target is None and share > 0 and _reached(killed, limits)
    return replace(
        state,
        **_shares(state, killed, entry, limits),
        stage=stage,
        since=state.since if stage == state.stage else day,
        killed_frac=killed.frac,
        felled_ever=killed.felled_ever,
        last_felled=day if is_felling else state.last_felled,
        last_piled=day if entry.practice == "pile" else state.last_piled,
        last_fire=day if entry.practice in FIRE else state.last_fire,
        last_look=day if entry.practice == "checkup" else state.last_look,
        first_treated=day if state.first_treated is None and stage in TREATED else state.first_treated,
        last_treated=day if entry.practice in WORKS else state.last_treated,
        live_stems_per_acre=state.live_stems_per_acre if found is None else found,
        needles=seen or needles,
        needles_seen=day if seen else needles_seen,
        kills=(*state.kills, kill) if share > 0 else state.kills,
        brought_to_target=kill if is_first_at_target else state.brought_to_target,
    )


def _shares(state: GroundState, killed: _Killed, entry: Entry, limits: _Limits) -> dict[str, float]:
    """Return the shares lying, charred, piled and standing dead as a line of the log leaves them."""
    row = SHARE_TABLE.get(entry.practice)
    if row is None:
        return {}
    before = {place: getattr(state, f"{place}_frac") for place in _PLACES}
    before["killed"] = killed.frac - state.killed_frac
    after = dict.fromkeys((*_PLACES, "gone"), 0.0)
    for place, frac in before.items():
        cell = row[place]
        if cell == "target":
            cell = "gone" if _reached(killed, limits) else "."
        elif cell == "dead":
            is_alone = not (state.lying_frac or state.charred_frac or state.piled_frac)
            cell = "piled" if is_alone and _reached(killed, limits) else "."
        elif cell == "logged":
            cell = "." if state.piled_frac > 0 else "gone"
        if frac > 0:
            after[place if cell == "." else cell] += frac
    return {f"{place}_frac": after[place] for place in _PLACES}


def _reached(killed: _Killed, limits: _Limits) -> bool:
    return killed.frac >= limits.target_frac - _SHARE_TOLERANCE


def _forward(stage: str, other: str) -> str:
    return max(stage, other, key=_FORWARD.index)


def _unchanged(state: GroundState, killed: _Killed, entry: Entry, limits: _Limits) -> str:
    return state.stage


def _by_share(state: GroundState, killed: _Killed, entry: Entry, limits: _Limits) -> str:
    if not _reached(killed, limits):
        return _forward(state.stage, "part_cut") if killed.frac > 0 else state.stage
    if entry.practice in LEAVES_NOTHING:
        return _forward(state.stage, "slash_gone")
    return _forward(state.stage, "down" if killed.felled_ever else "dead_standing")


def _by_fire(state: GroundState, killed: _Killed, entry: Entry, limits: _Limits) -> str:
    if not _reached(killed, limits):
        return state.stage
    return "burned" if killed.felled_ever else "dead_standing"


def _by_years(state: GroundState, killed: _Killed, entry: Entry, limits: _Limits) -> str:
    gone = state.last_fire is None or (entry.date - state.last_fire).days >= UPKEEP_AFTER_DAYS
    return "kept_up" if gone else state.stage


def _by_look(state: GroundState, killed: _Killed, entry: Entry, limits: _Limits) -> str:
    found = entry.look.live_stems_per_acre if entry.look else None
    return "coming_back" if found is not None and found > limits.leave_stems_per_acre else state.stage


_RULES: Final[dict[str, Callable[[GroundState, _Killed, Entry, _Limits], str]]] = {
    ".": _unchanged,
    "share": _by_share,
    "fire": _by_fire,
    "again": _by_years,
    "live": _by_look,
}
