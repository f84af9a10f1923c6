"""What leaves the house on paper, from Python: practice acres, a packet for an inspector, spots to see again."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from habmap.api import this_moment, today_at

if TYPE_CHECKING:
    from habmap.jobs.ports import Store
    from habmap.show.packet.packet import PacketResult
    from habmap.work.practice_report import PracticesResult
    from habmap.work.revisits import Revisit


def practices(
    place: Store,
    *,
    year: int | None = None,
    first: dt.date | None = None,
    last: dt.date | None = None,
    audience: Literal["owner", "public"] = "owner",
) -> PracticesResult:
    """Return planned and applied acres per practice code and contract item, for paperwork.

    Parameters
    ----------
    year
        A program year, named after the calendar year in which it ends.
    first, last
        Or the days of the report; ``None``: from the first line of the log to the last.
    audience
        ``public`` leaves out crew, rates, payments, programs and the reasons of holds.

    Examples
    --------
    >>> sorted({line.practice_code for line in habmap.practices(place).lines})
    ['314', '338', '384', '528', '550']
    """
    from habmap.jobs.export_practices import export_practices as job

    return job(place, year=year, first=first, last=last, audience=audience)


def revisits(
    place: Store,
    *,
    on: dt.date | None = None,
    within_days: int = 0,
    audience: Literal["owner", "public"] = "owner",
) -> tuple[Revisit, ...]:
    """Return the photo points, plots and frames of plant cover that are due again, the longest due first.

    Parameters
    ----------
    on
        The day; ``None``: today.
    within_days
        Also what will be due within so many days.
    audience
        ``public`` leaves out what stands near a private place or looks at one.

    Examples
    --------
    >>> {spot.kind for spot in habmap.revisits(place, on=datetime.date(2027, 12, 1))} == {"photo", "plot", "frame"}
    True
    """
    from habmap.jobs.export_layers import due_again as job

    return job(place, on=on or today_at(place), within_days=within_days, audience=audience)


def write_packet(
    place: Store, path: str | Path, *, item: str, audience: Literal["owner", "public"] = "owner"
) -> PacketResult:
    """Write one contract item for an inspector, a PDF; a file that is there is not replaced.

    Parameters
    ----------
    item
        As ``[[contract]]`` in ``habmap.toml`` has it: its item, or program and item.
    audience
        ``public`` leaves out names, program, rate and payment.

    Raises
    ------
    InputError
        There is no such item, or no work of it in the log.

    Examples
    --------
    >>> habmap.write_packet(place, fresh / "item.pdf", item="EQIP 1")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
        ...
    habmap.errors.InputError: there is no such contract item...
    """
    from habmap.jobs.export_packet import export_packet as job

    return job(place, item=item, target=Path(path), now=this_moment(), audience=audience)
