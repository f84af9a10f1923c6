"""Pictures of the ground: made small, freed of all that a camera writes into them, and kept under ``photos/``."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Final

from habmap.errors import InputError, PlaceError
from habmap.place.writers import write_whole

if TYPE_CHECKING:
    from PIL.Image import Image

PICTURE_FOLDER: Final = "photos"
#: Long side of the copy that a place keeps [pixels]: fills a screen at a meeting.
KEPT_PX: Final = 1280
KEPT_QUALITY: Final = 82
#: The largest phone cameras of today write 108 million; a picture of more is a trap for the memory.
MOST_PIXELS: Final = 130_000_000
MOST_BYTES: Final = 80_000_000
#: Exif 3.0 (CIPA DC-008-2023), 4.6.5.1.6 Orientation: tag 0x0112, values 1–8.
_ORIENTATION_TAG: Final = 0x0112
#: Start and end of image (ITU-T T.81, table B.1: SOI, EOI).
_BEGIN: Final = b"\xff\xd8"
_END: Final = b"\xff\xd9"
_NAME: Final = re.compile(r"[0-9a-f]{16,64}\.jpg")
#: The neighbor through which `write_whole` writes (tempfile: eight of these signs).
_BEGUN: Final = re.compile(r"\.[a-z0-9_]{8}\.jpg")


def opened_jpeg(content: bytes) -> Image:
    """Return a JPEG opened but not yet decoded; no other kind of picture is tried.

    Raises
    ------
    InputError
        It is no JPEG, or claims more pixels than a camera makes.
    """
    from PIL import JpegImagePlugin

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            # straight to the JPEG reader: the general opener would guess among forty kinds
            image = JpegImagePlugin.JpegImageFile(io.BytesIO(content))
    except Exception as error:  # the reader raises whatever it stumbles over in a hostile file
        raise InputError(
            "this is not a JPEG picture, whatever its name says", where="the picture", mend="save it as a JPEG"
        ) from error
    if image.width * image.height > MOST_PIXELS:
        raise InputError(
            "the picture claims more pixels than is accepted",
            value=f"{image.width:,} × {image.height:,}",
            allowed=f"{MOST_PIXELS // 1_000_000} million",
            mend="save a smaller copy of it",
            where="the picture",
        )
    return image


def small_picture(image: Image, *, long_side_px: int, quality: int) -> bytes:
    """Return a picture upright, no longer than a side, as a JPEG that holds pixels and nothing else.

    Raises
    ------
    InputError
        It is cut short or damaged.
    """
    from PIL import Image as Pictures

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            image.draft("RGB", (long_side_px, long_side_px))
            image.load()
            upright = _upright(image.convert("RGB"), image)
            upright.thumbnail((long_side_px, long_side_px), Pictures.Resampling.LANCZOS)
            # a fresh one: position, comment, color profile and whatever else stay behind with the old
            bare = Pictures.new("RGB", upright.size)
            bare.paste(upright)
            target = io.BytesIO()
            bare.save(target, "JPEG", quality=quality, optimize=True, progressive=False)
    except Exception as error:
        raise InputError(
            "the picture is cut short or damaged",
            value=str(error)[:200] or None,
            mend="copy it from the camera again",
            where="the picture",
        ) from error
    return target.getvalue()


def shrunk_jpeg(content: bytes, *, long_side_px: int, quality: int) -> tuple[bytes, tuple[int, int]]:
    """Return a JPEG made small as `small_picture` does, and its width and height [pixels].

    Raises
    ------
    InputError
        It is no JPEG.
    """
    from PIL import Image

    jpeg = small_picture(opened_jpeg(content), long_side_px=long_side_px, quality=quality)
    with Image.open(io.BytesIO(jpeg)) as made:
        return jpeg, made.size


def _upright(pixels: Image, source: Image) -> Image:
    """Return the picture turned as its orientation says; a nonsense orientation turns nothing."""
    from PIL import Image as Pictures

    turns = {
        2: Pictures.Transpose.FLIP_LEFT_RIGHT,
        3: Pictures.Transpose.ROTATE_180,
        4: Pictures.Transpose.FLIP_TOP_BOTTOM,
        5: Pictures.Transpose.TRANSPOSE,
        6: Pictures.Transpose.ROTATE_270,
        7: Pictures.Transpose.TRANSVERSE,
        8: Pictures.Transpose.ROTATE_90,
    }
    orientation: object = None
    with suppress(Exception):
        orientation = source.getexif().get(_ORIENTATION_TAG)
    turn = turns.get(orientation) if isinstance(orientation, int) else None
    return pixels if turn is None else pixels.transpose(turn)


def picture_name(sha256: str) -> str:
    """Return the name of a picture under ``photos/``: of its content alone, so that no name of a person is kept."""
    return f"{sha256[:32]}.jpg"


def read_picture(folder: Path, name: str) -> bytes | None:
    """Return a kept picture; ``None`` where it is gone or spoiled, or its name is none of ours.

    It never leaves the folder. Spoiled is what does not begin and end as a JPEG, or is larger than one that is taken.
    """
    if not _NAME.fullmatch(name):
        return None
    path = folder / PICTURE_FOLDER / name
    try:
        content = path.read_bytes() if path.is_file() and path.stat().st_size <= MOST_BYTES else b""
    except OSError:
        return None
    return content if content.startswith(_BEGIN) and content.endswith(_END) else None


@contextmanager
def kept_pictures(folder: Path, pictures: Iterable[tuple[str, bytes]]) -> Iterator[None]:
    """Write pictures that are not there yet; when what is done meanwhile fails, take them away again.

    Call it while nobody else can write to the place. What a writer that was killed had begun is cleared away.

    Raises
    ------
    PlaceError
        The disk refused, or a name is none of ours.
    """
    made: list[Path] = []
    try:
        for begun in (folder / PICTURE_FOLDER).glob(".*.jpg"):
            if _BEGUN.fullmatch(begun.name):
                with suppress(OSError):
                    begun.unlink()
        for name, content in pictures:
            if not _NAME.fullmatch(name):
                raise PlaceError(
                    "this is no name of a picture",
                    where=PICTURE_FOLDER,
                    value=name[:80],
                    mend="restore the folder from a copy",
                )
            if read_picture(folder, name) is not None:
                continue
            path = folder / PICTURE_FOLDER / name
            made.append(path)
            write_whole(path, partial(_write, content), overwrite=True, make_folder=True, is_own=True)
        yield
    except BaseException:
        for path in made:
            with suppress(OSError):
                path.unlink(missing_ok=True)
        raise


def _write(content: bytes, path: Path) -> None:
    path.write_bytes(content)
