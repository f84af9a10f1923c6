"""The map: the page for the meeting, drawn from the property as it is, with the desk's own list around it."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from markupsafe import Markup
from starlette.responses import HTMLResponse, Response

from habmap.desk.asked import Asked
from habmap.desk.pages import desk_words, piece
from habmap.desk.room import Room
from habmap.desk.rooms.seen import spot_form

if TYPE_CHECKING:
    from habmap.jobs.ports import Store

_META: Final = re.compile(r'<meta http-equiv="Content-Security-Policy" content="([^"]*)">')
#: From disk the page tells nobody where it lies; with it, a form would be sent with `Origin: null`.
_REFERRER: Final = '<meta name="referrer" content="no-referrer">'
#: Slots for what holds the desk's token: comments, which no name in a page can be.
_STRIP, _PENCIL = "<!--desk:strip-->", "<!--desk:pencil-->"


def show(asked: Asked) -> Response:
    """Show the owner's map page with the desk around it; where nothing tells where the property is, the first steps.

    An outline that is drawn on an empty sheet would lie in the sea off Africa, and fix the property's grid there.
    """
    if not is_placed(asked.store):
        return asked.goto("lead")
    text = asked.at.kept(("map", asked.today), lambda store: _drawn(asked, store))
    # what differs from one answer to the next is put in last
    return served(text.replace(_STRIP, _top(asked), 1).replace(_PENCIL, _pencil(asked), 1))


def is_placed(store: Store) -> bool:
    """Tell whether anything says where on earth the property is."""
    return store.grid is not None or store.elevation() is not None


def _drawn(asked: Asked, store: Store) -> str:
    from habmap.jobs.map import build_page
    from habmap.show.page.render import Around, render_page

    around = Around(
        head=Markup('<link rel="icon" href="data:,"><link rel="stylesheet" href="/assets/strip.css">'),
        top=_STRIP,
        foot=Markup('<script src="/assets/desk.js"></script><script src="/assets/map.js"></script>'),
        pencil=_PENCIL,
        pencil_words="Say below what it is",
    )
    drawn = build_page(store, now=asked.now, audience="owner")
    return render_page(replace(drawn, missing=tuple(map(desk_words, drawn.missing))), around=around)


def _top(asked: Asked) -> str:
    spot = spot_form(asked)
    return piece(asked, "strip.html.j2") + ("" if spot is None else piece(asked, "map_spot.html.j2", **spot))


def _pencil(asked: Asked) -> str:
    return piece(asked, "map_pencil.html.j2")


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
