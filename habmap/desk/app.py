"""The desk itself: takes a request to its room, reads the form, and answers what goes wrong in words."""

from __future__ import annotations

import asyncio
import shutil
import threading
import time
from collections import OrderedDict
from collections.abc import AsyncIterator, Callable, Sequence
from typing import Any, Final

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from habmap.desk import rooms
from habmap.desk.asked import Answer, Asked, TheDesk, keep
from habmap.desk.door import Keys, refusal, same
from habmap.desk.drafts import Drafts
from habmap.desk.known import Known, Property
from habmap.desk.pages import ASSETS, asset, page
from habmap.desk.room import Room
from habmap.errors import HabmapError

#: Most files and fields of one form, and the largest field that is no file [bytes]: a drawn outline is the largest.
_MOST_FILES, _MOST_FIELDS, _LARGEST_FIELD = 500, 2000, 8 * 2**20
#: How many answers to a form are remembered, so that sending it twice writes once.
_REMEMBERED: Final = 500
#: A room that is not there after so long says so, and comes by itself when it is [s].
_ROOM_PATIENCE_S: Final = 1.5
#: A page that is open says so by a line that is held open; something is sent over it so often [s].
_BEAT_S: Final = 15.0
#: How soon such a line sees that the desk ends, and lets go: one that is cut instead is an error [s].
_LOOK_S: Final = 0.5


class Desk(TheDesk):
    """The desk of one run.

    Parameters
    ----------
    known
        Properties that may be opened.
    keys
        Its secrets.
    presence
        Who is at it (`habmap.desk.start.Presence`).
    in_order
        Its rooms.
    """

    def __init__(self, *, known: Known, keys: Keys, presence: Any, in_order: Sequence[Room] = rooms.IN_ORDER) -> None:
        super().__init__(known=known, keys=keys, in_order=in_order, first_room=rooms.FIRST.name)
        self.presence = presence
        self.origin = ""
        self.end: Callable[[], None] = lambda: None
        self.is_ending: Callable[[], bool] = lambda: False
        self.drafts = Drafts()
        self._answers: OrderedDict[str, Response] = OrderedDict()
        self._sending: dict[str, threading.Lock] = {}
        self._guard = threading.Lock()
        self._coming: dict[str, asyncio.Task[Response]] = {}
        self.app = Starlette(
            routes=[
                Route("/alive", self._alive),
                Route("/assets/{name}", self._asset),
                Route("/end", self._end, methods=["POST"]),
                Route("/", self._enter),
                Route("/{one}", self._enter, methods=["GET", "POST"]),
                Route("/{one}/{two}", self._enter, methods=["GET", "POST"]),
                Route("/{one}/{two}/{three}", self._enter, methods=["GET", "POST"]),
            ],
            exception_handlers={HTTPException: _refused, ClientDisconnect: _gone, Exception: _own_fault},  # type: ignore[dict-item]
        )

    def close(self) -> None:
        """Stop what goes on, and put away what lay about."""
        self.works.close()
        shutil.rmtree(self.shelf, ignore_errors=True)

    def is_busy(self) -> bool:
        """Tell whether something is being made that somebody waits for."""
        return self.works.is_busy()

    def on_request(self, path: str) -> None:
        """Somebody is there."""
        self.presence.seen()
        if path == "/assets/no-script.css":
            self.presence.is_scriptless = True

    def first_path(self, place: Property | None) -> str:
        """Return the address of the first page: of a property, or of the list of them."""
        return "/" if place is None else f"/{place.key}/{self.first_room}"

    # --- taking a request to its room ----------------------------------------------------------------------

    async def _enter(self, request: Request) -> Response:
        parts = [request.path_params[name] for name in ("one", "two", "three") if name in request.path_params]
        place = self.known.of(parts[0]) if parts else None
        if place is not None:
            parts = parts[1:] or [rooms.FIRST.name]
        room = self.rooms.get(parts[0] if parts else rooms.DOORSTEP.name)
        if room is None or room.needs_property != (place is not None) or len(parts) > 2:
            raise HTTPException(404, "There is no such page at the desk.")
        part = parts[1] if len(parts) == 2 else ""
        asked = Asked(desk=self, room=room.name, place=place, said=_said(request.query_params.multi_items()))
        if request.method == "POST":
            return await self._act(request, room, part, asked)
        answer = room.show if not part else room.parts.get(part)
        if answer is None:
            raise HTTPException(404, "There is no such page at the desk.")
        if room.needs_libraries and not self.warmth.is_warm:
            self.warmth.begin()
            return page(asked, "waiting.html.j2", words="The desk is being set up.")
        return await self._in_time(str(request.url), answer, asked)

    async def _in_time(self, address: str, answer: Answer, asked: Asked) -> Response:
        """Return a room, or where it takes long a page that says so and asks again: no browser waits without a word."""
        task = self._coming.get(address)
        if task is None:
            task = asyncio.ensure_future(run_in_threadpool(self._answered, answer, asked))
            self._coming[address] = task
        await asyncio.wait({task}, timeout=_ROOM_PATIENCE_S)
        if not task.done():
            return page(asked, "waiting.html.j2", words="This page is being worked out.")
        self._coming.pop(address, None)
        return task.result()

    async def _act(self, request: Request, room: Room, part: str, asked: Asked) -> Response:
        act = room.acts.get(part)
        if act is None:
            raise HTTPException(404, "There is no such page at the desk.")
        async with request.form(max_files=_MOST_FILES, max_fields=_MOST_FIELDS, max_part_size=_LARGEST_FIELD) as form:
            items = form.multi_items()
            asked.said = _said([(name, value) for name, value in items if isinstance(value, str)])
            if not same(self.keys.token, asked.text("token")):
                raise HTTPException(403, "This form is not of this desk's own pages; nothing was written.")
            brought: dict[str, list[Any]] = {}
            for name, value in items:
                if isinstance(value, UploadFile) and (value.filename or value.size):
                    try:
                        kept = await run_in_threadpool(keep, self.new_folder(), value.filename or "file", value.file)
                    except OSError as error:
                        words = "The file could not be put on this computer's disk; nothing was written"
                        raise HTTPException(507, f"{words} ({error.strerror}).") from error
                    brought.setdefault(name, []).append(kept)
            asked.files = brought
        return await run_in_threadpool(self._once, act, asked)

    def _once(self, act: Answer, asked: Asked) -> Response:
        """Answer a form; the same one sent again, or twice at a time, gets the same answer and writes nothing again."""
        once = asked.text("once")
        if not once:
            return self._answered(act, asked)
        with self._guard:
            lock = self._sending.setdefault(once, threading.Lock())
        with lock:
            if once in self._answers:
                return self._answers[once]
            answer = self._answered(act, asked)
            if answer.status_code < 400:
                with self._guard:
                    self._answers[once] = answer
                    for old in list(self._answers)[:-_REMEMBERED]:
                        del self._answers[old]
                        self._sending.pop(old, None)
            return answer

    def _answered(self, answer: Answer, asked: Asked) -> Response:
        try:
            if asked.place is None:
                return answer(asked)
            with asked.place.lock:
                return answer(asked)
        except HabmapError as error:
            return page(asked, "fault.html.j2", error=error)

    # --- what is no room -----------------------------------------------------------------------------------

    async def _asset(self, request: Request) -> Response:
        name = request.path_params["name"]
        if name not in ASSETS:
            raise HTTPException(404, "There is no such file at the desk.")
        return Response(asset(name), media_type=ASSETS[name])

    async def _alive(self, request: Request) -> Response:
        """Hold a line open for as long as a page is: the desk ends when no page is left."""

        async def beats() -> AsyncIterator[str]:
            self.presence.came()
            try:
                while not self.is_ending():
                    yield "\n"
                    beat_ends = time.monotonic() + _BEAT_S
                    while not self.is_ending() and time.monotonic() < beat_ends:
                        await asyncio.sleep(_LOOK_S)
            finally:
                self.presence.left()

        return StreamingResponse(beats(), media_type="text/plain")

    async def _end(self, request: Request) -> Response:
        async with request.form(max_files=0, max_fields=10) as form:
            token = form.get("token", "")
        if not isinstance(token, str) or not same(self.keys.token, token):
            raise HTTPException(403, "This form is not of this desk's own pages.")
        self.end()
        asked = Asked(desk=self, room=rooms.DOORSTEP.name, place=None)
        return page(asked, "ended.html.j2")


def _said(items: list[tuple[str, Any]]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name, value in items:
        found.setdefault(name, []).append(value)
    return found


async def _refused(request: Request, error: HTTPException) -> Response:
    """Answer a refusal in plain words."""
    return refusal(error.status_code, error.detail)


async def _own_fault(request: Request, error: Exception) -> Response:
    """Say that it is the program's fault; what it was goes to the terminal, and nowhere else."""
    words = "The desk came upon something it was not made for; this is a fault of the program, not yours."
    return refusal(500, words)


async def _gone(request: Request, error: Exception) -> Response:
    """Whoever sent this went away in the middle of it; nobody reads this."""
    return Response(status_code=400)
