"""What a person says about a piece of work, checked before anything is opened."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from typing import Final

from habmap.errors import InputError, UsageError
from habmap.place.load.cells import LONGEST_TEXT
from habmap.records import Entry, Look
from habmap.vocabulary import (
    DEFAULT_KILLED_PCT,
    FIRE,
    FIRE_CAUTION,
    KILLING,
    LABEL_CAUTION,
    NEEDLES,
    PRACTICES,
    SAW_CAUTION,
    SNAG_CAUTION,
    TOP_KILLING,
    default_killed_pct,
)
from habmap.work.stages import GroundState

#: More person-hours than this on one line of the log are taken for a slip of the pen (a crew of 40 for a month).
MAX_PERSON_HOURS: Final = 10_000.0
#: A reported figure further from the ground than this share, and than two standard deviations, is asked about.
REPORTED_TOLERANCE_FRAC: Final = 0.10

_SAW_WORK: Final = frozenset({"cut", "girdle", "pile"})
_LEAVES_SNAGS: Final = frozenset({"girdle", "spray", "burn"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What was said about the work beside its practice, day and ground; ``None`` = not said. Units as in ``Entry``."""

    killed_pct: float | None = None
    burned_pct: float | None = None
    person_hours: float | None = None
    cost: float | None = None
    reported_acres: float | None = None
    who: str | None = None
    note: str | None = None
    product: str | None = None
    product_rate: str | None = None
    look: Look | None = None

    def given(self) -> dict[str, object]:
        """Return what was said, without the rest."""
        return {field.name: value for field in fields(self) if (value := getattr(self, field.name)) is not None}

    def over(self, entry: Entry) -> Entry:
        """Return an entry with what was said put over it; a look's observations one by one."""
        given = self.given()
        if self.look is not None and entry.look is not None:
            seen = {f.name: v for f in fields(Look) if (v := getattr(self.look, f.name)) not in (None, ())}
            given["look"] = replace(entry.look, **seen)
        return replace(entry, **given)  # type: ignore[arg-type]


def check_practice(practice: str) -> str:
    """Return a practice's key.

    Raises
    ------
    UsageError
        It is not known.
    """
    if practice not in PRACTICES:
        raise UsageError(
            "this practice is not known",
            value=practice,
            allowed=", ".join(PRACTICES),
            mend="choose one of these; `other` with a --note for the rest",
        )
    return practice


def check_why(why: str) -> None:
    """Refuse a correction without a reason."""
    if not why.strip():
        raise UsageError("a correction needs a reason", where="--why", mend='say it in a few words: --why "wrong unit"')


def check_said(said: Said, *, practice: str) -> None:
    """Refuse what cannot be.

    Raises
    ------
    UsageError
        A number is out of its range or not finite, a share killed is missing, or observations do not fit the practice.
    """
    for name in ("who", "note", "product", "product_rate"):
        text = getattr(said, name)
        if text is not None and len(text) > LONGEST_TEXT:
            raise UsageError(
                "this text is too long",
                where="--rate" if name == "product_rate" else f"--{name}",
                value=f"{len(text):,} characters",
                allowed=f"up to {LONGEST_TEXT:,} characters",
                mend="keep a report of that length in a file of its own",
            )
    _in_range(said.killed_pct, "--killed-pct", 0, 100)
    _in_range(said.burned_pct, "--burned-pct", 0, 100)
    _in_range(said.person_hours, "--person-hours", 0, MAX_PERSON_HOURS)
    _in_range(said.cost, "--cost", 0, None)
    _in_range(said.reported_acres, "--reported-acres", 0, None, is_open=True)
    if practice in KILLING and practice not in DEFAULT_KILLED_PCT and said.killed_pct is None:
        raise UsageError(
            f"`{practice}` must say what share of the cedars it killed",
            where="--killed-pct",
            allowed="0 to 100, of the cedars alive there that morning",
            mend="add --killed-pct; `habmap correct` corrects it when the needles have turned",
        )
    if practice == "checkup":
        if said.look is None and said.note is None:
            raise UsageError(
                "a look must say what was seen",
                where="log checkup",
                mend="give at least one of --live-stems-per-acre, --tallest-ft, --seedlings-per-acre, --needles, "
                "--fuel-lb-ac, --sprouts, --stump-treated, or a --note",
            )
    elif said.look is not None and said.look != Look(stump_treated=said.look.stump_treated):
        raise UsageError(
            "what stands there now is logged with `log checkup`",
            value=practice,
            mend="log the work and the look as two lines",
        )
    if said.look is not None:
        _in_range(said.look.live_stems_per_acre, "--live-stems-per-acre", 0, None)
        _in_range(said.look.tallest_ft, "--tallest-ft", 0, None)
        _in_range(said.look.seedlings_per_acre, "--seedlings-per-acre", 0, None)
        _in_range(said.look.fuel_lb_ac, "--fuel-lb-ac", 0, None)


def reported_question(entry: Entry, measured_acres: float) -> str | None:
    """Return what is to be asked where the reported acres are far from the ground [acre]; ``None`` where they are not.

    Far is a gap of 10 % of the ground or more that is wider than two standard deviations of ground that was walked.
    """
    if entry.reported_acres is None:
        return None
    gap_acres = abs(entry.reported_acres - measured_acres)
    if gap_acres < REPORTED_TOLERANCE_FRAC * measured_acres or gap_acres <= 2 * (entry.acres_sd or 0):
        return None
    side = "more" if entry.reported_acres > measured_acres else "less"
    return (
        f"the reported {entry.reported_acres:,.2f} acres are {gap_acres:,.2f} {side} than the ground given, "
        f"which measures {measured_acres:,.2f} acres"
    )


def check_killed(said: Said, *, practice: str, cedar: str) -> None:
    """Refuse work without its share killed where the property's cedar may grow again from what is left.

    Raises
    ------
    InputError
        The share is missing; which cedar it is stands in the property's settings.
    """
    if practice in TOP_KILLING and said.killed_pct is None and default_killed_pct(practice, cedar=cedar) is None:
        raise InputError(
            f"`{practice}` must say what share of the cedars it killed: this property's, {cedar}, can grow from stumps",
            where="--killed-pct",
            allowed="0 to 100, of the cedars alive there that morning",
            mend="add --killed-pct; if the cedar is another, write it as `cedar` under [place] in habmap.toml",
        )


def look_of(
    *,
    live_stems_per_acre: float | None = None,
    tallest_ft: float | None = None,
    seedlings_per_acre: float | None = None,
    sprouts: str | None = None,
    needles: str | None = None,
    fuel_lb_ac: float | None = None,
    stump_treated: bool | None = None,
) -> Look | None:
    """Return what was seen as a record; ``None`` where nothing was said.

    Raises
    ------
    UsageError
        The needle color is not known, or the sprouts do not read as ``species=n,…``.
    """
    if needles is not None and needles not in NEEDLES:
        raise UsageError("this needle color is not known", where="--needles", value=needles, allowed=", ".join(NEEDLES))
    look = Look(
        live_stems_per_acre=live_stems_per_acre,
        tallest_ft=tallest_ft,
        seedlings_per_acre=seedlings_per_acre,
        sprouts=() if sprouts is None else parsed_sprouts(sprouts),
        needles=needles,  # type: ignore[arg-type]
        fuel_lb_ac=fuel_lb_ac,
        stump_treated=stump_treated,
    )
    return None if look == Look() else look


def parsed_sprouts(text: str) -> tuple[tuple[str, int], ...]:
    """Read ``species=n,species=n``: how many sprouting stumps or stems of each species were counted.

    Raises
    ------
    UsageError
        The text does not read so, a count is no whole number from 0 up, or a species comes twice.
    """
    found: dict[str, int] = {}
    for part in text.split(","):
        species, equals, count = (piece.strip() for piece in part.partition("="))
        if not (equals and species and count.isascii() and count.isdigit()) or species in found:
            raise UsageError(
                "the sprouts cannot be read",
                where="--sprouts",
                value=part,
                allowed="species=n,species=n with each species once and whole numbers",
            )
        found[species] = int(count)
    return tuple(found.items())


def cautions_for(practice: str, said: Said | Entry, ground: Iterable[GroundState] = ()) -> tuple[str, ...]:
    """Return the cautions that belong to work: its own, and those of the ground that it is done on."""
    is_treated = said.look is not None and said.look.stump_treated is True
    has_product = practice == "spray" or is_treated or said.product is not None
    rules = (
        (practice in _SAW_WORK, SAW_CAUTION),
        (practice in FIRE, FIRE_CAUTION),
        (practice in _LEAVES_SNAGS or has_snags(ground), SNAG_CAUTION),
        (has_product, LABEL_CAUTION),
    )
    return tuple(words for applies, words in rules if applies)


def has_snags(ground: Iterable[GroundState]) -> bool:
    """Tell whether cedars killed and left standing are still up anywhere on this ground, whatever its stage."""
    return any(state.snag_frac > 0 for state in ground)


def _in_range(value: float | None, where: str, low: float, high: float | None, *, is_open: bool = False) -> None:
    if value is None:
        return
    fits = math.isfinite(value) and (value > low if is_open else value >= low) and (high is None or value <= high)
    if not fits:
        floor = f"more than {low:g}" if is_open else f"{low:g} or more"
        allowed = floor if high is None else f"{low:g} to {high:,.0f}"
        raise UsageError("this number cannot be", where=where, value=value, allowed=allowed)
