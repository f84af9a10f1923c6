"""What became of density plots: every row that tells of one, and a plot withdrawn."""

from __future__ import annotations

import datetime as dt
import uuid
from collections import defaultdict
from dataclasses import dataclass, replace
from itertools import pairwise

from habmap.errors import InputError
from habmap.jobs.ports import Store
from habmap.place.load.plots import NOT_MEASURED
from habmap.records import Plot, differences
from habmap.work.log_history import PlotChange
from habmap.work.said import check_why
from habmap.work.succession import in_order


@dataclass(frozen=True, slots=True, kw_only=True)
class PlotVoided:
    """A plot just withdrawn: the new row, the plot, and the reason."""

    uuid: str
    plot_id: str
    unit_id: str | None
    measured_on: dt.date | None
    why: str


def plots_told(store: Store) -> dict[str, tuple[Plot, ...]]:
    """Return every row of each plot, by ``plot_id``, each after what it stands in place of."""
    told: defaultdict[str, list[Plot]] = defaultdict(list)
    for row in store.plot_rows():
        told[row.plot_id].append(row)
    return {plot_id: in_order(rows) for plot_id, rows in told.items()}


def plot_changes(store: Store, *, unit_id: str | None = None) -> tuple[PlotChange, ...]:
    """Return what was said of plots after they were first told, oldest first; ``unit_id``: of plots in it alone."""
    found = []
    for plot_id, rows in plots_told(store).items():
        if unit_id is not None and unit_id not in {row.unit_id for row in rows}:
            continue
        for before, row in pairwise(rows):
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


def void_plot(store: Store, plot_id: str, *, why: str, now: dt.datetime) -> PlotVoided:
    """Withdraw a plot: it counts no more, and stays on record with the reason.

    Parameters
    ----------
    plot_id
        As it was loaded.
    why
        The reason.
    now
        Moment of recording, UTC.

    Raises
    ------
    UsageError
        No reason is given.
    InputError
        There is no such plot, or it is withdrawn already.
    """
    check_why(why)
    counting = {plot.plot_id: plot for plot in store.plots()}
    plot = counting.get(plot_id)
    if plot is None:
        is_known = plot_id in plots_told(store)
        raise InputError(
            "this plot is withdrawn already" if is_known else "there is no such plot",
            where="PLOT",
            value=plot_id,
            allowed=None if is_known else ", ".join(sorted(counting)) or "no plots are loaded yet",
            mend="load it again with `habmap load plots FILE --overwrite` if it should count"
            if is_known
            else "name one of these",
        )
    # the store says what it is written in sight of
    row = replace(plot, uuid=str(uuid.uuid4()), recorded_at=now, is_void=True, why=why, supersedes=None)
    store.append([row])
    return PlotVoided(uuid=row.uuid, plot_id=plot_id, unit_id=plot.unit_id, measured_on=plot.measured_on, why=why)
