"""Many properties and very many stands, from Python: what ``habmap region`` does."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from habmap.api import this_moment

if TYPE_CHECKING:
    from habmap.land.facerules import FaceRules
    from habmap.measures import VerticalUnit
    from habmap.region.records import RegionAccount, RegionTerrain

#: Told how many are done and how many there are.
Told = Callable[[int, int], None]


def region_terrain(
    units: str | Path,
    tiles: Sequence[str | Path],
    output: str | Path,
    *,
    rules: FaceRules | None = None,
    analysis_cell_m: float | Literal["native"] = 10,
    vertical_unit: VerticalUnit | None = None,
    layer: str | None = None,
    id_column: str | None = None,
    parts_folder: str | Path | None = None,
    workers: int | None = 1,
    scheduler: str | None = None,
    resume: bool = False,
    overwrite: bool = False,
    told: Told | None = None,
) -> RegionTerrain:
    """Write every figure of `terrain` for any number of stands as GeoParquet, GeoPackage or CSV.

    Parameters
    ----------
    units, tiles, output
        A layer of stands, which may overlap; the elevation, one raster or many tiles; the file to write.
    rules
        What counts as flat, sun-facing and hand-only; ``None``: as `start` sets it.
    analysis_cell_m
        Finer elevation is averaged to about this [m].
    vertical_unit
        Unit of the heights, if no file says.
    layer, id_column
        Which layer, and which column has the stands' labels: ``unit_id``, else the row's number.
    parts_folder
        Folder of parts, to share with other runs; ``None``: beside the output.
    workers, scheduler
        Processes on this machine (``None``: one a processor), or the address of a running dask.distributed cluster, to
        which ``workers=None`` belongs. More than one start this script anew: guard it by ``__name__ == "__main__"``.
    resume, overwrite
        Go on from the parts that are whole; replace the file that is there.
    told
        Called as stands are done.

    Raises
    ------
    InputError
        A file, a layer or the elevation is unfit; nothing is written then.
    PlaceError
        The disk refused, a worker was lost again and again, or the scheduler is gone; what is whole stays.

    Examples
    --------
    >>> told = habmap.region_terrain(layers / "units.geojson", [layers / "elevation.tif"], fresh / "stands.csv")
    >>> told.stands == len(place.units()), told.off_stands
    (True, 0)
    """
    from habmap.land.facerules import FaceRules
    from habmap.region.engine import engine_for
    from habmap.region.plan import Asked, Ground
    from habmap.region.terrain import region_terrain as job

    asked = Asked(
        units=Path(units), output=Path(output), layer=layer, id_column=id_column,
        parts_folder=None if parts_folder is None else Path(parts_folder), is_resumed=resume, overwrite=overwrite,
        ground=Ground(
            tiles=tuple(dict.fromkeys(Path(tile) for tile in tiles)), vertical_unit=vertical_unit,
            analysis_cell_m=analysis_cell_m, rules=rules or FaceRules(),
        ),
    )  # fmt: skip
    return job(asked, lambda: engine_for(workers=workers, scheduler=scheduler), told=told)


def region_account(
    places: Sequence[str | Path],
    output: str | Path,
    *,
    audience: Literal["owner", "public"] = "owner",
    on: dt.date | None = None,
    today: dt.date | None = None,
    workers: int | None = 1,
    scheduler: str | None = None,
    resume: bool = False,
    overwrite: bool = False,
    told: Told | None = None,
) -> RegionAccount:
    """Roll up many properties as one page, one table and one calendar; properties are only read.

    Parameters
    ----------
    places, output
        Properties' folders, or folders of them; the page (``.html``), beside which table and calendar lie.
    audience
        ``public`` leaves out hours, money, folders and private places.
    on
        The day of the accounts; ``None``: each property's newest line.
    today
        The day that the week begins where ``on`` is not given; ``None``: today, by this computer.
    workers, scheduler, resume, overwrite, told
        As for `region_terrain`.

    Raises
    ------
    InputError
        A file would be written over, or the output is no page.
    PlaceError
        None of the properties can be read, or the disk refused.

    Examples
    --------
    >>> every = habmap.region_account([folder], fresh / "all.html", today=datetime.date(2026, 8, 1))
    >>> every.total.acres == habmap.acres(place).totals.acres, every.faults
    (True, ())
    """
    from habmap.region.account import AskedAccount
    from habmap.region.account import region_account as job
    from habmap.region.engine import engine_for

    asked = AskedAccount(
        places=tuple(Path(place) for place in places), output=Path(output), audience=audience, on=on,
        today=today or this_moment().astimezone().date(), is_resumed=resume, overwrite=overwrite,
    )  # fmt: skip
    return job(asked, lambda: engine_for(workers=workers, scheduler=scheduler), told=told)
