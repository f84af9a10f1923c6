"""Whatever writes, one row each: commands, acts of the desk; and what must hold of a property whatever cut one off.

`unnamed` holds the list to the parser and to the desk's rooms: what stands in neither table is a fault.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from hashlib import sha256
from pathlib import Path

from soak.law import Answer, contents, run_words
from soak.property import (
    COVER,
    FEATURES,
    LAT,
    LON,
    MORE_ENTRIES,
    SIGHTINGS,
    STEP,
    geojson,
    gpx,
    picture,
    raster,
    square,
    valid_files,
)

#: Own files of a property that hold words of a person; pictures and walks are named by rows and lines.
SETTINGS, STORE = "habmap.toml", "place.gpkg"
#: A step at the desk: a page to look at (``GET …``) or a form's action, and its fields; one of ``None`` is hidden in the page before.
Step = tuple[str, Mapping[str, str | None]]


@dataclass(frozen=True, slots=True)
class Write:
    """One thing that writes.

    Attributes
    ----------
    words
        A command's words after ``--place DIR``.
    files
        Files beside the property.
    output
        The file that it writes for others.
    first
        Commands that come before it.
    desk
        Steps at the desk instead of a command; the last one writes.
    is_new
        It makes a property where none was.
    """

    name: str
    words: tuple[str, ...] = ()
    files: Mapping[str, bytes] = field(default_factory=dict)
    output: str | None = None
    first: Sequence[tuple[str, ...]] = ()
    desk: Sequence[Step] = ()
    is_new: bool = False


@dataclass(frozen=True, slots=True)
class State:
    """What a property holds: how many rows, its settings, and the file that was written for others."""

    rows: int
    settings: bytes | None
    output: bytes | None = None


#: Commands that write nothing into a property, each as it is asked; the soak looks that it does not.
READS: Sequence[tuple[str, ...]] = (
    ("history",), ("acres",), ("terrain",), ("density",), ("rank",), ("week",), ("effort",), ("photos",), ("response",), ("check",),
    ("feature", "list"), ("manual", "log"), ("log", "cut", "--date", "2026-04-02", "--unit", "B", "--whole", "--preview"),
    ("unit", "retire", "C", "--preview"),
)  # fmt: skip
#: Acts of the desk that write nothing into a property: they look, keep a draft, or begin a command.
DESK_LOOKS = frozenset(
    {
        "log/preview", "log/ground", "history/look", "history/ground", "units/outline", "units/look", "seen/look", "seen/bring",
        "load/bring", "burn/make", "papers/make", "manual/make", "work/cancel", "start/sample", "start/open",
    }
)  # fmt: skip
#: Contents of properties, to the byte, that were looked at and found sound: a refusal leaves the same again and again.
_SOUND: set[bytes] = set()
#: Left out of both: they serve, make whole samples or many properties' tables (whose parts are killed by `soak.kills`).
LEFT_OUT = frozenset({"desk", "demo", "shortcut", "region"})


def writes(template: Path | None) -> tuple[Write, ...]:
    """Return all that writes; of ``template``, where there is one, a second copy is made, to be united with the first."""
    return (*_of_the_log(template), *_of_files(), *_of_units(), *_for_others(), *_at_the_desk())


def _of_the_log(template: Path | None) -> tuple[Write, ...]:
    boundary = {"b.geojson": geojson(("Polygon", square(-0.2, -0.5, 4.0), {}))}
    cut = ("--date", "2026-04-02", "--unit", "B", "--whole")
    return (
        Write("start", ("start", "../place", "--name", "New", "--timezone", "America/Chicago", "--boundary", "b.geojson"), boundary, is_new=True),
        Write("log", ("log", "cut", *cut)),
        Write("log a burn", ("log", "burn", "--date", "2026-04-02", "--unit", "A", "--whole", "--temp-f", "60", "--observed-time", "10:00")),
        Write("log a walk", ("log", "cut", "--track", "t.gpx"), {"t.gpx": gpx(column=1)}),
        Write("correct", ("correct", "1", "--why", "x", "--killed-pct", "50", "--yes")),
        Write("correct, a field taken out", ("correct", "1", "--why", "x", "--clear", "person_hours", "--clear", "note", "--yes")),
        Write("void", ("void", "1", "--why", "x", "--yes")),
        Write("unite", ("unite", "other"), _another_copy(template) if template else {}),
    )  # fmt: skip


def _another_copy(template: Path) -> dict[str, bytes]:
    """Return the files of a copy of the property in which more was written: lines, a walk, a photo."""
    with tempfile.TemporaryDirectory() as folder:
        other, work = laid_out(template, Path(folder), Write("a copy", files={"t.gpx": gpx(column=1), **_photos()}))
        for words in (
            ("log", "cut", "--track", "t.gpx"),
            ("load", "photos", "photos"),
            ("void", "4", "--why", "x", "--yes"),
        ):
            answer = run_words(["--place", str(other), *words], cwd=work)
            if answer.code != 0:
                raise RuntimeError(f"the other copy could not be made: {answer.err}")
        return {f"other/{name}": content for name, content in contents(other).items() if not name.endswith("/")}


def _photos() -> dict[str, bytes]:
    table = b"file,lon,lat,taken_at,private\ntwo.jpg,-97.9995,38.0005,2025-09-15,no\n"
    return {"photos/two.jpg": picture(90), "photos/photos.csv": table}


def _of_files() -> tuple[Write, ...]:
    files = valid_files()
    heights = raster(lambda row, column: 500 + column)
    plots = files["load plots"]["p.csv"].replace(b"\np", b"\nq")
    forecast = files["load forecast"]["w.csv"].replace(b"2026-03-06", b"2026-03-07")
    return (
        Write("load units", ("load", "units", "u.geojson"), {"u.geojson": files["load units"]["u.geojson"]}),
        Write("load features", ("load", "features", "f.geojson", "--overwrite"), {"f.geojson": FEATURES.replace(b"lane", b"new lane")}),
        Write("load entries", ("load", "entries", "e.csv"), {"e.csv": MORE_ENTRIES}),
        Write("load entries of one practice", ("load", "entries", "e.csv", "--map", "practice==mow", "--map", "date=day"), {"e.csv": b"day,unit_id,whole\n2026-04-02,A,yes\n2026-04-03,C,yes\n"}),
        Write("load plots", ("load", "plots", "p.csv"), {"p.csv": plots}),
        Write("load sightings", ("load", "sightings", "s.csv"), {"s.csv": SIGHTINGS.replace(b"\no", b"\nn")}),
        Write("load cover", ("load", "cover", "c.csv"), {"c.csv": COVER.replace(b"r1", b"r9")}),
        Write("load forecast", ("load", "forecast", "w.csv"), {"w.csv": forecast}),
        Write("load photos", ("load", "photos", "photos"), _photos()),
        Write("load boundary", ("load", "boundary", "b.geojson", "--overwrite"), {"b.geojson": geojson(("Polygon", square(-0.3, -0.5, 4.5), {}))}),
        Write("load dem", ("load", "dem", "d.tif", "--copy", "--overwrite"), {"d.tif": heights}),
        Write("load canopy", ("load", "canopy", "h.tif", "--copy", "--overwrite"), {"h.tif": raster(lambda row, column: row % 7)}),
        Write("load block", ("load", "block", "k.geojson", "--name", "new"), {"k.geojson": geojson(("Polygon", square(0, 0, 0.9), {}))}),
    )  # fmt: skip


def _of_units() -> tuple[Write, ...]:
    across = geojson(("LineString", [[LON + 2.5 * STEP, LAT - STEP], [LON + 2.5 * STEP, LAT + 2 * STEP]], {}))
    smaller = geojson(("Polygon", square(2, 0, 0.9), {}))
    return (
        Write("trace", ("trace", "t.gpx", "--unit-id", "W", "--cover", "cedar"), {"t.gpx": gpx(column=4)}),
        Write("unit redraw", ("unit", "redraw", "C", "r.geojson", "--trim"), {"r.geojson": smaller}),
        Write("unit split", ("unit", "split", "C", "--by", "line.geojson"), {"line.geojson": across}),
        Write("unit merge", ("unit", "merge", "B", "C", "--into", "B")),
        Write("unit retire", ("unit", "retire", "C")),
        Write(
            "unit redate",
            ("unit", "redate", "C", "--from", "2026-03-01"),
            {"r.geojson": smaller},
            first=[("unit", "redraw", "C", "r.geojson")],
        ),
        Write("unit undo", ("unit", "undo", "C"), first=[("unit", "retire", "C")]),
        Write("feature void", ("feature", "void", "lane", "--why", "x")),
        Write("plot void", ("plot", "void", "p1", "--why", "x")),
    )


def _for_others() -> tuple[Write, ...]:
    burn = (
        "burnsheet",
        "A",
        "--time",
        "2026-03-06T10:00",
        "--temp-f",
        "50",
        "--rh-pct",
        "40",
        "--wind-mph",
        "8",
        "--wind-from",
        "190",
    )
    lines = {
        "map": ("map",), "sheet": ("sheet",), "handout": ("handout",), "bite": ("bite", "--acres", "1"), "burnsheet": burn,
        "due": ("due",), "schedule": ("schedule", "--hours-per-week", "20"), "export practices": ("export", "practices"),
        "export ledger": ("export", "ledger"), "export units": ("export", "units"), "export gpx": ("export", "gpx"),
        "export revisits": ("export", "revisits"), "export packet": ("export", "packet", "--item", "G-1"),
        "export log-sheet": ("export", "log-sheet"), "manual": ("manual",),
    }  # fmt: skip
    names = {
        "map": "m.html", "bite": "b.gpx", "due": "d.ics", "schedule": "s.ics", "export practices": "p.csv", "manual": "m.html",
        "export ledger": "l.csv", "export units": "u.gpkg", "export gpx": "g.gpx", "export revisits": "r.gpx",
    }  # fmt: skip
    option = {"due": "--ics", "schedule": "--ics", "burnsheet": "--sheet"}
    return tuple(
        Write(name, (*words, option.get(name, "-o"), names.get(name, "x.pdf")), output=names.get(name, "x.pdf"))
        for name, words in lines.items()
    )


def _at_the_desk() -> tuple[Write, ...]:
    line = {"practice": "cut", "date": "2026-04-02", "unit": "B", "whole": "yes"}
    outline = square(5, 0)
    drawn = geojson(("Polygon", outline, {})).decode()
    seen: dict[str, str | None] = {"seen": None}
    keep: dict[str, str | None] = {"draft": None}
    plot = {
        "kind": "plots",
        "method": "fixed",
        "plot_id": "z1",
        "unit_id": "A",
        "plot_acres": "0.05",
        "stems": "12",
        "date": "2026-01-05",
    }
    hold = {"block": "hold", "key.unit": "A", "key.reason": "wet", "key.from": "2026-05-01", "key.to": "2026-06-01"}
    return (
        Write("desk: a new property", desk=[("/start/make", {"name": "place", "timezone": "America/Chicago"})], is_new=True),
        Write("desk: log", desk=[("log/preview", line), ("log/save", keep)]),
        Write("desk: withdraw", desk=[("GET history/void?line=2", {}), ("history/void", {**seen, "line": "2", "why": "x", "yes": "yes"})]),
        Write("desk: correct", desk=[
            ("GET history/correct?line=1", {}),
            ("history/look", {**seen, "line": "1", "practice": "cut", "date": "2025-11-02", "killed_pct": "50", "why": "x", "yes": "yes", "ground": ""}),
            ("history/correct", {**seen, **keep, "line": "1", "why": "x", "yes": "yes"}),
        ]),
        Write("desk: what was seen", desk=[("seen/look", plot), ("seen/save", keep)]),
        Write("desk: settings", desk=[("GET settings", {}), ("settings/change", {**seen, "key.terrain.flat_below_pct": "6"})]),
        Write("desk: the whole settings", desk=[("GET settings", {}), ("settings/replace", {**seen, "text": '[place]\nname = "Small"\ntimezone = "America/Chicago"\n'})]),
        Write("desk: a block of the settings", desk=[("GET settings/block?block=hold", {}), ("settings/block", {**seen, **hold})]),
        Write("desk: a block taken out", desk=[("GET settings", {}), ("settings/drop", {**seen, "block": "hold", "at": "0"})]),
        Write("desk: a unit", desk=[("units/outline", {"ground": drawn}), ("units/add", {**keep, "unit_id": "N", "name": "n", "cover": "cedar"})]),
        Write("desk: a unit retired", desk=[("units/look", {"unit": "C", "change": "retire", "from": "2026-05-01"}), ("units/change", keep)]),
    )  # fmt: skip


def unnamed() -> list[str]:
    """Return commands of the parser and acts of the desk's rooms that no row of this module names."""
    from habmap.desk.rooms import IN_ORDER
    from soak.fuzz import commands

    rows = writes(None)
    lines = [*(write.words for write in rows if write.words), *READS]
    told = {step.lstrip("/") for write in rows for step, _ in write.desk} | DESK_LOOKS
    return [
        *(" ".join(words) for words, _ in commands() if words[0] not in LEFT_OUT and not any(line[: len(words)] == words for line in lines)),
        *(f"desk: {room.name}/{act}" for room in IN_ORDER for act in room.acts if f"{room.name}/{act}" not in told),
    ]  # fmt: skip


# --- doing one ----------------------------------------------------------------------------------------------


def laid_out(template: Path, folder: Path, write: Write) -> tuple[Path, Path]:
    """Copy the property and put a command's files beside it; return the place and the folder of work."""
    shutil.rmtree(folder, ignore_errors=True)
    place, work = folder / "place", folder / "work"
    if write.is_new:
        folder.mkdir(parents=True)
    else:
        shutil.copytree(template, place)
    work.mkdir()
    for name, content in write.files.items():
        (work / name).parent.mkdir(parents=True, exist_ok=True)
        (work / name).write_bytes(content)
    for words in write.first:
        answer = run_words(["--place", str(place), *words], cwd=work)
        if answer.code != 0:
            raise RuntimeError(f"{write.name}: {' '.join(words)} ended with {answer.code}: {answer.err}")
    return place, work


def prepared(place: Path, work: Path, write: Write) -> Callable[[], Answer]:
    """Come as far as the writing itself; return what does that. Its code is a command's, of the desk too."""
    if not write.desk:
        words = write.words if write.is_new else ("--place", str(place), *write.words)
        return lambda: run_words(words, cwd=work)
    from soak.desk_forms import TestDesk

    desk = TestDesk(None if write.is_new else place, made_in=place.parent)
    before = Answer(0, "", "")
    for path, fields in write.desk[:-1]:
        before = desk.step(path, fields, before)
    return lambda: _as_command(desk.step(*write.desk[-1], before))


def _as_command(answer: Answer) -> Answer:
    code = {303: 0, 422: 3}.get(answer.code, 70)
    return Answer(code, answer.out if code else "", answer.err)


# --- what must hold -----------------------------------------------------------------------------------------


def state_of(place: Path, work: Path, write: Write) -> State:
    """Return what a property holds, and the file for others; nothing where there is no property."""
    from habmap.place.store import GeoPackageStore

    output = work / write.output if write.output else None
    written = output.read_bytes() if output is not None and output.exists() else None
    if not (place / SETTINGS).exists():
        return State(0, None, written)
    return State(len(GeoPackageStore.open(place).rows()), (place / SETTINGS).read_bytes(), written)


def broken(
    place: Path, work: Path, write: Write, *, before: State, after: State, is_told: bool, is_exact: bool = False
) -> str | None:
    """Say what is wrong with a property after a write was cut off, if anything: it is as before or as after, never between.

    Parameters
    ----------
    before, after
        What it held, and holds once the write is whole.
    is_told
        Whether a person was told that it was done.
    is_exact
        ``after`` is of this very run. A file for others holds the moment, so that another run's is only about as long.
    """
    from habmap.errors import HabmapError

    try:
        now = state_of(place, work, write)
    except HabmapError as error:
        return f"it does not open: {error}"
    if not is_exact and now.output and after.output and len(now.output) > 0.98 * len(after.output):
        after = replace(after, output=now.output)
    if now.settings is None and before.settings is None and not is_told:
        return _begun_anew(place)
    if is_told and now != after:
        return f"what was acknowledged is not there: {_difference(now, after)}"
    if now.rows not in (before.rows, after.rows):
        return f"{now.rows} rows, where there were {before.rows} and should be {after.rows}"
    if now.settings not in (before.settings, after.settings):
        return "the settings are neither as before nor as after"
    if now.output not in (before.output, after.output):
        return f"{write.output} is there with {len(now.output or b''):,} bytes of {len(after.output or b''):,}"
    content = sha256()
    for name, data in sorted(contents(place).items()):
        content.update(f"{name} {len(data)} ".encode() + data)
    if content.digest() not in _SOUND:
        if wrong := _unsound(place):
            return wrong
        _SOUND.add(content.digest())
    return None


def _unsound(place: Path) -> str | None:
    """Say what is wrong with a property in itself."""
    from habmap.place.store import GeoPackageStore

    store = GeoPackageStore.open(place)
    if faults := store.storage_faults():
        return f"its file has faults: {faults}"
    for row in store.rows():
        kept = getattr(row, "picture", None)
        if isinstance(kept, str) and store.picture(kept) is None:
            return f"a photo's picture is not there: {kept}"
    checked = run_words(["--place", str(place), "check"])
    if checked.code != 0:
        return f"check ended with {checked.code}: {(checked.out + checked.err)[:600]}"
    return None


def _difference(now: State, after: State) -> str:
    parts = [name for name in ("rows", "settings", "output") if getattr(now, name) != getattr(after, name)]
    return f"{', '.join(parts)} ({now.rows} rows of {after.rows})"


def _begun_anew(place: Path) -> str | None:
    """Say what is wrong with a property that was never made whole: making it anew works, or is refused in words."""
    words = ("start", str(place), "--name", "New", "--timezone", "America/Chicago")
    answer = run_words(words)
    is_refused = answer.code == 3 and "fix: " in answer.err
    return None if answer.code == 0 or is_refused else f"begun anew, it ended with {answer.code}: {answer.err[-600:]}"
