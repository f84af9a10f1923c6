"""What a person says about a piece of work, checked before anything is opened, and what of it looks like a slip."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from habmap.errors import InputError, UsageError
from habmap.records import Entry, Look, facts, value_of
from habmap.records.said import Said, parts_of_a_look, refuse_faults
from habmap.vocabulary import (
    DEFAULT_KILLED_PCT,
    KILLING,
    MACHINES,
    PRACTICES,
    TOP_KILLING,
    cautions_of,
    default_killed_pct,
)
from habmap.work.stages import LEAVES_SNAGS, GroundState


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
            where="the practice",
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
    refuse_faults(said, Entry)
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
                mend=f"give at least one of {', '.join(one.flag for one in facts(Look).values())}, or a --note",
            )
    elif any(value_of(said, one) not in (None, ()) for one in parts_of_a_look()):
        raise UsageError(
            "what stands there now is logged with `log checkup`",
            value=practice,
            mend="log the work and the look as two lines",
            where="the log line",
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


def cautions_for(practice: str, said: Said | Entry, ground: Iterable[GroundState] = ()) -> tuple[str, ...]:
    """Return the cautions that belong to work: its own, and those of the ground that it is done on."""
    is_treated = said.look is not None and said.look.stump_treated is True
    return cautions_of(
        (practice,),
        has_snags=practice in LEAVES_SNAGS or has_snags(ground),
        has_product=is_treated or said.product is not None,
    )


def cautions_ahead(
    entries: Iterable[Entry], *, is_steep: bool = False, also: Iterable[str] = (), snags_in: Iterable[GroundState] = ()
) -> tuple[str, ...]:
    """Return the cautions of clearing that is asked for: by saw, and by the machines that the log's own lines name.

    Parameters
    ----------
    entries
        The lines of the log that count.
    also
        Practices that are asked for besides.
    """
    return cautions_of(("cut", *clearing_machines(entries), *also), has_snags=has_snags(snags_in), is_steep=is_steep)


def clearing_machines(entries: Iterable[Entry]) -> frozenset[str]:
    """Return the practices of a log that clear ground by machine."""
    return frozenset(entry.practice for entry in entries) & MACHINES & KILLING


def has_snags(ground: Iterable[GroundState]) -> bool:
    """Tell whether cedars killed and left standing are still up anywhere on this ground, whatever its stage."""
    return any(state.snag_frac > 0 for state in ground)


#: A reported figure further from the ground than this share, and than two standard deviations, is asked about.
REPORTED_TOLERANCE_FRAC: Final = 0.10


def reported_question(entry: Entry, measured_acres: float) -> str | None:
    """Return what is to be asked where the reported acres are far from the ground [acre]; ``None`` where they are not.

    Far is a gap of 10% of the ground or more that is wider than two standard deviations of ground that was walked.
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


#: Coldest daytime air [°F] of each month that is taken without a question. Twenty-some degrees Celsius on a warm day
#: typed as Fahrenheit lies below it; from December to February such cold is common (no source).
_COLDEST_F: Final = dict(zip(range(1, 13), (10, 10, 30, 30, 45, 45, 45, 45, 45, 30, 30, 10), strict=True))
HOTTEST_F: Final = 125.0


def temperature_question(month: int, temp_f: float) -> str | None:
    """Return a question where a daytime temperature looks like Celsius, or like no weather; ``None`` where it does not.

    Parameters
    ----------
    month
        1 to 12.
    temp_f
        As typed [°F].

    Examples
    --------
    >>> temperature_question(7, 31)
    'is 31 °F meant, or 31 °C, which is 88 °F?'
    """
    if temp_f > HOTTEST_F:
        return f"is {temp_f:g} °F meant? It is hotter than weather is"
    if temp_f < _COLDEST_F[month]:
        return f"is {temp_f:g} °F meant, or {temp_f:g} °C, which is {temp_f * 1.8 + 32:.0f} °F?"
    return None
