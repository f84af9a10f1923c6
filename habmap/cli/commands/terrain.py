"""``habmap terrain``: how steep each unit is, which way it faces, and how hot that makes it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from habmap.cli.context import JsonOption, OnOption, Session
from habmap.cli.output import Figure, print_json, print_table, progress_bar, say, warn

if TYPE_CHECKING:
    from habmap.jobs.terrain import TerrainResult, UnitTerrain

#: A unit is sun-facing when this share of its covered ground slopes toward the sun [%].
SUN_FACING_UNIT_PCT = 50


def register(app: typer.Typer) -> None:
    """Hang the command on the app."""

    @app.command("terrain")
    def terrain_command(context: typer.Context, on: OnOption = None, as_json: JsonOption = False) -> None:
        """Measure how each unit lies. Slope, the way it faces, sun-facing share, hand-only ground."""
        from habmap.jobs.terrain import terrain

        session: Session = context.obj
        store = session.store()
        with progress_bar() as progress:
            result = terrain(store, on=on, progress=progress)
        for words in result.warnings:
            warn(words)
        if as_json:
            print_json("terrain", result)
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
    units = f"{len(covered)} unit" + ("" if len(covered) == 1 else "s")
    if not sunny:
        words = f"None of {units} faces the sun on half of its ground."
    else:
        face = "faces the sun on at least half of its" if len(sunny) == 1 else "face the sun on at least half of their"
        words = f"{len(sunny)} of {units} {face} ground: {', '.join(sunny)}."
    words += f" The steepest is {steepest.unit_id}, {steepest.slope_mean_pct:.0f} % on average."
    by_hand = [unit.unit_id for unit in covered if (unit.hand_only_pct or 0) >= 0.5]
    if by_hand:
        words += f" Ground steeper than {machine_limit_pct:g} % (hand-only here) is found in {', '.join(by_hand)}."
    return words


def _print_units(result: TerrainResult) -> None:
    if not result.units:
        return
    print_table(
        ["unit", "name", "slope °", "slope %", "90th pct slope", "faces", "aspect °", "uniformity", "sun-facing %",
         "flat %", "heat load", "hand-only %", "elevation coverage %"],
        [_cells(unit) for unit in result.units],
    )  # fmt: skip


def _cells(unit: UnitTerrain) -> list[object]:
    """Return a unit's figures as far as they are known: to a whole percent, on cells too coarse to tens."""

    def to(value: float | None, step: float, places: int = 0) -> Figure | None:
        if value is None:
            return None
        return Figure(f"~{round(value / step) * step:.0f}" if unit.too_coarse else f"{value:.{places}f}")

    return [
        unit.unit_id,
        unit.name,
        to(unit.slope_mean_deg, 1, 1),
        to(unit.slope_mean_pct, 1, 1),
        to(unit.slope_p90_pct, 1, 1),
        unit.facing,
        to(None if unit.aspect_mean_deg is None else unit.aspect_mean_deg % 359.5, 10),
        None if unit.aspect_concentration is None else Figure(f"{unit.aspect_concentration:.2f}"),
        to(unit.sun_facing_pct, 10),
        to(unit.flat_pct, 10),
        None if unit.heat_load_mean is None else Figure(f"{unit.heat_load_mean:.2f}"),
        to(unit.hand_only_pct, 10),
        Figure(f"{unit.coverage_pct:.0f}"),
    ]


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
        say("~ The elevation's cells are too coarse for these units: rough figures, shares to the nearest 10 %.")
    if any(unit.slope_mean_deg is not None and unit.heat_load_mean is None for unit in result.units):
        say(NO_HEAT_LOAD)
    if any(unit.hand_only_pct for unit in result.units):
        say("")
        say(STEEP_CAUTION)
