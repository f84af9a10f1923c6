"""A folder of parts: arrays with a few words in one file each, whole or not there; and when a run may go on from it."""

from __future__ import annotations

import hashlib
import json
import math
import os
import shutil
import uuid
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from itertools import chain
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from habmap.errors import HabmapError, InputError, PlaceError

_MARK: Final = b"habmap part 1\n"
_DIGEST_BYTES: Final = 32

Arrays = Mapping[str, NDArray[Any]]


def digest_of(*words: object) -> str:
    """Return a short name for what something is made from."""
    return hashlib.sha256(json.dumps(words, sort_keys=True, default=str).encode()).hexdigest()[:32]


def write_part(path: Path, words: Mapping[str, Any], arrays: Arrays) -> None:
    """Write a part through a neighbor that takes its place at the end; the same content gives the same bytes.

    Raises
    ------
    PlaceError
        The disk refused.
    """
    described = [(name, part.dtype.str, part.shape) for name, part in arrays.items()]
    head = json.dumps({"words": words, "arrays": described}, sort_keys=True).encode()
    write_file(path, _with_digest(chain((_MARK, len(head).to_bytes(8, "little"), head), map(_raw, arrays.values()))))


def _with_digest(pieces: Iterable[bytes]) -> Iterator[bytes]:
    digest = hashlib.sha256()
    for piece in pieces:
        digest.update(piece)
        yield piece
    yield digest.digest()


def write_file(path: Path, pieces: Iterable[bytes]) -> None:
    """Write a file whose name says what is in it, through a neighbor that takes its place at the end.

    Raises
    ------
    PlaceError
        The disk refused.
    """
    neighbor = path.with_name(f".{path.name}.{uuid.uuid4().hex}")
    try:
        with neighbor.open("wb") as stream:
            for piece in pieces:
                stream.write(piece)
            stream.flush()
            os.fsync(stream.fileno())
        neighbor.replace(path)
    except OSError as error:
        if isinstance(error, FileNotFoundError) and path.exists():
            return  # another run had it whole first, and swept
        raise PlaceError(
            "a part of the work cannot be written",
            where=str(path.parent),
            value=error,
            mend="make room on the disk, then go on with --resume",
        ) from error
    finally:
        with suppress(OSError):
            neighbor.unlink(missing_ok=True)


def sweep(folder: Path) -> None:
    """Remove what was left half written, by workers or runs that were lost, of files that are whole now."""
    for neighbor in folder.glob(".*.*.*"):
        if (folder / neighbor.name[1:].rpartition(".")[0]).exists():
            with suppress(OSError):
                neighbor.unlink()


def _raw(part: NDArray[Any]) -> bytes:
    return np.ascontiguousarray(part).tobytes()


def read_part(path: Path) -> tuple[dict[str, Any], dict[str, NDArray[Any]]] | None:
    """Return a part's words and arrays; ``None`` where it is not there or not whole."""
    try:
        data = path.read_bytes()
    except OSError:
        return None
    body = data[:-_DIGEST_BYTES]
    if not body.startswith(_MARK) or hashlib.sha256(body).digest() != data[-_DIGEST_BYTES:]:
        return None
    at = len(_MARK) + 8
    size = int.from_bytes(body[at - 8 : at], "little")
    head = json.loads(body[at : at + size])
    at += size
    arrays = {}
    for name, kind, shape in head["arrays"]:
        dtype = np.dtype(kind)
        count = math.prod(shape)
        arrays[name] = np.frombuffer(body, dtype=dtype, count=count, offset=at).reshape(shape)
        at += count * dtype.itemsize
    return head["words"], arrays


#: What marks a folder of parts as one.
MARK_FILE: Final = "habmap-parts.txt"
#: What the names of parts begin with that took work to make.
_WORK: Final = ("part-", "place-")
_MARK_WORDS: Final = "Parts of `habmap region`. May be deleted when no run is to go on from them.\n"


def parts_folder(folder: Path, *, is_resumed: bool, overwrite: bool, is_shared: bool = False) -> Path:
    """Return the folder of parts, made; what lies there is only gone on with where that was asked for.

    Parameters
    ----------
    is_shared
        It was named, and other runs may keep their parts there too: it is never emptied.

    Raises
    ------
    InputError
        The folder holds something else, or parts of an earlier run and nobody said what is to become of them.
    PlaceError
        The disk refused.
    """
    mark = folder / MARK_FILE
    with PlaceError(
        "the folder of parts cannot be written", where=str(folder), mend="choose an output in a folder of your own"
    ).instead_of(OSError):
        if folder.exists() and any(folder.iterdir()) and not mark.exists():
            raise InputError("this folder holds something else", where=str(folder), mend="name another one")
        if mark.exists() and not (is_resumed or is_shared):
            if not overwrite:
                raise InputError(
                    "parts of an earlier run are there",
                    where=str(folder),
                    mend="add --resume to go on from them, or --overwrite to begin anew",
                )
            shutil.rmtree(folder)
        folder.mkdir(parents=True, exist_ok=True)
        mark.write_text(_MARK_WORDS, encoding="utf-8")
    return folder


@contextmanager
def forgotten_if_refused(folder: Path) -> Iterator[None]:
    """Take a folder of parts away where a run is refused before any part of it is whole: it leaves nothing then."""
    try:
        yield
    except HabmapError:
        is_worth = any(path.suffix == ".bin" and path.name.startswith(_WORK) for path in folder.iterdir())
        if not is_worth:
            shutil.rmtree(folder, ignore_errors=True)
        raise
