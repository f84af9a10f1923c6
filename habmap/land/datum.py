"""The way from any coordinate system to WGS 84, refused where nobody can say how far off it would be."""

from __future__ import annotations

import math
import warnings
from typing import Final

from pyproj import CRS, Transformer
from pyproj.enums import TransformDirection
from pyproj.exceptions import ProjError
from pyproj.transformer import AreaOfInterest, TransformerGroup

from habmap.errors import InputError

#: Worst accuracy a datum change may declare [m]. NAD83 to WGS 84 declares 4, NAD27 without grids 7 to 20.
DATUM_LIMIT_M: Final = 5.0

Bounds = tuple[float, float, float, float]


def horizontal_crs(crs: CRS) -> CRS:
    """Return the two-dimensional part of a compound, bound or three-dimensional system."""
    if crs.is_compound:
        return horizontal_crs(crs.sub_crs_list[0])
    return crs.to_2d()


def transformer_to_wgs84(crs: CRS, *, bounds: Bounds | None = None, where: str | None = None) -> Transformer:
    """Return the transformer from a coordinate system to WGS 84 longitude and latitude [°], x first.

    Parameters
    ----------
    crs
        System of the data; a height part is left out of account.
    bounds
        ``left, bottom, right, top`` of the data in ``crs``: picks the datum change made for that region.
        Without it the one with the widest use is taken.
    where
        File or layer, for the error.

    Raises
    ------
    InputError
        The best datum change at hand is of unknown accuracy, or declares more than ``DATUM_LIMIT_M``.

    Notes
    -----
    PROJ falls back silently on a rough shift, or none, when a datum's grid files are not installed, and
    neither ``allow_ballpark=False`` nor ``only_best=True`` stops it offline; so the accuracy that the chosen
    operation declares is looked at here. The transformer holds that one operation: points do not switch to
    another one midway.
    """
    flat = horizontal_crs(crs)
    with warnings.catch_warnings():
        # pyproj warns of every grid that is not installed; the check below decides.
        warnings.simplefilter("ignore", UserWarning)
        try:
            group = TransformerGroup(flat, CRS.from_epsg(4326), always_xy=True, area_of_interest=_region(flat, bounds))
            best = group.transformers[0] if group.transformers else None
        except ProjError:  # a damaged description: an axis in a unit that there is not
            best = None
    if best is None or not 0 <= best.accuracy <= DATUM_LIMIT_M:
        unknown = best is None or best.accuracy < 0
        raise InputError(
            "this layer's datum cannot be turned to WGS 84 closely enough here",
            where=where or "the layer",
            value=f"{flat.name}, accuracy {'unknown' if unknown or best is None else f'{best.accuracy:g} m'}",
            allowed=f"a datum change that declares {DATUM_LIMIT_M:g} m or better, such as NAD83 or WGS 84",
            mend="the shift grids of an old datum such as NAD27 are not installed: save the layer as WGS 84 "
            "(EPSG:4326) with a program that has them, then load that",
        )
    return best


def _region(crs: CRS, bounds: Bounds | None) -> AreaOfInterest | None:
    """Return the data's region in degrees, good to some hundred meters: enough to choose an operation."""
    if bounds is None:
        return None
    geodetic = crs.geodetic_crs
    if geodetic is None:
        return None
    try:
        to_degrees = Transformer.from_crs(crs, geodetic, always_xy=True)
        west, south, east, north = to_degrees.transform_bounds(
            *bounds, direction=TransformDirection.FORWARD, errcheck=True
        )
    except ProjError:
        return None
    is_finite = all(math.isfinite(side) for side in (west, south, east, north))
    if not is_finite or not -90 <= south <= north <= 90:
        return None
    # Some rasters count longitude from 0 to 360.
    west, east = ((side + 180) % 360 - 180 for side in (west, east))
    return AreaOfInterest(west, south, east, north)
