"""Papers: the map, the sheet, the handout, tables, layers and the calendar, made and fetched."""

from __future__ import annotations

from dataclasses import KW_ONLY, dataclass
from typing import TYPE_CHECKING, Final

from starlette.responses import Response

from habmap.desk.asked import Asked
from habmap.desk.forms import Field
from habmap.desk.pages import page
from habmap.desk.room import Room
from habmap.errors import UsageError

if TYPE_CHECKING:
    from habmap.jobs.ports import Store


@dataclass(frozen=True, slots=True)
class Paper:
    """One thing that is made.

    Attributes
    ----------
    command, output
        The command that makes it, and its option for the file.
    file_name
        What it is fetched as.
    for_whom
        Whether it is made for the owner or for the public.
    by_unit
        Whether it can be of one unit.
    asks
        What else it is asked, each the option of that name.
    """

    key: str
    title: str
    words: str
    command: tuple[str, ...]
    file_name: str
    _: KW_ONLY
    output: str = "-o"
    for_whom: bool = True
    by_unit: bool = False
    asks: tuple[Field, ...] = ()
    is_json: bool = True


PAPERS: Final = (
    Paper("map", "The map", "One page for the meeting, opens without a network.", ("map",), "map.html"),
    Paper("sheet", "The sheet", "The map for the wall, a PDF true to scale.", ("sheet",), "sheet.pdf", by_unit=True),
    Paper("handout", "The handout", "Four pages for a meeting without a screen.", ("handout",), "handout.pdf"),
    Paper(
        "log-sheet", "A blank log sheet", "To print and fill in by hand.", ("export", "log-sheet"), "log-sheet.pdf",
        for_whom=False, is_json=False,
    ),
    Paper(
        "practices", "Practice acres", "Planned and applied acres for paperwork, a spreadsheet.",
        ("export", "practices"), "practices.xlsx",
    ),
    Paper("ledger", "The log as a table", "Every line that counts, CSV.", ("export", "ledger"), "log.csv"),
    Paper(
        "units", "The units as a layer", "For other map programs, GeoPackage.", ("export", "units"), "units.gpkg"
    ),
    Paper(
        "gpx", "The handheld file", "Unit edges and the ground that remains, GPX.", ("export", "gpx"), "handheld.gpx"
    ),
    Paper(
        "revisits", "The spots due again", "Photo points, plots and frames as waypoints, GPX.",
        ("export", "revisits"), "revisits.gpx",
    ),
    Paper(
        "bite", "The next bite",
        "Where the next acre or two lies: one piece beside opened ground, its outline to walk, GPX.",
        ("bite",), "next-bite.gpx", for_whom=False, by_unit=True,
        asks=(
            Field(name="acres", label="acres", kind="number", value="1.5", low=0.01, is_needed=True),
            Field(name="hand-only", label="ground too steep for a machine, too", kind="box"),
        ),
    ),
    Paper("calendar", "The calendar", "Everything due, for a calendar program.", ("due",), "due.ics", output="--ics"),
)  # fmt: skip


def show(asked: Asked) -> Response:
    """List what can be made."""
    return page(asked, "papers.html.j2", papers=(*PAPERS, *_packets(asked.store)), units=asked.store.units())


def make(asked: Asked) -> Response:
    """Begin to make one, and go where its progress is shown."""
    known = {paper.key: paper for paper in (*PAPERS, *_packets(asked.store))}
    paper = known.get(asked.text("paper"))
    if paper is None:
        raise UsageError(
            "there is no such paper",
            where="the paper",
            value=asked.text("paper"),
            mend="choose one of the papers listed",
        )
    audience = asked.text("audience") if paper.for_whom else ""
    if audience not in ("", "owner", "public"):
        raise UsageError(
            "for whom?", where="for whom", value=audience, allowed="owner, public", mend="choose one of these"
        )
    name, title = named_for(paper, audience)
    target = asked.desk.new_folder() / name
    words = [*paper.command, paper.output, str(target)]
    words += ["--for", audience] if audience else []
    words += ["--unit", asked.text("unit")] if paper.by_unit and asked.has("unit") else []
    for one in paper.asks:
        if asked.has(one.name):
            words.append(f"--{one.name}" if one.kind == "box" else f"--{one.name}={asked.text(one.name)}")
    words += ["--json"] if paper.is_json else []
    work = asked.runs(words, title=title, files={name: target})
    return asked.goto("work", id=work.key)


def named_for(paper: Paper, audience: str) -> tuple[str, str]:
    """Return the name of a paper's file and its title: whose copy it is stands on both."""
    stem, dot, ending = paper.file_name.rpartition(".")
    name = f"{stem}-public{dot}{ending}" if audience == "public" else paper.file_name
    return name, f"{paper.title} for the {audience}" if audience else paper.title


def _packets(store: Store) -> tuple[Paper, ...]:
    """Return one packet for each item of a contract."""
    return tuple(
        Paper(
            key=f"packet-{number}",
            title=f"Packet of item {line.item}",
            words=f"{line.program}: one PDF for an inspector.",
            command=("export", "packet", f"--item={line.item}"),
            file_name=f"packet-{number}.pdf",
            for_whom=False,
        )
        for number, line in enumerate(store.settings.contract, 1)
    )


ROOM: Final = Room(name="papers", title="Papers", show=show, acts={"make": make})
