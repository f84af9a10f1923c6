"""A hostile site is open beside the desk, in the same real browser, with the desk's own cookie in its jar."""

from __future__ import annotations

import http.server
import re
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any, ClassVar

import pytest
from desk_process import Running
from playwright.sync_api import Browser, BrowserContext

pytestmark = pytest.mark.browser

#: Everything that a page can do to another address: forms, fetches, images, frames, scripts, windows.
HOSTILE = """<!doctype html><title>hostile</title><body>
<form id="f" method="post" action="{desk}/start/make" target="_self">
<input name="name" value="Evil"><input name="timezone" value="UTC"><input name="token" value="{token}"></form>
<form id="g" method="post" enctype="text/plain" action="{desk}/start/make"><input name="name" value="Evil"></form>
<iframe id="i" src="{desk}/"></iframe><img id="m" src="{desk}/assets/desk.css">
<script>
window.got = [];
window.tried = Promise.all([
  fetch("{desk}/", {{credentials: "include"}}).then((a) => a.text()).then((t) => got.push(t)).catch(() => {{}}),
  fetch("{desk}/", {{mode: "no-cors", credentials: "include"}})
    .then((a) => a.text()).then((t) => t && got.push(t)).catch(() => {{}}),
  fetch("{desk}/start/make", {{method: "POST", credentials: "include", mode: "no-cors",
    headers: {{"Content-Type": "application/x-www-form-urlencoded"}},
    body: "name=Evil&timezone=UTC&token={token}"}}).catch(() => {{}}),
  navigator.sendBeacon("{desk}/end", new URLSearchParams({{token: "{token}"}})),
]);
</script></body>"""


class Elsewhere(http.server.BaseHTTPRequestHandler):
    """Another site of this computer: another port of the same loopback address gets the desk's cookie."""

    page = b""
    cookies: ClassVar[list[str]] = []

    def do_GET(self) -> None:
        type(self).cookies.append(self.headers.get("Cookie", ""))
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.end_headers()
        self.wfile.write(self.page)

    def log_message(self, format: str, *args: Any) -> None:
        """Say nothing."""


@pytest.fixture
def elsewhere() -> Iterator[http.server.ThreadingHTTPServer]:
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Elsewhere)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield server
    server.shutdown()
    server.server_close()


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    opened = browser.new_context()
    yield opened
    opened.close()


@pytest.mark.parametrize("name", ["127.0.0.1", "localhost"])
def test_a_page_of_another_port_or_name_reads_and_writes_nothing(
    desk: Running, elsewhere: http.server.ThreadingHTTPServer, context: BrowserContext, name: str
) -> None:
    jar, _, value = desk.jar.partition("=")
    context.add_cookies([{"name": jar, "value": value, "url": desk.origin}])
    own = context.new_page()
    own.goto(f"{desk.origin}/")  # the desk is open in one tab
    before = own.locator("main li").count()
    # even a page that knows the token (it cannot) is refused by its Origin
    Elsewhere.page = HOSTILE.format(desk=desk.origin, token=desk.token).encode()
    Elsewhere.cookies.clear()
    page = context.new_page()
    page.goto(f"http://{name}:{elsewhere.server_address[1]}/")
    if name == "127.0.0.1":
        assert any(desk.jar in cookies for cookies in Elsewhere.cookies), "the trap: cookies do not know ports"
    page.evaluate("() => window.tried")
    assert page.evaluate("window.got.join('')") == ""
    frame = next(one for one in page.frames if one != page.main_frame)
    assert "Which property?" not in frame.content()
    for form in ("f", "g"):
        page.goto(f"http://{name}:{elsewhere.server_address[1]}/")
        page.evaluate(f"document.getElementById('{form}').submit()")
        page.wait_for_url(f"{desk.origin}/start/make")
        assert re.search("The desk is locked|Another page asked|sent from another page", page.inner_text("body"))
    own.reload()
    assert own.locator("main li").count() == before
    assert "Evil" not in own.content()
    assert not (Path(desk.home) / "habmap" / "Evil").exists()


def test_a_name_that_was_turned_to_this_computer_is_not_answered(
    browser: Browser, desk: Running, chromium_path: str
) -> None:
    """The browser believes that evil.example is 127.0.0.1, as after DNS rebinding; the page is of one origin there."""
    turned = browser.browser_type.launch(
        executable_path=chromium_path,
        args=[
            "--no-sandbox",
            "--disable-gpu",
            "--disable-dev-shm-usage",
            "--host-resolver-rules=MAP evil.example 127.0.0.1",
        ],
    )
    try:
        page = turned.new_page()
        answer = page.goto(f"http://evil.example:{desk.port}/")
        assert answer is not None
        assert answer.status == 400
        posted = page.evaluate("fetch('/start/make', {method: 'POST', body: 'name=Evil'}).then((a) => a.status)")
        assert posted == 400
    finally:
        turned.close()
