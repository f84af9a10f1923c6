"""The land colors can be told apart by any eye and in gray, and never stand alone.

Outside source of the color differences: the ``colorspacious`` package, which carries CAM02-UCS (Luo, Cui and Li
2006, Color Research and Application 31:320-330) and the color-vision matrices of Machado, Oliveira and Fernandes
2009 (IEEE Transactions on Visualization and Computer Graphics 15:1291-1298). The limits are the house's own: 15 and 5.
"""

from __future__ import annotations

import itertools
import re
import warnings
from typing import Any

import numpy as np
import pytest

from habmap.show.palette import DARK_STAGES, INK, INK_SOFT, PAPER, STAGE_FILLS, WATER_INK
from habmap.show.patterns import _MARKS, _OVER_MARKS, over_id, pattern_definitions, pattern_id
from habmap.vocabulary import STAGES

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # its docstrings hold escapes that newer Pythons warn of
    from colorspacious import cspace_converter

LEAST_DIFFERENCE = 15.0
LEAST_LIGHTNESS_DIFFERENCE = 5.0
#: Full-severity anomaly is dichromacy in Machado's model.
EYES = {"normal": None, "deuteranope": "deuteranomaly", "protanope": "protanomaly", "tritanope": "tritanomaly"}
FILLED = [stage for stage in STAGES if stage not in ("keep", "other")]


def _rgb(color: str) -> list[float]:
    return [int(color[i : i + 2], 16) / 255 for i in (1, 3, 5)]


def _seen(eye: str) -> Any:
    kind = EYES[eye]
    start = "sRGB1" if kind is None else {"name": "sRGB1+CVD", "cvd_type": kind, "severity": 100}
    return dict(zip(FILLED, cspace_converter(start, "CAM02-UCS")([_rgb(STAGE_FILLS[s]) for s in FILLED]), strict=True))


@pytest.mark.parametrize("eye", EYES)
def test_every_two_stage_fills_differ_to_this_eye(eye: str) -> None:
    seen = _seen(eye)
    differences = {(a, b): float(np.linalg.norm(seen[a] - seen[b])) for a, b in itertools.combinations(FILLED, 2)}
    closest = sorted(differences, key=differences.__getitem__)[:5]
    for pair in closest:
        print(f"{eye:12} {pair[0]:14} {pair[1]:14} {differences[pair]:6.2f} CAM02-UCS")
    assert min(differences.values()) >= LEAST_DIFFERENCE


def test_every_two_stage_fills_differ_in_lightness_so_that_a_grey_print_tells_them() -> None:
    lightness = {stage: float(value[0]) for stage, value in _seen("normal").items()}
    ordered = sorted(lightness, key=lightness.__getitem__)
    for darker, lighter in itertools.pairwise(ordered):
        print(
            f"{darker:14} {lightness[darker]:6.2f}  then {lighter:14} +{lightness[lighter] - lightness[darker]:5.2f} J'"
        )
        assert lightness[lighter] - lightness[darker] >= LEAST_LIGHTNESS_DIFFERENCE


def test_no_two_stages_share_fill_and_pattern() -> None:
    assert set(_MARKS) == set(STAGES) == set(STAGE_FILLS)
    looks = {(STAGE_FILLS[stage], _MARKS[stage]) for stage in STAGES}
    assert len(looks) == len(STAGES)
    drawn = [_MARKS[stage][2] for stage in STAGES if _MARKS[stage][2]]
    assert len(set(drawn)) == len(drawn) == len(STAGES) - 2  # standing is solid, other is open paper
    for stage in STAGES:
        assert f'id="{pattern_id(stage)}"' in pattern_definitions()


def _luminance(color: str) -> float:
    """Relative luminance, WCAG 2.2."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in _rgb(color)]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(a: str, b: str) -> float:
    high, low = sorted((_luminance(a), _luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_inks_read_on_paper_as_wcag_asks() -> None:
    # WCAG 2.2: 7:1 for text at level AAA, 4.5:1 at AA (success criteria 1.4.6 and 1.4.3).
    for ink, least in ((INK, 7.0), (INK_SOFT, 4.5), (WATER_INK, 4.5)):
        print(f"{ink} on paper {_contrast(ink, PAPER):.1f}:1")
        assert _contrast(ink, PAPER) >= least
    for stage in DARK_STAGES:
        print(f"paper on {stage} {_contrast(PAPER, STAGE_FILLS[stage]):.1f}:1")
        assert _contrast(PAPER, STAGE_FILLS[stage]) >= 4.5


def test_dead_trees_in_slash_show_on_every_fill_in_grey_and_to_any_eye() -> None:
    width, height, marks = _OVER_MARKS["both"]
    strokes = re.findall(r'd="([^"]+)" fill="none" stroke="([^"]+)" stroke-width="([\d.]+)"', marks.format(line=INK))
    (rim, rim_ink, rim_px), (tree, tree_ink, tree_px) = strokes
    # the tree is ink on a rim of paper that reaches out at least a pixel on either side: its contrast is the rim's own,
    # whatever lies below, and the rim stands out of dark ground as the ink does of light
    assert rim == tree and (rim_ink, tree_ink) == (PAPER, INK)
    assert float(rim_px) - float(tree_px) >= 2
    assert _contrast(INK, PAPER) >= 7
    for stage, fill in STAGE_FILLS.items():
        seen = _contrast(PAPER if stage in DARK_STAGES else INK, fill)
        print(f"{stage:14} {seen:.1f}:1")
        assert seen >= 2.5
    assert all(tree not in own[2] for own in _MARKS.values())
    assert (width, height) > (16, 16)  # wide apart: the stage's own pattern shows between the trees
    assert pattern_definitions().count(f'id="{over_id("both")}"') == 1
