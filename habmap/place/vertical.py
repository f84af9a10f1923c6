"""The unit of a raster's heights: from the file, from the person, never guessed."""

from __future__ import annotations

from typing import Final

from pyproj import CRS

from habmap.errors import InputError
from habmap.measures import M_PER_VERTICAL_UNIT, VerticalUnit

#: How files write the three units, in small letters without stops, spaces, ``-`` and ``_``.
UNIT_SPELLINGS: Final[dict[str, VerticalUnit]] = {
    "m": "m", "metre": "m", "metres": "m", "meter": "m", "meters": "m",  # codespell:ignore metre,metres
    "ft": "ft", "foot": "ft", "feet": "ft", "internationalfoot": "ft", "internationalfeet": "ft", "footintl": "ft",
    "usft": "us-ft", "ftus": "us-ft", "ussurveyfoot": "us-ft", "ussurveyfeet": "us-ft", "surveyfoot": "us-ft",
    "surveyfeet": "us-ft", "footus": "us-ft", "usfoot": "us-ft", "usfeet": "us-ft", "footsurveyus": "us-ft",
}  # fmt: skip
UNIT_WORDS: Final[dict[VerticalUnit, str]] = {"m": "meters", "ft": "feet", "us-ft": "US survey feet"}
_MEND: Final = "ask where the raster came from, then say it: --vertical-unit m, ft or us-ft"


def file_vertical_unit(
    band_unit: str | None, crs: CRS, *, said: VerticalUnit | None, where: str
) -> tuple[VerticalUnit, str | None]:
    """Settle the unit of the heights.

    Parameters
    ----------
    band_unit
        Unit that the raster's band is marked with.
    crs
        The raster's coordinate system, its height part included.
    said
        What the person said; it wins.
    where
        The file, for messages.

    Returns
    -------
    unit, warning
        The warning says where the person and the file differ.

    Raises
    ------
    InputError
        Nobody said it, the file contradicts itself, or it names a unit that is not known.
    """
    found: set[VerticalUnit] = set()
    strange: str | None = None
    if band_unit and band_unit.strip():
        unit = UNIT_SPELLINGS.get("".join(c for c in band_unit.lower() if c.isalpha()))
        if unit is None:
            strange = band_unit
        else:
            found.add(unit)
    found |= _crs_units(crs)
    if said is not None:
        others = [UNIT_WORDS[unit] for unit in sorted(found - {said})] + ([f"“{strange}”"] if strange else [])
        if not others:
            return said, None
        return (
            said,
            f"the file says that its heights are in {' and '.join(others)}; taken as {UNIT_WORDS[said]}, as you said",
        )
    if strange is not None:
        raise InputError(
            "the raster's heights are in a unit that habmap does not know",
            where=where, value=strange, allowed="meters, feet or US survey feet", mend=_MEND,
        )  # fmt: skip
    if len(found) > 1:
        raise InputError(
            "the raster contradicts itself about the unit of its heights",
            where=where, value=" and ".join(UNIT_WORDS[unit] for unit in sorted(found)), mend=_MEND,
        )  # fmt: skip
    if not found:
        raise InputError(
            "the raster does not say in which unit its heights are",
            where=where, allowed="meters, feet or US survey feet", mend=_MEND,
        )  # fmt: skip
    return found.pop(), None


def _crs_units(crs: CRS) -> set[VerticalUnit]:
    """Return the unit of the height axis of a compound or three-dimensional system, where it is one of the known."""
    parts = crs.sub_crs_list or [crs]
    factors = [
        axis.unit_conversion_factor for part in parts for axis in part.axis_info if axis.direction in ("up", "down")
    ]
    return {
        unit
        for factor in factors
        for unit, metres in M_PER_VERTICAL_UNIT.items()  # codespell:ignore metre,metres
        if abs(factor / metres - 1) < 1e-9  # the two feet differ by 2e-6  # codespell:ignore metre,metres
    }
