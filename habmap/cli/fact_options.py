"""Options of ``log`` and ``correct`` for what the facts of a log line say: made from the facts, typed nowhere.

They are made when a command is run or asked for its help: ``habmap --help`` need not know the records.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from functools import cache, wraps
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer
from typer.core import TyperCommand

if TYPE_CHECKING:
    from habmap.records import Fact

#: By field name what a person said; ``None`` = not said.
Told = Mapping[str, Any]
_TOLD: Final = "told"


def add_command(app: typer.Typer, name: str, command: Callable[..., None]) -> None:
    """Add a command that has one option for each fact of a log line in place of its parameter ``told``."""

    class FactCommand(TyperCommand):
        """The command by name and help; its options are made when they are asked for."""

        def get_params(self, ctx: Any) -> list[Any]:
            params: list[Any] = _whole(command).get_params(ctx)
            return params

        def invoke(self, ctx: Any) -> Any:
            return ctx.invoke(_whole(command).callback, **ctx.params)

    @wraps(command)
    def named() -> None: ...

    named.__signature__ = inspect.Signature()  # type: ignore[attr-defined]
    named.__annotations__ = {}
    app.command(name, cls=FactCommand)(named)


@cache
def _whole(command: Callable[..., None]) -> Any:
    """Return the command as typer makes it with all its options."""
    parameters: list[inspect.Parameter] = []
    for name, parameter in inspect.signature(command, eval_str=True).parameters.items():
        parameters += map(_parameter, _facts()) if name == _TOLD else [parameter]

    def asked(**values: Any) -> None:
        told = {one.name: _value(one, values.pop(one.name)) for one in _facts()}
        command(**values, **{_TOLD: told})

    asked.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    asked.__annotations__ = {one.name: one.annotation for one in parameters}
    app = typer.Typer(add_completion=False, rich_markup_mode=None)
    app.command()(asked)
    return typer.main.get_command(app)


def _facts() -> tuple[Fact, ...]:
    from habmap.records import BurnRecord, Entry, said_facts

    return (*said_facts(Entry), *said_facts(BurnRecord))


def _parameter(one: Fact) -> inspect.Parameter:
    flag = f"{one.flag}/--no-{one.flag.removeprefix('--')}" if one.kind is bool else one.flag
    option = typer.Option(flag, metavar=one.metavar or "|".join(one.choices) or None, help=f"{_beside(one)}{one.help}.")
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
