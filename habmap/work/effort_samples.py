"""What the log's own lines took on ground that they brought to its target: the samples that rates rest on."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping
from typing import Final

from shapely import MultiPolygon

from habmap.measures import acres
from habmap.records import Entry
from habmap.vocabulary import FIRE, KILLING
from habmap.work.density_records import UnitDensity
from habmap.work.effort import Sample
from habmap.work.ground import Ground, GroundPiece
from habmap.work.priority import DenseLimits, is_dense_stand

#: Practices that clear standing cedars; their hours say what the rest will take. Fires are told beside them.
CLEARING: Final = KILLING - FIRE


def samples(
    state: Ground,
    spent: Callable[[Entry], float | None],
    *,
    density: Mapping[str, str | None],
    slope: Mapping[str, str],
) -> list[Sample]:
    """Return one sample for each line that brought ground to its target, and each unit in which it did.

    Parameters
    ----------
    spent
        Person-hours or money of a line; ``None`` = it does not say.
    density, slope
        Density class by ``unit_id``, slope class by ``entry_id``.

    Notes
    -----
    A line's hours are shared out by acres. Ground takes its share of every clearing pass up to the one that brought it
    to its target. Left out are ground on which one of these does not say its hours, ground below target, ground that a
    fire brought there, and work on ground that was there already.
    """
    by_id = {entry.entry_id: entry for entry in state.entries}
    found: defaultdict[tuple[str, str], list[tuple[float, float]]] = defaultdict(list)
    for piece in state.pieces:
        first = piece.state.brought_to_target
        if first is None or first.practice not in CLEARING or piece.area_m2 <= 0:
            continue
        shares = [
            None if (took := spent(entry)) is None else took * piece.area_m2 / state.patches[entry.entry_id].area
            for entry in _passes(piece, by_id)
        ]
        known = [share for share in shares if share is not None]
        if len(known) == len(shares):
            found[first.entry_id, piece.unit_id].append((piece.acres, sum(known)))
    return [
        Sample(
            acres=sum(size for size, _ in parts),
            spent=sum(took for _, took in parts),
            line=entry_id,
            density=density.get(unit_id),
            slope=slope.get(entry_id),
        )
        for (entry_id, unit_id), parts in found.items()
    ]


def _passes(piece: GroundPiece, by_id: Mapping[str, Entry]) -> list[Entry]:
    """Return the clearing lines up to the one that brought the ground to its target; two people's one day both."""
    first = piece.state.brought_to_target
    assert first is not None
    lines = [by_id[entry_id] for entry_id in piece.entry_ids]
    last = next(index for index, entry in enumerate(lines) if entry.entry_id == first.entry_id)
    return [
        entry
        for index, entry in enumerate(lines)
        if entry.practice in CLEARING
        and (index <= last or (entry.practice, entry.date) == (first.practice, first.date))
    ]


def density_classes(
    state: Ground, stands: Mapping[str, UnitDensity], *, limits: DenseLimits
) -> tuple[dict[str, str | None], dict[str, str | None]]:
    """Return the density class of each unit when its cleared ground was cleared, and of what remains now."""

    def word(is_dense: bool | None) -> str | None:
        return {True: "dense", False: "open", None: None}[is_dense]

    then: dict[str, str | None] = {}
    for unit in state.units:
        stand = stands.get(unit.unit_id)
        known = (stand.stems_per_acre_before_work if stand else None, unit.stems_per_acre)
        stems = next((one for one in known if one is not None), stand.stems_per_acre if stand else None)
        then[unit.unit_id] = word(is_dense_stand(stems_per_acre=stems, canopy_pct=unit.canopy_pct, limits=limits))
    return then, {unit_id: word(stand.dense) for unit_id, stand in stands.items()}


def follow_up(state: Ground, practices: tuple[str, ...]) -> tuple[tuple[str, ...], float]:
    """Return which follow-up practices the log gives hours for, and those hours together."""
    lines = [entry for entry in state.entries if entry.practice in practices and entry.person_hours is not None]
    done = tuple(practice for practice in practices if any(entry.practice == practice for entry in lines))
    return done, sum(entry.person_hours or 0.0 for entry in lines)


def pass_acres(state: Ground, entry: Entry) -> float:
    """Return the ground of one line of the log [acre]."""
    return acres(state.patches[entry.entry_id].area)


def timed_patches(state: Ground) -> dict[str, MultiPolygon]:
    """Return the ground of clearing lines that say their hours or cost, by ``entry_id``, in grid meters."""
    return {
        entry.entry_id: state.patches[entry.entry_id]
        for entry in state.entries
        if entry.practice in CLEARING
        and (entry.person_hours is not None or entry.cost is not None)
        and entry.entry_id in state.patches
    }
