"""What a row of a units layer becomes beside the units that are there: news, a new version, or a clash."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

import shapely
from shapely import Point

from habmap.errors import HabmapError, InputError, printable
from habmap.land.acreage import crossing_words
from habmap.land.grid import LocalGrid
from habmap.land.neighbors import HAIR_WIDTH_M, Cut, cut_back, gaps, hair_overlaps, overlaps, settled
from habmap.measures import acres, so_many
from habmap.records import Unit

#: Ground farther than this from the rest of the property is more likely a slip than a purchase [m].
FAR_AWAY_M: Final = 50_000.0
#: Acres are printed to a hundredth; below half of one nothing is left of a unit [acre].
LEAST_PRINTED_ACRES: Final = 0.005
#: Ground that counts twice is told to four decimals [acre].
LEAST_TOLD_TWICE_ACRES: Final = 0.00005
#: Gaps told one by one; the rest as a sum.
MOST_GAPS_TOLD: Final = 20


def overlap_faults(
    fresh: Sequence[tuple[str, Unit]], kept: Sequence[Unit], grid: LocalGrid, where: str
) -> list[HabmapError]:
    """Return a fault for each pair of units, one of them new, that share ground wider than a hair."""
    units = [unit for _where, unit in fresh] + list(kept)
    shapes = [grid.to_grid(unit.geometry) for unit in units]
    faults: list[HabmapError] = []
    for (row_where, _unit_row), shape in zip(fresh, shapes, strict=False):
        if not shape.is_valid:
            # Edges are straight in the grid, not in degrees: a ring may cross itself there by less than a hair.
            what, _spot = crossing_words(shape)
            faults.append(InputError(what, where=row_where, mend="draw it again, or let --repair mend it"))
    if faults:
        return faults
    for pair in overlaps(shapes):
        if pair.first >= len(fresh):
            continue  # two units that are there already: `habmap check` speaks of them
        first, second = (printable(units[index].unit_id) for index in (pair.first, pair.second))
        faults.append(
            InputError(
                f"{first} and {second} cover the same ground: its acres would count twice",
                where=(where if pair.second < len(fresh) else f"{where}; {second} is in the property already")
                + f"; widest at {spot_words(pair.spot, grid)}",
                value=f"{acres(pair.area_m2):.4f} acres, {pair.width_m:.2f} m wide at the widest",
                allowed=f"units side by side, overlapping by no more than {HAIR_WIDTH_M:g} m",
                mend="cut the new ones back with --trim (of two in one file the earlier keeps it), or redraw one",
            )
        )
    return faults


def spot_words(spot: tuple[float, float], grid: LocalGrid) -> str:
    """Return a spot of the grid as ``lon …, lat …``, to a tenth of a meter."""
    lonlat = grid.to_lonlat(Point(spot))
    return f"lon {(lonlat.x + 180) % 360 - 180:.6f}, lat {lonlat.y:.6f}"


def trimmed(
    rows: Sequence[tuple[str, Unit]], kept: Sequence[Unit], grid: LocalGrid
) -> tuple[list[tuple[str, Unit]], list[str], list[HabmapError]]:
    """Cut units back where they share ground with those that are there and with earlier ones of their file.

    Returns
    -------
    rows, words, faults
        The units as they are then; what was taken off, pair by pair; and a fault for each of which nothing is left.
    """
    around = list(kept)
    shapes = [grid.to_grid(unit.geometry) for unit in around]
    done: list[tuple[str, Unit]] = []
    words: list[str] = []
    faults: list[HabmapError] = []
    for where, unit in rows:
        shape = grid.to_grid(unit.geometry)
        left, cuts = cut_back(shape, shapes) if shape.is_valid else (shape, ())
        words += [_cut_words(unit, around[cut.neighbor], cut) for cut in cuts]
        if cuts and left.is_empty:
            names = ", ".join(printable(around[cut.neighbor].unit_id) for cut in cuts)
            faults.append(
                InputError(
                    "nothing is left of this unit once it is cut back",
                    where=where,
                    value=f"all of it lies in {names}",
                    mend="leave it out, or give it the unit_id of the unit that it redraws, with --overwrite",
                )
            )
            continue
        cut_unit = unit
        if cuts:
            own = [unit.geometry, *(around[cut.neighbor].geometry for cut in cuts)]
            cut_unit = replace(unit, geometry=settled(left, grid=grid, drawn=own))
        done.append((where, cut_unit))
        around.append(cut_unit)
        shapes.append(grid.to_grid(cut_unit.geometry))
    return done, words, faults


def _cut_words(unit: Unit, neighbor: Unit, cut: Cut) -> str:
    return (
        f"{printable(unit.unit_id)}: {acres(cut.area_m2):.4f} acres cut off, which lie in {printable(neighbor.unit_id)}"
    )


def lie_beside(fresh: Sequence[Unit], kept: Sequence[Unit], grid: LocalGrid) -> list[str]:
    """Return notes on how new units lie beside others: narrow gaps with their place, and hairs that count twice.

    The largest gaps first. Units that were there already are not spoken of among themselves.
    """
    units = [*fresh, *kept]
    shapes = [grid.to_grid(unit.geometry) for unit in units]
    names = [printable(unit.unit_id, longest=40) for unit in units]
    open_ground = sorted(
        (gap for gap in gaps(shapes) if gap.between[0] < len(fresh)), key=lambda gap: gap.area_m2, reverse=True
    )
    notes = [
        f"a gap of {acres(gap.area_m2):.4f} acres, {gap.width_m:.2f} m wide at the widest, lies between "
        f"{' and '.join(names[index] for index in gap.between)}, at {spot_words(gap.spot, grid)}; it is in no unit"
        for gap in open_ground[:MOST_GAPS_TOLD]
    ]
    if len(open_ground) > MOST_GAPS_TOLD:
        rest_m2 = sum(gap.area_m2 for gap in open_ground[MOST_GAPS_TOLD:])
        notes.append(f"{len(open_ground) - MOST_GAPS_TOLD} smaller gaps between units hold {acres(rest_m2):.4f} acres")
    hairs = [area_m2 for first, _second, area_m2 in hair_overlaps(shapes) if first < len(fresh)]
    if acres(sum(hairs)) >= LEAST_TOLD_TWICE_ACRES:
        notes.append(
            f"{acres(sum(hairs)):.4f} acres count twice: {so_many(len(hairs), 'pair')} of "
            f"units overlap by a hair (no wider than {HAIR_WIDTH_M:g} m); --trim takes it off the unit that is loaded"
        )
    return notes


def far_away(fresh: Iterable[tuple[str, Unit]], grid: LocalGrid) -> list[str]:
    """Return a note for each new unit far from the grid's center."""
    notes = []
    for where, unit in fresh:
        distance_m = float(shapely.distance(grid.to_grid(unit.geometry), shapely.Point(0, 0)))
        if distance_m > FAR_AWAY_M:
            notes.append(f"{where} lies {distance_m / 1000:,.0f} km from the rest of the property: is that right?")
    return notes


def hardly_there(fresh: Iterable[tuple[str, Unit]], grid: LocalGrid) -> list[str]:
    """Return a note for each new unit so small that its acres print as 0.00."""
    notes = []
    for where, unit in fresh:
        area_m2 = float(grid.to_grid(unit.geometry).area)
        if acres(area_m2) < LEAST_PRINTED_ACRES:
            notes.append(f"{where} measures {area_m2:.2g} m², which prints as 0.00 acres: is that right?")
    return notes
