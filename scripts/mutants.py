"""Wrong rules on purpose: does a test find each? Run by ``dev.py mutants``, never by the tests themselves.

    .venv/bin/python scripts/mutants.py [--count N] [--seed N] [--jobs N] [--only PATH[:LINE] …] [--longest S] [--each]
                                     [--map [FILE …]]

One place in the code that makes figures is changed at a time (a comparison, an operator, a constant, a condition, a
statement), in memory, in a copy of a process that has read all tests, and the tests that run that line are run until
one fails. Which tests run which line is found once, by coverage, and kept in ``.mutants/`` (``--map`` finds it anew,
``--map FILE …`` adds files of new tests; the folder may be copied to another checkout). A test that fails is run again
on the code as it is and, should it fail there too, left out. A command that a test runs is a copy of the test's process
(``tests/command_server.py``), so it holds the change too. What starts other processes (browser, most of the desk,
workers of a region) is not asked: it would find more.

A change that alters nothing anybody could see is listed with its reason in ``scripts/mutants_equivalent.toml``. Exit
code 1 where less than ``LEAST_KILLED_PCT`` of the others was found.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import copy
import gc
import importlib.abc
import importlib.machinery
import importlib.util
import math
import os
import random
import re
import resource
import signal
import subprocess
import sys
import tempfile
import time
import tomllib
import xml.etree.ElementTree as ET
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import _lru_cache_wrapper, cache, partial
from pathlib import Path
from types import CodeType, FunctionType, ModuleType
from typing import Any, Final

TOP: Final = Path(__file__).resolve().parent.parent
sys.path.append(str(TOP / "tests"))
from command_server import IN_PLACE  # noqa: E402

KEPT: Final = TOP / ".mutants"
EQUIVALENT: Final = TOP / "scripts" / "mutants_equivalent.toml"
LEAST_KILLED_PCT: Final = 95.0
#: Where figures are made; jobs that only write files are left out.
ROOMS: Final = (
    "habmap/measures.py", "habmap/land", "habmap/work",
    *(f"habmap/jobs/{job}.py" for job in (
        "acres", "bite", "burnsheet", "density", "due", "effort", "export_practices", "ground", "log",
        "rank", "response", "schedule", "terrain", "week",
    )),
)  # fmt: skip
TESTS: Final = ("tests/unit", "tests/property", "tests/reference", "tests/cli", "tests/desk/test_desk_in_process.py")
#: Of these, what would tell nothing here: they start processes of their own, for minutes.
NOT_ASKED: Final = (
    "tests/cli/test_nothing_lost.py", "tests/cli/test_power_cut.py", "tests/cli/test_soak_share.py",
    "tests/reference/test_terrain_memory.py", "tests/unit/test_mutants.py",
)  # fmt: skip
#: Tests are run until they would take so long together [s]; what survives then is said to be cut short.
LONGEST_S: Final = 60.0
#: Compiled to machine code, where coverage sees nothing: held bit for bit against the plain way by its own tests.
LEFT_OUT: Final = ("habmap/land/compiled.py",)
#: What pytest and its plugins say of modules that are there already is no fault.
QUIET: Final = ("-W", "ignore::pytest.PytestAssertRewriteWarning")
#: A change that makes its tests take so many times the processor's time that they should, and so much more, is found:
#: something never ends [s].
TIMES_AS_LONG: Final = 4
AND_LONGER_S: Final = 15
#: So is one that only waits, for so long by the clock [s].
ASLEEP_S: Final = 3600.0
#: Exit codes of pytest that say nothing of the change: stopped, at fault itself, wrong words, and no test by that name.
COULD_NOT_RUN: Final = (2, 3, 4, 5)
#: Exit code where a change could not be put into code that is loaded.
NOT_IN_PLACE: Final = 77
#: Values that can be exchanged in modules that are loaded.
PLAIN: Final = (int, float, str, bool, tuple, frozenset, dict)
PYTEST: Final = (
    "-q",
    "-p",
    "no:cacheprovider",
    "-p",
    "no:xdist",
    "-p",
    "no:cov",
    "-p",
    "no:faulthandler",
    *QUIET,
    "--hypothesis-seed=0",
)
#: Libraries that every test needs; loaded once, before the processes part.
WARM: Final = (
    "pytest",
    "hypothesis",
    "numpy",
    "shapely",
    "pyproj",
    "scipy.optimize",
    "rasterio",
    "pyogrio",
    "pydantic",
)

COMPARED: Final[dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]]] = {
    ast.Lt: (ast.LtE, ast.Gt), ast.LtE: (ast.Lt, ast.Gt), ast.Gt: (ast.GtE, ast.Lt), ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,), ast.NotEq: (ast.Eq,), ast.Is: (ast.IsNot,), ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,), ast.NotIn: (ast.In,),
}  # fmt: skip
REASONED: Final[dict[type[ast.operator], type[ast.operator]]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult, ast.Mod: ast.Mult,
    ast.FloorDiv: ast.Div, ast.BitOr: ast.BitAnd, ast.BitAnd: ast.BitOr,
}  # fmt: skip
CALLED: Final = {
    "min": "max", "max": "min", "any": "all", "all": "any", "minimum": "maximum", "maximum": "minimum",
    "floor": "ceil", "ceil": "floor", "sin": "cos", "cos": "sin",
}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One changed place: the file below the top folder, line, column and text of the line, before and after."""

    path: str
    line: int
    column: int
    text: str
    kind: str
    before: str
    after: str
    code: CodeType

    @property
    def module(self) -> str:
        """Name of its module."""
        return self.path.removesuffix(".py").removesuffix("/__init__").replace("/", ".")

    @property
    def words(self) -> str:
        """Say it in one line."""
        return f"{self.path}:{self.line} {self.kind}: `{self.before}` → `{self.after}`"


# --- what is changed ------------------------------------------------------------------------------------------


def _all_changes(path: str) -> Iterator[tuple[ast.Module, Any, tuple[ast.AST, str, int | None], str, ast.AST]]:
    """Yield a file's tree with each place, where it hangs, and each change of it."""
    tree = ast.parse((TOP / path).read_text(encoding="utf-8"))
    for spot, *hold in _spots(tree):
        for kind, new in _changes(spot):
            yield tree, spot, tuple(hold), kind, new  # type: ignore[misc]


def mutants_of(path: str, wanted: Collection[int]) -> Iterator[Mutant]:
    """Make the changes of a file that have these numbers."""
    lines = (TOP / path).read_text(encoding="utf-8").splitlines()
    for number, (tree, spot, hold, kind, new) in enumerate(_all_changes(path)):
        if number not in wanted:
            continue
        changed, before = copy.deepcopy(new), _short(spot)
        _put(*hold, changed)
        # The code keeps its lines, so that it can be told which function is which.
        code = compile(ast.fix_missing_locations(tree), str(TOP / path), "exec")
        _put(*hold, spot)
        yield Mutant(
            path, spot.lineno, _column(spot, lines), lines[spot.lineno - 1].strip(), kind, before, _short(changed), code
        )


def _column(spot: Any, lines: Sequence[str]) -> int:
    """Return where a place begins in its line's text without the indent."""
    line = lines[spot.lineno - 1]
    return len(line.encode()[: spot.col_offset].decode()) - (len(line) - len(line.lstrip()))


def _spots(tree: ast.AST) -> Iterator[tuple[Any, ast.AST, str, int | None]]:
    """Yield what may be changed with its place in the tree; annotations, texts and imports may not."""
    for name, value in ast.iter_fields(tree):
        if name in ("annotation", "returns", "type_params", "decorator_list", "bases", "keywords_of_class"):
            continue
        for index, child in enumerate(value) if isinstance(value, list) else [(None, value)]:
            if not isinstance(child, ast.AST) or isinstance(child, ast.JoinedStr | ast.Import | ast.ImportFrom):
                continue
            if isinstance(child, ast.If) and ast.unparse(child.test) == "TYPE_CHECKING":
                continue
            if isinstance(child, ast.keyword) and child.arg == "strict":
                continue  # that lists are of one length holds, or is a fault of the program either way
            if isinstance(child, ast.expr | ast.stmt):
                yield child, tree, name, index
            yield from _spots(child)


def _changes(spot: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    """Yield the ways in which a place may be changed."""
    if isinstance(spot, ast.Compare) and len(spot.ops) == 1:
        for new in COMPARED.get(type(spot.ops[0]), ()):
            yield "compared otherwise", ast.Compare(spot.left, [new()], spot.comparators)
    elif isinstance(spot, ast.BinOp) and not _is_text(spot) and type(spot.op) in REASONED:
        yield "operator swapped", ast.BinOp(spot.left, REASONED[type(spot.op)](), spot.right)
    elif isinstance(spot, ast.AugAssign) and type(spot.op) in REASONED:
        yield "operator swapped", ast.AugAssign(spot.target, REASONED[type(spot.op)](), spot.value)
    elif isinstance(spot, ast.UnaryOp) and isinstance(spot.op, ast.Not | ast.USub):
        yield "sign or not dropped", spot.operand
    elif isinstance(spot, ast.BoolOp):
        yield "and or or swapped", ast.BoolOp(ast.Or() if isinstance(spot.op, ast.And) else ast.And(), spot.values)
        yield "condition dropped", spot.values[0]
    elif isinstance(spot, ast.IfExp):
        yield "first branch always", spot.body
        yield "second branch always", spot.orelse
    elif isinstance(spot, ast.Constant):
        yield from _other_constants(spot.value)
    elif isinstance(spot, ast.Call):
        yield from _other_calls(spot)
    elif isinstance(spot, ast.comprehension | ast.GeneratorExp | ast.ListComp | ast.SetComp | ast.DictComp):
        if any(part.ifs for part in spot.generators):  # type: ignore[union-attr]
            bare = copy.deepcopy(spot)
            for part in bare.generators:  # type: ignore[union-attr]
                part.ifs = []
            yield "filter dropped", bare
    elif isinstance(spot, ast.stmt):
        yield from _other_statements(spot)


def _other_constants(value: object) -> Iterator[tuple[str, ast.AST]]:
    if isinstance(value, bool):
        yield "flipped", ast.Constant(not value)
    elif isinstance(value, int):
        yield "one more", ast.Constant(value + 1)
        yield "one less", ast.Constant(value - 1)
    elif isinstance(value, float):
        yield "a hundredth more", ast.Constant(value * 1.01 if value else 0.01)


def _other_calls(spot: ast.Call) -> Iterator[tuple[str, ast.AST]]:
    name = spot.func.id if isinstance(spot.func, ast.Name) else getattr(spot.func, "attr", "")
    if name in CALLED:
        func: ast.expr = ast.Name(CALLED[name], ast.Load())
        if isinstance(spot.func, ast.Attribute):
            func = ast.Attribute(spot.func.value, CALLED[name], ast.Load())
        yield "called otherwise", ast.Call(func, spot.args, spot.keywords)


def _other_statements(spot: ast.stmt) -> Iterator[tuple[str, ast.AST]]:
    if isinstance(spot, ast.If | ast.While):
        for kind, always in (("condition always", True), ("condition never", False)):
            if isinstance(spot, ast.If) or not always:
                changed = copy.copy(spot)
                changed.test = ast.Constant(always)
                yield kind, changed
    elif isinstance(spot, ast.Return) and spot.value is not None and not _is_none(spot.value):
        yield "returns None", ast.Return(ast.Constant(None))
    elif isinstance(spot, ast.AugAssign | ast.Continue | ast.Break) or _is_call(spot):
        yield "statement deleted", ast.Pass()


def _is_call(spot: ast.stmt) -> bool:
    """Tell whether it is a call alone; one that only makes others quicker is none."""
    return (
        isinstance(spot, ast.Expr)
        and isinstance(spot.value, ast.Call)
        and ast.unparse(spot.value.func) != "shapely.prepare"
    )


def _is_none(spot: ast.AST) -> bool:
    return isinstance(spot, ast.Constant) and spot.value is None


def _is_text(spot: ast.BinOp) -> bool:
    return any(isinstance(one, ast.JoinedStr) or (isinstance(one, ast.Constant) and isinstance(one.value, str))
               for one in (spot.left, spot.right))  # fmt: skip


def _put(parent: ast.AST, name: str, index: int | None, child: ast.AST) -> None:
    if index is None:
        setattr(parent, name, child)
    else:
        getattr(parent, name)[index] = child


def _short(spot: ast.AST) -> str:
    words = " ".join(ast.unparse(ast.fix_missing_locations(spot)).split())
    return words if len(words) <= 90 else f"{words[:89]}…"


# --- which tests run it ---------------------------------------------------------------------------------------


class TestMap:
    """Which tests run a line of a file, and how long each takes [s]."""

    def __init__(self) -> None:
        import coverage

        self._data = coverage.CoverageData(str(KEPT / "coverage"))
        self._data.read()
        self._line_tests: dict[str, dict[int, list[str]]] = {}
        cases = [case for path in sorted(KEPT.glob("tests*.xml")) for case in ET.parse(path).iter("testcase")]
        self._tests_in: dict[str, set[str]] = {}
        for case in cases:
            file = f"{case.get('classname', '').replace('.', '/')}.py"
            self._tests_in.setdefault(file, set()).add(f"{file}::{case.get('name')}")
        self._took_s = {_name_of(case): float(case.get("time", 0)) for case in cases}
        self._failed = {_name_of(case) for case in cases if {part.tag for part in case} & {"failure", "error"}}

    def tests_of(self, mutant: Mutant) -> list[str]:
        """Return the tests that run the line, those whose file speaks of its module first, the shortest before others.

        Those that run the statement's first line count too: a branch on a line of its own is run by few of those whom
        its change would reach. Of a line run as its module is loaded, they are those that run a line with the name that
        it gives a value to, or with that of its class, and those whose file has that name with the module's; or else
        any line of its file.
        """
        lines = self._lines_of(mutant.path)
        begun = lines.get(_begins(mutant), ())
        found = set(lines.get(mutant.line) or begun) | {test for test in begun if test}
        if "" in found or (not found and _runs_at_loading(mutant)):
            found = self._users_of(mutant) or {test for tests in lines.values() for test in tests}
        tests = {test.partition("|")[0] for test in found if test}
        return sorted(
            (test for test in tests if self._key(test) not in self._failed),
            key=lambda test: (not _speaks_of(test.partition("::")[0], mutant.module), self.took_s(test), test),
        )

    def _lines_of(self, path: str) -> dict[int, list[str]]:
        if path not in self._line_tests:
            self._line_tests[path] = self._data.contexts_by_lineno(path)
        return self._line_tests[path]

    def _users_of(self, mutant: Mutant) -> set[str]:
        """Return the tests that run a line with the name to which the mutant's line gives a value, or of its class."""
        names: set[str] = set()
        for one in ast.parse((TOP / mutant.path).read_text(encoding="utf-8")).body:
            if one.lineno <= mutant.line <= (one.end_lineno or 0):
                targets = one.targets if isinstance(one, ast.Assign) else [getattr(one, "target", None)]
                names |= {target.id for target in targets if isinstance(target, ast.Name)}
                names |= {one.name} if isinstance(one, ast.ClassDef) else set()
        if not names:
            return set()
        named = re.compile(rf"\b({'|'.join(names)})\b")
        runs = {
            test
            for path in sorted(self._data.measured_files())
            # another module may have a name of its own that is the same
            if (TOP / path).exists() and (path == mutant.path or _speaks_of(path, mutant.module))
            for number, line in enumerate((TOP / path).read_text(encoding="utf-8").splitlines(), 1)
            if named.search(line)
            for test in self._lines_of(path).get(number, ())
            if test
        }
        if not runs:  # an argument left out, say: its value was given as the function was made
            runs = {test for tests in self._lines_of(mutant.path).values() for test in tests if test}
        # a test that only reads a value may run no line of ours
        return runs | {
            test
            for file, tests in self._tests_in.items()
            if (TOP / file).exists() and _speaks_of(file, mutant.module)
            if named.search((TOP / file).read_text(encoding="utf-8"))
            for test in tests
        }

    def took_s(self, test: str) -> float:
        """Return how long a test takes [s]."""
        return self._took_s.get(self._key(test), 0.1)

    def _key(self, test: str) -> str:
        path, _, name = test.partition("::")
        return f"{path.removesuffix('.py').replace('/', '.')}.{name}"


def _begins(mutant: Mutant) -> int:
    """Return the line on which the statement of a change begins: of plain values no later line is run."""
    tree = ast.parse((TOP / mutant.path).read_text(encoding="utf-8"))
    return max(one.lineno for one in ast.walk(tree)
                if isinstance(one, ast.stmt) and one.lineno <= mutant.line <= (one.end_lineno or 0))  # fmt: skip


def _runs_at_loading(mutant: Mutant) -> bool:
    """Tell whether a change lies in no function."""
    tree = ast.parse((TOP / mutant.path).read_text(encoding="utf-8"))
    return not any(isinstance(one, ast.FunctionDef) and one.lineno <= mutant.line <= (one.end_lineno or 0)
                   for one in ast.walk(tree))  # fmt: skip


@cache
def _speaks_of(test_file: str, module: str) -> bool:
    """Tell whether a file of tests imports a module or is called like it: they are likely to be the module's own."""
    room, _, name = module.rpartition(".")
    if f"_{name}" in Path(test_file).stem:
        return True
    words = (TOP / test_file).read_text(encoding="utf-8")
    return f"from {module} import" in words or bool(re.search(rf"^from {room} import .*\b{name}\b", words, re.M))


def _name_of(case: ET.Element) -> str:
    return f"{case.get('classname', '')}.{case.get('name')}"


def make_map(jobs: int, files: Sequence[str]) -> None:
    """Run the tests once under coverage, or add those of some files to what is known."""
    KEPT.mkdir(exist_ok=True)
    if not files:
        for old in KEPT.glob("tests*.xml"):
            old.unlink()
    times = KEPT / (f"tests-{time.time_ns()}.xml" if files else "tests.xml")
    words = ["-q", "-n", str(jobs), "-p", "no:cacheprovider", "--cov=habmap", "--cov-context=test", "--cov-report=",
             f"--junitxml={times}", "--hypothesis-seed=0", *(["--cov-append", *files] if files else TESTS),
             *(f"--ignore={path}" for path in NOT_ASKED)]  # fmt: skip
    env = {**os.environ, IN_PLACE: "1", "COVERAGE_FILE": str(KEPT / "coverage")}
    subprocess.run([sys.executable, "-m", "pytest", *words], cwd=TOP, env=env, check=False)
    # Times are the clock's, of a machine that may be busy: the processor's are told for all tests together.
    spent, told = resource.getrusage(resource.RUSAGE_CHILDREN), ET.parse(times)
    whole_s = sum(float(case.get("time", 0)) for case in told.iter("testcase"))
    for case in told.iter("testcase") if whole_s else ():
        case.set("time", str(float(case.get("time", 0)) * min(1.0, (spent.ru_utime + spent.ru_stime) / whole_s)))
    told.write(times)


# --- is it found ----------------------------------------------------------------------------------------------

#: What a change was found to be.
FOUND: Final = "found"
SURVIVED: Final = "survived"
CUT_SHORT: Final = "survived, cut short"
NOT_RUN: Final = "no test runs it"
UNTRIED: Final = "its tests could not be run"


class _Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Hands the changed code to whoever imports the module."""

    def __init__(self, mutant: Mutant) -> None:
        self._mutant = mutant

    def find_spec(self, fullname: str, path: object, target: object = None) -> importlib.machinery.ModuleSpec | None:
        """Answer for the one module."""
        if fullname != self._mutant.module:
            return None
        where = TOP / self._mutant.path
        return importlib.util.spec_from_file_location(fullname, where, loader=self)

    def exec_module(self, module: Any) -> None:
        """Run the changed code in the module."""
        exec(self._mutant.code, module.__dict__)


def put_in_place(mutant: Mutant) -> bool:
    """Change the code of a module that is loaded, and of all who hold parts of it; false where that does not do."""
    module = sys.modules.get(mutant.module)
    if module is None:
        return False
    codes: dict[tuple[str, int], list[CodeType]] = {}
    for code in _codes(mutant.code):
        codes.setdefault((code.co_qualname, code.co_firstlineno), []).append(code)
    is_changed = False
    for one in gc.get_objects():
        if isinstance(one, _lru_cache_wrapper):
            one.cache_clear()  # what was worked out while tests were read
        if isinstance(one, FunctionType) and one.__code__.co_filename == module.__file__:
            new = codes.get((one.__code__.co_qualname, one.__code__.co_firstlineno), [])
            if len(new) == 1 and new[0] != one.__code__ and new[0].co_freevars == one.__code__.co_freevars:
                one.__code__ = new[0]
                is_changed = True
    return is_changed or _values_put_in_place(mutant, module)


def _values_put_in_place(mutant: Mutant, module: ModuleType) -> bool:
    """Give a module's changed values to all modules that took them over by name, and to functions as defaults."""
    fresh = ModuleType(mutant.module)
    fresh.__file__ = module.__file__
    exec(mutant.code, fresh.__dict__)
    is_changed = False
    for name, new in vars(fresh).items():
        old = getattr(module, name, None)
        if not name.startswith("__") and _is_plain(old) and _is_plain(new) and repr(old) != repr(new):
            for other in list(sys.modules.values()):
                if getattr(other, "__dict__", {}).get(name) is old:
                    setattr(other, name, new)
                    is_changed = True
    functions = [one for one in gc.get_objects() if isinstance(one, FunctionType)]
    new_ones = {_place_of(one): one for one in functions if one.__globals__ is vars(fresh)}
    for one in functions:
        new_one = new_ones.get(_place_of(one)) if one.__globals__ is vars(module) else None
        for held in ("__defaults__", "__kwdefaults__") if new_one else ():
            old, new = getattr(one, held), getattr(new_one, held)
            if old and new and _is_plain(old) and _is_plain(new) and repr(old) != repr(new):
                setattr(one, held, new)
                is_changed = True
    return is_changed


def _place_of(function: FunctionType) -> tuple[str, int]:
    return function.__code__.co_qualname, function.__code__.co_firstlineno


def _is_plain(value: object) -> bool:
    """Tell whether a value may be exchanged: nothing in it is of a class or is a function, which stay as loaded."""
    parts: Collection[object] = ()
    if isinstance(value, dict):
        parts = [*value, *value.values()]
    elif isinstance(value, tuple | frozenset):
        parts = value
    return (value is None or type(value) in PLAIN) and all(map(_is_plain, parts))


def _codes(code: CodeType) -> Iterator[CodeType]:
    yield code
    for part in code.co_consts:
        if isinstance(part, CodeType):
            yield from _codes(part)


@dataclass(frozen=True)
class Trial:
    """A change (``None``: none), its tests, whether these are all that may find it, and how long they take."""

    mutant: Mutant | None
    tests: tuple[str, ...]
    is_whole: bool
    took_s: float


@dataclass
class _Running:
    """A trial that runs in a process."""

    trial: Trial
    folder: tempfile.TemporaryDirectory[str]
    began_s: float


Run = Callable[[Trial, Path], int]


def proven(trials: Sequence[Trial], run: Run, jobs: int) -> Iterator[tuple[Trial, int, str]]:
    """Run trials and yield what each returned, and the test that failed, which is run once more with nothing changed.

    Were it to fail then too, it would find everything: it is left out, and the trial run again.
    """
    sound: set[str] = set()
    unsound: set[str] = set()
    while trials:
        again: list[Trial] = []
        for trial, code, failed in _forked(trials, run, jobs):
            if failed and failed not in sound | unsound:
                ((_, plain, _),) = _forked([replace(trial, mutant=None, tests=(failed,))], run, 1)
                (unsound if plain else sound).add(failed)
                if plain:
                    print(f"{failed} fails on the code as it is", file=sys.stderr)
            if failed in unsound:
                again.append(replace(trial, tests=tuple(test for test in trial.tests if test not in unsound)))
            else:
                yield trial, code, failed
        trials = again


def _forked(trials: Sequence[Trial], run: Run, jobs: int) -> Iterator[tuple[Trial, int, str]]:
    """Run each trial in a process of its own and yield what it returned, and the test that failed.

    It is the processor's time that is limited: a busy machine is no find.
    """
    waiting, running = list(trials), dict[int, _Running]()
    while waiting or running:
        while waiting and len(running) < jobs:
            trial, folder = waiting.pop(0), tempfile.TemporaryDirectory()
            child = os.fork()
            if child == 0:
                _run_child(trial, Path(folder.name), run)
            running[child] = _Running(trial, folder, time.monotonic())
        for child, one in list(running.items()):
            ended, status = os.waitpid(child, os.WNOHANG)
            if not ended and time.monotonic() - one.began_s < ASLEEP_S:
                continue
            if not ended:
                with contextlib.suppress(ProcessLookupError):
                    os.killpg(child, signal.SIGKILL)
                _, status = os.waitpid(child, 0)
            del running[child]
            code, last = os.waitstatus_to_exitcode(status), Path(one.folder.name) / "last"
            failed = last.read_text(encoding="utf-8") if code and last.exists() else ""
            one.folder.cleanup()
            yield one.trial, code, failed
        time.sleep(0.02)


def _run_child(trial: Trial, folder: Path, run: Run) -> None:
    os.setpgid(0, 0)
    limit_s = math.ceil(time.process_time() + TIMES_AS_LONG * trial.took_s + AND_LONGER_S)
    resource.setrlimit(resource.RLIMIT_CPU, (limit_s, limit_s))
    code = 1  # what cannot even be loaded is found
    try:
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1)
        os.dup2(quiet, 2)
        os.chdir(TOP)
        os.environ["NUMBA_CACHE_DIR"] = str(folder)  # compiled code of the unchanged source must not stand in for it
        os.environ["HYPOTHESIS_STORAGE_DIRECTORY"] = str(folder)
        code = run(trial, folder)
    finally:
        os._exit(code)


class _Last:
    """Writes down which test runs, so that the last one is known however it ends."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def pytest_runtest_logstart(self, nodeid: str) -> None:
        """Hear that a test begins."""
        (self._folder / "last").write_text(nodeid, encoding="utf-8")


def _afresh(trial: Trial, folder: Path) -> int:
    """Run a trial's tests in a process that has loaded nothing of the code."""
    import pytest

    if trial.mutant:
        sys.meta_path.insert(0, _Changed(trial.mutant))
        importlib.import_module(trial.mutant.module)
    words = [*PYTEST, "-x", f"--basetemp={folder / 'temp'}", *trial.tests]
    return int(pytest.main(words, plugins=[_Last(folder)]))


class _AllAtOnce:
    """Reads all tests once and runs each trial in a copy of the process, its change put in place."""

    def __init__(self, trials: Sequence[Trial], jobs: int, write: Callable[[Trial, int, str], None]) -> None:
        self._trials, self._jobs, self._write = trials, jobs, write

    def pytest_runtestloop(self, session: Any) -> bool:
        """Run the trials instead of the tests."""
        items = {item.nodeid: item for item in session.items}
        # Made before the processes part: whoever asks first empties it.
        session.config._tmp_path_factory.getbasetemp()
        # The sample property is made once, by the code as it is.
        sample = [name for name, item in items.items() if "demo_place" in item.fixturenames][:1]
        list(_forked([Trial(None, (name,), True, ASLEEP_S) for name in sample], partial(self._run, items), 1))
        for trial, code, failed in proven(self._trials, partial(self._run, items), self._jobs):
            self._write(trial, code, failed)
        return True

    def _run(self, items: dict[str, Any], trial: Trial, folder: Path) -> int:
        from _pytest.runner import runtestprotocol

        own = [items[test] for test in trial.tests if test in items]
        if not own:
            return COULD_NOT_RUN[-1]
        if trial.mutant and not put_in_place(trial.mutant):
            return NOT_IN_PLACE
        gc.freeze()  # what is there is for good: no command goes through it again
        try:
            self._keep_apart(own[0].config, folder)
        except OSError:  # no fault of the change
            return COULD_NOT_RUN[0]
        last = _Last(folder)
        for item, following in zip(own, [*own[1:], None], strict=True):
            last.pytest_runtest_logstart(item.nodeid)
            if any(report.failed for report in runtestprotocol(item, log=False, nextitem=following)):
                return 1
        return 0

    def _keep_apart(self, config: Any, folder: Path) -> None:
        """Give the trial temporary folders of its own, but for what is made once."""
        factory = config._tmp_path_factory
        shared = factory.getbasetemp() / "made_once"
        shared.mkdir(exist_ok=True)
        factory._basetemp = folder / "temp"
        factory._basetemp.mkdir()
        (factory._basetemp / "made_once").symlink_to(shared)


def verdicts(trials: Sequence[Trial], jobs: int) -> Iterator[tuple[Mutant | None, str, str]]:
    """Yield each change with what became of it and by which test."""
    os.environ[IN_PLACE] = "1"
    for trial in trials:
        if not trial.tests:
            yield trial.mutant, NOT_RUN, ""
    again = []
    for trial, code, failed in _all_at_once([trial for trial in trials if trial.tests], jobs):
        if code == NOT_IN_PLACE:
            again.append(trial)
        else:
            yield trial.mutant, _said(code, is_whole=trial.is_whole), failed
    for trial, code, failed in proven(again, _afresh, jobs):
        yield trial.mutant, _said(code, is_whole=trial.is_whole), failed


def _all_at_once(trials: Sequence[Trial], jobs: int) -> Iterator[tuple[Trial, int, str]]:
    """Run the trials beside one reading of their tests; the process that asks loads nothing of the code."""
    if not trials:
        return
    files = sorted({test.partition("::")[0] for trial in trials for test in trial.tests})
    numbers = {id(trial.mutant): number for number, trial in enumerate(trials)}
    read, write = os.pipe()
    with tempfile.TemporaryDirectory() as folder:
        child = os.fork()
        if child == 0:
            import pytest

            os.close(read)
            told = os.fdopen(write, "w")

            # A trial that is run again without a test is another object of the same change.
            def tell(trial: Trial, code: int, failed: str) -> None:
                print(numbers[id(trial.mutant)], code, failed, file=told, flush=True)

            try:
                os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
                pytest.main([*PYTEST, f"--basetemp={Path(folder) / 'temp'}", *files],
                            plugins=[_AllAtOnce(trials, jobs, tell)])  # fmt: skip
            finally:
                os._exit(0)
        os.close(write)
        left = dict(enumerate(trials))
        with os.fdopen(read) as lines:
            for line in lines:
                number, code, failed = line.rstrip("\n").split(" ", 2)
                yield left.pop(int(number)), int(code), failed
        os.waitpid(child, 0)
    for trial in left.values():  # the tests could not be read
        yield trial, COULD_NOT_RUN[0], ""


def _said(code: int, *, is_whole: bool) -> str:
    if code in COULD_NOT_RUN:
        return UNTRIED
    if code != 0:
        return FOUND
    return SURVIVED if is_whole else CUT_SHORT


# --- all of it ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Harmless:
    """A change that alters nothing: file, text of the line, before, after, and where in the line it may stand."""

    path: str
    text: str
    before: str
    after: str
    columns: frozenset[int]

    def is_of(self, mutant: Mutant) -> bool:
        """Tell whether a change is this one."""
        own = (mutant.path, mutant.text, mutant.before, mutant.after)
        return own == (self.path, self.text, self.before, self.after) and mutant.column in self.columns


def equivalents() -> list[Harmless]:
    """Return the changes that alter nothing; where a line has a change twice, its row says in which column."""
    rows = tomllib.loads(EQUIVALENT.read_text(encoding="utf-8")).get("equivalent", [])
    found = []
    for path in sorted({row["path"] for row in rows}):
        lines = (TOP / path).read_text(encoding="utf-8").splitlines()
        there: dict[tuple[str, str, str], set[int]] = {}
        for _, spot, _, _, new in _all_changes(path):
            change = (lines[spot.lineno - 1].strip(), _short(spot), _short(new))
            there.setdefault(change, set()).add(_column(spot, lines))
        for row in (row for row in rows if row["path"] == path):
            columns = there.get((row["line"], row["before"], row["after"]), set())
            told = {row["column"]} if "column" in row else columns
            if not columns or not told <= columns:
                sys.exit(f"{EQUIVALENT.name}: no such change any more: {row}")
            if len(told) > 1:
                sys.exit(f"{EQUIVALENT.name}: say in which column, {sorted(columns)}: {row}")
            found.append(Harmless(path, row["line"], row["before"], row["after"], frozenset(told)))
    return found


def trial_of(mutant: Mutant, tests: Sequence[str], known: TestMap, longest_s: float) -> Trial:
    """Return a change with its tests, the last ones left out where all would take too long."""
    chosen: list[str] = []
    sum_s = 0.0
    for test in tests:
        sum_s += known.took_s(test)
        if chosen and sum_s > longest_s:
            break
        chosen.append(test)
    return Trial(mutant, tuple(chosen), len(chosen) == len(tests), sum(map(known.took_s, chosen)))


def chosen_mutants(only: Sequence[str], count: int, seed: int) -> list[Mutant]:
    """Return the changes to try: of these rooms, files or lines, all or so many drawn."""
    paths = [str(path.relative_to(TOP)) for room in ROOMS
             for path in sorted([TOP / room] if room.endswith(".py") else (TOP / room).rglob("*.py"))]  # fmt: skip
    wanted = [(path, line) for path, _, line in (word.partition(":") for word in only)]
    found = [
        (path, number)
        for path in paths
        if path not in LEFT_OUT and (lines := [line for start, line in wanted if path.startswith(start)])
        for number, (_, spot, *_) in enumerate(_all_changes(path))
        if "" in lines or str(spot.lineno) in lines
    ]
    drawn = found if len(found) <= count else random.Random(seed).sample(found, count)
    by_path: dict[str, set[int]] = {}
    for path, number in drawn:
        by_path.setdefault(path, set()).add(number)
    return [mutant for path, numbers in by_path.items() for mutant in mutants_of(path, numbers)]


def main() -> int:
    """Try the changes and print what was not found."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=400)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--only", nargs="+", metavar="PATH[:LINE]", default=["habmap"])
    parser.add_argument("--longest", type=float, default=LONGEST_S, help="how long a change's tests may take [s]")
    parser.add_argument("--each", action="store_true", help="print what was found as well, and by which test")
    parser.add_argument("--map", nargs="*", metavar="FILE")
    asked = parser.parse_args()
    if asked.map is not None or not any(KEPT.glob("tests*.xml")):
        make_map(asked.jobs, asked.map or ())
    known, tests = equivalents(), TestMap()
    mutants = chosen_mutants(asked.only, asked.count, asked.seed)
    fair = [one for one in mutants if not any(harmless.is_of(one) for harmless in known)]
    trials = [trial_of(one, tests.tests_of(one), tests, asked.longest) for one in fair]
    for name in WARM:
        importlib.import_module(name)
    found = 0
    for mutant, said, by in verdicts(trials, asked.jobs):
        found += said == FOUND
        if mutant and (asked.each or said != FOUND):
            print(f"{said}: {mutant.words}{f' by {by}' if by else ''}", flush=True)
    pct = 100 * found / len(fair) if fair else 100.0
    print(f"{len(mutants)} changes, {len(mutants) - len(fair)} listed as altering nothing; "
          f"{found} of {len(fair)} found: {pct:.1f} %, at least {LEAST_KILLED_PCT:g} % asked")  # fmt: skip
    return int(pct < LEAST_KILLED_PCT)


if __name__ == "__main__":
    sys.exit(main())
