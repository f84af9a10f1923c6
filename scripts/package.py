"""Pack habmap for people who have no Python: one zipped folder for the system that this runs on.

  python3 scripts/dev.py package            builds dist/habmap-VERSION-SYSTEM.zip
  python3 scripts/dev.py package --check    builds it, then tries it where no Python is (tests marked `package`)

PyInstaller gathers Python, the libraries and their data (PROJ, GDAL, fonts, time zones); what belongs to habmap itself
is named here, all of it: every module, and every file that is no module. `scripts/package.spec` hands both over.
"""

from __future__ import annotations

import platform
import re
import shutil
import stat
import subprocess
import sys
import time
import zipfile
from pathlib import Path
from typing import Final

TOP: Final = Path(__file__).resolve().parent.parent
#: What a person starts: the desk by a double click, and the command for those who type.
COMMAND, DESK = "habmap", "habmap-desk"
#: The folder beside them that holds everything else.
CONTENTS: Final = "library"
READ_ME: Final = "READ ME FIRST.txt"
#: Left beside compiled modules, or of the file system itself: no part of habmap.
_NOT_OURS: Final = ("__pycache__", ".DS_Store")
_SYSTEMS: Final = {"linux": "linux", "darwin": "macos", "win32": "windows"}


def data_files(top: Path = TOP) -> list[tuple[Path, str]]:
    """Return every file of habmap that is no module, each with the folder it has in the package.

    Templates, styles, scripts, schemas, the sample property's layers: found, not listed, so that none is forgotten. The
    text of the compiled modules goes along: a digest of it names the folder that keeps compiled code.
    """
    sys.path.insert(0, str(TOP))  # on the way of a checkout, installed or not
    from habmap.place.kernels import SOURCES

    found = [path for path in _files(top / "habmap") if path.suffix != ".py"]
    found += [top / "habmap" / "land" / name for name in SOURCES]
    pairs = [(path, path.parent.relative_to(top).as_posix()) for path in found]
    layers = top / "sample_layers"
    pairs += [(path, f"habmap/{path.parent.relative_to(top).as_posix()}") for path in _files(layers)]
    return sorted(pairs)


def module_names(top: Path = TOP) -> list[str]:
    """Return every module of habmap: many are named by text and loaded late, where no reader of imports sees them."""
    paths = [path for path in _files(top / "habmap") if path.suffix == ".py"]
    names = {".".join(path.relative_to(top).with_suffix("").parts) for path in paths}
    return sorted(name.removesuffix(".__init__") for name in names)


def build() -> Path:
    """Build the zipped folder and return it."""
    began = time.monotonic()
    version = _version()
    name = f"habmap-{version}-{_system()}"
    work, out = TOP / "build" / "package", TOP / "dist"
    shutil.rmtree(work, ignore_errors=True)
    words = ["--noconfirm", "--log-level=WARN", f"--workpath={work / 'work'}", f"--distpath={work / 'made'}"]
    subprocess.run([sys.executable, "-m", "PyInstaller", *words, TOP / "scripts" / "package.spec"], check=True, cwd=TOP)
    folder = (work / "made" / COMMAND).rename(work / "made" / name)
    (folder / READ_ME).write_text(read_me(version, _oldest_glibc(folder)), encoding="utf-8")
    shutil.copy(TOP / "LICENSE", folder / "LICENSE.txt")
    out.mkdir(exist_ok=True)
    packed = pack(folder, out / f"{name}.zip")
    size = sum(path.lstat().st_size for path in folder.rglob("*"))
    took_s = time.monotonic() - began
    print(f"{packed}: {packed.stat().st_size / 1e6:.0f} MB, {size / 1e6:.0f} MB unpacked, made in {took_s:.0f} s")
    return packed


def pack(folder: Path, target: Path) -> Path:
    """Zip a folder under its own name; what may be run and links stay what they are."""
    draft = target.with_suffix(".part")
    with zipfile.ZipFile(draft, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as file:
        for path in sorted(folder.rglob("*")):
            name = f"{folder.name}/{path.relative_to(folder).as_posix()}"
            if path.is_symlink():
                link = zipfile.ZipInfo(name)
                link.create_system, link.external_attr = 3, (stat.S_IFLNK | 0o777) << 16  # 3: Unix
                file.writestr(link, str(path.readlink()))
            elif path.is_file():
                file.write(path, name)
    return draft.replace(target)


def read_me(version: str, oldest_glibc: str | None) -> str:
    """Return what a person reads who has unpacked the file."""
    program = f"{DESK}.exe" if sys.platform == "win32" else DESK
    typed = f"{COMMAND}.exe" if sys.platform == "win32" else f"./{COMMAND}"
    system = {
        "linux": f"It runs on Linux with glibc {oldest_glibc} or newer, and zlib. If a double click opens a question "
        "or an editor, allow the file to be run as a program (its properties, permissions).",
        "darwin": "This package was not tried on a Mac by its makers. It is not signed: the first time, open it with a "
        "right click and “Open”, and say that you mean it.",
        "win32": "This package was not tried on Windows by its makers. It is not signed: Windows asks once whether "
        "you trust it (“More info”, then “Run anyway”).",
    }[sys.platform]
    return f"""habmap {version}

Unpack the whole folder where it may stay; nothing is installed, and no Python is needed.

1. Double-click {program}. The desk opens in your browser: make a property there, or try the sample.
2. For an icon on your desktop, type once, in a terminal in this folder:  {typed} shortcut
3. To type commands instead:  {typed} --help

{system}

Everything stays on this computer: properties made at the desk are folders under "habmap" in your home folder. Nothing
is sent anywhere. The desk ends by itself a minute after its last page was closed.

Nothing it prints is permission to cut, spray or burn: the burn boss, permits and local law decide.

Its license is LICENSE.txt; those of what it is made from are in {CONTENTS}, in the folders
that end with .dist-info.
"""


def _files(folder: Path) -> list[Path]:
    return [
        path
        for path in folder.rglob("*")
        if path.is_file() and path.suffix != ".pyc" and not any(part in _NOT_OURS for part in path.parts)
    ]


def _version() -> str:
    text = (TOP / "habmap" / "__init__.py").read_text(encoding="utf-8")
    found = re.search(r'^__version__ = "([^"]+)"', text, re.MULTILINE)
    assert found is not None
    return found[1]


def _system() -> str:
    return f"{_SYSTEMS[sys.platform]}-{platform.machine().lower()}"


def _oldest_glibc(folder: Path) -> str | None:
    """Return the oldest C library of Linux on which all of it starts: the newest version that any file asks for."""
    if sys.platform != "linux":
        return None
    found = {
        tuple(map(int, asked.split(b".")))
        for path in folder.rglob("*")
        if path.is_file() and (path.suffix == ".so" or ".so." in path.name or path.name in (COMMAND, DESK))
        for asked in re.findall(rb"\x00GLIBC_(\d+\.\d+)(?=\x00)", path.read_bytes())
    }
    return ".".join(map(str, max(found)))


if __name__ == "__main__":
    build()
