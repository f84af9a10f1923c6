"""A burn of the log that is asked about again: whether its line tells enough, and what it is called by."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from habmap.errors import InputError, PlaceError, printable
from habmap.measures import days_after
from habmap.records import BurnRecord, DrawnBlock, Entry
from habmap.vocabulary import FIRE, PRACTICE_WORDS
from habmap.work.burn.block import patch_name
from habmap.work.burn.request import WEATHER_FACTS, BurnRequest
from habmap.work.burn.result import PastBurn
from habmap.work.burns import burn_of, ignition_of, record_faults
from habmap.work.ledger import line_numbers
from habmap.work.lines import find_line


@dataclass(frozen=True, slots=True)
class LoggedBurn:
    """A line of the log that a burn sheet can be made of again, and where messages say that it stands."""

    line: Entry
    record: BurnRecord
    number: int
    where: str
    request: BurnRequest

    def told(self, *, units: Sequence[str], drawn: Sequence[DrawnBlock], today: dt.date) -> PastBurn:
        """Return what is said of it, its words left out; ``units``: those with ground of it."""
        line = self.line
        return PastBurn(
            entry_id=line.entry_id,
            number=self.number,
            date=line.date,
            made_on=today,
            block=_called(line, units, drawn),
            burned_pct=line.burned_pct,
            ground_on=days_after(line.date, -1),
            plans_kept=self.record.plans is not None,
            title=f"as logged, made again on {today}",
            words=(),
        )


def logged_burn(rows: Sequence[Entry], records: Sequence[BurnRecord], named: str) -> LoggedBurn:
    """Return the burn that a person names by its line of the log.

    Raises
    ------
    InputError
        There is no such line or it is withdrawn, it is no burn, its hour or the direction of its wind were not logged,
        or its day has no day before or after it.
    PlaceError
        Another program left what cannot be.
    """
    line = find_line(rows, named)
    content = line.content
    assert content is not None  # find_line refuses a withdrawn one
    number = line_numbers(rows)[content.entry_id]
    where = f"line {number} ({content.entry_id})"
    if content.practice not in FIRE:
        raise InputError(
            "this line of the log is no burn",
            where=where,
            value=f"{PRACTICE_WORDS.get(content.practice, content.practice)}, {content.date}",
            allowed="a line of `log burn` or `log pile_burn`",
            mend="`habmap history` lists every line",
        )
    record = burn_of(line, records)
    ignition = None if record is None else ignition_of(content.date, record)
    from_deg = None if record is None else record.wind_from_deg
    if record is None or ignition is None or from_deg is None:
        by_option = {"--observed-time": ignition, "--wind-from": from_deg}
        missing = [option for option, value in by_option.items() if value is None]
        raise InputError(
            "the hour of ignition and the direction of the wind are needed to make a burn sheet again",
            where=where,
            value=f"not logged: {', '.join(missing)}",
            mend=f"add what was written down that day: habmap correct {number} --why … {' … '.join(missing)} …",
        )
    if faults := record_faults(record):
        raise PlaceError(
            "what is stored of this burn is damaged", where=where, value=printable("; ".join(faults), longest=200),
            mend="`habmap check` lists such rows; correct it with `habmap correct`",
        )  # fmt: skip
    if not dt.date.min < content.date < dt.date.max:
        raise InputError(
            "no burn sheet can be made of this day", where=where, value=content.date, mend="correct the date"
        )
    asked = {name: getattr(record, name) for name in WEATHER_FACTS}
    request = BurnRequest(names=(), patch=content.patch, at=ignition, is_observed=True, **asked)
    return LoggedBurn(content, record, number, where, request)


def _called(line: Entry, units: Sequence[str], drawn: Sequence[DrawnBlock]) -> str:
    """Return the ground as people call it: by its units, by the drawn block that it is, or as a patch."""
    if line.unit_ids:
        return ", ".join(line.unit_ids)
    for block in reversed(drawn):
        if line.patch is not None and block.geometry.equals(line.patch):
            return f"{block.name} ({', '.join(units)})" if units else block.name
    return patch_name(units)
