"""Start the desk, or open another page of the one that runs already; end it when nobody is at it any more."""

from __future__ import annotations

import http.client
import json
import os
import signal
import socket
import sys
import threading
import time
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import IO, Any, Final

from habmap.desk.door import AGAIN_PATH, KEY_LIFE_S, Door, Keys
from habmap.desk.known import Known, write_private
from habmap.errors import HabmapError, PlaceError

#: A desk that nobody looks at ends after so long [s].
EMPTY_S: Final = 60.0
#: The same where a browser runs no scripts and cannot say that its page is open [s].
QUIET_S: Final = 3600.0
#: How long a second start waits for the first to say where it is [s].
_PATIENCE_S: Final = 10.0
_LOCK, _WHERE = "desk.lock", "desk.json"


class Presence:
    """Who is at the desk: pages that hold a line open, and the last time that anybody asked for anything."""

    def __init__(self, *, empty_s: float = EMPTY_S, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock, self._empty_s = clock, empty_s
        self._seen = clock() + KEY_LIFE_S
        self._pages = 0
        self.is_scriptless = False
        self.is_busy: Callable[[], bool] = lambda: False

    def seen(self) -> None:
        """Somebody asked for something."""
        self._seen = max(self._seen, self._clock())

    def came(self) -> None:
        """A page says that it is open."""
        self._pages += 1
        self._seen = self._clock()

    def left(self) -> None:
        """A page was closed."""
        self._pages -= 1
        self._seen = self._clock()

    def is_over(self) -> bool:
        """Tell whether nobody was there for long enough."""
        wait_s = QUIET_S if self.is_scriptless else self._empty_s
        return self._pages <= 0 and not self.is_busy() and self._clock() - self._seen > wait_s


def run_desk(
    *,
    home: Path,
    made_in: Path,
    folder: Path | None,
    port: int,
    is_opening: bool,
    tell: Callable[[str], None],
    empty_s: float = EMPTY_S,
) -> None:
    """Serve the desk until it ends; where one runs already, open a page of that and return.

    Parameters
    ----------
    home
        The desk's own folder, which this user alone can read.
    made_in
        Where properties that are made at the desk get their folders.
    folder
        A property to open; ``None``: the list of those that are known.
    port
        Port on the loopback address; 0 takes a free one.
    is_opening
        Whether to open the browser.
    tell
        Told the one line with the address.

    Raises
    ------
    PlaceError
        The folder is no property, or the port is taken.
    """
    home.mkdir(parents=True, exist_ok=True, mode=0o700)
    with (home / _LOCK).open("a+") as lock:
        if not _locked(lock):
            address = _again(home, folder)
            tell(address)
            _open(address, is_opening)
            return
        import uvicorn

        from habmap.desk.app import Desk

        known = Known(home, made_in)
        opened = None if folder is None else known.add(folder)
        listening = _listening(port)
        keys, presence = Keys(), Presence(empty_s=empty_s)
        desk = Desk(known=known, keys=keys, presence=presence)
        presence.is_busy = desk.is_busy

        def again(named: str | None) -> str:
            presence.seen()
            return desk.first_path(None if named is None else known.add(Path(named)))

        port = listening.getsockname()[1]
        door = Door(app=desk.app, port=port, keys=keys, again=again, on_request=desk.on_request)
        desk.origin = door.origin
        server = uvicorn.Server(
            uvicorn.Config(
                door,
                lifespan="off",
                ws="none",
                http="h11",
                loop="asyncio",
                log_level="error",
                access_log=False,
                proxy_headers=False,
                server_header=False,
                timeout_graceful_shutdown=3,
            )
        )

        def end() -> None:
            server.should_exit = True

        desk.end, desk.is_ending = end, lambda: server.should_exit
        write_private(home / _WHERE, json.dumps({"pid": os.getpid(), "port": port, "control": keys.control}))
        address = door.address(desk.first_path(opened))
        tell(address)
        _open(address, is_opening)
        desk.warmth.begin()
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))  # uvicorn raises it again once it has let go of its lines
        threading.Thread(target=_end_when_over, args=(presence, end), daemon=True).start()
        try:
            server.run(sockets=[listening])
        except KeyboardInterrupt:
            pass
        finally:
            (home / _WHERE).unlink(missing_ok=True)
            desk.close()


def _end_when_over(presence: Presence, end: Callable[[], None]) -> None:
    while not presence.is_over():
        time.sleep(0.25)
    end()


def _listening(port: int) -> socket.socket:
    """Return a socket on the loopback address alone."""
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if os.name != "nt":  # there it would let another program listen on the same port
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    elif hasattr(socket, "SO_EXCLUSIVEADDRUSE"):
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
    try:
        listening.bind(("127.0.0.1", port))
    except (OSError, OverflowError) as error:
        listening.close()
        raise PlaceError(
            "the desk cannot have this port", where="--port", value=port, mend="leave --port out, or choose another"
        ) from error
    listening.listen(128)
    return listening


def _again(home: Path, folder: Path | None) -> str:
    """Ask the desk that runs for a key of its own, and return the address."""
    deadline = time.monotonic() + _PATIENCE_S
    while True:
        try:
            where = json.loads((home / _WHERE).read_text(encoding="utf-8"))
            line = http.client.HTTPConnection("127.0.0.1", int(where["port"]), timeout=_PATIENCE_S)
            body = json.dumps({"folder": None if folder is None else str(folder.resolve())})
            line.request("POST", AGAIN_PATH, body=body, headers={"Authorization": f"Bearer {where['control']}"})
            answer = line.getresponse()
            words = answer.read().decode()
            if answer.status == 200:
                return words.strip()
            raise HabmapError(
                "the desk that runs already did not open another page",
                value=words.strip(),
                where="the desk",
                mend="close it with Ctrl-C where it was started, and start it again",
            )
        except (OSError, ValueError, KeyError, http.client.HTTPException) as error:
            if time.monotonic() > deadline:
                raise PlaceError(
                    "a desk runs already and does not answer",
                    where=str(home),
                    value=error,
                    mend="end it (close its pages and wait a minute, or end its process), and start again",
                ) from error
            time.sleep(0.1)


def _open(address: str, is_opening: bool) -> None:
    if is_opening:
        webbrowser.open(address)


def _locked(file: IO[Any]) -> bool:
    """Lock a file for as long as this process lives; tell whether it could be."""
    try:
        if sys.platform == "win32":
            import msvcrt

            file.seek(0)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
