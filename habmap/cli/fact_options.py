"""Options for what the facts of a record say, of a log line or of the weather of a burn: typed nowhere.

They are made when a command is run or asked for its help: ``habmap --help`` need not know the records.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields, is_dataclass
from functools import cache, wraps
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer
from typer.core import TyperCommand

if TYPE_CHECKING:
    from habmap.records import Fact

#: By field name what a person said; ``None`` = not said.
Told = Mapping[str, Any]
_TOLD: Final = "told"


def add_command(
    app: typer.Typer, name: str, command: Callable[..., None], facts: Callable[[], tuple[Fact, ...]] | None = None
) -> None:
    """Add a command that has one option for each of some facts in place of its parameter ``told``.

    A parameter whose type is a dataclass of options stands for these.

    Parameters
    ----------
    facts
        Gives the facts; left out: those of a log line, each said with the work beside which alone it stands.
    """

    class FactCommand(TyperCommand):
        """The command by name and help; its options are made when they are asked for."""

        def get_params(self, ctx: Any) -> list[Any]:
            params: list[Any] = _whole(command, facts).get_params(ctx)
            return params

        def invoke(self, ctx: Any) -> Any:
            return ctx.invoke(_whole(command, facts).callback, **ctx.params)

    @wraps(command)
    def named() -> None: ...

    named.__signature__ = inspect.Signature()  # type: ignore[attr-defined]
    named.__annotations__ = {}
    app.command(name, cls=FactCommand)(named)


@cache
def _whole(command: Callable[..., None], facts: Callable[[], tuple[Fact, ...]] | None) -> Any:
    """Return the command as typer makes it with all its options."""
    there = (facts or _facts_of_a_line)()
    grouped = with_groups(command)
    parameters: list[inspect.Parameter] = []
    for name, parameter in inspect.signature(grouped, eval_str=True).parameters.items():
        if name == _TOLD:
            parameters += [_parameter(one, "" if facts else _beside(one)) for one in there]
        else:
            parameters.append(parameter)

    def asked(**values: Any) -> None:
        told = {one.name: _value(one, values.pop(one.name)) for one in there}
        grouped(**values, **{_TOLD: told})

    app = typer.Typer(add_completion=False, rich_markup_mode=None)
    app.command()(_taking(asked, parameters))
    return typer.main.get_command(app)


def with_groups(command: Callable[..., None]) -> Callable[..., None]:
    """Return a command with each option of its groups by itself: a parameter whose type is a dataclass of options."""
    parameters: list[inspect.Parameter] = []
    groups: dict[str, Any] = {}
    for name, parameter in inspect.signature(command, eval_str=True).parameters.items():
        if is_dataclass(parameter.annotation):
            groups[name] = parameter.annotation
            parameters += inspect.signature(groups[name], eval_str=True).parameters.values()
        else:
            parameters.append(parameter)

    @wraps(command)
    def asked(**values: Any) -> None:
        made = {name: kind(**{one.name: values.pop(one.name) for one in fields(kind)}) for name, kind in groups.items()}
        command(**values, **made)

    return _taking(asked, parameters) if groups else command


def _taking(command: Callable[..., None], parameters: Sequence[inspect.Parameter]) -> Callable[..., None]:
    """Give a command its parameters, as typer reads them."""
    command.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    command.__annotations__ = {one.name: one.annotation for one in parameters}
    return command


def _facts_of_a_line() -> tuple[Fact, ...]:
    from habmap.records import BurnRecord, Entry, said_facts

    return (*said_facts(Entry), *said_facts(BurnRecord))


def _parameter(one: Fact, beside: str) -> inspect.Parameter:
    words = f"{beside}{one.help}."
    words = f"{words[0].upper()}{words[1:]}"
    flag = f"{one.flag}/--no-{one.flag.removeprefix('--')}" if one.kind is bool else one.flag
    option = typer.Option(
        flag, metavar=one.metavar or "|".join(one.choices) or None, help=f"{words[0].upper()}{words[1:]}"
    )
    kind = list[str] if one.between else one.kind if one.kind in (bool, int, float) and not one.reads else str
    annotation = Annotated[kind | None, option]  # type: ignore[valid-type]
    return inspect.Parameter(one.name, inspect.Parameter.POSITIONAL_OR_KEYWORD, default=None, annotation=annotation)


def _beside(one: Fact) -> str:
    """Say beside which work alone an option stands."""
    from habmap.records import BurnRecord

    if one.practices is None:
        return ""
    return "A burn: " if one.record is BurnRecord else "A check-up: " if one.within == "look" else ""


def _value(one: Fact, given: Any) -> Any:
    if given is None or one.reads is None:
        return given
    return tuple(one.reads(text) for text in given) if one.between else one.reads(given)
