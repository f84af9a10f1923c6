"""``habmap manual``: every command as help tells it, in the terminal or as one HTML page."""

from __future__ import annotations

import json
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Any

import typer

from habmap.cli.context import OverwriteOption
from habmap.cli.output import say
from habmap.errors import UsageError


def command(
    context: typer.Context,
    words: Annotated[list[str] | None, typer.Argument(metavar="[COMMAND]", help="One command, such as: log.")] = None,
    output: Annotated[
        Path | None, typer.Option("-o", "--output", metavar="FILE", help="Write the whole manual as one HTML page.")
    ] = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Show the command reference.

    Without a command: every command, a line each. With -o: all of it, the keys of the JSON and the settings too, as one
    page that opens in any browser.
    """
    root: Any = context.parent
    if output is not None:
        if words:
            raise UsageError(
                "-o writes the whole manual", value=" ".join(words), mend="leave the command out", where="--output"
            )
        _write(root, output, overwrite=overwrite)
        return
    if not words:
        for inner in _under(root):
            say(f"habmap {_name(inner):<22} {inner.command.get_short_help_str(limit=200)}")
        say("\nMore of one: habmap manual COMMAND. All of it as a page: habmap manual -o manual.html")
        return
    wanted = " ".join(words)
    found = {_name(inner): inner for inner in _under(root)}
    if wanted in found:
        say(found[wanted].get_help())
    elif group := [name for name in found if name.startswith(f"{wanted} ")]:
        for name in group:
            say(f"{found[name].get_help()}\n")
    else:
        raise UsageError(
            "no such command",
            value=wanted,
            allowed=", ".join(found),
            mend="see `habmap manual` for all of them",
            where="COMMAND",
        )


def _write(root: Any, target: Path, *, overwrite: bool) -> None:
    from habmap import __version__
    from habmap.place.template import settings_text
    from habmap.place.writers import refuse_ending, refuse_to_write, write_whole
    from habmap.show.manual import ManualCommand, ManualOption, manual_page

    refuse_ending(target, ".html", ".htm", what="the manual is an HTML page", mend="name a file such as manual.html")
    refuse_to_write(target, overwrite=overwrite)
    commands = []
    for inner in _under(root):
        command = inner.command
        records = [(param, param.get_help_record(inner)) for param in command.get_params(inner)]
        commands.append(
            ManualCommand(
                name=_name(inner),
                usage=command.get_usage(inner),
                paragraphs=tuple(part.replace("\n", " ") for part in (command.help or "").split("\n\n") if part),
                options=tuple(
                    ManualOption(typed, words.removesuffix("[required]").strip(), param.required)
                    for param, record in records
                    if record is not None
                    for typed, words in [record]
                ),
                schema=_schema(_name(inner)),
            )
        )
    page = manual_page(__version__, commands, settings_text("My property"))
    write_whole(target, lambda path: path.write_text(page, encoding="utf-8"), overwrite=overwrite)
    say(f"{target} holds {len(commands)} commands; open it in any browser.")


def _under(context: Any) -> Iterator[Any]:
    """Yield a context of every command under this one, groups opened."""
    command = context.command
    for name in command.list_commands(context):
        inner = command.get_command(context, name)
        below = inner.context_class(inner, parent=context, info_name=name)
        if hasattr(inner, "list_commands"):
            yield from _under(below)
        else:
            yield below


def _name(context: Any) -> str:
    """Return a command's words after ``habmap``."""
    return str(context.command_path).partition(" ")[2]


def _schema(name: str) -> dict[str, Any] | None:
    """Return the schema of a command's JSON, where one is kept."""
    file = files("habmap") / "schema" / f"{name}.json"
    return json.loads(file.read_text(encoding="utf-8")) if file.is_file() else None
