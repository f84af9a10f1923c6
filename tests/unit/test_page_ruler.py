"""The page's ruler and season account: steps that are the library's figures, words, hostile names, nothing private."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from fakes import FakeStore, entry, unit
from shapely import box

from habmap.jobs.acres import acres
from habmap.jobs.ground import ground
from habmap.jobs.map import build_page
from habmap.place.store import GeoPackageStore
from habmap.show.page import ruler, seasons
from habmap.show.page.render import drawing_json, render_page
from habmap.show.records import Page, PageHistory, PageStep, PrivateOnPublicPageError
from habmap.vocabulary import CEDAR_COVERS
from habmap.work.season_account import Season, SeasonAccount, season_account

NOW = datetime(2026, 8, 1, 12, tzinfo=UTC)
HOSTILE = '</script><img src=x onerror="alert(1)">&"\'{{7*7}}'
#: What a page may be off by: six decimals a unit and stage, of far fewer than a hundred of them [acre].
SHOWN = 1e-3
A_DAY = timedelta(days=1)


def page_of(store: Any, **given: Any) -> Page:
    return build_page(store, now=NOW, audience=given.pop("audience", "owner"), **given)


def two_units(**fields: Any) -> FakeStore:
    """Two squares of 100 m (2.4711 acres): the first cut whole, then half of each burned; hours, cost, who and note."""
    told = {"person_hours": 12.0, "cost": 340.0, "who": "Dorrit Quill", "note": "by the split gate"}
    return FakeStore(
        [
            unit("A", box(0, 0, 100, 100), name=fields.get("name", "South bench")),
            unit("B", box(100, 0, 200, 100)),
            entry("cut", "2025-03-14", box(0, 0, 100, 100), **told),
            entry("burn", "2026-03-02", box(50, 0, 150, 100), **told),
        ]
    )


def told_steps(page: Page) -> tuple[dict[str, Any], list[dict[str, list[float]]]]:
    """Return the ruler's data as the page carries it, and each step's acres by stage, unit by unit."""
    data = json.loads(drawing_json(page))["ruler"]
    ids, now, found = [unit_id for unit_id, _ in data["units"]], {}, []
    for step in data["steps"]:
        for index, *pairs in step["units"]:
            now[ids[index]] = [0.0] * len(data["stages"])
            for stage, value in zip(pairs[::2], pairs[1::2], strict=True):
                now[ids[index]][stage] = value
        found.append({unit_id: list(stages) for unit_id, stages in now.items()})
    return data, found


def test_every_step_of_the_sample_property_is_acres_on_that_day(demo_place: Path) -> None:
    store = GeoPackageStore.open(demo_place)
    page = page_of(store)
    data, steps = told_steps(page)
    days = sorted({row.date for row in store.entries()})
    assert len(steps) == len(days) + 1
    for told, units, day in zip(data["steps"], steps, [days[0] - A_DAY, *days], strict=True):
        account = acres(store, on=day)
        for one in account.units:
            figures = units[one.unit_id]
            assert sum(figures) == pytest.approx(one.acres, abs=SHOWN)
            assert sum(figures[i] for i in data["treated"]) == pytest.approx(one.treated_acres, abs=SHOWN)
            assert sum(figures[i] for i in data["remaining"]) == pytest.approx(one.remaining_acres, abs=SHOWN)
        total = account.totals
        assert sum(told["all"][i] for i in data["treated"]) == pytest.approx(total.treated_acres, abs=SHOWN)
        assert sum(told["all"][i] for i in data["remaining"]) == pytest.approx(total.remaining_acres, abs=SHOWN)
        assert told["all"][data["stages"].index("keep")] == pytest.approx(total.keep_acres, abs=SHOWN)
        if total.treated_acres >= 0.05 and day != days[-1]:
            assert told["head"].startswith(f"{total.treated_acres:.1f} of {total.cedar_acres:.1f} cedar acres")
    assert len(data["patches"]) == len(page.work)
    shown = zip(data["patches"], page.work, strict=True)
    assert all(data["steps"][step]["n"] == work.entry.date.toordinal() for step, work in shown)
    assert len(render_page(page).encode()) < 3_000_000


def test_steps_are_told_in_a_neighbors_words() -> None:
    data, _ = told_steps(page_of(two_units()))
    before, cut, burned = data["steps"]
    assert (before["when"], before["value"]) == ("before any work", "before any work")
    assert before["head"] == "Before any work: 4.9 acres of cedar, none of them treated."
    assert before["said"] == "Before any work: cedar stood on 4.9 acres."
    assert cut["said"] == "Cut on March 14, 2025: 2.5 acres on the south bench."
    assert cut["value"] == "March 14, 2025: 2.5 acres cut"
    assert cut["head"] == "2.5 of 4.9 cedar acres treated at least once by March 14, 2025; 2.5 remained."
    assert burned["said"] == "Burned on March 2, 2026: 2.5 acres, 1.2 on the south bench and 1.2 on Unit B."
    assert burned["head"].startswith("2.5 of 4.9 cedar acres treated at least once; 2.5 remain; next: ")


def test_ground_outside_the_units_and_several_practices_of_a_day_are_told() -> None:
    store = FakeStore(
        [
            unit("A", box(0, 0, 100, 100), name="South bench"),
            entry("cut", "2025-03-14", box(0, 0, 200, 100)),
            entry("pile", "2025-03-14", box(0, 0, 50, 100)),
            entry("cut", "2025-04-01", box(300, 0, 400, 100)),
        ]
    )
    data, _ = told_steps(page_of(store))
    assert data["steps"][1]["said"] == (
        "Cut on March 14, 2025: 4.9 acres, 2.5 on the south bench, 2.5 of them outside the units. "
        "Also piled that day: 1.2 acres on the south bench."
    )
    assert data["steps"][1]["value"] == "March 14, 2025: 4.9 acres cut, 1.2 acres piled"
    assert data["steps"][2]["said"] == "Cut on April 1, 2025: 2.5 acres outside the units."


def test_a_place_without_a_log_has_no_ruler_and_no_seasons() -> None:
    page = page_of(FakeStore([unit("A", box(0, 0, 100, 100))]))
    assert page.history is None
    assert page.seasons is not None and page.seasons.seasons == ()
    html = render_page(page)
    assert 'id="ruler"' not in html
    assert "Season by season" not in html


def test_hostile_names_stay_text_in_steps_and_shapes() -> None:
    store = two_units(name=HOSTILE)
    old = next(one for one in store.units() if one.unit_id == "A")
    store.append([unit("A", box(0, 0, 90, 100), name=HOSTILE, valid_from=date(2026, 1, 1), replaces=(old.uuid,))])
    page = page_of(store)
    html = render_page(page)
    assert HOSTILE not in html
    assert "<img" not in html
    data, _ = told_steps(page)
    assert HOSTILE in data["steps"][1]["said"]
    drawn_then = json.loads(data["shapes"])["old"]
    assert [name for name, _ in drawn_then[0]["units"]] == [HOSTILE, "Unit B"]


def test_a_heavy_history_steps_by_season_and_the_page_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("habmap.show.page.history.ruler_bytes", lambda history: 3_000_000)
    store = two_units()
    store.append([entry("cut", "2025-01-11", box(100, 0, 150, 100))])
    page = page_of(store)
    data, _ = told_steps(page)
    assert [step["when"] for step in data["steps"]] == ["before any work", "March 14, 2025", "March 2, 2026"]
    assert data["steps"][1]["said"] == (
        "Cut in the season 2024-25: 3.7 acres, 2.5 on the south bench and 1.2 on Unit B."
    )
    assert "steps from season to season" in render_page(page)


def test_public_pages_hold_no_hours_cost_names_or_notes() -> None:
    html = render_page(page_of(two_units(), audience="public"))
    for secret in ("Dorrit", "split gate", "person-hours", "340", "USD"):
        assert secret not in re.sub(r"<style>.*?</style>|<script>.*?</script>", "", html, flags=re.DOTALL)
    spent = Season(
        label="2025-26", first_day=date(2025, 7, 1), last_day=date(2026, 6, 30), treated_acres=1.0,
        cumulative_treated_acres=1.0, remaining_acres=1.0, cost=340.0,
    )  # fmt: skip
    page = page_of(two_units(), audience="public")
    told = Page(**{name: getattr(page, name) for name in Page.__slots__} | {
        "seasons": SeasonAccount(on=None, start_remaining_acres=2.0, seasons=(spent,))
    })  # fmt: skip
    with pytest.raises(PrivateOnPublicPageError):
        render_page(told)


def test_hours_and_cost_stand_on_the_owners_page_only_when_asked_for() -> None:
    plain = render_page(page_of(two_units()))
    assert "person-hours" not in plain
    assert " USD" not in plain
    assert "Dorrit Quill" in plain
    asked = page_of(two_units(), with_hours=True, with_cost=True)
    html = render_page(asked)
    assert "So far the log tells of 24 person-hours and 680 USD" in html
    # The burn lies half in each unit, so half of its hours and cost go to each.
    assert "18 person-hours and 510 USD so far, each day shared out by its acres here." in html
    assert "6 person-hours and 170 USD so far, each day shared out by its acres here." in html
    only_hours = render_page(page_of(two_units(), with_hours=True))
    assert "So far the log tells of 24 person-hours;" in only_hours
    assert " USD" not in only_hours


def test_seasons_on_the_page_are_the_librarys(demo_place: Path) -> None:
    store = GeoPackageStore.open(demo_place)
    account = season_account(ground(store))
    told = seasons.values(page_of(store))
    assert [line.label.removesuffix(", so far") for line in told["season_lines"]] == [s.label for s in account.seasons]
    for line, season in zip(told["season_lines"], account.seasons, strict=True):
        assert line.treated == f"{season.treated_acres:,.1f}"
        assert line.cumulative == f"{season.cumulative_treated_acres:,.1f}"
        assert line.remaining == f"{season.remaining_acres:,.1f}"
    totals = acres(store).totals
    assert f"{totals.treated_acres:.1f} acres were treated" in told["season_sentence"]
    # What is neither treated nor remaining was left on purpose, and is said: every line adds up to the cedar there was.
    assert told["season_left"]
    assert f"{totals.keep_acres:.1f} are left on purpose" in told["season_sentence"]
    for line in told["season_lines"]:
        parts = sum(float(part.replace(",", "")) for part in (line.cumulative, line.remaining, line.left))
        assert parts == pytest.approx(account.start_remaining_acres, abs=0.16)  # three figures rounded to a tenth
    assert f"{totals.remaining_acres:.1f} remain" in told["season_sentence"]


def test_only_cedar_ground_is_counted_in_steps() -> None:
    store = FakeStore([unit("G", box(0, 0, 100, 100), cover="grass"), entry("burn", "2025-03-14", box(0, 0, 100, 100))])
    assert "grass" not in CEDAR_COVERS
    data, steps = told_steps(page_of(store))
    other = data["stages"].index("other")
    assert [step["G"][other] for step in steps] == pytest.approx([2.4711, 2.4711], abs=1e-4)
    assert data["steps"][1]["said"] == "Burned on March 14, 2025: 2.5 acres on Unit G."


def test_size_of_a_history_is_about_what_it_takes() -> None:
    page = page_of(two_units())
    history = page.history
    assert isinstance(history, PageHistory)
    assert isinstance(history.steps[0], PageStep)
    written = len(json.dumps(json.loads(drawing_json(page))["ruler"]))
    assert 0.5 < ruler.ruler_bytes(history) / written < 2


def test_hours_on_a_page_for_the_public_are_refused_and_nothing_is_written(
    run_habmap: Callable[..., Any], demo_place: Path, tmp_path: Path
) -> None:
    for option in ("--with-hours", "--with-cost"):
        target = tmp_path / "public.html"
        refused = run_habmap("map", "--for", "public", option, "-o", target, "--json", place=demo_place)
        assert refused.code == 2
        assert refused.json["value"] == option
        assert not target.exists()
