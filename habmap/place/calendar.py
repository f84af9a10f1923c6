"""Dated things as an iCalendar file (RFC 5545) that a second import updates instead of doubling."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, time

from habmap.measures import days_after
from habmap.work.calendar_day import CalendarDay


def calendar_bytes(days: Sequence[CalendarDay], *, name: str, place_id: str, stamp: date) -> bytes:
    """Return a calendar of all-day events of one day each, with their alarms.

    Parameters
    ----------
    name
        What the calendar is called.
    place_id
        UUID of the property.
    stamp
        Day as of which it tells; an export of a later day counts as the newer one.

    Notes
    -----
    The UID of an event is the UUIDv5 of the place and the event's key (RFC 5545, 3.8.4.7: globally unique and
    persistent), so that loading a newer file replaces what an older one brought. An all-day event ends on the day after
    its last (3.6.1); an alarm's trigger counts from its beginning (3.8.6.3).
    """
    import uuid

    from icalendar import Alarm, Calendar, Event

    calendar = Calendar()
    calendar.add("prodid", "-//habmap//due//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", name)
    for day in days:
        event = Event()
        event.add("uid", f"{uuid.uuid5(uuid.UUID(place_id), day.key)}@habmap")
        event.add("dtstamp", datetime.combine(stamp, time(), UTC))
        event.add("dtstart", day.day)
        event.add("dtend", days_after(day.day, 1))
        event.add("summary", day.summary)
        event.add("description", day.description)
        event.add("sequence", stamp.toordinal())
        event.add("transp", "TRANSPARENT")
        for trigger in day.alarms:
            alarm = Alarm()
            alarm.add("action", "DISPLAY")
            alarm.add("description", day.summary)
            alarm.add("trigger", trigger)
            event.add_component(alarm)
        calendar.add_component(event)
    return bytes(calendar.to_ical())
