"""How results and errors leave the command: JSON objects on stdout, or words first and a table after."""

from __future__ import annotations

import codecs
import json
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from io import TextIOWrapper
from typing import TYPE_CHECKING, Any, Final
from unicodedata import category, normalize

#: Characters that turn the reading direction of all that follows (Unicode Standard Annex 9, explicit formatting).
_DIRECTION_MARKS = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
#: Those, the line separators, and the control characters that JSON lets through (0x9b begins a terminal's command).
_JSON_ESCAPES = {code: f"\\u{code:04x}" for code in (*map(ord, _DIRECTION_MARKS), *range(0x7F, 0xA0), 0x2028, 0x2029)}

if TYPE_CHECKING:
    from habmap.errors import HabmapError
    from habmap.progress import Progress, Steps


#: What stands for a sign that a terminal or a file of an older encoding cannot take.
_PLAIN: Final = {
    "°": " deg", "±": "+/-", "≥": ">=", "≤": "<=", "×": "x", "−": "-", "–": "-", "—": "-", "→": "->", "…": "...",
    "’": "'", "‘": "'", "“": '"', "”": '"', "Σ": "sum ", "µ": "u", "·": "-", "√": "sqrt ",
}  # fmt: skip


def _plainly(error: UnicodeError) -> tuple[str | bytes, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    signs = error.object[error.start : error.end]
    plain = "".join(
        _PLAIN.get(sign) or normalize("NFKD", sign).encode("ascii", "ignore").decode() or "?" for sign in signs
    )
    return plain, error.end


def open_for_any_sign() -> None:
    """Let stdout and stderr take every sign, whatever their encoding: plain letters stand for what it lacks.

    A terminal of Windows and a redirect there are cp1252 or cp437 to this day; an answer must not end in an error for a
    degree sign or a name.
    """
    codecs.register_error("habmap.plain", _plainly)
    _open_what_is_closed()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="habmap.plain")


def _open_what_is_closed() -> None:
    """Put nothing's end where a stream of the three is closed, as schedulers and ``>&-`` leave them.

    What is said to nobody is no fault; and no file that is opened later gets a number that libraries write errors to.
    """
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        if getattr(sys, name) is None:
            nothing = os.open(os.devnull, os.O_RDONLY if name == "stdin" else os.O_WRONLY)
            if nothing != number:
                os.dup2(nothing, number)
                os.close(nothing)
            setattr(sys, name, os.fdopen(number, "r" if name == "stdin" else "w", encoding="utf-8", closefd=False))


def print_json(command: str, result: object) -> None:
    """Print a result type as ``habmap/<command>/1``: unrounded numbers, null for unknown."""
    from habmap.api import json_record

    sys.stdout.write(_json_line(json_record(command, result)))


def told_as_json(command: str, result: object, *, as_json: bool) -> bool:
    """Print a result's warnings, and all of it where JSON is wanted; tell whether nothing more is to be said."""
    for words in getattr(result, "warnings", ()):
        warn(words)
    if as_json:
        print_json(command, result)
    return as_json


def _json_line(record: dict[str, Any]) -> str:
    """Return one line of JSON; what could steer a terminal stands there as an escape, and reads the same.

    Where stdout is not UTF-8, so does every sign that is not ASCII: JSON is UTF-8 whatever a terminal makes of it.
    """
    is_utf8 = (getattr(sys.stdout, "encoding", None) or "utf-8").lower().replace("_", "-") in {"utf-8", "utf8"}
    text = json.dumps(record, allow_nan=False, ensure_ascii=not is_utf8)
    if not text.isascii() and any(0xD800 <= ord(sign) <= 0xDFFF for sign in text):
        text = json.dumps(record, allow_nan=False)  # a name of a file that is no UTF-8
    return text.translate(_JSON_ESCAPES) + "\n"


def print_error(error: HabmapError, *, as_json: bool) -> int:
    """Print an error where it belongs and return the exit code."""
    if as_json:
        try:
            sys.stdout.write(_json_line({"schema": "habmap/error/1", **error.as_record()}))
            sys.stdout.flush()
        except OSError:  # a full disk, or a reader that went away
            stdout_to_nothing()
        else:
            return error.exit_code
    with suppress(OSError):
        sys.stderr.write(f"habmap: {_shown(str(error))}\n")
    return error.exit_code


def stdout_to_nothing() -> None:
    """Send what is printed from here on, and what was not taken, nowhere."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def say(words: str) -> None:
    """Print words for people on stdout."""
    sys.stdout.write(_shown(words) + "\n")


def warn(words: str) -> None:
    """Print a warning on stderr, where it cannot spoil the data."""
    sys.stderr.write(f"note: {_shown(words)}\n")


class Figure(str):
    """A number written as far as it is known; in a table it stands to the right like any other."""

    __slots__ = ()


def rounded(value: float | None, decimals: int = 0) -> Figure | None:
    """Return a figure for a table, rounded to what is known of it; ``None`` stays unknown."""
    return None if value is None else Figure(f"{value:,.{decimals}f}")


def print_table(headers: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
    """Print a plain table: words left, numbers right, ``-`` for unknown; wide enough for its longest cell."""
    cells = [[_cell(value) for value in row] for row in rows]
    widths = [
        max(len(header), *(len(row[i]) for row in cells)) if cells else len(header) for i, header in enumerate(headers)
    ]
    is_number = [
        all(isinstance(row[i], int | float | Figure) or row[i] is None for row in rows) for i in range(len(headers))
    ]

    def line(values: Sequence[str]) -> str:
        return "  ".join(
            text.rjust(width) if right else text.ljust(width)
            for text, width, right in zip(values, widths, is_number, strict=True)
        ).rstrip()

    say("")
    say(line(headers))
    say(line(["-" * width for width in widths]))
    for row in cells:
        say(line(row))


def _cell(value: object) -> str:
    if value is None:
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return "<0.01" if 0 < value < 0.005 else f"{value:,.2f}"
    return _shown(str(value)).replace("\n", " ")


def _shown(text: str) -> str:
    """Return text that cannot steer a terminal: names and notes may hold escape codes or turn the reading direction."""
    return "".join(" " if character != "\n" and _steers(character) else character for character in text)


def _steers(character: str) -> bool:
    if character in _DIRECTION_MARKS:
        return True
    return not character.isprintable() and category(character) not in {"Cf", "Zs"}


def progress_lines() -> Progress | None:
    """Return what writes progress as lines, where another program asked for them."""
    from habmap.progress import PROGRESS_LINES

    if not os.environ.get(PROGRESS_LINES):
        return None
    return lambda share: print(share.line(), file=sys.stderr, flush=True)


@contextmanager
def progress_bar() -> Iterator[Progress | None]:
    """Give a callable that shows how far a job is, or ``None`` where nobody looks.

    A bar where stderr is a terminal; lines for another program that asked for them.
    """
    if (lines := progress_lines()) is not None:
        yield lines
        return
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import Progress as Bar

    from habmap.show.progress_words import progress_words

    with Bar(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("working", total=1.0)
        yield lambda share: bar.update(task, completed=share.done_frac, description=progress_words(share))


@contextmanager
def steps_shown(*names: str) -> Iterator[Steps]:
    """Give the named steps of one job, shown as `progress_bar` shows how far it is; after it all are done."""
    from habmap.progress import Steps

    with progress_bar() as progress:
        steps = Steps(progress, *names)
        yield steps
        steps.end()


def versions_line() -> str:
    """Return the versions a bug report needs."""
    import pyproj
    import rasterio
    import shapely

    from habmap import __version__

    return (
        f"habmap {__version__}\nGDAL {rasterio.__gdal_version__}\nPROJ {pyproj.proj_version_str}\n"
        f"GEOS {shapely.geos_version_string}"
    )
