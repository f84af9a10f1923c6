"""What map, sheet and handout share: where they go, how they are written, and what is said of one that was."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

from habmap.errors import UsageError
from habmap.jobs.ports import Store
from habmap.jobs.public import veil_words
from habmap.place.writers import refuse_ending, refuse_to_write, write_whole
from habmap.show.missing import for_the_owner
from habmap.show.records import Page
from habmap.vocabulary import Audience, file_mark

Figures = TypeVar("Figures")


@dataclass(frozen=True, kw_only=True)
class Written:
    """A file that was written, and the figures its headline says.

    Attributes
    ----------
    path, bytes
        The file and its size.
    audience
        Whom it is for: ``owner`` or ``public``.
    warnings
        What it could not show, in words (it says so itself too).
    """

    place: str
    path: str
    bytes: int
    audience: Audience
    on: date | None
    acres: float
    treated_acres: float
    remaining_acres: float
    warnings: tuple[str, ...]


def written(store: Store, page: Page, path: Path, *, is_whole: bool = True) -> dict[str, Any]:
    """Return the fields of `Written` for a page; ``is_whole``: of the whole property, not of one unit."""
    return {
        "place": page.place,
        "path": str(path),
        "bytes": path.stat().st_size,
        "audience": page.audience,
        "on": page.on,
        **{name: getattr(page.totals, name) for name in ("acres", "treated_acres", "remaining_acres")},
        "warnings": for_the_owner(page.missing) + (veil_words(store, page) if is_whole else ()),
    }


def drawn_into(path: Path, draw: Callable[[Path], Figures], **how: Any) -> Figures:
    """Draw into a file, whole or not at all; return what the drawing says of itself. ``how`` as of `write_whole`."""
    drawn: list[Figures] = []
    write_whole(path, lambda file: drawn.append(draw(file)), **how)
    return drawn[0]


def refuse_money(audience: Audience, *, with_hours: bool, with_cost: bool) -> None:
    """Raise ``UsageError`` where hours or cost are asked for in a copy for the public."""
    if audience == "public" and (with_hours or with_cost):
        raise UsageError(
            "hours and cost never stand in a copy for the public",
            value="--with-hours" if with_hours else "--with-cost",
            allowed="in the owner's copy only",
            mend="leave the option out, or leave out --for public",
            where="--with-hours, --with-cost",
        )


def pdf_path(target: Path | None, *, folder: Path, name: str, what: str, audience: Audience, overwrite: bool) -> Path:
    """Return the PDF to write: ``target``, or ``out/NAME`` in the property's folder.

    Raises
    ------
    UsageError
        Its name does not end in .pdf.
    InputError
        It is there, is no earlier one of its kind for the same people and ``overwrite`` is false, or it is one of the
        property's own files.
    """
    path = folder / "out" / name if target is None else target
    refuse_ending(path, ".pdf", what=f"the {what} is a PDF")
    refuse_to_write(path, overwrite=overwrite, replaces=file_mark(what, audience))
    return path
