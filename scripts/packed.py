"""What runs in a package made by `scripts/package.py`: the command, or the desk where that was double-clicked."""

from __future__ import annotations

import multiprocessing
import os
import sys
from pathlib import Path


def main() -> None:
    """Run the command line; without words, the program named after the desk opens it."""
    multiprocessing.freeze_support()
    _give_back_library_path()
    is_desk = Path(sys.executable).stem.endswith("-desk")
    if is_desk and sys.stdout is None:  # Windows gives it no window: what goes wrong is written down
        _write_words_down()
    from habmap.cli.main import run

    run(["desk"] if is_desk and len(sys.argv) == 1 else None)


def _give_back_library_path() -> None:
    """Let what is started from here (a browser) load its own system's libraries, not those of the package.

    PyInstaller's starter puts the package's folder first and keeps what stood there (its manual, "Launching external
    programs from the frozen application"). This process has found its libraries by then; programs of the package that
    it starts begin anew and find theirs by themselves (its manual, "Independent instances").
    """
    os.environ["PYINSTALLER_RESET_ENVIRONMENT"] = "1"
    for name in ("LD_LIBRARY_PATH", "LIBPATH"):
        before = os.environ.pop(f"{name}_ORIG", None)
        if before is not None:
            os.environ[name] = before
        else:
            os.environ.pop(name, None)


def _write_words_down() -> None:
    import typer

    folder = Path(typer.get_app_dir("habmap"))
    folder.mkdir(parents=True, exist_ok=True)
    sys.stdout = sys.stderr = (folder / "desk.log").open("w", encoding="utf-8", buffering=1)


if __name__ == "__main__":
    main()
