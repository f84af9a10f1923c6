"""Words, days and files that a careless or hostile hand may give, and what becomes of them."""

from __future__ import annotations

import json
import os
import xml.dom.minidom
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from fakes import GRID, FakeStore, unit
from shapely import MultiPolygon, box

from habmap.cli.output import print_error, print_table, say, warn
from habmap.errors import InputError, PlaceError
from habmap.jobs.map import build_page
from habmap.place.groundraster import open_source
from habmap.place.layers import read_layer
from habmap.place.settings_reading import read_settings
from habmap.place.userfiles import check_readable
from habmap.place.writers import gpx_text
from habmap.show.page.render import render_page
from habmap.show.sheet import pen as sheet_pen
from habmap.show.templating import ENVIRONMENT
from habmap.work.paperwork_records import program_year

STEERING = "a\x1b[31mb\u202ec\td\x07\u2028e"


def test_words_cannot_steer_a_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    say(f"first\n{STEERING}")
    warn(STEERING)
    print_table(["name"], [[STEERING + "\n"]])
    shown = capsys.readouterr()
    for text in (shown.out, shown.err):
        assert not set("\x1b\u202e\t\x07\u2028") & set(text)
        assert "a [31mb c d  e" in text
    assert shown.out.startswith("first\n")


def test_words_of_any_script_are_shown_as_they_are(capsys: pytest.CaptureFixture[str]) -> None:
    words = "مرحبا 👩\u200d🌾 café\u00a0Zürich"
    say(words)
    assert capsys.readouterr().out == words + "\n"


def test_a_handheld_file_is_xml_whatever_the_names_hold() -> None:
    hostile = "]]></name>\ufffe\uffff\x00\x0b\ud800&\U0001f525"
    ground = MultiPolygon([box(-97.1, 36.1, -97.09, 36.11)])
    text = gpx_text(name=hostile, edges=[(hostile, hostile, ground)])
    document = xml.dom.minidom.parseString(text.encode("utf-8"))
    names = [node.firstChild.data for node in document.getElementsByTagName("name")]  # type: ignore[union-attr]
    assert set(names) == {"]]></name>&\U0001f525"}


@pytest.mark.parametrize("read", [check_readable, lambda path: open_source(path, kind="elevation").__enter__()])
def test_a_pipe_is_refused_and_not_waited_for(read: object, tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.gpkg"
    os.mkfifo(pipe)
    with pytest.raises(InputError, match="pipe or a device"):
        read(pipe)  # type: ignore[operator]
    with pytest.raises(InputError, match="pipe or a device"):
        check_readable(Path(os.devnull))


def test_a_shape_around_the_globe_is_refused(tmp_path: Path) -> None:
    # 0.2 degrees across the 180th meridian, drawn with longitudes that jump: a plain reader sees 359.8 degrees
    ring = "[[179.9, 0], [-179.9, 0], [-179.9, 0.1], [179.9, 0.1], [179.9, 0]]"
    path = tmp_path / "round.geojson"
    path.write_text(f'{{"type": "Polygon", "coordinates": [{ring}]}}')
    (fault,) = read_layer(path).faults
    assert "around the globe" in fault.what


def settings_file(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    (folder / "habmap.toml").write_text(text, encoding=encoding)
    return folder


@pytest.mark.parametrize(
    "text",
    [
        '[[closed]]\nwork = "cut"\nfrom = "02-30"\nto = "03-01"',
        '[[burn_for]]\nreason = "cedar"\nfrom = "04-31"\nto = "05-01"',
        '[paperwork]\nprogram_year_starts = "02-30"',
        "[seasons]\nupkeep_years = 1e300",
        "[seasons]\ndrying_days = [1, 99999999999]",
        "[rank.weights]\nsun_facing = 1e308\nheat_load = 1e308",
    ],
)
def test_settings_that_no_calendar_or_sum_holds_are_refused(text: str, tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        read_settings(settings_file(tmp_path, text))
    assert not isinstance(caught.value, PlaceError)


def test_settings_saved_with_a_byte_order_mark_are_read(tmp_path: Path) -> None:
    settings = read_settings(settings_file(tmp_path, '[place]\nname = "Marked"', encoding="utf-8-sig"))
    assert settings.place.name == "Marked"


def test_a_program_year_from_leap_day_leaves_no_gap() -> None:
    spans = [program_year(year, starts="02-29") for year in (2024, 2025, 2026)]
    assert [span.first for span in spans] == [date(2023, 3, 1), date(2024, 2, 29), date(2025, 3, 1)]
    assert [span.last for span in spans] == [date(2024, 2, 28), date(2025, 2, 28), date(2026, 2, 28)]


def test_an_endless_name_is_set_in_few_measurements(monkeypatch: pytest.MonkeyPatch) -> None:
    measured = 0

    def width_pt(text: str, *, size_pt: float, **_style: bool) -> float:
        nonlocal measured
        measured += 1
        return len(text) * size_pt / 2

    monkeypatch.setattr(sheet_pen, "text_width_pt", width_pt)
    name = "x" * 10_000
    assert sheet_pen.clipped(name, 100, size_pt=10) == "x" * 19 + "…"
    lines = sheet_pen.wrapped(name, 100, size_pt=10)
    assert lines == ["x" * 20] * 500
    assert measured < 10_000  # one by one it would be millions


def test_json_cannot_steer_a_terminal_and_reads_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    hostile = "a\u202eb\u2066c\x9b31md\x7fe\u2028f مرحبا"
    print_error(InputError("what", where="there", value=hostile, mend="mend it"), as_json=True)
    text = capsys.readouterr().out
    assert not set("\u202e\u2066\x9b\x7f\u2028") & set(text) and "مرحبا" in text
    assert json.loads(text)["value"] == hostile


def test_a_name_cannot_turn_round_the_words_behind_it_on_a_page() -> None:
    name = "مرحبا \u202e<b>evil"
    shown = ENVIRONMENT.from_string("<p>{{ name }}, {{ acres }} acres</p>").render(name=name, acres=1.5)
    assert shown == "<p>مرحبا &lt;b&gt;evil, 1.5 acres</p>"
    store = FakeStore([replace(unit("A", box(0, 0, 400, 300)), name=name)], grid=GRID)
    page = render_page(build_page(store, now=datetime(2026, 8, 1, tzinfo=UTC), audience="owner"))
    assert "\u202e" not in page and "مرحبا" in page
