"""What is private is in nothing made for the public: a marker in every private field, and every byte looked at.

The markers follow from the records: a private field, and a text of which nobody said that strangers may read it, gets
one by itself. Every command that can write for the public is run, whatever it writes is taken apart (packed streams,
workbooks, pictures within pages, what a database left in its free pages), and the owner's copies show that the search
finds what is there.
"""

from __future__ import annotations

import base64
import contextlib
import dataclasses
import html
import io
import json
import re
import zipfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import click
import pytest
import shapely
import typer
from pdf_reading import pdf_words
from photo_makers import place_tags, tagged_jpeg
from PIL import Image, ImageColor
from shapely import LineString, MultiPolygon, Point, box

from habmap.cli import commands
from habmap.cli.main import _app
from habmap.place.store import GeoPackageStore
from habmap.records import (
    KEPT,
    Boundary,
    BurnRecord,
    CanopySource,
    CoverFrame,
    CoverLine,
    DrawnBlock,
    ElevationSource,
    Entry,
    Feature,
    Forecast,
    ForecastHour,
    Notice,
    Photo,
    Plot,
    Sighting,
    Unit,
    facts,
    plain_type,
    types_of,
)  # fmt: skip

pytestmark = pytest.mark.poppler

NOW = datetime(2026, 8, 1, 12, tzinfo=UTC)
TODAY = date(2026, 8, 1)
#: Texts that strangers may read: labels on the map, names of species, and words that are one of a few.
PUBLIC: frozenset[tuple[type, str]] = frozenset(
    {
        (Unit, "unit_id"), (Unit, "stratum"), (Plot, "plot_id"), (Plot, "stratum"), (Plot, "unit_id"),
        (CoverFrame, "reading_id"), (CoverFrame, "frame"), (CoverFrame, "unit_id"), (CoverLine, "species"),
        (CoverLine, "group"), (Sighting, "scientific_name"), (Sighting, "vernacular_name"), (Photo, "unit_id"),
        (Entry, "practice"), (BurnRecord, "ignition"), (BurnRecord, "wind_height"), (Forecast, "wind_height"),
    }
)  # fmt: skip
#: Texts that are ids, paths or formats that the program itself writes and reads.
ITS_OWN = re.compile(r"(^|_)(uuid|id|sha256|picture|path|crs_wkt|target)$|^(event_date|entry_id)$")
GROUND, NEST = box(-98.0, 38.0, -97.99, 38.008), Point(-97.9921, 38.0061)
#: Name, color and longitude of each picture; the second is made private.
PICTURES = (("seen", "#406030", -97.9975), ("kept", "#123456", -97.9975))


def whole(*shapes: Any) -> MultiPolygon:
    return MultiPolygon(list(shapes))


def records() -> dict[type, Any]:
    """Return one record of each kind that is kept, as a property would hold it."""
    hour = ForecastHour(at=datetime(2026, 8, 2, 12), temp_f=70.0)
    found = [
        Unit(uuid="u1", unit_id="A", name="", cover="cedar", geometry=whole(GROUND), recorded_at=NOW),
        Feature(uuid="f1", kind="well", name="", geometry=NEST, sensitive=True, recorded_at=NOW),
        Boundary(uuid="b1", geometry=whole(GROUND.buffer(0.001)), recorded_at=NOW),
        Plot(uuid="p1", plot_id="1", method="fixed", unit_id="A", geometry=Point(-97.997, 38.002), plot_acres=0.1,
             stems=30, measured_on=date(2024, 1, 5), recorded_at=NOW),
        DrawnBlock(uuid="d1", name="", geometry=whole(GROUND), recorded_at=NOW),
        Photo(uuid="h1", file_name="", sha256="0" * 64, picture="none.jpg", taken_at=NOW, taken_on=TODAY,
              geometry=Point(-97.995, 38.004), unit_id="A", recorded_at=NOW),
        Sighting(uuid="s1", occurrence_id=None, event_date="2026-06-01", seen_from=date(2026, 6, 1),
                 seen_to=date(2026, 6, 1), scientific_name="Schizachyrium scoparium", geometry=Point(-97.996, 38.001),
                 recorded_at=NOW),
        CoverFrame(uuid="c1", reading_id="R", frame="1", unit_id="A", read_on=date(2025, 6, 1),
                   lines=(CoverLine(species="Andropogon gerardii", cover_pct=37.5, native=True),), recorded_at=NOW),
        Forecast(uuid="w1", file_name="", wind_height=None, hours=(hour,), recorded_at=NOW),
        Entry(entry_id="e1", recorded_at=NOW, practice="burn", date=date(2026, 3, 1), unit_ids=("A",),
              patch=whole(box(-98.0, 38.0, -97.996, 38.008))),
        BurnRecord(uuid="r1", entry_id="e1", ignition="13:00", recorded_at=NOW),
    ]  # fmt: skip
    return {type(one): one for one in found}


class Markers:
    """A marker for each field that strangers must not read, and where each was found."""

    def __init__(self) -> None:
        self.of: dict[str, str] = {}

    def text(self, where: str) -> str:
        """Return a word that nothing breaks or writes otherwise."""
        marker = f"Zq{len(self.of):03d}x"
        self.of[marker] = where
        return marker

    def value(self, record: type, name: str, kind: Any) -> Any:
        """Return what goes into a private field."""
        where = f"{record.__name__}.{name}"
        if kind is str:
            return self.text(where)
        if kind in (float, int):
            number = kind(7013 + 2 * len(self.of))
            self.of[f"{number:g}"] = where
            return number
        if kind is bool:
            return True
        if getattr(kind, "__origin__", kind) is dict:
            return {"own column": self.text(where)}
        if name == "notices":
            return (Notice(who=self.text(f"{where}.who"), when="2026-02-27 10:00", how=self.text(f"{where}.how")),)
        raise AssertionError(f"{where} is private and no marker goes into a {kind}: add one here")

    def found_in(self, parts: Iterator[bytes]) -> set[str]:
        """Return the markers that stand in some bytes; of a number, with and without its comma."""
        left = {marker: {marker.encode(), _with_comma(marker).encode()} for marker in self.of}
        seen: set[str] = set()
        for part in parts:
            seen |= {marker for marker, forms in left.items() if any(_holds(part, form) for form in forms)}
        return seen


def _with_comma(marker: str) -> str:
    return f"{int(marker):,}" if marker.isdigit() else marker


def _holds(part: bytes, form: bytes) -> bool:
    """Return whether a marker stands there; a number only as a whole one."""
    if not form.replace(b",", b"").isdigit():
        return form in part
    return re.search(rb"(?<![\d.,])" + re.escape(form) + rb"(?![\d])(?!\.\d*[1-9])", part) is not None


def is_secret(record: type, name: str) -> bool:
    """Return whether strangers must not read a field: it says so, or it is a text that nobody allowed."""
    one = facts(record).get(name)
    if one is not None and one.is_private:
        return True
    kind, _ = plain_type(types_of(record)[name])
    allowed = (record, name) in PUBLIC or ITS_OWN.search(name) or (one is not None and one.choices)
    return kind is str and not allowed


def marked(record: Any, markers: Markers) -> Any:
    """Return a record with a marker in each field that strangers must not read, in the records within it too."""
    changed: dict[str, Any] = {}
    for field in dataclasses.fields(record):
        kind, _ = plain_type(types_of(type(record))[field.name])
        value = getattr(record, field.name)
        if is_secret(type(record), field.name):
            changed[field.name] = markers.value(type(record), field.name, kind)
        elif isinstance(value, tuple) and value and dataclasses.is_dataclass(value[0]):
            changed[field.name] = tuple(marked(one, markers) for one in value)
    return replace(record, **changed)


SETTINGS = """
[[hold]]
unit = "A"
reason = "{hold}"
from = 2026-07-01
to = 2099-09-30

[[closed]]
work = "burn"
reason = "{closed}"
from = "07-01"
to = "08-31"

[[contract]]
program = "{program}"
item = "1"
practice_code = "338"
units = ["A"]
planned_acres = 8.0
not_before = 2025-01-01
due = 2026-12-31
rate = 7777.0

[burn_plan.grass]
rh_pct = [25, 60]
author = "{author}"
"""


def everything_in(content: bytes, path: Path) -> Iterator[bytes]:
    """Yield some bytes, and all that is packed in them, unpacked."""
    yield content
    if content.startswith(b"PK"):
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            for name in packed.namelist():
                yield name.encode()
                yield from everything_in(packed.read(name), path)
    if content.startswith(b"%PDF"):
        yield pdf_words(path).encode()
    for letters in re.findall(rb"stream\r?\n([!-z\s]+~>)", content):
        yield from _inflated(base64.a85decode(letters[:-2]))
    for packed_stream in re.findall(rb"(?:stream\r?\n|[IzT][DETX][Axtt][Tt])(.{2,}?)(?:endstream|\Z)", content, re.S):
        yield from _inflated(packed_stream)
    for data in re.findall(rb"[A-Za-z0-9+/]{200,}={0,2}", content):
        yield from _inflated(decoded := base64.b64decode(data[: len(data) // 4 * 4]))
        yield decoded
    if b"&" in content or b"\\u" in content:
        yield html.unescape(content.decode("utf-8", "replace")).encode()


def shows(color: str, parts: Iterator[bytes]) -> bool:
    """Return whether a photo of one color, in whatever size it was written again, stands in some bytes."""
    wanted = ImageColor.getrgb(color)
    for part in parts:
        for start in re.finditer(rb"\xff\xd8\xff", part):
            with contextlib.suppress(OSError), Image.open(io.BytesIO(part[start.start() :])) as image:
                seen = image.convert("RGB").resize((1, 1)).getpixel((0, 0))
                if max(abs(one - other) for one, other in zip(seen, wanted, strict=True)) < 12:
                    return True
    return False


def _inflated(content: bytes) -> Iterator[bytes]:
    for start in (content, content[content.find(b"\x78") :]):
        try:
            yield zlib.decompressobj().decompress(start)
        except zlib.error:
            continue


@pytest.fixture(scope="module")
def seeded(tmp_path_factory: pytest.TempPathFactory, run_habmap: Callable[..., Any]) -> tuple[Path, Markers]:
    """A property with a marker in each private field, and a picture that strangers must not see."""
    folder = tmp_path_factory.mktemp("private")
    place, markers = folder / "place", Markers()
    store = GeoPackageStore.create(place, "Prairie", timezone="America/Chicago")
    bases = records()
    rasters = {ElevationSource, CanopySource}  # their fields are paths and formats that the program writes itself
    assert set(bases) == set(KEPT) - rasters, "a new kind of record: make one of it here"
    assert not [(kind, name) for kind in rasters for name in types_of(kind) if is_secret(kind, name)]
    photo = bases.pop(Photo)
    store.append([marked(one, markers) for one in bases.values()])
    for line, (practice, when) in enumerate((("cut", "2025-10-01"), ("mulch", "2025-11-02")), start=2):
        ground = whole(shapely.affinity.translate(box(-97.996, 38.0, -97.993, 38.004), 0, 0.004 * (line - 2)))
        store.append(
            [marked(replace(bases[Entry], entry_id=f"e{line}", practice=practice, patch=ground,
                            date=date.fromisoformat(when)), markers)]
        )  # fmt: skip
    store.append([
        Feature(uuid="n1", kind="nest", name=markers.text("name of a nest"), geometry=NEST, recorded_at=NOW),
        Feature(uuid="h2", kind="house", name=markers.text("name of a house"), geometry=Point(-98.0005, 38.003),
                recorded_at=NOW),
        Feature(uuid="r2", kind="road", name="County Road 5",
                geometry=LineString([(-98.002, 37.999), (-97.98, 37.999)]), recorded_at=NOW),
    ])  # fmt: skip
    words = {name: markers.text(f"settings: {name}") for name in ("hold", "closed", "program", "author")}
    markers.of["7777"] = "settings: rate"
    with (place / "habmap.toml").open("a", encoding="utf-8") as settings:
        settings.write(SETTINGS.format(**words))
    pictures = folder / "pictures"
    pictures.mkdir()
    top = {0x010E: markers.text("a picture's title"), 0x013B: markers.text("a picture's author")}
    for number, (stem, color, lon) in enumerate(PICTURES):
        own = {0x9003: f"2026:06:0{number + 1} 12:00:00", 0x9011: "-05:00"}
        tagged = tagged_jpeg(gps=place_tags(38.003, lon, 90.0), own=own, top=top, color=color)
        (pictures / f"{stem}{markers.text('the name of a picture')}.jpg").write_bytes(tagged)
    done = run_habmap("load", "photos", pictures, place=place)
    assert done.code == 0, done.err
    store = GeoPackageStore.open(place)
    rows = {photo.file_name[:4]: photo for photo in store.photos()}
    assert set(rows) == {"seen", "kept"}
    store.append([replace(rows["kept"], uuid="kept-again", is_private=True, supersedes=None)])
    assert photo.file_name == ""
    return place, markers


#: What each command that can write for the public is asked, and the endings of what it writes.
ASKED: dict[str, tuple[str, ...]] = {
    "map": ("map -o {out}.html",), "sheet": ("sheet -o {out}.pdf",), "handout": ("handout -o {out}.pdf",),
    "due": ("due --ics {out}.ics",), "week": ("week", "week --places {place}"),
    "export practices": ("export practices -o {out}.csv --program-year 2026",
                         "export practices -o {out}.xlsx --program-year 2026"),
    "export ledger": tuple(f"export ledger -o {{out}}.{end}" for end in ("csv", "gpkg", "geojson")),
    "export units": tuple(f"export units -o {{out}}.{end}" for end in ("gpkg", "geojson")),
    "export gpx": ("export gpx -o {out}.gpx",), "export revisits": ("export revisits -o {out}.gpx --within-days 3000",),
    "export packet": ("export packet -o {out}.pdf --item 1 --program-year 2026",),
    "region account": ("region account {place} -o {out}.html --workers 1",),
}  # fmt: skip


def commands_for_the_public() -> set[str]:
    """Return every command with the option ``--for``, as the command line itself has them."""

    def walk(group: click.Group, before: tuple[str, ...]) -> Iterator[str]:
        for name, command in group.commands.items():
            if isinstance(command, click.Group) or hasattr(command, "commands"):
                yield from walk(command, (*before, name))  # type: ignore[arg-type]
            elif any("--for" in option.opts for option in command.params):
                yield " ".join((*before, name))

    return set(walk(typer.main.get_command(_app(commands.modules())), ()))  # type: ignore[arg-type]


def parts_of(folder: Path, answers: list[str]) -> Iterator[bytes]:
    for path in sorted(one for one in folder.rglob("*") if one.is_file()):
        yield path.name.encode()
        yield from everything_in(path.read_bytes(), path)
    for answer in answers:
        yield answer.encode()
        yield json.dumps(answer, ensure_ascii=False).encode()


def written_for(
    audience: str, command: str, place: Path, folder: Path, run_habmap: Callable[..., Any]
) -> tuple[Path, list[str]]:
    target = folder / audience / command.replace(" ", "-")
    target.mkdir(parents=True)
    answers = []
    for number, asked in enumerate(ASKED[command]):
        words = asked.format(out=target / f"written{number}", place=place).split()
        drawn = command in ("map", "sheet", "handout", "export packet")  # told once: what they say is short
        for json_too in ([], ["--json"]) if number == 0 and not drawn else ([],):
            again = ["--overwrite"] if json_too and {"-o", "--ics"} & set(words) else []
            outcome = run_habmap(*words, "--for", audience, *again, *json_too, place=place)
            assert outcome.code == 0, (words, outcome.err)
            answers += [outcome.out.replace(str(folder), ""), outcome.err]
    return target, answers


def test_every_command_that_writes_for_the_public_is_in_this_law() -> None:
    assert commands_for_the_public() == set(ASKED)


@pytest.mark.parametrize("command", ASKED)
def test_nothing_private_is_in_what_is_made_for_the_public(
    seeded: tuple[Path, Markers], command: str, run_habmap: Callable[..., Any], tmp_path: Path
) -> None:
    place, markers = seeded
    target, answers = written_for("public", command, place, tmp_path, run_habmap)
    found = markers.found_in(parts_of(target, answers))
    assert {marker: markers.of[marker] for marker in found} == {}
    assert not shows(PICTURES[1][1], parts_of(target, answers))


def test_the_search_finds_what_the_owners_copies_hold(
    seeded: tuple[Path, Markers], run_habmap: Callable[..., Any], tmp_path: Path
) -> None:
    place, markers = seeded
    found: set[str] = set()
    shows_picture = False
    for command in ("map", "export ledger", "export units", "export packet", "due", "handout", "week"):
        target, answers = written_for("owner", command, place, tmp_path, run_habmap)
        found |= markers.found_in(parts_of(target, answers))
        shows_picture |= shows(PICTURES[1][1], parts_of(target, answers))
    told = {markers.of[marker] for marker in found}
    assert told >= {"Entry.who", "Entry.note", "Entry.cost", "Entry.person_hours", "Feature.name", "settings: hold",
                    "settings: program", "settings: rate", "Unit.notes", "name of a nest"}  # fmt: skip
    assert shows_picture
