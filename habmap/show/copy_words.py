"""What a copy says of whom it is for, on its face and where it was made."""

from __future__ import annotations

from datetime import date
from typing import Final

from habmap.vocabulary import Audience

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
