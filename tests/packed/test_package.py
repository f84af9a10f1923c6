"""The zipped folder for people without Python, tried where none is (``dev.py package --check``).

As root it runs in a root folder of its own, which holds the package and the C library of the system alone; else with an
empty environment. What it answers is held against the program as pip installs it.
"""

from __future__ import annotations

import json
import os
import re
import stat
import subprocess
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import package
import pytest
from desk_process import Running
from outside import path_of

pytestmark = pytest.mark.package
Run = Callable[..., Any]
#: What glibc itself brings, and zlib, which every desktop of Linux has and PyInstaller's starter loads before it can
#: look into the package. All else must be in there.
OF_THE_SYSTEM = re.compile(r"(linux-vdso|ld-linux.*|lib(c|m|dl|pthread|rt|util|resolv|nsl|z))\.so(\.\d+)*")


@dataclass(frozen=True)
class Bare:
    """Where the package is unpacked, and how its programs are started there."""

    root: Path
    folder: str
    before: tuple[str, ...]

    @property
    def home(self) -> str:
        """The user's own folder, as the programs see it."""
        return "/home/me" if len(self.before) > 1 else str(self.root / "home/me")

    def path(self, inside: str) -> Path:
        """Return where a file of the programs lies for everybody else."""
        return self.root / inside.removeprefix(str(self.root)).lstrip("/")

    def words(self, program: str, *arguments: object) -> list[str]:
        """Return what starts a program of the package."""
        return [*self.before, f"{self.folder}/{program}", *map(str, arguments)]

    @property
    def environment(self) -> dict[str, str]:
        """Nothing but a home."""
        return {"HOME": self.home}

    def run(self, *arguments: object) -> str:
        """Run the command and return what it printed."""
        done = subprocess.run(
            self.words("habmap", *arguments), env=self.environment, capture_output=True, encoding="utf-8", check=False
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout


@pytest.fixture(scope="session")
def packed(repository: Path) -> Path:
    """The newest package that was built."""
    found = sorted((repository / "dist").glob("habmap-*.zip"), key=lambda path: path.stat().st_mtime)
    assert found, "no package is built: run `python3 scripts/dev.py package --check`"
    return found[-1]


@pytest.fixture(scope="session")
def bare(packed: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bare]:
    """The package unpacked as a person unpacks it, in a place that holds no Python."""
    root = tmp_path_factory.mktemp("bare")
    (root / "opt").mkdir()
    (root / "home/me/Desktop").mkdir(parents=True)
    subprocess.run(["unzip", "-q", packed, "-d", root / "opt"], check=True)
    (folder,) = (root / "opt").iterdir()
    if os.geteuid() != 0:
        yield Bare(root, str(folder), (str(path_of("env")),))
        return
    for library in system_libraries(folder):
        target = root / library.relative_to("/")
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(library.read_bytes())
        target.chmod(0o755)
    (root / "tmp").mkdir(exist_ok=True)
    (root / "dev/shm").mkdir(parents=True)
    os.mknod(root / "dev/null", 0o666 | stat.S_IFCHR, os.makedev(1, 3))
    yield Bare(root, f"/opt/{folder.name}", (str(path_of("chroot")), str(root)))


def system_libraries(folder: Path) -> set[Path]:
    """Return the libraries that the package takes from the system; one that is nowhere fails."""
    files = [path for path in folder.rglob("*") if path.is_file() and path.read_bytes()[:4] == b"\x7fELF"]
    beside = {path.name for path in files}
    starters = [folder / package.COMMAND, folder / package.DESK]
    told = _ldd(starters, {}) + _ldd(files, {"LD_LIBRARY_PATH": str(folder / package.CONTENTS)})  # as these set it
    missing = {name for name in re.findall(r"^\s*(\S+) => not found", told, re.MULTILINE) if name not in beside}
    assert missing == set()
    found = {Path(path) for path in re.findall(r"(?:=> |^\s*)(/\S+) \(0x", told, re.MULTILINE)}
    return {path for path in found if not path.is_relative_to(folder)}


def _ldd(files: list[Path], more: dict[str, str]) -> str:
    done = subprocess.run(["ldd", *files], env={**os.environ, **more}, capture_output=True, text=True, check=False)
    return done.stdout


def test_it_holds_all_that_the_recipe_names_and_no_python_to_be_called(packed: Path) -> None:
    with zipfile.ZipFile(packed) as file:
        names = {name.partition("/")[2] for name in file.namelist()}
    wanted = {f"{package.CONTENTS}/{folder}/{path.name}" for path, folder in package.data_files()}
    assert wanted - names == set()
    assert not [name for name in names if re.search(r"(^|/)(python[\d.]*|pip[\d.]*)$", name) and "/" not in name]
    for library in ("numpy", "rasterio", "uvicorn"):
        told = rf"{package.CONTENTS}/{library}-[^/]+\.dist-info/(licenses/)?LICENSE[^/]*"
        assert any(re.fullmatch(told, name) for name in names), library
    assert not [name for name in names if "direct_url.json" in name]  # tells where the checkout lies
    assert {package.COMMAND, package.DESK, package.READ_ME, "LICENSE.txt"} <= names


def test_it_needs_nothing_of_the_system_but_the_c_library(bare: Bare) -> None:
    libraries = system_libraries(bare.path(bare.folder))
    assert [path for path in libraries if not OF_THE_SYSTEM.fullmatch(path.name)] == []


def test_it_does_the_whole_main_job_and_answers_as_the_program_that_pip_installs(bare: Bare, run_habmap: Run) -> None:
    assert bare.run("--version") == run_habmap("--version", env={}).out
    place = f"{bare.home}/sample"
    assert "The map is" in bare.run("demo", place)
    for name in ("map.html", "sheet.pdf", "handout.pdf"):
        assert bare.path(f"{place}/out/{name}").stat().st_size > 10_000
    for command in ("acres", "terrain", "density", "rank", "history"):
        told = json.loads(bare.run("--place", place, command, "--json"))
        own = run_habmap(command, "--json", place=bare.path(place)).json
        for one in (told, own):
            one.get("dem", {}).pop("path", None)  # the same file has another path in there
        assert told == own, command


def test_its_processes_work_together_on_big_ground(bare: Bare, run_habmap: Run, repository: Path) -> None:
    layers = f"{bare.folder}/{package.CONTENTS}/habmap/sample_layers"
    words = ("region", "terrain", f"{layers}/units.geojson", f"{layers}/elevation.tif", "--workers", "2", "-o")
    bare.run(*words, f"{bare.home}/terrain.csv")
    own = repository / "sample_layers"
    target = bare.path(bare.home) / "own.csv"
    words = ("region", "terrain", own / "units.geojson", own / "elevation.tif", "--workers", "2", "-o", target)
    assert run_habmap(*words).code == 0
    assert bare.path(f"{bare.home}/terrain.csv").read_bytes() == target.read_bytes()


def test_the_double_click_opens_the_desk_which_makes_a_property_and_its_map(bare: Bare) -> None:
    process = subprocess.Popen(
        bare.words(package.DESK), env=bare.environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stdout is not None and process.stderr is not None
    line = process.stdout.readline().strip()
    assert line.startswith("http://127.0.0.1:"), process.stderr.read()
    desk = Running(process=process, home=bare.path(bare.home), address=line).enter()
    try:
        first = desk.get("/")
        assert first.status == 200
        assert "habmap keeps what ground is cut" in first.text or "Which property?" in first.text
        making = desk.post("/start/sample")  # a command in a process of its own, with all its libraries
        entered = desk.get(making.heads["location"])
        assert entered.status == 303, entered.text
        (key,) = re.findall(r"/([0-9a-f]{10})/", entered.heads["location"])
        answer = desk.get(f"/{key}/units")
        assert "Every unit, in the order of work" in answer.text
        assert desk.get("/assets/desk.css").status == 200
        assert "leaflet" in desk.get(f"/{key}/map").text
    finally:
        desk.stop()


def test_the_icon_starts_the_packed_command(bare: Bare) -> None:
    bare.run("shortcut")
    entry = bare.path(f"{bare.home}/Desktop/habmap.desktop").read_text(encoding="utf-8")
    (line,) = re.findall(r"^Exec=(.*)$", entry, re.MULTILINE)
    assert line == f'"{bare.folder}/habmap" "desk"'
