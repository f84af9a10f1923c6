"""The warning before work that takes cedar which a unit should keep."""

from __future__ import annotations

from habmap.work.leave import Taken


def taken_sentence(taken: Taken) -> str:
    """Return the warning that stands before work which takes cedar that should be left."""
    words = (
        f"this takes unit {taken.unit_id} below what is to be left on purpose: {taken.after_acres:,.2f} acres of live "
        f"cedar ground stay, where at least {taken.least_acres:,.2f} are meant to"
    )
    if taken.before_acres < taken.least_acres:
        words += f" ({taken.before_acres:,.2f} before this line, too little already)"
    return words
