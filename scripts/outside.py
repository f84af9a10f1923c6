"""The outside programs that tests call or compare with: one row a test mark, and nothing else is called.

``scripts/dev.py`` installs them, ``tests/conftest.py`` marks, skips and refuses by them. Standard library alone, since
it is read before anything is installed.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

#: Tells whether R has a package of this name.
_R_HAS = 'quit(status = if (nzchar(system.file(package = "{}"))) 0 else 1)'


@dataclass(frozen=True)
class Outside:
    """One thing that pip does not bring.

    Attributes
    ----------
    what
        What it is and what tests do with it, for people.
    programs
        Names on PATH that all must be there; a name with ``|`` is any of them.
    packages
        Debian's packages that bring it whole, shared libraries too.
    probe
        A command that ends well only where it works; ``{python}`` is the interpreter of the tests.
    """

    what: str
    programs: tuple[str, ...]
    packages: tuple[str, ...]
    probe: tuple[str, ...] = ()


OUTSIDE = {
    # Without a window where there is one for it: the same engine at half the work. The driver's own node needs
    # libatomic, which neither pip nor the browser brings.
    "browser": Outside(
        what="drives a real browser, chromium",
        programs=("chromium-headless-shell|chromium|chromium-browser|google-chrome",),
        packages=("chromium-headless-shell", "fonts-dejavu-core", "libatomic1"),
        probe=("{python}", "-m", "playwright", "--version"),
    ),
    "gdaldem": Outside(
        what="compares with the gdaldem program",
        programs=("gdaldem",),
        packages=("gdal-bin",),
    ),
    "terra": Outside(
        what="compares with R's terra package",
        programs=("Rscript",),
        packages=("r-cran-terra",),
        probe=("Rscript", "--vanilla", "-e", _R_HAS.format("terra")),
    ),
    "spdata": Outside(
        what="reads the published areas of R's spData package",
        programs=("Rscript",),
        packages=("r-cran-spdata",),
        probe=("Rscript", "--vanilla", "-e", _R_HAS.format("spData")),
    ),
    "poppler": Outside(
        what="reads PDFs back with poppler's programs",
        programs=("pdftotext", "pdfinfo", "pdffonts", "pdftoppm", "pdftocairo"),
        packages=("poppler-utils",),
    ),
    "strace": Outside(
        what="traces the system calls of a command",
        programs=("strace",),
        packages=("strace",),
        probe=("strace", "-f", "-o", "/dev/null", "{python}", "-c", "pass"),
    ),
    "package": Outside(
        what="runs habmap packed, where no Python is; only with `dev.py package --check`",
        programs=("unzip", "ldd", "chroot", "env"),
        packages=("unzip", "libc-bin", "coreutils"),
    ),
    "mount": Outside(
        what="mounts a file system of its own, as root",
        programs=("mount", "umount"),
        packages=("mount",),
    ),
}


@lru_cache
def path_of(name: str) -> str | None:
    """Return where a program is; of a name with ``|`` the first that is there."""
    return next((found for one in name.split("|") if (found := shutil.which(one))), None)


@lru_cache
def why_missing(mark: str, python: str) -> str | None:
    """Say what of a mark cannot be used and how to have it on Debian; ``None`` where all of it works."""
    outside = OUTSIDE[mark]
    cure = f"(Debian: apt-get install {' '.join(outside.packages)})"
    missing = [name.split("|")[0] for name in outside.programs if path_of(name) is None]
    if missing:
        return f"no {', '.join(missing)} on PATH {cure}"
    command = [word.format(python=python) if word == "{python}" else word for word in outside.probe]
    if command and not works(command):
        return f"`{Path(command[0]).name} {' '.join(command[1:3])} …` does not work here {cure}"
    return None


def works(command: Sequence[object]) -> bool:
    """Tell whether a program starts and ends well."""
    try:
        done = subprocess.run([str(word) for word in command], capture_output=True, check=False, timeout=120)
    except (OSError, subprocess.TimeoutExpired):
        return False
    return done.returncode == 0


def in_ci() -> bool:
    """Tell whether a missing program is a failure."""
    return os.environ.get("CI", "").lower() == "true"
