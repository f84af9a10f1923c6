"""One request as a room sees it: the property, what the form says, the files that came, and how to answer."""

from __future__ import annotations

import re
import shutil
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import urlencode

from starlette.responses import RedirectResponse, Response

from habmap.api import this_moment, today_at
from habmap.desk.door import Keys
from habmap.desk.known import Known, Property
from habmap.desk.long_work import Work, Works
from habmap.desk.warm import Warmth
from habmap.errors import UsageError

if TYPE_CHECKING:
    from habmap.jobs.ports import Store

#: What may stand in a file's name; all else becomes a dash.
_NAME: Final = re.compile(r"[^\w.\- ]+", re.UNICODE)
_LONGEST_NAME: Final = 100
#: Names that are devices to Windows, whatever their ending.
_DEVICES: Final = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\.|$)", re.IGNORECASE)


class TheDesk:
    """What rooms and pages have of the desk itself; `habmap.desk.app.Desk` is one that serves them.

    Attributes
    ----------
    first_room
        Name of the room where a property is entered.
    listed_rooms
        Rooms of a property in the order of the list at the top of each page.
    drafts
        What was filled in and is not saved yet (`habmap.desk.drafts.Drafts`).
    """

    drafts: Any

    def __init__(self, *, known: Known, keys: Keys, in_order: Sequence[Any], first_room: str) -> None:
        self.known, self.keys, self.first_room = known, keys, first_room
        self.shelf = Path(tempfile.mkdtemp(prefix="habmap-desk-"))
        self.warmth, self.works = Warmth(), Works()
        self.rooms = {room.name: room for room in in_order}
        self.listed_rooms = tuple(room for room in in_order if room.needs_property and room.is_listed)

    def new_folder(self) -> Path:
        """Return an empty folder where only the desk looks, until it ends."""
        return Path(tempfile.mkdtemp(dir=self.shelf))

    def title_of(self, room: str) -> str:
        """Return what people call a room."""
        return str(self.rooms[room].title)


@dataclass(frozen=True, slots=True)
class Brought:
    """A file that came with a form, put where only the desk looks, under a name without any path."""

    name: str
    path: Path


@dataclass(slots=True, kw_only=True)
class Asked:
    """What is asked of a room.

    Attributes
    ----------
    desk
        The desk.
    room
        Name of the room.
    place
        The property; ``None`` where none is open.
    said
        What the form or the address says: name → values.
    files
        Files by the name of their field.
    """

    desk: TheDesk
    room: str
    place: Property | None
    said: Mapping[str, Sequence[str]] = field(default_factory=dict)
    files: Mapping[str, Sequence[Brought]] = field(default_factory=dict)

    @property
    def store(self) -> Store:
        """The property's rows, as they are now."""
        store: Store = self.at.store()
        return store

    @property
    def at(self) -> Property:
        """The property, in rooms that need one: these are asked with one only."""
        assert self.place is not None
        return self.place

    @property
    def now(self) -> datetime:
        """The present moment, UTC."""
        return this_moment()

    @property
    def today(self) -> date:
        """The local civil day at the property."""
        return today_at(self.store)

    def text(self, name: str) -> str:
        """Return what a field says, without the blanks around it; empty where it says nothing."""
        values = self.said.get(name) or ("",)
        return values[-1].strip()

    def texts(self, name: str) -> tuple[str, ...]:
        """Return everything that a field says which may say several things."""
        return tuple(one.strip() for one in self.said.get(name, ()) if one.strip())

    def has(self, name: str) -> bool:
        """Tell whether a box was ticked or a button pressed."""
        return bool(self.text(name))

    def day(self, name: str, words: str) -> date | None:
        """Return a day; ``None`` where none was given.

        Raises
        ------
        UsageError
            It is no day.
        """
        text = self.text(name)
        if not text:
            return None
        try:
            return date.fromisoformat(text)
        except ValueError:
            raise UsageError(
                "this is not a day",
                where=words,
                value=text,
                allowed="a day that exists, such as 2026-03-14",
                mend="write it like 2026-03-14",
            ) from None

    def number(self, name: str, words: str) -> float | None:
        """Return a number; ``None`` where none was given.

        Raises
        ------
        UsageError
            It is no number.
        """
        return number_of(self.text(name), words)

    def paths(self, name: str) -> tuple[Path, ...]:
        """Return where the files of a field lie."""
        return tuple(one.path for one in self.files.get(name, ()))

    def file(self, name: str, words: str) -> Path:
        """Return where the one file of a field lies.

        Raises
        ------
        UsageError
            None came.
        """
        found = self.paths(name)
        if not found:
            raise UsageError(f"no file came for {words}", where=words, mend="choose a file, or drop one on its field")
        return found[0]

    def in_one_folder(self, name: str) -> tuple[Path, tuple[str, ...]]:
        """Put the files of a field into a folder of their own; return it, and what they are called there."""
        folder, names = self.desk.new_folder(), []
        for number, one in enumerate(self.files.get(name, ())):
            names.append(f"{number}-{one.name}" if (folder / one.name).exists() else one.name)
            shutil.move(one.path, folder / names[-1])
        return folder, tuple(names)

    # --- answers -------------------------------------------------------------------------------------------

    def address(self, room: str = "", more: str = "", **query: str) -> str:
        """Return the address of a room of this property, or of the desk itself."""
        path = "/".join(part for part in (self.place.key if self.place else "", room or self.room, more) if part)
        return f"/{path}" + (f"?{urlencode(query)}" if query else "")

    def runs(
        self, words: Sequence[str], *, title: str, room: str = "", files: Mapping[str, Path] | None = None, **more: Any
    ) -> Work:
        """Begin a command on this property for a room, unless another is named for this one; see `Works.begin`."""
        at = self.at
        work: Work = self.desk.works.begin(
            words, folder=at.folder, place=at.key, title=title, room=room or self.room, files=dict(files or {}), **more
        )
        return work

    def goto(self, room: str = "", more: str = "", **query: str) -> Response:
        """Send the browser to a room after something was written: reloading it writes nothing again."""
        return RedirectResponse(self.address(room, more, **query), status_code=303)


#: What answers a request, in a thread of its own.
Answer = Callable[[Asked], Response]


def number_of(text: str, words: str) -> float | None:
    """Return what a person wrote as a number; blank is ``None``.

    Raises
    ------
    UsageError
        It is no number.
    """
    plain = text.strip().replace(",", "")
    if not plain:
        return None
    try:
        return float(plain)
    except ValueError:
        raise UsageError(
            "this is not a number", where=words, value=text, allowed="digits, such as 2.5", mend="write it in digits"
        ) from None


def safe_name(name: str) -> str:
    """Return the last part of a file's name, of signs that no system takes for a path; its ending stays.

    What a browser sends as a name is any text: ``../../x``, ``C:\\x``, ``con``, or a thousand letters.
    """
    last = _NAME.sub("-", re.split(r"[\\/]", name)[-1]).strip(" .")
    last = f"file-{last}" if _DEVICES.match(last) else last
    stem, dot, ending = last.rpartition(".")
    stem, ending = (stem, dot + ending[:20]) if dot and stem else (last, "")
    return f"{stem[: _LONGEST_NAME - len(ending)] or 'file'}{ending}"


def keep(folder: Path, name: str, content: Any) -> Brought:
    """Put a file that came into an empty folder."""
    path = folder / safe_name(name)
    with path.open("xb") as target:
        shutil.copyfileobj(content, target)
    return Brought(name=path.name, path=path)
