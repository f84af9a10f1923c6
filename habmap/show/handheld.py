"""What a handheld's screen says: names of waypoints short enough for it, and all the rest in their descriptions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from shapely import MultiPolygon

from habmap.measures import acres_words, so_many
from habmap.records import Unit
from habmap.show.words import short_day
from habmap.vocabulary import WIND_WORDS, Audience, wind_16
from habmap.work.handheld import RemainingOutline
from habmap.work.revisits import Revisit, Spot


@dataclass(frozen=True, slots=True, kw_only=True)
class Handheld:
    """(name, comment, ground) of every unit's edge and of what remains in it (lon/lat), and the spots to stand on."""

    outlines: tuple[tuple[str, str, MultiPolygon], ...]
    remaining: tuple[RemainingOutline, ...]
    spots: tuple[Revisit, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class HandheldFile:
    """A file for a handheld: its outlines and waypoints, and the parts that remain but are too small to walk to."""

    path: str
    rows: int
    waypoints: int
    scraps: int
    scrap_acres: float
    audience: Audience


@dataclass(frozen=True, slots=True, kw_only=True)
class RevisitsFile:
    """A file of spots due again by a day: ``rows`` waypoints, and all ``spots``, those without a place too."""

    path: str
    on: date
    rows: int
    audience: Audience
    spots: tuple[Revisit, ...]


KIND_WORDS: Final[dict[Spot, str]] = {"photo": "photo point", "plot": "plot", "frame": "cover frame"}
_SHORT: Final[dict[Spot, str]] = {"photo": "P", "plot": "", "frame": "F"}


def direction_words(direction_deg: float | None, direction_ref: str | None) -> str:
    """Return where a photo looks, ``315° true (northwest)``; empty where that is not known."""
    if direction_deg is None:
        return ""
    north = {"T": "true", "M": "magnetic"}.get(direction_ref or "", "")
    return f"{round(direction_deg) % 360:03d}° {north}".rstrip() + f" ({WIND_WORDS[wind_16(direction_deg)]})"


def waypoint_name(spot: Revisit) -> str:
    """Return a name for a small screen: what it is, its unit, and for a photo its bearing (``P3 C1 315T``)."""
    bearing = "" if spot.direction_deg is None else f"{round(spot.direction_deg) % 360:03d}{spot.direction_ref or ''}"
    return " ".join(filter(None, (f"{_SHORT[spot.kind]}{spot.label}", spot.unit_id, bearing)))


def waypoint_words(spot: Revisit, *, is_again: bool) -> str:
    """Return what a waypoint's description says; ``is_again``: also why and from when it is due again."""
    where = f" in {spot.unit_id}" if spot.unit_id else ""
    words = [f"{KIND_WORDS[spot.kind].capitalize()} {spot.label}{where}."]
    if looks := direction_words(spot.direction_deg, spot.direction_ref):
        words.append(f"Look {looks}.")
    elif spot.kind == "photo":
        words.append("The direction looked is not known.")
    if spot.last_on is not None:
        words.append(f"Last seen {short_day(spot.last_on)}.")
    if is_again:
        words.append(due_words(spot))
    return " ".join(words)


def due_words(spot: Revisit) -> str:
    """Return why a spot is due again, and since when, as a sentence."""
    if spot.work_on is not None:
        place = "in its view" if spot.kind == "photo" else "on its ground"
        return f"Due since the work {place} on {short_day(spot.work_on)}."
    if spot.due_on is None:
        return "Due: nobody wrote down the day it was last seen."
    return f"Due from {short_day(spot.due_on)} on."


def without_place_words(spots: Iterable[Revisit]) -> tuple[str, ...]:
    """Return which spots no waypoint can lead to, since only their unit is known."""
    found: dict[tuple[Spot, str], list[str]] = {}
    for spot in spots:
        if spot.lonlat is None:
            found.setdefault((spot.kind, spot.unit_id or "no unit"), []).append(spot.label)
    return tuple(
        f"{KIND_WORDS[kind]}{'s' if len(labels) > 1 else ''} {', '.join(labels)} in {unit_id} "
        f"{'have' if len(labels) > 1 else 'has'} no place on the map and no waypoint"
        for (kind, unit_id), labels in found.items()
    )


def scraps_words(unit_id: str, count: int, acres: float) -> str:
    """Return what was left out of a unit's outline since nobody could find it."""
    parts = f"{so_many(count, 'part')} of the ground that remains"
    together = " together" if count > 1 else ""
    return f"{unit_id}: {parts}, {acres_words(acres)}{together}, {'are' if count > 1 else 'is'} too small to walk to"


def tracks(
    units: Iterable[Unit], remaining: Iterable[RemainingOutline], waits: Mapping[str, str | None]
) -> tuple[tuple[str, str, MultiPolygon], ...]:
    """Return (name, comment, ground) of every unit's edge and of what remains in it (lon/lat), beside each other.

    Parameters
    ----------
    waits
        By unit, that it is on hold or closed to cutting: what remains there is called so.
    """
    left, found = {one.unit_id: one for one in remaining}, []
    for unit in units:
        called = f"{unit.name}: " if unit.name else ""
        found.append((unit.unit_id, f"{called}edge", unit.geometry))
        one, rest = left.get(unit.unit_id), waits.get(unit.unit_id)
        if one is not None and not one.geometry.is_empty:
            said = f"{called}{one.acres:.1f} acres {rest or 'remain'}"
            found.append((f"{unit.unit_id} {rest or 'left'}", said, one.geometry))
    return tuple(found)
