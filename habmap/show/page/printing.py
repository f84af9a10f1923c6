"""Paper made from the page: acres with all decimals, so that the line which sums the rows without room is true."""

from __future__ import annotations

from typing import Any

from habmap.show.records import Page


def drawing(page: Page) -> dict[str, list[float]]:
    """Return each unit's acres, treated and remaining acres, by unit id."""
    return {unit.unit_id: [unit.acres, unit.treated_acres, unit.remaining_acres] for unit in page.units}


def values(page: Page) -> dict[str, Any]:
    """Return nothing: the template needs no more than the account has."""
    return {}
