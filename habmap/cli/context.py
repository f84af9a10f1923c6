"""What every command shares: the folder, the clock, and the options that mean the same everywhere."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from habmap.errors import UsageError
from habmap.vocabulary import FIRE_CAUTION

if TYPE_CHECKING:
    from habmap.jobs.ports import Store


#: A row written later than now by more than this was written by another clock.
CLOCK_DOUBT = timedelta(minutes=2)


@dataclass(slots=True)
class Session:
    """One run of the command, and its clock."""

    folder: Path
    debug: bool
    _store: Store | None = field(default=None, init=False)

    def store(self) -> Store:
        """Open the place, once; what a command reads of it is read once too.

        Raises
        ------
        PlaceError
            The folder is not a place, or its file cannot be opened.
        """
        from habmap.jobs.snapshot import snapshot
        from habmap.place.store import GeoPackageStore

        if self._store is None:
            self._store = snapshot(GeoPackageStore.open(self.folder))
        return self._store

    @property
    def map_path(self) -> Path:
        """Where the map goes that nobody names a file for."""
        return self.folder / "out" / "map.html"

    def property_folder(self) -> Path | None:
        """Return the property's folder where it is one; ``None`` where none was named and this folder is none.

        Raises
        ------
        PlaceError
            The folder that was named is no property's.
        """
        from habmap.errors import PlaceError
        from habmap.place.settings import SETTINGS_FILE

        folder = self.folder.absolute()
        if (folder / SETTINGS_FILE).is_file():
            return folder
        if self.folder == Path():
            return None
        raise PlaceError("this folder is no property", where=str(folder), mend="name one that `habmap start` made")

    def now(self) -> datetime:
        """Return the present moment in UTC, as rows are written by; say so where the clock stands behind."""
        from habmap.cli.output import warn
        from habmap.errors import HabmapError

        now = datetime.now(UTC)
        try:
            last = self.store().last_recorded()
        except (HabmapError, ValueError, TypeError):
            return now  # what is wrong with the place is said where it is opened
        if last is not None and last - now > CLOCK_DOUBT:
            warn(
                f"this computer's clock says {now:%Y-%m-%d %H:%M} UTC, but a row here was written at "
                f"{last:%Y-%m-%d %H:%M}: what is written now counts as the later all the same; set the clock right, "
                "for days and lists go by it"
            )
        return now

    def local_day(self) -> date:
        """Return the local civil date at the place that is opened."""
        return self.today(self.store().settings.place.timezone)

    def today(self, timezone: str) -> date:
        """Return the local civil date at the place."""
        return self.day_in(datetime.now(UTC), timezone)

    def cautions(self, cautions: Sequence[str]) -> list[str]:
        """Return the cautions of an answer: each in full once a day, after that its first sentence.

        What a line of the log said in full today is known by that line; that the burn boss decides is said whole each
        time.
        """
        today, zone = self.local_day(), self.store().settings.place.timezone
        if not any(self.day_in(row.recorded_at, zone) == today for row in self.store().entries()):
            return list(cautions)
        from zoneinfo import ZoneInfo

        from habmap.work.logged import said_today

        told = said_today(cautions, self.store().entries(), today=today, zone=ZoneInfo(zone))
        said = {one.caution: one.number for one in told}
        first = {one: one.partition(". ")[0] for one in said if ". " in one and one != FIRE_CAUTION}
        return [f"{first[one]}. (In full today with line {said[one]}.)" if one in first else one for one in cautions]

    @staticmethod
    def day_in(moment: datetime, timezone: str) -> date:
        """Return the civil date of a moment in a time zone."""
        from zoneinfo import ZoneInfo

        return moment.astimezone(ZoneInfo(timezone)).date()

    def work_day(self, told: date | DaysBack | None) -> date | None:
        """Return the day of some work as it was told; ``today`` and ``yesterday`` are the property's own."""
        if not isinstance(told, DaysBack):
            return told
        return self.today(self.store().settings.place.timezone) - timedelta(days=told.days)


@dataclass(frozen=True, slots=True)
class DaysBack:
    """A day counted back from the property's own today."""

    days: int


#: Words for a day of work.
_DAYS_BACK: Final = {"today": DaysBack(0), "yesterday": DaysBack(1)}


def parsed_work_day(text: str) -> date | DaysBack:
    """Read a day of work from the command line: an ISO day, ``today`` or ``yesterday``."""
    return _DAYS_BACK.get(text.strip().lower()) or parsed_date(text, also=tuple(_DAYS_BACK))


def parsed_date(text: str, *, also: tuple[str, ...] = ()) -> date:
    """Read an ISO day from the command line; ``also`` are words that would have done."""
    try:
        if len(text) != 10:
            raise ValueError
        return date.fromisoformat(text)
    except ValueError as error:
        raise UsageError(
            "this is not a date",
            value=text,
            allowed=", ".join(["YYYY-MM-DD, a day that exists", *also]),
            mend="write it like 2026-03-14",
            where="a day on the command line",
        ) from error


def day_option(flag: str, words: str) -> Any:
    """Return an option that takes an ISO day, and what help says of it."""
    return typer.Option(flag, parser=parsed_date, metavar="YYYY-MM-DD", help=words)


class For(StrEnum):
    """Whom an answer or a file is for."""

    OWNER = "owner"
    PUBLIC = "public"


AudienceOption = Annotated[
    For, typer.Option("--for", help="public leaves out names, notes, hours, costs, reasons and private places.")
]
OverwriteOption = Annotated[bool, typer.Option("--overwrite", help="Replace what is already there.")]
WithHoursOption = Annotated[bool, typer.Option("--with-hours", help="Tell person-hours; in the owner's copy only.")]
WithCostOption = Annotated[bool, typer.Option("--with-cost", help="Tell cost; in the owner's copy only.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON object with unrounded numbers.")]
OnOption = Annotated[date | None, day_option("--on", "Show figures as of this date, with today's corrections.")]


@dataclass(frozen=True, slots=True)
class Copy:
    """Whose copy a map or a paper is, what money it tells, and of which day it is: each field is an option."""

    audience: AudienceOption = For.OWNER
    with_hours: WithHoursOption = False
    with_cost: WithCostOption = False
    overwrite: OverwriteOption = False
    on: OnOption = None

    @property
    def told(self) -> dict[str, Any]:
        """All that, as the jobs that write one take it."""
        return {**asdict(self), "audience": self.audience.value}


DateOption = Annotated[
    Any,
    typer.Option(
        "--date",
        parser=parsed_work_day,
        metavar="DAY",
        help="The day of the work: YYYY-MM-DD, today or yesterday; with --track the walk's own day.",
    ),
]
PreviewOption = Annotated[bool, typer.Option("--preview", help="Write nothing; say what the line would change.")]
