"""Withdraw a density plot."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass, replace

from habmap.errors import InputError
from habmap.jobs.ports import Store
from habmap.work.said import check_why


@dataclass(frozen=True, slots=True, kw_only=True)
class PlotVoided:
    """A plot just withdrawn: the new row, the plot, and the reason."""

    uuid: str
    plot_id: str
    unit_id: str | None
    measured_on: dt.date | None
    why: str


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
        is_known = plot_id in {row.plot_id for row in store.plot_rows()}
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
