"""The door of the desk under attack: each rule of it alone, by somebody who has all but what the rule asks for."""

from __future__ import annotations

import asyncio
import http.client
import re
import signal
import socket
import stat
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from desk_process import PATIENCE_S, Running, environment
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.routing import Route

from habmap.desk.asked import safe_name
from habmap.desk.door import KEY_LIFE_S, Door, Keys, Limits
from habmap.desk.start import Presence

Begin = Callable[..., Running]
PATHS = ("/", "/assets/desk.css", "/alive", "/start/make", "/nothing", "/..%2f..%2fetc/passwd", "//", "/?key=guess")


def lines_of(place: Path) -> int:
    """Count the rows of the log that a property holds."""
    from habmap.place.store import GeoPackageStore

    return len(GeoPackageStore.open(place).entries())


# --- who comes in -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", PATHS)
def test_without_the_key_every_path_is_refused(desk: Running, path: str) -> None:
    assert desk.raw("GET", path).status == 403
    assert desk.raw("POST", path, body=b"", heads={"Origin": desk.origin}).status == 403


def test_who_is_not_let_in_reads_a_page_of_one_sentence(desk: Running) -> None:
    answer = desk.raw("GET", "/<script>alert(1)</script>")
    assert answer.heads["content-type"].startswith("text/html")
    assert answer.heads["content-security-policy"].startswith("default-src 'none'")
    assert re.search(r'<html lang="en">.*<title>.+</title>.*<main><h1>The desk is locked\.', answer.text, re.DOTALL)
    assert "script" not in answer.text


@pytest.mark.parametrize("cookie", ["habmap_desk_{port}=", "habmap_desk_{port}=guess", "habmap_desk_1={session}", "é"])
def test_another_cookie_is_refused(desk: Running, cookie: str) -> None:
    session = desk.jar.partition("=")[2]
    jar = cookie.format(port=desk.port, session=session).encode().decode("latin-1")
    assert desk.raw("GET", "/", heads={"Cookie": jar}).status == 403


def test_a_cookie_that_another_port_set_beside_it_does_not_lock_the_desk(desk: Running) -> None:
    name = desk.jar.partition("=")[0]
    for jar in (f"{name}=theirs; {desk.jar}", f"{desk.jar}; {name}=theirs"):
        assert desk.raw("GET", "/", heads={"Cookie": jar}).status == 200
    assert desk.raw("GET", "/", heads={"Cookie": f"{name}=theirs; {name}="}).status == 403


def test_the_key_becomes_a_cookie_that_no_script_reads_and_leaves_the_address(begin: Begin) -> None:
    desk = begin()
    path = desk.address.removeprefix(desk.origin)
    answer = desk.raw("GET", path)
    assert answer.status == 303
    assert answer.heads["location"] == "/"
    assert "HttpOnly" in answer.heads["set-cookie"]
    assert "samesite=strict" in answer.heads["set-cookie"].lower()
    assert "domain" not in answer.heads["set-cookie"].lower()
    # a helper of the desktop may fetch the address before the browser does
    assert desk.raw("GET", path).status == 303


def test_a_key_of_more_than_a_minute_ago_is_refused() -> None:
    now = 0.0
    keys = Keys(clock=lambda: now)
    key = keys.fresh_key()
    now = KEY_LIFE_S
    assert keys.opens(key)
    now = KEY_LIFE_S + 0.1
    assert not keys.opens(key)
    assert keys.opens(keys.fresh_key())


def test_a_key_cannot_send_the_browser_to_another_address(begin: Begin) -> None:
    desk = begin()
    query = desk.address.partition("?")[2]
    answer = desk.raw("GET", f"//evil.example/?{query}")
    assert answer.status == 303
    assert answer.heads["location"] == "/evil.example/"


@pytest.mark.parametrize(
    "host",
    ["localhost:{port}", "127.0.0.1", "127.0.0.1:1", "evil.example:{port}", "127.0.0.1.evil.example:{port}", "", None,
     "[::1]:{port}", "127.0.0.1:{port}.", "127.0.0.1:{port}@evil.example", "2130706433:{port}"],
)  # fmt: skip
def test_another_host_is_refused_even_with_the_cookie(desk: Running, host: str | None) -> None:
    heads = {"Cookie": desk.jar, "Host": None if host is None else host.format(port=desk.port)}
    assert desk.raw("GET", "/", heads=heads).status == 400


def test_two_hosts_are_refused(desk: Running) -> None:
    with socket.create_connection(("127.0.0.1", desk.port), timeout=PATIENCE_S) as line:
        own = f"Host: 127.0.0.1:{desk.port}\r\n"
        line.sendall(f"GET / HTTP/1.1\r\n{own}Host: evil.example\r\nCookie: {desk.jar}\r\n\r\n".encode())
        assert line.recv(100).startswith(b"HTTP/1.1 400")


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_what_another_page_asks_for_is_refused_even_with_the_cookie(desk: Running, site: str) -> None:
    assert desk.get("/", **{"Sec-Fetch-Site": site}).status == 403
    assert desk.get("/", **{"Sec-Fetch-Site": "same-origin"}).status == 200
    assert desk.get("/", **{"Sec-Fetch-Site": "none"}).status == 200


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "PATCH", "TRACE", "CONNECT"])
def test_other_methods_are_refused(desk: Running, method: str) -> None:
    assert desk.raw(method, "/", heads={"Cookie": desk.jar, "Origin": desk.origin}).status in (400, 405)


def test_it_listens_on_the_loopback_address_alone(desk: Running) -> None:
    listening = Path("/proc/net/tcp")
    if not listening.exists():
        pytest.skip("no /proc")
    own = [line.split()[1] for line in listening.read_text().splitlines()[1:] if line.split()[3] == "0A"]
    assert [one for one in own if one.endswith(f":{desk.port:04X}")] == [f"0100007F:{desk.port:04X}"]


# --- who may write ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "origin",
    [None, "null", "http://evil.example", "http://127.0.0.1", "http://127.0.0.1:1", "http://localhost:{port}",
     "https://127.0.0.1:{port}", "http://127.0.0.1:{port}/", "http://127.0.0.1:{port}.evil.example"],
)  # fmt: skip
def test_a_write_from_another_origin_is_refused_with_cookie_and_token(desk: Running, origin: str | None) -> None:
    heads = {"Origin": None if origin is None else origin.format(port=desk.port)}
    before = desk.get("/").text
    answer = desk.post("/start/make", {"name": "Evil", "timezone": "America/Chicago"}, heads=heads)
    assert answer.status == 403
    assert "Evil" not in desk.get("/").text
    assert desk.get("/").text.count("<li>") == before.count("<li>")


@pytest.mark.parametrize("token", ["", "guess", "é"])
def test_a_write_without_the_pages_token_is_refused(desk: Running, token: str) -> None:
    said = {"name": "Evil", "timezone": "America/Chicago", "token": token}
    assert desk.post("/start/make", said).status == 403
    assert desk.post("/end", {"token": token}).status == 403
    assert "Evil" not in desk.get("/").text


def test_the_token_in_the_address_is_no_token(desk: Running) -> None:
    answer = desk.post(f"/start/make?token={desk.token}", {"name": "Evil", "timezone": "America/Chicago", "token": ""})
    assert answer.status == 403


def test_a_second_start_is_let_in_by_the_secret_file_alone(desk: Running) -> None:
    where = desk.home / "config" / "habmap" / "desk.json"
    assert stat.S_IMODE(where.stat().st_mode) == 0o600
    control = re.findall(r'"control": "([^"]+)"', where.read_text())[0]
    for heads in ({}, {"Authorization": "Bearer guess"}, {"Authorization": f"Bearer {desk.token}", "Cookie": desk.jar}):
        assert desk.raw("POST", "/again", body=b"{}", heads=heads).status == 403
    own = {"Authorization": f"Bearer {control}"}
    assert desk.raw("POST", "/again", body=b"{}", heads={**own, "Origin": desk.origin}).status == 403
    assert desk.raw("POST", "/again", body=b'{"folder": "' + b"x" * 20_000 + b'"}', heads=own).status == 413
    assert desk.raw("POST", "/again", body=b"not json", heads=own).status == 422
    assert desk.raw("POST", "/again", body=b'{"folder": "/etc"}', heads=own).status == 422
    assert desk.raw("POST", "/again", body=b"{}", heads=own).status == 200
    assert control not in desk.get("/").text


# --- what a page may do -------------------------------------------------------------------------------------


def test_every_answer_carries_one_policy_that_starts_from_nothing(desk: Running) -> None:
    answers = [desk.get("/"), desk.get("/assets/desk.js"), desk.get("/no/such/page"), desk.raw("GET", "/")]
    answers += [desk.raw("GET", "/", heads={"Host": "evil.example"}), desk.post("/start/make", {"token": ""})]
    for answer in answers:
        policy = answer.heads["content-security-policy"]
        assert policy.startswith("default-src 'none'; ")
        assert "unsafe" not in policy
        assert "http" not in policy
        assert "*" not in policy
        assert "frame-ancestors 'none'" in policy
        assert answer.heads["x-content-type-options"] == "nosniff"
        assert answer.heads["cross-origin-resource-policy"] == "same-origin"
        assert answer.heads["cache-control"] == "no-store"
        assert "server" not in answer.heads


def test_no_answer_lets_another_origin_read_it(desk: Running) -> None:
    answer = desk.get("/", Origin="http://evil.example")
    assert not [name for name in answer.heads if name.startswith("access-control")]


def test_pages_have_no_script_or_style_of_their_own(desk: Running) -> None:
    text = desk.get("/").text
    assert not re.findall(r"<script(?![^>]* src=)|<style|\son\w+=|\sstyle=|javascript:", text)
    assert not re.findall(r"https?://", text)


# --- what is brought ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("../../.ssh/authorized_keys", "authorized_keys"),
        ("..\\..\\windows\\system.ini", "system.ini"),
        ("/etc/passwd", "passwd"),
        ("C:\\x.gpx", "x.gpx"),
        ("..", "file"),
        (".", "file"),
        ("", "file"),
        ("a\x00b\n.csv", "a-b-.csv"),
        ("con.gpx", "file-con.gpx"),
        ("LPT1", "file-LPT1"),
        ("walk of May 3.gpx", "walk of May 3.gpx"),
        ("Zäune.geojson", "Zäune.geojson"),
        ("x" * 5000 + ".gpx", "x" * 96 + ".gpx"),
        ("<img src=x>.csv", "img src-x-.csv".replace("img", "-img", 1)),
    ],
)
def test_a_path_in_a_files_name_is_no_path(name: str, kept: str) -> None:
    assert safe_name(name) == kept


Served = Callable[[Limits], int]


@pytest.fixture
def small_door() -> Iterator[Served]:
    """A door with small limits before something that takes whatever comes."""
    servers: list[tuple[uvicorn.Server, threading.Thread]] = []

    async def take(request: Request) -> PlainTextResponse:
        async with request.form() as form:
            return PlainTextResponse(f"took {len(str(form.get('x')))}")

    def served(limits: Limits) -> int:
        listening = socket.socket()
        listening.bind(("127.0.0.1", 0))
        listening.listen()
        port = int(listening.getsockname()[1])
        keys = Keys()
        keys.session = "known"  # type: ignore[misc]
        app = Starlette(routes=[Route("/take", take, methods=["POST"])])
        door = Door(app=app, port=port, keys=keys, again=lambda folder: "/", limits=limits)
        server = uvicorn.Server(uvicorn.Config(door, lifespan="off", ws="none", log_level="critical"))
        thread = threading.Thread(target=lambda: asyncio.run(server.serve(sockets=[listening])), daemon=True)
        thread.start()
        servers.append((server, thread))
        return port

    yield served
    for server, thread in servers:
        server.should_exit = True
        thread.join(timeout=10)


def send_slowly(port: int, pieces: list[bytes], *, wait_s: float, heads: str) -> bytes:
    """Send a form in pieces and return what comes back."""
    with socket.create_connection(("127.0.0.1", port), timeout=30) as line:
        line.sendall(
            f"POST /take HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: http://127.0.0.1:{port}\r\n"
            f"Cookie: habmap_desk_{port}=known\r\nContent-Type: application/x-www-form-urlencoded\r\n"
            f"Connection: close\r\n{heads}\r\n\r\n".encode()
        )
        try:
            for piece in pieces:
                line.sendall(piece)
                time.sleep(wait_s)
        except OSError:
            pass  # the door was shut in the middle of it
        found = b""
        try:
            while piece := line.recv(4000):
                found += piece
        except ConnectionError:
            pass  # shut with some of it unread
        return found


def test_a_huge_upload_is_refused_by_what_it_says(small_door: Served) -> None:
    port = small_door(Limits(most_bytes=1000))
    assert send_slowly(port, [], wait_s=0, heads="Content-Length: 1001").startswith(b"HTTP/1.1 413")
    refusals = (b"HTTP/1.1 413", b"HTTP/1.1 400")
    assert send_slowly(port, [], wait_s=0, heads="Content-Length: 9" + "9" * 30).startswith(refusals)
    assert b"took 998" in send_slowly(port, [b"x=" + b"a" * 998], wait_s=0, heads="Content-Length: 1000")


def test_a_huge_upload_that_says_nothing_is_refused_while_it_comes(small_door: Served) -> None:
    port = small_door(Limits(most_bytes=1000))
    pieces = [b"%x\r\n%s\r\n" % (400, b"a" * 400) for _ in range(20)]
    assert send_slowly(port, pieces, wait_s=0, heads="Transfer-Encoding: chunked").startswith(b"HTTP/1.1 413")


def test_an_upload_that_stops_is_let_go(small_door: Served) -> None:
    port = small_door(Limits(idle_s=0.3))
    began = time.monotonic()
    assert send_slowly(port, [b"x=a"], wait_s=0, heads="Content-Length: 1000").startswith(b"HTTP/1.1 408")
    assert time.monotonic() - began < 10


def test_an_upload_that_drips_is_let_go(small_door: Served) -> None:
    port = small_door(Limits(idle_s=5, grace_s=0.3, least_bytes_per_s=1000))
    found = send_slowly(port, [b"x"] * 12, wait_s=0.1, heads="Content-Length: 1000")
    assert found.startswith(b"HTTP/1.1 408")


# --- one desk, and its end ----------------------------------------------------------------------------------


def test_a_second_start_opens_a_page_of_the_first_and_its_property(
    begin: Begin, desk_command: list[str], desk_place: Path
) -> None:
    first = begin()
    done = subprocess.run(
        [*desk_command, "--place", str(desk_place), "desk", "--no-open"],
        env=environment(first.home), capture_output=True, text=True, timeout=PATIENCE_S, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    second = Running(process=first.process, home=first.home, address=done.stdout.strip())
    assert second.port == first.port
    assert re.search(r"/[0-9a-f]{10}/week\?key=", second.address)
    second.enter()
    assert "Sample property" in second.get("/").text or str(desk_place) in second.get("/").text


def test_a_first_that_was_killed_does_not_keep_a_second_from_starting(begin: Begin, tmp_path: Path) -> None:
    first = begin(home=tmp_path / "one")
    first.process.kill()
    first.process.wait()
    second = begin(home=tmp_path / "one")
    assert second.address != first.address
    assert second.enter().get("/").status == 200


def test_it_ends_when_it_is_closed_and_by_the_keyboard(begin: Begin, tmp_path: Path) -> None:
    desk = begin(home=tmp_path / "one").enter()
    assert "The desk is closed" in desk.post("/end").text
    assert desk.process.wait(timeout=PATIENCE_S) == 0
    assert not (tmp_path / "one" / "config" / "habmap" / "desk.json").exists()
    other = begin(home=tmp_path / "two").enter()
    page = http.client.HTTPConnection("127.0.0.1", other.port, timeout=PATIENCE_S)
    page.request("GET", "/alive", headers={"Cookie": other.jar})
    assert page.getresponse().read(1) == b"\n"  # a page that is open
    other.process.send_signal(signal.SIGINT)
    assert other.process.wait(timeout=PATIENCE_S) in (0, 130)
    assert other.process.stderr is not None
    assert other.process.stderr.read() == ""
    page.close()


def test_it_ends_a_minute_after_the_last_page_was_closed() -> None:
    now = 0.0
    presence = Presence(clock=lambda: now)
    now = 119.0
    assert not presence.is_over()  # a key lives for a minute: a page may still be opened by it, then a minute more
    presence.seen()
    presence.came()
    now = 5000.0
    assert not presence.is_over()
    presence.left()
    now = 5059.0
    assert not presence.is_over()
    now = 5060.5
    assert presence.is_over()
    presence.is_busy = lambda: True  # what somebody waits for is still made
    assert not presence.is_over()


def test_where_no_script_can_say_that_a_page_is_open_it_waits_longer() -> None:
    now = 0.0
    presence = Presence(clock=lambda: now)
    presence.is_scriptless = True
    now = 3000.0
    assert not presence.is_over()


def test_a_port_that_is_taken_is_told(begin: Begin, run_habmap: Any, tmp_path: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        done = run_habmap(
            "desk", "--no-open", "--port", port, cwd=tmp_path, env=environment(tmp_path), timeout_s=PATIENCE_S
        )
    assert done.code == 3
    assert "the desk cannot have this port" in done.err
