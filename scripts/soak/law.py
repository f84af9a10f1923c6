"""What holds for every input: one run of the command or one form of the desk, and what may be said against it."""

from __future__ import annotations

import io
import json
import os
import re
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path

#: No input may keep the command at work longer [s of the processor]; on a crowded machine the wall is not a measure.
LONGEST_S = 10.0
#: What a command may end with (contract: done, faults found, unfit command line, unfit file).
CODES = frozenset({0, 1, 2, 3})
#: How the program says that it came upon a fault of its own.
_OWN_FAULT = re.compile(
    r"fault of the program|Traceback \(most recent call last\)|came upon something it was not made for"
)
#: A library's own line on the screen.
_LOUD = re.compile(r"\b[A-Z]\w+(?:Warning|Error): .*|Exception ignored in.*")
_OWN_WORDS = re.compile(r"found: (.+)")


@dataclass(frozen=True, slots=True)
class Case:
    """One input.

    Attributes
    ----------
    kind
        What it is counted as.
    words
        The command line after ``--place DIR``.
    files
        Files put beside the property, by name; words name them as they are.
    place
        Files of the property that are put in place of its own; ``None`` takes one away.
    form
        A form of the desk instead of a command line: path, fields, files by field.
    """

    kind: str
    words: tuple[str, ...] = ()
    files: Mapping[str, bytes] = field(default_factory=dict)
    place: Mapping[str, bytes | None] = field(default_factory=dict)
    form: tuple[str, tuple[tuple[str, str], ...], tuple[tuple[str, str, bytes], ...]] | None = None

    def smaller(self, **changes: object) -> Case:
        """Return this case with something changed."""
        return replace(self, **changes)  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of an input: exit code or HTTP status, and what was said."""

    code: int
    out: str
    err: str


@dataclass(frozen=True, slots=True)
class Fault:
    """A law that an input broke: which, in a form that is alike for like faults, and the words that show it."""

    law: str
    words: str


# --- one run ------------------------------------------------------------------------------------------------


def warm_up() -> None:
    """Load everything that a command may load, and make the parser once, so that a fork costs nothing but the fork."""
    import importlib
    import pkgutil

    import typer.main

    import habmap
    from habmap.cli import commands, main

    for name in (
        "numpy", "scipy.stats", "scipy.special", "pandas", "shapely", "pyproj", "rasterio", "rasterio.warp", "geopandas",
        "pyogrio", "exactextract", "pydantic", "jinja2", "folium", "gpxpy", "icalendar", "xlsxwriter", "contourpy",
    ):  # fmt: skip
        importlib.import_module(name)
    for module in pkgutil.walk_packages(habmap.__path__, "habmap."):
        importlib.import_module(module.name)
    if not hasattr(typer.main.get_command, "cache_info"):
        typer.main.get_command = lru_cache(typer.main.get_command)  # type: ignore[assignment]
        main._app = lru_cache(main._app)
    for module in commands.modules():
        typer.main.get_command(main._app((module,)))
    settle()


def settle() -> None:
    """Take what is loaded out of the collector's sight: else each fork walks all of it, and copies it page by page."""
    import gc

    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000)


@contextmanager
def _streams() -> Iterator[tuple[io.BytesIO, io.BytesIO]]:
    """Let stdout and stderr go into memory, and what libraries write past them into nothing."""
    out, err = io.BytesIO(), io.BytesIO()
    before = sys.stdin, sys.stdout, sys.stderr
    sys.stdin = io.TextIOWrapper(io.BytesIO(), encoding="utf-8")
    sys.stdout = io.TextIOWrapper(out, encoding="utf-8", write_through=True)
    sys.stderr = io.TextIOWrapper(err, encoding="utf-8", errors="backslashreplace", write_through=True)
    mine = sys.stdout, sys.stderr
    try:
        yield out, err
    finally:
        for stream in mine:
            with suppress(ValueError, OSError):
                stream.detach()  # else it would close what was said
        sys.stdin, sys.stdout, sys.stderr = before


def run_words(words: Sequence[str], *, cwd: Path | None = None) -> Answer:
    """Run one command line in this process; what is not caught is told as Python would tell it."""
    import traceback

    from habmap.cli.main import run

    here, argv = Path.cwd(), sys.argv
    with _streams() as (out, err):
        try:
            if cwd is not None:
                os.chdir(cwd)
            sys.argv = ["habmap", *words]
            run(list(words))
            code = 0
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 0 if end.code is None else 1
        except BaseException:
            traceback.print_exc()
            code = 70
        finally:
            os.chdir(here)
            sys.argv = argv
    return Answer(code, out.getvalue().decode("utf-8", "replace"), err.getvalue().decode("utf-8", "replace"))


# --- the law ------------------------------------------------------------------------------------------------


def contents(folder: Path, under: str = "") -> dict[str, bytes]:
    """Return what lies in a folder, hidden files too: path → all its bytes, which cost less than a digest of them."""
    found, inside = {}, False
    with os.scandir(folder) as listed:
        for one in listed:
            inside = True
            if one.is_dir(follow_symlinks=False):
                found.update(contents(Path(one.path), f"{under}{one.name}/"))
            elif one.is_file(follow_symlinks=False):
                found[under + one.name] = Path(one.path).read_bytes()
            else:
                found[under + one.name] = b"no plain file"
    if not inside and under:
        found[under] = b"empty"
    return found


def judge(
    words: Sequence[str], answer: Answer, before: Mapping[str, bytes], after: Mapping[str, bytes]
) -> Fault | None:
    """Say which law a run of the command broke, if any."""
    said = answer.out + answer.err
    if found := _OWN_FAULT.search(said):
        told = _OWN_WORDS.search(said[found.start() :]) or re.search(
            r"\n(\w+(?:\.\w+)*(?:Error|Exception)[^\n]*)", said
        )
        value = told[1] if told else re.sub(r"\s+", " ", said[-300:])
        if '"value":' in said:
            with suppress(ValueError):
                value = str(json.loads(answer.out)["value"])
        return Fault(f"own fault: {_alike(value)}", said[-3000:])
    if loud := _LOUD.search(answer.err):
        return Fault(f"a library speaks on the screen: {_alike(loud[0])}", said[-3000:])
    if answer.code not in CODES or (answer.code == 1 and "check" not in words):
        return Fault(f"exit code {answer.code}", said[-3000:])
    if answer.code in (2, 3):
        changed = sorted(
            name for name in {*before, *after} if before.get(name) != after.get(name) and not name.endswith("/")
        )
        if changed:
            return Fault(f"changed on refusal: {_alike(' '.join(changed))}", f"{changed}\n{said[-2000:]}")
        return _judge_message(answer, is_json="--json" in words)
    if "--json" in words and "--help" not in words and answer.out.strip():
        try:
            json.loads(answer.out, parse_constant=_no_constant)
        except ValueError as error:
            return Fault("stdout is no JSON", f"{error}\n{said[-2000:]}")
    return None


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is no JSON")


def _judge_message(answer: Answer, *, is_json: bool) -> Fault | None:
    """See that a refusal says where and how to mend, each of its faults."""
    if answer.out.startswith('{"schema": "habmap/error/'):
        record = json.loads(answer.out, parse_constant=_no_constant)
        for fault in record.get("faults") or [record]:
            lacking = [name for name in ("where", "mend") if not (fault.get(name) or record.get(name))]
            if lacking:
                return Fault(f"no {' and '.join(lacking)}: {_alike(fault['what'])}", json.dumps(record)[:3000])
        return _judge_length(answer.out)
    if not answer.err.strip():
        return Fault("refused without a word", answer.out[-1000:])
    if is_json:
        return Fault("refused without JSON", answer.out[-1000:] + answer.err[-1000:])
    lacking = [word for word in ("where: ", "fix: ") if word not in answer.err and "faults found" not in answer.err]
    if lacking:
        first = next((line for line in answer.err.splitlines() if line.startswith("habmap: ")), answer.err)
        return Fault(f"no {' and '.join(lacking)}: {_alike(first)}", answer.err[-2000:])
    return _judge_length(answer.err)


def _judge_length(text: str) -> Fault | None:
    longest = max((len(line) for line in text.splitlines()), default=0)
    if text.startswith("{"):
        longest = max((len(part) for part in text.split('": ')), default=0)
    return Fault("a refusal echoes a long value whole", text[:1500]) if longest > 3000 else None


def _alike(text: str) -> str:
    """Return words without what differs between like faults: numbers, names, quoted values, paths."""
    text = re.sub(r"/[^\s'\"]*", "PATH", text)
    text = re.sub(r"'[^']*'|\"[^\"]*\"|“[^”]*”", "…", text)
    return re.sub(r"[-+]?\d[\d.,:T-]*|[^\x00-\x7f…]", "#", text)[:110]


def scratch(prefix: str = "habmap-soak-") -> Path:
    """Return a new folder in memory where there is such a place, else on the disk."""
    shared = Path("/dev/shm")
    return Path(tempfile.mkdtemp(prefix=prefix, dir=shared if shared.is_dir() and os.access(shared, os.W_OK) else None))
