"""The desk in this process, spoken to past the network: its forms as its own pages show them, filled in and sent."""

from __future__ import annotations

import asyncio
import html
import re
import tempfile
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlencode, urlsplit

from soak.law import Answer, Fault

_PORT = 8080
_ROOMS = (
    "week", "log?practice=cut", "log?practice=burn", "log?practice=checkup", "log?practice=keep", "units", "burn", "season",
    "grown", "papers", "history", "history/void?line=3", "history/correct?line=3", "load", "load?kind=units", "load?kind=plots",
    "load?kind=entries", "load?kind=features", "load?kind=photos", "load?kind=dem", "load?kind=forecast", "settings", "check",
)  # fmt: skip


@dataclass(slots=True)
class Field:
    """One field of a form: its name, its kind, what it may say, and what it says at first."""

    name: str
    kind: str
    choices: list[str] = field(default_factory=list)
    value: str = ""


@dataclass(slots=True)
class Form:
    """One form of a page."""

    action: str
    fields: list[Field] = field(default_factory=list)


class _Forms(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.forms: list[Form] = []
        self._form: Form | None = None
        self._select: Field | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = {name: value or "" for name, value in attrs}
        if tag == "form" and said.get("method", "").lower() == "post":
            self._form = Form(said.get("action", ""))
            self.forms.append(self._form)
        if self._form is None:
            return
        if tag == "option" and self._select is not None:
            self._select.choices.append(said.get("value", ""))
        if tag in ("input", "select", "textarea", "button") and said.get("name") not in (None, "", "token", "once"):
            kind = said.get("type", "text") if tag == "input" else tag
            one = next((old for old in self._form.fields if old.name == said["name"]), None)
            if one is None:
                one = Field(said["name"], kind, value=said.get("value", ""))
                self._form.fields.append(one)
            if kind in ("radio", "checkbox", "button") and said.get("value"):
                one.choices.append(said["value"])
            self._select = one if tag == "select" else None

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._form = None
        if tag == "select":
            self._select = None


class _NoWorks:
    """Takes what would be a command in a process of its own, and starts nothing: commands are tried as commands."""

    def __init__(self) -> None:
        self.asked: list[Sequence[str]] = []

    def begin(self, arguments: Sequence[str], **more: Any) -> Any:
        self.asked.append(tuple(arguments))
        return type("Work", (), {"key": "none"})()

    def find(self, key: str, place: str) -> None:
        return None

    def is_busy(self) -> bool:
        return False

    def close(self) -> None:
        return None


class TestDesk:
    """A desk on one property, or before any is open, entered."""

    def __init__(self, place: Path | None, *, made_in: Path | None = None) -> None:
        from habmap.desk.app import Desk
        from habmap.desk.door import Door, Keys
        from habmap.desk.known import Known
        from habmap.desk.start import Presence

        home = Path(tempfile.mkdtemp(prefix="habmap-desk-home-"))
        known = Known(home, made_in or home / "made")
        self._keys = Keys()
        self._desk = Desk(known=known, keys=self._keys, presence=Presence())
        self._desk.works = _NoWorks()  # type: ignore[assignment]
        self._desk.warmth.begin()
        self._property = known.add(place) if place is not None else None
        self._door = Door(app=self._desk.app, port=_PORT, keys=self._keys, again=lambda folder: "/")
        self._desk.origin = self._door.origin
        while not self._desk.warmth.is_warm:
            import time

            time.sleep(0.02)

    @property
    def key(self) -> str:
        """What the property is called in addresses."""
        return self._property.key if self._property is not None else ""

    def step(self, path: str, fields: Mapping[str, str | None], before: Answer) -> Answer:
        """Look at a page (``GET …``), or send a form; a field of ``None`` is the hidden one of the page before."""
        if path.startswith("GET "):
            return self.get(path[4:])
        hidden = dict(re.findall(r'name="(\w+)" value="([^"]*)"', before.out))
        hidden |= dict(parse_qsl(urlsplit(before.out).query)) if before.code == 303 else {}
        said = [(name, hidden.get(name, "") if value is None else value) for name, value in fields.items()]
        return self.send(path if path.startswith("/") else f"/KEY/{path}", said, [])

    def get(self, path: str) -> Answer:
        """Ask for a page of the property until it is there."""
        for _ in range(200):
            answer = self._request("GET", f"/{self.key}/{path}", b"", "")
            if "data-waiting" not in answer.out:
                break
        return answer

    def send(self, action: str, fields: Sequence[tuple[str, str]], files: Sequence[tuple[str, str, bytes]]) -> Answer:
        """Send a form; in ``action`` stands ``KEY`` for the property's key."""
        path = action.replace("KEY", self.key)
        said = [("token", self._keys.token), ("once", uuid.uuid4().hex), *fields]
        if not files:
            body = urlencode([(name, value.encode("utf-8", "surrogatepass")) for name, value in said]).encode()
            return self._request("POST", path, body, "application/x-www-form-urlencoded")
        mark = uuid.uuid4().hex
        parts = [
            f'--{mark}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n'.encode() + value.encode("utf-8", "surrogatepass") + b"\r\n"
            for name, value in said
        ]  # fmt: skip
        for name, file_name, content in files:
            head = f'--{mark}\r\nContent-Disposition: form-data; name="{name}"; filename="{file_name}"\r\n\r\n'
            parts.append(head.encode() + content + b"\r\n")
        body = b"".join(parts) + f"--{mark}--\r\n".encode()
        return self._request("POST", path, body, f"multipart/form-data; boundary={mark}")

    def _request(self, method: str, path: str, body: bytes, kind: str) -> Answer:
        bare, _, query = path.partition("?")
        heads = {
            "host": f"127.0.0.1:{_PORT}", "cookie": f"{self._door.cookie}={self._keys.session}", "origin": self._door.origin,
            "content-length": str(len(body)), **({"content-type": kind} if kind else {}),
        }  # fmt: skip
        scope = {
            "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method, "scheme": "http", "path": bare,
            "raw_path": bare.encode("utf-8", "replace"), "query_string": query.encode(), "root_path": "",
            "headers": [(name.encode(), value.encode("latin-1")) for name, value in heads.items()],
            "client": ("127.0.0.1", 1), "server": ("127.0.0.1", _PORT),
        }  # fmt: skip
        status, pieces = 0, []

        async def receive() -> dict[str, Any]:
            return {"type": "http.request", "body": body, "more_body": False}

        async def send(message: dict[str, Any]) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                pieces.extend(value for name, value in message["headers"] if name == b"location")
            else:
                pieces.append(message.get("body", b""))

        words = ""
        try:
            asyncio.run(self._door(scope, receive, send))  # type: ignore[arg-type]
        except Exception:  # what the server itself would log
            import traceback

            words = traceback.format_exc()
        return Answer(status, b"".join(pieces).decode("utf-8", "replace"), words)


def forms_of(template: Path) -> tuple[Form, ...]:
    """Return the forms of all rooms of a property, each once, its key written as ``KEY``.

    In a process of its own: a desk has threads, and what is forked afterwards must have none.
    """
    import json
    import os

    hear, tell = os.pipe()
    process = os.fork()
    if process == 0:
        try:
            desk = TestDesk(template)
            found: dict[str, Form] = {}
            for room in _ROOMS:
                parser = _Forms()
                parser.feed(desk.get(room).out)
                for form in parser.forms:
                    if form.action in ("/end", ""):
                        continue
                    form.action = form.action.replace(desk.key, "KEY")
                    found[f"{form.action} {' '.join(one.name for one in form.fields)}"] = form
            told = [
                [form.action, [[one.name, one.kind, one.choices, one.value] for one in form.fields]]
                for form in found.values()
            ]
            with os.fdopen(tell, "w") as stream:
                json.dump(told, stream)
        finally:
            os._exit(0)
    os.close(tell)
    with os.fdopen(hear) as stream:
        text = stream.read()
    os.waitpid(process, 0)
    return tuple(Form(action, [Field(*one) for one in fields]) for action, fields in json.loads(text))


def judge_form(answer: Answer, before: Mapping[str, bytes], after: Mapping[str, bytes]) -> Fault | None:
    """Say which law an answer of the desk broke, if any."""
    if answer.err or answer.code >= 500 or answer.code == 0:
        last = answer.err.strip().splitlines()[-1:] or [answer.out[:200]]
        return Fault(
            f"desk: {answer.code} {re.sub(r'[0-9]+', '#', last[0])[:100]}", answer.err[-3000:] or answer.out[:500]
        )
    if answer.code >= 400:
        changed = [
            name
            for name in {*before, *after}
            if name.startswith("place/") and before.get(name) != after.get(name) and not name.endswith("/")
        ]
        if changed:
            return Fault(f"desk: changed on refusal: {sorted(changed)[0]}", answer.out[:3000])
    if answer.code == 422:
        text = html.unescape(answer.out)
        if "data-fault" not in text and 'class="fault' not in text and 'role="alert"' not in text:
            return Fault("desk: refused without a word", text[:3000])
    return None
