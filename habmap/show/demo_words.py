"""What the demo says of the account, the terrain and the order of work of its sample property."""

from __future__ import annotations

from habmap.work.acres import AcresResult
from habmap.work.order_of_work import RankResult
from habmap.work.terrain import TerrainResult


def account_words(account: AcresResult) -> str:
    """Say how many acres are treated, remain and are left."""
    totals = account.totals
    return (
        f"Account: {totals.treated_acres:,.1f} acres treated at least once, {totals.remaining_acres:,.1f} remain, "
        f"{totals.keep_acres:,.1f} left on purpose, {totals.stage_acres.other:,.1f} not cedar ground; "
        f"together {totals.acres:,.1f}."
    )


def terrain_words(faces: TerrainResult) -> str:
    """Say how many units have a slope, and which is the steepest."""
    known = [unit for unit in faces.units if unit.slope_mean_pct is not None]
    steepest = max(known, key=lambda unit: unit.slope_mean_pct or 0.0)
    return (
        f"Terrain: slope and facing of {len(known)} units; the steepest is {steepest.unit_id}, "
        f"{steepest.slope_mean_pct:,.0f}% on average."
    )


def order_words(order: RankResult) -> str:
    """Say which unit comes next, and why."""
    first = next((unit for unit in order.units if unit.unit_id == order.next_unit_id), None)
    if first is None:
        return "Order of work: no cedar ground remains that is neither on hold nor closed."
    return f"Order of work: next comes {first.unit_id}, {first.name}: {'; '.join(first.reasons)}."
