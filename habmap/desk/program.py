"""How this very program is started again: from pip's environment, or packed into one."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Final


def command(program: str, *, is_packed: bool) -> tuple[str, ...]:
    """Return the words before any of habmap's own; in a package the desk's own program stands beside the command's."""
    if not is_packed:
        return (program, "-m", "habmap")
    return (str(Path(program).with_name("habmap").with_suffix(Path(program).suffix)),)


COMMAND: Final = command(sys.executable, is_packed=getattr(sys, "frozen", False))
