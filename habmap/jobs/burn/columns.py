"""The columns of a table of log lines that say what was observed at a burn and who was told before."""

from __future__ import annotations

from datetime import date, tzinfo
from typing import Final

from habmap.errors import UsageError
from habmap.jobs.burn.record import LONGEST_NOTICE_PART, BurnSaid, check_burn_said, hour_note, notice_of
from habmap.place.load.cells import Cells
from habmap.place.userfiles import printable
from habmap.records import BurnRecord, Entry, Notice
from habmap.vocabulary import FIRE
from habmap.work.burns import PLAN_KINDS, WEATHER_RANGES, WIND_HEIGHTS, record_id
from habmap.work.weather_doubts import temperature_question

BURN_FIELDS: Final = ("observed_time", *WEATHER_RANGES, "wind_height", "plan_kind", "told")
#: Names of people stand in this one.
TOLD: Final = "told"
#: Between the notices of one cell.
_BETWEEN: Final = "|"


def burn_of_cells(cells: Cells, *, entry: Entry, zone: tzinfo) -> BurnRecord | None:
    """Return what a row says of its burn, after adding to the cells' faults what is wrong with it.

    Parameters
    ----------
    zone
        The property's: an hour that its clock skips is a fault, one that comes twice is pointed out.

    Notes
    -----
    Weather beside other work is left alone: notebooks have it on every line. Weather without an hour is kept, as the
    person wrote it. No plans are kept: which were in force that day, a table does not say.
    """
    if entry.practice not in FIRE:
        return None
    told = cells.text(TOLD) or ""
    try:
        notices = tuple(notice_of(part) for part in told.split(_BETWEEN) if part.strip())
    except UsageError as error:
        cells.fault(
            error.what,
            TOLD,
            value=error.value,
            allowed=f"who; when (YYYY-MM-DD HH:MM, or the day alone); how, several with {_BETWEEN} "
            f"between, each part in up to {LONGEST_NOTICE_PART} characters",
        )
        return None
    said = BurnSaid(
        ignition=cells.text("observed_time"),
        wind_height=cells.choice("wind_height", WIND_HEIGHTS, required=False),
        plan_kind=cells.choice("plan_kind", PLAN_KINDS, required=False),
        notices=notices,
        **{name: cells.number(name, low=low, high=high) for name, (low, high, _) in WEATHER_RANGES.items()},
    )
    try:
        # An unreadable date is a fault of its own, and stands in the entry as the first day of all.
        day = None if entry.date == date.min else entry.date
        check_burn_said(said, practice=entry.practice, needs_hour=False, day=day, zone=zone)
    except UsageError as error:
        field = "observed_time" if error.where == "--observed-time" else "gust_mph"
        cells.fault(error.what, field, value=error.value, allowed=error.allowed)
        return None
    question = None if said.temp_f is None else temperature_question(entry.date.month, said.temp_f)
    if question is not None:
        cells.note(f"{question}; taken as written")
    note = None if day is None else hour_note(said.ignition, day, zone)
    if note is not None:
        cells.note(note)
    if not said.given():
        return None
    return BurnRecord(
        uuid=record_id(entry.entry_id),
        entry_id=entry.entry_id,
        recorded_at=entry.recorded_at,
        **said.given(),  # type: ignore[arg-type]
    )


def burn_differences(ours: BurnRecord | None, theirs: BurnRecord | None) -> list[str]:
    """Say field by field where a row's burn differs from the record that is there."""
    faults = []
    for name in ("ignition", *WEATHER_RANGES, "wind_height", "plan_kind", "notices"):
        one = () if ours is None and name == "notices" else getattr(ours, name, None)
        other = () if theirs is None and name == "notices" else getattr(theirs, name, None)
        if one != other:
            words = [_words(one), _words(other)]
            faults.append(f"{name} {printable(words[0], longest=40)}, before {printable(words[1], longest=40)}")
    return faults


def burn_cells(record: BurnRecord | None) -> dict[str, str | float | int | None]:
    """Return the cells of a burn, so that they load back to the same."""
    if record is None:
        return dict.fromkeys(BURN_FIELDS)
    cells: dict[str, str | float | int | None] = {name: getattr(record, name) for name in WEATHER_RANGES}
    return cells | {
        "observed_time": record.ignition,
        "wind_height": record.wind_height,
        "plan_kind": record.plan_kind,
        TOLD: f" {_BETWEEN} ".join(f"{told.who}; {told.when}; {told.how}" for told in record.notices) or None,
    }


def _words(value: object) -> str:
    if isinstance(value, tuple):
        return "; ".join(f"{told.who}, {told.when}" for told in value if isinstance(told, Notice)) or "none"
    return str(value)
