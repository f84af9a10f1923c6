"""What was filled in and brought, before it is saved: kept at the desk, so that a look at it loses nothing."""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from habmap.desk.asked import Asked, Brought
from habmap.errors import HabmapError, InputError

#: Of more than these the oldest are let go.
_MOST: Final = 200
#: Fields of every form that say nothing of what is saved.
_NOT_KEPT: Final = frozenset({"token", "once", "draft"})


@dataclass(frozen=True, slots=True)
class Draft:
    """One form as it was last sent: of which property and room, its words and its files."""

    key: str
    place: str
    room: str
    said: Mapping[str, Sequence[str]] = field(default_factory=dict)
    files: Mapping[str, Sequence[Brought]] = field(default_factory=dict)


class Drafts:
    """All drafts of one run of the desk."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kept: OrderedDict[str, Draft] = OrderedDict()

    def keep(self, asked: Asked) -> Draft:
        """Keep what a form says and brought; files of the draft that it was begun from stay where none came anew."""
        before = self.find(asked, asked.text("draft"))
        files = {**(before.files if before else {}), **asked.files}
        if asked.has("no_files"):
            files = dict(asked.files)
        draft = Draft(
            key=secrets.token_urlsafe(12),  # another each time: what was saved under one key is not saved anew
            place=asked.at.key,
            room=asked.room,
            said={name: tuple(values) for name, values in asked.said.items() if name not in _NOT_KEPT},
            files=files,
        )
        with self._lock:
            self._kept[draft.key] = draft
            self._kept.move_to_end(draft.key)
            while len(self._kept) > _MOST:
                self._kept.popitem(last=False)
        return draft

    def find(self, asked: Asked, key: str) -> Draft | None:
        """Return a draft of this property."""
        draft = self._kept.get(key)
        return draft if draft is not None and draft.place == asked.at.key else None

    def begun(self, asked: Asked, error: HabmapError | None) -> tuple[Asked, Draft | None]:
        """Return the draft that a form is begun from, and what is asked with its words; after a fault those stand."""
        draft = self.find(asked, asked.text("draft"))
        if draft is None or error is not None:
            return asked, draft
        return replace(asked, said={**draft.said, **asked.said}, files=draft.files), draft

    def looked_at(self, asked: Asked) -> tuple[Asked, Draft]:
        """Keep what a form says while it is looked at; return what is asked, now from that draft."""
        draft = self.keep(asked)
        return replace(asked, said={**asked.said, "draft": (draft.key,)}, files=draft.files), draft

    def taken_up(self, asked: Asked) -> Asked:
        """Return what is asked with the words and files of the draft that it names, and a yes that was said since.

        Raises
        ------
        InputError
            The desk was started anew since, and knows it no more.
        """
        draft = self.find(asked, asked.text("draft"))
        if draft is None:
            raise InputError(
                "this was filled in at a desk that has ended since; nothing was written",
                mend="fill it in once more",
                where="the desk",
            )
        since = _NOT_KEPT | ({"yes"} if asked.has("yes") else set())
        said = {**draft.said, **{name: values for name, values in asked.said.items() if name in since}}
        return replace(asked, said=said, files=draft.files)
