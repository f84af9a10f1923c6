"""What came up, for the page: counts and shares by unit. Which species, where and by whom stays off every page."""

from __future__ import annotations

from datetime import date

from habmap.jobs.ports import Store
from habmap.jobs.response import response_of
from habmap.show.response_records import Moved, PageResponse, PageShare
from habmap.show.response_words import (
    canopy_sentence,
    cover_sentence,
    regrowth_sentence,
    species_sentence,
    work_sentence,
)
from habmap.work.ground import Ground
from habmap.work.response_records import UnitResponse


def page_responses(store: Store, state: Ground, *, on: date | None) -> tuple[PageResponse, ...]:
    """Return the units that have cover or canopy read on a day; those read before and after come first."""
    told = [unit for unit in response_of(store, state, on=on).units if unit.read_before_on or unit.read_after_on]
    told.sort(key=lambda unit: unit.native_cover_change_pct is None)
    return tuple(_told(unit) for unit in told)


def _told(unit: UnitResponse) -> PageResponse:
    return PageResponse(
        unit_id=unit.unit_id,
        title=unit.name.strip() or unit.unit_id,
        native_before=_share(
            unit.native_cover_before_pct, unit.native_cover_before_pct_ci95_low, unit.native_cover_before_pct_ci95_high
        ),
        native_after=_share(
            unit.native_cover_after_pct, unit.native_cover_after_pct_ci95_low, unit.native_cover_after_pct_ci95_high
        ),
        canopy_before=_share(unit.canopy_before_pct, unit.canopy_before_pct_ci95_low, unit.canopy_before_pct_ci95_high),
        canopy_after=_share(unit.canopy_after_pct, unit.canopy_after_pct_ci95_low, unit.canopy_after_pct_ci95_high),
        moved=_moved(unit),
        lead=_unbroken(f"{work_sentence(unit)} {cover_sentence(unit)}"),
        more=_unbroken(f"{canopy_sentence(unit)} {species_sentence(unit)}".strip()),
        coming_back=regrowth_sentence(unit),
    )


def _moved(unit: UnitResponse) -> Moved | None:
    if unit.native_cover_change_pct is None:
        return None
    if (unit.native_cover_change_pct_ci95_low or 0.0) > 0:
        return "more"
    return "less" if (unit.native_cover_change_pct_ci95_high or 0.0) < 0 else "unsure"


def _unbroken(text: str) -> str:
    """Keep a figure and its sign on one line."""
    return text.replace(" %", "\u00a0%").replace(" ± ", "\u00a0±\u00a0")


def _share(pct: float | None, low: float | None, high: float | None) -> PageShare | None:
    return None if pct is None else PageShare(pct=pct, low=low, high=high)
