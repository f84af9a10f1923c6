"""What the page needs to show earlier days, as plain records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from shapely import MultiPolygon, Polygon

from habmap.records import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class PageDone:
    """One practice of one step: its acres in each unit (by ``unit_id``) and outside them, each acre once."""

    practice: str
    unit_acres: Mapping[str, float]
    outside_acres: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PageStep:
    """The ground at the end of one day.

    Attributes
    ----------
    day
        ``None`` before any work.
    season
        Label of the season that ends with this step; ``None`` where steps are days.
    units
        Acres by stage of the units whose figures are not those of the step before, by ``unit_id``, nought left out;
        nothing at all for a unit that is no longer drawn.
    stage_acres
        Of all units.
    done
        What was worked since the step before, in the order of a day's work.
    """

    day: date | None
    season: str | None = None
    units: Mapping[str, Mapping[str, float]]
    stage_acres: Mapping[str, float]
    done: tuple[PageDone, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PageHistoryPiece:
    """Ground (lon/lat) of one unit and one stage at any step: that named for it, from there on; ``None``: not drawn.

    The very same object as long as nothing that decides about it changed.
    """

    unit_id: str
    geometry: Polygon | MultiPolygon
    stages: tuple[tuple[int, str | None], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PageOldUnits:
    """All units as they were drawn from ``first_step`` to ``last_step``, both included, each with its label's place."""

    first_step: int
    last_step: int
    units: tuple[tuple[Unit, tuple[float, float]], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PageHistory:
    """Every step from before any work to the day of the page.

    Attributes
    ----------
    pieces
        Each square meter of a step's units lies in one piece that has a stage then.
    patch_steps
        Of each line of ``Page.work``: the step on which it was done.
    old_units
        Steps whose units are not drawn as the page has them.
    unit_names
        Of every unit that any step has, by ``unit_id``.
    """

    steps: tuple[PageStep, ...]
    pieces: tuple[PageHistoryPiece, ...]
    patch_steps: tuple[int, ...]
    old_units: tuple[PageOldUnits, ...]
    unit_names: Mapping[str, str]
