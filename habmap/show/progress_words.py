"""How far a job is, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from habmap.measures import so_many

if TYPE_CHECKING:
    from habmap.progress import Share


def progress_words(share: Share) -> str:
    """Return how far a job is, such as ``step 3 of 5: relief`` or ``12 of 40 photos``."""
    if not share.is_step:
        return f"{share.done:,} of {share.count:,} {share.what}"
    if share.done >= share.count:
        return "all steps done"
    within = "" if share.within is None else f", {progress_words(share.within)}"
    return f"step {share.done + 1} of {share.count}: {share.what}{within}"


def left_words(left_s: float | None, *, is_step: bool) -> str:
    """Return how long it takes still, or nothing where that is not known; ``is_step``: only the step under way."""
    if left_s is None:
        return ""
    time = so_many(round(left_s), "second") if left_s < 90 else f"{left_s / 60:.0f} minutes"
    return f"about {time} left{' in this step' if is_step else ''}"
