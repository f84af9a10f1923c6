"""The ground of one burn: whole units, several as one, only some of their pieces, or a drawn patch."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError, no_such_unit
from habmap.land.neighbors import HAIR_WIDTH_M
from habmap.measures import acres
from habmap.records import DrawnBlock, Unit
from habmap.vocabulary import STAGES
from habmap.work.burn.written_plan import PlanKind
from habmap.work.ground import Ground, GroundPiece
from habmap.work.stages import GroundState
from habmap.work.unit_shares import whole_ground

#: Slivers thinner than twice this are left by cutting a drawn patch out of drawn units [m].
_SLIVER_M: Final = 0.01


@dataclass(frozen=True, slots=True)
class Block:
    """The ground of one burn, in grid meters.

    Attributes
    ----------
    unit_ids
        Units that it has ground of.
    outline
        Its ground, hair-wide gaps between neighbors closed.
    inside, beyond
        The place's pieces inside it, and all others.
    """

    unit_ids: tuple[str, ...]
    outline: Polygon | MultiPolygon
    inside: tuple[GroundPiece, ...]
    beyond: tuple[GroundPiece, ...]

    @property
    def stage_acres(self) -> dict[str, float]:
        """Ground by stage, the most first [acre]."""
        found: defaultdict[str, float] = defaultdict(float)
        for piece in self.inside:
            found[piece.stage] += piece.acres
        return dict(sorted(found.items(), key=lambda item: -item[1]))

    def acres_where(self, is_so: Callable[[GroundState], bool]) -> float:
        """Return the ground whose state is so [acre]."""
        return math.fsum(piece.acres for piece in self.inside if is_so(piece.state))

    def states_within(self, within_m: float) -> Iterator[GroundState]:
        """Yield the states of the block's own ground and of that beside it."""
        yield from (piece.state for piece in self.inside)
        yield from (piece.state for piece in self.beyond if shapely.dwithin(piece.geometry, self.outline, within_m))


def burn_block(
    names: Sequence[str],
    patch: MultiPolygon | None,
    *,
    state: Ground,
    blocks: Mapping[str, Sequence[str]],
    drawn: Sequence[DrawnBlock] = (),
) -> Block:
    """Return the block that a person names.

    Parameters
    ----------
    names
        Units (``C1``), their pieces of one stage (``C1:down``), or names of ``[burn.blocks]`` that stand for such.
    patch
        WGS 84 lon/lat ground [°]; ``None``: the units as named. With a patch the block is the patch, and names, where
        any are given, must be of units that it touches.
    blocks, drawn
        What ``[burn.blocks]`` names; blocks drawn and named, oldest first: the newest of a name counts, after units and
        ``blocks``.

    Raises
    ------
    InputError
        A unit is not known, or there is no ground.
    """
    grid = state.grid
    known = [unit.unit_id for unit in state.units]
    if patch is None:
        names, patch = _as_drawn(names, {*known, *blocks}, {block.name: block for block in drawn})
    blocks = {name: parts for name, parts in blocks.items() if name not in known}
    parts = [_part(name, known) for name in dict.fromkeys(part for one in names for part in blocks.get(one, (one,)))]
    _require_known([unit_id for unit_id, _ in parts], known)
    if patch is not None and grid is not None:
        return _drawn(grid.to_grid(patch), [unit_id for unit_id, _ in parts], state)

    def is_inside(piece: GroundPiece) -> bool:
        return any(piece.unit_id == unit_id and stage in (None, piece.stage) for unit_id, stage in parts)

    inside = tuple(piece for piece in state.pieces if is_inside(piece))
    whole = {unit_id for unit_id, stage in parts if stage is None}
    shapes: list[BaseGeometry] = [state.unit_shapes[unit_id] for unit_id in known if unit_id in whole]
    shapes += [piece.geometry for piece in inside if piece.unit_id not in whole]
    if not inside or grid is None:
        raise InputError(
            "there is no such ground to burn",
            where="the units named",
            value=", ".join(names),
            allowed="units with ground, or pieces of a stage that they have",
            mend="see `habmap acres` for the stages of each unit",
        )
    return Block(
        unit_ids=tuple(dict.fromkeys(unit_id for unit_id, _ in parts)),
        outline=_joined(shapes),
        inside=inside,
        beyond=tuple(piece for piece in state.pieces if not is_inside(piece)),
    )


def logged_block(
    names: Sequence[str],
    state: Ground,
    *,
    blocks: Mapping[str, Sequence[str]],
    drawn: Sequence[DrawnBlock],
    versions: Sequence[Unit],
) -> tuple[MultiPolygon, tuple[str, ...]]:
    """Return the ground of a block as the log wants it, lon/lat [°], and its units where it is all of them.

    Parameters
    ----------
    names, blocks, drawn
        As for `burn_block`.
    state
        The ground of the evening before.
    versions
        Drawings of the units; of several of one unit the last.

    Raises
    ------
    InputError
        There is no such ground, or a whole unit is named, which is logged by ``--unit ID --whole``.

    Notes
    -----
    Whole units and drawn blocks are kept vertex for vertex; pieces come from the place's grid and back.
    """
    chosen = burn_block(names, None, state=state, blocks=blocks, drawn=drawn)
    known = {unit.unit_id for unit in state.units}
    plain = [name for name in names if name in known]
    if plain:
        raise InputError(
            "this is a whole unit, not a block",
            where="--block",
            value=", ".join(plain),
            mend=f"log all of it with --unit {plain[0]} --whole",
        )
    by_name = {block.name: block for block in drawn}
    only = names[0] if len(set(names)) == 1 else None
    if only is not None and only in by_name and only not in blocks:
        return by_name[only].geometry, ()
    wanted = [part for name in names for part in (blocks.get(name, (name,)))]
    if all(name in known for name in wanted):
        unit_ids = tuple(dict.fromkeys(wanted))
        return whole_ground(unit_ids, versions), unit_ids
    # Without a grid there was no ground to choose.
    assert state.grid is not None
    parts = [part for part in shapely.get_parts(state.grid.to_lonlat(chosen.outline)) if isinstance(part, Polygon)]
    return MultiPolygon(parts), ()


def _as_drawn(
    names: Sequence[str], taken: Collection[str], by_name: Mapping[str, DrawnBlock]
) -> tuple[Sequence[str], MultiPolygon | None]:
    """Return the ground of a drawn block that is named, in place of its name, where no other ground takes that."""
    meant = [name for name in names if name in by_name and name not in taken]
    if not meant:
        return names, None
    if len(set(names)) > 1:
        raise InputError(
            "a drawn block is a burn by itself",
            where="the units named",
            value=", ".join(names),
            allowed=f"{meant[0]} alone",
            mend="name it alone, or draw one block around all of it",
        )
    return (), by_name[meant[0]].geometry


def _part(name: str, known: Sequence[str]) -> tuple[str, str | None]:
    unit_id, _, stage = name.rpartition(":")
    return (unit_id, stage) if name not in known and stage in STAGES and unit_id else (name, None)


def _require_known(unit_ids: Sequence[str], known: Sequence[str]) -> None:
    unknown = [unit_id for unit_id in unit_ids if unit_id not in known]
    if unknown:
        raise no_such_unit(
            ", ".join(unknown),
            known,
            where="the units named",
            mend="name a unit of this property, its pieces of one stage (C1:down), a block of `[burn.blocks]`, or one "
            "of `habmap load block`",
        )


def _drawn(ground: Polygon | MultiPolygon, unit_ids: Sequence[str], state: Ground) -> Block:
    inside, beyond = [], []
    for piece in state.pieces:
        kept = _cut(piece, shapely.intersection(piece.geometry, ground))
        left = _cut(piece, shapely.difference(piece.geometry, ground))
        inside += [kept] if kept else []
        beyond += [left] if left else []
    touched = tuple(dict.fromkeys(piece.unit_id for piece in inside))
    missed = [unit_id for unit_id in unit_ids if unit_id not in touched]
    if missed:
        raise InputError(
            "the patch has no ground in a unit that is named",
            where="--patch",
            value=", ".join(missed),
            allowed=", ".join(touched) or "the patch lies in no unit",
            mend="name the units that the patch touches, or none",
        )
    return Block(unit_ids=touched, outline=_joined([ground]), inside=tuple(inside), beyond=tuple(beyond))


def _cut(piece: GroundPiece, shape: BaseGeometry) -> GroundPiece | None:
    parts = [
        part
        for part in shapely.get_parts(shape)
        if isinstance(part, Polygon) and not shapely.is_empty(shapely.buffer(part, -_SLIVER_M))
    ]
    if not parts:
        return None
    area_m2 = float(sum(part.area for part in parts))
    return replace(piece, geometry=MultiPolygon(parts), area_m2=area_m2, acres=acres(area_m2))


def _joined(shapes: Sequence[BaseGeometry]) -> Polygon | MultiPolygon:
    block = shapely.union_all(list(shapes))
    if len(shapes) > 1:
        closed = shapely.buffer(block, HAIR_WIDTH_M, join_style="mitre")
        block = shapely.union(shapely.buffer(closed, -HAIR_WIDTH_M, join_style="mitre"), block)
    assert isinstance(block, Polygon | MultiPolygon)
    return block


def kind_by_ground(pieces: Sequence[GroundPiece]) -> PlanKind:
    """Return the plan that the ground asks for by the most acres: piles, down cedar (or standing dead), or grass."""
    by_kind: defaultdict[PlanKind, float] = defaultdict(float)
    for piece in pieces:
        state = piece.state
        if state.piled_frac > state.lying_frac:
            by_kind["piles"] += piece.area_m2
        elif state.lying_frac > 0 or piece.stage in {"part_cut", "dead_standing"}:
            by_kind["down_cedar"] += piece.area_m2
        else:
            by_kind["grass"] += piece.area_m2
    if not pieces:
        return "grass"  # ground in no unit: the log knows of no cedar there
    order: tuple[PlanKind, ...] = ("piles", "down_cedar", "grass")
    return max(order, key=lambda kind: by_kind[kind])


def block_name(names: Sequence[str], unit_ids: Sequence[str], *, is_patch: bool) -> str:
    """Return the block as it was named, with its units where that says more."""
    names = list(dict.fromkeys(names))
    units = ", ".join(unit_ids)
    if is_patch:
        return patch_name(unit_ids)
    named = ", ".join(names)
    if named == units or all(name.rpartition(":")[0] in unit_ids or name in unit_ids for name in names):
        return named
    return f"{named} ({units})" if units else named


def patch_name(unit_ids: Sequence[str]) -> str:
    """Return drawn ground as people call it, by the units that it touches."""
    return f"a patch in {', '.join(unit_ids)}" if unit_ids else "a patch outside every unit"
