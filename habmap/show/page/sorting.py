"""The heads of the account's table as buttons that sort it: all of it is the script's."""

from __future__ import annotations

from typing import Any

from habmap.show.records import Page


def values(_page: Page) -> dict[str, Any]:
    """Nothing of it is in the template: without a script the table stays in the order of work."""
    return {}


def drawing(_page: Page) -> None:
    """Its script reads the table itself."""
