"""The ground of a burn block as the log wants it: what ``burnsheet`` was asked of by name, logged by the same name."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import shapely
from shapely import MultiPolygon, Polygon

from habmap.errors import InputError
from habmap.jobs.ground import ground
from habmap.jobs.log import whole_units
from habmap.jobs.ports import Store
from habmap.work.burn.block import burn_block


def block_ground(store: Store, names: Sequence[str], *, on: dt.date) -> tuple[MultiPolygon, tuple[str, ...]]:
    """Return the ground of a block, lon/lat [°], and its units where it is all of them.

    Parameters
    ----------
    store
        The place.
    names
        As `habmap.work.burn.block.burn_block` takes them: a drawn block, a block of ``habmap.toml``, or pieces
        of units of one stage. Stages are those of the evening before.
    on
        Day of the work.

    Raises
    ------
    InputError
        There is no such ground, or a whole unit is named, which is logged by ``--unit ID --whole``.

    Notes
    -----
    Whole units and drawn blocks are kept vertex for vertex; pieces come from the place's grid and back.
    """
    state = ground(store, on=on - dt.timedelta(days=1))
    chosen = burn_block(names, None, state=state, blocks=store.settings.burn.blocks, drawn=store.drawn_blocks())
    known = {unit.unit_id for unit in state.units}
    plain = [name for name in names if name in known]
    if plain:
        raise InputError(
            "this is a whole unit, not a block",
            where="--block",
            value=", ".join(plain),
            mend=f"log all of it with --unit {plain[0]} --whole",
        )
    drawn = {block.name: block for block in store.drawn_blocks()}
    blocks = store.settings.burn.blocks
    only = names[0] if len(set(names)) == 1 else None
    if only is not None and only in drawn and only not in blocks:
        return drawn[only].geometry, ()
    wanted = [part for name in names for part in (blocks.get(name, (name,)))]
    if all(name in known for name in wanted):
        unit_ids = tuple(dict.fromkeys(wanted))
        return whole_units(store, unit_ids, on=on), unit_ids
    if state.grid is None:
        raise InputError(
            "the property holds no ground yet",
            mend="load its units with `habmap load units FILE`",
            where="the property",
        )
    parts = [part for part in shapely.get_parts(state.grid.to_lonlat(chosen.outline)) if isinstance(part, Polygon)]
    return MultiPolygon(parts), ()
