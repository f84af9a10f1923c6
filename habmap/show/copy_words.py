"""What a copy says of whom it is for, on its face and where it was made; what an owner is told of one for strangers."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING, Final

from habmap.show.words import SPOKEN_ACRES
from habmap.vocabulary import Audience

if TYPE_CHECKING:
    from habmap.show.records import Page
    from habmap.work.acres import TotalAcres

#: What stands on each page of a copy.
COPY_WORDS: Final[dict[Audience, str]] = {
    "owner": "owner's copy, holds private places",
    "public": "made for the public",
}


def made_for(audience: Audience) -> str:
    """Return whom a copy just written is for, and how one for strangers is made."""
    if audience == "public":
        return "It is made for the public."
    return "This is the owner's copy and holds private places; `--for public` makes one to give away."


def as_of(on: date | None) -> str:
    """Return which day's ground a copy shows."""
    return "before any logged work" if on is None else f"as of {on}"


def copy_differs_words(
    totals: TotalAcres, page: Page, *, filled: Sequence[str], telling: Sequence[str]
) -> tuple[str, ...]:
    """Say what the copy has otherwise than the account, and what it cannot hide.

    Parameters
    ----------
    filled, telling
        Units whose outline is drawn without a hole, and whose outline itself tells of a private place.
    """
    drawn = page.totals
    words = []
    if max(abs(totals.treated_acres - drawn.treated_acres), abs(totals.keep_acres - drawn.keep_acres)) >= SPOKEN_ACRES:
        words.append(
            "near private places this copy draws ground like what lies around it, and its acres follow: "
            f"{drawn.treated_acres:.2f} treated and {drawn.keep_acres:.2f} left on purpose, where the account has "
            f"{totals.treated_acres:.2f} and {totals.keep_acres:.2f}"
        )
    if filled:
        words.append(
            f"the outline of {', '.join(filled)} has a hole about a private place; this copy draws it filled, and "
            "counts the ground in it as what lies around it"
        )
    if telling:
        words.append(
            f"the outline of {', '.join(telling)} itself runs round a private place, and is drawn as it is: draw the "
            "unit over it, and log the ground that is left standing there as `keep`"
        )
    return tuple(words)
