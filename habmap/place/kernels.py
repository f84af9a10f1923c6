"""Where compiled code is kept: in the user's own cache folder, apart for each version of it."""

from __future__ import annotations

import hashlib
import os
import sys
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from types import ModuleType
from typing import Any, Final

#: The modules whose text decides what is compiled.
_SOURCES: Final = ("compiled.py", "pieces.py", "coverage.py", "terrain.py", "facerules.py")


@lru_cache(maxsize=1)
def compiled() -> ModuleType:
    """Return `habmap.land.compiled`, compiled before or when it is first called."""
    import numba

    settings: Any = numba.config
    if not settings.CACHE_DIR:
        settings.CACHE_DIR = str(cache_folder())
    import habmap.land.compiled

    return habmap.land.compiled


def cache_folder() -> Path:
    """Return the folder for compiled code; another one whenever the text that is compiled is another."""
    digest = hashlib.sha256()
    for name in _SOURCES:
        digest.update(files("habmap.land").joinpath(name).read_bytes())
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA") or "~/AppData/Local"
    elif sys.platform == "darwin":
        base = "~/Library/Caches"
    else:
        base = os.environ.get("XDG_CACHE_HOME") or "~/.cache"
    return Path(base).expanduser() / "habmap" / f"compiled-{digest.hexdigest()[:16]}"
