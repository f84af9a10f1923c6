"""What a file brought, in a sentence: the same at the command line and at the desk."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from habmap.measures import so_many


def load_words(told: Mapping[str, Any], *, noun: str) -> str:
    """Say what one file brought, its rows called ``noun``; ``told`` by the fields of its `LoadResult`."""
    kind, loaded, versions, already_there = (told[name] for name in ("kind", "loaded", "versions", "already_there"))
    words = f"{so_many(loaded, noun)} loaded"
    if loaded and told["acres"] is not None:
        words += f", {told['acres']:,.2f} acres"
        if kind == "entries":
            words += " worked, a second pass counted again"
    if told["acres_by_cover"]:
        words += "; " + ", ".join(f"{cover} {area:,.2f}" for cover, area in told["acres_by_cover"].items())
    words += "."
    if versions:
        one = versions == 1
        if kind == "features":
            words += f" {versions} of them {'corrects one that was' if one else 'correct ones that were'} there."
        else:
            words += f" {versions} of them {'is a new version' if one else 'are new versions'}."
    if already_there:
        words += f" {so_many(already_there, 'was', 'were')} there already."
    return words
