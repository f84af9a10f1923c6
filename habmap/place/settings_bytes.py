"""The bytes of a settings file, from a folder that may be a stranger's."""

from __future__ import annotations

import stat
from pathlib import Path
from typing import Final

from habmap.errors import PlaceError

#: A settings file is some pages of text.
MAX_SETTINGS_BYTES: Final = 2_000_000


def settings_bytes(path: Path) -> bytes:
    """Return ``habmap.toml`` as it is: from a file on disk, and no more than a person writes.

    Raises
    ------
    PlaceError
        It is a pipe or a device, which a stranger's copy may hold, it is far too long, or the disk refuses.
    """
    try:
        status = path.stat()  # asked before opening: a pipe would wait for its writer, and a device may never end
        if not stat.S_ISREG(status.st_mode):
            raise PlaceError(
                "the settings file is a folder, a pipe or a device, not a file",
                where=str(path),
                mend="restore it from a copy of the property's folder",
            )
        if status.st_size > MAX_SETTINGS_BYTES:
            raise PlaceError(
                "the settings file is far too long",
                where=str(path),
                value=f"{status.st_size:,} bytes",
                allowed=f"up to {MAX_SETTINGS_BYTES:,}",
                mend="restore it from a copy of the property's folder",
            )
        return path.read_bytes()
    except PlaceError:
        raise
    except FileNotFoundError as error:
        raise PlaceError(
            "this folder is not a habmap property",
            where=str(path),
            mend="go to the property's folder, or name it with --place, or make one with `habmap start`",
        ) from error
    except OSError as error:
        raise PlaceError("the settings cannot be read", where=str(path), value=error, mend="allow reading") from error
