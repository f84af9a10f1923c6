"""The ``habmap`` command: global options, error words and exit codes. Jobs are loaded only when they are called."""

from __future__ import annotations

import atexit
import errno
import gc
import os
import signal
import sys
from collections.abc import Iterable
from pathlib import Path
from types import ModuleType
from typing import Annotated, Final

import typer

from habmap.cli import commands
from habmap.cli.context import Session
from habmap.cli.output import open_for_any_sign, print_error, stdout_to_nothing, versions_line
from habmap.errors import HabmapError, PlaceError, UsageError
from habmap.progress import PROGRESS_LINES

#: The parser's own error for a command line it cannot take (typer carries its parser under a private name).
ParserUsageError: Final[type[typer.BadParameter]] = typer.BadParameter.__mro__[1]

#: How often rings of dead objects are looked for: seldom, since a command lives for a second and most of what it makes
#: (classes, tables of words) lives as long. The usual rate costs a tenth of its time.
_GARBAGE: Final = (200_000, 20, 20)

#: What is said of the whole run stands before the command; people write it after.
_GOES_FIRST: Final = {"--place": " DIR", "--debug": "", "--version": ""}

#: How a process ends that was asked to (128 and the number of the signal).
_STOPPED: Final = 143

#: What commands were called before the first release.
_RENAMED: Final = {
    "add": "load",
    "amend": "correct",
    "join": "unite",
    "story": "handout",
    "burnday": "burnsheet",
    "plan": "schedule",
}


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(versions_line())
        raise typer.Exit


def _start(
    context: typer.Context,
    place: Annotated[Path, typer.Option("--place", metavar="DIR", help="The property's folder.")] = Path(),
    debug: Annotated[bool, typer.Option("--debug", help="Show where in the code an error came from.")] = False,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print versions and stop.")
    ] = False,
) -> None:
    context.obj = Session(folder=place, debug=debug)


def _app(modules: Iterable[ModuleType]) -> typer.Typer:
    """Return what reads a command line that asks for a command of these modules."""
    app = typer.Typer(
        name="habmap",
        help="Which cedar ground is cut, burned, coming back or still to do: acres, order of work and the map.",
        no_args_is_help=False,
        add_completion=False,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,
    )
    app.callback()(_start)
    for module in modules:
        commands.register(app, module)
    return app


def _asked_for(words: Iterable[str]) -> tuple[ModuleType, ...]:
    """Return the module of the command that a line names, so that no other is made ready (it costs as long as an
    answer); all of them where it names none of theirs, or the manual, which tells of all."""
    left = iter(words)
    for word in left:
        if word == "--place":
            next(left, None)
        elif not word.startswith("-"):
            return commands.modules(word) if word in commands.NAMES and word != "manual" else commands.modules()
    return commands.modules()


def _mend(error: Exception, where: str) -> str:
    for old, new in _RENAMED.items():
        if f"No such command '{old}'" in str(error):
            return f"it is called `{where} {new}`"
    option = getattr(error, "option_name", None)
    if option in _GOES_FIRST and where != "habmap":
        command = where.removeprefix("habmap ")
        return f"{option} stands before the command: habmap {option}{_GOES_FIRST[option]} {command} …"
    return f"see `{where} --help`"


def run(arguments: list[str] | None = None) -> None:
    """Run the command line and end the process with its exit code."""
    open_for_any_sign()
    gc.set_threshold(*_GARBAGE)
    atexit.register(gc.freeze)  # what is left at the end goes with the process: looking through it takes a tenth more
    # no plugin of pydantic's is looked for: that reads the papers of all that is installed
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    if os.environ.get(PROGRESS_LINES):  # whoever follows it may stop it: half files are put away then
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(_STOPPED))
    words = sys.argv[1:] if arguments is None else arguments
    as_json = "--json" in words
    try:
        code = typer.main.get_command(_app(_asked_for(words))).main(
            args=words or ["--help"], prog_name="habmap", standalone_mode=False
        )
        sys.stdout.flush()
    except ParserUsageError as error:
        where = getattr(getattr(error, "ctx", None), "command_path", None) or "habmap"
        usage = UsageError(error.format_message(), where=where, mend=_mend(error, where))
        code = print_error(usage, as_json=as_json)
    except typer.Abort:
        code = 130
    except HabmapError as error:
        if "--debug" in words:
            raise
        code = print_error(error, as_json=as_json)
    except BrokenPipeError:
        # The reader of a pipe went away (`habmap history | head`): nothing is left to say, and nobody to say it to.
        stdout_to_nothing()
        code = 0
    except OSError as error:
        if "--debug" in words:
            raise
        full = _cannot_be_said(error)
        code = print_error(full or _own_fault(error), as_json=as_json and full is None)
    except Exception as error:  # a fault of habmap's own: still no traceback in a steward's face
        if "--debug" in words:
            raise
        code = print_error(_own_fault(error), as_json=as_json)
    sys.exit(code if isinstance(code, int) else 0)


def _own_fault(error: Exception) -> HabmapError:
    return HabmapError(
        "habmap came upon something it was not made for; this is a fault of the program, not yours",
        value=f"{type(error).__name__}: {error}",
        mend="run it again with --debug right after `habmap`, and send what it prints to whoever looks after it",
        where="the program itself",
    )


def _cannot_be_said(error: OSError) -> HabmapError | None:
    """Return the error of a disk that takes no more of what is printed; ``None`` where it is another one."""
    if error.filename is not None or error.errno not in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO):
        return None
    stdout_to_nothing()
    return PlaceError(
        "what was asked for cannot be written where it is sent",
        where="standard output",
        value=error.strerror,
        mend="make room on that disk, or send it elsewhere",
    )
