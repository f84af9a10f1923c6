"""How this very program is started again: from pip's environment, or packed into one."""

from __future__ import annotations

import sys
from typing import Final

#: The words before any of habmap's own.
COMMAND: Final = (sys.executable,) if getattr(sys, "frozen", False) else (sys.executable, "-m", "habmap")
