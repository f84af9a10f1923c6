"""Templates and the files that go into them, read from ``show/templates``."""

from __future__ import annotations

from importlib.resources import files
from typing import Final

import jinja2

from habmap.show.words import unbroken


def template_text(name: str) -> str:
    """Return the text of a file under ``show/templates``."""
    return (files("habmap.show") / "templates" / name).read_text(encoding="utf-8")


#: Signs that turn the reading direction of all that follows (Unicode Standard Annex 9, explicit formatting): in a name
#: they would turn round the page's own words behind it. Right-to-left words need none of them.
DIRECTION_SIGNS: Final = dict.fromkeys(map(ord, "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"), "")


def _steady(value: object) -> object:
    # not in what is marked up already: that is the page's own
    return unbroken(value.translate(DIRECTION_SIGNS)) if type(value) is str else value


#: Text of persons is escaped, and a value that nobody gave is an error, not a blank.
ENVIRONMENT: Final = jinja2.Environment(
    autoescape=True,
    undefined=jinja2.StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
    loader=jinja2.PackageLoader("habmap.show"),
    finalize=_steady,
)
