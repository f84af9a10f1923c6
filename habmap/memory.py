"""What pure functions of values gave, kept while the process lives: the one place where work done before is remembered.

A key is the whole of what went in, compared value by value: outlines by their vertices, lines of the log by all their
facts. So nothing kept can be out of date, whoever writes a property meanwhile, and properties that are open side by
side cannot mix: what changed is another key. What was not asked for longest goes first.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any, Final, ParamSpec, TypeVar, cast

Given = ParamSpec("Given")
Answer = TypeVar("Answer")

#: How many answers of one function are kept: a large property has some 20,000 pieces of ground.
MOST: Final = 2**16
_FUNCTIONS: Final[list[Any]] = []


def remembered(function: Callable[Given, Answer]) -> Callable[Given, Answer]:
    """Make a function answer what it gave before for the same values.

    It must depend on nothing but what it is given, which must be hashable, and what it gives must not be changed
    afterwards by anybody. An error is not kept.
    """
    found = lru_cache(maxsize=MOST, typed=True)(function)
    _FUNCTIONS.append(found)
    return cast("Callable[Given, Answer]", found)


def forget() -> None:
    """Drop all that was kept."""
    for function in _FUNCTIONS:
        function.cache_clear()
