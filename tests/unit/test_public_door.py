"""``import habmap``: every public name is there, explained, with an example that runs."""

from __future__ import annotations

import datetime
import doctest
import importlib.util
import json
import pickle
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import jsonschema
import pytest

import habmap
import habmap.api
import habmap.api_paper
import habmap.api_region
from habmap.api import ANSWERS, json_record, json_schema
from habmap.errors import HabmapError, InputError, InputErrors, PlaceError, UsageError

Run = Callable[..., Any]
TODAY = datetime.date(2026, 8, 1)


def test_all_is_sorted_and_every_name_is_there() -> None:
    assert habmap.__all__ == sorted(set(habmap.__all__))
    for name in habmap.__all__:
        assert getattr(habmap, name) is not None
    with pytest.raises(AttributeError, match="burnplan"):
        _ = habmap.burnplan


def test_importing_it_loads_no_heavy_library() -> None:
    script = "import sys, habmap; print([m for m in ('numpy', 'shapely', 'pydantic', 'rasterio') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def _examples() -> list[doctest.DocTest]:
    finder = doctest.DocTestFinder()
    found = [
        one for module in (habmap.api, habmap.api_paper, habmap.api_region) for one in finder.find(module, globs={})
    ]
    return [example for example in found if example.examples]


@pytest.mark.parametrize("example", _examples(), ids=lambda example: example.name.rpartition(".")[2])
def test_the_examples_run_on_the_sample(
    example: doctest.DocTest, demo_place: Path, tmp_path: Path, repository: Path
) -> None:
    place = habmap.open_place(demo_place)
    example.globs.update(
        habmap=habmap, place=place, folder=demo_place, json=json, datetime=datetime,
        fresh=tmp_path, layers=repository / "sample_layers",
    )  # fmt: skip
    said: list[str] = []
    outcome = doctest.DocTestRunner(verbose=False).run(example, out=said.append)
    assert outcome.failed == 0, "".join(said)


def test_every_public_function_is_explained_with_an_example() -> None:
    named = {example.name.rpartition(".")[2] for example in _examples()}
    functions = {name for name in habmap.__all__ if callable(getattr(habmap, name)) and name.islower()}
    assert functions <= named


def test_the_json_is_the_commands(run_habmap: Run, demo_place: Path) -> None:
    place = habmap.open_place(demo_place)
    told = run_habmap("acres", "--json", place=demo_place)
    assert json.loads(habmap.to_json(habmap.acres(place))) == told.json
    with pytest.raises(TypeError, match="no answer"):
        habmap.to_json(3)


# --- schemas ------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def docs(repository: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location("habmap_docs", repository / "scripts" / "_docs.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_load_takes_every_table_and_refuses_what_it_does_not_know(tmp_path: Path) -> None:
    place = habmap.start(tmp_path / "loaded", name="Loaded", timezone="America/Chicago")
    seen = tmp_path / "seen.csv"
    head = "eventDate,scientificName,decimalLatitude,decimalLongitude"
    seen.write_text(f"{head}\n2026-05-01,Colinus virginianus,36,-97\n")
    assert habmap.load(place, "sightings", seen).loaded == 1
    with pytest.raises(UsageError) as refused:
        habmap.load(place, "water", seen)  # type: ignore[arg-type]
    assert refused.value.value == "water"
    assert "one of boundary, units" in str(refused.value.mend)


def test_the_schemas_are_fresh(docs: ModuleType) -> None:
    assert docs.stale_schemas() == [], "run `python3 scripts/dev.py docs` and commit what it wrote"


@pytest.mark.parametrize("command", sorted(ANSWERS))
def test_each_schema_is_one(command: str) -> None:
    jsonschema.Draft202012Validator.check_schema(json_schema(command))


@pytest.mark.parametrize("command", ["acres", "check", "density", "due", "effort", "history", "rank", "terrain"])
def test_answers_obey_their_schema(command: str, demo_place: Path) -> None:
    """By another library than the one that wrote the schema."""
    day = {"due": "on", "rank": "today", "effort": "today", "check": "today"}.get(command)
    answer = getattr(habmap, command)(habmap.open_place(demo_place), **({day: TODAY} if day else {}))
    schema = json_schema(command)
    record = json.loads(json.dumps(json_record(command, answer)))
    jsonschema.validate(record, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**record, "schema": "habmap/other/1"}, schema)


def test_the_example_script_does_the_main_job(repository: Path, tmp_path: Path) -> None:
    script = repository / "scripts" / "example_main_job.py"
    done = subprocess.run(
        [sys.executable, str(script), str(repository / "sample_layers"), str(tmp_path / "place")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    account = habmap.acres(habmap.open_place(tmp_path / "place")).totals
    assert f"{account.treated_acres:.1f} of {account.cedar_acres:.1f} cedar acres treated" in done.stdout
    assert (tmp_path / "place" / "out" / "map.html").stat().st_size > 100_000


@pytest.mark.parametrize("kind", [InputError, PlaceError, UsageError])
def test_an_error_goes_whole_to_another_process(kind: type[HabmapError]) -> None:
    error = kind("no", where="here", value=OSError(28, "full"), allowed="all", mend="mend it")
    for one in (error, InputErrors([error], where="there")):
        again = pickle.loads(pickle.dumps(one))
        assert (type(again), str(again), again.as_record()) == (type(one), str(one), one.as_record())
