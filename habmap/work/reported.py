"""Whether the acres that somebody reported are far from the ground."""

from __future__ import annotations

from typing import Final

from habmap.records import Entry

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
