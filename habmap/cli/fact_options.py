"""Options of ``log`` and ``correct`` for what the facts of a log line say: made from the facts, typed nowhere."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from functools import wraps
from typing import Annotated, Any, Final

import typer

from habmap.records import BurnRecord, Entry, Fact, said_facts

#: By field name what a person said; ``None`` = not said.
Told = Mapping[str, Any]
_PARAMETER: Final = "told"
_FACTS: Final = (*said_facts(Entry), *said_facts(BurnRecord))


def with_facts(command: Callable[..., None]) -> Callable[..., None]:
    """Return a command with one option for each fact of a log line, in place of its parameter ``told``.

    The command gets there what the options say, as values of the fields.
    """
    signature = inspect.signature(command, eval_str=True)
    parameters: list[inspect.Parameter] = []
    for name, parameter in signature.parameters.items():
        parameters += map(_parameter, _FACTS) if name == _PARAMETER else [parameter]

    @wraps(command)
    def asked(**values: Any) -> None:
        told = {one.name: _value(one, values.pop(one.name)) for one in _FACTS}
        command(**values, **{_PARAMETER: told})

    asked.__signature__ = signature.replace(parameters=parameters)  # type: ignore[attr-defined]
    asked.__annotations__ = {one.name: one.annotation for one in parameters}
    return asked


def _parameter(one: Fact) -> inspect.Parameter:
    flag = f"{one.flag}/--no-{one.flag.removeprefix('--')}" if one.kind is bool else one.flag
    option = typer.Option(flag, metavar=one.metavar or "|".join(one.choices) or None, help=f"{_beside(one)}{one.help}.")
    kind = list[str] if one.between else one.kind if one.kind in (bool, int, float) and not one.reads else str
    annotation = Annotated[kind | None, option]  # type: ignore[valid-type]
    return inspect.Parameter(one.name, inspect.Parameter.POSITIONAL_OR_KEYWORD, default=None, annotation=annotation)


def _beside(one: Fact) -> str:
    """Say beside which work alone an option stands."""
    if one.practices is None:
        return ""
    return "A burn: " if one.record is BurnRecord else "A check-up: " if one.within == "look" else ""


def _value(one: Fact, given: Any) -> Any:
    if given is None or one.reads is None:
        return given
    return tuple(one.reads(text) for text in given) if one.between else one.reads(given)
