"""The rooms of the house, walked by reading every import: who may know whom, and who may touch the world.

The order is drawn in DEVELOPERS.md. Each rule is also tried on a small planted house that breaks it, so that a
rule which stopped looking would be noticed.
"""

from __future__ import annotations

import ast
import graphlib
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

HABMAP = Path(__file__).resolve().parents[2] / "habmap"
#: A room may import the rooms of lower rank, and itself. Rooms of one rank do not know each other.
RANK = {
    "errors": 0,
    "measures": 0,
    "vocabulary": 0,
    "memory": 0,
    "progress": 0,
    "records": 1,
    "land": 1,
    "work": 2,
    "place": 3,
    "show": 3,
    "jobs": 4,
    "api": 5,
    "api_paper": 6,
    "desk": 6,
    "region": 6,
    "api_region": 7,
    "cli": 7,  # it starts the other faces
}
#: What people and scripts stand before: these alone read the clock.
FACES = {"api", "api_paper", "api_region", "cli", "desk", "region"}
#: Leaf modules stand alone.
LEAVES = {"errors", "measures", "memory", "progress", "vocabulary"}
#: Rooms that get arrays, geometries and records, and touch no file, clock, environment or screen.
PURE_ROOMS = {"records", "land", "work"}
WORLDLY = {
    "fcntl", "fiona", "folium", "geopandas", "getpass", "glob", "gpxpy", "http", "io", "logging", "matplotlib", "os",
    "pathlib", "pyogrio", "random", "rasterio", "reportlab", "requests", "rich", "secrets", "shutil", "socket",
    "sqlite3", "subprocess", "sys", "tempfile", "threading", "time", "tomllib", "typer", "urllib", "zipfile",
}  # fmt: skip
WORLDLY_BUILTINS = {"open", "print", "input", "breakpoint"}
CLOCK_METHODS = {"now", "today", "utcnow"}
CLOCK_FUNCTIONS = {"time", "time_ns", "localtime", "gmtime", "ctime", "strftime"}
CLOCK_IN_SQL = ("CURRENT_TIMESTAMP", "CURRENT_DATE", "'now'", "unixepoch()")
#: The GeoPackage standard's own table definition (OGC 12-128r18, table 3) carries this default; habmap's rows
#: always bring their time with them.
STANDARD_DEFAULT = re.compile(r"DEFAULT\s*\(strftime\([^)]*\)\)", re.IGNORECASE)
#: Most files are under 400 lines; beyond this one subject has become two.
MOST_LINES = 500


def source_files(package: Path) -> Iterator[tuple[str, Path]]:
    """Yield each module with the room it lies in."""
    for path in sorted(package.rglob("*.py")):
        room = path.relative_to(package).parts[0].removesuffix(".py")
        if room not in ("__init__", "__main__"):  # the two doors
            yield room, path


def imports(tree: ast.AST) -> Iterator[tuple[str, int]]:
    """Yield every imported module's full dotted name, wherever in the file it stands, with its line."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, node.lineno
        elif isinstance(node, ast.ImportFrom):
            if node.level:
                yield "." * node.level + (node.module or ""), node.lineno
            elif node.module == "habmap":
                for alias in node.names:
                    yield f"habmap.{alias.name}", node.lineno
            else:
                yield node.module or "", node.lineno


def order_faults(package: Path) -> list[str]:
    """List imports that go up the house, sideways between place and show, or by a relative name."""
    faults = []
    for room, path in source_files(package):
        if room not in RANK:
            faults.append(f"{path.name}: no room called {room}")
            continue
        for name, line in imports(ast.parse(path.read_text(encoding="utf-8"))):
            where = f"{path.relative_to(package)}:{line}"
            if name.startswith("."):
                faults.append(f"{where}: relative import hides the room")
                continue
            parts = name.split(".")
            if parts[0] != "habmap" or len(parts) < 2 or parts[1] == "__version__":
                continue
            other = parts[1]
            if other == room and room not in LEAVES:
                continue
            if other not in RANK or RANK[other] >= RANK[room]:
                faults.append(f"{where}: {room} imports {other}")
    return faults


def circle_faults(package: Path) -> list[str]:
    """Name a circle of modules that import each other, if there is one; imports for types alone count too."""
    modules = {
        ".".join(("habmap", *path.relative_to(package).with_suffix("").parts)).removesuffix(".__init__"): path
        for path in package.rglob("*.py")
    }
    needs: dict[str, set[str]] = {}
    for module, path in modules.items():
        needs[module] = set()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                needs[module] |= {alias.name for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module:
                # A name taken from a package may be a module of its own.
                inside = {f"{node.module}.{alias.name}" for alias in node.names} & modules.keys()
                needs[module] |= inside or {node.module}
        needs[module] &= modules.keys()
    try:
        graphlib.TopologicalSorter(needs).prepare()
    except graphlib.CycleError as circle:
        return [" imports ".join(reversed(circle.args[1]))]
    return []


def purity_faults(package: Path) -> list[str]:
    """List what land and work import or call that reaches a file, the clock, the environment or the screen."""
    faults = []
    for room, path in source_files(package):
        if room not in PURE_ROOMS:
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for name, line in imports(tree):
            if name.split(".")[0] in WORLDLY:
                faults.append(f"{path.relative_to(package)}:{line}: {room} imports {name}")
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in WORLDLY_BUILTINS:
                faults.append(f"{path.relative_to(package)}:{node.lineno}: {room} calls {node.func.id}")
    return faults


def clock_faults(package: Path) -> list[str]:
    """List every place below cli that reads the clock, in Python or in SQL."""
    faults = []
    for room, path in source_files(package):
        if room in FACES:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                base, name = node.func.value, node.func.attr
                from_time_module = isinstance(base, ast.Name) and base.id == "time" and name in CLOCK_FUNCTIONS
                if name in CLOCK_METHODS or from_time_module:
                    faults.append(f"{path.relative_to(package)}:{node.lineno}: calls .{name}()")
            elif isinstance(node, ast.ImportFrom) and node.module == "time":
                names = {alias.name for alias in node.names} & CLOCK_FUNCTIONS
                if names:
                    faults.append(f"{path.relative_to(package)}:{node.lineno}: imports {sorted(names)} from time")
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                words = STANDARD_DEFAULT.sub("", node.value)
                found = [word for word in CLOCK_IN_SQL if word in words]
                if found:
                    faults.append(f"{path.relative_to(package)}:{node.lineno}: SQL reads the clock: {found}")
    return faults


def test_rooms_import_only_rooms_before_them() -> None:
    assert order_faults(HABMAP) == []


def test_no_two_modules_import_each_other_even_by_way_of_others() -> None:
    assert circle_faults(HABMAP) == []


def test_land_and_work_touch_no_file_clock_environment_or_screen() -> None:
    assert purity_faults(HABMAP) == []


def test_nothing_below_cli_reads_the_clock() -> None:
    assert clock_faults(HABMAP) == []


def test_every_room_is_there_and_was_walked() -> None:
    walked = {room for room, _ in source_files(HABMAP)}
    assert walked == set(RANK)


def test_files_stay_short_enough_to_read() -> None:
    long = {
        str(path.relative_to(HABMAP)): lines
        for _, path in source_files(HABMAP)
        if (lines := len(path.read_text(encoding="utf-8").splitlines())) > MOST_LINES
    }
    assert long == {}


@pytest.mark.parametrize(
    ("module", "line", "rule"),
    [
        ("land/a.py", "from habmap.records import Unit", order_faults),
        ("work/a.py", "from habmap.place import store", order_faults),
        ("place/a.py", "def f():\n    from habmap.show import page", order_faults),
        ("show/a.py", "from habmap import place", order_faults),
        ("jobs/a.py", "import habmap.cli.main", order_faults),
        ("errors.py", "from habmap.measures import ft", order_faults),
        ("show/a.py", "from ..place import store", order_faults),
        ("attic/a.py", "import math", order_faults),
        ("land/a.py", "import rasterio.windows", purity_faults),
        ("work/a.py", "def f():\n    from pathlib import Path", purity_faults),
        ("work/a.py", "print('hello')", purity_faults),
        ("land/a.py", "with open('x') as f: pass", purity_faults),
        ("jobs/a.py", "from datetime import date\nx = date.today()", clock_faults),
        ("place/a.py", "import datetime\nx = datetime.datetime.now(datetime.UTC)", clock_faults),
        ("show/a.py", "import time\nx = time.time()", clock_faults),
        ("show/a.py", "from time import localtime", clock_faults),
        ("place/a.py", "x = \"insert into t values (datetime('now'))\"", clock_faults),
    ],
)
def test_a_planted_fault_is_found(tmp_path: Path, module: str, line: str, rule: object) -> None:
    path = tmp_path / module
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(line + "\n", encoding="utf-8")
    assert callable(rule)
    assert len(rule(tmp_path)) == 1


@pytest.mark.parametrize("line", ["from habmap.jobs.a import A", "from habmap.jobs import a", "import habmap.jobs.a"])
def test_a_planted_circle_is_found(tmp_path: Path, line: str) -> None:
    (tmp_path / "jobs").mkdir()
    (tmp_path / "jobs" / "a.py").write_text("from habmap.jobs.b import B\n", encoding="utf-8")
    (tmp_path / "jobs" / "b.py").write_text("from habmap.jobs.c import C\n", encoding="utf-8")
    (tmp_path / "jobs" / "c.py").write_text(f"if TYPE_CHECKING:\n    {line}\n", encoding="utf-8")
    (fault,) = circle_faults(tmp_path)
    assert {f"habmap.jobs.{name}" for name in "abc"} == set(fault.split(" imports "))


def test_an_orderly_house_has_no_faults(tmp_path: Path) -> None:
    for module, line in {
        "errors.py": "import math",
        "land/a.py": "import numpy\nfrom habmap.measures import acres\nfrom habmap.land.grid import LocalGrid",
        "work/a.py": "from datetime import date\nfrom habmap.land.grid import LocalGrid",
        "place/a.py": "import time\nfrom habmap.records import Unit\ntime.sleep(0.1)",
        "cli/a.py": "from datetime import datetime\nfrom habmap import __version__\ndatetime.now()",
    }.items():
        (tmp_path / module).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / module).write_text(line + "\n", encoding="utf-8")
    assert order_faults(tmp_path) + purity_faults(tmp_path) + clock_faults(tmp_path) + circle_faults(tmp_path) == []


def test_every_command_module_is_listed() -> None:
    import pkgutil

    from habmap.cli import commands

    there = {module.name for module in pkgutil.iter_modules(commands.__path__)}
    assert set(commands.NAMES) == there
