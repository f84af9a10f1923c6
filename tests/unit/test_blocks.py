"""Blocks of a raster: each decoded once for all windows told beforehand, its room used again, faults told to all."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from habmap.place.blocks import Blocks

RASTER = np.arange(700 * 900, dtype=np.float32).reshape(700, 900)
#: Every cell twice over, in an order that comes back to blocks left before.
WINDOWS = [
    (row, col, min(row + 333, 700), min(col + 310, 900))
    for row in range(0, 700, 200)
    for col in (*range(0, 900, 450), *range(225, 900, 450))
]


def blocks_of() -> Blocks:
    return Blocks(height=700, width=900, block=(128, 128), dtype=RASTER.dtype)


def test_each_block_is_decoded_once_into_room_used_again_and_gone_after_its_last_window():
    blocks = blocks_of()
    for window in WINDOWS:
        blocks.expect(window)
    decoded, rooms, lock = [], set(), threading.Lock()

    def decode(window, room):
        top, left, bottom, right = window
        with lock:
            decoded.append(window)
        if room is None:  # no whole block: at the far edges
            return RASTER[top:bottom, left:right].copy()
        rooms.add(room.__array_interface__["data"][0])
        room[:] = RASTER[top:bottom, left:right]
        return room

    def read(window):
        top, left, bottom, right = window
        out = np.empty((bottom - top, right - left), dtype=np.float32)
        blocks.read(window, decode, out=out)
        return np.array_equal(out, RASTER[top:bottom, left:right])

    with ThreadPoolExecutor(3) as pool:
        assert all(pool.map(read, WINDOWS))
    assert len(decoded) == len(set(decoded)) == 4
    assert not blocks._kept
    assert blocks._held == 0
    # A window that nobody told of is read all the same.
    assert read((3, 4, 5, 6))
    assert len(decoded) == 5
    assert len(rooms) == 1


def test_what_cannot_be_decoded_is_told_to_whoever_reads_it_and_tried_again_by_the_next():
    blocks = blocks_of()
    window = (0, 0, 10, 10)
    blocks.expect(window)
    out = np.empty((10, 10), dtype=np.float32)

    def broken(window, room):
        raise OSError("no such block")

    with pytest.raises(OSError, match="no such block"):
        blocks.read(window, broken, out=out)
    blocks.read(window, lambda window, room: RASTER[: window[2], : window[3]].copy(), out=out)
    assert np.array_equal(out, RASTER[:10, :10])


def test_what_another_thread_is_decoding_comes_last():
    """The second reader decodes its other block meanwhile; the first one's is done only when that has begun."""
    blocks = blocks_of()
    has_begun, other_has_begun = threading.Event(), threading.Event()

    def slow(window, room):
        has_begun.set()
        assert other_has_begun.wait(60)
        return RASTER[: window[2], : window[3]].copy()

    def other(window, room):
        other_has_begun.set()
        return RASTER[window[0] : window[2], window[1] : window[3]].copy()

    first, both = (np.empty((10, cols), dtype=np.float32) for cols in (10, 700))
    with ThreadPoolExecutor(1) as pool:
        reading = pool.submit(blocks.read, (0, 0, 10, 10), slow, out=first)
        assert has_begun.wait(60)
        blocks.read((0, 0, 10, 700), other, out=both)
        reading.result()
    assert np.array_equal(first, RASTER[:10, :10])
    assert np.array_equal(both, RASTER[:10, :700])
