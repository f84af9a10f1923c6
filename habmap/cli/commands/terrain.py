"""``habmap terrain``: how steep each unit is, which way it faces, and how hot that makes it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from habmap.cli.context import JsonOption, OnOption, Session
from habmap.cli.output import Figure, print_table, progress_bar, say, told_as_json
from habmap.measures import so_many

if TYPE_CHECKING:
    from habmap.records import Fact
    from habmap.work.terrain import TerrainResult, UnitTerrain

#: A unit is sun-facing when this share of its covered ground slopes toward the sun [%].
SUN_FACING_UNIT_PCT = 50


def command(context: typer.Context, on: OnOption = None, as_json: JsonOption = False) -> None:
    """Measure how each unit lies. Slope, the way it faces, sun-facing share, hand-only ground."""
    from habmap.jobs.terrain import terrain

    session: Session = context.obj
    store = session.store()
    with progress_bar() as progress:
        result = terrain(store, on=on, progress=progress)
    if told_as_json("terrain", result, as_json=as_json):
        return
    say(answer(result, machine_limit_pct=store.settings.terrain.machine_limit_pct))
    say(f"As of: units as drawn {f'on {result.on}' if result.on else 'now'}.")
    _print_units(result)
    _print_how(result)


def answer(result: TerrainResult, *, machine_limit_pct: float) -> str:
    """Return the terrain in a sentence or two."""
    if not result.units:
        return "No units are loaded yet; load them with `habmap load units FILE`."
    covered = [unit for unit in result.units if unit.slope_mean_deg is not None]
    if not covered:
        return "The elevation covers none of the units."
    sunny = [unit.unit_id for unit in covered if (unit.sun_facing_pct or 0) >= SUN_FACING_UNIT_PCT]
    steepest = max(covered, key=lambda unit: unit.slope_mean_pct or 0)
    units = so_many(len(covered), "unit")
    if not sunny:
        words = f"None of {units} faces the sun on half of its ground."
    else:
        face = "faces the sun on at least half of its" if len(sunny) == 1 else "face the sun on at least half of their"
        words = f"{len(sunny)} of {units} {face} ground: {', '.join(sunny)}."
    words += f" The steepest is {steepest.unit_id}, {steepest.slope_mean_pct:.0f}% on average."
    by_hand = [unit.unit_id for unit in covered if (unit.hand_only_pct or 0) >= 0.5]
    if by_hand:
        words += f" Ground steeper than {machine_limit_pct:g}% (hand-only here) is found in {', '.join(by_hand)}."
    return words


def _print_units(result: TerrainResult) -> None:
    from habmap.records import cell_facts
    from habmap.work.terrain import UnitTerrain

    columns = cell_facts(UnitTerrain)
    if result.units:
        print_table(
            ["unit", "name", *(one.cell for one in columns)],
            [[unit.unit_id, unit.name, *(_cell(unit, one) for one in columns)] for unit in result.units],
        )


def _cell(unit: UnitTerrain, figure: Fact) -> object:
    """Return a figure as far as it is known: to its own decimals, on cells too coarse to its rough step."""
    value = getattr(unit, figure.name)
    if not isinstance(value, float):
        return value
    if figure.unit == "°" and figure.places == 0:
        value %= 359.5  # a bearing that rounds to 360° is north
    if unit.too_coarse and figure.rough_step:
        return Figure(f"~{round(value / figure.rough_step) * figure.rough_step:.0f}")
    return Figure(f"{value:.{figure.places}f}")


def _print_how(result: TerrainResult) -> None:
    from habmap.vocabulary import STEEP_CAUTION, WIND_WORDS, wind_16
    from habmap.work.priority import NO_HEAT_LOAD

    if result.dem:
        dem = result.dem
        say("")
        say(
            f"From {dem.path}: {dem.crs}, cells of {dem.cell_m:.2f} m taken as {dem.analysis_cell_m:.2f} m, "
            f"heights in {dem.vertical_unit}. Bearings are from true north; uniformity is 1 where all the ground "
            "faces one way and 0 where it faces every way."
        )
        first, last = result.sun_facing_deg
        say(
            f"Sun-facing here is ground that faces from {WIND_WORDS[wind_16(first)]} ({first:g}°) clockwise to "
            f"{WIND_WORDS[wind_16(last)]} ({last:g}°)"
            + (": south of the equator the noon sun stands in the north." if result.is_south else ".")
        )
    if any(unit.too_coarse for unit in result.units):
        say("~ The elevation's cells are too coarse for these units: rough figures, shares to the nearest 10%.")
    if any(unit.slope_mean_deg is not None and unit.heat_load_mean is None for unit in result.units):
        say(NO_HEAT_LOAD)
    if any(unit.hand_only_pct for unit in result.units):
        say("")
        say(STEEP_CAUTION)
