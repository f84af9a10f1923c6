"""README.md shows the command as it is: its reference, the files it names, and the figures in its picture."""

from __future__ import annotations

import importlib.util
import re
import shlex
import shutil
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

Run = Callable[..., Any]
STALE = "run `python3 scripts/dev.py docs` and commit what it wrote"


@pytest.fixture(scope="module")
def docs(repository: Path, run_habmap: Run) -> ModuleType:
    spec = importlib.util.spec_from_file_location("habmap_docs", repository / "scripts" / "_docs.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)

    def habmap(*words: str) -> str:
        done = run_habmap(*words)
        assert done.code == 0, done.err
        return str(done.out)

    vars(module)["habmap"] = habmap  # the same command, without loading its libraries anew for each help text
    return module


def test_readme_names_every_command_and_is_soon_read(repository: Path, run_habmap: Run) -> None:
    text = (repository / "README.md").read_text(encoding="utf-8")
    assert len(text.splitlines()) < 260
    table = text.split("## Every command")[1].split("\n## ")[0]
    commands = re.findall(r"^  ([a-z][a-z-]*) ", run_habmap("--help").out.partition("\nCommands:\n")[2], re.M)
    assert len(commands) > 20
    assert [name for name in commands if f"`{name}`" not in table] == []


@pytest.mark.poppler
def test_the_pictures_show_the_pages_of_today(docs: ModuleType, demo_place: Path, tmp_path: Path) -> None:
    place = shutil.copytree(demo_place, tmp_path / "sample")
    assert docs.recorded_figures() == docs.picture_figures(place), STALE


@pytest.mark.parametrize(
    ("was", "becomes", "is_stale"),
    [
        ("<h1>50.7 of 165.4", "<h1>50.8 of 165.4", True),
        ("color: #111", "color: #112", True),
        ("const a = 1", "const a = 2", True),
        ("Drawn August 1, 2026.", "Drawn May 12, 2027.", False),
        (">, so far<", "><", False),
        ("data:image/png;base64,AAAA", "data:image/png;base64,BBBB", False),
    ],
)
def test_a_page_that_looks_otherwise_makes_its_picture_stale(
    docs: ModuleType, was: str, becomes: str, is_stale: bool
) -> None:
    page = (
        "<style>p { color: #111 }</style><h1>50.7 of 165.4 acres</h1><script>const a = 1;</script>"
        '<img src="data:image/png;base64,AAAA"><p>Drawn August 1, 2026.</p><b>2026-27</b><i>, so far</i>'
    )
    assert was in page
    assert (docs.words_and_look(page) != docs.words_and_look(page.replace(was, becomes))) is is_stale


def test_the_job_by_hand_runs_as_written(run_habmap: Run, repository: Path, tmp_path: Path) -> None:
    text = (repository / "README.md").read_text(encoding="utf-8")
    chapter = text.split("## The whole job by hand")[1].split("\n## ")[0]
    lines = [line for block in re.findall(r"```\n(.*?)```", chapter, flags=re.DOTALL) for line in block.splitlines()]
    shutil.copytree(repository / "sample_layers", tmp_path / "sample_layers")
    here = tmp_path
    ran = []
    for line in lines:
        words = shlex.split(line, comments=True)
        if words[0] == "cd":
            here /= words[1]
            continue
        assert words[0] == "habmap"
        done = run_habmap(*words[1:], cwd=here)
        assert done.code == 0, f"{line}\n{done.err}"
        ran.append(words[1])
    assert {"start", "load", "log", "trace", "history", "acres", "terrain", "rank", "map", "check"} <= set(ran)
    assert (here / "turtle.html").exists() and (here / "neighbors.html").exists()


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md"])
def test_every_file_named_is_there(repository: Path, page: str) -> None:
    text = (repository / page).read_text(encoding="utf-8")
    named = re.findall(r"\]\((?!http)([^)#]+)\)", text)
    named += re.findall(r"\.?\.?/?(sample_layers/[\w./-]*\w)", text)
    if page == "DEVELOPERS.md":
        named += [f"habmap/{name}" for name in re.findall(r"`((?:land|work|jobs|place|show|cli)/[\w/]+\.py)", text)]
    missing = [name for name in named if not (repository / name).exists()]
    assert named
    assert missing == []


def test_every_function_named_for_newcomers_is_there(repository: Path) -> None:
    text = (repository / "DEVELOPERS.md").read_text(encoding="utf-8")
    places = re.findall(r"`((?:land|work|jobs|place|show|cli|desk|region|records)/[\w/]+\.py): ([\w, ]+)`", text)
    assert len(places) > 10
    for path, names in places:
        source = (repository / "habmap" / path).read_text(encoding="utf-8")
        for name in names.split(", "):
            made = rf"^(?:(?:def|class) {name}\b|{name}(?:: [^=]+)? = )"
            assert re.search(made, source, flags=re.MULTILINE), f"{path}: {name}"
