"""Where in a TOML file a setting stands, for people who must mend it. The parser itself keeps no lines."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from typing import Final

HEADER: Final = re.compile(r"\s*\[(?P<array>\[)?\s*(?P<name>[^\[\]]+?)\s*\]\]?\s*(#.*)?$")
_PART: Final = r"""(?:"(?:[^"\\]|\\.)*"|'[^']*'|[A-Za-z0-9_-]+)"""
KEY: Final = re.compile(rf"\s*(?P<key>{_PART}(?:\s*\.\s*{_PART})*)\s*=")


def line_of(text: str, loc: Sequence[int | str]) -> int | None:
    """Return the number of the line, from 1, that a setting or the table around it is written on.

    Parameters
    ----------
    loc
        Names and positions from the outermost table inward, as ``("hold", 0, "to")``.

    Notes
    -----
    Reads the plain layout that people write: one header or key a line. A setting that is not found (left out, or in
    an inline table) is looked for by its nearest table; ``None`` where not even that is found.
    """
    lines: dict[tuple[int | str, ...], int] = {}
    seen: Counter[str] = Counter()
    table: tuple[int | str, ...] = ()
    for number, content in enumerate(text.splitlines(), start=1):
        header = HEADER.match(content)
        if header:
            name = header["name"]
            table = parts_of(name)
            if header["array"]:
                table = (*table, seen[name])
                seen[name] += 1
            lines.setdefault(table, number)
            continue
        key = KEY.match(content)
        if key:
            lines.setdefault((*table, *parts_of(key["key"])), number)
    wanted = tuple(loc)
    while wanted:
        if wanted in lines:
            return lines[wanted]
        wanted = wanted[:-1]
    return None


def parts_of(name: str) -> tuple[str, ...]:
    """Return the parts of a dotted name."""
    return tuple(one[1:-1] if one[0] in "\"'" else one for one in re.findall(_PART, name))
