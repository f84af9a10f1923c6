"""What a file brought, in a sentence: the same at the command line and at the desk."""

from __future__ import annotations

from collections.abc import Mapping

from habmap.measures import so_many


def load_words(
    kind: str,
    *,
    noun: str,
    loaded: int,
    versions: int = 0,
    already_there: int = 0,
    acres: float | None = None,
    acres_by_cover: Mapping[str, float] | None = None,
) -> str:
    """Say what one file brought, its rows called ``noun``; the rest as in `habmap.jobs.load.result.LoadResult`."""
    words = f"{so_many(loaded, noun)} loaded"
    if loaded and acres is not None:
        words += f", {acres:,.2f} acres"
        if kind == "entries":
            words += " worked, a second pass counted again"
    if acres_by_cover:
        words += "; " + ", ".join(f"{cover} {area:,.2f}" for cover, area in acres_by_cover.items())
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
