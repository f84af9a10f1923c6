"""Before any property is open: make one, open one, or try the sample."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Final

from starlette.exceptions import HTTPException
from starlette.responses import Response

from habmap.desk.asked import Asked, safe_name
from habmap.desk.pages import page
from habmap.desk.room import Room
from habmap.errors import HabmapError, UsageError

#: Of works that belong to no property yet; the one thing that they make.
_NO_PLACE, _FOLDER = "", "folder"
#: Signs of a property's name that a folder's name can have on every system.
_UNFIT: Final = re.compile(r"[^\w\- ]+", re.UNICODE)


#: Zones of the United States by the names that people have for them; offered before all others.
_US_ZONES: Final = {
    "America/New_York": "Eastern",
    "America/Chicago": "Central",
    "America/Denver": "Mountain",
    "America/Phoenix": "Mountain, no daylight time: Arizona",
    "America/Los_Angeles": "Pacific",
    "America/Anchorage": "Alaska",
    "Pacific/Honolulu": "Hawaii",
}


def show(asked: Asked, *, error: HabmapError | None = None) -> Response:
    """List the properties that may be opened, and offer a new one."""
    return page(
        asked,
        "doorstep.html.j2",
        error=error,
        known=asked.desk.known.all(),
        brought=asked.desk.known.brought(),
        zone=system_timezone(),
        zones=_zones(),
    )


def make(asked: Asked) -> Response:
    """Make a property in a folder of its own."""
    from habmap.jobs.start import start

    name = asked.text("name")
    try:
        if not name:
            raise UsageError("the property has no name yet", where="what you call the property", mend="give it one")
        folder = _free_folder(asked.desk.known.made_in, name)
        start(folder, name=name, now=asked.now, timezone=asked.text("timezone") or None)
    except HabmapError as error:
        return show(asked, error=error)
    asked.place = asked.desk.known.add(folder)
    return asked.goto("lead")


def take_in(asked: Asked) -> Response:
    """Open a property whose folder somebody put beside those made at the desk; no other folder can be named."""
    from habmap.place.store import GeoPackageStore

    found = next((one for one in asked.desk.known.brought() if one.key == asked.text("folder")), None)
    if found is None:
        raise HTTPException(404, "There is no such property beside those made at the desk.")
    try:
        GeoPackageStore.open(found.folder)
    except HabmapError as error:
        return show(asked, error=error)
    return replace(asked, place=asked.desk.known.add(found.folder)).goto(asked.desk.first_room)


def sample(asked: Asked) -> Response:
    """Begin to build the invented sample property."""
    made_in = asked.desk.known.made_in
    folder = _free_folder(made_in, "Sample property")
    made_in.mkdir(parents=True, exist_ok=True)
    work = asked.desk.works.begin(
        ["demo", str(folder), "--json"],
        folder=made_in,
        place=_NO_PLACE,
        title="The sample property",
        room="start",
        files={_FOLDER: folder},
    )
    return asked.goto("start", "making", id=work.key)


def making(asked: Asked) -> Response:
    """Wait for the sample, then enter it."""
    work = asked.desk.works.find(asked.text("id"), _NO_PLACE)
    if work is None:
        raise HTTPException(404, "There is no such work at the desk.")
    if not work.is_over:
        return page(asked, "waiting.html.j2", words="The sample property is being made.", work=work)
    if work.error is not None:
        raise work.error
    place = asked.desk.known.add(work.files[_FOLDER])
    return replace(asked, place=place).goto(asked.desk.first_room)


def system_timezone() -> str:
    """Return this computer's time zone by its IANA name; empty where it does not tell."""
    import tzlocal

    return str(tzlocal.get_localzone_name() or "")


@cache
def _zones() -> tuple[tuple[str, str], ...]:
    """Return the zones that are named after a place, those of the United States first."""
    from zoneinfo import available_timezones

    places = sorted(name for name in available_timezones() if re.match(r"(?!Etc|SystemV|US)[A-Z][A-Za-z]+/", name))
    return (*_US_ZONES.items(), *((name, "") for name in places if name not in _US_ZONES))


def _free_folder(within: Path, name: str) -> Path:
    """Return a folder that is not there yet, named after the property."""
    stem = safe_name(_UNFIT.sub(" ", name).strip()[:60])
    number = 1
    while (folder := within / (stem if number == 1 else f"{stem} {number}")).exists():
        number += 1
    return folder


ROOM: Final = Room(
    name="start",
    title="Your properties",
    show=show,
    parts={"making": making},
    acts={"make": make, "open": take_in, "sample": sample},
    needs_property=False,
    needs_libraries=False,
)
