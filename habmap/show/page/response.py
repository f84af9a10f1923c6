"""What came up, as a small drawing in ink for each unit: a lower line before, an upper line after, on one scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from markupsafe import Markup, escape

from habmap.measures import so_many
from habmap.show.palette import INK, INK_SOFT, PAPER
from habmap.show.records import Page
from habmap.show.response_words import (
    canopy_sentence,
    cover_sentence,
    regrowth_sentence,
    species_sentence,
    work_sentence,
)
from habmap.work.response_records import UnitResponse

#: Size of the drawing [px], where its scale begins and ends, and how far apart its lines stand.
_WIDTH: Final = 360.0
_LEFT: Final = 66.0
_RIGHT: Final = 316.0
_LINE: Final = 27.0
_TOP: Final = 26.0
#: Room between the two measures, and under the last line for the scale's figures.
_GAP: Final = 17.0
_FOOT: Final = 30.0
#: The scale ends at 100%, or at the next of these beyond what layers of plants add up to.
_STEPS_PCT: Final = (100.0, 150.0, 200.0, 300.0, 600.0)


@dataclass(frozen=True, slots=True)
class Share:
    """A share of the ground with its 95% limits [%]; limits ``None`` where nothing gives any."""

    pct: float
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class UnitShown:
    """One unit's drawing and sentences."""

    title: str
    unit_id: str
    chart: Markup
    lead: str
    more: str
    coming_back: str


def values(page: Page) -> dict[str, Any]:
    """Return what the template needs; ``response_units`` is empty where nothing was read.

    Counts and shares by unit; those read before and after come first. Where and by whom stays off every page.
    """
    read = [unit for unit in page.response if unit.read_before_on or unit.read_after_on]
    read.sort(key=lambda unit: unit.native_cover_change_pct is None)
    end_pct = _end(read)
    return {
        "response_units": tuple(
            UnitShown(
                title=_title(unit),
                unit_id=unit.unit_id,
                chart=Markup(_chart(unit, end_pct)),
                lead=_unbroken(f"{work_sentence(unit)} {cover_sentence(unit)}"),
                more=_unbroken(f"{canopy_sentence(unit)} {species_sentence(unit)}".strip()),
                coming_back=regrowth_sentence(unit),
            )
            for unit in read
        ),
        "response_sentence": sentence(read),
        "response_marks": tuple((Markup(_sample(kind)), word) for kind, word in _MEASURES),
    }


def _title(unit: UnitResponse) -> str:
    return unit.name.strip() or unit.unit_id


def _unbroken(text: str) -> str:
    """Keep a figure and its ± on one line."""
    return text.replace(" ± ", "\u00a0±\u00a0")


def _share(unit: UnitResponse, measure: str, side: str) -> Share | None:
    pct, low, high = (getattr(unit, f"{measure}_{side}_pct{limit}") for limit in ("", "_ci95_low", "_ci95_high"))
    return None if pct is None else Share(pct, low, high)


def _moved(unit: UnitResponse) -> str | None:
    """Tell whether native plants cover more or less after than before, beyond the limits of the difference."""
    if unit.native_cover_change_pct is None:
        return None
    if (unit.native_cover_change_pct_ci95_low or 0.0) > 0:
        return "more"
    return "less" if (unit.native_cover_change_pct_ci95_high or 0.0) < 0 else "unsure"


_MEASURES: Final = (("stalk", "native plants, share of the ground"), ("crown", "cedar crowns, share of the ground"))


def sentence(units: Sequence[UnitResponse]) -> str:
    """Return what all the drawings say together."""
    moved = [way for unit in units if (way := _moved(unit)) is not None]
    if not moved:
        return "Read so far on one side of the work only: there is nothing to compare yet."
    units_words = so_many(len(moved), "unit was", "units were")
    told = [
        f"{words} in {moved.count(way)}"
        for way, words in (
            ("more", "native plants cover more now"),
            ("less", "they cover less" if "more" in moved else "native plants cover less now"),
            ("unsure", "the difference is one that chance alone could make"),
        )
        if way in moved
    ]
    text = "; ".join(told)
    return (
        f"{units_words} read before and after the first work there. {text[0].upper()}{text[1:]}. It tells what was "
        "seen when, not what caused it."
    )


def _end(units: Sequence[UnitResponse]) -> float:
    largest = max(
        (
            max(share.pct, share.high or 0.0)
            for unit in units
            for share in (_share(unit, "native_cover", side) for side in ("before", "after"))
            if share is not None
        ),
        default=0.0,
    )
    return next((step for step in _STEPS_PCT if largest <= step), largest)


def _chart(unit: UnitResponse, end_pct: float) -> str:
    """Draw each measure as two lines on one scale, the earlier above, so that an eye falls from before to after."""
    height = _TOP + 4 * _LINE + _GAP + _FOOT
    base = height - _FOOT
    parts = [_scale(end_pct, base)]
    y = _TOP
    words = f"{_title(unit)}."
    for kind, measure, said in (("stalk", "native_cover", "Native plants"), ("crown", "canopy", "Cedar crowns")):
        before, after = _share(unit, measure, "before"), _share(unit, measure, "after")
        parts.append(_pair(kind, before, after, y, end_pct))
        y += 2 * _LINE + _GAP
        words += f" {said}: {_words(before, after)}."
    return (
        f'<svg class="responsechart" viewBox="0 0 {_WIDTH:.0f} {height:.0f}" role="img" '
        f'aria-label="{escape(words)}">{"".join(parts)}</svg>'
    )


def _pair(kind: str, before: Share | None, after: Share | None, y: float, end_pct: float) -> str:
    parts = []
    if before is not None and after is not None:
        x1, x2 = _x(before.pct, end_pct), _x(after.pct, end_pct)
        parts.append(f'<path d="M{x1:.1f},{y:.1f}L{x2:.1f},{y + _LINE:.1f}" stroke="{INK}" stroke-width="1" '
                     'stroke-dasharray="1.5 3.5" fill="none"/>')  # fmt: skip
    for share, label, is_after, at in ((before, "before", False, y), (after, "after", True, y + _LINE)):
        parts.append(_text(_LEFT - 12, at + 4.5, label, INK if is_after else INK_SOFT, "end"))
        if share is None:
            parts.append(_text(_LEFT + 6, at + 4.5, "not read", INK_SOFT, "start"))
            continue
        x = _x(share.pct, end_pct)
        edge = x
        if share.low is not None and share.high is not None:
            low, high = _x(share.low, end_pct), _x(share.high, end_pct)
            edge = high
            parts.append(
                f'<path d="M{low:.1f},{at:.1f}H{high:.1f}M{low:.1f},{at - 5:.1f}v10M{high:.1f},{at - 5:.1f}v10" '
                f'stroke="{INK}" stroke-width="1.3" fill="none"/>'
            )
        parts.append(_mark(kind, x, at, is_after=is_after))
        figure = f"{share.pct:.0f}%"
        room = _WIDTH - 46
        at_x = min(max(edge, x + 8) + 8, room)
        parts.append(_text(at_x, at + 4.5, figure, INK, "start", is_bold=is_after))
    return "".join(parts)


def _mark(kind: str, x: float, y: float, *, is_after: bool) -> str:
    """Draw a stalk of grass for native plants, a pointed crown for cedars: open before, filled after."""
    fill = INK if is_after else PAPER
    pen = f'stroke="{INK}" stroke-width="1.3" stroke-linecap="round" stroke-linejoin="round"'
    if kind == "stalk":
        blades = (
            f"M{x:.1f},{y + 9:.1f}V{y - 2:.1f}M{x:.1f},{y + 8:.1f}C{x - 2:.1f},{y + 3:.1f} {x - 4:.1f},{y + 1:.1f} "
        )
        blades += f"{x - 7:.1f},{y:.1f}M{x:.1f},{y + 8:.1f}C{x + 2:.1f},{y + 3:.1f} {x + 4:.1f},{y + 1:.1f} "
        blades += f"{x + 7:.1f},{y:.1f}"
        return (
            f'<path d="{blades}" fill="none" {pen}/>'
            f'<ellipse cx="{x:.1f}" cy="{y - 5.5:.1f}" rx="2.9" ry="4.6" fill="{fill}" {pen}/>'
        )
    path = f"M{x:.1f},{y - 9:.1f}L{x + 7:.1f},{y + 5:.1f}H{x + 1:.1f}V{y + 8:.1f}H{x - 1:.1f}V{y + 5:.1f}H{x - 7:.1f}Z"
    return f'<path d="{path}" fill="{fill}" {pen}/>'


def _scale(end_pct: float, base: float) -> str:
    parts = []
    for quarter in range(5):
        pct = end_pct * quarter / 4
        x = _x(pct, end_pct)
        parts.append(
            f'<path d="M{x:.1f},{_TOP - 14:.0f}V{base:.1f}" stroke="{INK}" stroke-opacity="0.28" stroke-width="0.8"/>'
        )
        parts.append(_text(x, base + 18, f"{pct:.0f}" if quarter < 4 else f"{pct:.0f}%", INK_SOFT, "middle"))
    parts.append(f'<path d="M{_LEFT:.1f},{base:.1f}H{_RIGHT:.1f}" stroke="{INK}" stroke-width="1.3"/>')
    return "".join(parts)


def _sample(kind: str) -> str:
    return (
        '<svg class="sample" width="44" height="24" viewBox="0 0 44 24" aria-hidden="true">'
        f"{_mark(kind, 11, 13, is_after=False)}{_mark(kind, 33, 13, is_after=True)}</svg>"
    )


def _words(before: Share | None, after: Share | None) -> str:
    return f"{_share_words(before)} before, {_share_words(after)} after"


def _share_words(share: Share | None) -> str:
    if share is None:
        return "not read"
    limits = "" if share.low is None or share.high is None else f" ({share.low:.0f} to {share.high:.0f})"
    return f"{share.pct:.0f}%{limits}"


def _x(pct: float, end_pct: float) -> float:
    return _LEFT + (_RIGHT - _LEFT) * min(pct, end_pct) / end_pct


def _text(x: float, y: float, text: str, ink: str, anchor: str, *, is_bold: bool = False) -> str:
    weight = ' font-weight="600"' if is_bold else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{ink}"{weight}>{escape(text)}</text>'
