"""Hours that a property's own clock skips or shows twice, where it is put forward and back."""

from __future__ import annotations

from datetime import UTC, datetime, tzinfo


def is_skipped(at: datetime, zone: tzinfo) -> bool:
    """Return whether a local time never comes: the clock jumps over it.

    Parameters
    ----------
    at
        Local civil time, without a zone.
    zone
        The property's.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> is_skipped(datetime(2026, 3, 8, 2, 30), ZoneInfo("America/Chicago"))
    True
    """
    return at.replace(tzinfo=zone).astimezone(UTC).astimezone(zone).replace(tzinfo=None, fold=0) != at.replace(fold=0)


def comes_twice(at: datetime, zone: tzinfo) -> bool:
    """Return whether a local time comes twice: the clock is put back over it."""
    first, second = (at.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1))
    return first != second and not is_skipped(at, zone)
