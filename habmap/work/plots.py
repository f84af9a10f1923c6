"""What became of density plots: every row that tells of one, and what each says otherwise than the one before."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from itertools import pairwise
from typing import Final

from habmap.records import Plot, differences
from habmap.work.log_history import PlotChange
from habmap.work.succession import in_order

#: Fields of a plot's row that are no part of what was measured.
NOT_MEASURED: Final = ("uuid", "is_void", "why", "supersedes")


def plots_told(rows: Iterable[Plot]) -> dict[str, tuple[Plot, ...]]:
    """Return every row of each plot, by ``plot_id``, each after what it stands in place of."""
    told: defaultdict[str, list[Plot]] = defaultdict(list)
    for row in rows:
        told[row.plot_id].append(row)
    return {plot_id: in_order(rows) for plot_id, rows in told.items()}


def plot_changes(rows: Iterable[Plot], *, unit_id: str | None = None) -> tuple[PlotChange, ...]:
    """Return what was said of plots after they were first told, oldest first; ``unit_id``: of plots in it alone."""
    found = []
    for plot_id, told in plots_told(rows).items():
        if unit_id is not None and unit_id not in {row.unit_id for row in told}:
            continue
        for before, row in pairwise(told):
            found.append(
                PlotChange(
                    plot_id=plot_id,
                    unit_id=row.unit_id,
                    action="void" if row.is_void else "restore" if before.is_void else "correct",
                    changes=tuple(one.words for one in differences(row, before, besides=NOT_MEASURED)),
                    why=row.why,
                    recorded_at=row.recorded_at,
                )
            )
    return tuple(sorted(found, key=lambda change: change.recorded_at))
