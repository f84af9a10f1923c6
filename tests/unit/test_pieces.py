"""Pieces of outlines in a tile."""

from __future__ import annotations

import numpy as np

from habmap.land.pieces import Pieces


def test_one_of_several_pieces_keeps_its_own_figures() -> None:
    pieces = Pieces(
        np.array([7, 8, 9]), np.arange(12).reshape(3, 4), np.arange(48.0).reshape(3, 2, 2, 4),
        np.arange(15.0).reshape(3, 5),
    )  # fmt: skip
    for number, owner in enumerate((7, 8, 9)):
        one = pieces.only(number)
        assert one.owners.tolist() == [owner]
        assert one.windows.tolist() == [list(range(4 * number, 4 * number + 4))]
        assert one.steps.ravel().tolist() == list(range(16 * number, 16 * number + 16))
        assert one.latitudes.tolist() == [list(range(5 * number, 5 * number + 5))]
