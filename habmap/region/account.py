"""The account of many properties: each read on its own, one page, one table and one calendar of all."""

from __future__ import annotations

import sqlite3
import time
import uuid
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any, Final

from habmap import __version__
from habmap.errors import HabmapError, InputError, PlaceBusyError, PlaceError, printable
from habmap.jobs.acres import acres
from habmap.jobs.due import calendar_days
from habmap.jobs.effort import effort
from habmap.jobs.public import public_view
from habmap.jobs.snapshot import snapshot
from habmap.jobs.week import week
from habmap.measures import so_many
from habmap.place.calendar import calendar_bytes
from habmap.place.schema import STORE_FILE
from habmap.place.settings import SETTINGS_FILE
from habmap.place.store import GeoPackageStore
from habmap.place.writers import csv_text, refuse_to_write, write_whole
from habmap.region.engine import Engine, Task
from habmap.region.folder import digest_of, forgotten_if_refused, parts_folder, read_part, sweep, write_part
from habmap.region.records import RegionAccount
from habmap.show.region_page import region_page
from habmap.show.week_words import SECTIONS, item_words
from habmap.vocabulary import STAGES, Audience
from habmap.work.calendar_day import CalendarDay
from habmap.work.region_account import PropertyAccount, RegionFault, all_together
from habmap.work.week import SECTIONS as ASKING

#: Properties of one task: a second or two of work.
PLACES_AT_ONCE: Final = 8
#: How long a property that another program writes to is waited for [s]; it is listed then, and the rest goes on.
BUSY_WAIT_S: Final = 2.0
#: Under which the calendar of a region has its events (RFC 9562, version 5, of a name of our own).
_REGION_ID: Final = str(uuid.uuid5(uuid.NAMESPACE_OID, "habmap region account"))

#: Told how many properties are done and how many there are.
Told = Callable[[int, int], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedAccount:
    """What a run is to give, and where; where ``on`` is not given ``today`` is the day of the week."""

    places: tuple[Path, ...]
    output: Path
    audience: Audience
    on: date | None
    today: date
    is_resumed: bool = False
    overwrite: bool = False

    @property
    def folder(self) -> Path:
        """The folder of parts."""
        return self.output.parent / f"{self.output.name}.parts"


def region_account(asked: AskedAccount, engine: Callable[[], Engine], *, told: Told | None = None) -> RegionAccount:
    """Roll up many properties and write their page, table and calendar.

    Properties are only read. One that cannot be read is listed with why, and the rest is done.

    Raises
    ------
    InputError
        No property is there, or a file would be written over.
    PlaceError
        None of the properties can be read, or the disk refused.
    """
    began = time.perf_counter()
    if asked.output.suffix.lower() not in (".html", ".htm"):
        raise InputError(
            "the account of many properties is a page",
            where="-o",
            value=asked.output.name,
            allowed="a name that ends in .html; its table and calendar lie beside it",
            mend="name the file so",
        )
    page, table, calendar = (asked.output.with_suffix(suffix) for suffix in (".html", ".csv", ".ics"))
    for path in (page, table, calendar):
        refuse_to_write(path, overwrite=asked.overwrite)
    folders = _folders(asked.places)
    folder = parts_folder(asked.folder, is_resumed=asked.is_resumed, overwrite=asked.overwrite)
    files = {place: folder / f"place-{_name_of(place, asked)}.bin" for place in folders}
    doing = [place for place in folders if read_part(files[place]) is None]
    tasks = [
        Task(
            digest_of(*(files[place].name for place in own)),
            do_places,
            ([(str(place), str(files[place])) for place in own], asked.audience, _text(asked.on), str(asked.today)),
        )
        for own in (doing[at : at + PLACES_AT_ONCE] for at in range(0, len(doing), PLACES_AT_ONCE))
    ]
    faults: dict[str, str] = {}
    worker = engine()
    done = len(folders) - len(doing)
    for task, answer in worker.run(tasks) if tasks else ():
        faults.update(answer["faults"])
        done += len(task.arguments[0])
        if told:
            told(done, len(folders))
    sweep(folder)
    rows, days, cautions = _read(folders, files, faults)
    listed = tuple(RegionFault(place=str(place), what=faults[str(place)]) for place in folders if str(place) in faults)
    if not rows:
        with forgotten_if_refused(folder):
            raise PlaceError(
                "none of these properties can be read",
                where=", ".join(str(place) for place in asked.places[:5]),
                value="; ".join(f"{fault.place}: {fault.what}" for fault in listed[:5]),
                mend="name folders that `habmap start` made",
            )
    on = asked.on or asked.today
    if asked.audience == "public":
        rows = [replace(row, folder="") for row in rows]
        # where a property lies on somebody's disk, and what its folder is called, is told to nobody else
        numbers = {str(place): number for number, place in enumerate(folders, start=1)}
        listed = tuple(
            replace(fault, place=f"property {numbers[fault.place]} of {len(folders)}", what="could not be read")
            for fault in listed
        )
    total = all_together(rows, on=on)
    text = region_page(
        rows, total, on=on, faults=listed, cautions=cautions, audience=asked.audience, version=__version__
    )
    _write(page, text, asked)
    _write(table, csv_text(*_table(rows, total)), asked)
    ics = calendar_bytes(days, name=so_many(len(rows), "property"), place_id=_REGION_ID, stamp=on)
    write_whole(calendar, lambda path: path.write_bytes(ics), overwrite=asked.overwrite)
    return RegionAccount(
        places=tuple(rows),
        total=total,
        on=on,
        seconds=time.perf_counter() - began,
        workers=worker.workers,
        parts=len(folders),
        kept_parts=len(folders) - len(doing),
        retried=worker.retried,
        written=(str(page), str(table), str(calendar)),
        faults=listed,
    )


def _text(on: date | None) -> str | None:
    return None if on is None else on.isoformat()


def _folders(places: Sequence[Path]) -> list[Path]:
    """Return the properties' folders: those named, and those that lie in a named folder which is none itself."""
    found: dict[Path, None] = {}
    for place in places:
        inner = sorted(path.parent for path in place.glob(f"*/{STORE_FILE}")) if place.is_dir() else []
        for folder in [place] if (place / STORE_FILE).exists() or not inner else inner:
            found[folder] = None
    return list(found)


def _name_of(place: Path, asked: AskedAccount) -> str:
    """Return what tells a property's part apart: its files as they are, the day, and for whom."""
    stamps = []
    for name in (STORE_FILE, SETTINGS_FILE):
        try:
            status = (place / name).stat()
            stamps.append((status.st_size, status.st_mtime_ns))
        except OSError:
            stamps.append((-1, -1))
    return digest_of(__version__, str(place.resolve()), stamps, asked.audience, _text(asked.on), str(asked.today))


def do_places(places: list[tuple[str, str]], audience: Audience, on: str | None, today: str) -> dict[str, Any]:
    """Read some properties, wherever this runs, and write a part for each; return what is wrong with the others."""
    faults = {}
    for place, file in places:
        try:
            words = _told_of(
                Path(place), audience, None if on is None else date.fromisoformat(on), date.fromisoformat(today)
            )
        except PlaceBusyError:
            faults[place] = "busy: another program is writing to it; ask again later"
        except (HabmapError, OSError, sqlite3.Error, ValueError) as error:
            faults[place] = printable(str(error).replace("\n", " "), longest=300)
        else:
            write_part(Path(file), words, {})
    return {"faults": faults}


def _told_of(place: Path, audience: Audience, on: date | None, today: date) -> dict[str, Any]:
    store: Any = snapshot(GeoPackageStore.open(place, busy_timeout_s=BUSY_WAIT_S))
    is_public = audience == "public"
    seen = public_view(store) if is_public else store
    day = on or today
    account = acres(seen, on=on)
    asks = week(store, on=day, audience=audience)
    spent = None if is_public else effort(store, on=on, today=today)
    asked_words = {
        name: tuple(f"{item.unit_id or 'all'}: {item_words(item)}" for item in getattr(asks, name)) for name in SECTIONS
    }
    totals = account.totals
    row = PropertyAccount(
        place=account.place,
        folder=str(place),
        on=account.on,
        acres=totals.acres,
        treated_acres=totals.treated_acres,
        remaining_acres=totals.remaining_acres,
        keep_acres=totals.keep_acres,
        coming_back_acres=totals.coming_back_acres,
        stage_acres={stage: totals.stage_acres.get(stage) for stage in STAGES},
        week=asked_words,
        week_items=sum(len(asked_words[section]) for section in ASKING),
        person_hours=None if spent is None else spent.person_hours,
        cost=None if spent is None else spent.cost,
        currency=None if spent is None else spent.currency,
    )
    days = [
        {
            "key": f"{store.place_id}:{one.key}", "summary": f"{account.place}: {one.summary}",
            "description": one.description, "day": one.day.isoformat(),
            "alarms": [alarm.total_seconds() for alarm in one.alarms],
        }
        for one in calendar_days(store, on=day, audience=audience)
    ]  # fmt: skip
    return {
        "row": {**asdict(row), "on": _text(row.on)},
        "days": days,
        "cautions": asks.cautions,
        "place_id": store.place_id,
    }


def _read(
    folders: Sequence[Path], files: dict[Path, Path], faults: dict[str, str]
) -> tuple[list[PropertyAccount], list[CalendarDay], tuple[str, ...]]:
    rows, days = [], []
    cautions: dict[str, None] = {}
    seen: dict[str, Path] = {}
    for place in folders:
        whole = None if str(place) in faults else read_part(files[place])
        if whole is None:
            faults.setdefault(str(place), "its part is damaged; ask again with --resume")
            continue
        first = seen.setdefault(whole[0]["place_id"], place)
        if first is not place:
            faults[str(place)] = f"the same property as {first}: counted once"
            continue
        said = whole[0]["row"]
        said["on"] = None if said["on"] is None else date.fromisoformat(said["on"])
        rows.append(PropertyAccount(**{**said, "week": {name: tuple(words) for name, words in said["week"].items()}}))
        cautions |= dict.fromkeys(whole[0]["cautions"])
        days += [
            CalendarDay(
                key=one["key"],
                summary=one["summary"],
                description=one["description"],
                day=date.fromisoformat(one["day"]),
                alarms=tuple(timedelta(seconds=seconds) for seconds in one["alarms"]),
            )
            for one in whole[0]["days"]
        ]
    return rows, days, tuple(cautions)


def _table(rows: Sequence[PropertyAccount], total: PropertyAccount) -> tuple[list[str], list[list[Any]]]:
    has_money = any(row.person_hours is not None for row in rows)
    plain = ["place", "on", "acres", "treated_acres", "remaining_acres", "keep_acres"]
    money = ["person_hours", "cost", "currency"] if has_money else []
    header = [*plain, *(f"{stage}_acres" for stage in STAGES if stage != "keep"), "week_items", *money]
    return header, [
        [
            row.place, _text(row.on), *(getattr(row, name) for name in plain[2:]),
            *(row.stage_acres.get(stage, 0.0) for stage in STAGES if stage != "keep"),
            row.week_items,
            *(getattr(row, name) for name in money),
        ]
        for row in (*rows, total)
    ]  # fmt: skip


def _write(path: Path, text: str, asked: AskedAccount) -> None:
    data = text.encode("utf-8")
    write_whole(path, lambda at: at.write_bytes(data), overwrite=asked.overwrite)
