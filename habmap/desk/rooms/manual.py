"""Manual: the words of the trade as habmap uses them, and the reference of every command."""

from __future__ import annotations

from typing import Final

from starlette.responses import Response

from habmap.desk.asked import Asked
from habmap.desk.pages import page, table
from habmap.desk.room import Room


def show(asked: Asked) -> Response:
    """Show what each word means, and offer the reference."""
    from habmap.vocabulary import PRACTICE_ROWS, PRACTICES, STAGE_WORDS, TREATED, cautions_of

    stages = [
        [words, "treated" if key in TREATED else "remains" if key in ("standing", "part_cut") else "neither"]
        for key, words in STAGE_WORDS.items()
    ]
    practices = [[row.words, row.key, row.code, row.kills, row.has_fire] for row in PRACTICE_ROWS]
    return page(
        asked,
        "manual.html.j2",
        stages=table("What state ground is in", ("state", "counts as"), stages),
        practices=table(
            "Kinds of work",
            ("what was done", "its key in files", "practice code", "kills cedars", "is fire"),
            practices,
        ),
        cautions=cautions_of(PRACTICES, has_snags=True, is_steep=True),
    )


def make(asked: Asked) -> Response:
    """Begin to write the command reference as a page of its own."""
    target = asked.desk.new_folder() / "manual.html"
    work = asked.runs(["manual", "-o", str(target)], title="The manual", files={"manual.html": target})
    return asked.goto("work", id=work.key)


ROOM: Final = Room(name="manual", title="Manual", show=show, acts={"make": make}, needs_libraries=False)
