"""Dated items as an iCalendar file (RFC 5545) that a second import updates instead of doubling."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time

from habmap.measures import days_after


@dataclass(frozen=True, slots=True, kw_only=True)
class CalendarDay:
    """One all-day event; ``key`` makes its identity and must stay the same while the event is the same."""

    key: str
    summary: str
    description: str
    first: date
    last: date


def calendar_bytes(days: Sequence[CalendarDay], *, name: str, place_id: str, stamp: date) -> bytes:
    """Return a calendar of all-day events.

    Notes
    -----
    The UID of an event is the UUIDv5 of the place and the event's key (RFC 5545, 3.8.4.7: globally unique and
    persistent), so that loading a newer file replaces what an older one brought.
    """
    import uuid

    from icalendar import Calendar, Event

    calendar = Calendar()
    calendar.add("prodid", "-//habmap//due//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", name)
    for day in days:
        event = Event()
        event.add("uid", f"{uuid.uuid5(uuid.UUID(place_id), day.key)}@habmap")
        event.add("dtstamp", datetime.combine(stamp, time(), UTC))
        event.add("dtstart", day.first)
        event.add("dtend", days_after(day.last, 1))  # the end of an all-day event is the day after its last
        event.add("summary", day.summary)
        event.add("description", day.description)
        event.add("sequence", stamp.toordinal())  # a later export counts as the newer one
        event.add("transp", "TRANSPARENT")
        calendar.add_component(event)
    return bytes(calendar.to_ical())
