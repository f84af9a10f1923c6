"""eventDate: days, moments, months, years and intervals become local days; anything else is refused."""

from __future__ import annotations

from datetime import date

import pytest

from habmap.place.days import EventDateError, event_days

ZONE = "America/Chicago"


@pytest.mark.parametrize(
    ("text", "first", "last"),
    [
        ("2026-05-14", "2026-05-14", "2026-05-14"),
        ("2026-05-14T07:30", "2026-05-14", "2026-05-14"),
        ("2026-05-14 07:30:15", "2026-05-14", "2026-05-14"),
        # after midnight in UTC it is still the evening before at the place
        ("2026-05-15T02:10Z", "2026-05-14", "2026-05-14"),
        ("2026-05-14T23:50-07:00", "2026-05-15", "2026-05-15"),
        ("2026-02", "2026-02-01", "2026-02-28"),
        ("2025", "2025-01-01", "2025-12-31"),
        ("2026-05-14/2026-05-16", "2026-05-14", "2026-05-16"),
        ("2026-05-30/2026-06-02T08:00", "2026-05-30", "2026-06-02"),
        # Darwin Core's own examples leave out what the end shares with the start: 2007-11-13/15
        ("2007-11-13/15", "2007-11-13", "2007-11-15"),
        ("2026-05-30/06-02", "2026-05-30", "2026-06-02"),
        ("2026-05-14T07:30/09:15", "2026-05-14", "2026-05-14"),
        ("2025-11/2026-01", "2025-11-01", "2026-01-31"),
    ],
)
def test_what_is_read(text: str, first: str, last: str) -> None:
    assert event_days(text, timezone=ZONE) == (date.fromisoformat(first), date.fromisoformat(last))


@pytest.mark.parametrize(
    "text",
    ["", "/", "14.5.2026", "05/14/2026", "2026-02-30", "2026-13", "2026-05-14/", "/2026-05-14", "20260514",
     "2026-05-14T25:00", "2026-05-16/2026-05-14", "2026-W20", "yesterday", "0000", "2026-05-14/2026-05-15/2026-05-16"],
)  # fmt: skip
def test_what_is_refused(text: str) -> None:
    with pytest.raises(EventDateError):
        event_days(text, timezone=ZONE)
