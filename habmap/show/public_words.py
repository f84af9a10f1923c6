"""What the owner is told of a copy for the public; nothing of it stands in the copy."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from habmap.show.words import SPOKEN_ACRES
from habmap.work.acres import TotalAcres

if TYPE_CHECKING:
    from habmap.show.records import Page


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
