"""Settings are found by their line."""

from __future__ import annotations

import pytest

from habmap.place.toml_lines import line_of

TEXT = """\
[place]
name = "A"  # [[hold]] in a comment is none

[[hold]]
unit = "C1"
[[hold]]   # the second
unit = "C2"
to = 2026-01-01
[effort]
rates.cut = 3
"""


@pytest.mark.parametrize(
    ("loc", "line"),
    [
        (("place", "name"), 2),
        (("place", "timezone"), 1),
        (("hold", 0), 4),
        (("hold", 1, "to"), 8),
        (("hold", 1, "reason"), 6),
        (("effort", "rates", "cut"), 10),
        (("gps", "sigma_m"), None),
    ],
)
def test_lines(loc: tuple[int | str, ...], line: int | None) -> None:
    assert line_of(TEXT, loc) == line
