"""A drawn page as SVG, for a page on a screen that shows what the paper shows."""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass, field
from typing import Final

from PIL import Image

from habmap.show.palette import PAPER
from habmap.show.sheet.faces import advance_em, runs, sign_way, units_per_em
from habmap.show.sheet.outline import Outline
from habmap.show.sheet.pen import Pen, Picture, Stroke, Words

#: Commands of a path (SVG 2, 9.3), by what an outline's pen does at a vertex.
_WAYS: Final = ("M%.2f %.2f", "L%.2f %.2f", "C%.2f %.2f", " %.2f %.2f", " %.2f %.2f", "Z")
_CAPS: Final = {"butt": "butt", "round": "round", "projecting": "square"}


def svg_of(pen: Pen) -> str:
    """Return the page as SVG in its own points, y down; letters are outlines, the same in every browser."""
    width, height = (side * pen.grow for side in pen.size_pt)
    drawing = _Drawing(pen.size_pt[1])
    body = "".join(drawing.element(one) for one in pen.drawn)
    clips = "".join(f'<clipPath id="{name}"><path d="{way}"/></clipPath>' for way, name in drawing.clips.items())
    signs = "".join(f'<path id="{name}" d="{way}"/>' for name, way in drawing.signs.items())
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}pt" height="{height:g}pt" '
        f'viewBox="0 0 {pen.size_pt[0]:g} {pen.size_pt[1]:g}">'
        f'<rect width="100%" height="100%" fill="#ffffff"/><defs>{clips}{signs}</defs>{body}</svg>'
    )


@dataclass
class _Drawing:
    """One drawing: how high it is, what it clips to (by its way) and the signs that it sets (by name)."""

    height: float
    clips: dict[str, str] = field(default_factory=dict)
    signs: dict[str, str] = field(default_factory=dict)

    def element(self, one: Stroke | Picture | Words) -> str:
        if isinstance(one, Stroke):
            return self._stroke(one)
        return self._words(one) if isinstance(one, Words) else self._picture(one)

    def _way(self, outline: Outline) -> str:
        return outline.scaled(1, -1).moved(0, self.height).written(_WAYS)

    def _stroke(self, one: Stroke) -> str:
        look = f'fill="{one.fill or "none"}"'
        if one.ink is not None:
            look += f' stroke="{one.ink}" stroke-width="{one.width_pt:g}"'
            look += f' stroke-linecap="{_CAPS[one.cap]}"' * (one.cap != "butt")
            look += f' stroke-linejoin="{one.join}" stroke-miterlimit="10"'
            look += f' stroke-dasharray="{" ".join(f"{step:g}" for step in one.dash_pt)}"' * bool(one.dash_pt)
        if one.alpha < 1:
            look += f' opacity="{one.alpha:g}"'
        if one.clip is not None:
            look += f' clip-path="url(#{self.clips.setdefault(self._way(one.clip), f"c{len(self.clips)}")})"'
        return f'<path d="{self._way(one.outline)}" {look}/>'

    def _words(self, one: Words) -> str:
        place = f"translate({one.at[0]:.2f} {self.height - one.at[1]:.2f})"
        place += f" rotate({-one.turn_deg:.2f})" * bool(one.turn_deg)
        line, halo, right = "", "", 0.0
        for face, signs in runs(one.words, one.is_serif, one.is_bold):
            size, uses = one.size_pt / units_per_em(face), ""  # an outline's unit in points
            for sign in signs:
                name = f"{face}-{ord(sign):x}"
                if name not in self.signs:
                    self.signs[name] = sign_way(face, sign)
                uses += f'<use href="#{name}" x="{right / size:.0f}"/>' * bool(self.signs[name])
                right += one.size_pt * advance_em(sign, one.is_serif, one.is_bold)
            grown = f'transform="scale({size:.6g} {-size:.6g})"'
            line += f"<g {grown}>{uses}</g>"
            halo += f'<g {grown} stroke-width="{2 * one.halo_pt / size:.0f}">{uses}</g>' * bool(one.halo_pt)
        if halo:
            halo = f'<g transform="{place}" fill="{PAPER}" stroke="{PAPER}" stroke-linejoin="round">{halo}</g>'
        return f'{halo}<g transform="{place}" fill="{one.ink}">{line}</g>'

    def _picture(self, one: Picture) -> str:
        left, bottom, right, top = one.box
        kind, content = "jpeg", one.image
        if not isinstance(content, bytes):
            buffer = io.BytesIO()
            Image.fromarray(content).save(buffer, "png")
            kind, content = "png", buffer.getvalue()
        return (
            f'<image x="{left:.2f}" y="{self.height - top:.2f}" width="{right - left:.2f}" '
            f'height="{top - bottom:.2f}" preserveAspectRatio="none" '
            f'href="data:image/{kind};base64,{base64.b64encode(content).decode()}"/>'
        )
