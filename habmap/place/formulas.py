"""Text that a spreadsheet would take for a formula: made inert in a CSV cell, and restored when it is read back."""

from __future__ import annotations

import re
from typing import Final

#: The characters with which spreadsheets begin a formula (OWASP, CSV injection; from memory).
_BEGINS: Final = r"[=+\-@\t\r]"
_WOULD_RUN: Final = re.compile(f"'*{_BEGINS}")
_IS_INERT: Final = re.compile(f"'+{_BEGINS}")


def inert(text: str) -> str:
    """Return a text with an apostrophe before what a spreadsheet would run, and before what looks so already."""
    return f"'{text}" if _WOULD_RUN.match(text) else text


def restored(text: str) -> str:
    """Return what `inert` was given."""
    return text[1:] if _IS_INERT.match(text) else text
