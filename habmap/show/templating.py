"""Templates and the files that go into them, read from ``show/templates``."""

from __future__ import annotations

from importlib.resources import files
from typing import Final

import jinja2


def template_text(name: str) -> str:
    """Return the text of a file under ``show/templates``."""
    return (files("habmap.show") / "templates" / name).read_text(encoding="utf-8")


#: Text of persons is escaped, and a value that nobody gave is an error, not a blank.
ENVIRONMENT: Final = jinja2.Environment(
    autoescape=True,
    undefined=jinja2.StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
    loader=jinja2.PackageLoader("habmap.show"),
)
