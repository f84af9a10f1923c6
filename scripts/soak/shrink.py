"""The smallest input that still breaks the same law: fewer words, fewer files, fewer bytes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

from soak.law import Case

Item = TypeVar("Item")
#: No more tries than this for one input.
_TRIES = 150


def smallest(case: Case, is_broken: Callable[[Case], bool]) -> Case:
    """Return a smaller input for which ``is_broken`` still holds; the input itself where it does not hold anew."""
    left = _TRIES

    def tried(one: Case) -> bool:
        nonlocal left
        left -= 1
        return left > 0 and is_broken(one)

    if not tried(case):
        return case
    case = case.smaller(words=tuple(_fewer(case.words, lambda words: tried(case.smaller(words=tuple(words))))))
    for name in list(case.files):
        without = {other: content for other, content in case.files.items() if other != name}
        if tried(case.smaller(files=without)):
            case = case.smaller(files=without)
    for name in list(case.files):
        case = _fewer_bytes(case, name, tried)
    return case


def _fewer_bytes(case: Case, name: str, tried: Callable[[Case], bool]) -> Case:
    def with_bytes(data: Sequence[int]) -> Case:
        return case.smaller(files={**case.files, name: bytes(data)})

    return with_bytes(_fewer(case.files[name], lambda data: tried(with_bytes(data))))


def _fewer(items: Sequence[Item], holds: Callable[[Sequence[Item]], bool]) -> Sequence[Item]:
    """Leave out halves, quarters and so on as long as it holds (Zeller & Hildebrandt 2002, delta debugging)."""
    parts = 2
    while len(items) > 1 and parts <= min(len(items), 64):
        size = -(-len(items) // parts)
        for at in range(0, len(items), size):
            fewer = items[:at] + items[at + size :]  # type: ignore[operator]
            if fewer and holds(fewer):
                items, parts = fewer, max(2, parts - 1)
                break
        else:
            parts *= 2
    return items
