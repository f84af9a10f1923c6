"""What the zipped folder for people without Python is made of; building and running it is `dev.py package --check`."""

from __future__ import annotations

import os
import pkgutil
import stat
import sys
import zipfile
from importlib.resources import files
from pathlib import Path

import package
import packed
import pytest

import habmap
from habmap.desk.long_work import command
from habmap.desk.pages import ASSETS, _environment
from habmap.desk.shortcut import windows_command
from habmap.place.kernels import SOURCES
from habmap.place.new_folder import sample_layers_folder


def named() -> set[str]:
    """Return every file that the recipe names, by its path in the package."""
    return {f"{folder}/{path.name}" for path, folder in package.data_files()}


def test_the_recipe_names_every_file_that_habmap_reads_of_itself() -> None:
    top = Path(str(files("habmap"))).parent
    wanted = {f"habmap/desk/assets/{name}" for name in ASSETS}
    wanted |= {f"habmap/land/{name}" for name in SOURCES}
    for name in _environment().list_templates():
        places = [f"habmap/{room}/templates/{name}" for room in ("desk", "show")]
        wanted |= {place for place in places if (top / place).exists()}
    wanted |= {f"habmap/schema/{path.name}" for path in (top / "habmap/schema").iterdir()}
    layers = sample_layers_folder()
    wanted |= {f"habmap/sample_layers/{path.relative_to(layers)}" for path in layers.rglob("*") if path.is_file()}
    assert len(wanted) > 90
    assert wanted - named() == set()
    assert all((path.parent / path.name).is_file() for path, _ in package.data_files())


def test_a_new_template_cannot_be_forgotten(tmp_path: Path) -> None:
    for folder in ("habmap/show/templates", "habmap/land/__pycache__", "sample_layers"):
        (tmp_path / folder).mkdir(parents=True)
    new = tmp_path / "habmap/show/templates/new.html.j2"
    for path in (new, tmp_path / "sample_layers/new.csv", tmp_path / "habmap/new.py"):
        path.write_text("", encoding="utf-8")
    (tmp_path / "habmap/land/__pycache__/x.pyc").write_bytes(b"")
    found = package.data_files(tmp_path)
    assert (new, "habmap/show/templates") in found
    assert (tmp_path / "sample_layers/new.csv", "habmap/sample_layers") in found
    assert {path.name for path, _ in found} == {"new.html.j2", "new.csv", *SOURCES}
    assert package.module_names(tmp_path) == ["habmap.new"]


def test_the_recipe_names_every_module() -> None:
    walked = {one.name for one in pkgutil.walk_packages(habmap.__path__, "habmap.")} | {"habmap"}
    assert walked <= set(package.module_names())


def test_what_may_be_run_and_links_stay_so_in_the_zip(tmp_path: Path) -> None:
    folder = tmp_path / "habmap-1"
    folder.mkdir()
    (folder / "habmap").write_text("x", encoding="utf-8")
    (folder / "habmap").chmod(0o755)
    (folder / "libx.so").symlink_to("habmap")
    with zipfile.ZipFile(package.pack(folder, tmp_path / "x.zip")) as file:
        modes = {one.filename: one.external_attr >> 16 for one in file.infolist()}
        assert stat.S_ISLNK(modes["habmap-1/libx.so"])
        assert file.read("habmap-1/libx.so") == b"habmap"
        assert modes["habmap-1/habmap"] & 0o111 == 0o111


@pytest.mark.parametrize(
    ("program", "words", "said"),
    [
        ("/opt/h/habmap-desk", [], ["desk"]),
        ("/opt/h/habmap-desk", ["--place", "x", "desk"], None),
        ("/opt/h/habmap", [], None),
        ("C:/h/habmap-desk.exe", [], ["desk"]),
    ],
)
def test_the_desks_own_program_opens_it_and_browsers_get_their_own_libraries(
    program: str, words: list[str], said: list[str] | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[list[str] | None] = []
    monkeypatch.setattr("habmap.cli.main.run", told.append)
    monkeypatch.setattr(sys, "executable", program)
    monkeypatch.setattr(sys, "argv", [program, *words])
    monkeypatch.setenv("LD_LIBRARY_PATH", "/opt/h/library")
    monkeypatch.setenv("LD_LIBRARY_PATH_ORIG", "/usr/own")
    monkeypatch.setenv("PYINSTALLER_RESET_ENVIRONMENT", "0")
    packed.main()
    assert told == [said]
    assert os.environ["LD_LIBRARY_PATH"] == "/usr/own"
    assert os.environ["PYINSTALLER_RESET_ENVIRONMENT"] == "1"  # what it starts of its own finds its libraries itself
    packed.main()
    assert "LD_LIBRARY_PATH" not in os.environ


def test_a_packed_program_starts_its_commands_and_icons_by_the_program_beside_it() -> None:
    assert command("/opt/h/habmap-desk", is_packed=True) == ("/opt/h/habmap",)
    assert command("/opt/h/habmap", is_packed=True) == ("/opt/h/habmap",)
    assert command("/opt/h/habmap-desk.exe", is_packed=True) == ("/opt/h/habmap.exe",)
    assert command("/usr/bin/python3", is_packed=False) == ("/usr/bin/python3", "-m", "habmap")
    *_, script = windows_command([r"C:\h\habmap.exe", "desk"], Path(r"C:\Users\me\Desktop\habmap.lnk"))
    assert r"'C:\h\habmap-desk.exe'" in script  # opens no black window
