"""Published minimums for firebreaks, by the fuel beside the line: the widest first, none of them what a burn needs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from habmap.measures import M_PER_FT, acres
from habmap.work.burn.block_edges import CEDAR_FUEL_WORDS, Edge

BREAK_WORDS: Final = "published minimums, not what this burn needs"
#: What the sources call the fuels that this property has.
_VOLATILE: Final = "volatile: live or felled cedar"
_GRASS: Final = "slightly volatile: grass"
_ANY: Final = "any fuel"
_TEXAS_TECH: Final = "Texas Tech University, thesis on burning two volatile fuel types (saltcedar; juniper and oak)"
_TEXAS: Final = "Texas Ranching Conservancy, burn standards"
_MISSOURI: Final = "Missouri NRCS, conservation practice 394 guidance, February 2020"


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishedBreak:
    """A published minimum along a length of outline, and the ground it would take: width × length.

    Attributes
    ----------
    fuel
        The fuel beside the line that the source means it for.
    width_low_ft, width_high_ft
        From the least to the most that the source names for a minimum [ft].
    length_m
        Outline that it is for [m].
    source
        Who published it.
    """

    rule: str
    fuel: str
    width_low_ft: float
    width_high_ft: float
    length_m: float
    acres_low: float
    acres_high: float
    source: str
    note: str = BREAK_WORDS


def published_breaks(
    edges: Sequence[Edge], *, wind_mph: float | None, has_cedar: bool, tallest_ft: float | None
) -> tuple[PublishedBreak, ...]:
    """Return published minimums for the fuel beside the line, the widest first.

    Parameters
    ----------
    wind_mph
        At ignition; without it no rule that counts by the wind is told.
    has_cedar
        Whether cedar, live or felled, lies in the block itself.
    tallest_ft
        Of the fuel, as the last look has it [ft].

    References
    ----------
    Texas Tech: blacklines at least 152 m and up to 213 m wide downwind in juniper. Texas Ranching Conservancy: minimum
    downwind protection, firebreak and back-burn together, 40–100 ft for slightly and 300–500 ft for highly volatile
    fuels; minimum firebreak 8 ft and 1 ft for every mile an hour. Missouri NRCS: twice the height of the fuel beside
    it, never under 4 ft.
    """

    def is_beside_cedar(edge: Edge) -> bool:
        return CEDAR_FUEL_WORDS in edge.beyond_words or (has_cedar and edge.side == "downwind")

    beside_m = math.fsum(edge.length_m for edge in edges if is_beside_cedar(edge))
    downwind_m = math.fsum(edge.length_m for edge in edges if edge.side == "downwind")
    around_m = math.fsum(edge.length_m for edge in edges)
    by_wind_ft = math.nan if wind_mph is None else 8 + wind_mph
    by_height_ft = 4.0 if tallest_ft is None else max(4.0, 2 * tallest_ft)
    rules = []
    if beside_m > 0:
        rules += [
            ("at least 500 and up to 700 ft of black line downwind", _VOLATILE, 500.0, 700.0, beside_m, _TEXAS_TECH),
            ("at least 300 to 500 ft of firebreak and burned-out line downwind", _VOLATILE, 300.0, 500.0, beside_m,
             _TEXAS),
        ]  # fmt: skip
    else:
        rules.append(
            ("at least 40 to 100 ft of firebreak and burned-out line downwind", _GRASS, 40.0, 100.0, downwind_m, _TEXAS)
        )
    rules += [
        ("at least 8 ft and 1 ft for every mile an hour of wind", _ANY, by_wind_ft, by_wind_ft, around_m, _TEXAS),
        ("at least twice the height of the fuel beside it, never under 4 ft", _ANY, by_height_ft, by_height_ft,
         around_m, _MISSOURI),
    ]  # fmt: skip
    known = [rule for rule in rules if not math.isnan(rule[2])]
    return tuple(
        PublishedBreak(
            rule=rule,
            fuel=fuel,
            width_low_ft=low_ft,
            width_high_ft=high_ft,
            length_m=length_m,
            acres_low=acres(low_ft * M_PER_FT * length_m),
            acres_high=acres(high_ft * M_PER_FT * length_m),
            source=source,
        )
        for rule, fuel, low_ft, high_ft, length_m, source in sorted(known, key=lambda rule: (-rule[3], -rule[2]))
    )
