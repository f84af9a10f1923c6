"""Settings: every key of the property's file with its comment, or the file itself."""

from __future__ import annotations

from itertools import groupby
from typing import Final

from starlette.responses import Response

from habmap.desk.asked import Asked
from habmap.desk.forms import Field
from habmap.desk.pages import page
from habmap.desk.room import Room
from habmap.errors import HabmapError

#: Before the names of keys, so that they are no other field's.
_KEY: Final = "key."


def show(asked: Asked, *, error: HabmapError | None = None) -> Response:
    """Show the settings that are in force, and the file."""
    from habmap.jobs.settings_edit import see_settings

    found = see_settings(asked.at.folder)
    sections = [
        (
            section,
            [
                Field(name=f"{_KEY}{one.name}", label=one.key.replace("_", " "), help=one.comment, value=one.written)
                for one in settings
            ],
        )
        for section, settings in groupby(found.settings, key=lambda one: one.section)
    ]
    return page(
        asked,
        "settings.html.j2",
        status=422 if error else 200,
        error=error,
        sections=sections,
        seen=found.digest,
        text=Field(
            name="text",
            label="the file, with what is not in force yet behind #",
            kind="long",
            rows=24,
            value=found.text,
        ),
        done=asked.text("done"),
    )


def change(asked: Asked) -> Response:
    """Write single values."""
    from habmap.jobs.settings_edit import change_settings

    values = {name.removeprefix(_KEY): asked.text(name) for name in asked.said if name.startswith(_KEY)}
    try:
        names = change_settings(asked.at.folder, values, seen=asked.text("seen"))
    except HabmapError as error:
        return show(asked, error=error)
    return asked.goto("settings", done=", ".join(names) or "nothing was changed")


def replace(asked: Asked) -> Response:
    """Write the whole file."""
    from habmap.jobs.settings_edit import replace_settings

    try:
        replace_settings(asked.at.folder, (asked.said.get("text") or ("",))[-1], seen=asked.text("seen"))
    except HabmapError as error:
        return show(asked, error=error)
    return asked.goto("settings", done="the file")


ROOM: Final = Room(name="settings", title="Settings", show=show, acts={"change": change, "replace": replace})
