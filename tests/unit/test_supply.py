"""What ships: files of others as they published them, all licenses listed, the wheel the same whenever it is built."""

from __future__ import annotations

import hashlib
import shutil
import time
import zipfile
from pathlib import Path

import pytest
from hatchling.builders.wheel import WheelBuilder
from licenses import HELD, LICENSES, VENDORED, licenses_text

TOP = Path(__file__).resolve().parents[2]
#: What a build reads.
BUILT_FROM = ("habmap", "sample_layers", "pyproject.toml", "README.md", "LICENSE")


def sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_what_others_made_is_what_they_published() -> None:
    told = {f"{one.folder}/{file}": digest for one in VENDORED for file, digest in one.files.items()}
    files = [path for folder in HELD for path in (TOP / folder).rglob("*") if path.is_file()]
    there = {str(path.relative_to(TOP)): sha256(path) for path in files}
    assert there == told


@pytest.mark.pinned
def test_the_licenses_of_all_that_ships_are_listed() -> None:
    text = LICENSES.read_text(encoding="utf-8")
    assert text == licenses_text(), "run `python3 scripts/dev.py docs`"


def built(folder: Path) -> Path:
    for name in BUILT_FROM:
        source = TOP / name
        if source.is_dir():
            shutil.copytree(source, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copyfile(source, folder / name)
    (wheel,) = WheelBuilder(str(folder)).build(directory=str(folder / "dist"), versions=["standard"])
    return Path(wheel)


def test_the_wheel_is_built_twice_to_the_same_bytes_and_holds_what_it_needs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("SOURCE_DATE_EPOCH", raising=False)
    first = built(tmp_path / "one")
    monkeypatch.setattr(time, "time", lambda: 2_000_000_000.0)
    second = built(tmp_path / "another folder")
    assert first.name == second.name
    assert first.read_bytes() == second.read_bytes()
    held = set(zipfile.ZipFile(first).namelist())
    source = {str(path.relative_to(TOP)) for path in (TOP / "habmap").rglob("*")
              if path.is_file() and "__pycache__" not in path.parts}  # fmt: skip
    assert source <= held
    assert any(name.startswith("habmap/sample_layers/") for name in held)
