"""The settings' holds and closed days as the plain records that the calendar works with."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Literal

from habmap.place.settings import ClosedDays, Settings
from habmap.work.closures import Closures
from habmap.work.seasons import Ban, DatedBan, HeldUnit, YearlyBan


def closures(settings: Settings) -> Closures:
    """Return the holds and closed days of ``habmap.toml``."""
    return Closures(bans=bans(settings), holds=holds(settings))


def holds(settings: Settings) -> list[HeldUnit]:
    """Return the holds of ``habmap.toml``."""
    return [HeldUnit(unit_id=hold.unit, reason=hold.reason, first=hold.from_, last=hold.to) for hold in settings.hold]


def bans(settings: Settings) -> list[Ban]:
    """Return the no-cut and no-burn days of ``habmap.toml``."""
    return [*_bans("no_cut", settings.no_cut), *_bans("no_burn", settings.no_burn)]


def day_of_year(text: str) -> tuple[int, int]:
    """Return ``MM-DD`` as (month, day)."""
    month, day = text.split("-")
    return int(month), int(day)


def _bans(kind: Literal["no_cut", "no_burn"], closed: Sequence[ClosedDays]) -> list[Ban]:
    found: list[Ban] = []
    for days in closed:
        if isinstance(days.from_, date) and isinstance(days.to, date):
            found.append(DatedBan(what=kind, reason=days.reason, first=days.from_, last=days.to, units=days.units))
        else:
            first, last = day_of_year(str(days.from_)), day_of_year(str(days.to))
            found.append(YearlyBan(what=kind, reason=days.reason, first=first, last=last, units=days.units))
    return found
