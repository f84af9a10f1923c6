"""Parts of the desk by themselves: rooms that take long, what is kept until a property changes, drafts, long work."""

from __future__ import annotations

import asyncio
import http.client
import json
import re
import socket
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from urllib.parse import urlsplit

import pytest
import uvicorn
from shapely.geometry import box, mapping
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse, Response

import habmap
from habmap.cli import commands
from habmap.desk.app import Desk
from habmap.desk.asked import Asked, Brought
from habmap.desk.door import Keys
from habmap.desk.forms import choice_of, field_of
from habmap.desk.known import Known, Property
from habmap.desk.long_work import Work, Works
from habmap.desk.outcome import outcome
from habmap.desk.pages import ASSETS, ROOM_OF, asset, desk_words
from habmap.desk.room import Room
from habmap.desk.rooms import DOORSTEP, IN_ORDER, doorstep, lead, load, log
from habmap.desk.rooms import map as map_room
from habmap.desk.rooms import work as at_work
from habmap.desk.start import Presence
from habmap.errors import PlaceError


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Callable[[Desk], int]]:
    """Serve a desk without its door, and return the port."""
    servers: list[tuple[uvicorn.Server, threading.Thread]] = []

    def begin(desk: Desk) -> int:
        listening = socket.socket()
        listening.bind(("127.0.0.1", 0))
        listening.listen()
        server = uvicorn.Server(uvicorn.Config(desk.app, lifespan="off", ws="none", log_level="critical"))
        thread = threading.Thread(target=lambda: asyncio.run(server.serve(sockets=[listening])), daemon=True)
        thread.start()
        servers.append((server, thread))
        return int(listening.getsockname()[1])

    yield begin
    for server, thread in servers:
        server.should_exit = True
        thread.join(timeout=10)
        assert not thread.is_alive()


def a_desk(tmp_path: Path, *rooms: Room) -> Desk:
    return Desk(
        known=Known(tmp_path / "home", tmp_path / "made"),
        keys=Keys(),
        presence=Presence(),
        in_order=(*rooms, DOORSTEP),
    )


def get(port: int, path: str) -> tuple[int, str]:
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    line.request("GET", path, headers={"Connection": "close"})
    answer = line.getresponse()
    found = answer.status, answer.read().decode()
    line.close()
    return found


def test_a_room_that_takes_long_says_so_and_is_worked_out_once(
    tmp_path: Path, served: Callable[[Desk], int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("habmap.desk.app._ROOM_PATIENCE_S", 0.1)
    go, asked_for = threading.Event(), []

    def slow(asked: Asked) -> Response:
        asked_for.append(asked.text("x"))
        go.wait(20)
        return PlainTextResponse("there it is")

    room = Room(name="slow", title="Slow", show=slow, needs_property=False, needs_libraries=False)
    port = served(a_desk(tmp_path, room))
    began = time.monotonic()
    status, text = get(port, "/slow?x=1")
    assert status == 200
    assert "This page is being worked out." in text
    assert time.monotonic() - began < 5
    assert get(port, "/")[0] == 200  # other rooms answer meanwhile
    assert "being worked out" in get(port, "/slow?x=1")[1]
    go.set()
    deadline = time.monotonic() + 10
    while (text := get(port, "/slow?x=1")[1]) != "there it is" and time.monotonic() < deadline:
        time.sleep(0.05)
    assert text == "there it is"
    assert asked_for == ["1"]


def test_a_fault_of_the_program_is_said_without_its_inner_words(tmp_path: Path, served: Callable[[Desk], int]) -> None:
    def broken(asked: Asked) -> Response:
        raise RuntimeError("secret words")

    room = Room(name="broken", title="Broken", show=broken, needs_property=False, needs_libraries=False)
    status, text = get(served(a_desk(tmp_path, room)), "/broken")
    assert status == 500
    assert "fault of the program" in text
    assert "secret" not in text


def test_what_is_made_of_a_property_is_kept_until_anybody_writes_to_it(tmp_path: Path, run_habmap: Any) -> None:
    folder = tmp_path / "place"
    assert run_habmap("start", folder, "--name", "Kept", "--timezone", "America/Chicago").code == 0
    place, made = Property(folder), []

    def make(store: Any) -> int:
        made.append(len(store.entries()))
        return len(made)

    assert place.kept("x", make) == 1
    assert place.kept("x", make) == 1
    path = folder / "habmap.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("sigma_m = 3 ", "sigma_m = 4 "), encoding="utf-8")
    assert place.kept("x", make) == 2
    assert place.store().settings.gps.sigma_m == 4


def test_only_folders_of_properties_are_taken_and_the_list_is_kept(tmp_path: Path, run_habmap: Any) -> None:
    folder = tmp_path / "place"
    assert run_habmap("start", folder, "--name", "Known", "--timezone", "America/Chicago").code == 0
    known = Known(tmp_path / "home", tmp_path / "made")
    with pytest.raises(PlaceError, match="no property"):
        known.add(tmp_path)
    one = known.add(folder)
    assert one.name == "Known"
    again = Known(tmp_path / "home", tmp_path / "made")
    assert [each.folder for each in again.all()] == [folder]
    assert (tmp_path / "home" / "properties.json").stat().st_mode & 0o077 == 0
    (folder / "habmap.toml").unlink()
    assert again.all() == ()
    (tmp_path / "home" / "properties.json").write_text("not json", encoding="utf-8")
    assert Known(tmp_path / "home", tmp_path / "made").all() == ()


def test_a_property_put_beside_those_made_here_is_opened_and_no_other_folder(tmp_path: Path) -> None:
    desk = a_desk(tmp_path)
    made, elsewhere = tmp_path / "made", tmp_path / "elsewhere"
    for folder, name in ((made / "From the laptop", "North pasture"), (elsewhere, "Not here")):
        habmap.start(folder, name=name, timezone="America/Chicago")
    (made / "a link").symlink_to(elsewhere, target_is_directory=True)
    (made / "no property").mkdir()
    asked = Asked(desk=desk, room="start", place=None)
    assert [one.name for one in desk.known.brought()] == ["North pasture"]
    assert b"open North pasture" in doorstep.show(asked).body
    for folder in (elsewhere, made / "no property"):
        with pytest.raises(HTTPException):
            doorstep.take_in(replace(asked, said={"folder": [Property(folder).key]}))
    assert desk.known.all() == ()
    opened = doorstep.take_in(replace(asked, said={"folder": [desk.known.brought()[0].key]}))
    assert opened.status_code == 303
    assert [one.name for one in desk.known.all()] == ["North pasture"]
    assert desk.known.brought() == ()
    (made / "From the laptop" / "place.gpkg").write_bytes(b"not a property any more")
    (tmp_path / "home" / "properties.json").unlink()
    later = replace(asked, desk=(fresh := a_desk(tmp_path)), said={"folder": [fresh.known.brought()[0].key]})
    assert doorstep.take_in(later).status_code == 422
    assert fresh.known.all() == ()


def test_rooms_have_names_of_their_own_and_every_template_and_asset_is_there() -> None:
    names = [room.name for room in IN_ORDER]
    assert len(set(names)) == len(names)
    for name in ASSETS:
        assert asset(name)
    # a property's key is ten hexadecimal digits: no room may be called so
    assert not [name for name in names if len(name) == 10 and set(name) <= set("0123456789abcdef")]


def test_options_of_the_command_line_are_called_by_the_words_of_the_form() -> None:
    assert desk_words("add --killed-pct; else --note T") == "add share killed; else note T"
    assert desk_words("a dash - or -- stays, so does habmap--x") == "a dash - or -- stays, so does habmap--x"


#: Options of what no form of the desk does: its sentences are never shown there.
NOT_AT_THE_DESK = {
    "--place", "--for", "--with-hours", "--with-cost", "--output", "--on", "--hand-only", "--preview", "--page",
    "--around", "--policy",
}  # fmt: skip


def test_no_sentence_of_the_desk_names_an_option_that_its_forms_do_not_have() -> None:
    """Every option that any sentence of the rooms below names has words, whoever comes to write the next one."""
    package = Path(habmap.__file__).parent
    sources = [
        path for room in ("records", "land", "work", "place", "show", "jobs") for path in (package / room).rglob("*.py")
    ]
    named = {
        flag for path in sources for flag in re.findall(r"(?<![\w-])--[a-z]+(?:-[a-z]+)*", path.read_text("utf-8"))
    }
    assert len(named) > 40
    assert {flag for flag in named if desk_words(flag).startswith("--")} <= NOT_AT_THE_DESK


def test_choices_are_words_and_carry_their_key() -> None:
    told = {key: choice_of(key) for key in ("down_cedar", "20ft", "nativeReintroduced", "line", "other", "CRP")}
    assert told == {
        "down_cedar": ("down_cedar", "down cedar"),
        "20ft": ("20ft", "at 20 ft"),
        "nativeReintroduced": ("nativeReintroduced", "native reintroduced"),
        "line": ("line", "firebreak"),
        "other": ("other", "other"),
        "CRP": ("CRP", "CRP"),
    }
    for one in log.facts_for("burn"):
        assert [key for key, _ in field_of(one).choices] in ([*one.choices], ["yes", "no"]), one.name


def test_commands_are_called_by_the_room_that_does_their_work() -> None:
    assert desk_words("`habmap history` lists every line") == "“History” lists every line"
    assert desk_words("load them with `habmap load units FILE`") == "load them with “Load”"
    titles = {room.title for room in IN_ORDER}
    assert set(ROOM_OF.values()) <= titles
    assert set(ROOM_OF) - {"void"} <= set(commands.NAMES)


def test_nothing_can_be_drawn_before_anything_says_where_on_earth_the_property_is(
    tmp_path: Path, run_habmap: Any
) -> None:
    """An outline drawn on an empty sheet lies at 0°, 0°, and would fix the property's grid there for good."""
    folder = tmp_path / "nowhere"
    assert run_habmap("start", folder, "--name", "Nowhere").code == 0
    desk = a_desk(tmp_path, *IN_ORDER)
    asked = Asked(desk=desk, room="map", place=desk.known.add(folder))
    answer = map_room.show(asked)
    assert (answer.status_code, answer.headers["location"]) == (303, asked.address("lead"))
    steps = lead.show(replace(asked, room="lead")).body.decode()
    assert f'href="{asked.address("map")}"' not in steps.partition("<main")[2]
    (tmp_path / "line.geojson").write_text(json.dumps(mapping(box(-84.24, 36.58, -84.23, 36.59))))
    assert run_habmap("load", "boundary", tmp_path / "line.geojson", place=folder).code == 0
    page = map_room.show(asked).body.decode()
    assert "load them with “Load”" in page  # and no command for who has no terminal
    assert "habmap load" not in page
    assert f'href="{asked.address("map")}"' in lead.show(asked).body.decode().partition("<main")[2]


def test_every_link_of_the_forms_for_a_days_work_leads_to_a_room(tmp_path: Path, run_habmap: Any) -> None:
    folder = tmp_path / "place"
    assert run_habmap("start", folder, "--name", "Linked").code == 0
    desk = a_desk(tmp_path, *IN_ORDER)
    asked = Asked(desk=desk, room="log", place=desk.known.add(folder), said={"practice": ["cut"]})
    links = re.findall(r'<main.*href="([^"]+)">another kind of work', log.show(asked).body.decode(), re.DOTALL)
    assert [urlsplit(link).path for link in links] == [asked.address("log")]


def test_a_property_in_a_zone_that_is_none_is_asked_for_once_more_with_what_was_typed(tmp_path: Path) -> None:
    asked = Asked(desk=a_desk(tmp_path), room="start", place=None, said={"name": ["Far"], "timezone": ["Mountain"]})
    answer = doorstep.make(asked)
    text = answer.body.decode()
    assert answer.status_code == 422
    assert 'value="Far"' in text
    assert '<option value="America/Denver">Mountain</option>' in text
    assert not (tmp_path / "made").exists()


def test_outlines_whose_columns_have_other_names_are_asked_about_and_loaded(
    tmp_path: Path, run_habmap: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No map program calls its columns as habmap does, and a globe viewer's KML has none but the name."""
    folder, shelf = tmp_path / "place", tmp_path / "shelf"
    assert run_habmap("start", folder, "--name", "Asked").code == 0
    shelf.mkdir()
    stand = {
        "type": "Feature",
        "properties": {"Stand": "N4", "acres": 3},
        "geometry": mapping(box(-84.24, 36.58, -84.238, 36.582)),
    }
    (shelf / "stands.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": [stand]}))
    desk = a_desk(tmp_path, *IN_ORDER)
    begun: list[list[str]] = []
    monkeypatch.setattr(desk.works, "begin", lambda words, **_: begun.append(words) or SimpleNamespace(key="w"))
    files = {"file": (Brought("stands.geojson", shelf / "stands.geojson"),)}
    asked = Asked(desk=desk, room="load", place=desk.known.add(folder), said={"kind": ["units"]}, files=files)
    page = load.bring(asked).body.decode()
    assert not begun
    assert 'name="column.unit_id"' in page
    assert '<option value="Stand">Stand</option>' in page
    assert '<option value="=cedar">every one: cedar</option>' in page
    draft = re.findall(r'name="draft" value="([^"]+)"', page)[-1]
    said = {
        "kind": ["units"],
        "draft": [draft],
        "column.unit_id": ["Stand"],
        "column.cover": ["=cedar"],
        "column.name": [""],
    }
    assert load.bring(replace(asked, said=said, files={})).status_code == 303
    ((*words,),) = begun
    told = run_habmap(*words, place=folder).json
    assert (told["loaded"], list(told["acres_by_cover"])) == (1, ["cedar"])
    assert run_habmap("acres", "--json", place=folder).json["units"][0]["unit_id"] == "N4"


def test_no_page_tells_into_which_folder_a_file_was_put() -> None:
    shelf = Path(tempfile.gettempdir(), "habmap-desk-ab1_c", "tmpx8")
    assert desk_words(f"{shelf / 'glade.kml'}, feature 1 measures 1.5 m²") == "glade.kml, feature 1 measures 1.5 m²"


def test_what_came_of_a_work_is_said_in_sentences_and_never_by_keys(run_habmap: Any, tmp_path: Path) -> None:
    folder = tmp_path / "place"
    assert run_habmap("start", folder, "--name", "Told").code == 0
    unit = {"type": "Feature", "properties": {"unit_id": "A", "cover": "cedar", "aspen": 2}}
    unit["geometry"] = mapping(box(-84.24, 36.58, -84.238, 36.582))
    (tmp_path / "a.geojson").write_text(json.dumps(unit))
    (tmp_path / "s.csv").write_text(
        "eventDate,scientificName,decimalLatitude,decimalLongitude\n2026-01-01,Quercus alba,36.581,-84.239\n"
    )
    told = {
        "units": ("units", tmp_path / "a.geojson"),
        "again": ("units", tmp_path / "a.geojson"),
        "sightings": ("sightings", tmp_path / "s.csv"),
    }
    said = {name: outcome(run_habmap("load", *words, "--json", place=folder).json) for name, words in told.items()}
    assert re.fullmatch(r"1 unit loaded, \d+\.\d\d acres; cedar \d+\.\d\d\.", said["units"][0])
    assert said["again"][0] == "0 units loaded. 1 was there already."
    assert said["sightings"][0] == "1 sighting loaded."
    for words in (("map",), ("export", "gpx"), ("export", "revisits")):
        target = tmp_path / "-".join(words)
        answer = run_habmap(
            *words, "-o", target.with_suffix(".html" if words == ("map",) else ".gpx"), "--json", place=folder
        )
        assert all("_" not in one and "None" not in one for one in outcome(answer.json)), outcome(answer.json)
    assert outcome(run_habmap("export", "revisits", "-o", tmp_path / "r.gpx", "--json", place=folder).json) == (
        "Nothing is in it yet.",
    )
    assert outcome("a text") == outcome(None) == ()


def test_a_paper_for_the_public_bears_it_in_its_name() -> None:
    from habmap.desk.rooms.papers import PAPERS, named_for

    names = {audience: [named_for(paper, audience)[0] for paper in PAPERS] for audience in ("owner", "public")}
    assert not set(names["owner"]) & set(names["public"])
    assert named_for(PAPERS[0], "public") == ("map-public.html", "The map for the public")


def test_every_paper_but_what_goes_to_the_woods_is_made_for_somebody() -> None:
    from habmap.desk.rooms.papers import PAPERS

    assert {paper.key for paper in PAPERS if not paper.for_whom} == {"log-sheet", "bite"}


@pytest.mark.parametrize("ticked", [True, False])
def test_a_bite_may_take_ground_too_steep_for_a_machine(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ticked: bool
) -> None:
    from habmap.desk.rooms import papers

    habmap.start(tmp_path / "place", name="P", timezone="America/Chicago")
    desk, asked_for = a_desk(tmp_path), list[str]()

    def begin(words: list[str], **about: Any) -> SimpleNamespace:
        asked_for.extend(words)
        return SimpleNamespace(key="1")

    monkeypatch.setattr(desk.works, "begin", begin)
    said = {"paper": ["bite"], "acres": ["2"], **({"hand-only": ["yes"]} if ticked else {})}
    papers.make(Asked(desk=desk, room="papers", place=desk.known.add(tmp_path / "place"), said=said))
    assert asked_for[0] == "bite" and "--acres=2" in asked_for
    assert ("--hand-only" in asked_for) is ticked


def until(is_so: Callable[[], object], patience_s: float = 120.0) -> None:
    """Wait for what another process does."""
    end = time.monotonic() + patience_s
    while not is_so():
        assert time.monotonic() < end, "it did not come"
        time.sleep(0.02)


def a_work(
    monkeypatch: pytest.MonkeyPatch, program: str, folder: Path, *words: str, works: Works | None = None
) -> Work:
    """Begin a work of no property whose command is a program of the test's own."""
    monkeypatch.setattr("habmap.desk.long_work.COMMAND", (sys.executable, "-c", program))
    return (works or Works()).begin(words, folder=folder, place="", title="The sheet", room="papers", files={})


#: Goes on when it is told to; its words for people stand between those of progress.
COUNTS = """
import sys, time
from pathlib import Path
from habmap.progress import Share
folder = Path(sys.argv[2])
for done in range(1, 4):
    print(Share(done=done, count=3, what="photos").line(), file=sys.stderr, flush=True)
    print("a word for people", file=sys.stderr, flush=True)
    while not (folder / str(done)).exists():
        time.sleep(0.01)
print("over")
"""
#: Fails when it is told to.
FAILS = """
import sys, time
from pathlib import Path
while not (Path(sys.argv[3]) / "go").exists():
    time.sleep(0.01)
sys.exit("no such sheet")
"""
#: The command itself, which comes to a halt in the middle of its drawing.
HALTS = """
import time
import habmap.jobs.sheet
from habmap.cli.main import run
def halt(sheet, path, *, paper):
    path.write_bytes(b"half")
    time.sleep(600)
habmap.jobs.sheet.draw_sheet = halt
run()
"""


def test_long_work_tells_how_far_it_is_and_ends_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    work = a_work(monkeypatch, COUNTS, tmp_path)
    for done in (1, 2, 3):
        until(lambda done=done: work.pace.share is not None and work.pace.share.done == done)
        assert work.words == f"{done} of 3 photos"
        assert "seconds so far" in work.time_words
        (tmp_path / str(done)).touch()
    until(lambda: work.is_over)
    assert work.error is None
    assert work.answer == "over"
    assert work.pace.share is not None
    assert work.pace.share.done_frac == 1.0


@pytest.mark.skipif(sys.platform == "win32", reason="a process is ended there without being asked")
def test_work_that_is_cancelled_in_the_middle_leaves_no_half_file(
    tmp_path: Path, demo_place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "sheet.pdf"
    work = a_work(monkeypatch, HALTS, demo_place, "sheet", "-o", str(target), "--json")
    until(lambda: work.is_over or (list(tmp_path.iterdir()) and work.words == "step 5 of 5: drawing"))
    assert not work.is_over, work.error
    work.cancel()
    assert work.is_over or work.words == "it is being stopped"
    until(lambda: work.is_over)
    assert work.is_cancelled
    assert list(tmp_path.iterdir()) == []


def test_a_work_that_fails_while_its_page_is_made_is_shown_as_it_was_or_with_its_reason(
    tmp_path: Path, demo_place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = a_desk(tmp_path, at_work.ROOM)
    place = desk.known.add(demo_place)
    monkeypatch.setattr("habmap.desk.long_work.COMMAND", (sys.executable, "-c", FAILS))
    work = desk.works.begin(
        [str(tmp_path)], folder=tmp_path, place=place.key, title="The sheet", room="papers", files={}
    )
    asked = Asked(desk=desk, room="work", place=place, said={"id": [work.key]})
    made = at_work.page

    def later(*words: Any, **more: Any) -> Response:
        (tmp_path / "go").touch()
        until(lambda: work.is_over)
        return made(*words, **more)

    monkeypatch.setattr(at_work, "page", later)
    first, after = at_work.show(asked), at_work.show(asked)
    assert (b"data-work=" in first.body) != (b"o such sheet" in first.body), first.body.decode()
    assert b"o such sheet" in after.body
    assert after.status_code == 422


def test_the_page_that_waits_for_the_sample_shows_how_far_it_is(
    tmp_path: Path, served: Callable[[Desk], int], monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = a_desk(tmp_path)
    port = served(desk)
    work = a_work(monkeypatch, COUNTS, tmp_path, works=desk.works)
    until(lambda: work.pace.share is not None)
    status, page = get(port, f"/start/making?id={work.key}")
    assert status == 200
    assert "1 of 3 photos" in page
    assert 'value="0.333' in page
    for done in (1, 2, 3):
        (tmp_path / str(done)).touch()
    until(lambda: work.is_over)
