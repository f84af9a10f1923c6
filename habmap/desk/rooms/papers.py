"""Papers: the map, the sheet, the handout, tables, layers and the calendar, made and fetched."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from starlette.responses import Response

from habmap.desk.asked import Asked
from habmap.desk.forms import Field
from habmap.desk.pages import page
from habmap.desk.room import Room
from habmap.errors import UsageError

if TYPE_CHECKING:
    from habmap.jobs.ports import Store


@dataclass(frozen=True, slots=True, kw_only=True)
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
    output: str = "-o"
    for_whom: bool = True
    by_unit: bool = False
    asks: tuple[Field, ...] = ()
    is_json: bool = True


PAPERS: Final = (
    Paper(
        key="map",
        title="The map",
        words="One page for the meeting, opens without a network.",
        command=("map",),
        file_name="map.html",
    ),
    Paper(
        key="sheet",
        title="The sheet",
        words="The map for the wall, a PDF true to scale.",
        command=("sheet",),
        file_name="sheet.pdf",
        by_unit=True,
    ),
    Paper(
        key="handout",
        title="The handout",
        words="Four pages for a meeting without a screen.",
        command=("handout",),
        file_name="handout.pdf",
    ),
    Paper(
        key="log-sheet",
        title="A blank log sheet",
        words="To print and fill in by hand.",
        command=("export", "log-sheet"),
        file_name="log-sheet.pdf",
        for_whom=False,
        is_json=False,
    ),
    Paper(
        key="practices",
        title="Practice acres",
        words="Planned and applied acres for paperwork, a spreadsheet.",
        command=("export", "practices"),
        file_name="practices.xlsx",
    ),
    Paper(
        key="ledger",
        title="The log as a table",
        words="Every line that counts, CSV.",
        command=("export", "ledger"),
        file_name="log.csv",
    ),
    Paper(
        key="units",
        title="The units as a layer",
        words="For other map programs, GeoPackage.",
        command=("export", "units"),
        file_name="units.gpkg",
    ),
    Paper(
        key="gpx",
        title="The handheld file",
        words="Unit edges and the ground that remains, GPX.",
        command=("export", "gpx"),
        file_name="handheld.gpx",
    ),
    Paper(
        key="revisits",
        title="The spots due again",
        words="Photo points, plots and frames as waypoints, GPX.",
        command=("export", "revisits"),
        file_name="revisits.gpx",
    ),
    Paper(
        key="bite",
        title="The next bite",
        words="Where the next acre or two lies: one piece beside opened ground, its outline to walk, GPX.",
        command=("bite",),
        file_name="next-bite.gpx",
        for_whom=False,
        by_unit=True,
        asks=(Field(name="acres", label="acres", kind="number", value="1.5", low=0.01, is_needed=True),),
    ),
    Paper(
        key="calendar",
        title="The calendar",
        words="Everything due, for a calendar program.",
        command=("due",),
        file_name="due.ics",
        output="--ics",
    ),
)


def show(asked: Asked) -> Response:
    """List what can be made."""
    units = tuple((unit.unit_id, unit.unit_id) for unit in asked.store.units())
    return page(
        asked,
        "papers.html.j2",
        papers=(*PAPERS, *_packets(asked.store)),
        audience=Field(
            name="audience",
            label="for whom",
            kind="choice",
            choices=(("owner", "the owner"), ("public", "the public: no names, notes, hours, costs or private places")),
            empty=None,
        ),
        unit=Field(
            name="unit",
            label="of which unit",
            kind="choice",
            choices=units,
            empty="the whole property, or the one that comes next",
        ),
    )


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
    target = asked.desk.new_folder() / paper.file_name
    words = [*paper.command, paper.output, str(target)]
    words += ["--for", audience] if audience else []
    words += ["--unit", asked.text("unit")] if paper.by_unit and asked.has("unit") else []
    words += [f"--{one.name}={asked.text(one.name)}" for one in paper.asks if asked.has(one.name)]
    words += ["--json"] if paper.is_json else []
    work = asked.desk.works.begin(
        words,
        folder=asked.at.folder,
        place=asked.at.key,
        title=paper.title,
        room="papers",
        files={paper.file_name: target},
    )
    return asked.goto("work", id=work.key)


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
