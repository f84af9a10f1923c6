"""The map: the page for the meeting, drawn from the property as it is, with the desk's own list around it."""

from __future__ import annotations

import re
from typing import Final

from markupsafe import Markup
from starlette.responses import HTMLResponse, Response

from habmap.desk.asked import Asked
from habmap.desk.pages import piece
from habmap.desk.room import Room

_META: Final = re.compile(r'<meta http-equiv="Content-Security-Policy" content="([^"]*)">')
#: From disk the page tells nobody where it lies; with it, a form would be sent with `Origin: null`.
_REFERRER: Final = '<meta name="referrer" content="no-referrer">'


def show(asked: Asked) -> Response:
    """Show the owner's map page with the desk around it."""
    from habmap.jobs.map import build_page
    from habmap.show.page.render import Around, render_page

    drawn = build_page(asked.store, now=asked.now, audience="owner")
    around = Around(
        head=Markup('<link rel="icon" href="data:,"><link rel="stylesheet" href="/assets/strip.css">'),
        top=piece(asked, "strip.html.j2"),
        foot=Markup('<script src="/assets/desk.js"></script><script src="/assets/map.js"></script>'),
        pencil=piece(asked, "map_pencil.html.j2", units=asked.store.units()),
        pencil_words="Say below what it is",
    )
    return served(render_page(drawn, around=around))


def served(text: str) -> Response:
    """Return a sealed page as the desk answers it: its own policy of hashes, opened for the desk's own files alone."""
    found = _META.search(text)
    assert found is not None
    text = _META.sub("", text, count=1).replace(_REFERRER, "", 1)
    return HTMLResponse(text, headers={"content-security-policy": policy(found[1])})


def policy(sealed: str) -> str:
    """Return a sealed page's policy with what the desk's list and form around it need.

    It still begins from nothing, and names no other place: scripts and styles are those of the hashes, or the desk's.
    """
    rules = {name: rest for name, _, rest in (rule.strip().partition(" ") for rule in sealed.split(";")) if name}
    for name in ("script-src", "style-src", "img-src"):
        rules[name] = f"'self' {rules[name]}"
    rules |= {"connect-src": "'self'", "form-action": "'self'", "frame-ancestors": "'none'"}
    return "; ".join(f"{name} {rest}" for name, rest in rules.items())


ROOM: Final = Room(name="map", title="Map", show=show)
