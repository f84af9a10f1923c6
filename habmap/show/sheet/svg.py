"""A drawn page as SVG, for a page on a screen that shows what the paper shows."""

from __future__ import annotations

import base64
import io
from typing import Final

from markupsafe import escape
from PIL import Image

from habmap.show.palette import PAPER
from habmap.show.sheet.faces import FAMILIES
from habmap.show.sheet.outline import Outline
from habmap.show.sheet.pen import Pen, Picture, Stroke, Words

#: Commands of a path (SVG 2, 9.3), by what an outline's pen does at a vertex.
_WAYS: Final = ("M%.2f %.2f", "L%.2f %.2f", "C%.2f %.2f", " %.2f %.2f", " %.2f %.2f", "Z")
_CAPS: Final = {"butt": "butt", "round": "round", "projecting": "square"}


def svg_of(pen: Pen) -> str:
    """Return the page as SVG in its own points, y down; words are as wide as on paper in whatever face is there."""
    width, height = (side * pen.grow for side in pen.size_pt)
    clips: dict[str, str] = {}
    body = [_element(one, pen.size_pt[1], clips) for one in pen.drawn]
    defined = "".join(f'<clipPath id="{name}"><path d="{way}"/></clipPath>' for way, name in clips.items())
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}pt" height="{height:g}pt" '
        f'viewBox="0 0 {pen.size_pt[0]:g} {pen.size_pt[1]:g}">'
        f'<rect width="100%" height="100%" fill="#ffffff"/><defs>{defined}</defs>{"".join(body)}</svg>'
    )


def _element(one: Stroke | Picture | Words, height: float, clips: dict[str, str]) -> str:
    if isinstance(one, Stroke):
        return _stroke(one, height, clips)
    return _words(one, height) if isinstance(one, Words) else _picture(one, height)


def _way(outline: Outline, height: float) -> str:
    return outline.scaled(1, -1).moved(0, height).written(_WAYS)


def _stroke(one: Stroke, height: float, clips: dict[str, str]) -> str:
    look = f'fill="{one.fill or "none"}"'
    if one.ink is not None:
        look += f' stroke="{one.ink}" stroke-width="{one.width_pt:g}"'
        look += f' stroke-linecap="{_CAPS[one.cap]}"' * (one.cap != "butt")
        look += f' stroke-linejoin="{one.join}" stroke-miterlimit="10"'
        look += f' stroke-dasharray="{" ".join(f"{step:g}" for step in one.dash_pt)}"' * bool(one.dash_pt)
    if one.alpha < 1:
        look += f' opacity="{one.alpha:g}"'
    if one.clip is not None:
        look += f' clip-path="url(#{clips.setdefault(_way(one.clip, height), f"c{len(clips)}")})"'
    return f'<path d="{_way(one.outline, height)}" {look}/>'


def _words(one: Words, height: float) -> str:
    x, y = one.at[0], height - one.at[1]
    look = f'font-family="{FAMILIES[one.is_serif]}" font-size="{one.size_pt:g}" fill="{one.ink}"'
    look += ' font-weight="bold"' * one.is_bold
    if one.halo_pt:
        look += f' stroke="{PAPER}" stroke-width="{2 * one.halo_pt:g}" stroke-linejoin="round" paint-order="stroke"'
    if one.turn_deg:
        look += f' transform="rotate({-one.turn_deg:.2f} {x:.2f} {y:.2f})"'
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" textLength="{one.width_pt:.2f}" lengthAdjust="spacingAndGlyphs" {look}>'
        f"{escape(one.words)}</text>"
    )


def _picture(one: Picture, height: float) -> str:
    left, bottom, right, top = one.box
    kind, content = "jpeg", one.image
    if not isinstance(content, bytes):
        buffer = io.BytesIO()
        Image.fromarray(content).save(buffer, "png")
        kind, content = "png", buffer.getvalue()
    return (
        f'<image x="{left:.2f}" y="{height - top:.2f}" width="{right - left:.2f}" height="{top - bottom:.2f}" '
        f'preserveAspectRatio="none" href="data:image/{kind};base64,{base64.b64encode(content).decode()}"/>'
    )
