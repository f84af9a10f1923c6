"""Wrong rules on purpose: does a test find each? Run by ``dev.py mutants``, never by the tests themselves.

    .venv/bin/python scripts/mutants.py [--count N] [--seed N] [--jobs N] [--only PATH[:LINE]] [--map]

One place in the code that makes figures is changed at a time (a comparison, an operator, a constant, a condition, a
statement), in memory, in a process of its own, and the tests that run that line are run until one fails. Which tests
run which line is found once, by coverage, and kept in ``.mutants/`` (``--map`` finds it anew). Only tests within the
process count: those of commands, browser and desk would find more.

A change that alters nothing anybody could see is listed with its reason in ``scripts/mutants_equivalent.toml``. Exit
code 1 where less than ``LEAST_KILLED_PCT`` of the others was found.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import copy
import importlib.abc
import importlib.machinery
import importlib.util
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
import tomllib
import xml.etree.ElementTree as ET
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

TOP: Final = Path(__file__).resolve().parent.parent
KEPT: Final = TOP / ".mutants"
EQUIVALENT: Final = TOP / "scripts" / "mutants_equivalent.toml"
LEAST_KILLED_PCT: Final = 95.0
#: Where figures are made; jobs that only write files are left out.
ROOMS: Final = (
    "habmap/measures.py", "habmap/land", "habmap/work",
    *(f"habmap/jobs/{job}.py" for job in (
        "acres", "bite", "burnsheet", "density", "due", "effort", "export_practices", "ground", "leave", "log",
        "past_burn", "rank", "response", "schedule", "terrain", "week",
    )),
)  # fmt: skip
TESTS: Final = ("tests/unit", "tests/property", "tests/reference")
#: Tests are run shortest first until they would take so long together [s]; what survives then is said to be cut short.
LONGEST_S: Final = 60.0
#: Compiled to machine code, where coverage sees nothing: held bit for bit against the plain way by its own tests.
LEFT_OUT: Final = ("habmap/land/compiled.py",)
#: What pytest and its plugins say of modules that are there already is no fault.
QUIET: Final = ("-W", "ignore::pytest.PytestAssertRewriteWarning")
#: A change that makes the tests run so long is found: something never ends [s].
TIMEOUT_S: Final = 300.0
#: Exit codes of pytest that say nothing of the change: wrong words, and no test by that name.
COULD_NOT_RUN: Final = (3, 4, 5)
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
    """One changed place: the file below the top folder, its line, what stood there and what stands there now."""

    path: str
    line: int
    kind: str
    before: str
    after: str
    source: str

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
    for number, (tree, spot, hold, kind, new) in enumerate(_all_changes(path)):
        if number not in wanted:
            continue
        changed, before = copy.deepcopy(new), _short(spot)
        _put(*hold, changed)
        source = ast.unparse(ast.fix_missing_locations(tree))
        _put(*hold, spot)
        yield Mutant(path, spot.lineno, kind, before, _short(changed), source)


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
    return isinstance(spot, ast.Expr) and isinstance(spot.value, ast.Call)


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
        cases = ET.parse(KEPT / "tests.xml").iter("testcase")
        self._took_s = {f"{case.get('classname', '')}.{case.get('name')}": float(case.get("time", 0)) for case in cases}

    def tests_of(self, mutant: Mutant) -> list[str]:
        """Return the tests that run the line, shortest first; of a line run at import, those that run its file."""
        by_line = self._data.contexts_by_lineno(str(TOP / mutant.path))
        found = {test for test in by_line.get(mutant.line, ()) if test}
        if not found and "" in by_line.get(mutant.line, ()):
            found = {test for tests in by_line.values() for test in tests if test}
        return sorted({test.partition("|")[0] for test in found}, key=lambda test: (self.took_s(test), test))

    def took_s(self, test: str) -> float:
        """Return how long a test takes [s]."""
        path, _, name = test.partition("::")
        return self._took_s.get(f"{path.removesuffix('.py').replace('/', '.')}.{name}", 0.1)


def make_map(jobs: int) -> None:
    """Run the tests once under coverage."""
    KEPT.mkdir(exist_ok=True)
    words = ["-q", "-n", str(jobs), "-p", "no:cacheprovider", "--cov=habmap", "--cov-context=test", "--cov-report=",
             f"--junitxml={KEPT / 'tests.xml'}", "--hypothesis-seed=0", *TESTS]  # fmt: skip
    env = {**os.environ, "COVERAGE_FILE": str(KEPT / "coverage")}
    subprocess.run([sys.executable, "-m", "pytest", *words], cwd=TOP, env=env, check=False)


# --- is it found ----------------------------------------------------------------------------------------------


class _Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Hands the changed source to whoever imports the module."""

    def __init__(self, mutant: Mutant) -> None:
        self._mutant = mutant
        self.name = mutant.path.removesuffix(".py").removesuffix("/__init__").replace("/", ".")

    def find_spec(self, fullname: str, path: object, target: object = None) -> importlib.machinery.ModuleSpec | None:
        """Answer for the one module."""
        if fullname != self.name:
            return None
        where = TOP / self._mutant.path
        return importlib.util.spec_from_file_location(fullname, where, loader=self)  # type: ignore[arg-type]

    def exec_module(self, module: Any) -> None:
        """Run the changed source in the module."""
        exec(compile(self._mutant.source, str(TOP / self._mutant.path), "exec"), module.__dict__)


@dataclass
class _Running:
    """A change whose tests run in a process."""

    mutant: Mutant
    is_whole: bool
    folder: tempfile.TemporaryDirectory[str]
    began_s: float


def verdicts(needed: Sequence[tuple[Mutant, list[str]]], tests: TestMap, jobs: int) -> Iterator[tuple[Mutant, str]]:
    """Yield each change with ``found``, ``survived``, ``survived, cut short`` or ``no test runs it``."""
    waiting, running = list(needed), dict[int, _Running]()
    while waiting or running:
        while waiting and len(running) < jobs:
            mutant, own = waiting.pop(0)
            if not own:
                yield mutant, "no test runs it"
                continue
            chosen = _as_long_as_allowed(own, tests)
            folder = tempfile.TemporaryDirectory()
            child = os.fork()
            if child == 0:
                _run_child(mutant, chosen, Path(folder.name))
            running[child] = _Running(mutant, len(chosen) == len(own), folder, time.monotonic())
        for child, one in list(running.items()):
            ended, status = os.waitpid(child, os.WNOHANG)
            if not ended and time.monotonic() - one.began_s < TIMEOUT_S:
                continue
            if not ended:  # it never ends: found
                with contextlib.suppress(ProcessLookupError):
                    os.killpg(child, signal.SIGKILL)
                _, status = os.waitpid(child, 0)
            del running[child]
            one.folder.cleanup()
            yield one.mutant, _said(os.waitstatus_to_exitcode(status), is_whole=one.is_whole)
        time.sleep(0.05)


def _as_long_as_allowed(own: Sequence[str], tests: TestMap) -> list[str]:
    chosen, sum_s = [], 0.0
    for test in own:
        sum_s += tests.took_s(test)
        if chosen and sum_s > LONGEST_S:
            break
        chosen.append(test)
    return chosen


def _said(code: int, *, is_whole: bool) -> str:
    if code in COULD_NOT_RUN:
        return "its tests could not be run"
    if code != 0:
        return "found"
    return "survived" if is_whole else "survived, cut short"


def _run_child(mutant: Mutant, tests: Sequence[str], folder: Path) -> None:
    import pytest

    os.setpgid(0, 0)
    code = 3
    try:
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1)
        os.dup2(quiet, 2)
        os.chdir(TOP)
        os.environ["NUMBA_CACHE_DIR"] = str(folder)  # compiled code of the unchanged source must not stand in for it
        os.environ["HYPOTHESIS_STORAGE_DIRECTORY"] = str(folder)
        sys.meta_path.insert(0, changed := _Changed(mutant))
        code = 1  # a module that cannot be loaded any more is found by all
        importlib.import_module(changed.name)
        code = int(pytest.main(["-x", "-q", "-p", "no:cacheprovider", "-p", "no:xdist", "-p", "no:cov", *QUIET,
                                "--hypothesis-seed=0", f"--basetemp={folder / 'temp'}", *tests]))  # fmt: skip
    finally:
        os._exit(code)


# --- all of it ------------------------------------------------------------------------------------------------


def equivalents() -> set[tuple[str, str, str]]:
    """Return the changes that alter nothing: file, before, after."""
    rows = tomllib.loads(EQUIVALENT.read_text(encoding="utf-8")).get("equivalent", [])
    return {(row["path"], row["before"], row["after"]) for row in rows}


def check_the_check(needed: Sequence[tuple[Mutant, list[str]]], tests: TestMap) -> None:
    """Stop where tests fail on code that nobody changed: everything would count as found."""
    tried = [(mutant, own) for mutant, own in needed if own][:5]
    unchanged = [(replace(one, source=(TOP / one.path).read_text(encoding="utf-8")), own) for one, own in tried]
    for mutant, said in verdicts(unchanged, tests, 1):
        if not said.startswith("survived"):
            sys.exit(f"the tests of {mutant.path}:{mutant.line} fail on the code as it is ({said}); mend that first")


def chosen_mutants(only: str, count: int, seed: int) -> list[Mutant]:
    """Return the changes to try: all of one file or line, else so many drawn from all."""
    paths = [str(path.relative_to(TOP)) for room in ROOMS
             for path in sorted([TOP / room] if room.endswith(".py") else (TOP / room).rglob("*.py"))]  # fmt: skip
    wanted, _, line = only.partition(":")
    found = [
        (path, number)
        for path in paths
        if path.startswith(wanted) and path not in LEFT_OUT
        for number, (_, spot, *_) in enumerate(_all_changes(path))
        if not line or spot.lineno == int(line)
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
    parser.add_argument("--only", default="habmap")
    parser.add_argument("--map", action="store_true")
    asked = parser.parse_args()
    if asked.map or not (KEPT / "tests.xml").exists():
        make_map(asked.jobs)
    known, tests = equivalents(), TestMap()
    mutants = chosen_mutants(asked.only, asked.count, asked.seed)
    fair = [one for one in mutants if (one.path, one.before, one.after) not in known]
    needed = [(one, tests.tests_of(one)) for one in fair]
    for name in WARM:
        importlib.import_module(name)
    check_the_check(needed, tests)
    found = 0
    for mutant, said in verdicts(needed, tests, asked.jobs):
        found += said == "found"
        if said != "found":
            print(f"{said}: {mutant.words}", flush=True)
    pct = 100 * found / len(fair) if fair else 100.0
    print(f"{len(mutants)} changes, {len(mutants) - len(fair)} listed as altering nothing; "
          f"{found} of {len(fair)} found: {pct:.1f} %, at least {LEAST_KILLED_PCT:g} % asked")  # fmt: skip
    return int(pct < LEAST_KILLED_PCT)


if __name__ == "__main__":
    sys.exit(main())
