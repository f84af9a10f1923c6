"""A desk that runs in a process of its own, and a client that speaks to it as a browser, or an attacker, would."""

from __future__ import annotations

import html
import http.client
import os
import re
import signal
import subprocess
import time
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlencode, urlsplit

#: A busy machine takes long to start a process [s].
PATIENCE_S = 60.0


#: Every room, and the states of a room that have an address; lines 2 and 3 are there in the sample.
ROOMS = (
    "week", "map", "log", "log?practice=cut", "log?practice=burn", "log?practice=checkup", "units", "burn", "season",
    "season?hours=20", "grown", "papers", "history", "history/void?line=3", "history/correct?line=3", "load",
    "load?kind=units", "load?kind=photos", "settings", "settings/block?block=hold",
    "settings/block?block=burn_plan.grass", "check", "manual", "lead", "seen", "seen?kind=sightings",
    "seen?kind=cover", "seen?kind=plots", "seen?kind=plots&method=quarter", "seen?kind=photos",
    "map?line=2", "map?spot=sightings",
)  # fmt: skip


@dataclass
class Answer:
    """What came back."""

    status: int
    heads: Mapping[str, str]
    text: str


@dataclass
class Running:
    """A desk: where it is, and how a person's own browser gets in."""

    process: subprocess.Popen[str]
    home: Path
    address: str
    jar: str = ""
    token: str = ""
    extra: dict[str, Any] = field(default_factory=dict)

    @property
    def port(self) -> int:
        return int(urlsplit(self.address).port or 0)

    @property
    def origin(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def key(self) -> str:
        """The part of the address that is the property's whose desk was asked for; others are known by now, perhaps."""
        return urlsplit(self.address).path.split("/")[1]

    def raw(
        self, method: str, path: str, *, body: bytes | None = None, heads: Mapping[str, str | None] | None = None
    ) -> Answer:
        """Send one request with nothing but what is given; a head of ``None`` is left out."""
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)
        given = {"Host": f"127.0.0.1:{self.port}", **(heads or {})}
        line.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        for name, value in given.items():
            if value is not None:
                line.putheader(name, value)
        if body is not None and "Transfer-Encoding" not in given and "Content-Length" not in given:
            line.putheader("Content-Length", str(len(body)))
        line.endheaders(body)
        answer = line.getresponse()
        found = Answer(answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read().decode())
        line.close()
        return found

    def enter(self) -> Running:
        """Come in by the key, as the browser that the desk opens does."""
        parts = urlsplit(self.address)
        answer = self.raw("GET", f"{parts.path}?{parts.query}")
        assert answer.status == 303, answer
        self.jar = answer.heads["set-cookie"].partition(";")[0]
        self.token = re.findall(r'name="token" value="([^"]+)"', self.get("/").text)[0]
        return self

    def get(self, path: str, **heads: str) -> Answer:
        """Ask for a page, and wait until the libraries are loaded."""
        deadline = time.monotonic() + PATIENCE_S
        while True:
            answer = self.raw("GET", path, heads={"Cookie": self.jar, **heads})
            is_page = answer.heads.get("content-type", "").startswith("text/html")
            if not is_page or "data-waiting" not in answer.text or time.monotonic() > deadline:
                return answer
            time.sleep(0.2)

    def post(
        self,
        path: str,
        said: Mapping[str, str | list[str]] | None = None,
        *,
        files: Mapping[str, tuple[str, bytes]] | None = None,
        heads: Mapping[str, str | None] | None = None,
    ) -> Answer:
        """Send a form of the desk's own pages; ``heads`` and ``said`` may falsify any part of it."""
        values: dict[str, str | list[str]] = {"token": self.token, "once": uuid.uuid4().hex, **(said or {})}
        given: dict[str, str | None] = {"Cookie": self.jar, "Origin": self.origin}
        if files:
            mark = uuid.uuid4().hex
            parts = [
                f'--{mark}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
                for name, value in values.items()
            ]
            for name, (file_name, content) in files.items():
                head = f'--{mark}\r\nContent-Disposition: form-data; name="{name}"; filename="{file_name}"\r\n\r\n'
                parts.append(head.encode() + content + b"\r\n")
            body = b"".join(parts) + f"--{mark}--\r\n".encode()
            given["Content-Type"] = f"multipart/form-data; boundary={mark}"
        else:
            body = urlencode(values, doseq=True).encode()
            given["Content-Type"] = "application/x-www-form-urlencoded"
        return self.raw("POST", path, body=body, heads={**given, **(heads or {})})

    def stop(self) -> None:
        """End the process as Ctrl-C does."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            try:
                self.process.wait(timeout=20)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
        for stream in (self.process.stdout, self.process.stderr):
            if stream is not None:
                stream.close()


def words_of(answer: Answer) -> str:
    """Return what a page says, without its markup."""
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]*>", " ", answer.text)))


def hidden(answer: Answer, name: str) -> str:
    """Return a hidden field of a page's form."""
    found = re.findall(rf'name="{name}" value="([^"]+)"', answer.text)
    return str(found[-1])


def done(desk: Running, answer: Answer) -> Answer:
    """Wait until a long work is over."""
    assert answer.status == 303, words_of(answer)
    deadline = time.monotonic() + PATIENCE_S
    while True:
        page = desk.get(answer.heads["location"])
        if "data-work=" not in page.text or time.monotonic() > deadline:
            return page
        time.sleep(0.2)


def start_desk(command: list[str], home: Path, *words: str, place: Path | None = None) -> Running:
    """Start ``habmap desk`` in a home folder of its own, and return it once it has said where it is."""
    home.mkdir(parents=True, exist_ok=True)
    process = subprocess.Popen(
        [*command, *(["--place", str(place)] if place else []), "desk", "--no-open", *words],
        env=environment(home),
        cwd=home,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
    )
    assert process.stdout is not None
    line = process.stdout.readline().strip()
    if not line:
        assert process.stderr is not None
        raise AssertionError(process.stderr.read())
    return Running(process=process, home=home, address=line)


def environment(home: Path) -> dict[str, str]:
    """Return an environment in which the desk's own folder, and properties made at it, lie under a folder."""
    return {**os.environ, "HOME": str(home), "XDG_CONFIG_HOME": str(home / "config"), "PYTHONUTF8": "1"}
