"""The door of the desk: who may come in, what may be brought, and what a page may do.

A page on the loopback address is still a page, and a hostile site may be open beside it. Each rule stands alone:

- A page whose name was rebound to 127.0.0.1 sends that name as its Host: only this address and port are answered.
- Cookies of one port go to every other port of 127.0.0.1, SameSite or not: the cookie alone never permits a write; each
  needs the exact Origin, port included, and the token of the desk's own pages (`habmap.desk.asked`).
- What comes from another page, an image or a frame of it even, is refused where the browser says so.
- One policy from ``default-src 'none'`` lets a page load and send nothing but the desk's own.
- What is brought is counted while it comes, and must come at some speed.

References
----------
W3C, Content Security Policy Level 3; W3C, Fetch Metadata Request Headers; RFC 6454, The Web Origin Concept.
"""

from __future__ import annotations

import asyncio
import hmac
import html
import json
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final
from urllib.parse import parse_qs

from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from habmap.errors import HabmapError

#: Where a second start asks for a key of its own.
AGAIN_PATH: Final = "/again"
POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS: Final = {
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    # `no-referrer` would send `Origin: null` with a form
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
    "cache-control": "no-store",
}
_METHODS: Final = frozenset({"GET", "HEAD", "POST"})
#: What the browser says of requests that no page of another origin made.
_OWN_FETCHES: Final = frozenset({"same-origin", "none"})
#: The page of a refusal. It loads nothing: the desk's own style is behind the door too.
_REFUSED: Final = """<!DOCTYPE html>
<html lang="en">
<head><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>habmap</title></head>
<body><main><h1>{}</h1></main></body>
</html>
"""
#: A command line's answer to a second start is no longer than this [bytes].
_MOST_AGAIN: Final = 16_384


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What may be brought in one request.

    Attributes
    ----------
    most_bytes
        Largest body: elevation files are the largest that anybody brings.
    idle_s
        Longest wait for the next piece of a body.
    grace_s, least_bytes_per_s
        After the grace, a body must have come at this speed on average.
    """

    most_bytes: int = 1 << 30
    idle_s: float = 20.0
    grace_s: float = 30.0
    least_bytes_per_s: float = 2_000.0


#: For a folder that the command line of a second start names: opens it, and returns the path of its first page.
Opened = Callable[[str | None], str]


@dataclass(slots=True)
class Door:
    """Let in what may come in; everything else ends here.

    Attributes
    ----------
    app
        What lies behind.
    port
        The port that the desk listens on.
    keys
        Its secrets.
    again
        Called when a second start asks to be let in.
    on_request
        Called for each request that was let in, with its path.
    """

    app: ASGIApp
    port: int
    keys: Keys
    again: Opened
    limits: Limits = field(default_factory=Limits)
    on_request: Callable[[str], None] = lambda path: None
    clock: Callable[[], float] = time.monotonic

    @property
    def origin(self) -> str:
        """The one origin that the desk has."""
        return f"http://127.0.0.1:{self.port}"

    @property
    def cookie(self) -> str:
        """Name of the cookie: those of other ports reach this one too, and must not stand in its place."""
        return f"habmap_desk_{self.port}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            return
        send = _with_headers(send)
        heads = _heads(scope)
        answer = self._refusal(scope, heads)
        if answer is None and scope["path"] == AGAIN_PATH and scope["method"] == "POST":
            answer = await self._again(heads, receive)
        if answer is None:
            answer = self._key_answer(scope)
        if answer is None:
            answer = self._stranger(scope, heads)
        if answer is not None:
            await answer(scope, receive, send)
            return
        self.on_request(scope["path"])
        await self.app(scope, self._counted(receive), send)

    def _refusal(self, scope: Scope, heads: dict[str, list[str]]) -> Response | None:
        """Refuse what no browser of this desk sends."""
        if heads.get("host") != [f"127.0.0.1:{self.port}"]:
            return refusal(400, f"This is not the address of the desk. It is {self.origin}/")
        if scope["method"] not in _METHODS:
            return refusal(405, "The desk takes GET and POST.")
        length = heads.get("content-length", ["0"])[-1]
        if not length.isdigit() or int(length) > self.limits.most_bytes:
            return refusal(413, f"More than {self.limits.most_bytes // 2**20:,} MB are not taken at once.")
        return None

    async def _again(self, heads: dict[str, list[str]], receive: Receive) -> Response | None:
        """Let a second start in, which proves by the secret file that it is this user's."""
        shown = heads.get("authorization", [""])[-1].removeprefix("Bearer ")
        if "origin" in heads or not same(self.keys.control, shown):  # browsers send an Origin with every POST
            return refusal(403, "This is asked for by a second start of the desk alone.")
        body = b""
        while True:
            message = await asyncio.wait_for(receive(), self.limits.idle_s)
            body += message.get("body", b"")
            if len(body) > _MOST_AGAIN or message["type"] == "http.disconnect":
                return refusal(413, "A second start says one folder.")
            if not message.get("more_body", False):
                break
        try:
            path = self.again(json.loads(body or b"{}").get("folder"))
        except (HabmapError, ValueError, AttributeError) as error:
            return PlainTextResponse(f"{error}\n", status_code=422)  # read by a command line
        return PlainTextResponse(self.address(path))

    def address(self, path: str = "/") -> str:
        """Return the address, with a fresh key, at which a browser gets in."""
        return f"{self.origin}{path}?key={self.keys.fresh_key()}"

    def _key_answer(self, scope: Scope) -> Response | None:
        """Turn a key that still works into the cookie, and take it out of the address."""
        keys = parse_qs(scope["query_string"].decode("latin-1")).get("key", [])
        if scope["method"] != "GET" or not keys or not self.keys.opens(keys[0]):
            return None
        answer = Response(status_code=303, headers={"location": "/" + scope["path"].lstrip("/")})
        answer.set_cookie(self.cookie, self.keys.session, httponly=True, samesite="strict", path="/")
        return answer

    def _stranger(self, scope: Scope, heads: dict[str, list[str]]) -> Response | None:
        """Refuse whoever has no cookie, another page's requests, and a write from elsewhere."""
        if not any(same(self.keys.session, shown) for shown in _cookies(heads, self.cookie)):
            return refusal(403, "The desk is locked. Start it again (`habmap desk`, or its icon): it opens a page.")
        if any(site not in _OWN_FETCHES for site in heads.get("sec-fetch-site", [])):
            return refusal(403, "Another page asked for this; the desk answers its own pages alone.")
        if scope["method"] == "POST" and heads.get("origin") != [self.origin]:
            return refusal(403, "This was sent from another page; nothing was written.")
        return None

    def _counted(self, receive: Receive) -> Receive:
        """Return a receive that counts what comes, and stops what is too large or too slow."""
        limits, began, got, is_whole = self.limits, self.clock(), 0, False

        async def counted() -> Message:
            nonlocal got, is_whole
            if is_whole:
                return await receive()
            try:
                message = await asyncio.wait_for(receive(), limits.idle_s)
            except TimeoutError:
                raise HTTPException(408, "The file came too slowly and was let go; nothing was written.") from None
            got += len(message.get("body", b""))
            is_whole = not message.get("more_body", False)
            if got > limits.most_bytes:
                raise HTTPException(413, f"More than {limits.most_bytes // 2**20:,} MB are not taken at once.")
            took_s = self.clock() - began
            if not is_whole and took_s > limits.grace_s and got < took_s * limits.least_bytes_per_s:
                raise HTTPException(408, "The file came too slowly and was let go; nothing was written.")
            return message

        return counted


def refusal(status: int, words: str) -> Response:
    """Return a refusal in plain words, as a page that every reader can read."""
    return HTMLResponse(_REFUSED.format(html.escape(words)), status_code=status)


def _heads(scope: Scope) -> dict[str, list[str]]:
    """Return the headers by name, each with all its values."""
    found: dict[str, list[str]] = {}
    for name, value in scope["headers"]:
        found.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
    return found


def _cookies(heads: dict[str, list[str]], name: str) -> list[str]:
    """Return every cookie of a name: a page of another port may set one beside the desk's, which must not lock it."""
    parts = [part.strip().partition("=") for line in heads.get("cookie", []) for part in line.split(";")]
    return [value for key, _, value in parts if key == name]


def _with_headers(send: Send) -> Send:
    """Put the policy and its companions on every answer; a page with a narrower policy of its own keeps that."""

    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            there = {name.lower() for name, _ in message["headers"]}
            more = {"content-security-policy": POLICY, **HEADERS}
            message["headers"] = [
                *message["headers"],
                *((name.encode(), value.encode()) for name, value in more.items() if name.encode() not in there),
            ]
        await send(message)

    return sent


#: How long a key works: a browser that a desktop helper opens twice must get in twice [s].
KEY_LIFE_S: Final = 60.0
#: Random bytes of each secret.
_BYTES: Final = 24
#: Keys are short-lived; of more than these the oldest are forgotten.
_MOST_KEYS: Final = 20


class Keys:
    """The secrets of one run of the desk; nothing of them outlives it but the line that opens the browser.

    Parameters
    ----------
    clock
        Seconds that only ever grow.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._keys: dict[str, float] = {}
        #: What the cookie holds.
        self.session: Final = secrets.token_urlsafe(_BYTES)
        #: What every form and script of the desk's own pages sends along with a write.
        self.token: Final = secrets.token_urlsafe(_BYTES)
        #: What a second start shows to be let in; it lies in a file that only this user can read.
        self.control: Final = secrets.token_urlsafe(_BYTES)

    def fresh_key(self) -> str:
        """Return a new key, good for a minute from now."""
        key = secrets.token_urlsafe(_BYTES)
        self._keys[key] = self._clock()
        for old in list(self._keys)[:-_MOST_KEYS]:
            del self._keys[old]
        return key

    def opens(self, key: str) -> bool:
        """Tell whether a key opens the desk now."""
        now = self._clock()
        return any(same(known, key) and now - born <= KEY_LIFE_S for known, born in list(self._keys.items()))


def same(one: str, other: str) -> bool:
    """Compare two secrets in a time that tells nothing of where they differ."""
    return hmac.compare_digest(one.encode(), other.encode("utf-8", "surrogatepass"))
