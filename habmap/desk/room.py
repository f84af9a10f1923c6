"""What a room of the desk is made of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from habmap.desk.asked import Answer


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """One screen of the desk.

    Attributes
    ----------
    name
        Its part of the address.
    title
        What people call it.
    show
        Answers when it is entered.
    parts
        Answers to what lies under it, by name: ``/…/papers/file`` is ``parts["file"]``.
    acts
        Answers to what is sent to it, by name.
    is_listed
        Whether it stands in the list at the top of each page.
    needs_property
        Whether it is of one property.
    needs_libraries
        Whether showing it needs the heavy libraries; until they are loaded a page says so and comes back by itself.
    """

    name: str
    title: str
    show: Answer
    parts: Mapping[str, Answer] = field(default_factory=dict)
    acts: Mapping[str, Answer] = field(default_factory=dict)
    is_listed: bool = True
    needs_property: bool = True
    needs_libraries: bool = True
