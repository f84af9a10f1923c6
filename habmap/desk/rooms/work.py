"""Something is being made: how long it takes, a way to stop it, and what came of it."""

from __future__ import annotations

import copy
from typing import Final

from starlette.exceptions import HTTPException
from starlette.responses import FileResponse, JSONResponse, Response

from habmap.desk.asked import Asked
from habmap.desk.long_work import Work
from habmap.desk.outcome import outcome
from habmap.desk.pages import page
from habmap.desk.room import Room


def show(asked: Asked) -> Response:
    """Show how far a work is, or what came of it."""
    work = copy.copy(_work(asked))  # as it is at one moment: it may end while its page is made
    return page(
        asked,
        "work.html.j2",
        work=work,
        said=outcome(work.answer),
        error=work.error if work.is_over and not work.is_cancelled else None,
    )


def state(asked: Asked) -> Response:
    """Tell a page that waits how far it is, and whether it is over."""
    work = _work(asked)
    share = work.pace.share
    done_frac = None if share is None else share.done_frac
    return JSONResponse(
        {"is_over": work.is_over, "words": work.words, "time_words": work.time_words, "done_frac": done_frac}
    )


def file(asked: Asked) -> Response:
    """Give what was made, to be saved: a page in it never runs at the desk's own address."""
    work = _work(asked)
    path = work.files.get(asked.text("name"))
    if path is None or not work.is_over or not path.is_file():
        raise HTTPException(404, "There is no such paper.")
    return FileResponse(
        path,
        filename=asked.text("name"),
        media_type="application/octet-stream",
        headers={"content-security-policy": "default-src 'none'; sandbox"},
    )


def cancel(asked: Asked) -> Response:
    """Stop a work."""
    work = _work(asked)
    work.cancel()
    return asked.goto(more="", id=work.key)


def _work(asked: Asked) -> Work:
    work: Work | None = asked.desk.works.find(asked.text("id"), asked.at.key)
    if work is None:
        raise HTTPException(404, "There is no such work at the desk.")
    return work


ROOM: Final = Room(
    name="work",
    title="At work",
    show=show,
    parts={"state": state, "file": file},
    acts={"cancel": cancel},
    is_listed=False,
    needs_libraries=False,
)
