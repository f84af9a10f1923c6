"""Records of a page with all that a test does not care about filled in."""

from __future__ import annotations

from dataclasses import fields
from datetime import UTC, date, datetime
from typing import Any

from shapely.geometry.base import BaseGeometry

from habmap.records import Entry
from habmap.show.records import PageUnit, PageWork
from habmap.work.acres import StageAcres, TotalAcres, UnitAcres

_NOT_NUMBERS = {
    "acres_sd": None,
    "leave_target_acres": None,
    "still_to_leave_acres": None,
    "cover": "cedar",
    "name": "",
}


def page_unit(unit_id: str, *, stage_acres: dict[str, float], **given: Any) -> PageUnit:
    """Return a unit as a page has it; figures that are not given are nought."""
    blank = dict.fromkeys((one.name for one in fields(UnitAcres)), 0.0) | _NOT_NUMBERS
    own = {"unit_id": unit_id, "cover": "cedar", "stage_acres": StageAcres(**stage_acres)}
    return PageUnit(**blank | own | given)


def page_totals(**given: float) -> TotalAcres:
    """Return the sums of a page; what is not given is nought, cedar acres are added up."""
    blank = dict.fromkeys((one.name for one in fields(TotalAcres)), 0.0)
    blank |= {"leave_target_acres": None, "still_to_leave_acres": None, "stage_acres": StageAcres()} | given  # type: ignore[dict-item]
    blank["cedar_acres"] = blank["treated_acres"] + blank["remaining_acres"] + blank["keep_acres"]
    return TotalAcres(**blank)  # type: ignore[arg-type]


def page_work(
    *, day: date, practice: str, acres: float, unit_acres: dict[str, float], geometry: BaseGeometry, **said: Any
) -> PageWork:
    """Return a line of the log as a page has it."""
    made = datetime(2026, 1, 1, tzinfo=UTC)
    entry = Entry(entry_id="a-line", date=day, practice=practice, patch=geometry, recorded_at=made, **said)  # type: ignore[arg-type]
    return PageWork(entry=entry, geometry=geometry, acres=acres, unit_acres=unit_acres)
